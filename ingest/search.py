"""The search for references and swatches in a photo that has no marks and no mat.

Everything found says so (``located="search"``) with a confidence in 0..1; a person can look at it
and correct it. Where nothing is clear nothing is returned.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ingest.cardfind import find_card
from ingest.chartfind import find_chart
from ingest.errors import PictureMirrored
from ingest.flatareas import Quad, WorkingCopy, flat_quads, working_copy
from ingest.model import Array, Layout, Photo, Reference, SwatchRegion
from ingest.stepfind import find_row
from ingest.swatchfind import find_swatch


def search_layout(photo: Photo, steps_y: Sequence[float] | None = None) -> Layout:
    """References and swatches of one photo, each located by search.

    ``steps_y``: luminous reflectances, 0 to 1, rising or falling, of neutral steps that may be in
    it; a row of greys says nothing without them, and none is looked for.
    """
    copy = working_copy(photo)
    references, flags = _references(photo, copy, steps_y)
    swatches, others = _swatches(photo, copy, references)
    return Layout(references, swatches, located="search", flags=flags | others)


def flagged_references(
    photo: Photo, steps_y: Sequence[float] | None = None
) -> tuple[tuple[Reference, ...], frozenset[str]]:
    """A 24-patch chart, a grey card, neutral steps where ``steps_y`` says what they are, or none;
    and the flags of what was found besides.

    A chart is returned only if all 24 patches fit their published colours; a card only if it is
    the one flat, even, nearly neutral, sharp-edged four-sided area of medium lightness; steps only
    as a straight row of as many as ``steps_y`` has values, dark or light end first.
    """
    return _references(photo, working_copy(photo), steps_y)


def _references(
    photo: Photo, copy: WorkingCopy, steps_y: Sequence[float] | None
) -> tuple[tuple[Reference, ...], frozenset[str]]:
    quads = flat_quads(copy)
    chart = find_chart(photo, copy, quads)
    found = [chart] if chart else []
    beside = quads if chart is None else _outside(quads, outline_px(chart, copy, 1.05))
    steps = None if steps_y is None else find_row(copy, beside, tuple(steps_y))
    if steps is not None:
        found.append(steps)  # and no card among them: each step looks like one
    card = find_card(copy, quads, [outline_px(r, copy, 1.25) for r in found])
    another = chart is not None and find_chart(photo, copy, beside) is not None
    flags = frozenset({"another chart"} if another else ())
    return ((*found, card) if card else tuple(found)), flags


def refuse_mirrored(photo: Photo) -> None:
    """Raise :class:`PictureMirrored` where a chart shows that the picture is mirrored. As long as
    the search itself, so it is for photos in which that found nothing."""
    turned = replace(photo, pixels=photo.pixels[:, ::-1])
    copy = working_copy(turned)
    if find_chart(turned, copy, flat_quads(copy)) is not None:
        raise PictureMirrored(
            "the picture is mirrored: a chart in it can be read only the other way round; switch "
            "the camera's mirroring off, or turn the picture back, and send it again"
        )


def _outside(quads: list[Quad], outline: Array) -> list[Quad]:
    """The quads whose middle is not within an outline: a chart's own greys are no steps."""
    import cv2

    border = np.asarray(outline, dtype=np.float32)
    return [q for q in quads if cv2.pointPolygonTest(border, (*map(float, q.centre),), False) < 0]


def _swatches(
    photo: Photo, copy: WorkingCopy, references: Sequence[Reference]
) -> tuple[tuple[SwatchRegion, ...], frozenset[str]]:
    """The largest clear piece of yarn outside the references, as a rectangle well inside it, and
    the flag of another."""
    taken = [outline_px(r, copy, 1.1) for r in references]
    swatch, another = find_swatch(copy, photo.encoding.to_xyz, taken)
    flags = frozenset({"another swatch"} if another else ())
    return (() if swatch is None else (swatch,)), flags


def outline_px(reference: Reference, copy: WorkingCopy, grown: float) -> Array:
    """(n, 2) convex outline of a reference in pixels of the copy, scaled about its middle."""
    import cv2

    points = reference.corners or tuple(p for patch in reference.patches for p in patch)
    hull = cv2.convexHull(np.array(points, dtype=np.float32)).reshape(-1, 2)
    hull = hull * (copy.width, copy.height)
    middle = hull.mean(axis=0)
    return np.asarray(middle + grown * (hull - middle))
