"""Amounts of every set of a few dyes that come nearest to a colour, all sets side by side.

Amounts run on a logarithmic scale between what can be measured and what was seen; each step is a
damped least-squares step in ΔE00's own metric. A set in which a dye ends at nothing is another,
smaller set in the same list.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ingest.colour import Floats, delta_e_2000
from swatchvault.bandfit import one_thread
from swatchvault.bands import metric

#: Smallest depth in % DOS that is proposed: 0.1 mL of a 1 % stock on 100 g; our choice.
LEAST_PERCENT = 0.001

# ΔE00 for a total depth beyond what was seen by its own size, and most rounds of a search; our
# choice.
_PENALTY, _ROUNDS = 20.0, 40

Colours = Callable[[Floats], tuple[Floats, Floats]]


@dataclass(frozen=True, eq=False)
class Task:
    """Reach ``target`` (3,). ``colours``: amounts (m, n) in % to Lab (m, 3) and slopes (m, 3, n).

    ``most``: (n,) greatest amounts; ``most_total``: their greatest sum. ``k_l``: of ΔE00.
    """

    target: Floats
    colours: Colours
    most: Floats
    most_total: float
    k_l: float = 1.0


def best_amounts(task: Task, sets: Sequence[tuple[int, ...]]) -> tuple[Floats, Floats]:
    """Amounts (m, n), in % DOS, of each of m sets of dyes that come nearest to the target, and
    their ΔE00 (m,). ``sets``: places among the task's n dyes."""
    held = np.zeros((len(sets), task.most.size), dtype=bool)
    for row, chosen in zip(held, sets, strict=True):
        row[list(chosen)] = True
    with one_thread():
        tried = [_descend(task, held, share) for share in (0.05, 0.4)]
        ends = np.stack([_delta_e(task, amounts) for amounts in tried])
    first = ends[0] <= ends[1]
    return np.where(first[:, None], tried[0], tried[1]), ends.min(axis=0)


def _delta_e(task: Task, amounts: Floats) -> Floats:
    return delta_e_2000(task.target, task.colours(amounts)[0], task.k_l)


def _descend(task: Task, held: Floats, share: float) -> Floats:
    """Damped Gauss-Newton in ln amount from ``share`` of the greatest, all sets side by side."""
    low, high = math.log(LEAST_PERCENT), np.log(np.maximum(task.most, LEAST_PERCENT))
    x = np.broadcast_to(np.maximum(np.log(share) + high, low), held.shape)
    damping = np.full(len(held), 1e-2)
    value, slope = _residuals(task, x, held)
    for _ in range(_ROUNDS):
        squares = np.swapaxes(slope, -1, -2) @ slope
        ridge = damping[:, None, None] * (np.eye(held.shape[1]) + 0.1 * squares)
        push = (np.swapaxes(slope, -1, -2) @ value[..., None])[..., 0]
        moved = np.linalg.solve(squares + ridge + 1e-9 * np.eye(held.shape[1]), push[..., None])
        trial = np.clip(x - np.clip(moved[..., 0], -1.5, 1.5), low, high)
        new_value, new_slope = _residuals(task, trial, held)
        better = (new_value**2).sum(axis=-1) < (value**2).sum(axis=-1)
        damping = np.clip(np.where(better, damping / 4, damping * 6), 1e-6, 1e6)
        x = np.where(better[:, None], trial, x)
        value = np.where(better[:, None], new_value, value)
        slope = np.where(better[:, None, None], new_slope, slope)
    return np.where(held, np.exp(x), 0.0)


def _residuals(task: Task, x: Floats, held: Floats) -> tuple[Floats, Floats]:
    """(m, 4) miss in ΔE00 per axis and the penalty of the total, with slopes by ln amount."""
    amounts = np.where(held, np.exp(x), 0.0)
    lab, by_amount = task.colours(amounts)
    root = np.swapaxes(np.linalg.cholesky(metric((lab + task.target) / 2, task.k_l)), -1, -2)
    value, slope = root @ (lab - task.target)[..., None], root @ (by_amount * amounts[:, None, :])
    total = amounts.sum(axis=1)
    over = np.maximum(total / task.most_total - 1, 0.0)
    pull = (over > 0)[:, None] * amounts / task.most_total
    value = np.concatenate([value[..., 0], _PENALTY * over[:, None]], axis=1)
    return value, np.concatenate([slope, _PENALTY * pull[:, None, :]], axis=1)
