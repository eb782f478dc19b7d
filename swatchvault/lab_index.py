"""The nearest of many colours by CIEDE2000: exact, by a proven lower bound over boxes of colours.

Colours are sorted into boxes of lightness, chroma and hue, four by four. For a query the bound of
`lab_boxes` leaves out a box whose every colour is certainly farther than the k-th best found; all
that is left is scored with the formula itself. Nothing is approximated.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from ingest.colour import Floats, delta_e_2000
from swatchvault.errors import CompareError
from swatchvault.lab_boxes import Boxes, Indices, boxes_of, lower_bound, split_in_four

#: Below this many colours, scoring them all is quicker than leaving some out. Our choice.
SMALL = 4096
#: Colours in a box of the last level, about; and levels of four that one step of a search skips.
#: Our choice.
LEAF, STEP = 64, 2
#: Values beyond this are no colour; it keeps seventh powers finite. Our choice.
LARGEST = 1e6
#: Room for rounding in the bound: a box is left out only if it is farther by more than this. Our
#: choice.
ROUNDING = 1e-7


class LabIndex:
    """Colours to be searched by ΔE00: the nearest k, or all within a distance.

    ``labs``: (n, 3) CIELAB, any n. Rows that are not finite are never found.

    >>> index = LabIndex([[50, 0, 0], [60, 10, 10], [20, 0, 5]])
    >>> index.nearest([51, 0, 0], k=1)[0].tolist()
    [0]
    """

    def __init__(self, labs: ArrayLike) -> None:
        given = np.asarray(labs, dtype=np.float64).reshape(-1, 3)
        known = np.flatnonzero((np.abs(given) <= LARGEST).all(axis=1))
        self._labs = given if len(known) == len(given) else given[known]
        self._rows: Indices = known
        self._levels: list[Boxes] = []
        if len(known) > SMALL:
            self._build()

    def __len__(self) -> int:
        """How many colours can be found."""
        return int(np.count_nonzero(self._rows >= 0))

    def nearest(self, lab: ArrayLike, k: int = 20, *, k_l: float = 1.0) -> tuple[Indices, Floats]:
        """Rows of the k nearest colours and their ΔE00, nearest first, ties by row.

        Returns min(k, len(self)) of each. Raises :class:`CompareError` for a ``lab`` that is not
        three finite numbers, k under 1, or kL not above 0.
        """
        query = checked(lab, k_l)
        if k < 1:
            raise CompareError(f"{k} neighbours were asked for, needed 1 or more")
        if not self._levels:
            return self._best(np.arange(len(self._rows)), query, k, k_l)
        seed = self._seed(query, k, k_l)
        limit = self._limit(self._score(seed, query, k_l), k)
        leaves, bounds = self._descend(query, limit, k_l)
        order = np.argsort(bounds, kind="stable")
        leaves, bounds = leaves[order], bounds[order]
        kept, scored, start, size = [], [], 0, max(16, k // 32)
        while start < len(leaves) and bounds[start] <= limit + ROUNDING:
            rows = self._points(leaves[start : start + size], len(self._levels) - 1)
            kept.append(rows)
            scored.append(self._score(rows, query, k_l))
            limit = min(limit, self._limit(np.concatenate(scored), k))
            start, size = start + size, size * 2
        return self._sorted(np.concatenate(kept), np.concatenate(scored), k)

    def within(self, lab: ArrayLike, delta_e: float, *, k_l: float = 1.0) -> tuple[Indices, Floats]:
        """Rows of every colour within ``delta_e`` of ``lab``, and their ΔE00, nearest first."""
        query = checked(lab, k_l)
        rows = np.arange(len(self._rows))
        if self._levels:
            leaves, _ = self._descend(query, delta_e, k_l)
            rows = self._points(leaves, len(self._levels) - 1)
        found, distance = self._sorted(rows, self._score(rows, query, k_l), len(rows) or 1)
        keep = distance <= delta_e
        return found[keep], distance[keep]

    # -- the search ---------------------------------------------------------------------------

    def _score(self, points: Indices, query: Floats, k_l: float) -> Floats:
        distance = delta_e_2000(query, self._labs[points], k_l)
        return np.where(self._rows[points] < 0, np.inf, distance)  # filled up to full boxes

    def _best(self, points: Indices, query: Floats, k: int, k_l: float) -> tuple[Indices, Floats]:
        return self._sorted(points, self._score(points, query, k_l), k)

    def _sorted(self, points: Indices, distance: Floats, k: int) -> tuple[Indices, Floats]:
        rows = self._rows[points]
        real = np.flatnonzero((rows >= 0) & (distance <= self._limit(distance, k)))
        order = real[np.lexsort((rows[real], distance[real]))][:k]
        return rows[order], distance[order]

    @staticmethod
    def _limit(distance: Floats, k: int) -> float:
        if len(distance) < k:
            return math.inf
        return float(np.partition(distance, k - 1)[k - 1])

    def _points(self, boxes: Indices, level: int) -> Indices:
        size = len(self._labs) // len(self._levels[level].chroma)
        return np.asarray((boxes[:, None] * size + np.arange(size)).ravel())

    def _seed(self, query: Floats, k: int, k_l: float) -> Indices:
        """Points that are probably near: those of the best boxes, enough for k."""
        boxes = np.arange(len(self._levels[0].chroma))
        for level, table in enumerate(self._levels):
            bound = lower_bound(query, table.at(boxes), k_l)
            size = len(self._labs) // len(table.chroma)
            enough = 1 + 4 * k // size if level + 1 < len(self._levels) else 4 + 2 * k // size
            boxes = boxes[np.argsort(bound, kind="stable")[:enough]]
            if level + 1 < len(self._levels):
                boxes = children(boxes)
        return self._points(boxes, len(self._levels) - 1)

    def _descend(self, query: Floats, limit: float, k_l: float) -> tuple[Indices, Floats]:
        """Boxes of the last level that may hold a colour within ``limit``, and their bounds."""
        boxes = np.arange(len(self._levels[0].chroma))
        for level, table in enumerate(self._levels):
            bound = lower_bound(query, table.at(boxes), k_l)
            keep = bound <= limit + ROUNDING
            boxes, bound = boxes[keep], bound[keep]
            if level + 1 < len(self._levels):
                boxes = children(boxes)
        return boxes, bound

    # -- building -----------------------------------------------------------------------------

    def _build(self) -> None:
        """Sort the colours into 4**depth equal boxes, each time along the box's longest side."""
        depth = max(1, round(math.log(len(self._labs) / LEAF, 4)))
        leaf = -(-len(self._labs) // 4**depth)
        missing = leaf * 4**depth - len(self._labs)
        order = np.concatenate([np.arange(len(self._labs)), np.arange(missing)])
        lab = self._labs[order]
        hue = np.arctan2(lab[:, 2], lab[:, 1])
        hue[hue < 0.0] += 2.0 * math.pi
        lch = [lab[:, 0], np.hypot(lab[:, 1], lab[:, 2]), hue]
        for level in range(depth):
            lch, order = split_in_four([v.reshape(4**level, -1) for v in lch], order)
        self._rows = self._rows[order]
        filled = np.ones(len(order), dtype=bool)
        filled[_first_places(order, len(self._labs))] = False
        self._rows[filled] = -1
        self._labs = self._labs[order]
        wanted = list(range(depth, 0, -STEP))[::-1]
        self._levels = [boxes_of([v.reshape(4**n, -1) for v in lch]) for n in wanted]


def _first_places(order: Indices, n: int) -> Indices:
    """Where each of 0..n-1 stands first in ``order``."""
    place = np.empty(n, dtype=np.intp)
    place[order[::-1]] = np.arange(len(order))[::-1]
    return place


def checked(lab: ArrayLike, k_l: float) -> Floats:
    """A query as (3,) float64. Raises :class:`CompareError` for what is no colour."""
    query = np.asarray(lab, dtype=np.float64)
    if query.shape != (3,) or not (np.abs(query) <= LARGEST).all():
        raise CompareError(f"the colour is {np.asarray(lab).tolist()}, needed L*, a*, b*")
    if not (math.isfinite(k_l) and k_l > 0):
        raise CompareError(f"kL is {k_l}, needed a number above 0: such as 2")
    return query


def children(boxes: Indices) -> Indices:
    """The boxes that a step of STEP levels splits these into."""
    return np.asarray((boxes[:, None] * 4**STEP + np.arange(4**STEP)).ravel())
