"""How well the model predicts, corrects and finds, on simulated kitchens it was not built from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.colour import delta_e_2000
from swatchvault.basemodel import within_95
from swatchvault.dyesearch import Task, best_amounts
from swatchvault.predict import (
    BaseModel,
    DyedLot,
    ReadingDoubt,
    Undyed,
    correct_pot,
    fit_base,
    recipes_for,
)
from tests.prediction.worlds import N_DYES, World, dye_pots, random_world, recipes

DYES = "abcde"
LOTS = 12
CHI2_3_95 = 7.815  # 95 % of chi-square with three degrees of freedom, any table


@dataclass(frozen=True)
class Case:
    """What is simulated. ``photo_sd``: random error of each of L*, a*, b* of a measured swatch."""

    dyes: str
    hard: bool = False
    photo_sd: float = 0.0
    lots: int = LOTS


@dataclass(frozen=True, eq=False)
class Kitchen:
    world: World
    model: BaseModel
    depths: np.ndarray  # (lots, 5)
    lab: np.ndarray  # (lots, 3) as measured


def kitchen(case: Case, rng: np.random.Generator) -> Kitchen:
    world = random_world(rng, case.dyes, case.hard)
    depths = recipes(rng, case.lots)
    lab = dye_pots(rng, world, depths) + case.photo_sd * rng.normal(size=(case.lots, 3))
    undyed = world.lab(np.zeros(N_DYES)) + case.photo_sd * rng.normal(size=3)
    doubt = np.eye(3) * max(case.photo_sd, 0.1) ** 2
    lots = [DyedLot(f"lot {i}", recipe(depths[i]), lab[i], doubt) for i in range(case.lots)]
    return Kitchen(world, fit_base(lots, [Undyed(undyed, doubt)]), depths, lab)


def recipe(row: np.ndarray) -> dict[str, float]:
    return {d: float(c) for d, c in zip(DYES, row, strict=True) if c > 0}


def all_five(model: BaseModel, depths: dict[str, float] | object) -> np.ndarray:
    return np.array([dict(depths).get(d, 0.0) for d in DYES])  # type: ignore[call-overload]


# ---------------------------------------------------------------------------------------------
# Prediction
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Predictions:
    """Per recipe inside: ΔE00 of model, nearest recipe, neighbours; what the intervals held."""

    model: np.ndarray
    nearest: np.ndarray
    neighbours: np.ndarray
    ellipsoid: np.ndarray
    radius: np.ndarray
    axes: np.ndarray
    stated: np.ndarray
    refused: np.ndarray  # ΔE00 of recipes of known dyes outside, had they been answered
    inside_share: float


def _neighbours(k: Kitchen, asked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lab of the nearest past recipe, and the mean of three weighted by nearness, undyed too."""
    from sklearn.neighbors import KNeighborsRegressor

    undyed = k.model.data.lab[-1]
    # Of root, logarithm and plain depths, on the tuning set, the best for each.
    one = KNeighborsRegressor(1).fit(np.sqrt(k.depths), k.lab).predict(np.sqrt(asked))
    known, lab = np.vstack([k.depths, np.zeros(N_DYES)]), np.vstack([k.lab, undyed])
    three = KNeighborsRegressor(3, weights="distance").fit(np.log(known + 0.02), lab)
    return one, three.predict(np.log(asked + 0.02))


def predictions(case: Case, kitchens: int, asked: int, seed: int) -> Predictions:
    rows: list[tuple[np.ndarray, ...]] = []
    refused: list[np.ndarray] = []
    count = 0
    for i in range(kitchens):
        rng = np.random.default_rng([seed, i])
        k = kitchen(case, rng)
        depths = recipes(rng, asked)
        truth = dye_pots(rng, k.world, depths)
        inside = np.array([k.model.why_outside(recipe(row)) is None for row in depths])
        count += asked
        known = np.array([set(recipe(row)) <= set(k.model.dyes) for row in depths])
        refused.append(_misses(k, depths[known & ~inside], truth[known & ~inside]))
        depths, truth = depths[inside], truth[inside]
        one, three = _neighbours(k, depths)
        lab, cov = k.model.estimate(np.stack([k.model.row(recipe(row)) for row in depths]))
        miss = truth - lab
        stated = np.array([within_95(a, c) for a, c in zip(lab, cov, strict=True)])
        de = delta_e_2000(lab, truth)
        far = np.einsum("mi,mij,mj->m", miss, np.linalg.inv(cov), miss)
        axes = np.abs(miss) <= 1.96 * np.sqrt(np.einsum("mii->mi", cov))
        near = (delta_e_2000(one, truth), delta_e_2000(three, truth))
        rows.append((de, *near, far <= CHI2_3_95, de <= stated, axes, stated))
    parts = [np.concatenate(part) for part in zip(*rows, strict=True)]
    outside = np.concatenate(refused)
    return Predictions(*parts, refused=outside, inside_share=len(parts[0]) / count)


def _misses(k: Kitchen, depths: np.ndarray, truth: np.ndarray) -> np.ndarray:
    if not len(depths):
        return np.zeros(0)
    rows = np.stack([k.model.row(recipe(row)) for row in depths])
    return delta_e_2000(k.model.estimate(rows)[0], truth)


# ---------------------------------------------------------------------------------------------
# The pot
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Corrections:
    """Per pot off by ΔE00 3 to 6: to the target before, after, and the nearest that was possible.

    ``held``: the stated 95 % held. Nothing was added where ``after`` equals ``before``.
    """

    before: np.ndarray
    after: np.ndarray
    possible: np.ndarray
    held: np.ndarray


def _possible(world: World, pot: np.ndarray, target: np.ndarray) -> float:
    """ΔE00 of the best true addition of up to three dyes, by search in the world itself."""
    from itertools import combinations

    def colours(amounts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        lab = world.lab(pot + amounts)
        steps = 1e-4 * np.eye(N_DYES)
        slopes = [(world.lab(pot + amounts + s) - lab) / 1e-4 for s in steps]
        return lab, np.stack(slopes, axis=-1)

    sets = [s for n in (1, 2, 3) for s in combinations(range(N_DYES), n)]
    ends = best_amounts(Task(target, colours, np.full(N_DYES, 2.0), 6.0), sets)[1]
    return float(min(ends.min(), delta_e_2000(world.lab(pot), target)))


def corrections(case: Case, kitchens: int, pots: int, seed: int) -> Corrections:
    """Pots that took up exp(0.2 N) of what was written down, of each dye."""
    rows = []
    for i in range(kitchens):
        rng = np.random.default_rng([seed, i, 7])
        k = kitchen(case, rng)
        found = 0
        for row in recipes(rng, 40 * pots):
            really = row * np.exp(0.2 * rng.normal(size=N_DYES))
            target, pot = k.world.lab(row), k.world.lab(really)
            before = float(delta_e_2000(pot, target))
            if not 3.0 <= before <= 6.0 or k.model.why_outside(recipe(row)):
                continue
            seen = pot + case.photo_sd * rng.normal(size=3)
            doubt = ReadingDoubt(np.eye(3) * max(case.photo_sd, 0.1) ** 2)
            got = correct_pot(k.model, recipe(row), seen, target, doubt=doubt)
            added = all_five(k.model, got.add) * np.exp(0.02 * rng.normal(size=N_DYES))
            after = float(delta_e_2000(k.world.lab(really + added), target))
            best = _possible(k.world, really, target)
            rows.append((before, after, best, after <= got.within_95))
            found += 1
            if found == pots:
                break
    return Corrections(*(np.array(part) for part in zip(*rows, strict=True)))


# ---------------------------------------------------------------------------------------------
# Recipes for a colour
# ---------------------------------------------------------------------------------------------


def searches(case: Case, kitchens: int, targets: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """ΔE00 of pots dyed by the first recipe found, and of the nearest past lot, to the target."""
    first, nearest = [], []
    for i in range(kitchens):
        rng = np.random.default_rng([seed, i, 11])
        k = kitchen(case, rng)
        for row in recipes(rng, targets):
            if k.model.why_outside(recipe(row)):
                continue
            target = k.world.lab(row)
            found = recipes_for(k.model, target)
            depths = all_five(k.model, found[0].depths)
            first.append(float(delta_e_2000(dye_pots(rng, k.world, depths), target)))
            nearest.append(float(delta_e_2000(k.lab, target).min()))
    return np.array(first), np.array(nearest)
