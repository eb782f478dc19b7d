"""Smooth random fields that the third renderer draws yarn with: over a photo, along a line, along
the fibres."""

from __future__ import annotations

import cv2
import numpy as np

from ingest.model import Array

F = np.float32
#: Cells of a field's own grid for each length of correlation, and samples likewise of a line.
CELLS = 5
#: Values of noise along a yarn, after which it comes again.
ROUND = 1 << 16


def smooth(
    rng: np.random.Generator,
    shape: tuple[int, int],
    correlation_mm: tuple[float, float],
    px_per_mm: float,
) -> Array:
    """(h, w) float32 of mean 0 and standard deviation 1. ``correlation_mm``: down and across."""
    steps = [max(c / CELLS, 1.0 / px_per_mm) for c in correlation_mm]
    sigma = [max(c / 2.0 / step, 0.3) for c, step in zip(correlation_mm, steps, strict=True)]
    edge = [int(4.0 * s) + 1 for s in sigma]
    size = [int(np.ceil(n / px_per_mm / step)) + 3 for n, step in zip(shape, steps, strict=True)]
    noise = rng.standard_normal([n + 2 * e for n, e in zip(size, edge, strict=True)], dtype=F)
    noise = cv2.GaussianBlur(noise, (0, 0), sigmaX=sigma[1], sigmaY=sigma[0])
    noise = noise[edge[0] : -edge[0], edge[1] : -edge[1]]
    noise = noise * F(2.0 * np.sqrt(np.pi * sigma[0] * sigma[1]))
    down, across = (
        np.arange(n, dtype=F) * F(1.0 / px_per_mm / step) + F(rng.uniform(0.2, 1.0))
        for n, step in zip(shape, steps, strict=True)
    )
    x, y = np.meshgrid(across, down)
    return np.asarray(cv2.remap(noise, x, y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT))


def line(rng: np.random.Generator, count: int, correlation: float) -> Array:
    """(count,) of mean 0 and standard deviation 1. ``correlation``: in samples."""
    step = max(correlation / CELLS, 1.0)
    sigma = max(correlation / step / 2.0, 0.5)
    kernel = np.exp(-0.5 * (np.arange(-18, 19) / sigma) ** 2)
    noise = rng.standard_normal(int(count / step) + 46)
    noise = np.convolve(noise, kernel / np.sqrt((kernel**2).sum()), "same")[20:-20]
    return np.interp(np.arange(count) / step + rng.uniform(), np.arange(len(noise)), noise)


def along(rng: np.random.Generator, run: Array, correlation_mm: float) -> Array:
    """(h, w) noise along the yarn at ``run`` mm of it, so that each strand has its own."""
    kernel = np.exp(-0.5 * (np.arange(-8, 9) / 2.0) ** 2)
    noise = rng.standard_normal(ROUND)
    noise = np.convolve(np.r_[noise[-8:], noise, noise[:8]], kernel, "same")[8:-8]
    noise = (noise / np.sqrt((kernel**2).sum())).astype(F)
    at = run.astype(np.float64) / (correlation_mm / 4.0)
    whole = np.floor(at).astype(np.int64)
    part = (at - whole).astype(F)
    whole %= ROUND
    return np.asarray(noise[whole] * (1.0 - part) + noise[(whole + 1) % ROUND] * part)


def streaks(rng: np.random.Generator, angle: Array, length_px: float, sigma_px: float) -> Array:
    """(h, w) of mean 0 and standard deviation 1: noise of ``sigma_px`` drawn out along ``angle``
    (rad): a line-integral convolution, its length doubled at each step."""
    h, w = angle.shape
    noise = cv2.GaussianBlur(rng.standard_normal((h, w), dtype=F), (0, 0), sigma_px)
    x, y = np.meshgrid(np.arange(w, dtype=F), np.arange(h, dtype=F))
    cos, sin = np.cos(angle), np.sin(angle)
    reach = 0.75
    while reach < max(length_px, 1.5):
        ahead, behind = (
            cv2.remap(
                noise,
                x + cos * F(side * reach / 2.0),
                y + sin * F(side * reach / 2.0),
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REFLECT_101,
            )
            for side in (1.0, -1.0)
        )
        noise = F(0.5) * (ahead + behind)
        reach *= 2.0
    noise -= noise.mean()
    return np.asarray(noise / noise.std())
