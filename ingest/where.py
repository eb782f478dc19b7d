"""Where things are in a photo, in order of trust: a person's marks, the printed mat, a search."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ingest.errors import MarksError, ReferenceMissing
from ingest.model import Layout, Photo, Polygon, Reference, Settings
from ingest.raster import bounding_box, centre_of, inside_quad, shrink_polygon, to_pixels

#: Longest side in pixels of the straight copy of a mat's place.
LARGEST_COPY = 1400
#: The copy shows the place with the paper around it, its outline scaled by this.
WITH_PAPER = 1.6


def locate(photo: Photo, layout: Layout | None, settings: Settings) -> Layout:
    """The layout to use: the given one, completed by a search where it names no reference.

    Without one the mat is looked for, then a card or chart and a swatch. Markers that do not
    place a mat are no reason to give up where the search finds a reference; where it does not,
    their :class:`MarksError` is raised.
    """
    if layout is not None:
        if layout.references or not settings.search:
            return layout
        return replace(layout, references=_references(photo, settings))
    if not settings.search:
        return Layout()
    from ingest.mat import find_mat

    try:
        found = find_mat(photo, bar_mm=settings.bar_mm)
    except MarksError:
        searched = _search(photo, settings)
        if not searched.references:
            raise
        return searched
    if found is None:
        return _search(photo, settings)
    place = found.regions.get("reference")
    references = () if place is None else _references_in(photo, place, settings)
    if not references and not settings.allow_uncorrected:
        raise ReferenceMissing(
            "the capture mat was found, but no card or chart that can be read on its place for "
            "one; steps need their values (--steps), or mark the reference by hand"
        )
    return replace(
        found.layout,
        references=references,
        surround=tuple(found.surround.values()),
        flags=frozenset({"mat not flat"} if found.warning else ()),
    )


def _search(photo: Photo, settings: Settings) -> Layout:
    from ingest.search import find_swatches, search_layout

    if settings.steps_y is None:
        return search_layout(photo)
    references = _references(photo, settings)
    return Layout(references, find_swatches(photo, references), located="search")


def _references(photo: Photo, settings: Settings) -> tuple[Reference, ...]:
    from ingest.search import find_references, find_steps

    found: Sequence[Reference] = find_references(photo)
    steps = None if settings.steps_y is None else find_steps(photo, settings.steps_y)
    if steps is None:
        return tuple(found)
    # One of the steps may look like a grey card of its own.
    alone = [r for r in found if not any(_inside(r, patch) for patch in steps.patches)]
    return (*alone, steps)


def _references_in(photo: Photo, place: Polygon, settings: Settings) -> tuple[Reference, ...]:
    """References on one four-cornered place, searched in a copy seen from straight above."""
    import cv2

    wide = shrink_polygon(place, WITH_PAPER)
    corners = to_pixels(wide, photo.width, photo.height)
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    scale = min(1.0, LARGEST_COPY / float(sides.max()))
    width, height = (int(max(a, b) * scale) for a, b in (sides[[0, 2]], sides[[1, 3]]))
    box = bounding_box(photo, wide)
    crop = np.ascontiguousarray(photo.pixels[box.y0 : box.y1, box.x0 : box.x1])
    target = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=np.float32)
    source = (corners - [box.x0, box.y0]).astype(np.float32)
    matrix = cv2.getPerspectiveTransform(source - 0.5, target - 0.5)
    above = cv2.warpPerspective(
        crop, matrix, (width, height), flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REPLICATE
    )
    found = _references(replace(photo, pixels=above), settings)
    moved = (_moved(r, wide) for r in found)
    return tuple(r for r in moved if _inside(r, place))


def _moved(reference: Reference, place: Polygon) -> Reference:
    """A reference found in the straight copy of a place, at its place in the photo."""

    def there(polygon: Polygon) -> Polygon:
        u, v = np.asarray(polygon, dtype=float).T
        return tuple((float(x), float(y)) for x, y in inside_quad(place, u, v))

    return replace(
        reference,
        patches=tuple(there(p) for p in reference.patches),
        corners=None if reference.corners is None else there(reference.corners),
    )


def _inside(reference: Reference, polygon: Polygon) -> bool:
    """Whether the middle of a reference lies inside a polygon."""
    import cv2

    points = reference.corners or tuple(p for patch in reference.patches for p in patch)
    hull = np.asarray(polygon, dtype=np.float32)
    return bool(cv2.pointPolygonTest(hull, centre_of(points), False) >= 0)
