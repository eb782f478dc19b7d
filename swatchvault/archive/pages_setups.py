"""What the page of references and set-ups reads."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from swatchvault.archive.entities import OwnedReference, Setup
from swatchvault.archive.lookup import get_reference, get_setup
from swatchvault.archive.mend_reference import ReadBy, photos_read_by, stated_words
from swatchvault.archive.mend_setup import photos_lit_by
from swatchvault.archive.repeat_sets import RepeatSet, repeat_sets_in_force
from swatchvault.errors import NotFound
from swatchvault.typed_numbers import row_number


@dataclass(frozen=True)
class ReferenceRow:
    """A reference that the dyer owns, its values in words, and the set-ups that it belongs to."""

    id: int
    reference: OwnedReference
    words: str
    setups: tuple[str, ...]


@dataclass(frozen=True)
class SetupRow:
    """A set-up, how many photos are filed of it, and what it has learned, if anything."""

    id: int
    setup: Setup
    photos: int
    learned: RepeatSet | None


def references_there(conn: sqlite3.Connection) -> list[ReferenceRow]:
    """Every reference, by name."""
    rows = []
    for row_id, name in conn.execute("SELECT id, name FROM reference ORDER BY name").fetchall():
        sql = "SELECT name FROM setup WHERE reference_id = ? ORDER BY name"
        setups = tuple(str(r[0]) for r in conn.execute(sql, (row_id,)))
        found = get_reference(conn, name)
        rows.append(ReferenceRow(int(row_id), found, stated_words(found), setups))
    return rows


def setups_there(conn: sqlite3.Connection) -> list[SetupRow]:
    """Every set-up, by name."""
    sql = (
        "SELECT id, name, (SELECT count(*) FROM photo WHERE setup_id = setup.id) FROM setup "
        "ORDER BY name"
    )
    return [
        SetupRow(int(i), get_setup(conn, name), int(k), _learned(conn, i))
        for i, name, k in conn.execute(sql).fetchall()
    ]


def _learned(conn: sqlite3.Connection, setup_id: int) -> RepeatSet | None:
    return next(iter(repeat_sets_in_force(conn, setup_id)), None)


def setup_there(conn: sqlite3.Connection, setup_id: int) -> Setup:
    """The set-up of that number. Raises ``NotFound``."""
    name = _named(conn, "setup", str(setup_id))
    if name is None:
        raise NotFound("there is no such set-up: see References and set-ups")
    return get_setup(conn, name)


def read_by_reference(conn: sqlite3.Connection, row_id: str) -> tuple[str, ReadBy] | None:
    """The name of a reference by its number as an address has it, and the photos read by it."""
    name = _named(conn, "reference", row_id)
    return None if name is None else (name, photos_read_by(conn, name))


def lit_by_setup(
    conn: sqlite3.Connection, row_id: str
) -> tuple[str, tuple[tuple[str, str], ...]] | None:
    """The name of a set-up by its number as an address has it, and the photos lit by it."""
    name = _named(conn, "setup", row_id)
    return None if name is None else (name, photos_lit_by(conn, name))


def _named(conn: sqlite3.Connection, table: str, row_id: str) -> str | None:
    row = conn.execute(f"SELECT name FROM {table} WHERE id = ?", (row_number(row_id),)).fetchone()
    return None if row is None else str(row[0])
