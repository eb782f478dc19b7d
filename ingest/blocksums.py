"""Corrected light of a region summed over blocks, and from blocks the mean and its covariance.

Neighbouring pixels of yarn are not independent; blocks several texture lengths wide nearly are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ingest.background import Background
from ingest.correction import Correction
from ingest.model import Array, Photo, SwatchRegion
from ingest.raster import bounding_box, brightest, darkest, strips
from ingest.reading import clip_code, zero_code

Floats = NDArray[np.float64]

#: A block is at least this many texture lengths wide and high. Our choice.
BLOCK_LENGTHS = 4
#: Most blocks along one side; more do not improve the estimate. Our choice.
MOST_BLOCKS = 24


@dataclass(frozen=True, eq=False)
class BlockSums:
    """Sums over a grid of blocks: ``light`` (rows, columns, 3), linear RGB, of the pixels ``kept``
    (rows, columns); and counts of pixels over the whole region.

    ``total``: all of it. ``clipped``, ``at_zero``: of yarn, with a channel at the top, at the
    bottom. ``background``: left out. ``glare``: far brighter than coloured yarn, and colourless.
    """

    light: Floats
    kept: Floats
    total: int
    clipped: int
    background: int
    at_zero: int
    glare: int

    @property
    def yarn(self) -> int:
        """Pixels that are not left out."""
        return self.total - self.background


def sum_blocks(
    photo: Photo,
    region: SwatchRegion,
    correction: Correction,
    background: Background | None,
    block: tuple[int, int],
) -> BlockSums:
    """Sum corrected light over blocks of (rows, columns) pixels, strip by strip."""
    block_y, block_x = block
    light, kept = [], []
    total = clipped = behind = at_zero = glare = 0
    zero = zero_code(photo.encoding)
    for strip in strips(photo, region.polygon, rows_multiple=block_y):
        linear = correction.linear(strip.pixels)
        seen = strip.mask.copy()
        if background is not None and background.open:
            gaps = background.mask(linear) & seen
            behind += int(gaps.sum())
            seen &= ~gaps
        total += int(strip.mask.sum())
        # Clipped pixels are yarn and stay in the mean: without them it errs four times as far.
        clipped += int(((brightest(strip.pixels) >= clip_code(strip.pixels)) & seen).sum())
        at_zero += int(((darkest(strip.pixels) <= zero) & seen).sum())
        glare += _glare(linear, seen)
        light.append(_reduce(linear * seen[..., None], block_y, block_x))
        kept.append(_reduce(seen.astype(np.float32)[..., None], block_y, block_x)[..., 0])
    return BlockSums(
        np.concatenate(light), np.concatenate(kept), total, clipped, behind, at_zero, glare
    )


def light_divided_out(
    sums: BlockSums,
    correction: Correction,
    photo: Photo,
    region: SwatchRegion,
    block: tuple[int, int],
) -> BlockSums:
    """The blocks' light over the relative light at their middles."""
    if correction.field is None:
        return sums
    box = bounding_box(photo, region.polygon)
    rows, columns = sums.kept.shape
    y = (box.y0 + (np.arange(rows) + 0.5) * block[0]) / photo.height
    x = (box.x0 + (np.arange(columns) + 0.5) * block[1]) / photo.width
    points = np.stack(np.broadcast_arrays(x[None, :], y[:, None]), axis=-1)
    return replace(sums, light=sums.light / correction.light_at(points)[..., None])


def mean_and_covariance(sums: BlockSums, full: int) -> tuple[Floats, Floats, int]:
    """Mean RGB (3,), its covariance (3, 3) from block means, and the number of blocks.

    Blocks at least half full count, each by its pixels. Covariance of a weighted mean:
    sum w^2 r r' / (1 - sum w^2) with normalised weights and residuals r about the mean, which
    is s^2/n for equal blocks, times (n - 1)/(n - 3), the variance of Student's t (JCGM 101:2008,
    6.4.9). Up to three blocks it is unknown, and a relative standard uncertainty of 5 % in each
    channel stands for it (our guess, no source).
    """
    kept = sums.kept.ravel()
    light = sums.light.reshape(-1, 3)
    mean = light.sum(axis=0) / kept.sum()
    use = kept >= 0.5 * full
    blocks = int(use.sum())
    if blocks <= 3:
        return mean, np.diag((0.05 * mean) ** 2), blocks
    weight = kept[use] / kept[use].sum()
    residual = light[use] / kept[use, None] - mean
    spread = weight**2
    cov = (residual * spread[:, None]).T @ residual / (1.0 - spread.sum())
    return mean, cov * (blocks - 1) / (blocks - 3), blocks


def block_side(length: float, extent: int) -> int:
    """Side in pixels of a block along ``extent`` pixels of yarn with this texture length."""
    side = max(math.ceil(BLOCK_LENGTHS * length), math.ceil(extent / MOST_BLOCKS), 4)
    return max(min(side, extent), 1)


def dependence(length: float, side: int) -> float:
    """How many times the variance of a mean exceeds what its blocks along one axis say.

    Blocks beside each other are not quite independent. With an autocorrelation of exp(-lag / l)
    a block's mean has the variance (2 l / b)(1 - (l / b)(1 - exp(-b / l))), its integral over
    the block; many blocks together have the first factor alone. A length is known to the pixel:
    half a pixel less is its middle.
    """
    ratio = max(length - 0.5, 0.5) / side
    return 1.0 / (1.0 + ratio * math.expm1(-1.0 / ratio))


def _glare(linear: Array, seen: Array) -> int:
    """Pixels much brighter than their coloured yarn, and colourless; counted on every third."""
    thin, kept = linear[::3, ::3], seen[::3, ::3]
    if not kept.any():
        return 0
    mean = thin[kept].mean(axis=0)
    if mean.min() > 0.6 * mean.max():
        return 0
    top = brightest(thin)
    found = (top > 2.5 * mean.max()) & (darkest(thin) > 0.75 * top) & kept
    return 9 * int(found.sum())


def _reduce(values: Array, block_y: int, block_x: int) -> Floats:
    """Sums over blocks of (rows, columns, channels), the last ones cut at the edge."""
    rows = np.add.reduceat(values, np.arange(0, values.shape[0], block_y), axis=0)
    columns = np.add.reduceat(rows, np.arange(0, values.shape[1], block_x), axis=1)
    return columns.astype(np.float64)
