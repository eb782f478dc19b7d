"""The corrected picture, or a piece of it, at the size of a screen: made small in linear light.

Yarn is strands and gaps: means of coded values would show it darker than it is, and two lots of
unlike texture wrongly against each other.
"""

from __future__ import annotations

import math

import numpy as np

from ingest.correction import Correction
from ingest.model import Array, Photo, Polygon
from ingest.raster import STRIP_PIXELS, Box, bounding_box
from ingest.rendition import Rendition, beyond, marked_codes
from ingest.screen import XYZ_TO_SRGB


def box_around(photo: Photo, polygon: Polygon, margin: float) -> Box:
    """Pixel box of a region with ``margin``, a share of its longer side, cut at the edges."""
    box = bounding_box(photo, polygon)
    more = round(margin * max(box.y1 - box.y0, box.x1 - box.x0))
    return Box(
        max(box.y0 - more, 0),
        min(box.y1 + more, photo.height),
        max(box.x0 - more, 0),
        min(box.x1 + more, photo.width),
    )


def render_small(
    photo: Photo, correction: Correction, long_side: int, box: Box | None = None
) -> Rendition:
    """The corrected picture inside ``box`` in sRGB, its longer side ``long_side`` or less.

    White and exposure as :func:`ingest.rendition.render`. Colours that sRGB cannot hold are
    marked after the picture was made small, so that the chequer stays one.
    """
    rgb = _linear_rgb(photo, correction, long_side, box or Box(0, photo.height, 0, photo.width))
    marked = beyond(rgb)
    return Rendition(marked_codes(rgb, marked), "srgb", float(marked.mean()))


def _linear_rgb(photo: Photo, correction: Correction, long_side: int, box: Box) -> Array:
    """Linear sRGB (h, w, 3), not yet cut to 0..1: a whole factor strip by strip, then the rest."""
    import cv2

    height, width = box.y1 - box.y0, box.x1 - box.x0
    k = max(max(height, width) // long_side, 1)
    rows, columns = max(height // k, 1), max(width // k, 1)
    out = np.empty((rows, columns, 3), dtype=np.float32)
    right = box.x0 + columns * k
    strip = max(STRIP_PIXELS // max(columns * k * k, 1), 1)
    for first in range(0, rows, strip):
        last = min(first + strip, rows)
        top, bottom = box.y0 + first * k, box.y0 + last * k
        linear = correction.linear(photo.pixels[top:bottom, box.x0 : right])
        linear = linear / _light(correction, photo, top, bottom, box.x0, right)
        small = linear.reshape(last - first, k, columns, k, 3).mean(axis=(1, 3))
        out[first:last] = correction.xyz(small) @ XYZ_TO_SRGB.T
    scale = long_side / max(rows, columns)
    if scale >= 1.0:
        return out
    size = (max(math.floor(columns * scale), 1), max(math.floor(rows * scale), 1))
    return np.asarray(cv2.resize(out, size, interpolation=cv2.INTER_AREA))


def _light(
    correction: Correction, photo: Photo, top: int, bottom: int, left: int, right: int
) -> Array:
    if correction.field is None:
        return np.ones((1, 1, 1), dtype=np.float32)
    y = (np.arange(top, bottom) + 0.5) / photo.height
    x = (np.arange(left, right) + 0.5) / photo.width
    points = np.stack(np.broadcast_arrays(x[None, :], y[:, None]), axis=-1)
    return np.asarray(correction.light_at(points)[..., None])
