"""Dyed wool as spectra, by Kubelka and Munk, with dyes that are all invented.

Wool has an absorption over scattering, K/S, in each band; dyes add theirs, and what comes back of
a thick layer is 1 + K/S - sqrt((K/S)² + 2 K/S) (Kubelka and Munk 1931, infinite thickness).
colour-science's copies of the CIE 1931 observer and of D65 weigh the bands.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from ingest.colour import D65, SRGB_TO_XYZ, xyz_to_lab
from ingest.model import Array
from tests.tonality.third_noise import F

Floats = NDArray[np.float64]
#: Amount of each of :data:`DYES` at depth 1.
Recipe = tuple[float, ...]

BANDS_NM = np.arange(400.0, 701.0, 10.0)
#: K/S of each dye at amount 1: (peak in nm, width below it, width above it, height), our own.
DYES: dict[str, tuple[tuple[float, float, float, float], ...]] = {
    "lemon": ((418, 30, 28, 1.0),),
    "gold": ((438, 38, 34, 1.0), (400, 20, 20, 0.3)),
    "orange": ((478, 42, 30, 1.0), (405, 18, 22, 0.35)),
    "scarlet": ((508, 44, 26, 1.0), (415, 20, 30, 0.3)),
    "pink": ((538, 30, 18, 1.0), (505, 24, 20, 0.45), (405, 14, 18, 0.08)),
    "plum": ((562, 38, 26, 1.0), (410, 18, 20, 0.15)),
    "violet": ((585, 42, 28, 1.0), (545, 26, 22, 0.4), (402, 12, 20, 0.1)),
    "blue": ((612, 44, 32, 1.0), (640, 22, 18, 0.35), (400, 12, 18, 0.12)),
    "sky": ((648, 46, 26, 1.0), (610, 30, 24, 0.35), (400, 14, 22, 0.2)),
    "navy": ((590, 60, 48, 1.0), (430, 40, 60, 0.35)),
    "green": ((650, 50, 30, 1.0), (425, 32, 30, 0.75)),
    "brown": ((440, 60, 75, 1.0), (580, 70, 55, 0.35)),
    "black": ((580, 110, 75, 1.0), (440, 45, 60, 0.75)),
}
#: Steps of the table of colours: shares of the second recipe of two, and ln depth from -DEEPEST to
#: DEEPEST.
SHARES, DEPTHS, DEEPEST = 65, 121, 2.4


@dataclass(frozen=True)
class Wool:
    """Undyed wool: reflectance at long waves, and what is missing of it at 400 nm."""

    long: float
    yellow: float

    def k_over_s(self) -> Floats:
        """(b,)."""
        r = self.long - self.yellow * np.exp(-(BANDS_NM - 400.0) / 75.0)
        return np.asarray((1.0 - r) ** 2 / (2.0 * r))


def bump(peak: float, below: float, above: float, height: float = 1.0) -> Floats:
    """(b,) a Gaussian over the bands with two widths, nm."""
    d = BANDS_NM - peak
    return np.asarray(height * np.exp(-0.5 * (d / np.where(d < 0.0, below, above)) ** 2))


@cache
def dye_table() -> Floats:
    """(dyes, b) K/S of each dye at amount 1."""
    return np.array([sum(bump(*part) for part in parts) for parts in DYES.values()])


def absorption(recipe: Recipe) -> Floats:
    """(b,) K/S that a recipe adds at depth 1."""
    return np.asarray(np.array(recipe) @ dye_table())


def reflect(k_over_s: Floats) -> Floats:
    """Reflectance, 0..1, of a thick layer."""
    return np.asarray(1.0 + k_over_s - np.sqrt(k_over_s * k_over_s + 2.0 * k_over_s))


def standard(name: str) -> Floats:
    """(b,) or (b, 3) of a table of the CIE: its D65, or its observer of 1931."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about packages that it can live without
        import colour
    table = colour.SDS_ILLUMINANTS if name == "D65" else colour.MSDS_CMFS
    return np.array([table[name][float(nm)] for nm in BANDS_NM])


@cache
def bands_to_xyz() -> Floats:
    """(b, 3) XYZ under D65 of light in each band; all bands together are white, Y = 1."""
    seen = standard("CIE 1931 2 Degree Standard Observer") * standard("D65")[:, None]
    return np.asarray(seen / seen.sum(axis=0) * D65)


def bands_to_rgb() -> Floats:
    """(b, 3) linear sRGB of the same."""
    return np.asarray(bands_to_xyz() @ np.linalg.inv(SRGB_TO_XYZ).T)


def lab_of(wool: Wool, recipes: tuple[Recipe, ...]) -> Floats:
    """(n, 3) Lab of recipes at depth 1."""
    depths = np.stack([absorption(r) for r in recipes])
    return xyz_to_lab(reflect(wool.k_over_s() + depths) @ bands_to_xyz())


@dataclass(frozen=True, eq=False)
class Colours:
    """What dyed wool looks like, by recipes and depth, looked up in a table of (recipes²
    :data:`SHARES`, :data:`DEPTHS`, 3); ``recipes``: how many."""

    table: Array
    recipes: int

    def at(self, first: Array, second: Array, share: Array, ln_depth: Array) -> Array:
        """(h, w, 3) float32 where recipe ``first`` gives way to ``second`` (int) by ``share``,
        0..1, at so much ln of depth, which is held to -2.4..2.4."""
        row = ((first * self.recipes + second) * SHARES).astype(F)
        row += np.clip(share, 0.0, 1.0).astype(F) * F(SHARES - 1)
        column = np.clip(ln_depth, -DEEPEST, DEEPEST).astype(F) + F(DEEPEST)
        column *= F((DEPTHS - 1) / (2.0 * DEEPEST))
        return np.asarray(cv2.remap(self.table, column, row, cv2.INTER_LINEAR))


def colours(wool: Wool, recipes: tuple[Recipe, ...], bands: list[Floats]) -> list[Colours]:
    """Tables of each of ``bands`` (b, 3): what an eye or a camera makes of each band."""
    dyed = np.stack([absorption(r) for r in recipes])
    share = np.linspace(0.0, 1.0, SHARES)[:, None]
    mixed = np.concatenate([(1.0 - share) * a + share * b for a in dyed for b in dyed])
    depth = np.exp(np.linspace(-DEEPEST, DEEPEST, DEPTHS))[:, None]
    back = reflect(wool.k_over_s() + mixed[:, None, :] * depth)
    return [Colours((back @ to).astype(F), len(recipes)) for to in bands]
