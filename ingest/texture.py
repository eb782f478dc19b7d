"""How fine the light and dark of a region's strands is, and how strong."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ingest.correction import Correction
from ingest.model import Array, Photo, SwatchRegion
from ingest.raster import bounding_box, polygon_mask

#: Side in pixels of the middle window in which texture is looked at. Our choice.
WINDOW = 512
#: Every so many lines of that window are looked at for the texture's length. Our choice.
LINES = 4
#: Side in millimetres of the neighbourhood about which strand light and dark is taken. Our choice.
NEIGHBOURHOOD_MM = 5.0


@dataclass(frozen=True)
class Texture:
    """Texture of a region: lengths in pixels along x and y, and the sd of ln Y within it."""

    length_x: float
    length_y: float
    shadow_sd: float


def look_at_texture(
    photo: Photo, region: SwatchRegion, correction: Correction, mm_per_px: float
) -> Texture:
    """Texture lengths and strand contrast in the middle window of a region.

    A texture length is the lag at which the autocorrelation of ln Y along an axis falls to
    1/e. ``shadow_sd`` is the standard deviation of ln Y about its mean over 5 mm (where the
    scale is unknown: over four texture lengths), which is strand against gap and not the dye.
    """
    import cv2

    box = bounding_box(photo, region.polygon)
    mask = polygon_mask(photo, region.polygon, box)
    y_mid, x_mid = _middle(mask)
    y0 = int(np.clip(y_mid - WINDOW / 2, 0, max(mask.shape[0] - WINDOW, 0)))
    x0 = int(np.clip(x_mid - WINDOW / 2, 0, max(mask.shape[1] - WINDOW, 0)))
    inside = mask[y0 : y0 + WINDOW, x0 : x0 + WINDOW]
    top, left = box.y0 + y0, box.x0 + x0
    crop = photo.pixels[top : top + inside.shape[0], left : left + inside.shape[1]]
    light = correction.linear(crop) @ correction.to_xyz[1].astype(np.float32)
    log = np.log(np.maximum(light, 1e-3)).astype(np.float32)
    weight = inside.astype(np.float32)
    mean = float((log * weight).sum() / max(weight.sum(), 1.0))
    centred = (log - mean) * weight
    length_y, length_x = (_correlation_length(centred, weight, axis) for axis in (0, 1))
    side = NEIGHBOURHOOD_MM / mm_per_px if mm_per_px > 0 else 4.0 * max(length_x, length_y)
    side = int(np.clip(side, 3, max(min(inside.shape), 3))) | 1
    local = cv2.blur(centred, (side, side)) / np.maximum(cv2.blur(weight, (side, side)), 1e-3)
    residual = (centred - local)[inside]
    shadow = float(residual.std()) if residual.size else math.nan
    return Texture(length_x, length_y, shadow)


def _middle(mask: Array) -> tuple[float, float]:
    """Mean row and column of a mask; zeros if it is empty."""
    count = max(int(np.count_nonzero(mask)), 1)
    rows, columns = (mask.sum(axis=axis, dtype=np.int64) for axis in (1, 0))
    return float(rows @ np.arange(rows.size)) / count, float(
        columns @ np.arange(columns.size)
    ) / count


def _correlation_length(centred: Array, weight: Array, axis: int) -> float:
    """Lag in pixels, along ``axis``, at which the autocorrelation has fallen to 1/e."""
    lines = centred[:, ::LINES] if axis == 0 else centred[::LINES]
    weights = weight[:, ::LINES] if axis == 0 else weight[::LINES]
    n = centred.shape[axis]
    size = 1 << int(np.ceil(np.log2(max(2 * n, 2))))
    other = 1 - axis
    power = (np.abs(np.fft.rfft(lines, size, axis=axis)) ** 2).sum(axis=other)
    pairs = (np.abs(np.fft.rfft(weights, size, axis=axis)) ** 2).sum(axis=other)
    lags = max(n // 2, 1)
    covariance = np.fft.irfft(power, size)[:lags]
    counts = np.fft.irfft(pairs, size)[:lags]
    rho = covariance / np.maximum(counts, 1.0)
    if rho[0] <= 0:
        return 1.0
    below = np.flatnonzero(rho < rho[0] / math.e)
    return float(below[0]) if len(below) else float(lags)
