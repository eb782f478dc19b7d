"""A stored measurement's photo as it was added, and where things were in it."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ingest.model import Layout
from swatchvault.archive.connect import Archive
from swatchvault.archive.layouts import layout_from_text
from swatchvault.errors import NotFound


@dataclass(frozen=True, eq=False)
class Original:
    """``path``: the archive's copy. ``name``: what the file was called. ``layout``: as measured."""

    path: Path
    name: str
    layout: Layout
    setup_id: int | None


def original_of(archive: Archive, measurement_id: int) -> Original:
    """The photo of a measurement. Raises ``NotFound`` where the row or its file is gone."""
    row = archive.conn.execute(
        "SELECT photo.sha256, photo.suffix, photo.original_name, layout.marks, photo.setup_id "
        "FROM measurement AS m JOIN layout ON layout.id = m.layout_id "
        "JOIN photo ON photo.id = layout.photo_id WHERE m.id = ?",
        (measurement_id,),
    ).fetchone()
    if row is None:
        raise NotFound(f"no measurement {measurement_id} is in the archive")
    sha256, suffix, name, marks, setup_id = row
    path = archive.photos / f"{sha256}{suffix}"
    if not path.is_file():
        raise NotFound(f"the photo {name or sha256} is gone from the archive: run verify")
    return Original(path, name or path.name, layout_from_text(marks), setup_id)


def names_of_photos(conn: sqlite3.Connection, measurement_ids: Sequence[int]) -> dict[int, str]:
    """What the file of each measurement's photo was called, or else its sha256, by measurement."""
    sql = (
        "SELECT m.id, COALESCE(photo.original_name, photo.sha256) FROM measurement AS m "
        "JOIN layout ON layout.id = m.layout_id JOIN photo ON photo.id = layout.photo_id "
        "WHERE m.id IN (SELECT value FROM json_each(?))"
    )
    return dict(conn.execute(sql, (json.dumps(list(measurement_ids)),)).fetchall())
