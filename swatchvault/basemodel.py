"""A fitted base as data: the lots it rests on, the shades it foretells, and where it says nothing.

Made by :func:`swatchvault.basefit.fit_base`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from ingest.colour import Floats, delta_e_2000
from swatchvault.amounts import check_number
from swatchvault.bandfit import Data, Fit, pot_noise
from swatchvault.bands import Forward, Layout, forward
from swatchvault.errors import SwatchvaultError
from swatchvault.mixtures import too_deep_or_pale, unmixed

#: Recipes that are left out in turn; of more, that many spread over all. For speed, our choice.
MOST_LEFT_OUT = 24

#: What a fit needs, in words.
LOTS_LIKE = "measured lots dyed on this undyed base"


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
    """A lot as the others predict it, ``lab`` (3,), and as ``measured`` (3,).

    ``delta_e_00``: between them, at kL = 1. ``surprise``: its miss in standard deviations of doubt.
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
        if self.n_recipes > MOST_LEFT_OUT:
            words += f" by leaving out {MOST_LEFT_OUT} of the recipes in turn"
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
        left = self.left_out
        typical = float(
            np.median(delta_e_2000([x.lab for x in left], [x.measured for x in left], k_l))
        )
        return (
            f"From {self.n_lots} lots on this base; each, as lots of other recipes foretell it, is "
            f"missed by ΔE00 {typical:.1f} in the middle. It holds for the same dyes, packets and "
            "way of dyeing."
        )


def _unseen(dye: str) -> str:
    return f"{dye} is in none of the {LOTS_LIKE}: dye a trial with it."


def check_depths(depths: Mapping[str, float]) -> None:
    """Raise ``AmountError`` where a depth is no number of 0 to 100 %."""
    for dye, depth in depths.items():
        check_number(f"the depth of {dye}", depth, unit="%", low=0.0, high=100.0)


def within_95(
    lab: Floats, covariance: Floats, target: Floats | None = None, k_l: float = 1.0
) -> float:
    """ΔE00 that 95 % of draws about ``lab`` (3,) stay within, of ``target`` (3,) or of ``lab``.

    ``covariance``: (3, 3) of ``lab``.
    """
    values, vectors = np.linalg.eigh(covariance)
    spread = vectors * np.sqrt(np.maximum(values, 0.0))
    drawn = lab + np.random.default_rng(1).normal(size=(1000, 3)) @ spread.T
    away = delta_e_2000(lab if target is None else target, drawn, k_l)
    return float(np.quantile(away, 0.95))
