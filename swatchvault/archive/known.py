"""What is known by name, for questions that are asked before something is made."""

from __future__ import annotations

import sqlite3
from typing import Literal

from swatchvault.archive.names import id_named

Kind = Literal["base", "colourway", "dye", "lot", "setup"]


def names_known(conn: sqlite3.Connection, kind: Kind) -> list[str]:
    """Every name of a kind that the archive has; of lots their codes."""
    column = {"lot": "code"}.get(kind, "name")
    return [str(row[0]) for row in conn.execute(f"SELECT {column} FROM {kind}")]


def bases_of_lot(conn: sqlite3.Connection, code: str) -> list[str]:
    """The bases that a lot is on; none where there is no lot of that code."""
    sql = (
        "SELECT base.name FROM lot JOIN lot_base ON lot_id = lot.id "
        "JOIN base ON base.id = base_id WHERE lot.id = ? ORDER BY base.id"
    )
    return [str(row[0]) for row in conn.execute(sql, (id_named(conn, "lot", code),))]


def other_day_of_lot(
    conn: sqlite3.Connection, code: str | None, told: str | None
) -> tuple[str, str] | None:
    """The lot of that code as it is written, and its day, where it has one that is not ``told``."""
    sql = "SELECT code, dyed_on FROM lot WHERE id = ? AND dyed_on <> ?"
    row = conn.execute(sql, (id_named(conn, "lot", code or ""), told)).fetchone()
    return None if row is None else (str(row[0]), str(row[1]))


def lots_on_base(conn: sqlite3.Connection, colourway: str, base: str) -> int:
    """How many lots of a colourway are on a base."""
    sql = (
        "SELECT count(*) FROM lot JOIN lot_base ON lot_id = lot.id "
        "JOIN base ON base.id = base_id JOIN colourway ON colourway.id = colourway_id "
        "WHERE base.id = ? AND colourway.id = ?"
    )
    ids = id_named(conn, "base", base), id_named(conn, "colourway", colourway)
    return int(conn.execute(sql, ids).fetchone()[0])
