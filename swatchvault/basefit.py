"""A model of one base, fitted to the archive's own lots: its unknowns, its doubt, its bounds.

Colours of dyed yarn are computed by Kubelka-Munk in bands (:mod:`swatchvault.bands`): K/S of the
dyes adds up over the base's own. The curves are found by least squares on the lots' Lab, held
together by a prior of smooth spectra; what the lots leave open stays open and shows as doubt.
The doubt is then scaled by how far each lot lies from what the others predict for it (leave one
out). Outside the depths and mixtures that the lots have seen the model says nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ingest.colour import Floats, delta_e_2000
from swatchvault.bandfit import Data, fit_unknowns, one_thread
from swatchvault.bands import Layout
from swatchvault.basemodel import (
    LOTS_LIKE,
    MOST_LEFT_OUT,
    BaseModel,
    DyedLot,
    LeftOut,
    Undyed,
    check_depths,
)
from swatchvault.errors import SwatchvaultError

#: Fewest measured lots on a base from which a shade is predicted; our choice.
FEWEST_LOTS = 6
#: Fewest recipes that differ among them; our choice.
FEWEST_RECIPES = 3
# Belief in the doubt as computed, as so many axes that were missed just so; tests/prediction, the
# tuning set.
_TRUST = 4.0
#: Least scale of the doubt. Photos that are better than they are stated show few surprises, and say
#: nothing of weighing or of what the model misses. Of hard kitchens (241 to 266 predictions each)
#: whose lots scatter by 0.4 or 0.2 per axis and are stated at 1.3, "19 of 20" held 85.9 and 83.8 %
#: without; with it 93.8 and 95.9 %, and 99.6 % with 0.7.
LEAST_SCALE = 0.5
# Recipes whose depths differ by less than this, as ln, count as one; our choice.
_SAME_RECIPE = 0.1
# Standard uncertainty of Lab where a measurement states none; our choice.
_READING_SD = 0.3


def fit_base(
    lots: Sequence[DyedLot],
    undyed: Sequence[Undyed] = (),
    *,
    include_overdyed: bool = False,
    fluorescent: Mapping[str, str] | None = None,
) -> BaseModel:
    """A model of one base from its lots and its undyed swatches.

    Lots that overdye are left out unless asked for; lots that hold a dye of ``fluorescent`` (its
    name to what is said of it) always are. Fewer than :data:`FEWEST_LOTS` usable lots, or
    :data:`FEWEST_RECIPES` recipes, or a Lab that is no colour, raise ``SwatchvaultError``.
    """
    glowing = dict(fluorescent or {})
    used, not_used = usable_lots(lots, include_overdyed, glowing)
    dyes = tuple(sorted({d for lot in used for d, c in lot.depths.items() if c > 0}))
    if len(used) < FEWEST_LOTS or not dyes:
        raise SwatchvaultError(
            f"{len(used)} lots on this base can be used, at least {FEWEST_LOTS} {LOTS_LIKE} are "
            "needed to predict a shade: measure more lots, or look for the nearest one"
        )
    data = _gather(used, undyed, dyes)
    alike = _alike(data.depths[: len(used)])
    differ = len(np.unique(alike))
    if differ < FEWEST_RECIPES:
        raise SwatchvaultError(
            f"the {len(used)} lots that can be used follow {differ} recipe(s), at least "
            f"{FEWEST_RECIPES} that differ are needed to predict a shade: dye trials at other "
            "depths or mixtures"
        )
    layout = Layout(len(dyes))
    with one_thread():
        fit = fit_unknowns(layout, data)
        model = BaseModel(dyes, layout, fit, data, 1.0, (), not_used, glowing, len(used), differ)
        return _judged(model, alike)


def _judged(model: BaseModel, alike: NDArray[np.intp]) -> BaseModel:
    """The model with its doubt scaled by what leaving recipes out shows."""
    firsts = np.unique(alike)
    spread = np.linspace(0, len(firsts) - 1, min(len(firsts), MOST_LEFT_OUT)).round().astype(int)
    left = [_left_out(model, np.flatnonzero(alike == first)) for first in firsts[spread]]
    squares = sum(np.mean([lot.surprise**2 for lot in lots]) for lots in left)
    scale = max(math.sqrt((_TRUST + squares) / (_TRUST + 3 * len(left))), LEAST_SCALE)
    return replace(model, scale=scale, left_out=tuple(lot for lots in left for lot in lots))


def usable_lots(
    lots: Iterable[DyedLot], include_overdyed: bool, fluorescent: Mapping[str, str]
) -> tuple[list[DyedLot], dict[str, str]]:
    """Lots that a fit can use, and the others with the reason."""
    used: list[DyedLot] = []
    left: dict[str, str] = {}
    for lot in lots:
        check_depths(lot.depths)
        glowing = sorted(d for d, c in lot.depths.items() if c > 0 and d in fluorescent)
        if not np.isfinite(np.asarray(lot.lab, dtype=float)).all():
            left[lot.name] = "it has no measured colour"
        elif lot.overdyes and not include_overdyed:
            left[lot.name] = "it was dyed over an earlier lot"
        elif glowing:
            left[lot.name] = f"it holds {glowing[0]}, which {fluorescent[glowing[0]]}"
        else:
            used.append(lot)
    return used, left


def _gather(used: Sequence[DyedLot], undyed: Sequence[Undyed], dyes: tuple[str, ...]) -> Data:
    """Rows of the lots, then of the undyed swatches (depth 0)."""
    names = [lot.name for lot in used] + ["undyed"] * len(undyed)
    depths = [[float(lot.depths.get(d, 0.0)) for d in dyes] for lot in used]
    depths += [[0.0] * len(dyes)] * len(undyed)
    seen = [*(lot.lab for lot in used), *(bare.lab for bare in undyed)]
    labs = [np.asarray(lab, dtype=float) for lab in seen]
    for name, lab in zip(names, labs, strict=True):
        if lab.shape != (3,) or not np.isfinite(lab).all() or not -20 <= lab[0] <= 120:
            raise SwatchvaultError(
                f"{name}: {lab.tolist()} is no colour, L*, a* and b* are needed: measure it again"
            )
    stated = [*(lot.covariance for lot in used), *(bare.covariance for bare in undyed)]
    reading = np.stack([_reading(covariance) for covariance in stated])
    return Data(tuple(names), np.array(depths), np.stack(labs), reading)


def _reading(covariance: ArrayLike | None) -> Floats:
    """(3, 3), the usual doubt of a measured Lab where none is known."""
    given = np.full((3, 3), np.nan) if covariance is None else np.asarray(covariance, dtype=float)
    return given if np.isfinite(given).all() else np.eye(3) * _READING_SD**2


def _alike(depths: Floats) -> NDArray[np.intp]:
    """(m,) of each recipe the first row of its group, maybe its own: of recipes that are the same
    to :data:`_SAME_RECIPE`, or are linked by others that are.

    Lots of one recipe foretell each other whatever the model: they are left out together.
    """
    from scipy.sparse.csgraph import connected_components

    ln = np.log(np.where(depths > 0, depths, 1e-6))
    apart = np.abs(ln[:, None] - ln[None, :]).max(axis=-1)
    _, group = connected_components(apart < _SAME_RECIPE, directed=False)
    _, first = np.unique(group, return_index=True)
    return np.asarray(first[group])


def _left_out(model: BaseModel, rows: NDArray[np.intp]) -> list[LeftOut]:
    """The lots of one recipe as the fit to all others predicts them."""
    data = model.data
    others = ~np.isin(np.arange(len(data.lab)), rows)
    fit = fit_unknowns(model.layout, data.only(others), model.fit.z)
    labs, covariances = replace(model, fit=fit).estimate(data.depths[rows])
    found = []
    for row, lab, covariance in zip(rows.tolist(), labs, covariances, strict=True):
        miss = data.lab[row] - lab
        doubt = covariance + data.reading[row]
        surprise = math.sqrt(float(miss @ np.linalg.solve(doubt, miss)))
        away = float(delta_e_2000(lab, data.lab[row]))
        found.append(LeftOut(data.names[row], lab, data.lab[row], away, surprise))
    return found
