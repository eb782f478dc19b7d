"""Towards a colour: which recipes of some dyes come nearest.

Every set of a few dyes is looked through (:mod:`swatchvault.dyesearch`), inside the depths and
mixtures that the lots have seen.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ingest.colour import Floats, delta_e_2000
from swatchvault.bands import depth_slopes
from swatchvault.basemodel import BaseModel, Shade, within_95
from swatchvault.dyesearch import LEAST_PERCENT, Task, best_amounts
from swatchvault.errors import SwatchvaultError
from swatchvault.mixtures import REACH

#: ΔE00 that one dye fewer is worth in the ranking; our choice.
FEWER_DYES = 0.5
#: Most sets of dyes looked through at once; our choice, some seconds.
MOST_SETS = 20000


@dataclass(frozen=True, eq=False)
class RecipeFound:
    """A recipe in % DOS and how near it comes: ``delta_e_00`` to the target as predicted.

    ``within_95``: ΔE00 of the target that 19 of 20 such pots should lie within.
    """

    depths: Mapping[str, float]
    shade: Shade
    delta_e_00: float
    within_95: float


def recipes_for(
    model: BaseModel,
    target_lab: ArrayLike,
    dyes: Sequence[str] | None = None,
    *,
    most_dyes: int = 3,
    count: int = 10,
    k_l: float = 1.0,
    target_doubt: Floats | None = None,
) -> list[RecipeFound]:
    """Recipes of at most ``most_dyes`` dyes that come nearest to a colour, the best first.

    Ranked by predicted ΔE00 plus :data:`FEWER_DYES` for each dye after the first. Only depths and
    mixtures that the lots have seen are proposed. ``dyes``: those in the cupboard, all of the
    model's if ``None``; dyes that no lot holds, and fluorescent ones, cannot be proposed. Two
    recipes of different dyes may match by daylight and part under another light. ``k_l``: of every
    ΔE00, that of the search included. ``target_doubt``: (3, 3) of the target's Lab beside the
    lots' photos. Raises :class:`SwatchvaultError` where none of the dyes is in a lot, and where
    they make too many mixtures.
    """
    target = check_lab(target_lab)
    unsure = np.zeros((3, 3)) if target_doubt is None else target_doubt
    wanted = set(model.dyes if dyes is None else dyes) - model.fluorescent.keys()
    known = [i for i, dye in enumerate(model.dyes) if dye in wanted]
    if not known:
        raise SwatchvaultError(
            "none of these dyes is in the measured lots of this base: dye a trial with one of them"
        )
    sets = mixed_sets(model, known, most_dyes)
    amounts, ends = best_amounts(_recipe_task(model, target, k_l), sets)
    rank = np.argsort(ends + FEWER_DYES * (amounts > 0).sum(axis=1), kind="stable")
    found: list[RecipeFound] = []
    for row in amounts[rank]:
        depths = {model.dyes[i]: float(row[i]) for i in np.flatnonzero(row)}
        if min(depths.values()) <= 1.01 * LEAST_PERCENT:
            continue
        shade = model.predict(depths, k_l)
        if shade.inside:
            near = float(delta_e_2000(shade.lab, target, k_l))
            sure = within_95(shade.lab, shade.covariance + unsure, target, k_l)
            found.append(RecipeFound(depths, shade, near, sure))
        if len(found) == count:
            break
    return found


def _recipe_task(model: BaseModel, target: Floats, k_l: float) -> Task:
    def colours(amounts: Floats) -> tuple[Floats, Floats]:
        return depth_slopes(model.layout, model.fit.theta, amounts)

    deepest = model.data.depths.max(axis=0)
    most_total = REACH * float(model.data.depths.sum(1).max())
    return Task(target, colours, REACH * deepest, most_total, k_l)


def mixed_sets(model: BaseModel, known: Sequence[int], most_dyes: int) -> list[tuple[int, ...]]:
    """Sets of dyes of which every two were in one pot, and no more dyes than any pot held.

    ``known``: places in ``model.dyes``. Raises :class:`SwatchvaultError` for more than
    :data:`MOST_SETS`.
    """
    held = (model.data.depths > 0).astype(int)
    together = held.T @ held > 0
    most = min(most_dyes, int(held.sum(axis=1).max()))
    sets: list[tuple[int, ...]] = [(i,) for i in known]
    layer = list(sets)
    for _ in range(most - 1):
        layer = [
            (*s, j) for s in layer for j in known if j > s[-1] and all(together[i, j] for i in s)
        ]
        sets += layer
        if len(sets) > MOST_SETS:
            raise SwatchvaultError(
                f"{len(known)} dyes give more than {MOST_SETS} mixtures of {most_dyes}: name fewer "
                "dyes, or ask for mixtures of fewer"
            )
    return sets


def check_lab(lab: ArrayLike) -> Floats:
    """(3,) float64, or ``SwatchvaultError`` where it is no colour."""
    value = np.asarray(lab, dtype=float)
    if value.shape != (3,) or not np.isfinite(value).all() or not 0 <= value[0] <= 120:
        raise SwatchvaultError(
            f"{np.array2string(value)} is no colour: L*, a* and b* are needed, L* from 0 to 100"
        )
    return value
