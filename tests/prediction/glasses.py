"""Simulated photos of dye liquor in a glass before white, to try the reading of what is left.

Dye in water by Beer-Lambert over the full spectrum, with the renderer's dyes and those of the
published set for shapes of absorption; glass and its haze; one of seven cameras under one of six
lights, its matrix, a tone curve that was not wholly removed, and light that differs between liquor
and white.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.liquor import Look, read_liquor
from tests.prediction.worlds import published_dyes
from tests.render import spectra
from tests.render.camera import CAMERAS, colour_matrix, raw_rgb


@dataclass(frozen=True)
class Glass:
    """One glass of one dye, photographed by one camera in one light."""

    absorbance: np.ndarray  # (81,) natural, of the start
    camera: str
    light: str
    haze: float
    loss: float
    gamma: float

    def look(self, rng: np.random.Generator, share: float, dilution: float = 1.0) -> Look:
        through = np.exp(-self.absorbance * share / dilution)
        white = 0.86 * np.ones(spectra.N_WL)
        seen = white * (self.loss * through + self.haze) * np.exp(0.01 * rng.normal())
        matrix = colour_matrix(self.camera, self.light)
        rgb = [raw_rgb(r, self.light, self.camera) @ matrix.T for r in (seen, white)]
        # The rest of a tone curve: a power about mid grey, in the camera's own channels.
        bent = [np.sign(v) * 0.18 * (np.abs(v) / 0.18) ** self.gamma for v in rgb]
        read = [v + 0.003 * rng.normal(size=3) for v in bent]
        doubt = 0.003**2 * np.eye(3)
        return Look(f"{share:.2f}", read[0], read[1], doubt, doubt, dilution)


def random_glass(rng: np.random.Generator, lights: tuple[str, ...] = spectra.LIGHTS) -> Glass:
    """A start of which the darkest channel lets 6 to 50 % through."""
    invented = np.stack([d.ks_per_percent() for d in spectra.DYES.values()])
    pool = np.concatenate([invented, published_dyes()])
    dye = pool[rng.integers(len(pool))]
    cones = spectra.xyz_weights("D65")
    target = rng.uniform(0.06, 0.5)
    low, high = 1e-4, 1e3
    for _ in range(60):  # bisection: how strong a liquor is that
        middle = np.sqrt(low * high)
        least = (np.exp(-middle * dye) @ cones / cones.sum(axis=0)).min()
        low, high = (middle, high) if least > target else (low, middle)
    return Glass(
        low * dye,
        str(rng.choice(CAMERAS)),
        str(rng.choice(lights)),
        haze=float(rng.uniform(0.0, 0.03)),
        loss=float(rng.uniform(0.90, 1.0)),
        gamma=float(np.exp(0.02 * rng.normal())),
    )


def liquor_errors(
    cases: int,
    seed: int,
    lights: tuple[str, ...] = spectra.LIGHTS,
    clear: bool = False,
    again: tuple[float, ...] = (),
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Truth in 0..1, error and stated standard uncertainty of each reading after the start.

    ``clear``: a glass of clear water too. ``again``: the start at these dilutions too, each
    measured out 2 % wrong.
    """
    rows = []
    for i in range(cases):
        rng = np.random.default_rng([seed, i, 3])
        glass = random_glass(rng, lights)
        shares = np.sort(rng.uniform(0.1, 1.0, rng.integers(1, 5)))[::-1]
        looks = [glass.look(rng, s) for s in (1.0, *shares)]
        more = [glass.look(rng, np.exp(0.02 * rng.normal()), parts) for parts in again]
        curve = read_liquor(looks, clear=glass.look(rng, 0.0) if clear else None, again=more)
        for share, reading in zip(shares, curve.readings[1:], strict=True):
            rows.append((share, reading.share - share, reading.u_share))
    return tuple(np.array(part) for part in zip(*rows, strict=True))  # type: ignore[return-value]
