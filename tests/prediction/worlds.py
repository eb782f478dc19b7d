"""Simulated dye kitchens: full-spectrum Kubelka-Munk inside a mirroring surface.

A kitchen has one base and five dyes. Depths go in with a weighing error of 2 %; colours are sums
over 81 wavelengths. Three sets of dyes: ``tuning`` (random bands; the model's constants were set on
these), ``invented`` (the renderer's dyes) and ``published`` (K/S of the measured reflectances of
CIE 224:2017, whose shapes nobody here chose).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from tests.render import spectra

N_DYES = 5
SETS = ("tuning", "invented", "published")


@dataclass(frozen=True)
class World:
    """One base and five dyes: K/S of the base (81,), of 1 % of each dye (5, 81), the surface.

    ``loss`` (5,): how fast uptake falls off with all the dye in the pot, per %; 0 where all of it
    goes on, as Kubelka-Munk has it.
    """

    base: np.ndarray
    dyes: np.ndarray
    surface: spectra.Surface
    loss: np.ndarray

    def lab(self, depths: np.ndarray) -> np.ndarray:
        """(..., 3) D65/2° of depths (..., 5) in %."""
        put_in = np.asarray(depths, dtype=float)
        taken = put_in * np.exp(-self.loss * put_in.sum(axis=-1, keepdims=True))
        inside = spectra.r_of_ks(self.base + taken @ self.dyes)
        return spectra.lab(self.surface.outside(inside))


def _random_dye(rng: np.random.Generator) -> np.ndarray:
    peak = rng.uniform(415, 680)
    strength = np.exp(rng.normal(np.log(11), 0.25))
    bands = [(peak, rng.uniform(35, 65), rng.uniform(20, 40), strength)]
    for _ in range(rng.integers(1, 3)):
        share = strength * rng.uniform(0.05, 0.5)
        bands.append((rng.uniform(370, 650), rng.uniform(25, 70), rng.uniform(25, 70), share))
    return spectra.Dye(tuple(bands), tail=float(rng.uniform(0.1, 0.8))).ks_per_percent()


@cache
def published_dyes() -> np.ndarray:
    """(n, 81) K/S per % after the coloured samples of CIE 224: strongest band 8 to 14."""
    samples = spectra.published_samples()
    lab = spectra.lab(samples)
    ks = spectra.ks_of_r(np.clip(samples, 0.004, 0.99))
    coloured = (np.hypot(lab[:, 1], lab[:, 2]) > 25) & (ks.max(1) / ks.min(1) > 15)
    ks = ks[coloured]
    ks = ks - 0.8 * ks.min(axis=1, keepdims=True)  # what is left when the ground is taken off
    strength = np.random.default_rng(5).uniform(8, 14, len(ks))
    return ks * (strength / ks.max(axis=1))[:, None]


def _dyes(rng: np.random.Generator, which: str) -> np.ndarray:
    if which == "tuning":
        return np.stack([_random_dye(rng) for _ in range(N_DYES)])
    if which == "published":
        pool = published_dyes()
    else:
        pool = np.stack([d.ks_per_percent() for d in spectra.DYES.values()])
    return pool[rng.choice(len(pool), N_DYES, replace=False)]


def random_world(rng: np.random.Generator, which: str, hard: bool = False) -> World:
    """A kitchen; a ``hard`` one breaks what the model takes for granted.

    There part of the mirrored light is seen, the surface mirrors 3 to 6 %, and up to 8 % of a dye
    stays in the liquor for each per cent of dye in the pot.
    """
    surface = spectra.Surface(k1=0.04, k2=float(rng.uniform(0.3, 0.6)))
    loss = np.zeros(N_DYES)
    if hard:
        k1, seen = float(rng.uniform(0.03, 0.06)), float(rng.uniform(0.0, 0.5))
        surface = spectra.Surface(k1=k1, k2=surface.k2, seen=seen)
        loss = rng.uniform(0.0, 0.08, N_DYES)
    bases = ["wool", "white wool", "silk", "grey wool"]
    base = spectra.base_reflectance(str(rng.choice(bases, p=[0.4, 0.3, 0.2, 0.1])))
    return World(spectra.base_ks(base, surface), _dyes(rng, which), surface, loss)


def recipes(rng: np.random.Generator, n: int) -> np.ndarray:
    """(n, 5) depths: two or three dyes, each 0.1 to 2 % with even logarithm."""
    out = np.zeros((n, N_DYES))
    for row in out:
        chosen = rng.choice(N_DYES, size=rng.integers(2, 4), replace=False)
        row[chosen] = np.exp(rng.uniform(np.log(0.1), np.log(2.0), len(chosen)))
    return out


def dye_pots(
    rng: np.random.Generator, world: World, depths: np.ndarray, weighing: float = 0.02
) -> np.ndarray:
    """(n, 3) Lab that pots of these recipes give, each weighed anew."""
    return world.lab(depths * np.exp(weighing * rng.normal(size=depths.shape)))
