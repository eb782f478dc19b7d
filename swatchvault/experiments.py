"""Where a base has not been, with the recipe that is predicted to land there: what to dye next."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ingest.colour import Floats
from swatchvault.archive.dyed import dyed_on_base
from swatchvault.errors import SwatchvaultError
from swatchvault.knownbase import KnownBase, know_base, left_out_words, recipe_words
from swatchvault.maps import Gap, gaps
from swatchvault.predict import Shade
from swatchvault.reachable import spread_recipes

#: Why distances need not fall from one gap to the next.
ORDER = (
    "Each gap counts as filled for the next, which is the largest that is left then: a distance to "
    "the nearest swatch may be larger than the one before."
)


@dataclass(frozen=True, eq=False)
class Experiment:
    """A gap, and the recipe in % DOS with its predicted colour, ``None`` without predictions.
    Its shade's 19 of 20 pots are told at the kL of the gap's distance."""

    gap: Gap
    depths: Mapping[str, float] | None = None
    shade: Shade | None = None

    @property
    def words(self) -> str:
        """The recipe and how far such a pot may land from the gap, or ""."""
        if self.depths is None or self.shade is None:
            return ""
        sure = f"19 of 20 such pots within ΔE00 {self.shade.within_95:.1f}"
        return f"{recipe_words(self.depths)}; {sure}"


@dataclass(frozen=True, eq=False)
class GapsOnBase:
    """Gaps, each the largest once those before it are filled. ``known`` predicted them;
    ``why_not``: why nothing was predicted."""

    gaps: tuple[Experiment, ...]
    known: KnownBase | None
    why_not: str

    def inside_words(self, swatches: int) -> str:
        """What the gaps were sought inside of."""
        if self.known is None:
            return (
                f"Inside what {swatches} swatches span. Not by what the dyes can reach: "
                f"{self.why_not}. {ORDER}"
            )
        left = left_out_words(self.known.left_out)
        return (
            f"Inside what the dyes are predicted to reach on {self.known.title}, against "
            f"{swatches} swatches; 19 of 20 is {self.known.model.learned}."
            + (f" ({left})" if left else "")
            + f" {ORDER}"
        )

    def record(self, names: Sequence[str]) -> dict[str, Any]:
        """Plain JSON data; ``names``: of the colours made."""
        return {
            "by": "reach of the dyes" if self.known else "span of the colours",
            "why_not_by_reach": self.why_not or None,
            "form": self.known.form if self.known else None,
            "lots": self.known.model.n_lots if self.known else None,
            "different_recipes": self.known.model.n_recipes if self.known else None,
            "left_out": dict(self.known.left_out) if self.known else None,
            "gaps": [
                {
                    "lab": list(e.gap.lab),
                    "delta_e": e.gap.delta_e,
                    "nearest": names[e.gap.nearest],
                    "recipe": None if e.depths is None else dict(e.depths),
                    "within_95": None if e.shade is None else e.shade.within_95,
                }
                for e in self.gaps
            ],
        }


def gaps_on_base(
    conn: sqlite3.Connection,
    base: str,
    made: Floats,
    *,
    form: str | None = None,
    count: int = 8,
    k_l: float = 2.0,
) -> GapsOnBase:
    """The largest gaps between colours ``made`` (n, 3) on a base, each filled for the next.

    Inside what its dyes are predicted to reach where enough lots are known, else inside what the
    colours span. Raises ``CompareError`` where neither can be.
    """
    try:
        known = know_base(dyed_on_base(conn, base, form), k_l=k_l)
    except SwatchvaultError as error:
        found = gaps(made, count=count, k_l=k_l)
        return GapsOnBase(tuple(Experiment(g) for g in found), None, str(error))
    reach = spread_recipes(known.model)
    taken = []
    for gap in gaps(made, count=count, k_l=k_l, reachable=reach.lab):
        depths = reach.recipe(gap.reach or 0)
        taken.append(Experiment(gap, depths, known.model.predict(depths, k_l)))
    return GapsOnBase(tuple(taken), known, "")
