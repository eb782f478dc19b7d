"""What differs in the light between places of one photo and is still in its colours.

Light that falls off is divided out where a reference or clean paper speaks for it; a change of its
colour, as of a lamp on one side, is not. What is left goes into the doubt: of the frame where all
swatches share it, of each region where they do not, so that a comparison in one frame knows it.
Where nothing plain shows the light, a slope as of other photos is what it may be.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.lightfield import LightField
from ingest.model import Polygon

Floats = NDArray[np.float64]

#: Share of the light's change that is left where it was divided out through a tone curve that one
#: card cannot tell: root mean square of how much steeper the seven curves of the project's
#: simulation are at yarn's greys than at paper, exposed to 0.5 to 0.9 (0.5 to 2 times, mean 1.2).
LEFT_BY_A_CARD = 0.44
#: Change of ln of a ratio of two channels over reference and swatches from which the light is of
#: two colours: 1.6 ΔE00 on a grey. Paper in outside photographs by one light shows 0.01 to 0.05.
TWO_COLOURS = 0.08
#: Scatter of ln Y about the field over which paper is too uneven to tell its light's colour by, or
#: to divide by beside one card, which has no residuals to choose by. Outside photographs, as above.
CLEAN_SCATTER = 0.05
#: Change of light over reference and swatches under which a light field is not worth dividing by.
WORTH_DIVIDING = 0.02
#: What is left of the light's change over reference and swatches from which it is flagged, and
#: how many times it must exceed the scatter of the surround that shows it: a hard shadow scatters
#: much and changes more. Our choice.
UNEVEN_LIGHT, OVER_SCATTER = 0.10, 4.0
#: Standard deviation of the slope of ln light across and down, per long side of the picture, where
#: nothing shows it. Paper around the charts of seven outside photographs by phone, on desks by one
#: light, shows slopes of 0.11 to 0.56, root mean square 0.36, which is this in each direction.
UNSEEN_SLOPE = 0.25
ROOT_TWO = math.sqrt(2.0)


@dataclass(frozen=True, eq=False)
class LightLeft:
    """``field``: as measured. ``share``: of its ln light that is left, 0..1. ``reference``,
    ``middle``: (2,) places of the reference's middle and of the swatches', in the picture."""

    field: LightField
    share: float
    reference: Floats
    middle: Floats

    def doubt_of(self, mean: Floats, outline: Polygon) -> tuple[Floats, Floats]:
        """(3, 3) covariances of a mean RGB (3,): of a region's own place, and of its frame.

        Two swatches share the light, so that their difference has all of its change between them,
        and not two halves that know nothing of each other: hence the root of two.
        """
        here, frame = ROOT_TWO * self.of_region(np.mean(outline, axis=0)), self.of_frame()
        return np.outer(mean * here, mean * here), np.outer(mean * frame, mean * frame)

    def of_frame(self) -> Floats:
        """(3,) ln of each channel's light at the swatches' middle over that at the reference."""
        return self._between(self.reference, self.middle)

    def of_region(self, place: Floats) -> Floats:
        """(3,) the same at a place over that at the swatches' middle."""
        return self._between(self.middle, np.asarray(place, dtype=float))

    def tint_spread(self, points: Floats) -> float:
        """Largest change of ln of a ratio of two channels between any of ``points`` (n, 2)."""
        return self.field.tint_spread(points)

    def _between(self, one: Floats, other: Floats) -> Floats:
        ends = np.stack([one, other])
        light = np.diff(np.log(self.field.at(ends)))
        return np.asarray(self.share * light + np.diff(self.field.tint_at(ends), axis=0)[0])


@dataclass(frozen=True, eq=False)
class LightUnseen:
    """Light of an unknown slope. ``reference``, ``middle``: (2,) as above; ``shape``: (2,) width
    and height of the picture over its long side."""

    reference: Floats
    middle: Floats
    shape: Floats

    def doubt_of(self, mean: Floats, outline: Polygon) -> tuple[Floats, Floats]:
        """(3, 3) covariances of a mean RGB (3,): of a region's own place, and of its frame.

        The root of two for the reason that :class:`LightLeft` has it.
        """
        here = ROOT_TWO * self._away(self.middle, np.mean(outline, axis=0))
        frame = self._away(self.reference, self.middle)
        light = np.outer(mean, mean)
        return here**2 * light, frame**2 * light

    def tint_spread(self, points: Floats) -> float:
        """Nothing is known of the light's colour."""
        return 0.0

    def _away(self, one: Floats, other: Floats) -> float:
        return UNSEEN_SLOPE * float(np.linalg.norm((other - one) * self.shape))


def middles(*outlines: Sequence[Polygon]) -> Floats:
    """(n, 2) middles of outlines."""
    found = [np.mean(polygon, axis=0) for some in outlines for polygon in some]
    return np.array(found, dtype=float).reshape(-1, 2)


def card_field(field: LightField | None, places: Floats) -> LightField | None:
    """The field to divide by beside one card, whose middle is the first of ``places`` (n, 2).

    Through a tone curve that one card cannot tell, a slope is shown too flat or too steep; on
    outside photographs colours came nearer all the same, in each of the eight that show one.
    """
    if field is None or field.scatter > CLEAN_SCATTER or field.spread(places) < WORTH_DIVIDING:
        return None
    return field.centred_on(places[:1])


def light_left(
    field: LightField | None,
    share: float,
    reference: Floats,
    swatches: Floats,
    size: tuple[int, int],
) -> LightLeft | LightUnseen | None:
    """What a field leaves, or what light may do that none was measured of.

    ``reference`` (n, 2), ``swatches`` (m, 2): middles; ``size``: of the picture in pixels.
    """
    if not len(swatches):
        return None
    ends = reference.mean(axis=0), swatches.mean(axis=0)
    if field is None:
        return LightUnseen(*ends, np.array(size) / max(size))
    return LightLeft(field, share, *ends)


def unseen_flag(field: LightField | None, swatches: Floats) -> frozenset[str]:
    """The flag of light that nothing in the picture shows; ``swatches``: (m, 2) middles."""
    return frozenset({"light not seen"} if field is None and len(swatches) else ())


def tint_flag(field: LightField | None, places: Floats) -> frozenset[str]:
    """The flag of light of two colours over ``places`` (n, 2)."""
    if field is None or field.scatter > CLEAN_SCATTER:
        return frozenset()
    two = field.tint_spread(places) > TWO_COLOURS
    return frozenset({"light of two colours"}) if two else frozenset()


def uneven_flag(field: LightField | None, share: float, places: Floats) -> frozenset[str]:
    """The flag of light that changes over ``places`` (n, 2), of which ``share`` is left."""
    if field is None:
        return frozenset()
    uneven = share * field.spread(places) > max(UNEVEN_LIGHT, OVER_SCATTER * field.scatter)
    return frozenset({"light uneven"}) if uneven else frozenset()
