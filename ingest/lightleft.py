"""What differs in the light between places of one photo and is still in its colours.

Light that falls off is divided out where a reference or clean paper speaks for it; a change of its
colour, as of a lamp on one side, is not. What is left goes into the doubt: of the frame where all
swatches share it, of each region where they do not, so that a comparison in one frame knows it.
Where nothing plain shows the light, a slope as of other photos is what it may be, or one
as the reference's greys show. A shadow on one swatch is no smooth field: the paper about each
thing tells it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ingest.lightfield import LightField
from ingest.model import Polygon
from ingest.paper import Light

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
#: Our choice.
WORTH_DIVIDING = 0.02
#: What is left of the light's change over reference and swatches from which it is flagged, and
#: how many times it must exceed the scatter of the surround that shows it: a hard shadow scatters
#: much and changes more. Our choice.
UNEVEN_LIGHT, OVER_SCATTER = 0.10, 4.0
#: Standard deviation of the slope of ln light across and down, per long side of the picture, where
#: nothing shows it. Paper around the charts of seven outside photographs by phone, on desks by one
#: light, shows slopes of 0.14 to 0.56, root mean square 0.36, which is this in each direction
#: (`tests.photo_light`).
UNSEEN_SLOPE = 0.25
#: The same of the slope of ln of the ratio of two channels, and how such a change lies on the
#: three. Red over blue on that paper has slopes of 0 to 0.10 in each direction, 0.06 on average
#: (root mean square).
UNSEEN_TINT, TINTED = 0.06, (np.eye(3) - 1.0 / 3.0) / 2.0


@dataclass(frozen=True, eq=False)
class LightLeft:
    """``light``: as the surround shows it. ``share``: of the ln light of its field that may be left
    after it was divided out, 0..1; None where it was not. ``reference``, ``middle``: the
    reference's place, and the mean of the swatches'. ``shape``: (2,) width and height of the
    picture over its long side."""

    light: Light
    share: float | None
    reference: Lit
    middle: Lit
    shape: Floats

    def doubt_of(self, mean: Floats, outline: Polygon) -> tuple[Floats, Floats]:
        """(3, 3) covariances of a mean RGB (3,): of a region's own place, and of its frame.

        Two swatches share the light, so that their difference has all of its change between them,
        and not two halves that know nothing of each other: hence the root of two.
        """
        own = 2.0 * self._between(self.middle, lit_at(self.light, self.share, outline))
        frame = self._between(self.reference, self.middle)
        light = np.outer(mean, mean)
        return own * light, frame * light

    def tint_spread(self, points: Floats) -> float:
        """Largest change of ln of a ratio of two channels between any of ``points`` (n, 2); 0 where
        nothing is known of the light's colour."""
        return 0.0 if self.light.field is None else self.light.field.tint_spread(points)

    def _between(self, one: Lit, other: Lit) -> Floats:
        """(3, 3) covariance of ln of each channel's light at one place over that at the other."""
        change = other.ln - one.ln
        divided = (self.share or 0.0) * (other.divided - one.divided)
        known = np.outer(change, change) + divided**2
        if self.light.field is not None:
            return np.asarray(known)
        away = (other.place - one.place) * self.shape
        usual = np.array([[UNSEEN_SLOPE], [UNSEEN_TINT]])
        level, tint = np.linalg.norm(np.maximum(usual, self.light.within) * away, axis=1)
        return np.asarray(known + level**2 + tint**2 * TINTED)


@dataclass(frozen=True, eq=False)
class Lit:
    """A place (2,) in the picture, ln (3,) of each channel's light that is left there, and ln of
    the light that was divided out."""

    place: Floats
    ln: Floats
    divided: float = 0.0


def lit_at(light: Light, share: float | None, outline: Polygon) -> Lit:
    """The light at an outline: of the field what is left, and by what the paper about it differs
    from the field."""
    place, ln, divided = np.mean(outline, axis=0), np.zeros(3), 0.0
    if light.field is not None:
        ln += light.field.tint_at(place[None])[0]
        divided = float(np.log(light.field.at(place)))
    about = None if light.paper is None else light.paper.about(outline)
    if about is not None:
        ln += about
    return Lit(place, ln + divided) if share is None else Lit(place, ln, divided)


def middles(*outlines: Sequence[Polygon]) -> Floats:
    """(n, 2) middles of outlines."""
    found = [np.mean(polygon, axis=0) for some in outlines for polygon in some]
    return np.array(found, dtype=float).reshape(-1, 2)


def card_field(field: LightField | None, places: Floats) -> LightField | None:
    """The field to divide by beside one card, whose middle is the first of ``places`` (n, 2).

    Through a tone curve that one card cannot tell, a slope is shown too flat or too steep; on
    outside photographs colours came nearer all the same, in each of the nine that show one
    (`tests.photo_light`).
    """
    if field is None or field.scatter > CLEAN_SCATTER or field.spread(places) < WORTH_DIVIDING:
        return None
    return field.centred_on(places[:1])


def light_left(
    light: Light,
    share: float | None,
    reference: Polygon,
    swatches: Sequence[Polygon],
    size: tuple[int, int],
) -> LightLeft | None:
    """What a field leaves, what paper shows beside it, and what light may do that none was seen of.

    ``share``: of a field that was divided out, what may be left of it; None where it was not.
    ``reference``, ``swatches``: outlines; ``size``: of the picture in pixels.
    """
    if not swatches:
        return None
    each = [lit_at(light, share, outline) for outline in swatches]
    middle = Lit(
        np.mean([e.place for e in each], axis=0),
        np.mean([e.ln for e in each], axis=0),
        float(np.mean([e.divided for e in each])),
    )
    shape = np.array(size) / max(size)
    return LightLeft(light, share, lit_at(light, share, reference), middle, shape)


def light_flags(
    light: Light,
    share: float | None,
    reference: Polygon,
    patches: Sequence[Polygon],
    swatches: Sequence[Polygon],
) -> frozenset[str]:
    """What is told of the light at a reference, its patches and the swatches; ``share``: as
    above."""
    flags = set()
    lit = [lit_at(light, share, outline) for outline in (reference, *swatches)]
    smooth = Light(light.field)
    lit += [lit_at(smooth, share, outline) for outline in patches]
    if light.field is None:
        flags |= {"light not seen"} if swatches else set()
        flags |= {"light of two colours"} if swatches and light.within[1].any() else set()
    elif light.field.scatter <= CLEAN_SCATTER and _tint_spread(lit) > TWO_COLOURS:
        flags.add("light of two colours")
    scatter = 0.0 if light.field is None else light.field.scatter
    change = float(np.ptp([one.ln.mean() + (share or 0.0) * one.divided for one in lit]))
    if change > max(UNEVEN_LIGHT, OVER_SCATTER * scatter):
        flags.add("light uneven")
    return frozenset(flags)


def _tint_spread(lit: Sequence[Lit]) -> float:
    ln = np.array([one.ln for one in lit])
    return max(float(np.ptp(ln[:, i] - ln[:, j])) for i, j in combinations(range(3), 2))
