"""From a region of yarn to its mean colour and the doubt that comes from the region itself.

The mean is the plain mean of corrected linear light over the region's mask. Its doubt comes
from means over blocks (:mod:`ingest.blocksums`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.background import Background, find_background
from ingest.blocksums import (
    BlockSums,
    block_side,
    dependence,
    light_divided_out,
    mean_and_covariance,
    sum_blocks,
)
from ingest.colour import xyz_to_lab
from ingest.correction import Correction
from ingest.doubt import lab_covariance
from ingest.errors import SwatchError
from ingest.evenness_region import region_tonality
from ingest.flags import CLIPPED_BEYOND_USE, CLIPPED_NOTED, ZERO_SHARE
from ingest.model import Measurement, Photo, Settings, SwatchRegion
from ingest.optimal import fluorescence_flags
from ingest.raster import bounding_box
from ingest.texture import look_at_texture

Floats = NDArray[np.float64]

#: Pixels that a region needs at least. Our choice.
FEWEST_PIXELS = 400
#: Blocks under which the block doubt is itself doubtful. Our choice.
FEWEST_BLOCKS = 6
#: Shares of a swatch's pixels, as the flags' sentences state them. Our choice.
MUCH_LEFT_OUT, GLARE_SHARE = 0.20, 0.003
#: Share of pixels that look like the surround, but may be yarn, from which that is flagged. Our
#: choice.
PERHAPS_BACKGROUND = 0.02
#: Y (1 for white) over which no yarn lies, fluorescent or not: then what was marked as the
#: reference is something darker. Our choice, well over the brightest fluorescent cloth.
LIGHTER_THAN_ANY = 1.5
#: L* under which veil and noise shape a phone's colour. From memory, unverified.
TOO_DARK = 12.0


@dataclass(frozen=True, eq=False)
class _Yarn:
    """A region's yarn: sums by block, ``mean`` corrected RGB (3,) with its covariance.

    ``own_cov``: (3, 3) of the mean, fresh in this region; ``frame_cov``: (3, 3), shared by the
    photo's swatches. ``blocks``: how many ``own_cov`` rests on. ``shadow_sd``: of ln Y.
    """

    sums: BlockSums
    background: Background | None
    mean: Floats
    own_cov: Floats
    frame_cov: Floats
    blocks: int
    shadow_sd: float


def measure_region(
    photo: Photo,
    region: SwatchRegion,
    correction: Correction,
    settings: Settings,
    mm_per_px: float,
) -> Measurement:
    """Measure one swatch. Raises :class:`SwatchError` where it holds too little to measure."""
    yarn = _yarn_in(photo, region, correction, mm_per_px)
    sums, background, mean = yarn.sums, yarn.background, yarn.mean
    xyz = correction.xyz(mean)
    lab = xyz_to_lab(xyz)
    to_xyz = _derivative(correction, mean)
    covariance = lab_covariance(
        lab,
        to_xyz @ yarn.own_cov @ to_xyz.T,
        xyz,
        reference=correction.reference,
        light=settings.light,
        reading_sd=correction.reading_sd,
        value_sd=correction.value_sd,
        frame_xyz=to_xyz @ yarn.frame_cov @ to_xyz.T,
        misfit_sd=correction.misfit_sd,
    )
    flags = _flags(sums, lab, region, settings, yarn.blocks) | correction.flags
    if background is not None and not background.open and background.share > PERHAPS_BACKGROUND:
        flags |= {"perhaps background"}
    if math.isnan(mm_per_px):
        flags |= {"scale unknown"}
    if correction.reference != "none":
        lit = float(xyz[1]) <= LIGHTER_THAN_ANY
        flags |= fluorescence_flags(lab, covariance.total) if lit else {"reference far off"}
    clipped = sums.clipped / sums.yarn
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
        shadow_sd=yarn.shadow_sd,
        mm_per_px=mm_per_px,
        tonality=None if tonality is None else tonality.record(),
    )


def _yarn_in(photo: Photo, region: SwatchRegion, correction: Correction, mm_per_px: float) -> _Yarn:
    """The yarn of a region. Raises :class:`SwatchError` where there is too little."""
    box = bounding_box(photo, region.polygon)
    height, width = box.y1 - box.y0, box.x1 - box.x0
    if height * width < FEWEST_PIXELS:
        raise SwatchError(
            f"swatch {region.name!r} is {width} x {height} pixels; needed at least "
            f"{FEWEST_PIXELS} in all: mark more yarn or go nearer"
        )
    texture = look_at_texture(photo, region, correction, mm_per_px)
    background = find_background(photo, region.polygon, correction.curve)
    block_y = block_side(texture.length_y, height)
    block_x = block_side(texture.length_x, width)
    sums = sum_blocks(photo, region, correction, background, (block_y, block_x))
    sums = light_divided_out(sums, correction, photo, region, (block_y, block_x))
    if sums.kept.sum() < FEWEST_PIXELS / 2:
        raise SwatchError(
            f"swatch {region.name!r}: only {sums.kept.sum():.0f} pixels of yarn; needed at least "
            f"{FEWEST_PIXELS // 2}: mark more yarn or go nearer"
        )
    mean, mean_cov, blocks = mean_and_covariance(sums, block_y * block_x)
    mean_cov *= dependence(texture.length_y, block_y) * dependence(texture.length_x, block_x)
    frame_cov = np.zeros((3, 3))
    if correction.left is not None:
        own_cov, frame_cov = correction.left.doubt_of(mean, region.polygon)
        mean_cov = mean_cov + own_cov
    return _Yarn(sums, background, mean, mean_cov, frame_cov, blocks, texture.shadow_sd)


def _derivative(correction: Correction, rgb: Floats) -> Floats:
    """(3, 3) derivative of XYZ by corrected mean RGB (3,), by central differences of 1 %."""
    step = 0.01 * max(float(np.max(rgb)), 1e-4)
    ends = [correction.xyz(rgb + s * step * np.eye(3)) for s in (1.0, -1.0)]
    return np.asarray((ends[0] - ends[1]).T / (2.0 * step))


def _flags(
    sums: BlockSums, lab: Floats, region: SwatchRegion, settings: Settings, blocks: int
) -> set[str]:
    clipped = sums.clipped / sums.yarn
    flags = set()
    if clipped >= CLIPPED_NOTED:
        flags.add("clipped")
    if clipped >= CLIPPED_BEYOND_USE:
        flags.add("clipped beyond use")
    if sums.at_zero / sums.yarn >= ZERO_SHARE:
        flags.add("channel at zero")
    if sums.background > 0:
        flags.add("background left out")
    if sums.background / sums.total > MUCH_LEFT_OUT:
        flags.add("much left out")
    if sums.glare / sums.yarn >= GLARE_SHARE:
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
