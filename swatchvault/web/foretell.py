"""What a recipe will give: one that is kept, or dyes as typed, on a base and at a depth."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from datasette import Response

from swatchvault.errors import AmountError, NotFound, SwatchvaultError
from swatchvault.kinds import FORMS
from swatchvault.web.learned import (
    LEARN_FIELDS,
    dyes_asked,
    dyes_in_address,
    learn_from,
    recipe_address,
    shown_foretold,
)
from swatchvault.web.typed import number, whole
from swatchvault.web.visit import RefusedError, Visit

if TYPE_CHECKING:
    from swatchvault.queries import Query
    from swatchvault.recipe_typed import TypedRecipe

#: Times the depth that can be chosen, with their words.
TIMES: Mapping[str, str] = {
    "0.25": "a quarter of the depth",
    "0.5": "half the depth",
    "0.75": "three quarters of the depth",
    "1": "the depth as written",
    "1.5": "one and a half times the depth",
    "2": "twice the depth",
}


@dataclass(frozen=True)
class ForetellAsked:
    """What an address asks, as text. ``recipe``: number of one that is kept, or "" for ``dyes``."""

    recipe: str
    base: str
    times: str
    against: str
    dyes: tuple[tuple[str, str], ...]
    said: Mapping[str, str]

    @property
    def anything(self) -> bool:
        """Whether there is something to foretell."""
        return bool(self.recipe or (self.dyes and self.base))


async def foretell_page(visit: Visit) -> Response:
    """The prediction that `predict` makes, and the form that asks for another."""
    await visit.need_making()
    plain = {n: visit.asked(n).strip() for n in ("recipe", "base", "times", "against")}
    said = {n: visit.asked(n).strip() for n in LEARN_FIELDS}
    asked = ForetellAsked(**plain, dyes=dyes_asked(visit.asked), said=said)
    values = await visit.read(_values, asked)
    return await visit.page("sv_foretell.html", values, values["status"])


def _values(conn: sqlite3.Connection, asked: ForetellAsked) -> dict[str, Any]:
    """All that the page shows; what cannot be foretold leaves its sentence in ``problem``."""
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.archive.pages_find import bases_named, choices
    from swatchvault.foretell_asked import foretold_on

    recipe = pages.one(conn, "recipe", whole(asked.recipe, "the recipe")) if asked.recipe else None
    base = asked.base or (recipe["base"] if recipe else "")
    times = asked.times or "1"
    values: dict[str, Any] = {
        "asked": asked,
        "recipe": recipe,
        "base": base,
        "times": times,
        "all_times": {**TIMES, **({} if times in TIMES else {times: f"{times} times the depth"})},
        "bases": bases_named(conn),
        "dyes": choices(conn).dyes,
        "rows": [*asked.dyes, *[("", "")] * max(0, 3 - len(asked.dyes))],
        "forms": FORMS,
        "found": None,
        "problem": "",
        "write": "",
        "status": 200,
    }
    if not asked.anything:
        return values
    try:
        depths, against = _asked_of(conn, asked, recipe)
        learn = learn_from(lambda name: asked.said[name])
        kept = recipe is not None and base == recipe["base"] and times == "1"
        values["write"] = "" if kept else recipe_address(conn, base, depths, asked.recipe)
    except SwatchvaultError as error:
        return values | {"problem": str(error), "status": _status(error)}
    try:
        found, notes = foretold_on(conn, base, depths, learn, against)
        values["found"] = shown_foretold(conn, found, notes)
    except AmountError as error:
        values |= {"problem": str(error), "status": 400}
    except SwatchvaultError as error:  # what the base knows does not do: an answer too
        values["problem"] = str(error)
    return values


def _status(error: SwatchvaultError) -> int:
    return 404 if isinstance(error, NotFound) else 400


def _asked_of(
    conn: sqlite3.Connection, asked: ForetellAsked, recipe: dict[str, Any] | None
) -> tuple[dict[str, float], Query | None]:
    """The recipe in % DOS, and the colour that it is held against if one is named."""
    from swatchvault.amounts import check_number
    from swatchvault.archive import get_base, get_recipe
    from swatchvault.foretell_asked import depths_of
    from swatchvault.queries import query_of_text

    read = number(asked.times, "times the depth") if asked.times else 1.0
    times = check_number("times the depth", read, unit="times", above=0.0)
    if recipe is not None:
        kept = get_recipe(conn, recipe["colourway"], recipe["base"], recipe["version"])
        depths = depths_of(kept, times)
    else:
        depths = {dye: depth * times for dye, depth in read_dyes(conn, asked.dyes).items()}
    if asked.base:
        get_base(conn, asked.base)
    return depths, query_of_text(conn, asked.against) if asked.against else None


def read_dyes(conn: sqlite3.Connection, rows: tuple[tuple[str, str], ...]) -> dict[str, float]:
    """Dyes as typed to % DOS by the archive's names. Raises ``SwatchvaultError``."""
    from swatchvault.archive import get_dye
    from swatchvault.revision import read_depth

    depths: dict[str, float] = {}
    for name, depth in rows:
        if not name or not depth:
            what = f"the depth of {name} is missing" if name else f"{depth} % of which dye"
            raise RefusedError(f"{what}: each dye goes with its depth in % of the dry goods")
        dye = get_dye(conn, name).name
        if dye in depths:
            raise RefusedError(f"{dye} is there twice: write its whole depth once")
        depths[dye] = read_depth(dye, depth)
    return depths


def foretold_typed(conn: sqlite3.Connection, typed: TypedRecipe) -> dict[str, Any]:
    """What a recipe that is being written will give: ``found``, or why nothing in ``problem``."""
    from swatchvault.foretell_asked import LearnFrom, foretold_on

    try:
        if not typed.base:
            raise RefusedError("choose the base: what a recipe gives is learned from its lots")
        if not typed.simple:
            raise RefusedError("a recipe in parts has no one colour: ask for each part by itself")
        rows = tuple(row for row in typed.parts[0].dyes if any(row))
        if not rows:
            raise RefusedError("choose a dye, with its depth of shade")
        depths = read_dyes(conn, rows)
        found, notes = foretold_on(conn, typed.base, depths, LearnFrom())
    except SwatchvaultError as error:
        return {"found": None, "problem": str(error), "address": ""}
    address = f"/foretell?{dyes_in_address(depths, base=typed.base)}"
    return {"found": shown_foretold(conn, found, notes), "problem": "", "address": address}
