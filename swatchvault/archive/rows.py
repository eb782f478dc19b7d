"""Rows of one SQLite connection: transactions, one row stored, one row kept by its natural key."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from typing import Any, Literal, NamedTuple

from swatchvault.archive.names import id_by_key, refuse_key
from swatchvault.errors import ArchiveError

Change = Literal["added", "changed", "same"]

#: What `mend` puts right, by table.
MENDABLE: Mapping[str, tuple[str, ...]] = {
    "stock": ("grams", "made_up_to_ml", "mixed_on", "pack"),
    "swatch": ("form", "base", "lot"),
    "lot": ("dyed_on", "dry_g", "colourway"),
    "base": ("fibres", "price_per_kg", "superwash"),
    "setup": ("light", "locked"),
}


#: What to do where a database is damaged.
PUT_BACK = "put the last good one back (`swatchvault backup --help` says how)"


class Entry(NamedTuple):
    """A row's id, and whether storing it added it, changed it, or found it as it was."""

    id: int
    change: Change


@contextmanager
def transaction(conn: sqlite3.Connection) -> Iterator[None]:
    """All or nothing. Takes the write lock at once; inside another transaction, a savepoint.

    Raises ``ArchiveError`` in one line where SQLite refuses (locked, read-only, disk full, a
    CHECK or a foreign key).
    """
    nested = conn.in_transaction
    try:
        conn.execute("SAVEPOINT inner_step" if nested else "BEGIN IMMEDIATE")
        try:
            yield
            conn.execute("RELEASE inner_step" if nested else "COMMIT")
        except BaseException:
            _undo(conn, nested)
            raise
    except sqlite3.Error as error:
        raise ArchiveError(_refusal(error)) from error


def _undo(conn: sqlite3.Connection, nested: bool) -> None:
    if not conn.in_transaction:  # SQLite rolled back by itself (disk full, I/O error)
        return
    if nested:
        conn.execute("ROLLBACK TO inner_step")
        conn.execute("RELEASE inner_step")
    else:
        conn.execute("ROLLBACK")


def _refusal(error: sqlite3.Error) -> str:
    text = str(error)
    if "locked" in text or "busy" in text:
        return "another program is writing to the archive: wait until it is done and try again"
    if "readonly" in text:
        return "the archive is read-only: allow writing to its folder and archive.db"
    if "full" in text:
        return "the disk is full: nothing was stored; make room and try again"
    if "CHECK constraint failed: " in text:
        said = text.split(": ", 1)[1]
        return f"refused: {said.replace('temperature_c', 'the temperature in °C')}"
    if "FOREIGN KEY" in text:
        return (
            "refused: a row would name another that does not fit it (such as a pack of another "
            "dye, or a swatch on another base than its lot)"
        )
    if "malformed" in text:
        return f"the archive's database is damaged, and nothing was stored: {PUT_BACK}"
    return f"the archive refused: {text}"


def insert(conn: sqlite3.Connection, table: str, values: Mapping[str, Any]) -> int:
    """Insert one row; ``table`` and the keys are names of the schema, never a user's text."""
    marks = ", ".join("?" for _ in values)
    sql = f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})"
    return int(conn.execute(sql, tuple(values.values())).lastrowid or 0)


def put(
    conn: sqlite3.Connection,
    table: str,
    key: Mapping[str, Any],
    facts: Mapping[str, Any],
    fixed: Collection[str] = (),
) -> Entry:
    """Store a row by its natural key; storing the same again changes nothing.

    A fact that is ``None`` never erases what is known. A known fact that differs replaces the
    old one, except those in ``fixed``, which tell one thing from another: these raise
    ``ArchiveError``.
    """
    where = " AND ".join(f"{column} = ?" for column in key)
    columns = ", ".join(("id", *facts))
    sql = f"SELECT {columns} FROM {table} WHERE {where}"
    old = conn.execute(sql, tuple(key.values())).fetchone()
    if old is None and (known_as := id_by_key(conn, table, key)) is not None:
        sql = f"SELECT {columns} FROM {table} WHERE id = ?"
        old = conn.execute(sql, (known_as,)).fetchone()
    if old is None:
        refuse_key(conn, table, key)
        return Entry(insert(conn, table, {**key, **facts}), "added")
    known = dict(zip(facts, tuple(old)[1:], strict=True))
    new = {c: v for c, v in facts.items() if v is not None and v != known[c]}
    for column in fixed:
        if column in new and known[column] is not None:
            fact = column.removesuffix("_id").removeprefix("dye_")
            mends = fact in MENDABLE.get(table, ()) and column != "lot_id"
            hint = " (the archive's by `swatchvault mend`)" if mends else ""
            raise ArchiveError(
                f"{table} {_key_words(key)} already has "
                f"{_differing(column, known[column], new[column])}: correct the one that is "
                f"wrong{hint}, or use another name"
            )
    if not new:
        return Entry(int(old[0]), "same")
    changes = ", ".join(f"{column} = ?" for column in new)
    conn.execute(f"UPDATE {table} SET {changes} WHERE id = ?", (*new.values(), old[0]))
    return Entry(int(old[0]), "changed")


def _differing(column: str, old: object, new: object) -> str:
    if column.endswith("_id"):  # ids say nothing to a person
        return f"another {column.removesuffix('_id').replace('_', ' ')}"
    return f"{column} {old!r}, not {new!r}"


def _key_words(key: Mapping[str, Any]) -> str:
    named = [repr(v) for v in key.values() if isinstance(v, str)]
    return " ".join(named) or repr(list(key.values()))
