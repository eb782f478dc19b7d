"""Whether stated 95 % regions hold the truth as often as they say, and how wide they are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.doubt import lab_covariance
from tests.simulation.cases import Table
from tests.simulation.frame import KINDS
from tests.simulation.verdicts import axes_of, doubts, with_region

#: 95 % point of chi-squared with three degrees of freedom.
CHI2_95 = 7.8147


@dataclass(frozen=True)
class Held:
    """``cases``; ``inside``: share of truths in the stated 95 % ellipsoid; ``width``: stated
    length over that of the narrowest scaling of the same shape that would hold 95 %."""

    cases: int
    inside: float
    width: float


def held(squared: np.ndarray) -> Held:
    """From squared Mahalanobis distances (n,) of truths under their stated covariances."""
    if len(squared) == 0:
        return Held(0, np.nan, np.nan)
    needed = np.sqrt(np.quantile(squared, 0.95) / CHI2_95)
    return Held(len(squared), float(np.mean(squared <= CHI2_95)), float(1.0 / needed))


def _squared(error: np.ndarray, cov: np.ndarray) -> np.ndarray:
    return np.einsum("ni,ni->n", error, np.linalg.solve(cov, error[..., None])[..., 0])


def absolute(rng: np.random.Generator, colours: Table) -> np.ndarray:
    """(n,) squared distances of Lab truths under `lab_covariance`'s total, regions drawn.

    As for every measurement, the region's part is on top of the four others.
    """
    side = with_region(rng, colours["lab"])
    total = np.stack(
        [
            side.cov[i]
            + lab_covariance(
                side.lab[i],
                np.zeros((3, 3)),
                colours["xyz"][i],
                reference=KINDS[colours["column"][i]],
                light="daylight" if colours["daylight"][i] else "other",
                reading_sd=float(colours["reading_sd"][i]),
                value_sd=float(colours["value_sd"][i]),
            ).total
            for i in range(len(side.lab))
        ]
    )
    return _squared(side.lab - colours["true"], total)


def differences(rng: np.random.Generator, pairs: Table) -> np.ndarray:
    """(n,) squared distances of true differences under S as stated, regions drawn."""
    master, lot = with_region(rng, pairs["lab_m"]), with_region(rng, pairs["lab_l"])
    error = axes_of(master.lab, lot.lab, pairs["k_l"]) - axes_of(
        pairs["true_m"], pairs["true_l"], pairs["k_l"]
    )
    w = axes_of(master.lab, lot.lab, pairs["k_l"])
    reading = np.linalg.norm(w, axis=1)
    doubt = doubts(pairs, master, lot)
    cov = np.stack([d.stated(float(r)) for d, r in zip(doubt, reading, strict=True)])
    return _squared(error, cov)
