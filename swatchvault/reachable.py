"""What the dyes of a base are predicted to reach: recipes spread over all its lots have seen."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ingest.colour import Floats
from swatchvault.bands import lab_of
from swatchvault.basemodel import BaseModel
from swatchvault.matching import mixed_sets
from swatchvault.mixtures import REACH

#: Most recipes that are spread out; our choice, for speed.
MOST_RECIPES = 2500
# Steps of depth for one, two and three dyes: even steps of the logarithm; our choice.
_STEPS = {1: 12, 2: 7, 3: 5}
# The least depth that is spread, where no lot was paler, as a share of the deepest; our choice.
_PALE = 1 / 20


@dataclass(frozen=True, eq=False)
class Reach:
    """Recipes (n, dyes) in % DOS, as they would be written down, and their predicted Lab (n, 3)."""

    dyes: tuple[str, ...]
    depths: Floats
    lab: Floats

    def recipe(self, row: int) -> dict[str, float]:
        """One recipe, dye to % DOS."""
        amounts = zip(self.dyes, self.depths[row].tolist(), strict=True)
        return {dye: depth for dye, depth in amounts if depth > 0}


def spread_recipes(model: BaseModel, *, most_dyes: int = 3) -> Reach:
    """Recipes of one to ``most_dyes`` dyes over every depth and mixture that the lots have seen.

    Depths have two significant digits. Of more than :data:`MOST_RECIPES`, an even choice.
    """
    known = [i for i, dye in enumerate(model.dyes) if dye not in model.fluorescent]
    sets = mixed_sets(model, known, most_dyes)
    rows = np.concatenate([_of_set(model, chosen) for chosen in sets])
    if len(rows) > MOST_RECIPES:  # the same choice every time
        rows = rows[np.sort(np.random.default_rng(1).permutation(len(rows))[:MOST_RECIPES])]
    inside = [model.why_outside(_recipe(model.dyes, row)) is None for row in rows]
    depths = rows[np.array(inside, dtype=bool)]
    return Reach(model.dyes, depths, lab_of(model.layout, model.fit.theta, depths))


def _of_set(model: BaseModel, chosen: tuple[int, ...]) -> Floats:
    """(m, dyes) of one set of dyes: a grid of depths."""
    deepest = model.data.depths.max(axis=0)
    held = np.where(model.data.depths > 0, model.data.depths, np.inf).min(axis=0)
    axes = []
    for dye in chosen:
        low = min(float(held[dye]), _PALE * float(deepest[dye]))
        ends = math.log(low), math.log(REACH * float(deepest[dye]))
        steps = np.exp(np.linspace(*ends, _STEPS.get(len(chosen), 4)))
        axes.append([float(f"{v:.2g}") for v in steps])
    grid = np.array(list(itertools.product(*axes)))
    rows = np.zeros((len(grid), len(model.dyes)))
    rows[:, list(chosen)] = grid
    return rows


def _recipe(dyes: tuple[str, ...], row: Floats) -> Mapping[str, float]:
    return {d: float(c) for d, c in zip(dyes, row, strict=True) if c > 0}
