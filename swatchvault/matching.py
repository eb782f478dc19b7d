"""Towards a colour: what to add to a pot, and which recipes of some dyes come nearest.

Both look through every set of a few dyes (:mod:`swatchvault.dyesearch`), inside the depths and
mixtures that the lots have seen.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike

from ingest.colour import Floats, delta_e_2000
from swatchvault.bandfit import WEIGHING, pot_noise
from swatchvault.bands import depth_slopes, forward
from swatchvault.basefit import BaseModel, Shade, within_95
from swatchvault.dyesearch import LEAST_PERCENT, Task, best_amounts
from swatchvault.errors import SwatchvaultError
from swatchvault.mixtures import REACH

#: ΔE00 that one dye fewer is worth in the ranking; our choice.
FEWER_DYES = 0.5
#: An addition must leave less than this share of the ΔE00 there was; our choice.
WORTH = 0.9
#: Most sets of dyes looked through at once; our choice, some seconds.
MOST_SETS = 20000

# Prior standard deviation of ln of what a pot really took up over what went in; our choice.
_POT_SD = 0.25


@dataclass(frozen=True, eq=False)
class RecipeFound:
    """A recipe in % DOS and how near it comes: ``delta_e_00`` to the target as predicted.

    ``within_95``: ΔE00 of the target that 19 of 20 such pots should lie within.
    """

    depths: Mapping[str, float]
    shade: Shade
    delta_e_00: float
    within_95: float


@dataclass(frozen=True, eq=False)
class Additions:
    """What to add to a pot. ``add``: dye to % DOS on the goods, empty where nothing helps.

    ``delta_e_before``: pot as measured to target; ``delta_e_after``: as predicted, the nearest
    that adding gets; ``within_95``: ΔE00 of the target that 19 of 20 such pots should end within.
    ``lab``, ``covariance``: the pot afterwards. ``inside``: the lots reach that far.
    """

    add: Mapping[str, float]
    lab: Floats
    covariance: Floats
    delta_e_before: float
    delta_e_after: float
    within_95: float
    inside: bool
    why: str


# ---------------------------------------------------------------------------------------------
# Recipes near a colour
# ---------------------------------------------------------------------------------------------


def recipes_for(
    model: BaseModel,
    target_lab: ArrayLike,
    dyes: Sequence[str] | None = None,
    *,
    most_dyes: int = 3,
    count: int = 10,
    k_l: float = 1.0,
) -> list[RecipeFound]:
    """Recipes of at most ``most_dyes`` dyes that come nearest to a colour, the best first.

    Ranked by predicted ΔE00 plus :data:`FEWER_DYES` for each dye after the first. Only depths and
    mixtures that the lots have seen are proposed. ``dyes``: those in the cupboard, all of the
    model's if ``None``; dyes that no lot holds, and fluorescent ones, cannot be proposed. Two
    recipes of different dyes may match by daylight and part under another light. ``k_l``: of every
    ΔE00, that of the search included.
    """
    target = check_lab(target_lab)
    wanted = set(model.dyes if dyes is None else dyes) - model.fluorescent
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
        shade = model.predict(depths, k_l)
        if shade.inside and min(depths.values()) > 1.01 * LEAST_PERCENT:
            near = float(delta_e_2000(shade.lab, target, k_l))
            sure = within_95(shade.lab, shade.covariance, target, k_l)
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
    """Sets of dyes of which every two were in one pot, and no more dyes than any pot held."""
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


# ---------------------------------------------------------------------------------------------
# The pot
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Pot:
    """A pot as the model sees it once it was measured.

    Its state is standard normal before the reading: the base's open unknowns, ln of what each dye
    took over what went in, and the model's own miss (Lab), which stays in the pot.
    """

    theta: Floats
    taken: Floats  # (n,) % DOS
    miss: Floats  # (3,)
    spread: Floats  # (states, states) factor of the state's covariance
    miss_factor: Floats  # (3, 3)


def _read_pot(model: BaseModel, put_in: Floats, measured: Floats, reading: Floats) -> _Pot:
    """The pot's state after one reading: an iterated linear update."""
    n, unknown = len(put_in), model.fit.factor.shape[1]
    open_ = model.scale * model.fit.factor
    got = forward(model.layout, model.fit.theta, put_in[None])
    own = pot_noise(got.lab, np.zeros((1, n)), got.by_depth)[0]
    miss_factor = model.scale * np.linalg.cholesky(own)
    state = np.zeros(unknown + n + 3)
    gain = slope = np.zeros((0, 0))
    for _ in range(6):
        theta = model.fit.theta + open_ @ state[:unknown]
        taken = put_in * np.exp(_POT_SD * state[unknown:-3])
        got = forward(model.layout, theta, taken[None])
        slope = np.concatenate(
            [got.by_theta[0] @ open_, got.by_depth[0] * taken * _POT_SD, miss_factor], axis=1
        )
        seen = got.lab[0] + miss_factor @ state[-3:]
        gain = slope.T @ np.linalg.inv(slope @ slope.T + reading)
        state = gain @ (measured - seen + slope @ state)
    left = np.eye(state.size) - gain @ slope
    values, vectors = np.linalg.eigh((left + left.T) / 2)
    spread = vectors * np.sqrt(np.maximum(values, 0.0))
    theta = model.fit.theta + open_ @ state[:unknown]
    taken = put_in * np.exp(_POT_SD * state[unknown:-3])
    return _Pot(theta, taken, miss_factor @ state[-3:], spread, miss_factor)


def _after(model: BaseModel, pot: _Pot, added: Floats) -> tuple[Floats, Floats]:
    """Lab (3,) and covariance of the pot once ``added`` (n,) % DOS went in."""
    got = forward(model.layout, pot.theta, (pot.taken + added)[None])
    slope = np.concatenate(
        [
            got.by_theta[0] @ (model.scale * model.fit.factor),
            got.by_depth[0] * pot.taken * _POT_SD,
            pot.miss_factor,
        ],
        axis=1,
    )
    open_ = slope @ pot.spread
    weighed = got.by_depth[0] * added * WEIGHING
    return got.lab[0] + pot.miss, open_ @ open_.T + weighed @ weighed.T


def correct_pot(
    model: BaseModel,
    put_in: Mapping[str, float],
    measured_lab: ArrayLike,
    target_lab: ArrayLike,
    *,
    dyes: Sequence[str] | None = None,
    covariance: ArrayLike | None = None,
    k_l: float = 1.0,
) -> Additions:
    """What to add to a pot to come nearer to a target; dye can be added, not taken out.

    ``put_in``: % DOS of what went in; ``measured_lab``: what came out, dry, with its (3, 3)
    ``covariance`` if known; ``dyes``: those at hand, all of the model's if ``None``. Up to three
    dyes are added, and one fewer wherever that costs less than :data:`FEWER_DYES`. ``k_l``: of the
    ΔE00 told; lightness counts in full where amounts are sought.
    """
    measured, target = check_lab(measured_lab), check_lab(target_lab)
    before = float(delta_e_2000(measured, target, k_l))
    why = model.why_outside(put_in)
    if why:
        nothing = np.full((3, 3), np.nan)
        return Additions({}, measured, nothing, before, before, math.nan, False, why)
    reading = np.eye(3) * 0.1 if covariance is None else np.asarray(covariance, dtype=float)
    row = model.row(put_in)
    pot = _read_pot(model, row, measured, reading)
    wanted = set(model.dyes if dyes is None else dyes) - model.fluorescent
    at_hand = [d in wanted for d in model.dyes]
    added = _best_addition(model, pot, row, (target, k_l), at_hand)
    lab, doubt = _after(model, pot, added)
    after = float(delta_e_2000(lab, target, k_l))
    add = {model.dyes[i]: float(added[i]) for i in np.flatnonzero(added)}
    sure = within_95(lab, doubt, target, k_l)
    return Additions(add, lab, doubt, before, after, sure, True, _verdict(add, before, after))


def _best_addition(
    model: BaseModel,
    pot: _Pot,
    put_in: Floats,
    aim: tuple[Floats, float],
    at_hand: Sequence[bool],
) -> Floats:
    """(n,) % DOS; all zero where no addition inside the lots' reach comes nearer.

    ``aim``: the target (3,) and the kL of what is told. The search counts lightness in full
    (kL = 1): what is added darkens and cannot be taken out, and with a larger kL a pot that is
    too deep would be darkened further for the sake of its hue.
    """
    target, k_l = aim
    room = REACH * model.data.depths.max(axis=0) - put_in
    room_total = REACH * float(model.data.depths.sum(axis=1).max()) - float(put_in.sum())
    able = [i for i, here in enumerate(at_hand) if here and room[i] > LEAST_PERCENT]
    none = np.zeros(len(put_in))
    if not able or room_total <= LEAST_PERCENT:
        return none

    def colours(amounts: Floats) -> tuple[Floats, Floats]:
        lab, slopes = depth_slopes(model.layout, pot.theta, pot.taken + amounts)
        return lab + pot.miss, slopes

    sets = [s for k in (1, 2, 3) for s in combinations(able, k)]
    amounts, ends = best_amounts(Task(target, colours, np.maximum(room, 0.0), room_total), sets)
    as_it_is = colours(none[None])[0][0]
    start = float(delta_e_2000(as_it_is, target))
    told = delta_e_2000(target, colours(amounts)[0], k_l)
    nearer = told < float(delta_e_2000(as_it_is, target, k_l))
    rank = np.argsort(ends + FEWER_DYES * (amounts > 0).sum(axis=1), kind="stable")
    for k in rank:
        names = dict(zip(model.dyes, put_in + amounts[k], strict=True))
        worth = bool(nearer[k]) and ends[k] < min(start - FEWER_DYES, WORTH * start)
        if worth and model.why_outside(names) is None:
            return np.asarray(amounts[k])
    return none


def _verdict(add: Mapping[str, float], before: float, after: float) -> str:
    if not add:
        return (
            "Nothing that can be added brings this pot clearly nearer: it holds too much of a dye, "
            "or it is as near as the model can tell. Dye can be added, not taken out."
        )
    if after > max(1.0, before / 3):
        return f"Adding goes part of the way only: from ΔE00 {before:.1f} to {after:.1f} at best."
    return f"Adding should bring it from ΔE00 {before:.1f} to about {after:.1f}."
