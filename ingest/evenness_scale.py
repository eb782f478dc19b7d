"""Millimetres per cell from the strands themselves, where nothing else says how large they are."""

from __future__ import annotations

import math

import numpy as np

from ingest.evenness_cells import Cells, ToXyz, local_mean

#: Distance from strand to strand of middling yarn, mm: common practice, no source. Yarns run
#: from about half to twice this, so what is estimated carries its flag.
STRAND_MM = 1.8
#: Autocorrelation that a strand's distance must reach, and the valley before it must fall under.
PEAK, VALLEY = 0.12, 0.0


def scale_from_strands(cells: Cells, to_xyz: ToXyz) -> float:
    """Millimetres per cell, NaN where no period is clear."""
    yarn = cells.weight > 0
    if int(yarn.sum()) < 2000:
        return math.nan
    y = np.asarray(to_xyz(cells.light))[..., 1]
    ln = np.where(yarn, np.log(np.maximum(y, 1e-4)), 0.0).astype(np.float32)
    side = max(min(cells.weight.shape) // 6, 5)
    about = (ln - local_mean(ln, cells.weight, side)) * yarn
    periods = [p for axis in (0, 1) if (p := _period(about, axis)) > 0]
    return STRAND_MM / min(periods) if periods else math.nan


def _period(about: np.ndarray, axis: int) -> float:
    """Lag of the first clear peak of the autocorrelation along an axis, 0 for none."""
    n = about.shape[axis]
    size = 1 << math.ceil(math.log2(2 * n))
    power = (np.abs(np.fft.rfft(about, size, axis=axis)) ** 2).sum(axis=1 - axis)
    rho = np.fft.irfft(power, size)[: n // 4]
    rho = rho / max(float(rho[0]), 1e-12)
    under = np.flatnonzero(rho < VALLEY)
    if len(under) == 0:
        return 0.0
    after = rho[under[0] :]
    peak = int(np.argmax(after[: 4 * max(int(under[0]), 1)]))
    if after[peak] < PEAK:
        return 0.0
    return float(under[0] + peak)
