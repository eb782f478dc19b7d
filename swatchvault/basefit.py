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
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ingest.colour import Floats, delta_e_2000
from swatchvault.amounts import check_number
from swatchvault.bandfit import Data, Fit, fit_unknowns, one_thread, pot_noise
from swatchvault.bands import Forward, Layout, forward
from swatchvault.errors import SwatchvaultError
from swatchvault.mixtures import too_deep_or_pale, unmixed

#: Fewest measured lots on a base from which a shade is predicted; our choice.
FEWEST_LOTS = 6
#: Fewest recipes that differ among them; our choice.
FEWEST_RECIPES = 3
# Leave-one-out is worth this many axes of belief in the doubt as computed; the same set.
_TRUST = 4.0
# Recipes whose depths differ by less than this, as ln, count as one; our choice.
_SAME_RECIPE = 0.1
# Recipes that are left out in turn; of more, that many spread over all. For speed, our choice.
_MOST_LEFT_OUT = 24
# Standard uncertainty of Lab where a measurement states none; our choice.
_READING_SD = 0.3

_LOTS_LIKE = "measured lots dyed on this undyed base"


@dataclass(frozen=True, eq=False)
class DyedLot:
    """One lot of one base: ``depths`` in % DOS by dye as put in, ``lab`` (3,) D65/2°.

    ``covariance``: (3, 3) of ``lab``, or ``None`` if unknown. ``overdyes``: it was dyed over an
    earlier lot; left out unless asked for, and then ``depths`` must hold the earlier dyes too.
    """

    name: str
    depths: Mapping[str, float]
    lab: ArrayLike
    covariance: ArrayLike | None = None
    overdyes: bool = False


@dataclass(frozen=True, eq=False)
class Undyed:
    """Undyed yarn of the base as measured: ``lab`` (3,) and its ``covariance``, as of a lot."""

    lab: ArrayLike
    covariance: ArrayLike | None = None


@dataclass(frozen=True, eq=False)
class Shade:
    """A predicted colour: ``lab`` (3,), ``covariance`` (3, 3), both NaN where not ``inside``.

    ``why``: a sentence, why nothing is said or what the doubt rests on. ``within_95``: ΔE00 that
    19 of 20 such pots should lie within.
    """

    lab: Floats
    covariance: Floats
    inside: bool
    why: str
    within_95: float = math.nan


@dataclass(frozen=True, eq=False)
class LeftOut:
    """A lot as the others predict it, and as ``measured``; ``delta_e_00`` between them at kL = 1.

    ``surprise``: its miss in standard deviations of doubt.
    """

    name: str
    lab: Floats
    measured: Floats
    delta_e_00: float
    surprise: float


@dataclass(frozen=True, eq=False)
class BaseModel:
    """A fitted base. ``scale``: factor on standard uncertainties that leave-one-out found.

    ``left_out``: lots as those of other recipes predict them, of two dozen recipes at most.
    ``not_used``: lots left out, and why. ``n_lots``: lots in the fit, of
    ``n_recipes`` recipes that differ.
    """

    dyes: tuple[str, ...]
    layout: Layout
    fit: Fit
    data: Data
    scale: float
    left_out: tuple[LeftOut, ...] = ()
    not_used: Mapping[str, str] = field(default_factory=dict)
    fluorescent: Mapping[str, str] = field(default_factory=dict)
    n_lots: int = 0
    n_recipes: int = 0

    @property
    def learned(self) -> str:
        """What a prediction and its "19 of 20" are learned from."""
        words = f"learned from {self.n_recipes} recipes in {self.n_lots} lots"
        if self.n_recipes > _MOST_LEFT_OUT:
            words += f" by leaving out {_MOST_LEFT_OUT} of the recipes in turn"
        return words

    @property
    def deepest(self) -> dict[str, float]:
        """The deepest of each dye seen, % DOS."""
        return dict(zip(self.dyes, self.data.depths.max(axis=0).tolist(), strict=True))

    def row(self, depths: Mapping[str, float]) -> Floats:
        """(n_dyes,) of a recipe; dyes that no lot holds are an error (see :meth:`why_outside`)."""
        check_depths(depths)
        strange = sorted(d for d, c in depths.items() if c > 0 and d not in self.dyes)
        if strange:
            raise SwatchvaultError(_unseen(strange[0]))
        return np.array([float(depths.get(d, 0.0)) for d in self.dyes])

    def why_outside(self, depths: Mapping[str, float]) -> str | None:
        """Why the lots do not reach this recipe, in a sentence, or ``None`` if they do."""
        check_depths(depths)
        used = {d: float(c) for d, c in depths.items() if c > 0}
        for dye in used:
            if dye in self.fluorescent:
                return (
                    f"{dye} {self.fluorescent[dye]}: light that a dye sends out of its own no sum "
                    "of dyes can foretell. Dye a trial."
                )
            if dye not in self.dyes:
                return _unseen(dye)
        row = self.row(used)
        return too_deep_or_pale(self.dyes, self.data.depths, row) or unmixed(
            self.dyes, self.data.depths, row
        )

    def estimate(self, rows: ArrayLike) -> tuple[Floats, Floats]:
        """Lab (m, 3) and covariance (m, 3, 3) of recipes (m, n_dyes), inside or not."""
        got = forward(self.layout, self.fit.theta, rows)
        return got.lab, self.scale**2 * self._doubt(got, np.asarray(rows, dtype=float))

    def _doubt(self, got: Forward, rows: Floats) -> Floats:
        open_ = got.by_theta @ self.fit.factor
        pots = pot_noise(got.lab, rows.reshape(-1, len(self.dyes)), got.by_depth)
        return np.asarray(open_ @ np.swapaxes(open_, -1, -2) + pots)

    def predict(self, depths: Mapping[str, float], k_l: float = 1.0) -> Shade:
        """The colour that one more pot of this recipe gives, and how sure that is.

        ``depths``: dye to % DOS of 0 to 100; nonsense raises ``AmountError``. Outside what the
        lots have seen ``lab`` is NaN and ``why`` says what is missing. ``k_l``: of every ΔE00.
        """
        outside = self.why_outside(depths)
        if outside:
            return Shade(np.full(3, np.nan), np.full((3, 3), np.nan), False, outside)
        lab, covariance = (part[0] for part in self.estimate(self.row(depths)))
        sure = within_95(lab, covariance, k_l=k_l)
        return Shade(lab, covariance, True, self._rests_on(k_l), sure)

    def _rests_on(self, k_l: float) -> str:
        misses = [delta_e_2000(lot.lab, lot.measured, k_l) for lot in self.left_out]
        typical = float(np.median(misses))
        return (
            f"From {self.n_lots} lots on this base; each, as lots of other recipes foretell it, is "
            f"missed by ΔE00 {typical:.1f} in the middle. It holds for the same dyes, packets and "
            "way of dyeing."
        )


def _unseen(dye: str) -> str:
    return f"{dye} is in none of the {_LOTS_LIKE}: dye a trial with it."


def check_depths(depths: Mapping[str, float]) -> None:
    """Raise ``AmountError`` where a depth is no number of 0 to 100 %."""
    for dye, depth in depths.items():
        check_number(f"the depth of {dye}", depth, unit="%", low=0.0, high=100.0)


def within_95(
    lab: Floats, covariance: Floats, target: Floats | None = None, k_l: float = 1.0
) -> float:
    """ΔE00 that 95 % of draws about ``lab`` stay within, of ``target`` or of ``lab`` itself."""
    values, vectors = np.linalg.eigh(covariance)
    spread = vectors * np.sqrt(np.maximum(values, 0.0))
    drawn = lab + np.random.default_rng(1).normal(size=(1000, 3)) @ spread.T
    away = delta_e_2000(lab if target is None else target, drawn, k_l)
    return float(np.quantile(away, 0.95))


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
            f"{len(used)} lots on this base can be used, at least {FEWEST_LOTS} {_LOTS_LIKE} are "
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
    spread = np.linspace(0, len(firsts) - 1, min(len(firsts), _MOST_LEFT_OUT)).round().astype(int)
    left = [_left_out(model, np.flatnonzero(alike == first)) for first in firsts[spread]]
    squares = sum(np.mean([lot.surprise**2 for lot in lots]) for lots in left)
    scale = math.sqrt((_TRUST + squares) / (_TRUST + 3 * len(left)))
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
    """(m,) of each recipe the first row that is the same to :data:`_SAME_RECIPE`, maybe its own.

    Lots of one recipe foretell each other whatever the model: they are left out together.
    """
    ln = np.log(np.where(depths > 0, depths, 1e-6))
    apart = np.abs(ln[:, None] - ln[None, :]).max(axis=-1)
    return np.asarray(np.argmax(apart < _SAME_RECIPE, axis=1))


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
