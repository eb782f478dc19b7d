"""What the pages that search read: what can be chosen, and whether anything new was measured."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from swatchvault.archive.listing import query
from swatchvault.archive.views import DAY_OF_LOT
from swatchvault.errors import NotFound


def newest_row(conn: sqlite3.Connection) -> tuple[int, int, int, int]:
    """Numbers of the newest measurement, layout and row set aside, and how many of those were
    taken back: equal as long as no colour is another."""
    sql = (
        "SELECT (SELECT max(id) FROM measurement), (SELECT max(id) FROM layout), "
        "(SELECT max(id) FROM set_aside), (SELECT count(taken_back_at) FROM set_aside)"
    )
    newest, layout, aside, taken_back = conn.execute(sql).fetchone()
    return int(newest or 0), int(layout or 0), int(aside or 0), int(taken_back)


def shown_with(conn: sqlite3.Connection, swatch_id: int) -> set[int]:
    """Ids of the other swatches that a photo shows together with this one."""
    sql = (
        "SELECT other.swatch_id FROM measurement AS own "
        "JOIN layout AS here ON here.id = own.layout_id "
        "JOIN layout AS there ON there.photo_id = here.photo_id "
        "JOIN measurement AS other ON other.layout_id = there.id "
        "WHERE own.swatch_id = :id AND other.swatch_id <> :id "
        "AND own.superseded_by IS NULL AND here.superseded_by IS NULL "
        "AND other.superseded_by IS NULL AND there.superseded_by IS NULL"
    )
    return {int(r[0]) for r in conn.execute(sql, {"id": swatch_id})}


@dataclass(frozen=True)
class Choices:
    """Names that a search can be narrowed by; ``setups``: that a photo can be of."""

    bases: tuple[str, ...]
    fibres: tuple[str, ...]
    dyes: tuple[str, ...]
    setups: tuple[str, ...]


def choices(conn: sqlite3.Connection) -> Choices:
    """Bases, fibres, dyes and set-ups of the archive, by name."""

    def names(sql: str) -> tuple[str, ...]:
        return tuple(str(r[0]) for r in conn.execute(sql))

    return Choices(
        names("SELECT name FROM base ORDER BY name"),
        names("SELECT DISTINCT fibre FROM base_fibre ORDER BY fibre"),
        names("SELECT name FROM dye ORDER BY name"),
        names("SELECT name FROM setup ORDER BY name"),
    )


def swatch_label(conn: sqlite3.Connection, swatch_id: int) -> str:
    """A swatch's label by its number. Raises ``NotFound``."""
    row = conn.execute("SELECT label FROM swatch WHERE id = ?", (swatch_id,)).fetchone()
    if row is None:
        raise NotFound("this swatch is not in the archive")
    return str(row[0])


def colourway_ids(conn: sqlite3.Connection, swatch_ids: Sequence[int]) -> dict[int, int]:
    """The colourway's number of each of these swatches that has one."""
    return _of_lots(conn, "colourway_id", swatch_ids)


def recipe_ids(conn: sqlite3.Connection, swatch_ids: Sequence[int]) -> dict[int, int]:
    """The number of the recipe that the lot of each of these swatches followed, if one."""
    return _of_lots(conn, "recipe_id", swatch_ids)


def _of_lots(conn: sqlite3.Connection, column: str, swatch_ids: Sequence[int]) -> dict[int, int]:
    import json

    sql = (
        f"SELECT swatch.id, lot.{column} FROM swatch JOIN lot ON lot.id = swatch.lot_id "
        f"WHERE swatch.id IN (SELECT value FROM json_each(?)) AND lot.{column} IS NOT NULL"
    )
    return {int(r[0]): int(r[1]) for r in conn.execute(sql, (json.dumps(list(swatch_ids)),))}


@dataclass(frozen=True)
class NamedRow:
    """Something that can be chosen by its number."""

    id: int
    name: str


def colourways_measured(conn: sqlite3.Connection) -> list[NamedRow]:
    """Colourways that have a measured lot, by name."""
    sql = (
        "SELECT id, name FROM colourway WHERE EXISTS (SELECT 1 FROM lot JOIN swatch "
        "ON swatch.lot_id = lot.id JOIN current_measurement AS m ON m.swatch_id = swatch.id "
        "WHERE lot.colourway_id = colourway.id) ORDER BY name"
    )
    return [NamedRow(**row) for row in query(conn, sql).records()]


def colourways_named(conn: sqlite3.Connection, most: int = -1) -> tuple[str, ...]:
    """All colourways, by name, or the first ``most``."""
    sql = "SELECT name FROM colourway ORDER BY name LIMIT ?"
    return tuple(str(r[0]) for r in conn.execute(sql, (most,)))


def bases_named(conn: sqlite3.Connection) -> list[NamedRow]:
    """All bases, by name."""
    return [
        NamedRow(**row) for row in query(conn, "SELECT id, name FROM base ORDER BY name").records()
    ]


@dataclass(frozen=True)
class LotChoice:
    """A lot of a colourway with what is measured of it."""

    lot_id: int
    code: str
    dyed_on: str | None
    day: str | None
    bases: str | None
    forms: str | None


def measured_lots(conn: sqlite3.Connection, colourway_id: int) -> list[LotChoice]:
    """The measured lots of a colourway, oldest first."""
    sql = (
        f"SELECT lot.id AS lot_id, lot.code, lot.dyed_on, {DAY_OF_LOT} AS day, "
        "group_concat(DISTINCT base.name) AS bases, group_concat(DISTINCT swatch.form) AS forms "
        "FROM lot JOIN swatch ON swatch.lot_id = lot.id JOIN base ON base.id = swatch.base_id "
        "WHERE lot.colourway_id = :id AND EXISTS (SELECT 1 FROM current_measurement AS m "
        "WHERE m.swatch_id = swatch.id) GROUP BY lot.id ORDER BY day, lot.id"
    )
    return [LotChoice(**row) for row in query(conn, sql, {"id": colourway_id}).records()]


def lot_numbers(conn: sqlite3.Connection, codes: Sequence[str]) -> dict[str, int]:
    """The number of each of these lots that is there, by its code."""
    import json

    sql = "SELECT code, id FROM lot WHERE code IN (SELECT value FROM json_each(?))"
    return {str(r[0]): int(r[1]) for r in conn.execute(sql, (json.dumps(list(codes)),))}


def newest_making(conn: sqlite3.Connection) -> tuple[int, int]:
    """Numbers of the newest lot and dye that went in: equal as long as nothing was dyed."""
    row = conn.execute("SELECT (SELECT max(id) FROM lot), (SELECT max(id) FROM lot_dye)").fetchone()
    return int(row[0] or 0), int(row[1] or 0)
