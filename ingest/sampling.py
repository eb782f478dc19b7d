"""A reference as it lies in the picture: what of it is read, and whether it can be used at all."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ingest.colour import xyz_to_lab
from ingest.errors import ReferenceMissing
from ingest.expected import patch_names
from ingest.flags import CLIPPED_NOTED
from ingest.model import Photo, Polygon, Reference
from ingest.neutrals import neutral_indices
from ingest.raster import convex_hull, region_pixels, shrink_polygon
from ingest.reading import PatchReading, read_patch
from ingest.turned import wrong_way_round

Floats = NDArray[np.float64]

#: Share of a card's or step's outline, about its middle, that is read. Our choice.
CARD_SAMPLE = 0.8
#: Pixels of a patch that are read at most, evenly spread: noise of 3 % then leaves 0.05 %. Our
#: choice.
PATCH_PIXELS = 4000
#: A reference with more of its pixels clipped than this cannot correct at all. Our choice.
CARD_CLIPPED = 0.2
#: Mean linear light under which a card counts as black: about code 13 of 255 in sRGB. Our choice.
BLACK = 0.004


def rank(reference: Reference) -> tuple[int, int]:
    """How much a reference can correct, the larger the more: its kind, then its patches."""
    return {"card": 0, "steps": 1, "chart24": 2}[reference.kind], len(reference.patches)


def located_flags(reference: Reference) -> frozenset[str]:
    """The flag of a reference that no marks and no mat told of."""
    return frozenset({"reference found by search"} if reference.located == "search" else ())


def outlines(reference: Reference) -> tuple[Polygon, ...]:
    """What it covers: a chart's whole area, or each patch."""
    return (reference.corners,) if reference.corners else reference.patches


def hull(reference: Reference) -> Polygon:
    """One convex outline around all of a reference."""
    return convex_hull(*outlines(reference))


def sampled(reference: Reference) -> tuple[Polygon, ...]:
    """The parts of the reference's patches that are read."""
    if reference.kind == "chart24":
        return reference.patches
    return tuple(shrink_polygon(p, CARD_SAMPLE) for p in reference.patches)


def read_patches(photo: Photo, reference: Reference) -> list[PatchReading]:
    """A reading of each patch, in the reference's order."""
    return [
        read_patch(photo, polygon, region_pixels(photo, polygon, most=PATCH_PIXELS))
        for polygon in sampled(reference)
    ]


def mid_neutral(reference: Reference, patches: list[PatchReading], y: Floats) -> tuple[float, ...]:
    """Linear RGB, the encoding undone, of the neutral whose reflectance is nearest 20 %.

    ``y``: (patches,), stated reflectances in 0..1.
    """
    nearest = min(neutral_indices(reference), key=lambda i: abs(np.log(float(y[i]) / 0.2)))
    return tuple(float(v) for v in patches[nearest].linear)


def all_neutrals(
    reference: Reference, patches: list[PatchReading], y: Floats
) -> tuple[tuple[float, ...] | None, ...]:
    """The same of every neutral, the lightest by its stated reflectance first; ``None`` for one
    that is clipped."""
    in_order = sorted(neutral_indices(reference), key=lambda i: -float(y[i]))
    return tuple(as_taken(patches[i].linear, patches[i].clipped) for i in in_order)


def as_taken(linear: Floats, clipped: float) -> tuple[float, ...] | None:
    """Linear RGB (3,) as plain numbers; ``None`` where too many of its pixels are clipped."""
    return None if clipped > CLIPPED_NOTED else tuple(float(v) for v in linear)


_NAMED = {"card": "the card is", "steps": "the steps are", "chart24": "the chart is"}


def refuse_unusable(reference: Reference, patches: list[PatchReading]) -> None:
    """Raise :class:`ReferenceMissing` where patches are too small, or a card clipped or black."""
    first = patches[0]
    if any(p.count < 9 for p in patches):
        raise ReferenceMissing(
            f"{_NAMED[reference.kind]} only a few pixels large; go nearer or mark it again"
        )
    if reference.kind != "card":
        return
    if first.clipped > CARD_CLIPPED:
        raise ReferenceMissing(
            f"the grey card is clipped in {first.clipped:.0%} of its pixels, so it says nothing "
            "of the light; photograph it again, darker"
        )
    if first.linear.min() < BLACK:
        raise ReferenceMissing(
            "the grey card is black in at least one channel; mark the card itself, or photograph "
            "it in more light"
        )


def refuse_turned(photo: Photo, patches: list[PatchReading], expected: Floats) -> None:
    """Raise :class:`ReferenceMissing` for a chart whose corners are marked another way round.

    ``expected``: (24, 3) linear RGB that its patches are stated to have.
    """
    read = np.array([p.linear for p in patches])
    wrong = wrong_way_round(read, expected, photo.encoding.to_xyz)
    if wrong is not None:
        raise ReferenceMissing(f"the chart's corners are marked {wrong}")


def patch_records(
    reference: Reference,
    expected: Floats,
    corrected: Floats,
    left_out: Floats | None = None,
    clipped: Sequence[float] = (),
) -> tuple[dict[str, Any], ...]:
    """Patch by patch in Lab D65, from XYZ (patches, 3); ``clipped``: the share, of patches that
    are too clipped to be fitted to."""
    columns = {"expected_lab": expected, "corrected_lab": corrected}
    if left_out is not None:
        columns["left_out_lab"] = left_out
    labs = {key: xyz_to_lab(xyz) for key, xyz in columns.items()}
    out = {i: {"clipped": round(v, 4)} for i, v in enumerate(clipped) if v > CLIPPED_NOTED}
    return tuple(
        {"name": name, **{key: rounded(lab[i]) for key, lab in labs.items()}, **out.get(i, {})}
        for i, name in enumerate(patch_names(reference))
    )


def rounded(values: Any) -> list[float]:
    """Any numbers as a flat list, to four decimals."""
    return [round(float(v), 4) for v in np.asarray(values).ravel()]
