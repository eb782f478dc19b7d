"""A recipe written on a page: a new one, or the next version of one that is there."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from datasette import Response

from swatchvault.errors import SwatchvaultError
from swatchvault.recipe_typed import (
    DYE_ROWS,
    MOST_PARTS,
    ReadRecipe,
    TypedPart,
    TypedRecipe,
    read_recipe,
    typed_of,
)
from swatchvault.web.foretell import foretold_typed
from swatchvault.web.learned import dyes_asked
from swatchvault.web.typed import whole
from swatchvault.web.visit import Form, RefusedError, Visit

#: Longer texts are no recipe; our choice.
_LONGEST_STEPS = 20_000

#: Fields of a part; those of the second one are called ``steps_2`` and so on.
_PART_FIELDS = (
    *("part_name", "share", "steps", "part_note"),
    *(f"{what}{row}" for what in ("dye", "depth") for row in range(1, DYE_ROWS + 1)),
)


async def new_recipe_page(visit: Visit) -> Response:
    """The form; a POST stores the recipe, and one that is refused comes back as it was typed.

    A POST by the buttons of parts stores nothing: the form comes back with one more, or one less;
    and so does one that only asks for the form with what was typed in it, or what that will give.
    """
    if visit.request.method != "POST":
        asked = (visit.asked(name) for name in ("from", "colourway", "onto", "lot"))
        typed = await visit.read(_begun, *asked)
        typed = await visit.read(_filled_in, typed, visit.asked("base"), dyes_asked(visit.asked))
        return await _shown(visit, typed, ())
    form = await visit.form()
    typed = _typed(form)
    if form.text("do") == "foretell":
        return await _shown(visit, typed, (), await visit.read(foretold_typed, typed))
    other_parts = _other_parts(typed, form.text("do"))
    if other_parts is not None:
        return await _shown(visit, other_parts, ())
    read = read_recipe(typed)
    if read.problems:
        if visit.wants_json:
            raise RefusedError(" ".join(read.problems))
        return await _shown(visit, typed, read.problems)
    try:
        return await visit.change(form, lambda conn: _stored(conn, typed, read), "It is stored.")
    except SwatchvaultError as error:
        if visit.wants_json:
            raise
        return await _shown(visit, typed, (str(error),))


def field_of(name: str, part: int) -> str:
    """A part's field in the form: ``steps`` of the first part, ``steps_2`` of the second."""
    return name if part == 1 else f"{name}_{part}"


def _typed(form: Form) -> TypedRecipe:
    there = {n: [field_of(name, n) for name in _PART_FIELDS] for n in range(2, MOST_PARTS + 2)}
    more = [n for n, fields in there.items() if any(field in form.said for field in fields)]
    parts = tuple(_typed_part(form, n) for n in (1, *more))
    names = ("colourway", "new_colourway", "base", "note", "came_from", "done_in")
    return TypedRecipe(parts=parts, **{n: form.text(n) for n in names})


def _typed_part(form: Form, number: int) -> TypedPart:
    def told(name: str) -> str:
        return form.text(field_of(name, number))

    steps = told("steps")
    if len(steps) > _LONGEST_STEPS:
        raise RefusedError(
            f"the steps have {len(steps)} characters: {_LONGEST_STEPS} is the most that is taken"
        )
    rows = ((told(f"dye{n}"), told(f"depth{n}")) for n in range(1, DYE_ROWS + 1))
    return TypedPart(told("part_name"), told("share"), tuple(rows), steps, told("part_note"))


def _other_parts(typed: TypedRecipe, wanted: str) -> TypedRecipe | None:
    """The recipe with a part more or less, as the button says, or as it is ``as typed``; ``None``
    where it is to be kept."""
    if wanted == "as typed":
        return typed
    if wanted == "add part":
        return typed.with_another() if len(typed.parts) < MOST_PARTS else typed
    if gone := re.fullmatch(r"remove part ([1-9])", wanted):
        return typed.without(int(gone[1]))
    return None


def _stored(conn: sqlite3.Connection, typed: TypedRecipe, read: ReadRecipe) -> str:
    from swatchvault.archive.new_recipe import add_next_version

    assert read.recipe is not None
    number = whole(typed.came_from, "the recipe it came from") if typed.came_from else None
    if number is not None:
        _recipe(conn, number)
    entry = add_next_version(
        conn, read.recipe, new_colourway=bool(typed.new_colourway), came_from=number
    )
    return f"/recipe/{entry.id}"


def _recipe(conn: sqlite3.Connection, number: int) -> dict[str, Any]:
    from swatchvault.archive import pages_yarn as pages

    return pages.one(conn, "recipe", number)


def _begun(
    conn: sqlite3.Connection, recipe: str, colourway: str, onto: str, lot: str
) -> TypedRecipe:
    """What the form begins with: a recipe, whose next version it is to be, or which is to go
    ``onto`` another base; a lot, what went into it; or a colourway."""
    from swatchvault.archive import get_recipe
    from swatchvault.archive import pages_yarn as pages

    if lot:
        return _as_done(conn, whole(lot, "the lot"))
    if recipe:
        row = pages.one(conn, "recipe", whole(recipe, "the recipe"))
        typed = typed_of(get_recipe(conn, row["colourway"], row["base"], row["version"]))
        if typed is None:
            raise RefusedError(
                f"Version {row['version']} of {row['colourway']} on {row['base']} does not fit "
                "into this form: its next version is made on the computer with `swatchvault revise`"
            )
        return replace(typed, came_from=str(row["id"]), base="" if onto else typed.base)
    if colourway:
        return TypedRecipe(pages.one(conn, "colourway", whole(colourway, "the colourway"))["name"])
    return TypedRecipe()


def _filled_in(
    conn: sqlite3.Connection, typed: TypedRecipe, base: str, dyes: tuple[tuple[str, str], ...]
) -> TypedRecipe:
    """What the form begins with, with the base, by its number, and the dyes that the address names
    in their place."""
    from swatchvault.archive import pages_yarn as pages

    first, *more = typed.parts
    if dyes and not more:
        first = replace(first, dyes=dyes)
    name = pages.one(conn, "base", whole(base, "the base"))["name"] if base else typed.base
    return replace(typed, base=name, parts=(first, *more))


def _as_done(conn: sqlite3.Connection, lot_id: int) -> TypedRecipe:
    from swatchvault.archive import get_pot
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.as_done import as_done

    lot = pages.one(conn, "lot", lot_id)
    if _is_open(lot):
        raise RefusedError(f"The pot of lot {lot['code']} has not ended: more may go in yet.")
    pot = get_pot(conn, lot["code"])
    typed = typed_of(as_done(pot))
    if typed is None:
        raise RefusedError(
            f"What went into lot {lot['code']} does not fit into this form: its next version is "
            "made on the computer with `swatchvault revise --as-done`"
        )
    note, came_from = f"as lot {lot['code']} was done", str(lot["recipe_id"])
    return replace(typed, note=note, came_from=came_from, done_in=str(lot_id))


def _is_open(lot: Mapping[str, Any]) -> bool:
    return bool(lot["started_at"] and not lot["ended_at"])


def next_as_done(conn: sqlite3.Connection, lot: Mapping[str, Any]) -> bool:
    """Whether what went into a lot departs from its recipe, and the form can begin with it."""
    from swatchvault.archive import get_pot
    from swatchvault.as_done import as_done, departed

    if _is_open(lot):
        return False
    pot = get_pot(conn, lot["code"])
    try:
        done = as_done(pot)
        assert pot.recipe is not None
        return bool(departed(pot.recipe, done)) and typed_of(done) is not None
    except SwatchvaultError:
        return False


def _done(conn: sqlite3.Connection, done_in: str) -> dict[str, Any] | None:
    """The lot whose dyes the form began with, and where it departs from its recipe; ``None`` where
    there is none."""
    from swatchvault.archive import get_pot
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.as_done import as_done, departed
    from swatchvault.departures import step_departures
    from swatchvault.potclock import cut_short
    from swatchvault.potwork import plan_of

    if not done_in:
        return None
    lot = pages.one(conn, "lot", whole(done_in, "the lot"))
    pot = get_pot(conn, lot["code"])
    done = as_done(pot)
    assert pot.recipe is not None
    marks = departed(pot.recipe, done)
    there = {d.dye for d in done.parts[0].dyes}
    plan = plan_of(conn, pot, {})
    steps = [] if plan is None else step_departures(plan, pot)
    steps += cut_short((d.step for d in pot.steps), pot.ended_at)
    left_out = [f"{dye}: {said}" for dye, said in marks.items() if dye not in there]
    return {**lot, "departed": marks, "lines": [*left_out, *steps]}


async def _shown(
    visit: Visit,
    typed: TypedRecipe,
    problems: tuple[str, ...],
    gives: Mapping[str, Any] | None = None,
) -> Response:
    values = await visit.read(_values, typed)
    values |= {"typed": typed, "problems": problems, "gives": gives}
    return await visit.page("sv_recipe_new.html", values, 400 if problems else 200)


def _values(conn: sqlite3.Connection, typed: TypedRecipe) -> dict[str, Any]:
    from swatchvault.archive.pages_find import choices, colourways_named
    from swatchvault.archive.schema_studio import STEP_KINDS
    from swatchvault.cautions import CAUTION_LINE

    known = choices(conn)
    number = whole(typed.came_from, "the recipe it came from") if typed.came_from else None
    return {
        "origin": None if number is None else _recipe(conn, number),
        "done": _done(conn, typed.done_in),
        "colourways": colourways_named(conn),
        "bases": known.bases,
        "dyes": known.dyes,
        "kinds": STEP_KINDS,
        "most_parts": MOST_PARTS,
        "field_of": field_of,
        "caution_line": CAUTION_LINE,
    }
