"""All named figures of one region that the estimate and the class are made from."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.evenness_axes import Spread, spread
from ingest.evenness_cells import (
    Blocks,
    Cells,
    ToXyz,
    blocks,
    local_mean,
    local_means,
    millimetre_cells,
    weighed,
)
from ingest.evenness_colours import (
    Dots,
    Layout,
    Palette,
    Reach,
    dots,
    layout,
    palette,
    reach,
)
from ingest.evenness_depth import Depth, depth_of
from ingest.evenness_light import (
    LightAndShade,
    LightTaken,
    light_and_shade,
    take_light_out,
)
from ingest.evenness_slope import Slope, slope
from ingest.evenness_strands import strand_width
from ingest.model import Array

Floats = NDArray[np.float64]

#: Fewest blocks from which a spread is taken.
FEWEST_BLOCKS = 12
#: Three lags in mm, and the least that covariance falls between the first two over the last two:
#: half a percent of the renders that the rule was fitted on are under one of them.
SHARP = ((0.2, 0.4, 0.8, 0.40), (0.4, 0.6, 1.2, 0.31))
#: How far inside its outline yarn is asked how sharp it is, mm: a blur smears what lies beside it
#: over the edge, and that step is as sharp as strands are.
EDGE_MM = 3.0
#: Share of the variance that neighbouring cells must hold in common, or there is only noise.
NOISE_ALONE = 0.1


@dataclass(frozen=True, eq=False)
class Figures:
    """What a region shows. ``plain``: blocks of all yarn; ``crest``: blocks of crests; ``wide``:
    blocks of 10 mm. ``texture_mm``: length of the light and dark in strands, 1/e.
    ``strand_mm``: width of a strand, NaN unknown. ``sharp``: under 1 where the photo is blurred;
    see :func:`sharpness`. ``inner_contrast``: strand contrast away from the yarn's outline."""

    shade: LightAndShade
    plain: Spread
    crest: Spread
    wide: Spread
    taken: LightTaken
    reach: Reach
    dots: Dots
    layout: Layout
    palette: Palette
    slope: Slope
    found: Blocks
    cells_lab: Floats
    depth: Depth
    texture_mm: float
    strand_mm: float
    sharp: float
    inner_contrast: float
    mm_per_px: float
    area_mm2: float


def figures(cells: Cells, to_xyz: ToXyz) -> Figures | None:
    """Figures of a region, None where it holds too few blocks; ``cells.mm`` must be known."""
    shade = light_and_shade(cells, to_xyz)
    crests = weighed(cells, shade.reading)
    found, tops = blocks(cells, (weighed(cells, np.ones_like(shade.reading)), crests))
    if len(tops.light) < FEWEST_BLOCKS:
        return None
    (wide,) = blocks(cells, (crests,), 10.0)
    about = about_strands(cells, shade)
    alike = strands_alike(about)
    inner = inner_yarn(cells)
    plain = spread(found.light, found.halves, to_xyz)
    lab, _ = millimetre_cells(crests, cells.mm, to_xyz)
    smooth = _smooth(lab)
    far = reach(lab, plain.line)
    tops_spread = spread(tops.light, tops.halves, to_xyz)
    return Figures(
        shade=shade,
        plain=plain,
        crest=tops_spread,
        wide=spread(wide.light, wide.halves, to_xyz)
        if len(wide.light) >= FEWEST_BLOCKS
        else tops_spread,
        taken=take_light_out(tops, shade, to_xyz),
        reach=far,
        dots=dots(lab, far.middle, 1.0),
        layout=layout(lab, far.middle),
        palette=palette(smooth),
        slope=slope(tops, tops_spread.v, tops_spread.lab, tops_spread.line),
        found=tops,
        cells_lab=lab,
        depth=depth_of(tops, shade, plain.line, to_xyz),
        texture_mm=texture_mm(alike, cells.mm),
        strand_mm=strand_width(alike, cells.mm),
        sharp=sharpness(strands_alike(about * inner), cells.mm),
        inner_contrast=float(shade.about[inner > 0].std()),
        mm_per_px=cells.mm_per_px,
        area_mm2=float(cells.weight.sum()) * cells.mm**2,
    )


def _smooth(lab: Floats) -> Floats:
    """Lab of cells, each the mean of its 3 x 3: strands' light and dark off, colours kept."""
    seen = np.isfinite(lab[..., 0])
    mean = local_means(seen.astype(np.float32), 3)
    out = np.empty_like(lab)
    for c in range(3):
        filled = np.where(seen, lab[..., c], 0.0).astype(np.float32)
        out[..., c] = np.where(seen, mean(filled), np.nan)
    return out


def inner_yarn(cells: Cells) -> Array:
    """(h, w), 1 in yarn :data:`EDGE_MM` from its outline; all yarn where a quarter is not left.

    Gaps between strands, up to some millimetres, are no outline.
    """
    import cv2

    yarn = (cells.weight > 0).astype(np.uint8)
    far = round(EDGE_MM / cells.mm)
    side = np.ones((2 * far + 1, 2 * far + 1), np.uint8)
    nothing = {"borderType": cv2.BORDER_CONSTANT, "borderValue": 0}
    wide = cv2.copyMakeBorder(yarn, far, far, far, far, cv2.BORDER_CONSTANT, value=0)
    filled = cv2.erode(cv2.dilate(wide, side, **nothing), side, **nothing)
    inner = yarn * cv2.erode(filled, side, **nothing)[far:-far, far:-far]
    return np.asarray(inner if 4 * int(inner.sum()) >= int(yarn.sum()) else yarn)


def about_strands(cells: Cells, shade: LightAndShade) -> Array:
    """(h, w) float32 ln Y about its 8 mm mean, 0 beside the yarn."""
    near = local_mean(shade.log_y, cells.weight, round(8.0 / cells.mm))
    return np.asarray((shade.log_y - near) * (cells.weight > 0))


def strands_alike(about: Array) -> tuple[Floats, Floats]:
    """Covariance of what is :func:`about_strands` (h, w) with itself, by lag in cells, across and
    down."""
    found = []
    for lines in (about[::4], about.T[::4]):  # every fourth line says as much as all
        size = 1 << math.ceil(math.log2(2 * lines.shape[1]))
        spectrum = np.fft.rfft(lines, size, axis=1)
        power = (spectrum.real**2 + spectrum.imag**2).sum(axis=0)
        found.append(np.fft.irfft(power, size)[: lines.shape[1]] / lines.size)
    return found[0], found[1]


def texture_mm(alike: tuple[Floats, Floats], cell_mm: float) -> float:
    """Shorter of the two lags, mm, at which the covariance is 1/e of the variance."""
    lengths = []
    for rho in alike:
        below = np.flatnonzero(rho < rho[0] / math.e)
        k = int(below[0]) if len(below) else len(rho)
        before, after = (float(rho[max(k - 1, 0)]), float(rho[min(k, len(rho) - 1)]))
        part = (before - rho[0] / math.e) / max(before - after, 1e-12)
        lengths.append((max(k - 1, 0) + float(np.clip(part, 0.0, 1.0))) * cell_mm)
    return min(lengths)


def sharpness(alike: tuple[Floats, Floats], cell_mm: float) -> float:
    """How fast strands stop being alike at first, over a little further on, as a share of the
    least that sharp photos show; under 1 the photo is blurred, NaN where cells are too coarse or
    all is noise.

    A blur rounds the top of the covariance, whatever the yarn. Lags of a whole cell and more
    have no part in noise, which a spread of fine light and dark would take for sharpness.
    """
    variance = float(alike[0][0] + alike[1][0])
    found = []
    for *lags, least in SHARP:
        if lags[0] < 0.99 * cell_mm:
            continue
        at = [sum(np.interp(x / cell_mm, range(1, len(c)), c[1:]) for c in alike) for x in lags]
        near, far = float(at[0] - at[1]), float(at[1] - at[2])
        if at[0] > NOISE_ALONE * variance:
            found.append(near / far / least if far > 0 else math.inf)
    return min(found, default=math.nan)
