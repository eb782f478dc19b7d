"""Whether a shadow's edge lies across a chart: all patches on one side of it are too dark.

A camera's colours err from patch to patch, whatever stands beside it, and light that falls off
errs along a line; an edge parts the patches in two.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ingest.charts import CHART24_COLUMNS, CHART24_ROWS

Floats = NDArray[np.float64]

#: Share of the variance of the errors that two sides explain, and the step between them in ln of
#: luminance, from which there is an edge; and its squares left over those about a line, at most.
#: Ten real charts explain at most 0.32 in any way; rendered shadows of 15 to 50 %, 0.5 to 0.94.
EXPLAINED, LEAST_STEP, OVER_LINE = 0.6, 0.1, 0.9
#: Luminance that is added to both, so that black patches, all noise and veil, say little.
DARK = 0.01


def edge_across(found: Floats, stated: Floats) -> bool:
    """Whether an edge parts 24 patches row by row; ``found``, ``stated``: (24,) luminance, 0..1.

    A patch that is not known (NaN) has no part.
    """
    errors = np.log((found + DARK) / (stated + DARK))
    known = np.isfinite(errors)
    errors = errors[known]
    if len(errors) < CHART24_ROWS * CHART24_COLUMNS // 2:
        return False
    number = np.arange(CHART24_ROWS * CHART24_COLUMNS)[known]
    whole = _squares(errors)
    across, down = number % CHART24_COLUMNS, number // CHART24_COLUMNS
    for place, count in ((down, CHART24_ROWS), (across, CHART24_COLUMNS)):
        line = errors - np.polyval(np.polyfit(place, errors, 1), place)
        for first in range(1, count):
            beyond = place >= first
            if not beyond.any() or beyond.all():
                continue
            left = _squares(errors[beyond]) + _squares(errors[~beyond])
            step = abs(float(errors[beyond].mean() - errors[~beyond].mean()))
            alone = left < (1.0 - EXPLAINED) * whole and left < OVER_LINE * float(line @ line)
            if alone and step >= LEAST_STEP:
                return True
    return False


def _squares(values: Floats) -> float:
    return float(((values - values.mean()) ** 2).sum())
