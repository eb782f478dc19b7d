"""Pairs held to their tolerance by the project's own doubt and verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ingest.colour import difference_terms, lab_to_xyz, xyz_to_lab_jacobian
from ingest.doubt import axes_jacobian, axes_to_lab
from swatchvault import difference
from swatchvault.difference import Verdict
from swatchvault.pair import Capture, Colour, Conditions
from swatchvault.pairdoubt import MISFIT, PairDoubt, pair_doubt
from tests.simulation.cases import CLASSES, Table
from tests.simulation.frame import KINDS

#: Standard uncertainty of a region's mean along lightness (of ΔL'/SL, the colour moving as with
#: more or less light), and of what is left on every axis. Source: what `ingest.measure` states
#: for this project's rendered wound cards of 150,000 pixels: 0.05 to 0.21, and 0.005 to 0.03.
REGION_U, REGION_REST_U = (0.05, 0.2), 0.02
VERDICTS = tuple(Verdict)


@dataclass(frozen=True, eq=False)
class Side:
    """Labs (n, 3) with region errors drawn, and their stated covariances (n, 3, 3)."""

    lab: np.ndarray
    cov: np.ndarray


def with_region(rng: np.random.Generator, lab: np.ndarray) -> Side:
    """Labs with an error of the region's mean, of a size that is stated."""
    u = rng.uniform(*REGION_U, len(lab))
    cov = np.stack([_region_cov(one, v) for one, v in zip(lab, u, strict=True)])
    errors = np.einsum("nij,nj->ni", np.linalg.cholesky(cov), rng.normal(size=lab.shape))
    return Side(lab + errors, cov)


def _region_cov(lab: np.ndarray, u: float) -> np.ndarray:
    xyz = lab_to_xyz(lab)
    brighter = xyz_to_lab_jacobian(xyz) @ xyz
    brighter *= u / (axes_jacobian(lab, lab) @ brighter)[0]
    return np.outer(brighter, brighter) + axes_to_lab(np.eye(3) * REGION_REST_U**2, lab)


def axes_of(one: np.ndarray, two: np.ndarray, k_l: np.ndarray) -> np.ndarray:
    """(n, 3) of ΔL'/(kL SL), ΔC'/SC, ΔH'/SH."""
    terms = difference_terms(one, two)
    by_k_l = np.stack([k_l, np.ones_like(k_l), np.ones_like(k_l)], axis=-1)
    return terms.delta / (terms.weights * by_k_l)


def doubts(pairs: Table, master: Side, lot: Side) -> list[PairDoubt]:
    """The stated doubt of every pair."""
    return [pair_doubt(*_sides(pairs, master, lot, i)) for i in range(len(master.lab))]


def _sides(pairs: Table, master: Side, lot: Side, i: int) -> tuple[Colour, Colour, Conditions]:
    column = KINDS[pairs["column"][i]]
    flags = {"clipped beyond use"} if pairs["stop"][i] else set()
    flags |= {"channel at zero"} if pairs["bar"][i] else set()
    flags |= {MISFIT} if pairs["misfit"][i] else set()
    tolerance = float(pairs["tolerance"][i])
    conditions = Conditions(
        Capture(CLASSES[pairs["capture"][i]]),
        2.0 if math.isnan(tolerance) else tolerance,
        float(pairs["k_l"][i]),
        "daylight" if pairs["daylight"][i] else "other",
        True,
    )
    one = Colour(master.lab[i], master.cov[i], column, flags=frozenset(flags))
    return one, Colour(lot.lab[i], lot.cov[i], column), conditions


def verdict_of(
    sides: tuple[Colour, Colour, Conditions], doubt: PairDoubt, reading: float
) -> tuple[Verdict, bool]:
    """The verdict, and whether by the gross rule.

    Where the doubt is too large for either test the draws are not made: `decide` does not look
    at them then.
    """
    tolerance = sides[2].tolerance
    u = doubt.u(tolerance)
    stopped = "clipped beyond use" in sides[0].flags
    if stopped or u > difference.GATE_OUTSIDE * tolerance:
        return difference.decide(
            reading, tolerance, u, (math.nan, math.nan), stopped=stopped, bar=False
        )
    found = difference.judge(*sides)
    return found.verdict, found.gross


def judge_pairs(rng: np.random.Generator, pairs: Table) -> Table:
    """Verdicts on pairs with a tolerance: columns ``verdict`` (index into :data:`VERDICTS`),
    ``gross``, ``u`` at the tolerance and ``reading`` are added."""
    asked = np.isfinite(pairs["tolerance"])
    pairs = {key: values[asked] for key, values in pairs.items()}
    master, lot = with_region(rng, pairs["lab_m"]), with_region(rng, pairs["lab_l"])
    w = axes_of(master.lab, lot.lab, pairs["k_l"])
    rotation = difference_terms(master.lab, lot.lab).rotation
    reading = np.sqrt(np.maximum((w**2).sum(axis=1) + rotation * w[:, 1] * w[:, 2], 0.0))
    n = len(reading)
    verdict, gross, u = np.zeros(n, int), np.zeros(n, bool), np.zeros(n)
    for i in range(n):
        sides = _sides(pairs, master, lot, i)
        doubt = pair_doubt(*sides)
        u[i] = doubt.u(sides[2].tolerance)
        said, gross[i] = verdict_of(sides, doubt, float(reading[i]))
        verdict[i] = VERDICTS.index(said)
    return {**pairs, "verdict": verdict, "gross": gross, "u": u, "reading": reading}
