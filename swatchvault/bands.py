"""Dye on a base in sixteen bands: Kubelka-Munk from parameters to Lab, with derivatives.

The unknowns of a base and its dyes are one vector: ln K/S of the base in each band; per dye ln K/S
of 1 % depth in each band and ln of an exponent on the depth; and two numbers for the surface. What
a reflectance looks like between bands is taken as straight. Everything is smooth, so a dozen Lab
values and a prior of smooth spectra settle what matters for the colours of that base.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from ingest.colour import D65, Floats, delta_e_2000, xyz_to_lab, xyz_to_lab_jacobian
from ingest.observer import TABLE

#: Centres of the bands in nm: 20 nm, the interval of ASTM E308's tables of weights.
CENTRES = np.arange(400.0, 700.1, 20.0)
N_BANDS = CENTRES.size

# Share of light mirrored at the surface from outside: index near 1.5 (Fresnel), glare excluded.
_K1 = 0.04

# The prior, our choice: dyes as smooth curves of ln K/S. Set on random dyes of a simulation
# (tests/prediction, the tuning set); the figures are measured on others.
_BASE_MEAN, _BASE_LEVEL_SD, _BASE_SHAPE_SD, _BASE_NM = -2.3, 1.0, 0.7, 90.0
_DYE_MEAN, _DYE_LEVEL_SD, _DYE_SHAPE_SD, _DYE_NM = 0.3, 1.0, 2.0, 60.0
_EXPONENT_SD = 0.08
_BACK_MEAN, _BACK_SD = -0.2, 0.5  # logit of the share mirrored back inside: 0.23 to 0.69
_VEIL_MEAN, _VEIL_SD = -5.0, 1.0  # ln of the light that met no dye: 0.001 to 0.05 of white


def ks(reflectance: ArrayLike) -> Floats:
    """K/S = (1 - R)² / 2R of reflectances in 0..1 of an opaque layer (Kubelka and Munk 1931).

    >>> round(float(ks(0.2)), 4)
    1.6
    """
    r = np.asarray(reflectance, dtype=float)
    return np.asarray((1 - r) ** 2 / (2 * r))


def reflectance(ks: ArrayLike) -> Floats:
    """Reflectance in 0..1 of an opaque layer from its K/S; the inverse of :func:`ks`."""
    q = np.asarray(ks, dtype=float)
    return np.asarray(1 + q - np.sqrt(q * q + 2 * q))


@cache
def _weights() -> Floats:
    """(16, 3) weights: band reflectances @ weights are XYZ; straight lines between the bands."""
    rows = np.asarray(TABLE, dtype=float)
    nm, light = rows[:, 0], rows[:, 1:4] * rows[:, 4:5]
    hats = np.stack([np.interp(nm, CENTRES, unit) for unit in np.eye(N_BANDS)])
    weights = hats @ light
    return np.asarray(weights * (D65 / weights.sum(axis=0)))


@dataclass(frozen=True)
class Layout:
    """Where things lie in the vector of unknowns, for ``n_dyes`` dyes."""

    n_dyes: int

    @property
    def size(self) -> int:
        return (N_BANDS + 1) * (self.n_dyes + 1) + 1

    def parts(self, theta: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """ln K/S of the base (16,) and the dyes (n, 16), ln exponents (n,), surface (2,)."""
        n = self.n_dyes
        end = N_BANDS * (n + 1)
        dyes = theta[N_BANDS:end].reshape(n, N_BANDS)
        return theta[:N_BANDS], dyes, theta[end : end + n], theta[-2:]

    def prior(self) -> tuple[Floats, Floats]:
        """Mean (size,) and lower Cholesky factor (size, size) of the prior."""
        apart = CENTRES[:, None] - CENTRES[None, :]
        n, end = self.n_dyes, N_BANDS * (self.n_dyes + 1)
        mean = np.zeros(self.size)
        factor = np.zeros((self.size, self.size))
        base = _smooth(apart, _BASE_LEVEL_SD, _BASE_SHAPE_SD, _BASE_NM)
        dye = _smooth(apart, _DYE_LEVEL_SD, _DYE_SHAPE_SD, _DYE_NM)
        for k in range(n + 1):
            at = slice(k * N_BANDS, (k + 1) * N_BANDS)
            mean[at] = _DYE_MEAN if k else _BASE_MEAN
            factor[at, at] = dye if k else base
        rest = np.arange(end, self.size)
        factor[rest, rest] = _EXPONENT_SD
        mean[-2:] = _BACK_MEAN, _VEIL_MEAN
        factor[-2, -2], factor[-1, -1] = _BACK_SD, _VEIL_SD
        return mean, factor


def _smooth(apart: Floats, level_sd: float, shape_sd: float, nm: float) -> Floats:
    """Cholesky factor of a smooth random curve: a level, and a shape that forgets over ``nm``."""
    shape = np.exp(-0.5 * (apart / nm) ** 2)
    cov = level_sd**2 + shape_sd**2 * shape + 1e-3 * np.eye(N_BANDS)
    return np.asarray(np.linalg.cholesky(cov))


@dataclass(frozen=True, eq=False)
class Forward:
    """Colours of m recipes with their derivatives by the unknowns and by the depths."""

    lab: Floats  # (m, 3)
    by_theta: Floats  # (m, 3, size)
    by_depth: Floats  # (m, 3, n_dyes), Lab units per %


@dataclass(frozen=True, eq=False)
class _Chain:
    """What every derivative needs: K/S by dye, and how Lab follows K/S and reflectance."""

    lab: Floats  # (m, 3)
    each: Floats  # (m, n, bands) K/S of each dye
    ln_depth: Floats  # (m, n)
    by_outer: Floats  # (m, 3, bands), by reflectance
    by_ks: Floats  # (m, 3, bands)
    outer_by_back: Floats  # (m, bands), by the share mirrored back


def _chain(layout: Layout, theta: Floats, c: Floats) -> _Chain:
    base, dyes, ln_exp, surface = layout.parts(theta)
    ln_c = np.log(np.maximum(c, 1e-9))
    each = (np.exp(np.exp(ln_exp) * ln_c) * (c > 0))[..., None] * np.exp(dyes)
    q = np.exp(base) + each.sum(axis=1)
    inside = reflectance(q)
    back, veil = _surface(surface)
    gap = 1 - back * inside
    outer_by_inside = (1 - _K1) * (1 - back) / gap**2
    xyz = (outer_by_inside * gap * inside + veil) @ _weights()
    by_outer = xyz_to_lab_jacobian(xyz) @ _weights().T
    by_ks = by_outer * (outer_by_inside * (1 - (1 + q) / np.sqrt(q * q + 2 * q)))[:, None, :]
    outer_by_back = (1 - _K1) * inside * (inside - 1) / gap**2
    return _Chain(xyz_to_lab(xyz), each, ln_c, by_outer, by_ks, outer_by_back)


def _surface(surface: Floats) -> tuple[float, float]:
    """Share of light mirrored back inside (Saunderson 1942), and light that met no dye."""
    return float(1 / (1 + np.exp(-surface[0]))), float(np.exp(surface[1]))


def forward(layout: Layout, theta: Floats, depths: ArrayLike) -> Forward:
    """Lab (m, 3) of recipes ``depths`` (m, n_dyes) in % DOS, with both derivatives.

    ``theta``: (size,) unknowns of ``layout``.
    """
    c = np.asarray(depths, dtype=float).reshape(-1, layout.n_dyes)
    m, n = c.shape
    base, _, ln_exp, surface = layout.parts(theta)
    chain = _chain(layout, theta, c)
    by_theta = np.zeros((m, 3, layout.size))
    end = N_BANDS * (n + 1)
    by_theta[:, :, :N_BANDS] = chain.by_ks * np.exp(base)
    by_dye = chain.by_ks[:, :, None, :] * chain.each[:, None]  # (m, 3, n, bands)
    by_theta[:, :, N_BANDS:end] = by_dye.reshape(m, 3, -1)
    by_ln_depth = by_dye.sum(axis=-1) * np.exp(ln_exp)
    by_theta[:, :, end : end + n] = by_ln_depth * chain.ln_depth[:, None, :]
    back, veil = _surface(surface)
    by_back = (chain.by_outer @ chain.outer_by_back[..., None])[..., 0]
    by_theta[:, :, -2] = by_back * back * (1 - back)
    by_theta[:, :, -1] = chain.by_outer.sum(axis=-1) * veil
    return Forward(chain.lab, by_theta, _by_depth(layout, theta, c, chain))


def depth_slopes(layout: Layout, theta: Floats, depths: Floats) -> tuple[Floats, Floats]:
    """Lab (m, 3) of recipes (m, n_dyes) and its slopes by depth (m, 3, n_dyes) alone."""
    chain = _chain(layout, theta, depths)
    return chain.lab, _by_depth(layout, theta, depths, chain)


def _by_depth(layout: Layout, theta: Floats, c: Floats, chain: _Chain) -> Floats:
    _, dyes, ln_exp, _ = layout.parts(theta)
    exponent = np.exp(ln_exp)
    # From nothing, the first trace counts as at a thousandth of a per cent: c^x has no slope at 0.
    slope = exponent * np.exp((exponent - 1) * np.log(np.maximum(c, 1e-3)))
    return np.asarray((chain.by_ks @ np.exp(dyes).T) * slope[:, None, :])


def lab_of(layout: Layout, theta: Floats, depths: ArrayLike) -> Floats:
    """Lab (..., 3) of recipes (..., n_dyes), without derivatives."""
    c = np.asarray(depths, dtype=float)
    base, dyes, ln_exp, surface = layout.parts(theta)
    amount = np.where(c > 0, np.exp(np.exp(ln_exp) * np.log(np.maximum(c, 1e-9))), 0.0)
    inside = reflectance(np.exp(base) + amount @ np.exp(dyes))
    back, veil = _surface(surface)
    return xyz_to_lab(((1 - _K1) * (1 - back) * inside / (1 - back * inside) + veil) @ _weights())


def metric(lab: ArrayLike, k_l: float = 1.0) -> Floats:
    """(..., 3, 3) G so that ΔE00² is near dᵀ G d for small d, positive definite."""
    here = np.asarray(lab, dtype=float)
    step, unit = 0.3, np.eye(3)
    pairs = unit[:, None, :] + unit[None, :, :]  # e_i + e_j, and 2 e_i on the diagonal
    near = here[..., None, None, :]
    both = (delta_e_2000(near, near + step * pairs, k_l) / step) ** 2
    one = (delta_e_2000(here[..., None, :], here[..., None, :] + step * unit, k_l) / step) ** 2
    g = (both - one[..., :, None] - one[..., None, :]) / 2
    values, vectors = np.linalg.eigh(g)
    kept = np.maximum(values, 0.02)[..., None, :]
    return np.asarray((vectors * kept) @ np.swapaxes(vectors, -1, -2))
