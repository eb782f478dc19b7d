"""What the photo pages read: a filed photo with its layout, and what there is to choose from."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ingest.model import Layout
from swatchvault.archive.entities import OwnedReference
from swatchvault.archive.layouts import layout_from_text
from swatchvault.archive.lookup import get_reference, reference_of_setup
from swatchvault.archive.names import id_named
from swatchvault.errors import NotFound
from swatchvault.typed_numbers import row_number

#: Names offered while typing; any other may be typed too. Our choice.
OFFERED = 300


@dataclass(frozen=True)
class PhotoRow:
    """A filed photo. ``facts``: its columns, the set-up's name and lock among them."""

    sha256: str
    suffix: str
    layout_id: int
    layout: Layout
    light_field: bool
    reference: OwnedReference | None
    facts: Mapping[str, Any]


@dataclass(frozen=True)
class Choices:
    """Names that a form about a photo offers."""

    swatches: tuple[str, ...]
    bases: tuple[str, ...]
    colourways: tuple[str, ...]
    lots: tuple[str, ...]
    setups: tuple[str, ...]


def photo_row(conn: sqlite3.Connection, sha256: str) -> PhotoRow | None:
    """The photo with its current layout; ``None`` where none of that name is filed."""
    cursor = conn.execute(
        "SELECT photo.*, setup.name AS setup, setup.locked, layout.id AS layout_id, layout.marks, "
        "COALESCE(photo.light, setup.light) AS lit_by, EXISTS (SELECT 1 FROM filed_measurement "
        "AS m, json_each(m.flags) AS flag WHERE m.photo_id = photo.id "
        "AND flag.value = 'light field corrected') AS light_field FROM photo "
        "JOIN layout ON layout.photo_id = photo.id AND layout.superseded_by IS NULL "
        "LEFT JOIN setup ON setup.id = photo.setup_id WHERE sha256 = ?",
        (sha256,),
    )
    found = cursor.fetchone()
    if found is None:
        return None
    row = dict(zip([d[0] for d in cursor.description], found, strict=True))
    setup_id = row["setup_id"]
    return PhotoRow(
        sha256=sha256,
        suffix=row["suffix"],
        layout_id=row["layout_id"],
        layout=layout_from_text(row["marks"]),
        light_field=bool(row["light_field"]),
        reference=None if setup_id is None else reference_of_setup(conn, setup_id),
        facts={k: v for k, v in row.items() if k not in ("marks", "layout_id", "light_field")},
    )


def suffix_of_photo(conn: sqlite3.Connection, sha256: str) -> str:
    """The suffix of a photo's file. Raises ``NotFound``."""
    row = conn.execute("SELECT suffix FROM photo WHERE sha256 = ?", (sha256,)).fetchone()
    if row is None:
        raise NotFound("no photo of that name is in the archive")
    return str(row[0])


def need_photo_row(conn: sqlite3.Connection, sha256: str) -> PhotoRow:
    """:func:`photo_row`, or ``NotFound``."""
    found = photo_row(conn, sha256)
    if found is None:
        raise NotFound("no photo of that name is in the archive")
    return found


def shown_only(conn: sqlite3.Connection, sha256: str) -> list[tuple[int, str]]:
    """Swatches (id, label) that the photo shows and does not measure."""
    sql = (
        "SELECT swatch.id, label FROM photo_swatch JOIN swatch ON swatch.id = swatch_id "
        "WHERE photo_sha256 = ? ORDER BY label"
    )
    return [(int(r[0]), str(r[1])) for r in conn.execute(sql, (sha256,))]


def labels_of_regions(conn: sqlite3.Connection, sha256: str) -> dict[str, dict[str, Any]]:
    """By region of the photo's current measurements: the swatch's label, and whether it was dry."""
    sql = (
        "SELECT region, label, m.dry FROM filed_measurement AS m "
        "JOIN swatch ON swatch.id = m.swatch_id WHERE "
        "m.photo_id = (SELECT id FROM photo WHERE sha256 = ?)"
    )
    return {str(r[0]): {"swatch": r[1], "dry": r[2]} for r in conn.execute(sql, (sha256,))}


def choices(conn: sqlite3.Connection) -> Choices:
    """What there is, the newest lots and swatches first."""

    def names(sql: str) -> tuple[str, ...]:
        return tuple(str(r[0]) for r in conn.execute(f"{sql} LIMIT {OFFERED}"))

    return Choices(
        swatches=names("SELECT label FROM swatch ORDER BY id DESC"),
        bases=names("SELECT name FROM base ORDER BY name"),
        colourways=names("SELECT name FROM colourway ORDER BY name"),
        lots=names("SELECT code FROM lot ORDER BY COALESCE(dyed_on, '') DESC, id DESC"),
        setups=names("SELECT name FROM setup ORDER BY name"),
    )


def what_is_asked(conn: sqlite3.Connection, lot_id: str, swatch_id: str) -> dict[str, str]:
    """Facts that a page which asks for a photo knows already: by lot or swatch id."""
    swatch, lot = row_number(swatch_id), row_number(lot_id)
    if swatch is not None:
        row = conn.execute("SELECT label FROM swatch WHERE id = ?", (swatch,)).fetchone()
        return {} if row is None else {"swatch": str(row[0])}
    sql = (
        "SELECT lot.code, colourway.name, (SELECT min(base.name) FROM lot_base "
        "JOIN base ON base.id = base_id WHERE lot_id = lot.id HAVING count(*) = 1) FROM lot "
        "LEFT JOIN colourway ON colourway.id = colourway_id WHERE lot.id = ?"
    )
    row = conn.execute(sql, (lot,)).fetchone()
    if row is None:
        return {}
    told = dict(zip(("lot", "colourway", "base"), row, strict=True))
    return {k: str(v) for k, v in told.items() if v is not None}


def what_lies_beside(conn: sqlite3.Connection, swatch_id: str) -> dict[str, str]:
    """The label of the master's swatch that a photo is to show beside a lot's; by its id."""
    return what_is_asked(conn, "", swatch_id)


def about_setup(conn: sqlite3.Connection, name: str) -> dict[str, str]:
    """What a set-up, chosen for a photo, says of it; empty where none was, or it is gone."""
    sql = "SELECT name, light, locked FROM setup WHERE id = ?"
    row = conn.execute(sql, (id_named(conn, "setup", name),)).fetchone()
    if row is None:
        return {}
    told = {"setup": row[0], "light": row[1], "locked": {1: "yes", 0: "no"}.get(row[2])}
    return {k: str(v) for k, v in told.items() if v}


def setup_beforehand(conn: sqlite3.Connection) -> tuple[str, str]:
    """The set-up that a photo is most likely by, and why: the one that was used last, else the
    only one that there is; two empty texts where there is neither."""
    used = conn.execute(
        "SELECT setup.name FROM photo JOIN setup ON setup.id = setup_id "
        "ORDER BY photo.added_at DESC, photo.id DESC LIMIT 1"
    ).fetchone()
    if used is not None:
        return str(used[0]), "was used last"
    names = conn.execute("SELECT name FROM setup LIMIT 2").fetchall()
    return (str(names[0][0]), "is the only one") if len(names) == 1 else ("", "")


def last_reference(conn: sqlite3.Connection) -> OwnedReference | None:
    """The reference of the set-up that was photographed last, else the newest of all: its steps
    may be looked for."""
    sql = (
        "SELECT setup_id FROM photo JOIN setup ON setup.id = setup_id "
        "WHERE reference_id IS NOT NULL ORDER BY added_at DESC LIMIT 1"
    )
    row = conn.execute(sql).fetchone()
    if row is not None:
        return reference_of_setup(conn, int(row[0]))
    newest = conn.execute("SELECT name FROM reference ORDER BY id DESC LIMIT 1").fetchone()
    return None if newest is None else get_reference(conn, str(newest[0]))


def setup_reference(conn: sqlite3.Connection, name: str) -> OwnedReference | None:
    """The reference of a set-up by its name; ``None`` where the set-up is new or has none."""
    setup_id = id_named(conn, "setup", name)
    return None if setup_id is None else reference_of_setup(conn, setup_id)
