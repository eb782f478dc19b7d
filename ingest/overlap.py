"""Whether two outlines lie over each other: yarn is not on the card, nor the card on yarn."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ingest.model import Array, Polygon

#: Share of the smaller of two outlines from which they lie over each other: more than a rim that
#: was drawn a little wide. Our choice.
LAID_OVER = 0.10
#: Squares across the smaller outline's box in which shares are counted. Our choice.
_SQUARES = 200


def lie_over(one: Polygon, others: Iterable[Polygon]) -> bool:
    """Whether an outline lies over any of others by :data:`LAID_OVER` of the smaller or more."""
    return any(_share(one, other) >= LAID_OVER for other in others)


def _share(one: Polygon, other: Polygon) -> float:
    """The part in both, as a share of the one whose box is smaller."""
    small, large = sorted((np.asarray(one), np.asarray(other)), key=_box_area)
    low, high = small.min(axis=0), small.max(axis=0)
    if (large.min(axis=0) >= high).any() or (large.max(axis=0) <= low).any():
        return 0.0
    inside, also = (_filled((p - low) / (high - low)) for p in (small, large))
    return float((inside & also).sum() / max(int(inside.sum()), 1))


def _box_area(points: Array) -> float:
    return float(np.prod(np.ptp(points, axis=0)))


def _filled(points: Array) -> Array:
    """(squares, squares) bool of points (n, 2) in fractions of a box, which they may leave."""
    import cv2

    mask = np.zeros((_SQUARES, _SQUARES), np.uint8)
    at = np.rint(np.clip(points, -50.0, 50.0) * (_SQUARES - 1)).astype(np.int32)
    cv2.fillPoly(mask, [at], 1)
    return np.asarray(mask > 0)
