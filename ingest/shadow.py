"""Whether a shadow's edge lies across a chart or steps: all patches on one side are too dark.

A camera's colours err from patch to patch, whatever stands beside it, and light that falls off
errs along a line; an edge parts a chart's patches in two. Along neutral steps a camera's curve is
smooth, and an edge is a kink in it, which the tone curve would take up without a word; so is one
grey that is not as stated.
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
#: Luminance that is added to both, so that black patches, all noise and veil, say little. Our
#: choice.
DARK = 0.01

#: Scatter of ln of luminance about a cubic in ln of what is stated from which a curve has a kink.
#: 3,000 simulated photos of six steps, any camera, curve, veil and slope of light: at most 0.020;
#: greys of 600 simulated charts 0.011, of ten real ones in even light 0.003 to 0.027. A quarter of
#: the light lost from the third or fourth step on, or up to there: 0.03 to 0.07; less at the ends,
#: and nothing at the last. One inner grey of a chart at 80 or 130 %: 0.03 to 0.1.
KINK, KINK_ORDER, KINK_DARK = 0.032, 3, 0.004


def kinked(found: Floats, stated: Floats) -> bool:
    """Whether neutrals of (n,) luminance, as coded and as stated, lie on no smooth curve; six or
    more are needed."""
    if len(found) < KINK_ORDER + 3:
        return False
    x, y = (np.log(np.maximum(v, 0.0) + KINK_DARK) for v in (stated, found))
    left = y - np.polyval(np.polyfit(x, y, KINK_ORDER), x)
    return bool(np.sqrt(np.mean(left**2)) > KINK)


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
