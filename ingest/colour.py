"""Colour arithmetic over arrays: XYZ, CIELAB, CIEDE2000, adaptation, transfer curves.

Pure functions on float64. XYZ is relative to Y = 1 for the white. Lab is CIELAB with the white
named by the function. Sources stand beside the constants.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

# White points as chromaticities; D65 and D50 as CIE 015:2018 rounds them for display use.
D65_XY = (0.3127, 0.3290)
D50_XY = (0.3457, 0.3585)


def xy_to_xyz(xy: tuple[float, float]) -> Floats:
    """XYZ (3,) with Y = 1 of a chromaticity."""
    x, y = xy
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


D65 = xy_to_xyz(D65_XY)
D50 = xy_to_xyz(D50_XY)

# Bradford cone matrix: Lam 1985, as printed in ICC.1:2022 annex E.
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)

# IEC 61966-2-1:1999, the matrix as it prints it.
SRGB_TO_XYZ = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)

# CIE 15: exact rational forms of the CIELAB constants.
_EPSILON = 216.0 / 24389.0
_KAPPA = 24389.0 / 27.0

# Hues exactly 180° apart stay on the published side however arctan2 rounds on a machine.
_HALF_TURN = 180.0 + 1e-9


def bradford(source_white: ArrayLike, target_white: ArrayLike) -> Floats:
    """(3, 3) matrix that adapts XYZ from one white to another (Bradford, linear)."""
    source = BRADFORD @ np.asarray(source_white, dtype=float)
    target = BRADFORD @ np.asarray(target_white, dtype=float)
    return np.asarray(np.linalg.solve(BRADFORD, (target / source)[:, None] * BRADFORD))


D50_TO_D65 = bradford(D50, D65)


def primaries_to_xyz(
    red: tuple[float, float],
    green: tuple[float, float],
    blue: tuple[float, float],
    white: tuple[float, float] = D65_XY,
) -> Floats:
    """(3, 3) linear RGB to XYZ from primaries and white (SMPTE RP 177)."""
    columns = np.stack([xy_to_xyz(red), xy_to_xyz(green), xy_to_xyz(blue)], axis=1)
    return np.asarray(columns * np.linalg.solve(columns, xy_to_xyz(white)))


# SMPTE EG 432-1 primaries (P3) with D65.
DISPLAY_P3_TO_XYZ = primaries_to_xyz((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
# Adobe RGB (1998) Color Image Encoding, section 4.3.1.
ADOBE_RGB_TO_XYZ = primaries_to_xyz((0.64, 0.33), (0.21, 0.71), (0.15, 0.06))
# Adobe RGB (1998), section 4.3.4.2: gamma of 2 + 51/256.
ADOBE_GAMMA = 2.0 + 51.0 / 256.0


def srgb_to_linear(coded: ArrayLike) -> Floats:
    """IEC 61966-2-1 curve undone: coded 0..1 to linear light 0..1, any shape."""
    v = np.asarray(coded, dtype=float)
    return np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0.0) + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(linear: ArrayLike) -> Floats:
    """IEC 61966-2-1 curve applied: linear light 0..1 to coded 0..1, any shape."""
    v = np.asarray(linear, dtype=float)
    return np.where(v <= 0.0031308, v * 12.92, 1.055 * np.maximum(v, 0.0) ** (1 / 2.4) - 0.055)


def xyz_to_lab(xyz: ArrayLike, white: ArrayLike = D65) -> Floats:
    """CIELAB of XYZ (..., 3) against ``white`` (CIE 015:2018, 8.2.1)."""
    ratio = np.asarray(xyz, dtype=float) / np.asarray(white, dtype=float)
    f = np.asarray(np.cbrt(ratio))
    if not ratio.min(initial=np.inf) > _EPSILON:  # so dark, or not a number
        f = np.where(ratio > _EPSILON, f, (_KAPPA * ratio + 16.0) / 116.0)
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    lab = np.empty(f.shape)
    lab[..., 0], lab[..., 1], lab[..., 2] = 116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)
    return lab


def lab_to_xyz(lab: ArrayLike, white: ArrayLike = D65) -> Floats:
    """XYZ of CIELAB (..., 3) against ``white``; the inverse of :func:`xyz_to_lab`."""
    v = np.asarray(lab, dtype=float)
    fy = (v[..., 0] + 16.0) / 116.0
    f = np.stack([fy + v[..., 1] / 500.0, fy, fy - v[..., 2] / 200.0], axis=-1)
    ratio = np.where(f**3 > _EPSILON, f**3, (116.0 * f - 16.0) / _KAPPA)
    return np.asarray(ratio * np.asarray(white, dtype=float))


def lab_d50_to_d65(lab_d50: ArrayLike) -> Floats:
    """Lab (..., 3) under D65 of surfaces whose Lab (..., 3) is stated under D50, by Bradford."""
    return xyz_to_lab(lab_to_xyz(lab_d50, D50) @ D50_TO_D65.T, D65)


# Lab by f(X/Xn), f(Y/Yn), f(Z/Zn), as CIE 15 defines it.
_LAB_BY_F = np.array([[0.0, 116.0, 0.0], [500.0, -500.0, 0.0], [0.0, 200.0, -200.0]])


def xyz_to_lab_jacobian(xyz: ArrayLike, white: ArrayLike = D65) -> Floats:
    """(..., 3, 3) derivative of Lab by XYZ at XYZ (..., 3)."""
    w = np.asarray(white, dtype=float)
    ratio = np.asarray(xyz, dtype=float) / w
    root = np.cbrt(np.maximum(ratio, _EPSILON))
    slope = np.where(ratio > _EPSILON, root**-2 / 3.0, _KAPPA / 116.0) / w
    return np.asarray(slope[..., None, :] * _LAB_BY_F)


# Pairs worked on at a time, so that what is between stays in the processor's own memory, and how
# many are worth it: our choice, by measuring.
_BLOCK, _FEW_PAIRS = 32768, 512
# (C1 C2 + C1 · C2) / (C1 C2) under which hues count as opposite; our choice: the sum of the two
# directions has lost two digits of sixteen there, and ΔE00 stays right to 1e-10.
_NEARLY_OPPOSITE = 1e-4
_COS_30, _SIN_30 = math.cos(math.radians(30.0)), math.sin(math.radians(30.0))
_COS_6, _SIN_6 = math.cos(math.radians(6.0)), math.sin(math.radians(6.0))
_COS_63, _SIN_63 = math.cos(math.radians(63.0)), math.sin(math.radians(63.0))
_SIXTY = math.radians(60.0)


class DifferenceTerms(NamedTuple):
    """The parts of CIEDE2000 for pairs of shape (...).

    ``delta``: (..., 3) ΔL', ΔC', ΔH'. ``weights``: (..., 3) SL, SC, SH without k. ``rotation``:
    (...) R_T. ΔE00² = x² + y² + z² + R_T y z with (x, y, z) = delta / (k · weights).
    """

    delta: Floats
    weights: Floats
    rotation: Floats


def a_stretch(mean_chroma: ArrayLike) -> Floats:
    """1 + G of CIEDE2000 (4), by which a* is stretched, at mean C*ab, any shape: 1.5 down to 1."""
    c7 = np.asarray(mean_chroma, dtype=float) ** 7
    return np.asarray(1.5 - 0.5 * np.sqrt(c7 / (c7 + 25.0**7)))


def difference_terms(lab1: ArrayLike, lab2: ArrayLike) -> DifferenceTerms:
    """The terms of CIEDE2000 from ``lab1`` to ``lab2`` (..., 3), broadcasting.

    Equation numbers are those of Sharma, Wu and Dalal, Color Research and Application 30 (2005)
    21-30. Where the hues are exactly 180° apart the mean hue follows their table (pairs 10, 14).
    """
    a, b = np.broadcast_arrays(np.asarray(lab1, dtype=float), np.asarray(lab2, dtype=float))
    L1, a1, b1 = a[..., 0], a[..., 1], a[..., 2]
    L2, a2, b2 = b[..., 0], b[..., 1], b[..., 2]
    c_bar7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2.0) ** 7  # (3)
    g = 1.0 + 0.5 * (1.0 - np.sqrt(c_bar7 / (c_bar7 + 25.0**7)))  # (4)
    a1p, a2p = g * a1, g * a2  # (5)
    c1, c2 = np.hypot(a1p, b1), np.hypot(a2p, b2)  # (6)
    h1 = np.degrees(np.arctan2(b1, a1p)) % 360.0  # (7)
    h2 = np.degrees(np.arctan2(b2, a2p)) % 360.0
    grey = c1 * c2 == 0.0
    dh = h2 - h1
    dh = dh - 360.0 * (dh > _HALF_TURN) + 360.0 * (dh < -_HALF_TURN)
    dh = np.where(grey, 0.0, dh)  # (10)
    d_hue = 2.0 * np.sqrt(c1 * c2) * np.sin(np.radians(dh) / 2.0)  # (11)
    l_bar, c_bar = (L1 + L2) / 2.0, (c1 + c2) / 2.0  # (12), (13)
    total = h1 + h2
    apart = np.abs(h1 - h2) > _HALF_TURN
    h_bar = np.where(apart, np.where(total < 360.0, total + 360.0, total - 360.0), total) / 2.0
    h_bar = np.where(grey, total, h_bar)  # (14)
    t = (
        1.0
        - 0.17 * np.cos(np.radians(h_bar - 30.0))
        + 0.24 * np.cos(np.radians(2.0 * h_bar))
        + 0.32 * np.cos(np.radians(3.0 * h_bar + 6.0))
        - 0.20 * np.cos(np.radians(4.0 * h_bar - 63.0))
    )  # (15)
    theta = 30.0 * np.exp(-(((h_bar - 275.0) / 25.0) ** 2))  # (16)
    c7 = c_bar**7
    r_c = 2.0 * np.sqrt(c7 / (c7 + 25.0**7))  # (17)
    l50 = (l_bar - 50.0) ** 2
    s_l = 1.0 + 0.015 * l50 / np.sqrt(20.0 + l50)  # (18)
    s_c = 1.0 + 0.045 * c_bar  # (19)
    s_h = 1.0 + 0.015 * c_bar * t  # (20)
    r_t = -np.sin(np.radians(2.0 * theta)) * r_c  # (21)
    delta = np.stack([L2 - L1, c2 - c1, d_hue], axis=-1)  # (8), (9), (11)
    return DifferenceTerms(delta, np.stack([s_l, s_c, s_h], axis=-1), r_t)


def delta_e_2000(
    lab1: ArrayLike,
    lab2: ArrayLike,
    k_l: float = 1.0,
    k_c: float = 1.0,
    k_h: float = 1.0,
    *,
    threads: int = 1,
) -> Floats:
    """CIEDE2000 colour difference, ISO/CIE 11664-6:2022 (22) of Sharma et al. 2005.

    ``lab1``, ``lab2``: (..., 3) CIELAB under one white, broadcasting; returns (...) float64.
    The formula is meant for differences under about 5 between even samples seen side by side.
    Many pairs are worked on in blocks, over ``threads``.

    >>> round(float(delta_e_2000([50, 2.6772, -79.7751], [50, 0, -82.7485])), 4)
    2.0425
    """
    a, b = np.asarray(lab1, dtype=float), np.asarray(lab2, dtype=float)
    shape = np.broadcast_shapes(a.shape, b.shape)[:-1]
    k = (float(k_l), float(k_c), float(k_h))
    if math.prod(shape) < _FEW_PAIRS:
        return _delta_e_by_terms(a, b, k)
    one, two = (np.broadcast_to(v, (*shape, 3)).reshape(-1, 3) for v in (a, b))
    if a.size == 3:
        one = a.reshape(1, 3)
    out = np.empty(len(two))

    def block(start: int) -> None:
        part = slice(start, start + _BLOCK)
        out[part] = _delta_e_block(one if len(one) == 1 else one[part], two[part], k)

    starts = range(0, len(two), _BLOCK)
    if threads <= 1:
        for start in starts:
            block(start)
    else:
        from concurrent.futures import ThreadPoolExecutor

        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(block, starts))
    return out.reshape(shape)


def _delta_e_by_terms(lab1: Floats, lab2: Floats, k: tuple[float, float, float]) -> Floats:
    terms = difference_terms(lab1, lab2)
    x, y, z = np.moveaxis(terms.delta / (terms.weights * np.array(k)), -1, 0)
    return np.asarray(np.sqrt(np.maximum(x * x + y * y + z * z + terms.rotation * y * z, 0.0)))


def _delta_e_block(lab1: Floats, lab2: Floats, k: tuple[float, float, float]) -> Floats:
    """CIEDE2000 of (1, 3) or (n, 3) to (n, 3)."""
    axes, rotation = difference_axes(lab1, lab2)
    x, y, z = axes / np.array(k)[:, None]
    return np.asarray(np.sqrt(np.maximum(x * x + y * y + z * z + rotation * y * z, 0.0)))


def difference_axes(lab1: Floats, lab2: Floats) -> tuple[Floats, Floats]:
    """(3, n) ΔL'/SL, ΔC'/SC, ΔH'/SH and (n,) R_T from (1, 3) or (n, 3) to (n, 3).

    The terms of :func:`difference_terms` with one arctangent for each pair. The mean hue's sine
    and cosine come from the two hues' vectors summed, multiples of it from the identities of
    multiple angles. Greys and hues nearly half a turn apart, where that sum has no direction, go
    the long way.
    """
    (L1, a1, b1), (L2, a2, b2) = np.ascontiguousarray(lab1.T), np.ascontiguousarray(lab2.T)
    bb1, bb2 = b1 * b1, b2 * b2
    g = 1.5 - 0.5 * np.sqrt(
        _seventh((np.sqrt(a1 * a1 + bb1) + np.sqrt(a2 * a2 + bb2)) / 2.0)
    )  # (4)
    a1, a2 = g * a1, g * a2  # (5)
    c1, c2 = np.sqrt(a1 * a1 + bb1), np.sqrt(a2 * a2 + bb2)  # (6)
    product = c1 * c2
    near = product + a1 * a2 + b1 * b2  # 2 C1 C2 cos²(Δh / 2)
    x, y = a1 * c2 + a2 * c1, b1 * c2 + b2 * c1
    length = np.sqrt(x * x + y * y)
    far = ~(near > _NEARLY_OPPOSITE * product)
    if far.any():
        near[far] = length[far] = 1.0
    d_hue = (a1 * b2 - a2 * b1) / np.sqrt(near / 2.0)  # (11)
    c, s = x / length, y / length
    cc, ss = c * c - s * s, 2.0 * c * s  # of twice the mean hue
    t = (
        1.0
        - 0.17 * (_COS_30 * c + _SIN_30 * s)
        + 0.24 * cc
        + 0.32 * (_COS_6 * (c * cc - s * ss) - _SIN_6 * (s * cc + c * ss))
        - 0.20 * (_COS_63 * (cc * cc - ss * ss) + _SIN_63 * (2.0 * cc * ss))
    )  # (15)
    hue = np.degrees(np.arctan2(s, c))
    hue = np.where(hue < 0.0, hue + 85.0, hue - 275.0) / 25.0
    c_bar, l50 = (c1 + c2) / 2.0, (L1 + L2) / 2.0 - 50.0
    l50 = l50 * l50
    turn = -2.0 * np.sin(_SIXTY * np.exp(-hue * hue)) * np.sqrt(_seventh(c_bar))  # (16), (17), (21)
    out = np.empty((3, len(turn)))
    np.divide(L2 - L1, 1.0 + 0.015 * l50 / np.sqrt(20.0 + l50), out=out[0])
    np.divide(c2 - c1, 1.0 + 0.045 * c_bar, out=out[1])
    np.divide(d_hue, 1.0 + 0.015 * c_bar * t, out=out[2])
    if far.any():
        terms = difference_terms(lab1 if len(lab1) == 1 else lab1[far], lab2[far])
        out[:, far], turn[far] = (terms.delta / terms.weights).T, terms.rotation
    return out, np.asarray(turn)


def _seventh(c: Floats) -> Floats:
    """C⁷ / (C⁷ + 25⁷); a power of seven by itself is many times slower."""
    square = c * c
    power = square * square * square * c
    return np.asarray(power / (power + 25.0**7))


def d_lch(lab1: ArrayLike, lab2: ArrayLike) -> Floats:
    """CIELAB (..., 3) of ΔL*, ΔC*ab, ΔH*ab from ``lab1`` to ``lab2``; ΔH signed as Δhab."""
    a, b = np.broadcast_arrays(np.asarray(lab1, dtype=float), np.asarray(lab2, dtype=float))
    c1, c2 = np.hypot(a[..., 1], a[..., 2]), np.hypot(b[..., 1], b[..., 2])
    # ΔH = 2 sqrt(C1 C2) sin(Δh / 2), CIE 015:2018, 8.2.1.3: stable for small differences.
    half = 0.5 * (np.arctan2(b[..., 2], b[..., 1]) - np.arctan2(a[..., 2], a[..., 1]))
    sin_half = np.sin(half) * np.where(np.cos(half) < 0, -1.0, 1.0)
    return np.stack([b[..., 0] - a[..., 0], c2 - c1, 2.0 * np.sqrt(c1 * c2) * sin_half], axis=-1)
