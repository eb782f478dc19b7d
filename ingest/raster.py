"""Cutting regions out of a decoded photo: polygons, masks, strips, small copies.

Pixels stay coded and are never copied as a whole frame; polygons are fractions of the picture.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np

from ingest.model import Array, Photo, Polygon

#: Rows times columns that one strip holds at most; keeps float copies near 10 MB. Our choice.
STRIP_PIXELS = 900_000


class Box(NamedTuple):
    """Half-open pixel box: rows y0..y1, columns x0..x1."""

    y0: int
    y1: int
    x0: int
    x1: int


class Strip(NamedTuple):
    """A few rows of a region: coded pixels (h, w, 3) and their mask (h, w) of bool."""

    y0: int
    x0: int
    pixels: Array
    mask: Array


def to_pixels(polygon: Polygon, width: int, height: int) -> Array:
    """(n, 2) x, y in pixel coordinates where (0, 0) is the first pixel's outer corner."""
    return np.asarray(np.asarray(polygon, dtype=float) * np.array([width, height]))


def bounding_box(photo: Photo, polygon: Polygon) -> Box:
    """Smallest pixel box around a polygon, cut at the picture's edges."""
    points = to_pixels(polygon, photo.width, photo.height)
    x0, y0 = np.floor(points.min(axis=0)).astype(int)
    x1, y1 = np.ceil(points.max(axis=0)).astype(int)
    return Box(max(y0, 0), min(y1, photo.height), max(x0, 0), min(x1, photo.width))


def polygon_mask(photo: Photo, polygon: Polygon, box: Box) -> Array:
    """(h, w) bool over ``box``: pixels whose centres lie inside the polygon."""
    import cv2

    bits = 4  # sixteenths of a pixel, cv2's fixed-point form
    points = to_pixels(polygon, photo.width, photo.height) - np.array([box.x0, box.y0]) - 0.5
    mask = np.zeros((box.y1 - box.y0, box.x1 - box.x0), dtype=np.uint8)
    fixed = np.round(points * (1 << bits)).astype(np.int32)
    cv2.fillPoly(mask, [fixed], 1, lineType=cv2.LINE_8, shift=bits)
    return np.asarray(mask.astype(bool))


def strips(photo: Photo, polygon: Polygon, rows_multiple: int = 1) -> Iterator[Strip]:
    """The region of a polygon in strips of rows, each a multiple of ``rows_multiple`` high."""
    box = bounding_box(photo, polygon)
    mask = polygon_mask(photo, polygon, box)
    width = max(box.x1 - box.x0, 1)
    rows = max(STRIP_PIXELS // width // rows_multiple, 1) * rows_multiple
    for top in range(box.y0, box.y1, rows):
        bottom = min(top + rows, box.y1)
        yield Strip(
            top,
            box.x0,
            photo.pixels[top:bottom, box.x0 : box.x1],
            mask[top - box.y0 : bottom - box.y0],
        )


def brightest(pixels: Array) -> Array:
    """Largest channel of (..., 3); much faster than a reduction over an axis of three."""
    return np.asarray(np.maximum(np.maximum(pixels[..., 0], pixels[..., 1]), pixels[..., 2]))


def darkest(pixels: Array) -> Array:
    """Smallest channel of (..., 3)."""
    return np.asarray(np.minimum(np.minimum(pixels[..., 0], pixels[..., 1]), pixels[..., 2]))


def region_pixels(photo: Photo, polygon: Polygon, most: int = 250_000) -> Array:
    """(n, 3) coded pixels inside a polygon, evenly thinned to about ``most``."""
    box = bounding_box(photo, polygon)
    mask = polygon_mask(photo, polygon, box)
    crop = photo.pixels[box.y0 : box.y1, box.x0 : box.x1]
    step = max(int(np.ceil(np.sqrt(mask.size / max(most, 1)))), 1)
    return np.asarray(crop[::step, ::step][mask[::step, ::step]])


def shrink_polygon(polygon: Polygon, factor: float) -> Polygon:
    """The polygon scaled about the mean of its corners."""
    points = np.asarray(polygon, dtype=float)
    centre = points.mean(axis=0)
    return tuple((float(x), float(y)) for x, y in centre + (points - centre) * factor)


def convex_hull(*polygons: Polygon) -> Polygon:
    """One convex outline around all corners of polygons."""
    import cv2

    points = np.array([point for polygon in polygons for point in polygon], dtype=np.float32)
    return tuple((float(x), float(y)) for x, y in cv2.convexHull(points)[:, 0])


def small_copy(pixels: Array, long_side: int) -> Array:
    """The picture (h, w, 3) scaled down by area so that its long side is ``long_side``, same dtype.

    ``pixels`` may be a turned or mirrored view: the scaling is done in memory order, so that
    no upright copy of the whole frame is made. Pictures already smaller are copied as they are.
    """
    import cv2

    height, width = pixels.shape[:2]
    scale = long_side / max(height, width)
    if scale >= 1.0:
        return np.ascontiguousarray(pixels)
    size = (max(round(height * scale), 1), max(round(width * scale), 1))
    flips = tuple(slice(None, None, -1 if stride < 0 else 1) for stride in pixels.strides[:2])
    base = pixels[flips]
    turned = base.strides[0] < base.strides[1]
    memory_strides = pixels.strides[1::-1] if turned else pixels.strides[:2]
    if turned:
        base, size = base.transpose(1, 0, 2), size[::-1]
    # A whole factor first is several times as fast; it drops less than half a row of the copy
    # at each edge, the same ones whichever way the view is turned.
    whole = min(base.shape[0] // size[0], base.shape[1] // size[1])
    if whole > 1:
        rows, columns = base.shape[0] // whole, base.shape[1] // whole
        y0, x0 = (
            (extent % whole + (stride < 0)) // 2
            for extent, stride in zip(base.shape[:2], memory_strides, strict=True)
        )
        base = base[y0 : y0 + rows * whole, x0 : x0 + columns * whole]
        base = cv2.resize(base, (columns, rows), interpolation=cv2.INTER_AREA)
    small = cv2.resize(base, size[::-1], interpolation=cv2.INTER_AREA)
    if turned:
        small = small.transpose(1, 0, 2)
    return np.ascontiguousarray(small[flips])


#: Long side in pixels of the copy that preview and light field share. Our choice.
SMALL_SIDE = 640
_small: WeakKeyDictionary[Photo, dict[int, Array]] = WeakKeyDictionary()


def small_picture(photo: Photo, long_side: int = SMALL_SIDE) -> Array:
    """The coded picture, long side 640 or less; made once a photo, since it reads all of it.

    A ``long_side`` below 640 is made from that copy, once too.
    """
    made = _small.setdefault(photo, {})
    if SMALL_SIDE not in made:
        made[SMALL_SIDE] = small_copy(photo.pixels, SMALL_SIDE)
    if long_side not in made:
        made[long_side] = small_copy(made[SMALL_SIDE], long_side)
    return made[long_side]


def inside_quad(corners: Polygon, u: Array, v: Array) -> Array:
    """(..., 2) fractions of the picture of places (u, v) in 0..1 across four corners.

    The corners run around; (0, 0), (1, 0), (1, 1), (0, 1) are the first to the fourth. A plane
    seen in perspective: the mapping is a homography.
    """
    import cv2

    unit = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=np.float32)
    matrix = cv2.getPerspectiveTransform(unit, np.asarray(corners, dtype=np.float32))
    uv1 = np.stack([u, v, np.ones_like(u)], axis=-1)
    xyw = uv1 @ np.asarray(matrix, dtype=float).T
    return np.asarray(xyw[..., :2] / xyw[..., 2:3])
