"""Recipes and lots with all that they name, taken out of an archive whole.

Photos, swatches, colours and verdicts stay where they are: they are of the yarn at hand.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from swatchvault.amounts import SpoonSizes
from swatchvault.archive.entities import Lot, Notes, Recipe, StruckStep
from swatchvault.archive.lookup import (
    get_base,
    get_base_lot,
    get_colourway,
    get_dye,
    get_dye_pack,
    get_lot,
    get_stock,
)
from swatchvault.archive.names import find
from swatchvault.archive.recipes import (
    get_recipe,
    recipe_id_of,
)
from swatchvault.archive.settings import spoons_of
from swatchvault.archive.struck import struck_of

#: What a pot's own row says.
POT_FACTS = ("started_at", "ended_at", "bled", "handle", "success", "next_time")


@dataclass(frozen=True)
class StepKept:
    """What the archive keeps of a step beside what was typed; ``plan_number`` counts from 1."""

    amount_ml: float | None = None
    amount_g: float | None = None
    plan_number: int | None = None


@dataclass(frozen=True)
class DyeKept:
    """What the archive keeps of a dye that went in beside what was typed; ``with_step``: the number
    of the step that put it in, where that was noted."""

    amount_ml: float | None = None
    amount_g: float | None = None
    dye_g: float | None = None
    with_step: int | None = None


@dataclass(frozen=True)
class LotKept:
    """What the archive keeps of a lot beside its notes; ``pot`` is ``None`` if it has no log."""

    lot: str
    pot: Mapping[str, str | None] | None = None
    planned_from: Mapping[str, str | None] | None = None
    steps: tuple[StepKept, ...] = ()
    dyes: tuple[DyeKept, ...] = ()
    struck: tuple[StruckStep, ...] = ()


@dataclass(frozen=True)
class Making:
    """Recipes, each with when it was added, and lots, each with what is kept beside its notes.

    ``spoons``: the sizes in which their amounts are read.
    """

    notes: Notes = field(default_factory=Notes)
    added_at: tuple[str, ...] = ()
    kept: tuple[LotKept, ...] = ()
    spoons: SpoonSizes = field(default_factory=SpoonSizes)


def gather_making(conn: sqlite3.Connection, colourways: Iterable[str] = ()) -> Making:
    """Everything of these colourways, or of the whole archive if none is named.

    What they name comes along: bases, dyes, packs, stocks, parents of recipes, and the lots that
    were overdyed. Raises ``NotFound`` for a colourway that the archive does not have.
    """
    named = [get_colourway(conn, c).name for c in colourways]
    lots = _lots(conn, named)
    recipes = _recipes(conn, named, lots)
    notes = Notes(recipes=recipes, lots=lots)
    notes = _what_they_name(conn, notes, named) if named else _whole_cupboard(conn, notes)
    added = tuple(_added_at(conn, r) for r in recipes)
    return Making(notes, added, tuple(_kept(conn, lot) for lot in lots), spoons_of(conn))


def _lots(conn: sqlite3.Connection, colourways: list[str]) -> tuple[Lot, ...]:
    sql = "SELECT code FROM lot ORDER BY id"
    if not colourways:
        return tuple(get_lot(conn, r[0]) for r in conn.execute(sql).fetchall())
    sql = (
        "SELECT lot.code FROM lot JOIN colourway ON colourway.id = colourway_id "
        "WHERE colourway.name IN (SELECT value FROM json_each(?)) ORDER BY lot.id"
    )
    waiting = [r[0] for r in conn.execute(sql, (json.dumps(colourways),))]
    found: dict[str, Lot] = {}
    while waiting:
        lot = get_lot(conn, waiting.pop(0))
        if lot.code not in found:
            found[lot.code] = lot
            earlier = [lot.overdyes, *(s.from_lot for s in lot.skeins)]
            waiting += [code for code in earlier if code is not None]
    return tuple(found.values())


def _recipes(
    conn: sqlite3.Connection, colourways: list[str], lots: tuple[Lot, ...]
) -> tuple[Recipe, ...]:
    sql = (
        "SELECT colourway.name, base.name, version FROM recipe JOIN colourway ON colourway.id = "
        "colourway_id JOIN base ON base.id = recipe.base_id "
        "ORDER BY colourway.id, base.id, version"
    )
    rows = [tuple(r) for r in conn.execute(sql)]
    if colourways:
        wanted = {r for r in rows if r[0] in colourways}
        for lot in lots:
            colourway, base, version = lot.colourway, lot.bases[0], lot.recipe_version
            while colourway is not None and version is not None:
                wanted.add((colourway, base, version))
                recipe = get_recipe(conn, colourway, base, version)
                base, version = recipe.parent_base or base, recipe.parent
        rows = [r for r in rows if r in wanted]
    return tuple(get_recipe(conn, *r) for r in rows)


def _what_they_name(conn: sqlite3.Connection, notes: Notes, colourways: list[str]) -> Notes:
    recipes, lots = notes.recipes, notes.lots
    bases = _each(r.base for r in recipes) | _each(b for lot in lots for b in lot.bases)
    dyes = _each(d.dye for r in recipes for p in r.parts for d in p.dyes)
    dyes |= _each(d.dye for lot in lots for d in lot.dyes_in)
    names = _each(colourways) | _each(r.colourway for r in recipes)
    names |= _each(lot.colourway for lot in lots if lot.colourway is not None)
    return replace(
        notes,
        bases=tuple(get_base(conn, b) for b in bases),
        base_lots=tuple(
            get_base_lot(conn, *r)
            for r in _owned(conn, "base_lot", "base", "label")
            if r[0] in bases
        ),
        dyes=tuple(get_dye(conn, d) for d in dyes),
        packs=tuple(
            get_dye_pack(conn, *r) for r in _owned(conn, "dye_pack", "dye", "code") if r[0] in dyes
        ),
        stocks=tuple(
            get_stock(conn, *r) for r in _owned(conn, "stock", "dye", "code") if r[0] in dyes
        ),
        colourways=tuple(get_colourway(conn, c) for c in names),
    )


def _whole_cupboard(conn: sqlite3.Connection, notes: Notes) -> Notes:
    return replace(
        notes,
        bases=tuple(get_base(conn, b) for b in _names(conn, "base")),
        base_lots=tuple(get_base_lot(conn, *r) for r in _owned(conn, "base_lot", "base", "label")),
        dyes=tuple(get_dye(conn, d) for d in _names(conn, "dye")),
        packs=tuple(get_dye_pack(conn, *r) for r in _owned(conn, "dye_pack", "dye", "code")),
        stocks=tuple(get_stock(conn, *r) for r in _owned(conn, "stock", "dye", "code")),
        colourways=tuple(get_colourway(conn, c) for c in _names(conn, "colourway")),
    )


def _each(names: Iterable[str]) -> dict[str, None]:
    """Names once each, in their order."""
    return dict.fromkeys(names)


def _names(conn: sqlite3.Connection, table: str) -> list[str]:
    return [r[0] for r in conn.execute(f"SELECT name FROM {table} ORDER BY id")]


def _owned(conn: sqlite3.Connection, table: str, owner: str, label: str) -> list[tuple[str, str]]:
    sql = (
        f"SELECT {owner}.name, {table}.{label} FROM {table} JOIN {owner} "
        f"ON {owner}.id = {table}.{owner}_id ORDER BY {table}.id"
    )
    return [(r[0], r[1]) for r in conn.execute(sql)]


def _added_at(conn: sqlite3.Connection, recipe: Recipe) -> str:
    recipe_id = recipe_id_of(conn, recipe.colourway, recipe.base, recipe.version)
    sql = "SELECT added_at FROM recipe WHERE id = ?"
    return str(conn.execute(sql, (recipe_id,)).fetchone()[0])


def _kept(conn: sqlite3.Connection, lot: Lot) -> LotKept:
    lot_id = find(conn, "lot", lot.code)
    sql = f"SELECT {', '.join(POT_FACTS)}, planned_from FROM pot WHERE lot_id = ?"
    row = conn.execute(sql, (lot_id,)).fetchone()
    plan = {step_id: number for number, step_id in enumerate(plan_ids(conn, lot_id), 1)}
    steps = conn.execute(
        "SELECT amount_ml, amount_g, recipe_step_id FROM pot_step WHERE lot_id = ? "
        "ORDER BY position",
        (lot_id,),
    )
    dyes = conn.execute(
        "SELECT amount_ml, amount_g, dye_g, (SELECT position FROM pot_step "
        "WHERE pot_step.id = pot_step_id) FROM lot_dye WHERE lot_id = ? ORDER BY position",
        (lot_id,),
    )
    return LotKept(
        lot=lot.code,
        pot=None if row is None else {k: row[k] for k in POT_FACTS},
        planned_from=None if row is None else json.loads(row["planned_from"] or "{}"),
        steps=tuple(StepKept(r[0], r[1], plan.get(r[2])) for r in steps),
        dyes=tuple(DyeKept(*r) for r in dyes),
        struck=struck_of(conn, lot_id),
    )


def plan_ids(conn: sqlite3.Connection, lot_id: int) -> list[int]:
    """Ids of the planned steps of a lot's recipe through all parts, in order."""
    sql = (
        "SELECT step.id FROM lot JOIN recipe_part AS part ON part.recipe_id = lot.recipe_id "
        "JOIN recipe_step AS step ON step.recipe_part_id = part.id WHERE lot.id = ? "
        "ORDER BY part.position, step.position"
    )
    return [int(r[0]) for r in conn.execute(sql, (lot_id,))]
