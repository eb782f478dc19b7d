"""The nearest of many colours by CIEDE2000: exact, by a proven lower bound over boxes of colours.

Colours are sorted into boxes of lightness, chroma and hue, four by four. For a query the bound of
:func:`lower_bound` leaves out a box whose every colour is certainly farther than the k-th best
found; all that is left is scored with the formula itself. Nothing is approximated.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ingest.colour import Floats, delta_e_2000
from swatchvault.errors import CompareError

Indices = NDArray[np.intp]

#: Below this many colours, scoring them all is quicker than leaving some out.
SMALL = 4096
#: Colours in a box of the last level, about; and levels of four that one step of a search skips.
LEAF, STEP = 64, 2
#: Values beyond this are no colour; it keeps seventh powers finite.
LARGEST = 1e6
#: Room for rounding in the bound: a box is left out only if it is farther by more than this.
ROUNDING = 1e-7
_SECTOR = 25.0**7
_TWO_PI = 2.0 * math.pi


class Boxes(NamedTuple):
    """Boxes of colours, one in each row: least and largest L*, C*ab, hab (radians, 0 to 2 pi).

    ``cos2``: least and largest cos² of the hue. ``cos``, ``sin``: of the two hues.
    """

    lightness: Floats  # each (n, 2)
    chroma: Floats
    cos2: Floats
    cos: Floats
    sin: Floats

    def at(self, rows: Indices) -> Boxes:
        return Boxes(*(values[rows] for values in self))


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
        hue[hue < 0.0] += _TWO_PI
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


def split_in_four(lch: list[Floats], order: Indices) -> tuple[list[Floats], Indices]:
    """One level: each row of L*, C*, h (boxes, size) parted into quarters along its longest side.

    Sides are compared in rough units of ΔE00; this shapes the boxes and touches no result.
    """
    spans = [np.ptp(v, axis=1) for v in lch]
    lightness, chroma = lch[0].mean(axis=1), lch[1].mean(axis=1)
    sides = np.stack(
        [
            spans[0] / (1.0 + 0.015 * np.abs(lightness - 50.0)),
            spans[1] / (1.0 + 0.045 * chroma),
            spans[2] * chroma / (1.0 + 0.015 * chroma),
        ]
    )
    longest = sides.argmax(axis=0)
    size = lch[0].shape[1]
    key = np.empty_like(lch[0])
    for axis in range(3):
        key[longest == axis] = lch[axis][longest == axis]
    at = [size // 4, size // 2, 3 * size // 4]
    parted = np.argpartition(key, at, axis=1)
    parted += np.arange(len(key))[:, None] * size
    flat = parted.ravel()
    return [v.ravel()[flat] for v in lch], order[flat]


def boxes_of(lch: list[Floats]) -> Boxes:
    """The boxes around rows of L*, C*, h (boxes, size)."""
    lightness, chroma, hue = (np.stack([v.min(axis=1), v.max(axis=1)], axis=1) for v in lch)
    quarter = np.floor(hue / (math.pi / 2.0))
    cos, sin = np.cos(hue), np.sin(hue)
    cos2 = np.sort(cos**2, axis=1)
    first, last = quarter[:, 0], quarter[:, 1]
    inside = np.arange(1.0, 5.0)  # multiples of a right angle that lie within the box's hues
    holds = (first[:, None] < inside) & (last[:, None] >= inside)
    cos2[holds[:, [0, 2]].any(axis=1), 0] = 0.0
    cos2[holds[:, [1, 3]].any(axis=1), 1] = 1.0
    return Boxes(lightness, chroma, cos2, cos, sin)


def stretch(chroma: Floats) -> Floats:
    """1 + G of CIEDE2000 at a mean C*ab; it falls from 1.5 to 1."""
    c7 = chroma**7
    return np.asarray(1.5 - 0.5 * np.sqrt(c7 / (c7 + _SECTOR)))


def lower_bound(query: Floats, boxes: Boxes, k_l: float) -> Floats:
    """A ΔE00 that no colour in a box is nearer to the query than; (n,) for n boxes. Proof:

    Write g = 1 + G of the pair, r(h) = sqrt(1 + (g² - 1) cos² h), so that C' = C* r(h).

    1. Lightness: |ΔL| is at least the gap to the box. SL grows with the mean's distance from 50,
       so the farther end gives the largest SL.
    2. Chroma: g falls with the mean C*ab M, and M |dg/dM| = 1.75 s (1 - s²) <= 0.674 with
       s² = M⁷ / (M⁷ + 25⁷). dC'/dg of one colour is C* g cos² h / r <= C*, and r >= 1. Hence
       C'p - C'q and C'p + C'q both rise with the box's C* (their slope is at least
       1 - |dg/dM| (C*p + C*q) / 2 >= 1 - 0.674 > 0), and with cos² h. So ΔC' lies between its
       values at (least C*, least cos²) and (largest C*, largest cos²), and the mean C' is
       largest at the latter.
    3. Hue: tan h' = tan h / g, so h' rises with h at fixed g, and dh'/dg = -sin 2h' / 2g. For the
       difference d of two hues |dd/dg| = |cos(sum) sin d| / g <= |sin d| / g: from one g to
       another |d| falls at most by their ratio and never passes 0 or a half turn. So the
       circular gap at a middle g, times least g over largest g, is a gap for all g; one hue
       moves by no more than half the logarithm of that ratio. |ΔH'| = 2 sqrt(C'p C'q)
       sin(|d| / 2) rises with each factor.
    4. SC = 1 + 0.045 C' is largest at the largest mean. T changes by at most 2.41 a radian
       (0.17 + 2 0.24 + 3 0.32 + 4 0.20) and never exceeds 1.93, which bounds SH. |RT| rises with
       the mean C' and towards 275°. Where the half turn may be passed, every mean hue is allowed.
    5. RT <= 0 always and |RT| < 2. With |y| >= y0, |z| >= z0, p = |RT| / 2 at its largest, the
       least y² + z² - 2 p |y z| is m² (1 - p²) + max(0, s - p m)², m and s the larger and the
       smaller of y0, z0. If ΔC' and ΔH' have opposite signs all over the
       box (which then lies on one side of the query's hue), RT y z >= 0 and p is 0.

    A grey has no hue: then z0 = 0, and 5 still holds with z = 0.
    """
    L, (a, b) = query[0], query[1:]
    c_q, h_q = math.hypot(a, b), math.atan2(b, a)
    cos_q, sin_q = math.cos(h_q), math.sin(h_q)
    low, high = boxes.lightness[:, 0], boxes.lightness[:, 1]
    d_l = np.maximum(np.maximum(low - L, L - high), 0.0)
    l50 = (np.maximum(np.abs(low + L - 100.0), np.abs(high + L - 100.0)) / 2.0) ** 2
    x = d_l / (k_l * (1.0 + 0.015 * l50 / np.sqrt(20.0 + l50)))

    g_high, g_low = stretch((c_q + boxes.chroma[:, 0]) / 2), stretch((c_q + boxes.chroma[:, 1]) / 2)
    e_high, e_low = g_high**2 - 1.0, g_low**2 - 1.0
    cos2_q = cos_q**2
    far = boxes.chroma[:, 1] * np.sqrt(1.0 + e_low * boxes.cos2[:, 1])
    q_low = c_q * np.sqrt(1.0 + e_low * cos2_q)
    least = boxes.chroma[:, 0] * np.sqrt(1.0 + e_high * boxes.cos2[:, 0]) - c_q * np.sqrt(
        1.0 + e_high * cos2_q
    )
    most = far - q_low
    c_bar = (far + q_low) / 2.0
    y = np.maximum(np.maximum(least, -most), 0.0) / (1.0 + 0.045 * c_bar)

    g = (g_low + g_high) / 2.0
    hue_q = np.arctan2(sin_q, g * cos_q)
    ends = np.arctan2(boxes.sin, g[:, None] * boxes.cos)
    ends[ends < 0.0] += _TWO_PI
    half = (ends[:, 1] - ends[:, 0]) / 2.0
    turn = wrapped((ends[:, 0] + ends[:, 1]) / 2.0 - hue_q)
    gap = np.maximum(np.abs(turn) - half, 0.0)
    moved = 0.5 * np.log(g_high / g_low)
    near = boxes.chroma[:, 0] * np.sqrt(1.0 + e_low * boxes.cos2[:, 0])
    d_h = 2.0 * np.sqrt(near * q_low) * np.sin(gap * (g_low / g_high) / 2.0)

    spread = half / 2.0 + moved
    spread = np.where(np.abs(turn) + 2.0 * spread >= math.pi - 1e-6, math.pi, spread)
    hue = hue_q + turn / 2.0
    t = (
        1.0
        - 0.17 * np.cos(hue - math.radians(30.0))
        + 0.24 * np.cos(2.0 * hue)
        + 0.32 * np.cos(3.0 * hue + math.radians(6.0))
        - 0.20 * np.cos(4.0 * hue - math.radians(63.0))
    )
    z = d_h / (1.0 + 0.015 * c_bar * np.minimum(t + 2.41 * spread, 1.93))
    away = np.maximum(np.abs(wrapped(hue - math.radians(275.0))) - spread, 0.0)
    theta = math.radians(30.0) * np.exp(-((away / math.radians(25.0)) ** 2))
    c7 = c_bar**7
    p = np.sin(2.0 * theta) * np.sqrt(c7 / (c7 + _SECTOR))
    one_side = (gap > 0.0) & (np.abs(turn) + half < math.pi - 1e-6)
    opposite = one_side & (((least > 0.0) & (turn < 0.0)) | ((most < 0.0) & (turn > 0.0)))
    p = np.where(opposite, 0.0, p)
    m, s = np.maximum(y, z), np.minimum(y, z)
    return np.asarray(np.sqrt(x * x + m * m * (1.0 - p * p) + np.maximum(s - p * m, 0.0) ** 2))


def wrapped(angle: Floats) -> Floats:
    """An angle in radians brought to -pi..pi."""
    return np.asarray((angle + math.pi) % _TWO_PI - math.pi)
