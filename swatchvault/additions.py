"""Towards a colour: what to add to a pot.

A pot is what its lots foretell of what went in, weighed against how it reads. Every set of a few
dyes is looked through (:mod:`swatchvault.dyesearch`), inside the depths and mixtures that the lots
have seen.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike

from ingest.colour import Floats, delta_e_2000
from swatchvault.bandfit import WEIGHING, pot_noise
from swatchvault.bands import depth_slopes, forward
from swatchvault.basemodel import BaseModel, within_95
from swatchvault.dyesearch import LEAST_PERCENT, Task, best_amounts
from swatchvault.matching import FEWER_DYES, check_lab
from swatchvault.mixtures import REACH

#: An addition must leave less than this share of the ΔE00 there was; our choice.
WORTH = 0.9

# Prior standard deviation of ln of what a pot really took up over what went in; our choice.
_POT_SD = 0.25


@dataclass(frozen=True, eq=False)
class Additions:
    """What to add to a pot. ``add``: dye to % DOS on the goods, empty where nothing helps.

    ``delta_e_before``: pot as measured to target; ``delta_e_reckoned``: with what went in
    weighed against the reading; ``delta_e_after``: as predicted, the nearest that adding gets;
    ``within_95``: ΔE00 of the target that 19 of 20 such pots should end within.
    ``lab`` (3,), ``covariance`` (3, 3): the pot afterwards. ``inside``: the lots reach that far.
    """

    add: Mapping[str, float]
    lab: Floats
    covariance: Floats
    delta_e_before: float
    delta_e_reckoned: float
    delta_e_after: float
    within_95: float
    inside: bool
    why: str


@dataclass(frozen=True, eq=False)
class _Pot:
    """A pot as the model sees it once it was measured.

    Its state is standard normal before the reading: the base's open unknowns, ln of what each dye
    took over what went in, and what stays in the pot (Lab): the model's own miss, and what its
    photo and the target's are wrong by alike.
    """

    theta: Floats
    taken: Floats  # (n,) % DOS
    miss: Floats  # (3,)
    spread: Floats  # (states, states) factor of the state's covariance
    miss_factor: Floats  # (3, 3)


@dataclass(frozen=True, eq=False)
class ReadingDoubt:
    """How sure a pot's colour and its target are beside the lots' photos; each (3, 3) of Lab.

    ``pot``, ``target``: each one's own; ``alike``: what both are wrong by alike.
    """

    pot: Floats
    target: Floats = field(default_factory=lambda: np.zeros((3, 3)))
    alike: Floats = field(default_factory=lambda: np.zeros((3, 3)))


#: Where nothing is said: of the pot's colour what good photos are worth, our choice; none else.
USUAL_DOUBT = ReadingDoubt(np.eye(3) * 0.1)


def _read_pot(model: BaseModel, put_in: Floats, measured: Floats, doubt: ReadingDoubt) -> _Pot:
    """The pot's state after one reading: an iterated linear update."""
    n, unknown = len(put_in), model.fit.factor.shape[1]
    open_ = model.scale * model.fit.factor
    got = forward(model.layout, model.fit.theta, put_in[None])
    own = pot_noise(got.lab, np.zeros((1, n)), got.by_depth)[0]
    miss_factor = np.linalg.cholesky(model.scale**2 * own + doubt.alike)
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
        gain = slope.T @ np.linalg.inv(slope @ slope.T + doubt.pot)
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
    doubt: ReadingDoubt = USUAL_DOUBT,
    k_l: float = 1.0,
) -> Additions:
    """What to add to a pot to come nearer to a target; dye can be added, not taken out.

    ``put_in``: % DOS of what went in; ``measured_lab``: what came out, dry, with its ``doubt`` and
    the target's; ``dyes``: those at hand, all of the model's if ``None``. Up to three dyes are
    added, and one fewer wherever that costs less than :data:`FEWER_DYES`. ``k_l``: of the
    ΔE00 told; lightness counts in full where amounts are sought.
    """
    measured, target = check_lab(measured_lab), check_lab(target_lab)
    before = float(delta_e_2000(measured, target, k_l))
    why = model.why_outside(put_in)
    if why:
        nothing = np.full((3, 3), np.nan)
        return Additions({}, measured, nothing, before, before, before, math.nan, False, why)
    row = model.row(put_in)
    pot = _read_pot(model, row, measured, doubt)
    wanted = set(model.dyes if dyes is None else dyes) - model.fluorescent.keys()
    at_hand = [d in wanted for d in model.dyes]
    added = _best_addition(model, pot, row, (target, k_l), at_hand)
    as_it_is, _ = _after(model, pot, np.zeros(len(row)))
    reckoned = float(delta_e_2000(as_it_is, target, k_l))
    lab, open_ = _after(model, pot, added)
    after = float(delta_e_2000(lab, target, k_l))
    add = {model.dyes[i]: float(added[i]) for i in np.flatnonzero(added)}
    sure = within_95(lab, open_ + doubt.target, target, k_l)
    said = _verdict(add, reckoned, after)
    return Additions(add, lab, open_, before, reckoned, after, sure, True, said)


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


def _verdict(add: Mapping[str, float], reckoned: float, after: float) -> str:
    if not add:
        return (
            "Nothing that can be added brings this pot clearly nearer: it holds too much of a dye, "
            "or it is as near as the model can tell. Dye can be added, not taken out."
        )
    now = f"Reckoned by its reading and by what went in it is ΔE00 {reckoned:.1f} off"
    if after > max(1.0, reckoned / 3):
        return f"{now}. Adding goes part of the way only: to {after:.1f} at best."
    return f"{now}. Adding should bring it to about {after:.1f}."
