"""A fact that was typed wrong, mended in place: what told one thing from another, or a lot's own.

Notes never change such a fact by being read again, since two things could be meant; here a person
says that it is one. What was worked out from it is worked out anew.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass

from swatchvault.archive.lots import dye_in_grams
from swatchvault.archive.rename import name_of
from swatchvault.archive.rows import kind_words, transaction
from swatchvault.errors import ArchiveError

#: What can be mended, by table.
FIELDS: Mapping[str, tuple[str, ...]] = {
    "stock": ("grams", "made_up_to_ml", "mixed_on"),
    "swatch": ("form",),
    "lot": ("dyed_on", "dry_g"),
}

Fact = float | str | None


@dataclass(frozen=True)
class Mended:
    """What was mended. ``changes``: field, what it was, what it is. ``amounts``: how many amounts
    of dye were worked out anew, in ``lots`` lots."""

    kind: str
    name: str
    changes: tuple[tuple[str, Fact, Fact], ...]
    amounts: int = 0
    lots: int = 0

    @property
    def lines(self) -> list[str]:
        """What was done and what to see to, for whoever did it."""
        if not self.changes:
            return [f"{self.kind} {self.name!r} says so already: nothing changed"]
        said = [
            f"{self.kind} {self.name!r}: {field} {_fact(new)}, was {_fact(old)}"
            for field, old, new in self.changes
        ]
        if self.amounts:
            said.append(f"dye in {self.lots} lots ({self.amounts} amounts) was worked out anew")
        said.append("write it in studio.toml or photos.csv too: notes that say otherwise clash")
        return said


def _fact(value: Fact) -> str:
    return "not known" if value is None else f"{value:g}" if isinstance(value, float) else value


def facts_of(conn: sqlite3.Connection, table: str, row_id: int) -> dict[str, Fact]:
    """What of a row can be put right, as it is. Raises ``NotFound`` where it is not."""
    name_of(conn, table, row_id)
    sql = f"SELECT {', '.join(FIELDS[table])} FROM {table} WHERE id = ?"
    return dict(conn.execute(sql, (row_id,)).fetchone())


def mend(conn: sqlite3.Connection, table: str, row_id: int, facts: Mapping[str, Fact]) -> Mended:
    """Put facts of a row right; ``facts``: of :data:`FIELDS`, those that are ``None`` stay.

    Raises ``ArchiveError`` for a form of a swatch that is or was a master or was checked: what was
    said of it holds for that form.
    """
    told = {field: facts[field] for field in FIELDS[table] if facts.get(field) is not None}
    with transaction(conn):
        name = name_of(conn, table, row_id)
        known = facts_of(conn, table, row_id)
        new = {field: value for field, value in told.items() if value != known[field]}
        if "form" in new:
            _refuse_judged(conn, row_id, name)
        if new:
            sets = ", ".join(f"{field} = ?" for field in new)
            conn.execute(f"UPDATE {table} SET {sets} WHERE id = ?", (*new.values(), row_id))
        again = _work_out(conn, row_id) if table == "stock" and new else (0, 0)
    changes = tuple((field, known[field], value) for field, value in new.items())
    return Mended(kind_words(table), name, changes, *again)


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
