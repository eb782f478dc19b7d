"""Reading yarn at its crests, and the curve on which light moves its colour.

Light that bounces between strands is filtered by the dye again, so from crest to gap a colour gets
deeper and stronger: a curve that the swatch itself shows, below a strand's width, where dye hardly
differs. The same curve at the scale of blocks is light and not dye.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.colour import xyz_to_lab
from ingest.evenness_axes import axes, light_line, span
from ingest.evenness_cells import Blocks, Cells, ToXyz, local_mean, local_means
from ingest.model import Array

Floats = NDArray[np.float64]

#: Side in mm of the neighbourhood in which a crest is one, and in which strand contrast is taken.
CREST_MM, STRAND_MM = 2.0, 5.0
#: Strand contrast under which a surface is flat and all of it is read.
FLAT = 0.12
#: Standardised ln Y between which the weight of a crest rises, and above which it falls.
RISE, FALL = (-0.1, 0.5), (1.7, 2.6)
#: Ridge of the light curve, in variance of ln Y times cells: low contrast gives no curve.
RIDGE = 0.003
#: Rows of cells that are brought to XYZ at a time.
ROWS = 16
#: Largest share of the curve that blocks may follow.
MOST_ALPHA = 1.25
#: Cells from which every second row tells the curve of colour as well as all do.
MANY = 160_000


@dataclass(frozen=True, eq=False)
class LightAndShade:
    """``log_y``: (h, w) ln Y of cells. ``about``: (h, w) that about its 5 mm mean, ``contrast``:
    standard deviation of it.
    ``reading``: (h, w) weight of crests, 0..1. ``slope``: (2,) and ``bend``: (2,): ln R/G and
    ln B/G along t = ln Y less the crest's, F(t) = slope t + bend min(t, 0)²."""

    log_y: Array
    about: Array
    contrast: float
    reading: Array
    slope: Floats
    bend: Floats

    def curve(self, t: Floats) -> Floats:
        """F (n, 2) at t (n,)."""
        return np.outer(t, self.slope) + np.outer(np.minimum(t, 0.0) ** 2, self.bend)


def light_and_shade(cells: Cells, to_xyz: ToXyz) -> LightAndShade:
    """Light and dark of the strands, and the curve of colour along it."""
    yarn = cells.weight > 0
    mean = float(cells.light.sum()) / max(3 * int(yarn.sum()), 1)  # beside the yarn there is none
    floor = max(1e-3 * mean, 1e-6)
    log_y = np.log(np.maximum(_luminance(cells.light, floor, to_xyz), np.float32(floor))) * yarn
    about = log_y - local_mean(log_y, cells.weight, round(STRAND_MM / cells.mm))
    contrast = float(about[yarn].std()) if yarn.any() else float("nan")
    side = round(CREST_MM / cells.mm)
    nearby = local_means(cells.weight, side)
    near = nearby(log_y)
    square = nearby((log_y - near) ** 2)
    deviation = np.sqrt(np.maximum(square, 0.0)) + 1e-3
    r = (log_y - near) / deviation
    reading = np.clip((r - RISE[0]) / (RISE[1] - RISE[0]), 0.0, 1.0)
    reading *= np.clip((FALL[1] - r) / (FALL[1] - FALL[0]), 0.0, 1.0)
    if contrast < FLAT:
        reading = np.ones_like(reading)
    slope, bend = _fit_curve(cells, floor, log_y, reading, side, nearby)
    return LightAndShade(log_y, about, contrast, reading.astype(np.float32), slope, bend)


def _luminance(light: Array, floor: float, to_xyz: ToXyz) -> Array:
    """(h, w) float32 Y of light (h, w, 3), none of it less than ``floor``, some rows at a time:
    they stay near the processor."""
    y = np.empty(light.shape[:2], dtype=np.float32)
    for start in range(0, len(y), ROWS):
        y[start : start + ROWS] = to_xyz(np.maximum(light[start : start + ROWS], floor))[..., 1]
    return y


def ratios(light: Array) -> Array:
    """(..., 2) ln R/G and ln B/G."""
    ln = np.log(np.maximum(light, 1e-6))
    return np.asarray(np.stack([ln[..., 0] - ln[..., 1], ln[..., 2] - ln[..., 1]], axis=-1))


def _fit_curve(
    cells: Cells,
    floor: float,
    log_y: Array,
    reading: Array,
    side: int,
    nearby: Callable[[Array], Array],
) -> tuple[Floats, Floats]:
    """Least squares of high-passed ratios on high-passed t and min(t, 0)²; no light is less than
    ``floor``."""
    t = log_y - local_mean(log_y, cells.weight * reading + 1e-6 * cells.weight, 2 * side)
    r, g, b = (np.log(np.maximum(plane, np.float32(floor))) for plane in cells.planes)
    some = np.s_[:: 2 if log_y.size > MANY else 1]
    yarn = cells.weight[some] > 0
    stacked = np.empty((4, *yarn.shape))
    for i, column in enumerate((t, np.minimum(t, 0.0) ** 2, r - g, b - g)):
        np.multiply(column[some] - nearby(column)[some], yarn, out=stacked[i])
    stacked = stacked.reshape(4, -1)
    moments = stacked @ stacked.T / max(int(yarn.sum()), 1)
    fitted = np.linalg.solve(moments[:2, :2] + RIDGE * np.eye(2), moments[:2, 2:])
    return fitted[0], fitted[1]


@dataclass(frozen=True)
class LightTaken:
    """Off-line distances of blocks, ΔE00 units, after light was taken out of their colour.

    ``curved``: by the swatch's own curve at the strength ``alpha`` that leaves least, and a plane
    for a balance that drifts. ``regressed``: by a straight line on the blocks' own light.
    ``plain``: with the plane alone.
    """

    curved: float
    regressed: float
    plain: float
    alpha: float


def take_light_out(found: Blocks, shade: LightAndShade, to_xyz: ToXyz) -> LightTaken:
    """Blocks scaled to equal Y, less what their light explains."""
    mean = found.light.mean(axis=0)
    line = light_line(mean, to_xyz)
    across = np.eye(3) - np.outer(line, line)
    y = np.asarray(to_xyz(found.light))[:, 1]
    t = np.log(np.maximum(y, 1e-6))
    t = t - t.mean()
    z = ratios(found.light)
    ones = np.ones((len(t), 1))
    plane = span(np.concatenate([ones, found.centres - found.centres.mean(axis=0)], axis=1))

    def left(known: Floats) -> float:
        colour = known - plane @ (plane.T @ known) + z.mean(axis=0)
        rgb = np.ones((len(t), 3))
        rgb[:, 0], rgb[:, 2] = np.exp(colour.T)
        xyz = np.asarray(to_xyz(rgb))
        lab = xyz_to_lab(xyz * (float(y.mean()) / np.maximum(xyz[:, 1:2], 1e-9)))
        v = axes(lab.mean(axis=0), lab)
        return float(np.linalg.norm((v - v.mean(axis=0)) @ across, axis=1).mean())

    strengths = np.linspace(0.0, MOST_ALPHA, 4)
    curve = shade.curve(t)
    tried = [left(z - alpha * curve) for alpha in strengths]
    best = int(np.argmin(tried))
    basis = span(np.concatenate([ones, t[:, None]], axis=1))
    regressed = left(z - basis @ (basis.T @ z))
    return LightTaken(tried[best], regressed, tried[0], float(strengths[best]))
