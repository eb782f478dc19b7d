"""Which stock each dye of a recipe comes from, or whether it is weighed: chosen on the pages of a
recipe and of a pot's start."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from swatchvault.web.visit import RefusedError

if TYPE_CHECKING:
    from swatchvault.archive import Recipe
    from swatchvault.archive.pages_pot import DyeSource

POWDER = "powder"


@dataclass(frozen=True)
class DyeChoice:
    """A dye of the recipe with what it can come from, and what was chosen."""

    dye: str
    dye_id: int
    depths: str
    sources: tuple[DyeSource, ...]
    chosen: str


def dye_choices(
    recipe: Recipe, sources: list[DyeSource], asked: Mapping[str, str]
) -> tuple[DyeChoice, ...]:
    """The dyes of a recipe with what each can come from; ``asked``: what was chosen, by the dye's
    number a stock's or :data:`POWDER`."""
    depths: dict[str, list[str]] = {}
    for part in recipe.parts:
        for d in part.dyes:
            told = depths.setdefault(d.dye, [])
            told += [words] if (words := f"{d.depth_percent:g} %") not in told else []
    made = []
    for dye, told in depths.items():
        mine = tuple(s for s in sources if s.dye == dye)
        number = mine[0].dye_id
        chosen = asked.get(str(number), "")
        made.append(DyeChoice(dye, number, " and ".join(told), mine, chosen))
    return tuple(made)


def sources_said(
    recipe: Recipe, sources: list[DyeSource], asked: Mapping[str, str]
) -> dict[str, str | None]:
    """What was chosen for each dye, by names; a dye that nothing was chosen for is left out."""
    said: dict[str, str | None] = {}
    for choice in dye_choices(recipe, sources, asked):
        if choice.chosen == POWDER:
            said[choice.dye] = None
        elif choice.chosen:
            codes = {str(s.stock_id): s.stock for s in choice.sources if s.stock_id is not None}
            if choice.chosen not in codes:
                raise RefusedError(
                    f"that stock of {choice.dye} is not on the shelf any more: choose another"
                )
            said[choice.dye] = codes[choice.chosen]
    return said


def sources_of(text: Callable[[str], str], names: list[str]) -> dict[str, str]:
    """What each dye is to come from, as a form or an address says it."""
    return {n.removeprefix("from-"): text(n) for n in names if n.startswith("from-")}


def unsaid(conn: sqlite3.Connection, recipe: Recipe, goods_g: float) -> dict[str, str]:
    """What each dye comes from where no source is chosen."""
    from swatchvault.pot import missing_words, short_hint
    from swatchvault.potwork import choose_stocks

    grams: dict[str, float] = {}
    for part in recipe.parts:
        for d in part.dyes:
            more = goods_g * part.share_percent / 100 * d.depth_percent / 100
            grams[d.dye] = grams.get(d.dye, 0.0) + more
    chosen = choose_stocks(conn, recipe, goods_g, {}, need=False)
    words: dict[str, str] = {}
    for dye, dye_g in grams.items():
        stock = chosen.get(dye)
        if stock is None:
            words[dye] = "powder: no stock of it is there"
            continue
        need_ml = dye_g * 100 / stock.strength_percent
        words[dye] = f"stock {stock.code}, which suffices"
        if short_hint(dye, stock, need_ml):
            words[dye] = f"no stock suffices: {stock.code}, {missing_words(stock, need_ml)}"
    return words
