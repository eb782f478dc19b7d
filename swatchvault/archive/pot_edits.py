"""A pot's log put right: its start, a step of it, and the dye that a step put in."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from swatchvault.amounts import with_unit
from swatchvault.archive.clock import earlier, local_time
from swatchvault.archive.entities import DyeIn, PotStep
from swatchvault.archive.lots import (
    dye_amount_columns,
    dye_columns,
    dye_in_grams,
    step_columns,
)
from swatchvault.archive.names import find, find_of
from swatchvault.archive.pots import next_place
from swatchvault.archive.rows import transaction
from swatchvault.archive.struck import dye_in_by_id
from swatchvault.errors import ArchiveError, NotFound
from swatchvault.planned_amounts import same_thing

#: A nought as it may be typed.
_NOUGHT = re.compile(r"0+(?:[.,]0*)?")
#: Of a dye that a step put in it is that, else what last went in of it.
_WHICH = (
    "SELECT lot_dye.id, stock_id, dye_pack_id, lot_dye.amount_g, lot_dye.amount_ml "
    "FROM lot_dye LEFT JOIN pot_step AS step ON step.id = pot_step_id "
    "WHERE lot_dye.lot_id = :lot AND dye_id = :dye "
    "ORDER BY step.position IS NOT NULL AND step.position = :number DESC, lot_dye.position DESC"
)


def edit_start(conn: sqlite3.Connection, code: str, started_at: str) -> tuple[str, str]:
    """Correct when a pot was started; its lot's day follows where it was the day of the start.

    Returns what it was and what it is. Raises ``ArchiveError`` for a lot that was written down
    afterwards, and for a start after a step of the log or after the end.
    """
    with transaction(conn):
        told = {"lot": find(conn, "lot", code), "at": started_at}
        sql = (
            f"SELECT started_at, substr({local_time('started_at')}, 1, 10) AS day, "
            f"substr({local_time(':at')}, 1, 10) AS new_day, ended_at, "
            f"{earlier('ended_at', ':at')} AS over FROM pot WHERE lot_id = :lot"
        )
        pot = conn.execute(sql, told).fetchone()
        if pot is None or pot["started_at"] is None:
            raise ArchiveError(
                f"lot {code!r} was written down afterwards and has no start: `swatchvault mend "
                "lot` puts its day right"
            )
        sql = (
            f"SELECT position, {local_time('at')} FROM pot_step WHERE lot_id = :lot AND "
            f"{earlier('at', ':at')} ORDER BY {local_time('at')} LIMIT 1"
        )
        for number, at in conn.execute(sql, told):
            raise ArchiveError(
                f"step {number} was at {at[:16]}, before that: correct the step first, if it is "
                "what is wrong"
            )
        if pot["over"]:
            raise ArchiveError("the pot ended before that: take its end back first, if it is wrong")
        conn.execute("UPDATE pot SET started_at = :at WHERE lot_id = :lot", told)
        days = {"lot": told["lot"], "day": pot["day"], "new": pot["new_day"]}
        conn.execute("UPDATE lot SET dyed_on = :new WHERE id = :lot AND dyed_on = :day", days)
    return pot["started_at"], started_at


def edit_step(conn: sqlite3.Connection, code: str, number: int, changes: Mapping[str, Any]) -> None:
    """Correct a step of the log; only what ``changes`` names (fields of ``PotStep``) is replaced:
    another amount alone is of what the one before was of.

    What turns out to be of another kind did not carry out the planned step: that is open again.
    Raises ``NotFound`` for a step that the log does not have.
    """
    with transaction(conn):
        lot_id = find(conn, "lot", code)
        sql = (
            "SELECT kind, at, amount, temperature_c, minutes, ph, colour_left, note "
            "FROM pot_step WHERE lot_id = ? AND position = ?"
        )
        row = conn.execute(sql, (lot_id, number)).fetchone()
        if row is None:
            raise NotFound(
                f"lot {code!r} has no step {number}: its log has "
                f"{next_place(conn, 'pot_step', lot_id) - 1}"
            )
        new = {**dict(row), **changes}
        if new["kind"] == row["kind"] and new["amount"] and row["amount"]:
            new["amount"] = same_thing(new["amount"], row["amount"])
        columns = step_columns(conn, PotStep(**new))
        if "amount" not in changes:  # its mL stay as worked out when it was typed
            columns = {k: v for k, v in columns.items() if not k.startswith("amount")}
        if changes.get("kind", row["kind"]) != row["kind"]:
            columns = {**columns, "recipe_step_id": None}
        sets = ", ".join(f"{c} = ?" for c in columns)
        sql = f"UPDATE pot_step SET {sets} WHERE lot_id = ? AND position = ?"
        conn.execute(sql, (*columns.values(), lot_id, number))


def edit_dye_in(
    conn: sqlite3.Connection,
    code: str,
    dye: str,
    amount: str | None = None,
    *,
    number: int | None = None,
    source: Mapping[str, str | None] = MappingProxyType({}),
    pack: Mapping[str, str | None] = MappingProxyType({}),
) -> tuple[DyeIn, DyeIn]:
    """Correct the amount of a dye, or what it came from: what step ``number`` of the log put in of
    it, or what last went in where that put in none.

    ``source``: of each dye that it names a stock's code, or ``None`` for powder; of any other the
    stock or pack stays. ``pack``: of each dye that it names the pack of its powder, or ``None``.
    Returns what it was and what it is. Raises ``NotFound`` where none of the dye went in.
    """
    with transaction(conn):
        dye_id, row = find(conn, "dye", dye), _that_went_in(conn, code, dye, number)
        was = dye_in_by_id(conn, row["id"])
        columns = {k: row[k] for k in ("stock_id", "dye_pack_id", "amount_g", "amount_ml")}
        for stock in (s for d, s in source.items() if d.casefold() == dye.casefold()):
            columns["stock_id"] = None if stock is None else find_of(conn, "stock", dye_id, stock)
            if stock is not None:  # which tells its own pack
                columns["dye_pack_id"] = None
        for of_pack in (p for d, p in pack.items() if d.casefold() == dye.casefold()):
            found = None if of_pack is None else find_of(conn, "dye_pack", dye_id, of_pack)
            columns |= {"stock_id": None, "dye_pack_id": found}
        if amount is not None:
            if _NOUGHT.fullmatch(amount.strip()):  # nothing is nothing, in any unit
                amount = "0 g" if columns["stock_id"] is None else "0 mL"
            elif columns["stock_id"] is not None:
                amount = with_unit(amount, "mL")
            columns |= dye_amount_columns(conn, amount)
        columns["dye_g"] = dye_in_grams(conn, columns)
        sets = ", ".join(f"{c} = ?" for c in columns)
        conn.execute(f"UPDATE lot_dye SET {sets} WHERE id = ?", (*columns.values(), row["id"]))
        return was, dye_in_by_id(conn, row["id"])


def dye_put_in(conn: sqlite3.Connection, code: str, dye: str, number: int | None) -> DyeIn:
    """What `edit_dye_in` and `another_dye` correct of a dye. Raises ``NotFound`` as they do."""
    return dye_in_by_id(conn, _that_went_in(conn, code, dye, number)["id"])


def another_dye(
    conn: sqlite3.Connection, code: str, dye: str, other: DyeIn, *, number: int | None = None
) -> tuple[DyeIn, DyeIn]:
    """Correct which dye went in: where `edit_dye_in` would correct ``dye``, ``other`` stands in its
    place. Returns what it was and what it is.

    Raises ``NotFound`` where none of ``dye`` went in, ``ArchiveError`` where the same step put in
    the other one too: its amount is what is to be corrected then.
    """
    with transaction(conn):
        row = _that_went_in(conn, code, dye, number)
        was, columns = dye_in_by_id(conn, row["id"]), dye_columns(conn, other)
        sql = (
            "SELECT 1 FROM lot_dye AS one JOIN lot_dye AS more ON more.lot_id = one.lot_id "
            "AND more.pot_step_id IS one.pot_step_id AND more.id <> one.id "
            "WHERE one.id = ? AND more.dye_id = ?"
        )
        if conn.execute(sql, (row["id"], columns["dye_id"])).fetchone():
            raise ArchiveError(
                f"{other.dye} went in with the same step already: correct how much of it that was, "
                f"and that of {was.dye} to 0"
            )
        sets = ", ".join(f"{c} = ?" for c in columns)
        conn.execute(f"UPDATE lot_dye SET {sets} WHERE id = ?", (*columns.values(), row["id"]))
        return was, dye_in_by_id(conn, row["id"])


def _that_went_in(conn: sqlite3.Connection, code: str, dye: str, number: int | None) -> sqlite3.Row:
    lot_id, dye_id = find(conn, "lot", code), find(conn, "dye", dye)
    found = conn.execute(_WHICH, {"lot": lot_id, "dye": dye_id, "number": number}).fetchone()
    if found is None:
        raise NotFound(
            f'no {dye!r} went into lot {code!r}: record it as a step "dye in"; where another dye '
            f'was told in its place, correct which it was, with --instead "OTHER={dye}"'
        )
    row: sqlite3.Row = found
    return row


def dyes_of_step(conn: sqlite3.Connection, code: str, number: int) -> list[DyeIn]:
    """Of each dye that went into a lot what `edit_dye_in` corrects with this step: all that the
    step put in, where that is noted with it, else what last went in of each."""
    lot_id = find(conn, "lot", code)
    sql = (
        "SELECT lot_dye.id, step.position IS :number FROM lot_dye "
        "LEFT JOIN pot_step AS step ON step.id = pot_step_id WHERE lot_dye.lot_id = :lot "
        "ORDER BY lot_dye.position"
    )
    rows = [tuple(r) for r in conn.execute(sql, {"lot": lot_id, "number": number})]
    mine = [row_id for row_id, its in rows if its] or [row_id for row_id, _ in rows]
    dyes = [dye_in_by_id(conn, row_id) for row_id in mine]
    return list({dye.dye: dye for dye in dyes}.values())
