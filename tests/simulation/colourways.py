"""Invented colourways and their lots: dyed yarn by Kubelka-Munk, with the distance known.

Dyes are drawn anew for every family, so that the colourways on which a constant was found are
never those on which it is judged: see :data:`TUNING` and :data:`EVALUATION`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.colour import difference_terms
from tests.render import spectra
from tests.render.spectra import WAVELENGTHS, Dye

#: Seeds of the dye families on which constants were found, and on which they are judged.
TUNING, EVALUATION = 101, 303
#: L* from which a colourway belongs to the main bank; from 15 up to it, to the dark one.
DARK_BELOW, DARKEST = 30.0, 15.0
MOST_DYES = 3
#: Factors on depth of shade that a lot may reach.
_LARGEST_SCALE = 2.0


@dataclass(frozen=True, eq=False)
class Bank:
    """Masters and lots. ``masters``: (m, 81) reflectances. ``lots``: (m, k, 81), NaN where no
    change of depths reaches the distance asked. ``published``: (p, 81). ``dark``: (m,) bool."""

    masters: np.ndarray
    lots: np.ndarray
    dark: np.ndarray
    published: np.ndarray


def distance_at(master: np.ndarray, lot: np.ndarray, k_l: np.ndarray | float) -> np.ndarray:
    """ΔE00 (...) of Lab (..., 3), with a kL (...) for each pair."""
    terms = difference_terms(master, lot)
    x, y, z = np.moveaxis(terms.delta / terms.weights, -1, 0)
    squared = (x / k_l) ** 2 + y * y + z * z + terms.rotation * y * z
    return np.sqrt(np.maximum(squared, 0.0))


def dye_family(seed: int, count: int = 14) -> list[Dye]:
    """Invented dyes, peaks spread from yellow to turquoise; ranges are our own."""
    rng = np.random.default_rng(seed)
    dyes = []
    for i in range(count):
        peak = 420.0 + 250.0 * (i + rng.uniform(0.1, 0.9)) / count
        bands = [(peak, rng.uniform(30, 60), rng.uniform(20, 42), rng.uniform(7, 16))]
        if rng.random() < 0.6:
            second = peak - rng.uniform(25, 60)
            bands.append((second, *rng.uniform(20, 35, 2), rng.uniform(1, 6)))
        bands.append((rng.uniform(365, 405), *rng.uniform(22, 38, 2), rng.uniform(0, 3)))
        dyes.append(Dye(tuple(bands), float(rng.uniform(0.1, 0.7))))
    return dyes


def published_half(seed: int) -> np.ndarray:
    """Every second published sample: the even ones for tuning, the odd ones for evaluation."""
    return spectra.published_samples()[0 if seed == TUNING else 1 :: 2]


def _recipes(
    rng: np.random.Generator, dyes: list[Dye], count: int, dark: bool
) -> tuple[np.ndarray, np.ndarray]:
    """K/S of bases (count, 81) and of the dyes at their depths (count, 3, 81)."""
    per_percent = np.stack([d.ks_per_percent() for d in dyes])
    bases = [spectra.base_ks(spectra.base_reflectance(b)) for b in spectra.BASES]
    found_base, found_parts = [], []
    while len(found_base) < count:
        base = bases[rng.choice(4, p=[0.4, 0.3, 0.2, 0.1])]
        n = rng.integers(1, MOST_DYES + 1)
        low, high = (-0.5, np.log(6.0)) if dark else (-4.0, np.log(3.0))
        parts = np.zeros((MOST_DYES, WAVELENGTHS.size))
        chosen = rng.choice(len(dyes), size=n, replace=False)
        parts[:n] = per_percent[chosen] * np.exp(rng.uniform(low, high, n))[:, None]
        lightness = spectra.lab(spectra.r_of_ks(base + parts.sum(axis=0)))[0]
        if (DARKEST <= lightness < DARK_BELOW) if dark else lightness >= DARK_BELOW:
            found_base.append(base)
            found_parts.append(parts)
    return np.stack(found_base), np.stack(found_parts)


def yarns(rng: np.random.Generator, seed: int, count: int) -> np.ndarray:
    """(count, 81) reflectances of yarns of the main bank, of the dye family ``seed``."""
    base, parts = _recipes(rng, dye_family(seed), count, dark=False)
    return spectra.r_of_ks(base + parts.sum(axis=1))


def make_bank(
    rng: np.random.Generator, seed: int, counts: tuple[int, int], asked: np.ndarray, k_l: np.ndarray
) -> Bank:
    """``counts``: main and dark masters. ``asked``: (m, k) ΔE00 of each lot, at ``k_l`` (k,)."""
    dyes = dye_family(seed)
    banks = [_recipes(rng, dyes, n, dark) for n, dark in zip(counts, (False, True), strict=True)]
    base = np.concatenate([b for b, _ in banks])
    parts = np.concatenate([p for _, p in banks])
    masters = spectra.r_of_ks(base + parts.sum(axis=1))
    dark = np.arange(len(base)) >= counts[0]
    return Bank(masters, _lots(rng, base, parts, asked, k_l), dark, published_half(seed))


def _lots(
    rng: np.random.Generator,
    base: np.ndarray,
    parts: np.ndarray,
    asked: np.ndarray,
    k_l: np.ndarray,
) -> np.ndarray:
    """Lots (m, k, 81) of the same dyes in other depths, at the distances ``asked``.

    A lot is off by a random direction of ln depth, at the scale that gives its distance, found
    by halving.
    """
    m, k = asked.shape
    direction = rng.normal(size=(m, k, MOST_DYES))
    direction /= np.abs(direction).max(axis=-1, keepdims=True)
    master = spectra.lab(spectra.r_of_ks(base + parts.sum(axis=1)))[:, None]

    def lot(scale: np.ndarray) -> np.ndarray:
        factor = np.exp(direction * scale[..., None])
        return spectra.r_of_ks(base[:, None] + np.einsum("mkd,mdw->mkw", factor, parts))

    def distance(scale: np.ndarray) -> np.ndarray:
        return distance_at(master, spectra.lab(lot(scale)), k_l)

    low, high = np.zeros((m, k)), np.full((m, k), _LARGEST_SCALE)
    reached = distance(high) >= asked
    for _ in range(24):
        middle = (low + high) / 2.0
        below = distance(middle) < asked
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    made = lot(high)
    made[~reached] = np.nan
    return made
