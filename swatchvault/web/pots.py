"""Pots that are open, and a new one started from a recipe: amounts first, then the start."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from datasette import Response

from swatchvault.errors import SwatchvaultError
from swatchvault.web.comesfrom import dye_choices, sources_of, sources_said, unsaid
from swatchvault.web.potclocks import open_pots
from swatchvault.web.recipes import recipe_example
from swatchvault.web.typed import ratio_or_none, whole
from swatchvault.web.visit import Form, RefusedError, Visit

if TYPE_CHECKING:
    from swatchvault.archive import Recipe
    from swatchvault.pot import PotPlan


@dataclass(frozen=True)
class StartAsked:
    """What was typed to start a pot, as text. ``sources``: by dye's number, a stock's or powder."""

    recipe: str = ""
    goods: str = ""
    ratio: str = ""
    code: str = ""
    water: str = ""
    over: str = ""
    also: str = ""
    at: str = ""
    sources: Mapping[str, str] = field(default_factory=dict)


def asked_of(text: Callable[[str], str], names: list[str]) -> StartAsked:
    """The typed start, from a form or an address."""
    plain = ("recipe", "goods", "ratio", "code", "water", "over", "also", "at")
    return StartAsked(**{n: text(n).strip() for n in plain}, sources=sources_of(text, names))


async def pots_page(visit: Visit) -> Response:
    """Pots open now, and the form that starts one."""
    if visit.request.method == "POST":
        return await _start(visit, await visit.form())
    asked = asked_of(visit.asked, list(visit.request.args))
    return await _shown(visit, asked, "")


async def _shown(visit: Visit, asked: StartAsked, words: str) -> Response:
    values = await visit.read(_values, asked)
    words = words or values.pop("problem")
    return await visit.page("sv_pots.html", {**values, "words": words}, 400 if words else 200)


async def _start(visit: Visit, form: Form) -> Response:
    asked = asked_of(form.text, [n for n in form.said if isinstance(n, str)])
    try:
        return await visit.change(form, lambda conn: f"/pot/{begin(conn, asked)}")
    except SwatchvaultError as error:
        if visit.wants_json:
            raise
        return await _shown(visit, asked, str(error))


def _values(conn: sqlite3.Connection, asked: StartAsked) -> dict[str, Any]:
    """All that the page shows; a start that cannot be planned leaves its sentence in ``problem``"""
    from swatchvault.archive.pages_pot import dye_sources, pots, recipe_choices
    from swatchvault.cautions import CAUTION_LINE
    from swatchvault.measuring import pour_words, weigh_words
    from swatchvault.potwork import local_now
    from swatchvault.recipe_parts import part_words, together_lines

    now = local_now()
    values: dict[str, Any] = {
        "caution_line": CAUTION_LINE,
        "pour": lambda ml: pour_words(ml)[0],
        "weigh": lambda g: weigh_words(g)[0],
        "open": open_pots(conn, now),
        "now": now.isoformat(timespec="milliseconds"),
        "ended": pots(conn, open_now=False, count=10),
        "choices": recipe_choices(conn),
        "example": recipe_example(conn),
        "asked": asked,
        "recipe": None,
        "plan": None,
        "unsaid": {},
        "part_words": part_words,
        "together": together_lines,
        "problem": "",
    }
    if asked.recipe:
        try:
            values["recipe"] = recipe = _recipe(conn, asked)
            values["code"] = asked.code or next_code(conn, recipe.colourway)
            values["doses"] = dye_choices(recipe, dye_sources(conn), asked.sources)
            values["to_try"] = _to_try(conn, recipe)
            if asked.goods:
                values["plan"], _ = plan_asked(conn, recipe, asked)
                values["unsaid"] = unsaid(conn, recipe, values["plan"].goods_g)
        except SwatchvaultError as error:
            values["problem"] = str(error)
    return values


def _recipe(conn: sqlite3.Connection, asked: StartAsked) -> Recipe:
    from swatchvault.archive.pages_pot import recipe_there
    from swatchvault.archive.recipes import recipe_by_id

    number = whole(asked.recipe, "the recipe")
    if not recipe_there(conn, number):
        raise RefusedError("this recipe is not in the archive: choose one from the list")
    return recipe_by_id(conn, number)


def _to_try(conn: sqlite3.Connection, recipe: Recipe) -> str | None:
    from swatchvault.archive import next_time

    return next_time(conn, recipe.colourway, recipe.base)


def plan_asked(
    conn: sqlite3.Connection, recipe: Recipe, asked: StartAsked
) -> tuple[PotPlan, dict[str, str | None]]:
    """The recipe on the goods asked for, and from which stock each dye is to come."""
    from swatchvault.amounts import parse_amount
    from swatchvault.archive import spoons_of
    from swatchvault.archive.pages_pot import dye_sources
    from swatchvault.pot import plan_pot
    from swatchvault.potclock import read_time
    from swatchvault.potwork import choose_stocks, local_now

    now = local_now()
    goods_g = parse_amount(asked.goods, bare="g").g
    said = sources_said(recipe, dye_sources(conn), asked.sources)
    today = (read_time(asked.at, now) if asked.at else now).date()
    chosen = choose_stocks(conn, recipe, goods_g, said, need=False, on=today)
    plan = plan_pot(
        recipe,
        goods_g,
        chosen,
        today=today,
        liquor_ratio=ratio_or_none(asked.ratio),
        spoons=spoons_of(conn),
    )
    dyes = [d.dye for part in recipe.parts for d in part.dyes]
    return plan, {dye: chosen[dye].code if dye in chosen else None for dye in dyes}


def begin(conn: sqlite3.Connection, asked: StartAsked) -> int:
    """Start the pot as `pot start` does; the new lot's number."""
    from swatchvault.archive import Lot, find, start_pot
    from swatchvault.archive.pages_pot import lot_there
    from swatchvault.potclock import check_time, read_time
    from swatchvault.potwork import local_now

    if not asked.code:
        raise RefusedError("the lot's code is missing: give the pot a code, such as NF-6")
    if not asked.goods:
        raise RefusedError("the weight of the goods is missing: weigh them dry, such as 200 g")
    now = local_now()
    recipe = _recipe(conn, asked)
    plan, planned_from = plan_asked(conn, recipe, asked)
    if lot_there(conn, asked.code):
        raise RefusedError(
            f"lot {asked.code!r} is there already: give this pot another code, or go on with the "
            "one that is open"
        )
    when = read_time(asked.at, now).astimezone() if asked.at else now
    lot = Lot(
        code=asked.code,
        bases=(recipe.base, *([asked.also] if asked.also else [])),
        colourway=recipe.colourway,
        recipe_version=recipe.version,
        overdyes=asked.over or None,
        dyed_on=f"{when:%Y-%m-%d}",
        dry_g=plan.goods_g,
        liquor_ml=plan.liquor_ml,
        water=asked.water or None,
    )
    start_pot(conn, lot, check_time(when, None, now), planned_from)
    return find(conn, "lot", lot.code)


def next_code(conn: sqlite3.Connection, colourway: str) -> str:
    """A code for the next lot: the newest one's with its last number counted on, if it has one."""
    from swatchvault.archive.pages_pot import lot_there, newest_code

    found = re.fullmatch(r"(.*?)([0-9]{1,9})", newest_code(conn, colourway) or "")
    if found is None:
        return ""
    count = int(found[2])
    while True:
        count += 1
        code = f"{found[1]}{count:0{len(found[2])}d}"
        if not lot_there(conn, code):
            return code
