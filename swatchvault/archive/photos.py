"""Photos with their layouts and measurements: files first, then one short transaction.

A program that is stopped between the two leaves a file without a row, which the next run adopts,
``verify`` reports and ``sweep`` removes; there is never a row without its file.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ingest.model import Layout, Measurement, PhotoMeasurement
from swatchvault.archive.aside import asides_of_photo, count_again, told_anew
from swatchvault.archive.connect import PHOTOS, THUMBS, Archive
from swatchvault.archive.eye import class_by_eye
from swatchvault.archive.files import store_picture, suffix_of
from swatchvault.archive.layouts import layout_from_text, layout_to_text
from swatchvault.archive.measured import alike, columns, provenance_of, says
from swatchvault.archive.rows import insert, transaction
from swatchvault.archive.values import clean, now
from swatchvault.errors import ArchiveError


@dataclass(frozen=True)
class RegionOf:
    """Which swatch a measured region shows, and whether it was dry then."""

    region: str
    swatch_id: int
    dry: bool | None = None


@dataclass(frozen=True)
class PhotoFacts:
    """What a person says of the whole photo."""

    setup_id: int | None = None
    light: str | None = None
    note: str | None = None
    shown: tuple[int, ...] = ()  # swatches that the photo shows but does not measure
    relabel: bool = False  # a region filed as one swatch may become another's
    erase_note: bool = False  # a blank note erases the one that is there
    carry: bool = False  # what was filed of a region that is measured again is filed again


@dataclass(frozen=True)
class FiledPhoto:
    """What filing did. ``measured``: how many measurement rows were added (0: nothing was new).

    ``measurement_ids`` are the current rows, in the order of the regions. ``aside``: labels of
    swatches that this photo measured before and does no longer. ``again``: of swatches that had
    been set aside and count again, since they were told anew; ``still``: of those still set aside.
    """

    photo_sha256: str
    new: bool
    measurement_ids: tuple[int, ...]
    measured: int
    aside: tuple[str, ...] = ()
    again: tuple[str, ...] = ()
    still: tuple[str, ...] = ()


def file_photo(
    archive: Archive,
    measurement: PhotoMeasurement,
    source: Path,
    regions: Sequence[RegionOf],
    facts: PhotoFacts | None = None,
) -> FiledPhoto:
    """Copy the original and its thumb into the archive and store what was measured.

    The same photo again changes nothing; with another layout, another version of the method or
    another swatch, new rows supersede the old ones. Raises ``ArchiveError`` if a region was not
    measured or the source changed since.
    """
    size = store_files(archive.folder, measurement, source)
    return record_photo(archive, measurement, source, regions, facts or PhotoFacts(), size)


def store_files(folder: Path, measurement: PhotoMeasurement, source: Path) -> int:
    """The slow half of :func:`file_photo`, without the database; returns the photo's bytes."""
    suffix = suffix_of(measurement.format, source)
    return store_picture(
        folder / PHOTOS, folder / THUMBS, source, measurement.sha256, suffix, measurement.preview
    )


def record_photo(
    archive: Archive,
    measurement: PhotoMeasurement,
    source: Path,
    regions: Sequence[RegionOf],
    facts: PhotoFacts,
    size: int,
) -> FiledPhoto:
    """The short half of :func:`file_photo`: rows only, for files stored just before.

    Raises :class:`ArchiveError` where the stored file is gone.
    """
    by_name = {m.name: m for m in measurement.swatches}
    _refuse_unmeasured(regions, by_name, source)
    suffix = suffix_of(measurement.format, source)
    conn, sha256 = archive.conn, measurement.sha256
    with transaction(conn):
        # Asked again under the write lock, which a sweep holds too.
        if not (archive.photos / f"{sha256}{suffix}").is_file():
            raise ArchiveError(f"the archive's copy of {source} is gone: add the photo again")
        before = _filed_of(conn, sha256)
        if facts.carry:
            regions = [*regions, *_carried(before, regions, by_name)]
        new = _put_photo(conn, measurement, source, facts, size, suffix)
        for swatch_id in facts.shown:
            conn.execute(
                "INSERT OR IGNORE INTO photo_swatch (photo_sha256, swatch_id) VALUES (?, ?)",
                (sha256, swatch_id),
            )
        layout_id = _put_layout(conn, measurement)
        correction_id = _put_correction(conn, measurement, layout_id)
        photo_id = photo_id_of(conn, sha256)
        ids, measured, asides = [], 0, asides_of_photo(conn, sha256)
        for region in regions:
            if not facts.relabel:
                _refuse_other_swatch(conn, sha256, region, source)
            values = {
                "layout_id": layout_id,
                "correction_id": correction_id,
                **columns(
                    by_name[region.region], region.swatch_id, region.dry, measurement.version
                ),
            }
            row_id, added = _put_measurement(conn, photo_id, values, measurement.layout)
            ids.append(row_id)
            measured += added
            if added:
                class_by_eye(conn, row_id)
        after = {r.swatch_id for _, r in _filed_of(conn, sha256)}
        aside = tuple(dict.fromkeys(label for label, r in before if r.swatch_id not in after))
        left = asides_of_photo(conn, sha256)
        again = tuple(a.swatch for i, a in asides.items() if i not in left)
        still = tuple(a.swatch for i, a in left.items() if i in after)
    return FiledPhoto(sha256, new, tuple(ids), measured, aside, again, still)


def _filed_of(conn: sqlite3.Connection, sha256: str) -> list[tuple[str, RegionOf]]:
    """Current regions of a photo, each with its swatch's label."""
    rows = conn.execute(
        "SELECT swatch.label, m.region, m.swatch_id, m.dry FROM filed_measurement AS m "
        "JOIN swatch ON swatch.id = m.swatch_id "
        "WHERE m.photo_id = (SELECT id FROM photo WHERE sha256 = ?) ORDER BY m.id",
        (sha256,),
    )
    return [(r[0], RegionOf(r[1], r[2], None if r[3] is None else bool(r[3]))) for r in rows]


def _carried(
    before: Sequence[tuple[str, RegionOf]],
    regions: Sequence[RegionOf],
    measured: Mapping[str, Measurement],
) -> list[RegionOf]:
    """What was filed of regions that are measured again and not named anew."""
    names, swatches = {r.region for r in regions}, {r.swatch_id for r in regions}
    return [
        r
        for _, r in before
        if r.region in measured and r.region not in names and r.swatch_id not in swatches
    ]


def _refuse_other_swatch(
    conn: sqlite3.Connection, sha256: str, region: RegionOf, source: Path
) -> None:
    """The same picture under another label would take the colour from the first swatch."""
    row = conn.execute(
        "SELECT swatch.label, swatch.id FROM filed_measurement AS m "
        "JOIN swatch ON swatch.id = m.swatch_id "
        "WHERE m.photo_id = (SELECT id FROM photo WHERE sha256 = ?) AND m.region = ?",
        (sha256, region.region),
    ).fetchone()
    if row is not None and row[1] != region.swatch_id:
        raise ArchiveError(
            f"{source.name}: this picture is filed already, and its {region.region!r} is the "
            f"swatch {row[0]!r}; name the right photo, or add it with --relabel if that label was "
            "wrong"
        )


def _refuse_unmeasured(
    regions: Sequence[RegionOf], by_name: Mapping[str, Measurement], source: Path
) -> None:
    names = [r.region for r in regions]
    for name in names:
        if name not in by_name:
            raise ArchiveError(
                f"{source.name}: no region {name!r} was measured; there are "
                f"{', '.join(map(repr, by_name)) or 'none'}"
            )
        if names.count(name) > 1:
            raise ArchiveError(f"{source.name}: region {name!r} is told twice: once is enough")
        if not np.all(np.isfinite(by_name[name].lab)):
            raise ArchiveError(f"{source.name}: region {name!r} has no colour: measure it again")


def _put_photo(
    conn: sqlite3.Connection,
    measurement: PhotoMeasurement,
    source: Path,
    facts: PhotoFacts,
    size: int,
    suffix: str,
) -> bool:
    told = {"setup_id": facts.setup_id, "light": facts.light, "note": clean(facts.note, "note")}
    sql = "SELECT 1 FROM photo WHERE sha256 = ?"
    if conn.execute(sql, (measurement.sha256,)).fetchone():
        for column, value in told.items():
            if value is not None:
                sql = f"UPDATE photo SET {column} = ? WHERE sha256 = ? AND {column} IS NOT ?"
                conn.execute(sql, (value, measurement.sha256, value))
        if facts.erase_note and told["note"] is None:
            conn.execute("UPDATE photo SET note = NULL WHERE sha256 = ?", (measurement.sha256,))
        return False
    values = {
        "sha256": measurement.sha256,
        "suffix": suffix,
        "original_name": source.name.encode(errors="replace").decode(),
        "bytes": size,
        "width": measurement.width,
        "height": measurement.height,
        "format": measurement.format,
        "encoding": measurement.encoding,
        "taken_at": measurement.taken_at,
        "camera": clean(measurement.camera, "camera"),
        "added_at": now(),
    }
    insert(conn, "photo", {**values, **told})
    return True


def _put_layout(conn: sqlite3.Connection, measurement: PhotoMeasurement) -> int:
    marks = layout_to_text(measurement.layout)
    photo_id = photo_id_of(conn, measurement.sha256)
    sql = "SELECT id, marks FROM layout WHERE photo_id = ? AND superseded_by IS NULL"
    old = conn.execute(sql, (photo_id,)).fetchone()
    # An older row may say the same in more digits and words.
    if old is not None and marks in (old[1], layout_to_text(layout_from_text(old[1]))):
        return int(old[0])
    values = {
        "photo_id": photo_id,
        "located": measurement.layout.located,
        "marks": marks,
        "added_at": now(),
    }
    return _supersede(conn, "layout", None if old is None else old[0], values)


def _put_measurement(
    conn: sqlite3.Connection, photo_id: int, values: Mapping[str, Any], layout: Layout
) -> tuple[int, bool]:
    """Store a measurement unless the current one says the same; (id, whether it was added)."""
    sql = (
        "SELECT m.*, layout.marks FROM layout JOIN measurement AS m ON m.layout_id = layout.id "
        "WHERE layout.photo_id = ? AND m.region = ? AND m.superseded_by IS NULL "
        "ORDER BY m.id DESC LIMIT 1"
    )
    old = conn.execute(sql, (photo_id, values["region"])).fetchone()
    if told_anew(old, values["swatch_id"], values["region"], layout):
        count_again(conn, photo_id, values["swatch_id"])
    if old is not None and values["dry"] is None and values["swatch_id"] == old["swatch_id"]:
        values = {**values, "dry": old["dry"]}  # a blank never erases
    if old is not None and all(alike(name, old[name], value) for name, value in values.items()):
        return int(old["id"]), False
    row = {**values, "measured_at": now()}
    return _supersede(conn, "measurement", None if old is None else old["id"], row), True


def _supersede(
    conn: sqlite3.Connection, table: str, old_id: int | None, values: Mapping[str, Any]
) -> int:
    """Insert a row and let the old one point to it, never leaving two current ones."""
    (new_id,) = conn.execute(f"SELECT COALESCE(MAX(id), 0) + 1 FROM {table}").fetchone()
    if old_id is not None:  # the foreign key is checked at the commit
        conn.execute(f"UPDATE {table} SET superseded_by = ? WHERE id = ?", (new_id, old_id))
    return insert(conn, table, {"id": new_id, **values})


def photo_id_of(conn: sqlite3.Connection, sha256: str) -> int:
    """Number of a photo that is filed."""
    return int(conn.execute("SELECT id FROM photo WHERE sha256 = ?", (sha256,)).fetchone()[0])


def _put_correction(conn: sqlite3.Connection, measurement: PhotoMeasurement, layout_id: int) -> int:
    """The row of how the photo was corrected: the last one where it says the same."""
    provenance = provenance_of(measurement)
    sql = "SELECT id, provenance FROM correction WHERE layout_id = ? ORDER BY id DESC LIMIT 1"
    old = conn.execute(sql, (layout_id,)).fetchone()
    if old is not None and says(old[1], provenance):
        return int(old[0])
    return insert(conn, "correction", {"layout_id": layout_id, "provenance": provenance})
