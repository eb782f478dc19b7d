"""Whether a marked chart was marked from the wrong corner, or is mirrored."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ingest.charts import CHART24_COLUMNS, CHART24_NEUTRALS, CHART24_ROWS
from ingest.colour import delta_e_2000, xyz_to_lab

Floats = NDArray[np.float64]

#: Mean ΔE00 after a crude fit under which an order of the patches is the right one, and how much
#: better than as marked it must be. Our choice: real charts as marked lie at 4 to 15.
GOOD, BETTER = 18.0, 0.6


def wrong_way_round(rgb: Floats, expected: Floats, to_xyz: Floats) -> str | None:
    """What is wrong with the corners' order, in words, or ``None`` where nothing is.

    ``rgb``, ``expected``: (24, 3) linear RGB, as read and as stated. The patches are set against
    their stated values as marked, turned by half, and mirrored either way.
    """
    grid = np.arange(CHART24_ROWS * CHART24_COLUMNS).reshape(CHART24_ROWS, CHART24_COLUMNS)
    orders = {
        "turned by half: start at the opposite corner": grid[::-1, ::-1],
        "mirrored: is the picture mirrored, or do the corners run the other way?": grid[:, ::-1],
        "mirrored top to bottom: is the picture mirrored, or do the corners run the other way?": (
            grid[::-1]
        ),
    }
    as_marked = _misfit(rgb, expected, to_xyz)
    if as_marked < GOOD:
        return None
    found = {
        words: _misfit(rgb[order.ravel()], expected, to_xyz) for words, order in orders.items()
    }
    best = min(found, key=lambda w: found[w])
    return best if found[best] < min(GOOD, BETTER * as_marked) else None


def _misfit(rgb: Floats, expected: Floats, to_xyz: Floats) -> float:
    """Mean ΔE00 of all patches after one gain a channel through the neutrals."""
    neutral: Sequence[int] = list(CHART24_NEUTRALS)
    gain = (rgb[neutral] * expected[neutral]).sum(axis=0) / (rgb[neutral] ** 2).sum(axis=0)
    found = xyz_to_lab((rgb * gain) @ to_xyz.T)
    return float(delta_e_2000(found, xyz_to_lab(expected @ to_xyz.T)).mean())
