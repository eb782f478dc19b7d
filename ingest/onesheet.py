"""Which pixels of a plain surround are one sheet: of one colour, or of one that drifts over it in
light of two colours."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ingest.lightfield import robust_fit, terms
from ingest.model import Array

Floats = NDArray[np.float64]

#: Largest difference in ln R/G and ln B/G within one sheet: light from two sides tints it.
ONE_COLOUR = 0.08
#: Rounds in which a sheet whose colour drifts is followed from the reference on. Our choice.
DRIFT_ROUNDS = 8
#: Fewest pixels near the reference that tell a sheet's colour. Our choice.
FEWEST = 50
#: Places that the planes of the light's colour are fitted to; an average over them is as sure.
TINT_POINTS = 1000


def of_one_colour(linear: Array, free: Array, near: Array) -> Array:
    """Pixels of the colour that the free pixels near the reference have: one sheet, not two."""
    first = free & near
    if first.sum() < FEWEST:
        return free
    safe = np.maximum(linear, 1e-4)
    alike = np.ones(free.shape, dtype=bool)
    for channel in (0, 2):
        ratio = safe[..., channel] / safe[..., 1]
        middle = float(np.median(ratio[first]))
        alike &= (ratio < middle * np.exp(ONE_COLOUR)) & (ratio > middle * np.exp(-ONE_COLOUR))
    return alike


def of_colour_that_drifts(linear: Array, free: Array, near: Array) -> Array:
    """Pixels whose ratios of channels lie about planes through those of the free pixels near the
    reference: one sheet in light of two colours. The planes grow outward from there."""
    alike = of_one_colour(linear, free, near)
    log = np.log(np.maximum(linear, 1e-4)).astype(float)
    ratios = log[..., [0, 2]] - log[..., 1:2]
    height, width = free.shape
    rows, columns = np.mgrid[:height, :width]
    points = np.stack([(columns + 0.5) / width, (rows + 0.5) / height], axis=-1)
    for _ in range(DRIFT_ROUNDS):
        ys, xs = np.nonzero(joined(free & alike, near))
        some = np.s_[:: max(len(ys) // TINT_POINTS, 1)]
        if len(ys[some]) < FEWEST:
            break
        at = points[ys[some], xs[some]]
        planes = np.stack(
            [robust_fit(at, ratios[ys[some], xs[some], c], 3)[0] for c in range(2)], axis=-1
        )
        grown = (np.abs(ratios - terms(points, 3) @ planes) < ONE_COLOUR).all(axis=-1)
        if np.array_equal(grown & free, alike & free):
            break
        alike = grown
    return np.asarray(alike)


def joined(free: Array, near: Array) -> Array:
    """The pieces of the surround that reach near the reference: a table behind paper does not."""
    import cv2

    count, labels = cv2.connectedComponents(free.astype(np.uint8), connectivity=4)
    reach = np.bincount(labels[free & near], minlength=count)
    pieces = np.flatnonzero(reach > 0.05 * max(reach.sum(), 1))
    return np.asarray(free & np.isin(labels, pieces))
