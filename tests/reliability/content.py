"""What an archive holds, so that two can be held against each other."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from swatchvault.archive import DATABASE, PHOTOS, THUMBS
from swatchvault.archive.files import hash_of

Contents = dict[str, list[tuple[object, ...]]]

#: Columns that say when this program wrote a row: they may differ, and nothing else may.
WRITTEN_AT = frozenset({"added_at", "measured_at"})
#: Numbers given in the order of filing, and the tables that hold them.
IN_ORDER = frozenset({"id", "photo_id", "layout_id", "correction_id"})
FILED = ("photo", "layout", "correction", "measurement")


def contents(folder: Path, *, ids: bool = True) -> Contents:
    """Every row of every table and every file with its sha256; :data:`WRITTEN_AT` is left out.

    Without ``ids``, the numbers of photos, layouts, corrections and measurements are left out too:
    they follow the order in which photos were filed.
    """
    without = WRITTEN_AT if ids else WRITTEN_AT | IN_ORDER
    conn = sqlite3.connect(folder / DATABASE)
    try:
        sql = "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
        found = {name: _rows(conn, name, without) for (name,) in conn.execute(sql).fetchall()}
    finally:
        conn.close()
    for place in (PHOTOS, THUMBS):
        paths = sorted((folder / place).iterdir())
        found[f"files in {place}"] = [(p.name, hash_of(p)) for p in paths]
    return found


def _rows(
    conn: sqlite3.Connection, table: str, without: frozenset[str]
) -> list[tuple[object, ...]]:
    columns = [r[1] for r in conn.execute(f'PRAGMA table_info("{table}")')]
    if table not in FILED:
        without = without - IN_ORDER
    kept = ", ".join(f'"{c}"' for c in columns if c not in without)
    return sorted(conn.execute(f'SELECT {kept} FROM "{table}"').fetchall(), key=repr)


def differences(one: Contents, other: Contents) -> list[str]:
    """In a line each, where two contents differ; empty if nowhere."""
    lines = []
    for name in sorted(one.keys() | other.keys()):
        a, b = one.get(name, []), other.get(name, [])
        if a != b:
            only_a = [r for r in a if r not in b]
            only_b = [r for r in b if r not in a]
            lines.append(f"{name}: {len(a)} and {len(b)}; {only_a[:1]} {only_b[:1]}"[:500])
    return lines


def integrity(folder: Path) -> str:
    """SQLite's own word on the database: "ok", or what it found."""
    conn = sqlite3.connect(folder / DATABASE)
    try:
        return "; ".join(str(r[0]) for r in conn.execute("PRAGMA integrity_check"))
    finally:
        conn.close()
