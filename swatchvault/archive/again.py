"""Stored photos that another version of the method measured, with what measuring anew needs."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ingest.model import Layout
from swatchvault.archive.files import is_digest
from swatchvault.archive.layouts import layout_from_text
from swatchvault.archive.names import find
from swatchvault.archive.photos import RegionOf
from swatchvault.archive.values import tri
from swatchvault.errors import NotFound

_OLD = """m.version <> :version OR
COALESCE(json_extract(m.tonality, '$.method'), :evenness) <> :evenness"""

_PHOTOS = f"""SELECT photo.sha256, photo.suffix, photo.original_name, photo.bytes, photo.setup_id,
COALESCE(photo.light, setup.light) AS light, layout.id AS layout_id, layout.marks,
sum({_OLD}) AS old, count(*) AS measured
FROM filed_measurement AS m JOIN photo ON photo.id = m.photo_id
JOIN layout ON layout.id = m.layout_id LEFT JOIN setup ON setup.id = photo.setup_id
WHERE :photos IS NULL OR photo.sha256 IN (SELECT value FROM json_each(:photos))
GROUP BY photo.sha256 HAVING :again OR old > 0
ORDER BY COALESCE(photo.taken_at, photo.added_at), photo.sha256"""

_REGIONS = """SELECT region, swatch_id, dry, reference, provenance FROM filed_measurement
WHERE photo_id = (SELECT id FROM photo WHERE sha256 = ?) ORDER BY id"""


@dataclass(frozen=True, eq=False)
class StoredPhoto:
    """A photo to measure anew: its file's name in the folder of photos, its layout and regions.

    ``old``: how many of its measurements another version made. ``references``: how the last
    measurement read the references, as its provenance says; ``reference``: what it corrected by.
    """

    sha256: str
    file: str
    name: str
    bytes: int
    setup_id: int | None
    light: str | None
    layout_id: int
    layout: Layout
    regions: tuple[RegionOf, ...]
    old: int
    reference: str
    references: tuple[dict[str, Any], ...]


def stored_photos(
    conn: sqlite3.Connection,
    *,
    version: str,
    evenness: str,
    names: Sequence[str] = (),
    again: bool = False,
) -> list[StoredPhoto]:
    """Measured photos that ``version`` (colour) or ``evenness`` (its method) did not measure.

    ``names``: swatches, photos' file names or sha256 (its beginning will do); none: all.
    ``again``: those too that these versions measured. Raises ``NotFound`` for another name.
    """
    chosen = None
    if names:
        chosen = json.dumps(sorted({s for name in names for s in photos_named(conn, name)}))
    asked = {"version": version, "evenness": evenness, "photos": chosen, "again": int(again)}
    cursor = conn.execute(_PHOTOS, asked)
    columns = [d[0] for d in cursor.description]
    rows = [dict(zip(columns, row, strict=True)) for row in cursor]
    return [_stored(conn, row) for row in rows]


def layout_is_current(conn: sqlite3.Connection, layout_id: int) -> bool:
    """Whether nobody has said since where things are in the photo."""
    sql = "SELECT superseded_by IS NULL FROM layout WHERE id = ?"
    return bool(conn.execute(sql, (layout_id,)).fetchone()[0])


def _stored(conn: sqlite3.Connection, row: dict[str, Any]) -> StoredPhoto:
    regions = conn.execute(_REGIONS, (row["sha256"],)).fetchall()
    *_, reference, provenance = regions[0]
    return StoredPhoto(
        sha256=row["sha256"],
        file=f"{row['sha256']}{row['suffix']}",
        name=row["original_name"] or row["sha256"],
        bytes=row["bytes"],
        setup_id=row["setup_id"],
        light=row["light"],
        layout_id=row["layout_id"],
        layout=layout_from_text(row["marks"]),
        regions=tuple(RegionOf(r[0], r[1], tri(r[2])) for r in regions),
        old=row["old"],
        reference=reference,
        references=tuple(json.loads(provenance).get("references") or ()),
    )


def photos_named(conn: sqlite3.Connection, name: str) -> list[str]:
    """The sha256 of the photos that a name means: the beginning of a sha256, a file's name, or a
    swatch, all of whose photos are meant. Raises ``NotFound``."""
    digits = name.casefold()
    if is_digest(digits):
        sql = "SELECT sha256 FROM photo WHERE substr(sha256, 1, ?) = ?"
        found = [r[0] for r in conn.execute(sql, (len(digits), digits))]
        if found:
            return found
    sql = "SELECT sha256 FROM photo WHERE original_name = ? COLLATE NOCASE"
    found = [r[0] for r in conn.execute(sql, (name,))]
    if found:
        return found
    sql = "SELECT DISTINCT photo_sha256 FROM filed_measurement WHERE swatch_id = ?"
    found = [r[0] for r in conn.execute(sql, (find(conn, "swatch", name),))]
    if not found:
        raise NotFound(f"swatch {name!r} has no measured photo: there is nothing to measure anew")
    return found
