"""What lies on the mat's place for a reference: a card, a strip of steps, or a chart.

On the mat the paper around is known and the place is seen from straight above, so what differs
from the paper in one piece is the thing laid down; its shape and evenness say what it is. All
bounds are our choice.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ingest.chartfind import find_chart
from ingest.flatareas import flat_quads, working_copy
from ingest.model import Array, Photo, Polygon, Reference, Settings
from ingest.raster import bounding_box, inside_quad, shrink_polygon, to_pixels
from ingest.stepfind import find_row

Floats = NDArray[np.float64]

#: Longest side in pixels of the straight copy of the place.
LARGEST_COPY = 1400
#: The copy shows the place with a little paper around it, its outline scaled by this.
WITH_PAPER = 1.12
#: A pixel is no paper from this difference of ln light in any channel on.
NO_PAPER = 0.25
#: Share of the place that a reference covers at least.
LEAST_SHARE = 0.04
#: Share of the largest piece under which another is a crumb.
CRUMB = 0.25
#: A rectangle is filled by its piece to at least this share.
FILLED = 0.9
#: Scatter of ln light within a card or a step up to which it is one grey; noise included.
ONE_GREY = 0.08
#: Largest difference of the channels' ln light against paper for a neutral.
NEUTRAL = 0.22
#: Sides' ratio from which a thing is a strip.
STRIP = 2.2
#: A card reflects between these shares of what paper does.
CARD_LIGHT = (0.08, 0.45)


class Straight(NamedTuple):
    """A place seen from straight above: the copy as a photo, and its corners in the picture."""

    photo: Photo
    corners: Polygon


def reference_on(photo: Photo, place: Polygon, settings: Settings) -> Reference | None:
    """The reference that lies on the mat's place, or ``None`` where nothing clear does.

    Steps are recognised where ``settings.steps_y`` says how many and what they are.
    """
    straight = straighten(photo, place)
    copy = working_copy(straight.photo)
    quads = flat_quads(copy)
    found = find_chart(straight.photo, copy, quads)
    if found is None and settings.steps_y is not None:
        found = find_row(copy, quads, settings.steps_y)
    ratio = _against_paper(straight.photo)
    things = _things_on(ratio)
    if found is None and len(things) == 1:  # one of several tiles is no card
        found = _as_card(ratio, things[0])
        if found is None and settings.steps_y is not None:
            found = _as_steps(ratio, things[0], settings.steps_y)
    return None if found is None else _moved(found, straight.corners)


def straighten(photo: Photo, place: Polygon) -> Straight:
    """A copy of a four-cornered place, seen from straight above, still coded."""
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
    above = cv2.warpPerspective(crop, matrix, (width, height), borderMode=cv2.BORDER_REPLICATE)
    return Straight(replace(photo, pixels=above), wide)


def _against_paper(photo: Photo) -> Floats:
    """(h, w, 3) ln light against the paper: the bright side of each channel's values."""
    curve = photo.encoding.curve
    light = np.stack([curve[:, c][photo.pixels[..., c]] for c in range(3)], axis=-1)
    log = np.log(np.maximum(light, 1e-4)).astype(float)
    total = log.sum(axis=2)
    bright = total >= np.percentile(total, 60)
    return np.asarray(log - np.median(log[bright], axis=0))


def _things_on(ratio: Floats) -> list[Floats]:
    """(4, 2) pixel corners, running around, of the pieces that are no paper; none where the
    largest is too small for a reference or no rectangle. Crumbs beside it do not count."""
    import cv2

    mask = (np.abs(ratio).max(axis=2) > NO_PAPER).astype(np.uint8)
    small = max(min(mask.shape) // 250, 1)  # takes away the printed outlines, keeps a frame
    mask = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((2 * small + 1,) * 2, np.uint8))
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    areas = [float(cv2.contourArea(o)) for o in outlines]
    largest = max(areas, default=0.0)
    if largest < LEAST_SHARE * mask.size:
        return []
    rectangles = [
        cv2.minAreaRect(outline)
        for outline, area in zip(outlines, areas, strict=True)
        if area > CRUMB * largest
    ]
    first = rectangles[int(np.argmax([a for a in areas if a > CRUMB * largest]))]
    if largest < FILLED * max(first[1][0] * first[1][1], 1.0):
        return []
    return [np.asarray(cv2.boxPoints(r), dtype=float) for r in rectangles]


def _as_card(ratio: Floats, corners: Floats) -> Reference | None:
    values = _values(ratio, _shrunk(corners, 0.8))
    middle = np.median(values, axis=0)
    light = float(np.exp(middle.mean()))
    even = float(values.std(axis=0).max()) < ONE_GREY
    neutral = float(np.ptp(middle)) < NEUTRAL
    if not (even and neutral and CARD_LIGHT[0] < light < CARD_LIGHT[1]):
        return None
    return Reference("card", (_fractions(corners, ratio),), located="mat", confidence=0.9)


def _as_steps(ratio: Floats, corners: Floats, y: tuple[float, ...]) -> Reference | None:
    """A strip cut into equal steps, if they are even and get darker as stated, from either end."""
    sides = np.hypot(*(np.roll(corners, -1, axis=0) - corners).T)
    start = 0 if sides[0] >= sides[1] else 1
    if max(sides[:2]) < STRIP * min(sides[:2]):
        return None
    a, b, c, d = np.roll(corners, -start, axis=0)
    cells = []
    for i in range(len(y)):
        along = [(i + t) / len(y) for t in (0.25, 0.75)]
        across = (0.25, 0.75)
        cells.append(
            np.array(
                [
                    (1 - v) * ((1 - u) * a + u * b) + v * ((1 - u) * d + u * c)
                    for u, v in (
                        (along[0], across[0]),
                        (along[1], across[0]),
                        (along[1], across[1]),
                        (along[0], across[1]),
                    )
                ]
            )
        )
    values = [_values(ratio, cell) for cell in cells]
    light = np.array([np.median(v, axis=0).mean() for v in values])
    even = all(float(v.std(axis=0).max()) < 2.0 * ONE_GREY for v in values)
    falling = np.all(np.diff(light) < -0.05)
    rising = np.all(np.diff(light) > 0.05)
    if not even or not (falling or rising):
        return None
    stated_falling = y[0] > y[-1]
    if bool(falling) != stated_falling:
        cells.reverse()
    patches = tuple(_fractions(cell, ratio) for cell in cells)
    return Reference("steps", patches, y=y, located="mat", confidence=0.9)


def _values(ratio: Floats, corners: Floats) -> Floats:
    import cv2

    mask = np.zeros(ratio.shape[:2], dtype=np.uint8)
    cv2.fillPoly(mask, [np.round(corners).astype(np.int32)], 1)
    return np.asarray(ratio[mask > 0])


def _shrunk(corners: Floats, factor: float) -> Floats:
    middle = corners.mean(axis=0)
    return np.asarray(middle + factor * (corners - middle))


def _fractions(corners: Floats, picture: Array) -> Polygon:
    height, width = picture.shape[:2]
    return tuple((float((x + 0.5) / width), float((y + 0.5) / height)) for x, y in corners)


def _moved(reference: Reference, place: Polygon) -> Reference:
    """A reference found in the straight copy of a place, at its place in the photo."""

    def there(polygon: Polygon) -> Polygon:
        u, v = np.asarray(polygon, dtype=float).T
        return tuple((float(x), float(y)) for x, y in inside_quad(place, u, v))

    return replace(
        reference,
        patches=tuple(there(p) for p in reference.patches),
        corners=None if reference.corners is None else there(reference.corners),
        located="mat",
    )
