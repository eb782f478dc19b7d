"""From an archive's lots of one base to answers: what a recipe gives, what a pot needs, which
recipes reach a colour. Assembly; nothing here reads or prints.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ingest.colour import Floats, delta_e_2000
from ingest.model import none_if_nan
from swatchvault.archive.dyed import DyedOnBase, PotAsDyed
from swatchvault.bands import metric
from swatchvault.basefit import usable_lots, within_95
from swatchvault.errors import CompareError, SwatchvaultError
from swatchvault.pair import Conditions
from swatchvault.predict import (
    Additions,
    BaseModel,
    RecipeFound,
    Shade,
    correct_pot,
    fit_base,
    recipes_for,
)
from swatchvault.shades import Target

#: Of a prediction wider than this (ΔE00 for 19 of 20 pots) nothing is concluded; our choice.
SURE_ENOUGH = 5.0


@dataclass(frozen=True, eq=False)
class KnownBase:
    """A fitted base in one form, and what was left out of the fit: lot to reason.

    ``shared``: (3, 3) covariance of what the photos get wrong alike; it is in no prediction's ±.
    ``k_l``: of every ΔE00 that is told of it, the usual one of checks and searches if not said.
    """

    base: str
    form: str
    model: BaseModel
    left_out: Mapping[str, str]
    shared: Floats
    k_l: float = Conditions.k_l

    @property
    def title(self) -> str:
        return f"{self.base}, {self.form}, from {self.model.n_lots} lots"

    def shared_delta_e(self, lab: Floats) -> float:
        """Root mean square ΔE00 of what the photos get wrong alike, at one colour (3,)."""
        return math.sqrt(float(np.trace(metric(lab, self.k_l) @ self.shared)))


def know_base(
    dyed: DyedOnBase,
    *,
    include_overdyed: bool = False,
    without: Sequence[str] = (),
    k_l: float = Conditions.k_l,
) -> KnownBase:
    """Fit a base to its lots, those of ``without`` left out (a pot that is to be corrected).

    ``k_l``: of every ΔE00 that is told. Raises ``SwatchvaultError`` where too few can be used, with
    what was left out and why.
    """
    if not (math.isfinite(k_l) and k_l > 0):
        raise CompareError(f"kL is {k_l:g}, needed a number above 0: such as 2")
    folded = {code.casefold() for code in without}
    lots = [lot for lot in dyed.lots if lot.name.casefold() not in folded]
    try:
        model = fit_base(
            lots, dyed.undyed, include_overdyed=include_overdyed, fluorescent=dyed.fluorescent
        )
    except SwatchvaultError as error:
        _, not_used = usable_lots(lots, include_overdyed, dyed.fluorescent)
        left = left_out_words({**dyed.left_out, **not_used})
        raise SwatchvaultError(
            f"{dyed.base}, {dyed.form}: {error}" + (f"; {left}" if left else "")
        ) from error
    left_out = {**dyed.left_out, **model.not_used}
    return KnownBase(dyed.base, dyed.form, model, left_out, dyed.shared, k_l)


def left_out_words(left_out: Mapping[str, str]) -> str:
    """``"3 lots left out: it was dyed over an earlier lot (2: L1, L2); ..."``, or ""."""
    if not left_out:
        return ""
    parts = []
    for why, count in Counter(left_out.values()).most_common():
        lots = [lot for lot, w in left_out.items() if w == why]
        parts.append(f"{why} ({count}: {', '.join(lots[:3])}{' ...' if count > 3 else ''})")
    total = len(left_out)
    return f"{total} lot{'s' if total > 1 else ''} left out: {'; '.join(parts)}"


def recipe_words(depths: Mapping[str, float]) -> str:
    """``"Ember 0.8 %, Tarn 0.2 %"``, the most first."""
    order = sorted(depths.items(), key=lambda d: -d[1])
    return ", ".join(f"{dye} {depth:.2g} %" for dye, depth in order) or "no dye"


# ---------------------------------------------------------------------------------------------
# What will this give?
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Foretold:
    """A recipe's predicted colour, and how it lies to a target if one was given.

    ``delta_e_00``, ``within_95``: to the target, NaN without one or outside.
    """

    known: KnownBase
    depths: Mapping[str, float]
    shade: Shade
    target: Target | None = None
    delta_e_00: float = math.nan
    within_95: float = math.nan

    def record(self) -> dict[str, Any]:
        """Plain JSON data."""
        target = self.target
        return {
            **base_record(self.known),
            "recipe": dict(self.depths),
            **shade_record(self.shade),
            "photos_share_delta_e_00": _or_none(self._shared()),
            "target": None if target is None else target.name,
            "target_lab": None if target is None else [float(v) for v in target.lab],
            "delta_e_00": none_if_nan(self.delta_e_00),
            "target_within_95": none_if_nan(self.within_95),
        }

    def _shared(self) -> float:
        return self.known.shared_delta_e(self.shade.lab) if self.shade.inside else math.nan


def foretell(
    known: KnownBase, depths: Mapping[str, float], target: Target | None = None
) -> Foretold:
    """What a recipe in % DOS gives on a base; nonsense depths raise ``AmountError``."""
    shade = known.model.predict(depths, known.k_l)
    if target is None or not shade.inside:
        return Foretold(known, depths, shade, target)
    near = float(delta_e_2000(shade.lab, target.lab, known.k_l))
    sure = within_95(shade.lab, shade.covariance, target.lab, known.k_l)
    return Foretold(known, depths, shade, target, near, sure)


# ---------------------------------------------------------------------------------------------
# What does this pot need?
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Correction:
    """A pot as it is, its target, and what to add: dye to % DOS on its goods."""

    known: KnownBase
    pot: PotAsDyed
    target: Target
    additions: Additions

    def record(self) -> dict[str, Any]:
        """Plain JSON data, without the amounts."""
        found = self.additions
        return {
            **base_record(self.known),
            "lot": self.pot.lot.name,
            "swatch": self.pot.swatch,
            "goods_g": self.pot.goods_g,
            "went_in": dict(self.pot.lot.depths),
            "target": self.target.name,
            "target_lab": [float(v) for v in self.target.lab],
            "delta_e_before": found.delta_e_before,
            "add": dict(found.add),
            "lab": [float(v) for v in found.lab],
            "cov_lab": [[_or_none(v) for v in row] for row in found.covariance.tolist()],
            "delta_e_after": found.delta_e_after,
            "within_95": none_if_nan(found.within_95),
            "inside": found.inside,
            "why": found.why,
        }


def correct(
    known: KnownBase, pot: PotAsDyed, target: Target, dyes: Sequence[str] | None = None
) -> Correction:
    """What to add to a pot to come nearer to a target; ``dyes``: those at hand."""
    found = correct_pot(
        known.model,
        pot.lot.depths,
        pot.lot.lab,
        target.lab,
        dyes=dyes,
        covariance=pot.lot.covariance,
        k_l=known.k_l,
    )
    return Correction(known, pot, target, found)


# ---------------------------------------------------------------------------------------------
# Which recipes reach it?
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Ways:
    """Recipes that come nearest to a target; ``used``: dyes that the target was dyed with."""

    known: KnownBase
    target: Target
    found: tuple[RecipeFound, ...]
    used: frozenset[str]
    untried: tuple[str, ...]

    def other_dyes(self, way: RecipeFound) -> bool | None:
        """Whether a way's set of dyes is another than the target's; ``None`` if that is unknown."""
        return frozenset(way.depths) != self.used if self.used else None

    def could_another(self) -> str:
        """Whether another set of dyes could have given the target, in a sentence, or ""."""
        if not self.used:
            return ""
        mine = [w for w in self.found if not self.other_dyes(w)]
        others = [w for w in self.found if self.other_dyes(w)]
        was = f"{self.target.name} was dyed with {', '.join(sorted(self.used))}"
        if not others:
            return f"{was}. No other set of these dyes is predicted to come near."
        best = min(others, key=lambda w: w.delta_e_00)
        least = mine[0].delta_e_00 if mine else math.nan
        words = f"{was}" + ("" if math.isnan(least) else f" (predicted ΔE00 {least:.1f})")
        words += f"; of other sets {recipe_words(best.depths)} comes nearest: {best.delta_e_00:.1f}"
        if best.delta_e_00 > best.shade.within_95:
            return f"{words}. Those dyes would most likely be told from it."
        if best.shade.within_95 > SURE_ENOUGH:
            return f"{words}, but the lots say too little of those dyes to tell."
        return f"{words}. Those dyes could well have given it."

    def record(self) -> dict[str, Any]:
        """Plain JSON data."""
        return {
            **base_record(self.known),
            "target": self.target.name,
            "target_lab": [float(v) for v in self.target.lab],
            "target_dyes": sorted(self.used) or None,
            "recipes": [
                {
                    "recipe": dict(w.depths),
                    "delta_e_00": w.delta_e_00,
                    "target_within_95": w.within_95,
                    "other_dyes": self.other_dyes(w),
                    **shade_record(w.shade),
                }
                for w in self.found
            ],
            "could_another": self.could_another() or None,
            "not_tried_on_this_base": list(self.untried),
        }


def ways_to(
    known: KnownBase,
    target: Target,
    dyes: Sequence[str] | None = None,
    *,
    used: frozenset[str] = frozenset(),
    untried: Sequence[str] = (),
    most_dyes: int = 3,
    count: int = 10,
) -> Ways:
    """The recipes predicted to come nearest to a target, few dyes before many."""
    found = recipes_for(
        known.model, target.lab, dyes, most_dyes=most_dyes, count=count, k_l=known.k_l
    )
    return Ways(known, target, tuple(found), used, tuple(untried))


# ---------------------------------------------------------------------------------------------
# Records that all share
# ---------------------------------------------------------------------------------------------


def base_record(known: KnownBase) -> dict[str, Any]:
    return {
        "base": known.base,
        "form": known.form,
        "lots": known.model.n_lots,
        "different_recipes": known.model.n_recipes,
        "left_out": dict(known.left_out),
        "k_l": known.k_l,
    }


def shade_record(shade: Shade) -> dict[str, Any]:
    """A predicted colour as plain JSON data; unknown is ``None``."""
    u = np.sqrt(np.diag(shade.covariance))
    return {
        "inside": shade.inside,
        "why": shade.why,
        "lab": [_or_none(v) for v in shade.lab],
        "u_lab": [_or_none(v) for v in u],
        "cov_lab": [[_or_none(v) for v in row] for row in shade.covariance.tolist()],
        "within_95": _or_none(shade.within_95),
    }


def _or_none(value: float) -> float | None:
    return none_if_nan(float(value))
