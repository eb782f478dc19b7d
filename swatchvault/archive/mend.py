"""A fact that was typed wrong, mended in place: what told one thing from another, or a lot's own.

Notes never change such a fact by being read again, since two things could be meant; here a person
says that it is one. What was worked out from it is worked out anew.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from swatchvault.archive.lots import dye_in_grams
from swatchvault.archive.mend_base import base_facts, fibre_words, read_fibres, set_fibres
from swatchvault.archive.names import NAMED_BY, find, find_of, kind_words
from swatchvault.archive.rename import name_of
from swatchvault.archive.rows import MENDABLE, transaction
from swatchvault.archive.standing import no_longer
from swatchvault.archive.yarn_of import (
    hanging,
    move_to_base,
    put_into_lot,
    refuse_held_to,
    refuse_other_recipe,
    same_yarn,
)
from swatchvault.errors import AmountError, ArchiveError

#: What can be mended here, by table; a set-up, with its photos, by `mend_setup`.
FIELDS = {table: fields for table, fields in MENDABLE.items() if table != "setup"}
#: Fields that name another row, each of the table of its name.
_NAMES = ("base", "colourway", "lot")
#: What a stock says of the pack that it was mixed from.
_PACK_CODE = "(SELECT code FROM dye_pack WHERE id = dye_pack_id) AS pack"

Fact = float | str | None


class NotSureError(ArchiveError):
    """Said before a change that masters or verdicts hang on: it has to be said once more."""


@dataclass(frozen=True)
class Mended:
    """What was mended. ``changes``: field, what it was, what it is. ``amounts``: how many amounts
    of dye were worked out anew, in ``lots`` lots. ``also``: what went along, a sentence each."""

    kind: str
    name: str
    changes: tuple[tuple[str, Fact, Fact], ...]
    amounts: int = 0
    lots: int = 0
    also: tuple[str, ...] = ()

    @property
    def lines(self) -> list[str]:
        """What was done and what to see to, for whoever did it."""
        if not self.changes:
            return [f"{self.kind} {self.name!r} says so already: nothing changed"]
        said = [
            f"{self.kind} {self.name!r}: {field} {_fact(new)}, was {_fact(old)}"
            for field, old, new in self.changes
        ]
        said += self.also
        if self.amounts:
            said.append(f"dye in {self.lots} lots ({self.amounts} amounts) was worked out anew")
        said.append("write it in studio.toml or photos.csv too: notes that say otherwise clash")
        return said


def _fact(value: Fact) -> str:
    return "not known" if value is None else f"{value:g}" if isinstance(value, float) else value


def facts_of(conn: sqlite3.Connection, table: str, row_id: int) -> dict[str, Fact]:
    """What of a row can be put right, as it is. Raises ``NotFound`` where it is not."""
    name_of(conn, table, row_id)
    if table == "base":
        return base_facts(conn, row_id)
    columns = (
        f"(SELECT {NAMED_BY[f]} FROM {f} WHERE id = {f}_id) AS {f}" if f in _NAMES else f
        for f in FIELDS[table]
    )
    columns = (_PACK_CODE if column == "pack" else column for column in columns)
    sql = f"SELECT {', '.join(columns)} FROM {table} WHERE id = ?"
    return dict(conn.execute(sql, (row_id,)).fetchone())


def mend(
    conn: sqlite3.Connection,
    table: str,
    row_id: int,
    facts: Mapping[str, Fact],
    *,
    sure: bool = False,
) -> Mended:
    """Put facts of a row right; ``facts``: of :data:`FIELDS`, those that are ``None`` stay.

    Raises ``NotSureError`` with what would change where masters or verdicts hang on a swatch's
    base or a lot's colourway and nobody is ``sure``. Raises ``ArchiveError`` for a form of a
    swatch that is or was a master or was checked: what was said of it holds for that form; and
    where a base or colourway contradicts what else the archive holds, or a swatch has a lot.
    """
    told = {field: facts[field] for field in FIELDS[table] if facts.get(field) is not None}
    with transaction(conn):
        name = name_of(conn, table, row_id)
        known = facts_of(conn, table, row_id)
        for field in (f for f in _NAMES if f in told):
            told[field] = name_of(conn, field, find(conn, field, str(told[field])))
        if "pack" in told:
            pack_id, told["pack"] = _pack_of(conn, row_id, str(told["pack"]))
        if "fibres" in told:
            told["fibres"] = fibre_words(read_fibres(str(told["fibres"])))
        new = {field: value for field, value in told.items() if value != known[field]}
        if "form" in new:
            _refuse_judged(conn, row_id, name)
        yarn = _yarn_of(conn, table, row_id) if new.keys() & set(_NAMES) else []
        fell = _no_longer(conn, yarn)
        also, more_bases = _is_of(conn, row_id, new)
        also += [said for said in _no_longer(conn, yarn) if said not in fell]
        columns = {field: value for field, value in new.items() if field not in _NAMES}
        if "pack" in columns:
            columns = {**columns, "dye_pack_id": pack_id}
            del columns["pack"]
        if table == "base":
            columns = set_fibres(conn, row_id, columns)
        if columns:
            sets = ", ".join(f"{field} = ?" for field in columns)
            conn.execute(f"UPDATE {table} SET {sets} WHERE id = ?", (*columns.values(), row_id))
        stronger = new.keys() & {"grams", "made_up_to_ml"}
        if table == "stock" and stronger:
            _refuse_no_stock(name, *({**known, **new}[f] for f in ("grams", "made_up_to_ml")))
        again = _work_out(conn, row_id) if stronger else (0, 0)
        changes = tuple((field, known[field], value) for field, value in new.items())
        done = Mended(kind_words(table), name, changes, *again, tuple(also))
        if not sure:
            _ask(conn, table, row_id, done, more_bases)
    return done


def _refuse_no_stock(code: str, grams: Any, made_up_to_ml: Any) -> None:
    """Raise ``ArchiveError`` for a strength that no solution has, as by a slip of the point."""
    from swatchvault.dyeing import stock_strength_percent

    if not (float(grams) > 0 and float(made_up_to_ml) > 0):
        return  # the table refuses it
    try:
        stock_strength_percent(float(grams), float(made_up_to_ml))
    except AmountError as error:
        raise ArchiveError(f"stock {code!r}: {error}") from error


def _pack_of(conn: sqlite3.Connection, stock_id: int, pack: str) -> tuple[int, str]:
    """The pack of that name of a stock's dye, its id and its name as it is kept.

    Raises ``ArchiveError`` where a lot says of what it took from the stock that it was of another.
    """
    (dye_id,) = conn.execute("SELECT dye_id FROM stock WHERE id = ?", (stock_id,)).fetchone()
    pack_id = find_of(conn, "dye_pack", dye_id, pack)
    sql = "SELECT code FROM dye_pack WHERE id = ?"
    (code,) = conn.execute(sql, (pack_id,)).fetchone()
    sql = (
        "SELECT lot.code FROM lot_dye JOIN lot ON lot.id = lot_id "
        "WHERE stock_id = ? AND dye_pack_id <> ?"
    )
    other = conn.execute(sql, (stock_id, pack_id)).fetchone()
    if other is not None:
        raise ArchiveError(
            f"lot {other[0]!r} says that what it took from this stock was of another pack than "
            f"{code!r}: correct the one that is wrong"
        )
    return pack_id, str(code)


def _is_of(
    conn: sqlite3.Connection, row_id: int, new: Mapping[str, Fact]
) -> tuple[list[str], bool]:
    """Put right what a swatch or lot is of; what went along, and if a lot has one base more."""
    also: list[str] = []
    more = False
    if "base" in new:
        also, more = move_to_base(conn, row_id, find(conn, "base", str(new["base"])))
    if "lot" in new:
        said, one_more = put_into_lot(conn, row_id, find(conn, "lot", str(new["lot"])))
        also, more = [*also, *said], more or one_more
    if "colourway" in new:
        colourway_id = find(conn, "colourway", str(new["colourway"]))
        refuse_other_recipe(conn, row_id, colourway_id)
        refuse_held_to(conn, _swatches_of(conn, row_id))
        sql = "UPDATE lot SET colourway_id = ? WHERE id = ?"
        conn.execute(sql, (colourway_id, row_id))
    return also, more


def _yarn_of(conn: sqlite3.Connection, table: str, row_id: int) -> list[int]:
    """The swatches that go along where a swatch or a lot is of something else."""
    return same_yarn(conn, row_id)[1] if table == "swatch" else _swatches_of(conn, row_id)


def _no_longer(conn: sqlite3.Connection, swatches: Sequence[int]) -> list[str]:
    marks = ", ".join("?" for _ in swatches)
    return no_longer(conn, f"held.swatch_id IN ({marks})", swatches)


def _swatches_of(conn: sqlite3.Connection, lot_id: int) -> list[int]:
    sql = "SELECT id FROM swatch WHERE lot_id = ?"
    return [int(row[0]) for row in conn.execute(sql, (lot_id,))]


def _ask(conn: sqlite3.Connection, table: str, row_id: int, done: Mended, more_bases: bool) -> None:
    """Say what a change would do where something hangs on it; raising undoes it."""
    if not any(field in _NAMES for field, _, _ in done.changes):
        return
    swatches = _yarn_of(conn, table, row_id)
    hangs = hanging(conn, swatches) if swatches else []
    why = [f"{', and '.join(hangs)}, which keeps its words"] if hangs else []
    why += ["its lot would be on one base more"] if more_bases else []
    if why:
        would = "; ".join(done.lines[: len(done.changes) + len(done.also)])
        raise NotSureError(
            f"not changed yet: {'; '.join(why)}. It would be: {would}. Confirm it (--yes) if that "
            "is meant"
        )


def _refuse_judged(conn: sqlite3.Connection, swatch_id: int, name: str) -> None:
    sql = (
        "SELECT EXISTS (SELECT 1 FROM master WHERE swatch_id = :id) OR EXISTS "
        "(SELECT 1 FROM lot_check WHERE swatch_id = :id OR master_swatch_id = :id)"
    )
    if conn.execute(sql, {"id": swatch_id}).fetchone()[0]:
        raise ArchiveError(
            f"swatch {name!r} is a master or was held to one in that form: file its photo for a "
            "swatch of another name, in the right form"
        )


def _work_out(conn: sqlite3.Connection, stock_id: int) -> tuple[int, int]:
    """Dye that went in from a stock, by its strength as it is now: how many amounts, of lots."""
    sql = "SELECT id, lot_id, stock_id, amount_g, amount_ml FROM lot_dye WHERE stock_id = ?"
    rows = conn.execute(sql, (stock_id,)).fetchall()
    for row in rows:
        grams = dye_in_grams(conn, dict(row))
        conn.execute("UPDATE lot_dye SET dye_g = ? WHERE id = ?", (grams, row["id"]))
    return len(rows), len({row["lot_id"] for row in rows})
