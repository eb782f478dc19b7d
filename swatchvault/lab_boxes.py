"""Boxes of colours, and how near to a colour any of a box's can be by CIEDE2000: with its proof."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ingest.colour import Floats, a_stretch

Indices = NDArray[np.intp]

_SECTOR = 25.0**7  # of R_C in CIEDE2000
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


def split_in_four(lch: list[Floats], order: Indices) -> tuple[list[Floats], Indices]:
    """One level: each row of L*, C*, h (boxes, size) parted into quarters along its longest side,
    and ``order`` (boxes * size,), the colours' rows, likewise.

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

    g_high, g_low = (a_stretch((c_q + boxes.chroma[:, end]) / 2) for end in (0, 1))
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
    """Angles in radians, any shape, brought to -pi..pi."""
    return np.asarray((angle + math.pi) % _TWO_PI - math.pi)
