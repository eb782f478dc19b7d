"""From a region of yarn to its mean colour and the doubt that comes from the region itself.

The mean is the plain mean of corrected linear light over the region's mask. Its doubt comes
from means over blocks of several texture lengths, because neighbouring pixels are not
independent.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ingest.background import Background, find_background
from ingest.colour import xyz_to_lab
from ingest.correct import Correction
from ingest.doubt import lab_covariance
from ingest.errors import SwatchError
from ingest.evenness_region import region_tonality
from ingest.model import Array, Measurement, Photo, Settings, SwatchRegion
from ingest.optimal import fluorescence_flags
from ingest.raster import bounding_box, brightest, darkest, polygon_mask, strips
from ingest.reading import clip_code, zero_code

Floats = NDArray[np.float64]

#: A block is at least this many texture lengths wide and high.
BLOCK_LENGTHS = 4
#: Pixels that a region needs at least.
FEWEST_PIXELS = 400
#: Blocks under which the block doubt is itself doubtful.
FEWEST_BLOCKS = 6
#: Most blocks along one side; more do not improve the estimate.
MOST_BLOCKS = 24
#: Shares of a swatch's pixels, as the flags' sentences state them.
CLIPPED_NOTED, CLIPPED_BEYOND_USE = 0.01, 0.03
ZERO_SHARE, MUCH_LEFT_OUT, GLARE_SHARE = 0.03, 0.20, 0.003
#: Share of pixels that look like the surround, but may be yarn, from which that is flagged.
PERHAPS_BACKGROUND = 0.02
#: Y (1 for white) over which no yarn lies, fluorescent or not: then what was marked as the
#: reference is something darker. Our choice, well over the brightest fluorescent cloth.
LIGHTER_THAN_ANY = 1.5
#: L* under which veil and noise shape a phone's colour. From memory, unverified.
TOO_DARK = 12.0
#: Side in pixels of the middle window in which texture is looked at.
WINDOW = 512
#: Every so many lines of that window are looked at for the texture's length.
LINES = 4
#: Side in millimetres of the neighbourhood about which strand light and dark is taken.
NEIGHBOURHOOD_MM = 5.0


@dataclass(frozen=True)
class Texture:
    """Texture of a region: lengths in pixels along x and y, and the sd of ln Y within it."""

    length_x: float
    length_y: float
    shadow_sd: float


@dataclass(frozen=True, eq=False)
class BlockSums:
    """Sums over a grid of blocks: light (rows, columns, 3), kept pixels and all pixels."""

    light: Floats
    kept: Floats
    total: int
    clipped: int
    background: int
    at_zero: int
    glare: int


def measure_region(
    photo: Photo,
    region: SwatchRegion,
    correction: Correction,
    settings: Settings,
    mm_per_px: float,
) -> Measurement:
    """Measure one swatch. Raises :class:`SwatchError` where it holds too little to measure."""
    box = bounding_box(photo, region.polygon)
    height, width = box.y1 - box.y0, box.x1 - box.x0
    if height * width < FEWEST_PIXELS:
        raise SwatchError(
            f"swatch {region.name!r} is {width} x {height} pixels; needed at least "
            f"{FEWEST_PIXELS} in all: mark more yarn or go nearer"
        )
    texture = look_at_texture(photo, region, correction, mm_per_px)
    background = find_background(photo, region.polygon, correction.curve)
    block_y = _block_side(texture.length_y, height)
    block_x = _block_side(texture.length_x, width)
    sums = sum_blocks(photo, region, correction, background, (block_y, block_x))
    sums = _light_divided_out(sums, correction, photo, region, (block_y, block_x))
    if sums.kept.sum() < FEWEST_PIXELS / 2:
        raise SwatchError(
            f"swatch {region.name!r}: only {sums.kept.sum():.0f} pixels of yarn; needed at least "
            f"{FEWEST_PIXELS // 2}: mark more yarn or go nearer"
        )
    mean, mean_cov, blocks = mean_and_covariance(sums, block_y * block_x)
    mean_cov *= _dependence(texture.length_y, block_y) * _dependence(texture.length_x, block_x)
    frame_cov = np.zeros((3, 3))
    if correction.left is not None:
        own_cov, frame_cov = correction.left.doubt_of(mean, region.polygon)
        mean_cov = mean_cov + own_cov
    xyz = correction.xyz(mean)
    lab = xyz_to_lab(xyz)
    to_xyz = _derivative(correction, mean)
    covariance = lab_covariance(
        lab,
        to_xyz @ mean_cov @ to_xyz.T,
        xyz,
        reference=correction.reference,
        light=settings.light,
        reading_sd=correction.reading_sd,
        value_sd=correction.value_sd,
        frame_xyz=to_xyz @ frame_cov @ to_xyz.T,
    )
    flags = _flags(sums, lab, region, settings, blocks) | correction.flags
    if background is not None and not background.open and background.share > PERHAPS_BACKGROUND:
        flags |= {"perhaps background"}
    if math.isnan(mm_per_px):
        flags |= {"scale unknown"}
    if correction.reference != "none":
        lit = float(xyz[1]) <= LIGHTER_THAN_ANY
        flags |= fluorescence_flags(lab, covariance.total) if lit else {"reference far off"}
    clipped = sums.clipped / sums.total
    tonality = region_tonality(photo, region, correction, background, mm_per_px, clipped)
    flags |= tonality.flags if tonality is not None else set()
    return Measurement(
        name=region.name,
        lab=lab,
        covariance=covariance,
        flags=frozenset(flags),
        polygon=region.polygon,
        reference=correction.reference,
        pixels=int(sums.kept.sum()),
        left_out={"background": sums.background / sums.total},
        clipped_share=clipped,
        shadow_sd=texture.shadow_sd,
        mm_per_px=mm_per_px,
        tonality=None if tonality is None else tonality.record(),
    )


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
    total = clipped = behind = zero = glare = 0
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
        zero += int(((darkest(strip.pixels) <= zero_code(strip.pixels)) & seen).sum())
        glare += _glare(linear, seen)
        light.append(_reduce(linear * seen[..., None], block_y, block_x))
        kept.append(_reduce(seen.astype(np.float32)[..., None], block_y, block_x)[..., 0])
    return BlockSums(
        np.concatenate(light), np.concatenate(kept), total, clipped, behind, zero, glare
    )


def _light_divided_out(
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


def _derivative(correction: Correction, rgb: Floats) -> Floats:
    """(3, 3) derivative of XYZ by corrected mean RGB (3,), by central differences of 1 %."""
    step = 0.01 * max(float(np.max(rgb)), 1e-4)
    ends = [correction.xyz(rgb + s * step * np.eye(3)) for s in (1.0, -1.0)]
    return np.asarray((ends[0] - ends[1]).T / (2.0 * step))


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


def _flags(
    sums: BlockSums, lab: Floats, region: SwatchRegion, settings: Settings, blocks: int
) -> set[str]:
    clipped = sums.clipped / sums.total
    flags = set()
    if clipped >= CLIPPED_NOTED:
        flags.add("clipped")
    if clipped >= CLIPPED_BEYOND_USE:
        flags.add("clipped beyond use")
    if sums.at_zero / sums.total >= ZERO_SHARE:
        flags.add("channel at zero")
    if sums.background > 0:
        flags.add("background left out")
    if sums.background / sums.total > MUCH_LEFT_OUT:
        flags.add("much left out")
    if sums.glare / sums.total >= GLARE_SHARE:
        flags.add("glare")
    if lab[0] < TOO_DARK:
        flags.add("too dark")
    if blocks < FEWEST_BLOCKS:
        flags.add("too few texture lengths")
    if settings.dry is False:
        flags.add("not dry")
    if region.located == "search":
        flags.add("located by search")
    return flags


def _block_side(length: float, extent: int) -> int:
    side = max(math.ceil(BLOCK_LENGTHS * length), math.ceil(extent / MOST_BLOCKS), 4)
    return max(min(side, extent), 1)


def _dependence(length: float, side: int) -> float:
    """How many times the variance of a mean exceeds what its blocks along one axis say.

    Blocks beside each other are not quite independent. With an autocorrelation of exp(-lag / l)
    a block's mean has the variance (2 l / b)(1 - (l / b)(1 - exp(-b / l))), its integral over
    the block; many blocks together have the first factor alone. A length is known to the pixel:
    half a pixel less is its middle.
    """
    ratio = max(length - 0.5, 0.5) / side
    return 1.0 / (1.0 + ratio * math.expm1(-1.0 / ratio))


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
