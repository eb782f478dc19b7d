"""Strands in a region: how wide they are, which way they run, and where their rims are."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ingest.model import Array

Floats = NDArray[np.float64]

#: Blur of slopes and of bends of light that mark a rim, as shares of a strand's width.
STEEP, BENT = 0.14, 0.22
#: Weights of the marks: steep light at either blur, and light that bends upward. Their ratio is
#: from a regression on the square of the place across a strand, on renders; their size is such
#: that the depth told, where its sign is right, is too small in half of the renders.
STEEP_WEIGHT, BENT_WEIGHT = 0.0975, 0.045
#: Square in strand's widths in which slopes are steep, or have a direction.
AROUND = 2.8
#: Blur in mm of the likeness of strands by lag, and its first least in widths of a strand: on
#: renders 0.6 to 1.7 of the width is found, by form.
LAG_BLUR_MM, LEAST_ALIKE = 0.35, 0.58


def strand_width(alike: tuple[Floats, Floats], cell_mm: float) -> float:
    """Width of a strand in mm, from the lag at which strands are least alike; NaN for none.

    ``alike``: covariance of light and dark by lag in cells, across and down.
    """
    reach = math.ceil(3.0 * LAG_BLUR_MM / cell_mm)
    smooth = np.exp(-0.5 * (np.arange(-reach, reach + 1) * cell_mm / LAG_BLUR_MM) ** 2)
    found = []
    for rho in alike:
        if len(rho) < 2 * reach + 3:
            continue
        even = np.concatenate([rho[reach:0:-1], rho])
        r = np.convolve(even, smooth / smooth.sum(), "valid")
        low = np.flatnonzero((r[1:-1] <= 0.0) & (r[1:-1] <= r[:-2]) & (r[1:-1] < r[2:]))
        if len(low):
            found.append((int(low[0]) + 1) * cell_mm)
    return min(found) / LEAST_ALIKE if found else math.nan


def rim_marks(fine: Array, width: float) -> tuple[Array, tuple[Array, Array]]:
    """(h, w) large at rims, and the direction across strands as a cosine and a sine (h, w).

    A rim is where light falls steeply, or where it bends upward across the strand.
    """
    found = np.zeros_like(fine)
    gx = gy = fine
    for blur in (STEEP, BENT):
        gx, gy = slopes(blurred(fine, max(blur * width, 0.6)))
        square = gx * gx + gy * gy
        found += np.float32(STEEP_WEIGHT) * np.sqrt(square) / _root_mean(square, width)
    twice_sine, twice_cosine = _around(2.0 * gx * gy, width), _around(gx * gx - gy * gy, width)
    length = np.hypot(twice_sine, twice_cosine) + np.float32(1e-12)
    c = np.sqrt(np.maximum(0.5 * (1.0 + twice_cosine / length), 0.0))
    s = np.copysign(np.sqrt(np.maximum(0.5 * (1.0 - twice_cosine / length), 0.0)), twice_sine)
    (gxx, gxy), (_, gyy) = slopes(gx), slopes(gy)
    bend = gxx * c * c + 2.0 * gxy * c * s + gyy * s * s
    scaled = bend / _root_mean(bend * bend, width)
    found += np.float32(BENT_WEIGHT) * np.clip(scaled, -2.0, 2.0)
    return found, (c, s)


def blurred(values: Array, sigma: float) -> Array:
    import cv2

    return np.asarray(cv2.GaussianBlur(values, (0, 0), sigma))


def _around(values: Array, width: float) -> Array:
    """Mean about each cell, over a square of some two strands."""
    import cv2

    side = round(AROUND * width) | 1
    return np.asarray(cv2.blur(values, (side, side)))


def _root_mean(square: Array, width: float) -> Array:
    """Root of the mean about each cell of what is squared; sums that run lose a little."""
    return np.asarray(np.sqrt(np.maximum(_around(square, width), np.float32(1e-9))))


def slopes(values: Array) -> tuple[Array, Array]:
    import cv2

    return (
        np.asarray(cv2.Sobel(values, cv2.CV_32F, 1, 0, scale=0.125)),
        np.asarray(cv2.Sobel(values, cv2.CV_32F, 0, 1, scale=0.125)),
    )
