"""A base, colourway, lot or swatch made by a slip, let go: only what nothing belongs to."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping

from swatchvault.archive.rename import name_of
from swatchvault.archive.rows import transaction
from swatchvault.errors import ArchiveError

#: What may belong to a row: one and several of it in words, and how many there are.
_BELONGS: Mapping[str, tuple[tuple[str, str, str], ...]] = {
    "base": (
        ("delivery", "deliveries", "base_lot WHERE base_id = :id"),
        ("recipe", "recipes", "recipe WHERE base_id = :id"),
        ("lot", "lots", "lot_base WHERE base_id = :id"),
        ("swatch", "swatches", "swatch WHERE base_id = :id"),
        ("master that was set", "masters that were set", "master WHERE base_id = :id"),
    ),
    "colourway": (
        ("recipe", "recipes", "recipe WHERE colourway_id = :id"),
        ("lot", "lots", "lot WHERE colourway_id = :id"),
        ("master that was set", "masters that were set", "master WHERE colourway_id = :id"),
    ),
    "lot": (
        ("dye that went in", "dyes that went in", "lot_dye WHERE lot_id = :id"),
        ("step of its log", "steps of its log", "pot_step WHERE lot_id = :id"),
        ("struck step of its log", "struck steps of its log", "struck_step WHERE lot_id = :id"),
        ("pot that was started", "pots that were started", "pot WHERE lot_id = :id"),
        ("skein", "skeins", "skein WHERE lot_id = :id"),
        ("swatch", "swatches", "swatch WHERE lot_id = :id"),
        ("lot dyed over it", "lots dyed over it", "lot WHERE overdyes_lot_id = :id"),
        ("verdict", "verdicts", "lot_check WHERE lot_id = :id"),
    ),
    "swatch": (
        (
            "measurement, earlier ones too",
            "measurements, earlier ones too",
            "measurement WHERE swatch_id = :id",
        ),
        ("photo to be seen", "photos to be seen", "photo_swatch WHERE swatch_id = :id"),
        ("master that was set", "masters that were set", "master WHERE swatch_id = :id"),
        (
            "verdict",
            "verdicts",
            "lot_check WHERE swatch_id = :id OR master_swatch_id = :id",
        ),
        ("word on its evenness", "words on its evenness", "named_class WHERE swatch_id = :id"),
    ),
}
#: Rows that say what a thing is and go with it.
_ITS_OWN: Mapping[str, tuple[str, ...]] = {
    "base": ("base_fibre WHERE base_id = :id",),
    "colourway": (),
    "lot": ("lot_base WHERE lot_id = :id",),
    "swatch": (),
}
#: Kinds that can be let go.
KINDS = tuple(_BELONGS)


def what_belongs(conn: sqlite3.Connection, table: str, row_id: int) -> list[str]:
    """What still belongs to a row, in words; empty where it can be let go."""
    said = []
    for one, several, rows in _BELONGS[table]:
        count = conn.execute(f"SELECT count(*) FROM {rows}", {"id": row_id}).fetchone()[0]
        if count:
            said.append(f"{count} {one if count == 1 else several}")
    return said


def let_go(conn: sqlite3.Connection, table: str, row_id: int) -> str:
    """Take a row out of the archive that nothing belongs to; the name it had.

    Raises ``ArchiveError`` with what still belongs to it, ``NotFound`` where it is not.
    """
    with transaction(conn):
        name = name_of(conn, table, row_id)
        belongs = what_belongs(conn, table, row_id)
        if belongs:
            raise ArchiveError(
                f"{table} {name!r} stays: to it belong {', '.join(belongs)}. Only what nothing "
                "belongs to can be let go"
            )
        for rows in (*_ITS_OWN[table], f"{table} WHERE id = :id"):
            conn.execute(f"DELETE FROM {rows}", {"id": row_id})
        # Its number may be given to another, which was never called so.
        conn.execute("DELETE FROM renamed WHERE kind = ? AND row_id = ?", (table, row_id))
    return name
