"""A lot made at the pot: started, each step stored as it is done, ended.

Each function is one short transaction, so that a half-filled log is kept as far as it got.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from swatchvault.archive.entities import DyeIn, Lot, PotStep, Recipe, StruckStep
from swatchvault.archive.labs import VARIANCES, roots_of
from swatchvault.archive.lot_verdict import check_of
from swatchvault.archive.lots import add_lot, dye_columns, step_columns
from swatchvault.archive.names import find, named_so
from swatchvault.archive.recipes import recipe_by_id, recipe_id_of
from swatchvault.archive.rows import insert, transaction
from swatchvault.archive.speaking import speaks_for
from swatchvault.archive.struck import dyes_by_step, struck_of
from swatchvault.archive.values import clean, named, to_json
from swatchvault.archive.views import GONE_IN
from swatchvault.errors import ArchiveError, NotFound


@dataclass(frozen=True)
class StockHeld:
    """A stock of the archive with what should be left of it."""

    dye: str
    code: str
    strength_percent: float
    left_ml: float | None
    mixed_on: str | None
    left_seen_on: str | None


@dataclass(frozen=True)
class DoneStep:
    """A stored step of a pot: its number in the log, and the planned step it carried out.

    ``amount_g`` or ``amount_ml``: its amount, as worked out when it was told.
    """

    number: int
    step: PotStep
    plan_number: int | None
    amount_g: float | None = None
    amount_ml: float | None = None


@dataclass(frozen=True)
class Pot:
    """A lot's pot: the recipe it follows, what was done in order, what went in, how it ended. A dye
    of which a correction says that none went in is not of ``dyes_in``.

    ``put_in_by``: of each of ``dyes_in`` the number of the step that put it in, ``None`` where that
    is not known. ``struck``: steps that were taken back; nothing else holds or counts them.
    """

    lot: str
    recipe: Recipe | None
    goods_g: float | None
    liquor_ml: float | None
    started_at: str | None
    ended_at: str | None
    steps: tuple[DoneStep, ...]
    dyes_in: tuple[tuple[DyeIn, float | None], ...]
    end: Mapping[str, str | None]
    planned_from: Mapping[str, str | None]
    put_in_by: tuple[int | None, ...]
    struck: tuple[StruckStep, ...] = ()

    def dyes_of(self, number: int) -> tuple[DyeIn, ...]:
        """The dyes that the step of that number put in."""
        both = zip(self.dyes_in, self.put_in_by, strict=True)
        return tuple(dye for (dye, _), by in both if by == number)


@dataclass(frozen=True)
class RecipeColour:
    """The measured colour of a lot that followed a recipe.

    ``u_lab``: standard uncertainties of ``lab``, all parts; ``None`` where unknown.
    """

    lab: tuple[float, float, float]
    swatch: str
    lot: str
    photo_sha256: str
    u_lab: tuple[float, float, float] | None


def stocks_held(conn: sqlite3.Connection, dye: str) -> list[StockHeld]:
    """The stocks of a dye, the newest first."""
    sql = (
        "SELECT dye, stock, strength_percent, left_ml, mixed_on, left_seen_on FROM stocks "
        "WHERE stock_id IN (SELECT id FROM stock WHERE dye_id = ?) "
        "ORDER BY mixed_on DESC, stock_id DESC"
    )
    return [StockHeld(*row) for row in conn.execute(sql, (find(conn, "dye", dye),))]


def start_pot(
    conn: sqlite3.Connection, lot: Lot, started_at: str, planned_from: Mapping[str, str | None]
) -> None:
    """Store a new lot, when it was started, and from which stock each dye is to come.

    ``None`` in ``planned_from`` is powder. Raises ``ArchiveError`` if its code is used."""
    code = named(lot.code, "code of a lot")
    with transaction(conn):
        if named_so(conn, "lot", code):
            raise ArchiveError(
                f"lot {code!r} is there already: go on with `swatchvault pot did`, or use another "
                "code"
            )
        entry = add_lot(conn, lot)
        plan = {"started_at": started_at, "planned_from": to_json(planned_from)}
        insert(conn, "pot", {"lot_id": entry.id, **plan})


def get_pot(conn: sqlite3.Connection, code: str) -> Pot:
    """A lot's plan and log. Raises ``NotFound`` for no such lot."""
    lot_id = find(conn, "lot", code)
    row = conn.execute(
        "SELECT lot.code, recipe_id, dry_g, liquor_ml, dyed_on, pot.* FROM lot "
        "LEFT JOIN pot ON pot.lot_id = lot.id WHERE lot.id = ?",
        (lot_id,),
    ).fetchone()
    order = _plan_ids(conn, row["recipe_id"])
    steps = conn.execute(
        "SELECT id, position, recipe_step_id, kind, at, amount, temperature_c, minutes, ph, "
        "colour_left, note, amount_g, amount_ml FROM pot_step WHERE lot_id = ? ORDER BY position",
        (lot_id,),
    ).fetchall()
    numbers = {step["id"]: step["position"] for step in steps}
    dyes = conn.execute(
        "SELECT used.id, dye.name, amount, dye_pack.code, stock.code, dye_g "
        f"FROM {GONE_IN} AS used JOIN dye ON dye.id = used.dye_id LEFT JOIN dye_pack ON "
        "dye_pack.id = used.dye_pack_id LEFT JOIN stock ON stock.id = stock_id WHERE lot_id = ? "
        "ORDER BY position",
        (lot_id,),
    ).fetchall()
    by = dyes_by_step(conn, lot_id)
    return Pot(
        lot=row["code"],
        recipe=None if row["recipe_id"] is None else recipe_by_id(conn, row["recipe_id"]),
        goods_g=row["dry_g"],
        liquor_ml=row["liquor_ml"],
        started_at=row["started_at"] or row["dyed_on"],
        ended_at=row["ended_at"],
        steps=tuple(
            DoneStep(number, PotStep(*facts[:-2]), _plan_number(order, planned), *facts[-2:])
            for _, number, planned, *facts in map(tuple, steps)
        ),
        dyes_in=tuple((DyeIn(*r[1:5]), r[5]) for r in map(tuple, dyes)),
        end={k: row[k] for k in ("bled", "handle", "success", "next_time")},
        planned_from=json.loads(row["planned_from"] or "{}"),
        put_in_by=tuple(None if by[r[0]] is None else numbers[by[r[0]]] for r in dyes),
        struck=struck_of(conn, lot_id),
    )


def _plan_number(order: Sequence[int], step_id: int | None) -> int | None:
    return None if step_id not in order else order.index(step_id) + 1


def record_step(
    conn: sqlite3.Connection,
    code: str,
    step: PotStep,
    plan_number: int | None = None,
    dyes: Sequence[DyeIn] = (),
) -> int:
    """Add a step to a lot's log with the dyes that went in; return its number in the log.

    ``plan_number`` counts the planned steps of the lot's recipe through all parts, from 1. A step
    from before the pot's start, as goods that were soaked ahead, is where the pot began. Raises
    :class:`NotFound` for a number that the plan has not.
    """
    with transaction(conn):
        lot_id = find(conn, "lot", code)
        planned = None
        if plan_number is not None:
            row = conn.execute("SELECT recipe_id FROM lot WHERE id = ?", (lot_id,)).fetchone()
            order = _plan_ids(conn, row[0])
            if not 1 <= plan_number <= len(order):
                raise NotFound(f"no planned step {plan_number}: the recipe has {len(order)}")
            planned = order[plan_number - 1]
        number = next_place(conn, "pot_step", lot_id)
        columns = {"lot_id": lot_id, "position": number, "recipe_step_id": planned}
        step_id = insert(conn, "pot_step", {**columns, **step_columns(conn, step)})
        for dye in dyes:
            place = {"lot_id": lot_id, "position": next_place(conn, "lot_dye", lot_id)}
            place["pot_step_id"] = step_id
            insert(conn, "lot_dye", {**place, **dye_columns(conn, dye)})
        conn.execute(
            "UPDATE pot SET started_at = :at WHERE lot_id = :lot "
            "AND length(:at) > 10 AND datetime(:at) < datetime(started_at)",
            {"at": step.at, "lot": lot_id},
        )
    return number


def end_pot(conn: sqlite3.Connection, code: str, ended_at: str, told: Mapping[str, Any]) -> None:
    """Store how a pot ended: bled, handle, success, next_time; what is ``None`` stays as it is."""
    with transaction(conn):
        lot_id = find(conn, "lot", code)
        conn.execute(  # json_valid(NULL) is 0 in older SQLite, which would refuse a NULL plan
            "INSERT INTO pot (lot_id, planned_from) VALUES (?, '{}') ON CONFLICT DO NOTHING",
            (lot_id,),
        )
        facts = {"ended_at": ended_at, **{k: clean(v, k) for k, v in told.items()}}
        new = {k: v for k, v in facts.items() if v is not None}
        sets = ", ".join(f"{c} = ?" for c in new)
        conn.execute(f"UPDATE pot SET {sets} WHERE lot_id = ?", (*new.values(), lot_id))


def next_time(conn: sqlite3.Connection, colourway: str, base: str) -> str | None:
    """What the newest lot of a colourway on a base that says so would try next time.

    ``None`` once a version was made after that lot ended: what it would try has been weighed then.
    """
    sql = (
        "SELECT lot.code, next_time, (SELECT max(datetime(added_at)) FROM recipe "
        "WHERE recipe.colourway_id = lot.colourway_id AND recipe.base_id = lot_base.base_id) "
        "> COALESCE(datetime(ended_at), datetime(dyed_on, '+1 day')) "
        "FROM pot JOIN lot ON lot.id = pot.lot_id JOIN lot_base ON lot_base.lot_id = lot.id "
        "WHERE colourway_id = ? AND base_id = ? AND next_time IS NOT NULL "
        "ORDER BY dyed_on DESC, lot.id DESC"
    )
    ids = (find(conn, "colourway", colourway), find(conn, "base", base))
    row = conn.execute(sql, ids).fetchone()
    return None if row is None or row[2] else f"to try, from lot {row[0]}: {row[1]}"


#: Best reference first.
_BY_REFERENCE = (
    "CASE reference WHEN 'chart' THEN 0 WHEN 'steps' THEN 1 WHEN 'card' THEN 2 ELSE 3 END"
)


def recipe_colour(
    conn: sqlite3.Connection, colourway: str, base: str, version: int
) -> RecipeColour | None:
    """The colour measured of lots that followed a recipe on its base, if there is one: a master's
    in force, else that by the best reference (chart, steps, card), of those the newest, each by
    the photo that speaks for it. A lot
    of which a swatch is outside is not what the recipe gives."""
    sql = (
        "SELECT lab_l, lab_a, lab_b, label, code, photo_sha256, variance_l, variance_a, variance_b "
        f"FROM (SELECT m.*, {VARIANCES}, swatch.label, "
        "lot.code, lot.dyed_on, swatch.id IN (SELECT swatch_id FROM current_masters) AS held, "
        f"(SELECT verdict FROM lot_check WHERE id = {check_of('lot.id')}) AS verdict "
        "FROM lot JOIN swatch ON swatch.lot_id = lot.id "
        "JOIN current_measurement AS m "
        f"ON m.id = {speaks_for('swatch.id')} "
        "WHERE lot.recipe_id = ? AND swatch.base_id = ?) "
        "WHERE (held OR verdict IS NOT 'outside') "
        f"ORDER BY held DESC, {_BY_REFERENCE}, dyed_on DESC, id DESC"
    )
    recipe_id = recipe_id_of(conn, colourway, base, version)
    row = conn.execute(sql, (recipe_id, find(conn, "base", base))).fetchone()
    if row is None:
        return None
    lab, (swatch, lot, photo), variances = tuple(row)[:3], tuple(row)[3:6], tuple(row)[6:]
    return RecipeColour(lab, swatch, lot, photo, roots_of(variances))


def _plan_ids(conn: sqlite3.Connection, recipe_id: int | None) -> list[int]:
    sql = (
        "SELECT recipe_step.id FROM recipe_step JOIN recipe_part ON recipe_part.id = "
        "recipe_part_id WHERE recipe_id = ? ORDER BY recipe_part.position, recipe_step.position"
    )
    return [int(r[0]) for r in conn.execute(sql, (recipe_id,))]


def next_place(conn: sqlite3.Connection, table: str, lot_id: int) -> int:
    """The position that the next row of a lot's log, or of what went into it, will have."""
    sql = f"SELECT COALESCE(max(position), 0) + 1 FROM {table} WHERE lot_id = ?"
    return int(conn.execute(sql, (lot_id,)).fetchone()[0])
