"""How the light changes across the greys of a reference themselves: all that a photo shows of it
where nothing plain lies about what was laid down."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ingest.flags import CLIPPED_NOTED
from ingest.model import Array, Photo, Polygon
from ingest.raster import bounding_box, polygon_mask
from ingest.reading import clip_code

Floats = NDArray[np.float64]

#: Cells that a grey is looked at as, in each direction: larger than the blocks of 16 pixels in
#: which a JPEG stores colour, where a grey has 64.
CELLS = 4
#: Change from the first cells of a grey to the last of ln of its light, and of the ratio of two
#: channels, by print, sheen, noise and compression: root mean square of the larger of both
#: directions and of all ratios in 35 greys of seven outside photographs of charts by phone, in one
#: light each (0.018 to 0.037; 0.014 to 0.033).
LEVEL_BY_ITSELF, TINT_BY_ITSELF = 0.030, 0.022
#: How many times that a change must be, over all greys, to be the light's. Our choice.
SURELY = 3.0
#: Least corrected light of a grey's channels: darker ones are noise and veil. Our choice.
LEAST_LIGHT = 0.05
#: Pixels of a grey that are read at most in each direction.
MOST_PIXELS = 200


def slopes_within(photo: Photo, curve: Array, greys: Sequence[Polygon]) -> Floats:
    """(2, 2) slopes, across and down, of ln of the light, and the largest of ln of a ratio of two
    channels, per long side of the picture, as ``greys`` show it each within itself; 0 where none
    is sure.

    ``curve``: (levels, 3) coded to corrected linear light.
    """
    size = np.array([photo.width, photo.height], dtype=float)
    weights, slopes = np.zeros(2), np.zeros((2, 3))
    for polygon in greys:
        at, light = _cells(photo, curve, polygon)
        if len(at) < CELLS * CELLS // 2 or light.min() < LEAST_LIGHT:
            continue
        at = at / size.max()
        at = at - at.mean(axis=0)
        slope = np.linalg.lstsq(at, np.log(light) - np.log(light).mean(axis=0), rcond=None)[0]
        weight = np.ptp(at, axis=0) ** 2
        weights += weight
        slopes += weight[:, None] * slope
    if not weights.all():
        return np.zeros((2, 2))
    slopes /= weights[:, None]
    pairs = combinations(range(3), 2)
    tint = np.max([np.abs(slopes[:, i] - slopes[:, j]) for i, j in pairs], axis=0)
    seen = np.stack([np.abs(slopes.mean(axis=1)), tint])
    alone = np.array([[LEVEL_BY_ITSELF], [TINT_BY_ITSELF]]) / np.sqrt(weights)
    return np.where(seen > SURELY * alone, seen, 0.0)


def _cells(photo: Photo, curve: Array, polygon: Polygon) -> tuple[Floats, Floats]:
    """(n, 2) middles in pixels and (n, 3) mean light of a grey's cells; none if it is clipped."""
    box = bounding_box(photo, polygon)
    mask = polygon_mask(photo, polygon, box)
    step = max(max(mask.shape) // MOST_PIXELS, 1)
    crop, mask = photo.pixels[box.y0 : box.y1 : step, box.x0 : box.x1 : step], mask[::step, ::step]
    ys, xs = np.nonzero(mask)
    codes = crop[ys, xs]
    if len(ys) == 0 or (codes >= clip_code(codes)).any(axis=-1).mean() > CLIPPED_NOTED:
        return np.zeros((0, 2)), np.zeros((0, 3))
    cell = ys * CELLS // mask.shape[0] * CELLS + xs * CELLS // mask.shape[1]
    count = np.bincount(cell, minlength=CELLS * CELLS)
    values = (xs * step, ys * step, *(curve[:, c][codes[:, c]] for c in range(3)))
    sums = [np.bincount(cell, weights=v, minlength=CELLS * CELLS) for v in values]
    full = count >= 0.5 * mask.size / CELLS**2
    means = np.stack(sums, axis=-1)[full] / count[full, None]
    return means[:, :2], means[:, 2:]
