"""Spectra: observer, lights, reflectances, and dye on yarn by Kubelka-Munk.

Everything is sampled at 380..780 nm in steps of 5 nm (:data:`WAVELENGTHS`, 81 values), and every
colour is a plain sum over it (CIE 015:2018, 7.1: 5 nm sums). Data are colour-science's copies of
published tables. Dyes and bases are invented: numbers with names of our own, no maker's.

Run by hand it prints what it holds: ``python -m tests.render.spectra``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from ingest.colour import SRGB_TO_XYZ, xyz_to_lab

WAVELENGTHS = np.arange(380.0, 780.1, 5.0)
N_WL = WAVELENGTHS.size

#: The six lights of the simulations: CIE standard and illustrative illuminants, CIE 015:2018.
LIGHTS = ("D65", "D50", "A", "FL2", "LED-B3", "LED-V1")
DAYLIGHTS = ("D65", "D50")


def _colour() -> Any:
    """colour-science, without the notes it prints about packages it can live without."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    return colour


def _on_grid(wavelengths: np.ndarray, values: np.ndarray, outside: str) -> np.ndarray:
    """Values (n, ...) linearly on the grid; ``outside``: "hold" the end values, or "zero"."""
    flat = values.reshape(len(wavelengths), -1)
    kw = {"left": 0.0, "right": 0.0} if outside == "zero" else {}
    out = np.stack([np.interp(WAVELENGTHS, wavelengths, c, **kw) for c in flat.T], axis=1)
    return out.reshape(N_WL, *values.shape[1:])


@cache
def observer() -> np.ndarray:
    """(81, 3) CIE 1931 2° standard observer."""
    cmfs = _colour().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    return _on_grid(cmfs.wavelengths, cmfs.values, "zero")


@cache
def illuminant(name: str) -> np.ndarray:
    """(81,) relative spectral power of a CIE illuminant, by colour-science's name."""
    sd = _colour().SDS_ILLUMINANTS[name]
    return _on_grid(sd.wavelengths, sd.values[:, None], "hold")[:, 0]


@cache
def xyz_weights(light: str) -> np.ndarray:
    """(81, 3) weights: reflectance @ weights is XYZ with Y = 1 for the perfect reflector."""
    w = illuminant(light)[:, None] * observer()
    return w / w[:, 1].sum()


def xyz(reflectance: np.ndarray, light: str = "D65") -> np.ndarray:
    """XYZ (..., 3) of reflectances (..., 81) under ``light``, Y = 1 for perfect white."""
    return np.asarray(reflectance) @ xyz_weights(light)


def white_xyz(light: str = "D65") -> np.ndarray:
    """(3,) XYZ of the perfect reflector by the same sums."""
    return xyz_weights(light).sum(axis=0)


def lab(reflectance: np.ndarray, light: str = "D65") -> np.ndarray:
    """CIELAB (..., 3), 2°, of reflectances (..., 81); the white is the sums' own."""
    return xyz_to_lab(xyz(reflectance, light), white_xyz(light))


def lab_of_xyz(value: np.ndarray) -> np.ndarray:
    """CIELAB D65/2° of XYZ that :func:`xyz` gave under D65."""
    return xyz_to_lab(value, white_xyz("D65"))


def linear_srgb(reflectance: np.ndarray) -> np.ndarray:
    """Linear sRGB (..., 3), unclipped, under D65; perfect white is exactly 1, 1, 1."""
    to_rgb = np.linalg.inv(SRGB_TO_XYZ)
    value = xyz(reflectance) / white_xyz() * SRGB_TO_XYZ.sum(axis=1)
    return value @ to_rgb.T


# ---------------------------------------------------------------------------------------------
# Published reflectances
# ---------------------------------------------------------------------------------------------


@cache
def published_samples() -> np.ndarray:
    """(99, 81) reflectances of CIE 224:2017, as colour-science's quality module carries them."""
    _colour()
    from colour import SpectralShape
    from colour.quality.cfi2017 import load_TCS_CIE2017

    tcs = load_TCS_CIE2017(SpectralShape(380, 780, 5))
    return _on_grid(tcs.wavelengths, tcs.values, "hold").T


#: Sets of 24 measured chart reflectances in colour-science, by our short names.
CHART_SETS = {
    "ohta": "ColorChecker N Ohta",
    "average": "BabelColor Average",
    "iso": "ISO 17321-1",
}


@cache
def chart(which: str = "ohta") -> np.ndarray:
    """(24, 81) reflectances of a 24-patch chart, row by row from dark skin to black.

    ``which``: a key of :data:`CHART_SETS`. "average" ends at 730 nm and is held from there.
    """
    sds = _colour().SDS_COLOURCHECKERS[CHART_SETS[which]]
    return np.stack(
        [_on_grid(s.wavelengths, s.values[:, None], "hold")[:, 0] for s in sds.values()]
    )


# ---------------------------------------------------------------------------------------------
# Neutrals and bases of our own
# ---------------------------------------------------------------------------------------------


def neutral(level: float, slope: float = 0.0) -> np.ndarray:
    """(81,) flat reflectance; ``slope``: relative change from 380 to 780 nm, about 580 nm."""
    return level * (1.0 + slope * (WAVELENGTHS - 580.0) / 400.0)


def with_y(reflectance: np.ndarray, y: float) -> np.ndarray:
    """The reflectance scaled so that its luminous reflectance under D65 is ``y``."""
    return reflectance * (y / xyz(reflectance)[..., 1:2])


def grey_card(y: float = 0.18, slope: float = 0.01) -> np.ndarray:
    """(81,) photographic grey card: 18 % (common practice), all but flat."""
    return with_y(neutral(y, slope), y)


#: Luminous reflectances of the six steps of the demo's strip: near L* 96, 81, 67, 51, 36, 20.
STEPS_Y = (0.90, 0.59, 0.36, 0.195, 0.09, 0.032)


def neutral_steps(ys: tuple[float, ...] = STEPS_Y, slope: float = 0.01) -> np.ndarray:
    """(n, 81) neutral steps with these luminous reflectances."""
    return np.stack([grey_card(y, slope) for y in ys])


@dataclass(frozen=True)
class BaseCurve:
    """Undyed yarn by a formula of our own: a logistic rise from ``low`` (380 nm) to ``high``.

    R = low + (high - low) / (1 + exp(-(wl - centre) / width)). Wool and silk are smooth and
    yellowish; these numbers are ours, chosen to look so, and measured on nothing.
    """

    low: float
    high: float
    centre: float
    width: float

    def reflectance(self) -> np.ndarray:
        rise = 1.0 / (1.0 + np.exp(-(WAVELENGTHS - self.centre) / self.width))
        return self.low + (self.high - self.low) * rise


BASES: Mapping[str, BaseCurve] = {
    "wool": BaseCurve(0.30, 0.80, 425.0, 45.0),
    "white wool": BaseCurve(0.36, 0.83, 415.0, 40.0),
    "silk": BaseCurve(0.42, 0.86, 410.0, 40.0),
    "grey wool": BaseCurve(0.13, 0.34, 470.0, 110.0),
}


def base_reflectance(name: str = "wool") -> np.ndarray:
    """(81,) of an undyed base from :data:`BASES`."""
    return BASES[name].reflectance()


# ---------------------------------------------------------------------------------------------
# Kubelka-Munk
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Surface:
    """Saunderson's correction, J. Opt. Soc. Am. 32 (1942) 727: part of the light is mirrored.

    ``k1``: mirrored outside, ``k2``: mirrored back inside, ``seen``: share of the outside
    mirroring that reaches the eye (0: glare excluded). Values are from memory, unverified: 0.04
    and 0.4..0.6 are customary for an index near 1.5.
    """

    k1: float = 0.04
    k2: float = 0.4
    seen: float = 0.0

    def outside(self, inside: np.ndarray) -> np.ndarray:
        k1, k2 = self.k1, self.k2
        return self.seen * k1 + (1 - k1) * (1 - k2) * inside / (1 - k2 * inside)

    def inside(self, outside: np.ndarray) -> np.ndarray:
        k1, k2 = self.k1, self.k2
        r = outside - self.seen * k1
        return r / ((1 - k1) * (1 - k2) + k2 * r)


def ks_of_r(reflectance: np.ndarray | float) -> np.ndarray:
    """Kubelka-Munk K/S = (1 - R)² / 2R of an opaque layer."""
    r = np.asarray(reflectance, dtype=float)
    return (1.0 - r) ** 2 / (2.0 * r)


def r_of_ks(ks: np.ndarray | float) -> np.ndarray:
    """Reflectance of an opaque layer from its K/S; inverse of :func:`ks_of_r`."""
    k = np.asarray(ks, dtype=float)
    return 1.0 + k - np.sqrt(k * k + 2.0 * k)


@dataclass(frozen=True)
class Dye:
    """An invented dye: absorption bands (peak nm, width below, width above, K/S per % there).

    Each band is a Gaussian with its own width on either side. ``tail`` is a K/S per % that grows
    towards the blue, as most dyes have.
    """

    bands: tuple[tuple[float, float, float, float], ...]
    tail: float = 0.05

    def ks_per_percent(self) -> np.ndarray:
        """(81,) K/S of 1 % depth of shade."""
        total = self.tail * np.exp(-(WAVELENGTHS - 380.0) / 90.0)
        for peak, below, above, strength in self.bands:
            width = np.where(peak > WAVELENGTHS, below, above)
            total = total + strength * np.exp(-0.5 * ((WAVELENGTHS - peak) / width) ** 2)
        return total


#: Invented dyes; names are made-up words with a plain hue beside them.
DYES: Mapping[str, Dye] = {
    "Ostrel yellow": Dye(((428, 45, 34, 13.0),), 0.4),
    "Quince orange": Dye(((478, 42, 32, 12.0), (400, 40, 40, 3.0)), 0.5),
    "Pellow red": Dye(((518, 42, 26, 13.0), (400, 35, 40, 2.2)), 0.3),
    "Tavick rose": Dye(((545, 36, 17, 15.0), (510, 24, 24, 4.0), (370, 30, 30, 2.0)), 0.1),
    "Hessard violet": Dye(((572, 48, 32, 12.0), (400, 25, 25, 1.2)), 0.2),
    "Marn blue": Dye(((622, 52, 36, 11.0), (585, 30, 30, 3.0), (390, 25, 28, 2.0)), 0.2),
    "Corrow turquoise": Dye(((668, 58, 30, 13.0), (618, 26, 26, 6.0), (360, 30, 30, 3.0)), 0.1),
    "Brackle brown": Dye(((450, 70, 90, 8.0), (560, 60, 70, 2.2)), 0.6),
    "Sallow black": Dye(((590, 90, 80, 12.0), (450, 60, 60, 8.0)), 0.8),
}


def base_ks(base: np.ndarray, surface: Surface | None = None) -> np.ndarray:
    """(81,) K/S of an undyed base, inside its surface where one is given."""
    return ks_of_r(base if surface is None else surface.inside(base))


def dyed_reflectance(
    base: np.ndarray, depths: Mapping[str, Any], surface: Surface | None = None
) -> np.ndarray:
    """(..., 81) reflectance of ``base`` with invented dyes at depths of shade in %.

    ``depths``: dye name to % on the mass of the goods, scalars or arrays that broadcast. K/S is
    additive in depth over the base's own (single-constant Kubelka-Munk).
    """
    ks = base_ks(base, surface)
    for name, depth in depths.items():
        ks = ks + np.asarray(depth, dtype=float)[..., None] * DYES[name].ks_per_percent()
    r = r_of_ks(ks)
    return r if surface is None else surface.outside(r)


def random_dyed(rng: np.random.Generator, n: int, max_percent: float = 3.0) -> np.ndarray:
    """(n, 81) yarns: one to three invented dyes each, log-uniform depths, any base."""
    names = list(DYES)
    bases = list(BASES)
    rows = []
    for _ in range(n):
        chosen = rng.choice(len(names), size=rng.integers(1, 4), replace=False)
        depths = {names[i]: float(np.exp(rng.uniform(-4.0, np.log(max_percent)))) for i in chosen}
        base = base_reflectance(bases[rng.choice(4, p=[0.4, 0.3, 0.2, 0.1])])
        rows.append(dyed_reflectance(base, depths))
    return np.stack(rows)


def main() -> None:
    print("base            L*     a*     b*")
    for name in BASES:
        print(f"{name:18s}", np.round(lab(base_reflectance(name)), 1))
    for name in DYES:
        for depth in (0.1, 0.5, 2.0):
            r = dyed_reflectance(base_reflectance(), {name: depth})
            print(f"{name:18s} {depth:4.1f} %", np.round(lab(r), 1))


if __name__ == "__main__":
    main()
