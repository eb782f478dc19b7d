"""A recipe on a weight of goods, as a page and as the sheet to print."""

from __future__ import annotations

import base64
import hashlib
import math
import re
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from datasette import Response

from swatchvault.errors import AmountError, SwatchvaultError
from swatchvault.measuring import SMALLEST_ML
from swatchvault.typed_numbers import row_number
from swatchvault.web.comesfrom import dye_choices, sources_of, sources_said, unsaid
from swatchvault.web.foretell import TIMES
from swatchvault.web.learned import dyes_in_address
from swatchvault.web.said import recipe_toml
from swatchvault.web.typed import number, ratio_or_none, row_id
from swatchvault.web.visit import PAGE_HEADERS, RefusedError, Visit

if TYPE_CHECKING:
    from swatchvault.archive import Recipe, RecipePart
    from swatchvault.recipe_sheet import RecipeSheet

_GOODS = "100 g"  # as the command takes where nothing is said


@dataclass(frozen=True)
class Asked:
    """What the address asks of a recipe: goods, ratio and the least that can be measured as typed,
    the version it is set against, dyes that are weighed as powder, and by a dye's number what was
    chosen that it comes from."""

    goods: str
    ratio: str
    smallest: str
    against: int | None
    powders: tuple[str, ...]
    sources: Mapping[str, str]

    @property
    def carried(self) -> str:
        """The choice of stocks, to go on in an address."""
        return urlencode({f"from-{dye}": said for dye, said in self.sources.items() if said})


def asked_of(visit: Visit) -> Asked:
    """What the query string says."""
    return Asked(
        visit.asked("goods", _GOODS),
        visit.asked("ratio"),
        visit.asked("smallest", f"{SMALLEST_ML:g}"),
        row_number(visit.asked("against")),
        tuple(visit.request.args.getlist("powder") or ()),
        sources_of(visit.asked, list(visit.request.args)),
    )


async def recipe_page(visit: Visit) -> Response:
    """A recipe with its amounts; an amount that cannot be read is said above the form."""
    recipe_id, asked = row_id(visit), asked_of(visit)
    facts = await visit.read(_facts, recipe_id, asked)
    wrong, sheet = "", None
    try:
        sheet = await visit.read(_sheet, visit.folder, recipe_id, asked)
    except (AmountError, RefusedError) as error:
        wrong = str(error)
    values = {**facts, "asked": asked, "sheet": sheet, "wrong": wrong, **_words()}
    return await visit.page("sv_recipe.html", values, 400 if wrong else 200)


def _facts(conn: sqlite3.Connection, recipe_id: int, asked: Asked) -> dict[str, Any]:
    from swatchvault.archive import get_recipe
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.archive.pages_find import choices
    from swatchvault.archive.pages_pot import dye_sources
    from swatchvault.recipe_typed import typed_of

    row = pages.one(conn, "recipe", recipe_id)
    told = get_recipe(conn, row["colourway"], row["base"], row["version"])
    dyed = [part for part in told.parts if part.dyes]
    return {
        "bases": choices(conn).bases,
        "all_times": TIMES,
        "one_colour": len(told.parts) == 1 and told.parts[0].share_percent == 100.0,
        "dyed_parts": [(part.name, _part_address(part, row["base"])) for part in dyed],
        "recipe": row,
        "doses": dye_choices(told, dye_sources(conn), asked.sources),
        "unsaid": _unsaid(conn, told, asked.goods),
        "fits_form": typed_of(told) is not None,
        "versions": pages.other_versions(conn, recipe_id),
        "example": recipe_example(conn),
    }


def _unsaid(conn: sqlite3.Connection, recipe: Recipe, goods: str) -> dict[str, str]:
    from swatchvault.amounts import parse_amount

    try:
        return unsaid(conn, recipe, parse_amount(goods, bare="g").g)
    except AmountError:  # said above the form
        return {}


def _part_address(part: RecipePart, base: str) -> str:
    """Where it is foretold what a part of a recipe will give, "" where that has too many dyes."""
    filled = dyes_in_address({d.dye: d.depth_percent for d in part.dyes}, base=base)
    return f"/foretell?{filled}" if filled else ""


def recipe_example(conn: sqlite3.Connection, colourway: str | None = None) -> dict[str, str]:
    """A recipe as studio.toml has it, of names in the archive where there are any."""
    from swatchvault.archive.pages_find import choices

    known = choices(conn)
    dye = next(iter(known.dyes), "Ember")
    base = next(iter(known.bases), "Sock Fine")
    return {"dye": dye, "text": recipe_toml(colourway or "Moss", base, dye)}


def _words() -> dict[str, Any]:
    from swatchvault.cautions import CAUTION_LINE
    from swatchvault.measuring import pour_words, weigh_words
    from swatchvault.recipe_parts import part_words, together_lines
    from swatchvault.recipe_sheet import step_plan_words

    return {
        "caution_line": CAUTION_LINE,
        "pour": lambda ml: pour_words(ml)[0],
        "unknown": (math.nan,) * 3,
        "weigh": lambda g: weigh_words(g)[0],
        "step_words": step_plan_words,
        "part_words": part_words,
        "together": together_lines,
    }


def _sheet(conn: sqlite3.Connection, folder: Path, recipe_id: int, asked: Asked) -> RecipeSheet:
    """The sheet that ``recipe`` prints, of what was typed."""
    from swatchvault.amounts import parse_amount
    from swatchvault.archive.pages_pot import dye_sources
    from swatchvault.archive.pages_yarn import one
    from swatchvault.archive.recipes import recipe_by_id
    from swatchvault.recipe_asked import SheetAsked, sheet_of

    one(conn, "recipe", recipe_id)
    recipe = recipe_by_id(conn, recipe_id)
    told = SheetAsked(
        goods_g=parse_amount(asked.goods, bare="g").g,
        ratio=ratio_or_none(asked.ratio),
        against=asked.against,
        sources={
            **sources_said(recipe, dye_sources(conn), asked.sources),
            **dict.fromkeys(asked.powders),
        },
        smallest_ml=number(asked.smallest, "the least you can measure"),
    )
    return sheet_of(conn, folder / "thumbs", recipe, told)


async def recipe_card(visit: Visit) -> Response:
    """The sheet that ``recipe --print`` writes, for the browser to print."""
    from swatchvault.recipe_sheet import sheet_html

    try:
        sheet = await visit.read(_sheet, visit.folder, row_id(visit), asked_of(visit))
    except AmountError as error:
        raise RefusedError(str(error)) from error
    asked = visit.request.query_string
    back = f"/recipe/{row_id(visit)}" + (f"?{asked}" if asked else "")
    return sheet_answer(await visit.work(sheet_html, sheet, back))


def sheet_answer(html: str) -> Response:
    """A sheet that carries its own style: only that very style is let in, and no script."""
    style = re.search(r"<style>(.*?)</style>", html, re.DOTALL)
    if style is None:
        raise SwatchvaultError("the sheet has lost its style: print it with the command line")
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode("ascii")
    policy = (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; frame-ancestors 'none'"
    )
    return Response.html(html, headers={**PAGE_HEADERS, "Content-Security-Policy": policy})
