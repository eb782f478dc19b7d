"""Whether a straight edge of colour runs right across a region: two swatches, or background.

Dye changes along a strand or patch by patch; where two things lie side by side, the step is the
same all along one line and far larger than at any other. Found by it on renders of wound, skein
and knit yarn: 98 % of two swatches 4 to 10 ΔE00 apart, half of those 1.5 to 4 apart; of yarn of
one piece none among 1000, and 4 of 312 drawn later.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ingest.evenness_colours import LIGHTNESS
from ingest.model import Array

Floats = NDArray[np.float64]

#: Width in cells (mm) of the strips on both sides of a line, and fewest cells along it.
STRIP, FEWEST_ROWS = 5, 8
#: A seam's step over the largest one elsewhere; its size, Lab with L* weighted; the share of
#: the line on which it goes the same way; and its mean over its standard deviation along it.
OVER_OTHERS, LEAST_STEP, SAME_WAY, STEADY = 2.5, 1.5, 0.95, 2.5
#: Cells from which every second line says as much as all do.
MANY = 20_000
#: A step elsewhere counts at least this much: under it is noise.
NOISE = 0.25


def has_seam(lab: Floats) -> bool:
    """Whether 1 mm cells (h, w, 3), NaN where unread, meet along a row or a column."""
    some = 2 if lab.shape[0] * lab.shape[1] > MANY else 1
    return _across(lab[::some]) or _across(lab[:, ::some].transpose(1, 0, 2))


def _across(lab: Floats) -> bool:
    """Whether they meet along a column."""
    if lab.shape[1] < 2 * STRIP + FEWEST_ROWS:
        return False
    seen = np.isfinite(lab[..., 0])
    # Mean of the strip that begins at each column, then right less left at each line.
    number = _strips(seen.astype(np.float32))
    use = (number[:, STRIP:] > 1) & (number[:, :-STRIP] > 1)
    rows = use.sum(axis=0)
    number = np.maximum(number, 1.0)
    steps, means = [], []
    for c, counts in enumerate((LIGHTNESS, 1.0, 1.0)):
        mean = _strips(np.where(seen, lab[..., c] * counts, 0.0).astype(np.float32)) / number
        steps.append(mean[:, STRIP:] - mean[:, :-STRIP])
        means.append((steps[c] * use).sum(axis=0) / np.maximum(rows, 1))
    whole = np.stack(means, axis=-1)
    size = np.where(rows >= FEWEST_ROWS, np.linalg.norm(whole, axis=1), 0.0)
    at = int(np.argmax(size))
    away = np.abs(np.arange(len(size)) - at) > STRIP + 1
    others = max(float(size[away].max(initial=0.0)), NOISE)
    if not away.any() or size[at] < max(OVER_OTHERS * others, LEAST_STEP):
        return False
    step = np.stack([part[:, at] for part in steps], axis=-1)
    along = (step @ whole[at])[use[:, at]] / size[at]
    same = float((along > 0).mean())
    return bool(same >= SAME_WAY and size[at] > STEADY * float(along.std()))


def _strips(values: Array) -> Array:
    """(h, w + 1 - STRIP, ...) sums of the strip of a row that begins at each column."""
    import cv2

    size, first = (STRIP, 1), (0, 0)
    edge = cv2.BORDER_CONSTANT
    found = cv2.boxFilter(values, -1, size, anchor=first, normalize=False, borderType=edge)
    return np.asarray(found[:, : values.shape[1] + 1 - STRIP])
