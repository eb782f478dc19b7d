"""Recipes and lots with all that they name, put into an archive, all or nothing."""

from __future__ import annotations

import sqlite3
from dataclasses import asdict, dataclass, replace
from typing import Any

from swatchvault.archive.apply import apply_notes
from swatchvault.archive.entities import Lot, Recipe
from swatchvault.archive.exchange import LotKept, Making, plan_ids
from swatchvault.archive.lots import add_lot
from swatchvault.archive.names import id_named
from swatchvault.archive.planned import kept_amount, set_spoons
from swatchvault.archive.recipes import recipe_id_of
from swatchvault.archive.rows import put, transaction
from swatchvault.archive.settings import spoons_of
from swatchvault.archive.struck import keep_struck, refuse_end, refuse_struck, refuse_unstruck
from swatchvault.archive.values import clean, to_json
from swatchvault.errors import ArchiveError


@dataclass(frozen=True)
class Received:
    """How many things a file added, changed or found there already."""

    added: int
    changed: int
    same: int


def receive_making(conn: sqlite3.Connection, making: Making) -> Received:
    """Put everything into the archive, all or nothing; the same again changes nothing.

    Raises ``ArchiveError`` where the archive holds something of that name with other facts.
    """
    notes = making.notes
    known = {lot.code: _rows_of(conn, lot.code) for lot in notes.lots}
    with transaction(conn):
        _take_spoons(conn, making)
        had = [_has(conn, r) for r in notes.recipes]
        first = apply_notes(conn, replace(notes, lots=()), as_kept=True)
        for recipe, at, old in zip(notes.recipes, making.added_at, had, strict=True):
            if not old:
                recipe_id = recipe_id_of(conn, recipe.colourway, recipe.base, recipe.version)
                conn.execute("UPDATE recipe SET added_at = ? WHERE id = ?", (at, recipe_id))
        for lot, kept in zip(notes.lots, making.kept, strict=True):
            refuse_struck(conn, lot.code, lot.steps, kept.struck)
            refuse_unstruck(conn, lot.code, lot.steps, kept.struck)
            refuse_end(conn, lot.code, (kept.pot or {}).get("ended_at"), kept.struck)
        # Lots come twice, first without what they name of each other, so that any order does.
        changes = [{add_lot(conn, _alone(lot)).change} for lot in notes.lots]
        for lot, kept, seen in zip(notes.lots, making.kept, changes, strict=True):
            entry = add_lot(conn, lot)
            more = _keep(conn, entry.id, kept, known[lot.code])
            seen |= {entry.change, "changed" if more else "same"}
    lots = ["added" if "added" in c else "changed" if "changed" in c else "same" for c in changes]
    return Received(
        first.added + lots.count("added"),
        first.changed + lots.count("changed"),
        first.same + lots.count("same"),
    )


def _take_spoons(conn: sqlite3.Connection, making: Making) -> None:
    """Set the file's spoons in an archive with no recipes or lots; elsewhere they must agree.

    Only planned amounts depend on them: what was done comes with its millilitres.
    """
    here = spoons_of(conn)
    if making.spoons == here:
        return
    if not conn.execute("SELECT 1 FROM recipe UNION ALL SELECT 1 FROM lot").fetchone():
        set_spoons(conn, making.spoons)
        return
    steps = (s for r in making.notes.recipes for p in r.parts for s in p.steps)
    for step in steps:
        if kept_amount(step.amount, making.spoons) != kept_amount(step.amount, here):
            told = ", ".join(f"{k} {v:g}" for k, v in asdict(making.spoons).items())
            raise ArchiveError(
                f"{step.amount!r} is another amount here, for the file has {told}: set the same "
                "with `swatchvault spoons`, or import into a new archive"
            )


def _has(conn: sqlite3.Connection, recipe: Recipe) -> bool:
    colourway = id_named(conn, "colourway", clean(recipe.colourway, "colourway") or "")
    base = id_named(conn, "base", clean(recipe.base, "base") or "")
    sql = "SELECT 1 FROM recipe WHERE colourway_id = ? AND base_id = ? AND version = ?"
    return conn.execute(sql, (colourway, base, recipe.version)).fetchone() is not None


def _alone(lot: Lot) -> Lot:
    skeins = tuple(replace(s, from_lot=None, from_skein=None) for s in lot.skeins)
    return replace(lot, overdyes=None, skeins=skeins)


def _rows_of(conn: sqlite3.Connection, code: str) -> tuple[int, int] | None:
    """How many dyes and steps a lot has already; ``None`` of a lot that is not there."""
    sql = (
        "SELECT (SELECT count(*) FROM lot_dye WHERE lot_id = lot.id), "
        "(SELECT count(*) FROM pot_step WHERE lot_id = lot.id) FROM lot WHERE id = ?"
    )
    lot_id = id_named(conn, "lot", clean(code, "code of a lot") or "")
    row = conn.execute(sql, (lot_id,)).fetchone()
    return None if row is None else (int(row[0]), int(row[1]))


def _keep(
    conn: sqlite3.Connection, lot_id: int, kept: LotKept, known: tuple[int, int] | None
) -> bool:
    """Store what is kept beside a lot's notes; rows that were there already stay as they are."""
    dyes_before, steps_before = known or (0, 0)
    for position, dye in enumerate(kept.dyes[dyes_before:], dyes_before + 1):
        sql = (
            "UPDATE lot_dye SET amount_ml = ?, amount_g = ?, dye_g = ?, pot_step_id = "
            "(SELECT id FROM pot_step AS step WHERE step.lot_id = lot_dye.lot_id "
            "AND step.position = ?) WHERE lot_id = ? AND position = ?"
        )
        told = (dye.amount_ml, dye.amount_g, dye.dye_g, dye.with_step)
        conn.execute(sql, (*told, lot_id, position))
    plan = plan_ids(conn, lot_id)
    for position, step in enumerate(kept.steps[steps_before:], steps_before + 1):
        sql = (
            "UPDATE pot_step SET amount_ml = ?, amount_g = ?, recipe_step_id = ? "
            "WHERE lot_id = ? AND position = ?"
        )
        planned = _planned(plan, step.plan_number, kept.lot)
        conn.execute(sql, (step.amount_ml, step.amount_g, planned, lot_id, position))
    changed = sum(keep_struck(conn, lot_id, struck) for struck in kept.struck) > 0
    if kept.pot is None:
        return changed
    facts: dict[str, Any] = {k: clean(v, k) for k, v in kept.pot.items()}
    if kept.planned_from:
        facts["planned_from"] = to_json(kept.planned_from)
    entry = put(conn, "pot", {"lot_id": lot_id}, facts, ("started_at",))
    return changed or entry.change != "same"


def _planned(plan: list[int], number: int | None, lot: str) -> int | None:
    if number is None:
        return None
    if not 1 <= number <= len(plan):
        raise ArchiveError(
            f"lot {lot!r} names planned step {number}: the recipe that it follows has {len(plan)}"
        )
    return plan[number - 1]
