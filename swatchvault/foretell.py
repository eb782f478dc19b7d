"""From an archive's lots of one base to answers: what a recipe gives, what a pot needs, which
recipes reach a colour. Assembly; nothing here reads or prints.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ingest.colour import Floats, delta_e_2000
from ingest.model import none_if_nan
from swatchvault.archive.dyed import PotAsDyed
from swatchvault.basemodel import within_95
from swatchvault.knownbase import KnownBase, base_record, recipe_words, shade_record
from swatchvault.potreading import PotReading
from swatchvault.predict import (
    Additions,
    RecipeFound,
    Shade,
    correct_pot,
    recipes_for,
)
from swatchvault.shades import Target

#: Of a prediction wider than this (ΔE00 for 19 of 20 pots) nothing is concluded; our choice.
SURE_ENOUGH = 5.0


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
            "photos_share_delta_e_00": none_if_nan(self._shared()),
            "target": None if target is None else target.name,
            "target_lab": None if target is None else [float(v) for v in target.lab],
            "delta_e_00": none_if_nan(self.delta_e_00),
            "target_within_95": none_if_nan(self.within_95),
        }

    def _shared(self) -> float:
        return self.known.shared_delta_e(self.shade.lab) if self.shade.inside else math.nan


def foretell(
    known: KnownBase,
    depths: Mapping[str, float],
    target: Target | None = None,
    target_doubt: Floats | None = None,
) -> Foretold:
    """What a recipe in % DOS gives on a base; nonsense depths raise ``AmountError``.

    ``target_doubt``: (3, 3) of the target beside the lots' photos.
    """
    shade = known.model.predict(depths, known.k_l)
    if target is None or not shade.inside:
        return Foretold(known, depths, shade, target)
    near = float(delta_e_2000(shade.lab, target.lab, known.k_l))
    doubt = shade.covariance + (np.zeros((3, 3)) if target_doubt is None else target_doubt)
    sure = within_95(shade.lab, doubt, target.lab, known.k_l)
    return Foretold(known, depths, shade, target, near, sure)


# ---------------------------------------------------------------------------------------------
# What does this pot need?
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Correction:
    """A pot as it reads beside its target, and what to add: dye to % DOS on its goods."""

    known: KnownBase
    pot: PotAsDyed
    reading: PotReading
    additions: Additions

    @property
    def target(self) -> Target:
        return self.reading.target

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
            **self.reading.record(),
            "delta_e_reckoned": found.delta_e_reckoned,
            "add": dict(found.add),
            "lab": [float(v) for v in found.lab],
            "cov_lab": [[none_if_nan(v) for v in row] for row in found.covariance.tolist()],
            "delta_e_after": found.delta_e_after,
            "within_95": none_if_nan(found.within_95),
            "inside": found.inside,
            "why": found.why,
        }


def correct(
    known: KnownBase, pot: PotAsDyed, reading: PotReading, dyes: Sequence[str] | None = None
) -> Correction:
    """What to add to a pot to come nearer to its target; ``dyes``: those at hand."""
    found = correct_pot(
        known.model,
        pot.lot.depths,
        reading.lab,
        reading.target.lab,
        dyes=dyes,
        doubt=reading.doubt,
        k_l=known.k_l,
    )
    return Correction(known, pot, reading, found)


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
    target_doubt: Floats | None = None,
) -> Ways:
    """The recipes predicted to come nearest to a target, few dyes before many.

    ``target_doubt``: (3, 3) of the target beside the lots' photos.
    """
    found = recipes_for(
        known.model,
        target.lab,
        dyes,
        most_dyes=most_dyes,
        count=count,
        k_l=known.k_l,
        target_doubt=target_doubt,
    )
    return Ways(known, target, tuple(found), used, tuple(untried))
