"""Photos with their layouts and measurements: files first, then one short transaction.

A program that is stopped between the two leaves a file without a row, which the next run adopts,
``verify`` reports and ``sweep`` removes; there is never a row without its file.
"""

from __future__ import annotations

import json
import math
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ingest.model import Measurement, PhotoMeasurement, none_if_nan
from swatchvault.archive.connect import PHOTOS, THUMBS, Archive
from swatchvault.archive.eye import class_by_eye
from swatchvault.archive.files import store_photo, store_thumb, suffix_of
from swatchvault.archive.layouts import layout_to_text
from swatchvault.archive.rows import (
    clean,
    insert,
    now,
    to_json,
    transaction,
    yes_no,
)
from swatchvault.errors import ArchiveError

# Floats that differ by less are the same measurement made anew; far below any colour seen.
_SAME = 2e-5
#: Significant figures of what is stored as JSON: far finer than any doubt of a colour.
_FIGURES = 6


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


@dataclass(frozen=True)
class FiledPhoto:
    """What filing did. ``measured``: how many measurement rows were added (0: nothing was new).

    ``measurement_ids`` are the current rows, in the order of the regions.
    """

    photo_sha256: str
    new: bool
    measurement_ids: tuple[int, ...]
    measured: int


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
    size = store_photo(folder / PHOTOS, source, measurement.sha256, suffix)
    store_thumb(folder / THUMBS, measurement.sha256, measurement.preview)
    return size


def record_photo(
    archive: Archive,
    measurement: PhotoMeasurement,
    source: Path,
    regions: Sequence[RegionOf],
    facts: PhotoFacts,
    size: int,
) -> FiledPhoto:
    """The short half of :func:`file_photo`: rows only, for files stored just before."""
    by_name = {m.name: m for m in measurement.swatches}
    _refuse_unmeasured(regions, by_name, source)
    suffix = suffix_of(measurement.format, source)
    conn, sha256 = archive.conn, measurement.sha256
    with transaction(conn):
        # Asked again under the write lock, which a sweep holds too.
        if not (archive.photos / f"{sha256}{suffix}").is_file():
            raise ArchiveError(f"the archive's copy of {source} is gone: add the photo again")
        new = _put_photo(conn, measurement, source, facts, size, suffix)
        for swatch_id in facts.shown:
            conn.execute(
                "INSERT OR IGNORE INTO photo_swatch (photo_sha256, swatch_id) VALUES (?, ?)",
                (sha256, swatch_id),
            )
        layout_id = _put_layout(conn, measurement)
        provenance = _provenance(measurement)
        ids, measured = [], 0
        for region in regions:
            if not facts.relabel:
                _refuse_other_swatch(conn, sha256, region, source)
            values = _columns(by_name[region.region], region, measurement.version, provenance)
            row_id, added = _put_measurement(
                conn, {"photo_sha256": sha256, "layout_id": layout_id}, values
            )
            ids.append(row_id)
            measured += added
            if added:
                class_by_eye(conn, row_id)
    return FiledPhoto(sha256, new, tuple(ids), measured)


def _refuse_other_swatch(
    conn: sqlite3.Connection, sha256: str, region: RegionOf, source: Path
) -> None:
    """The same picture under another label would take the colour from the first swatch."""
    row = conn.execute(
        "SELECT swatch.label, swatch.id FROM current_measurement AS m "
        "JOIN swatch ON swatch.id = m.swatch_id WHERE m.photo_sha256 = ? AND m.region = ?",
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
    sql = "SELECT id, marks FROM layout WHERE photo_sha256 = ? AND superseded_by IS NULL"
    old = conn.execute(sql, (measurement.sha256,)).fetchone()
    if old is not None and old[1] == marks:
        return int(old[0])
    values = {
        "photo_sha256": measurement.sha256,
        "located": measurement.layout.located,
        "marks": marks,
        "added_at": now(),
    }
    return _supersede(conn, "layout", None if old is None else old[0], values)


def _put_measurement(
    conn: sqlite3.Connection, where: Mapping[str, Any], values: Mapping[str, Any]
) -> tuple[int, bool]:
    """Store a measurement unless the current one says the same; (id, whether it was added)."""
    sql = (
        "SELECT * FROM measurement WHERE photo_sha256 = ? AND region = ? "
        "AND superseded_by IS NULL ORDER BY id DESC LIMIT 1"
    )
    old = conn.execute(sql, (where["photo_sha256"], values["region"])).fetchone()
    if old is not None and values["dry"] is None and values["swatch_id"] == old["swatch_id"]:
        values = {**values, "dry": old["dry"]}  # a blank never erases
    if (
        old is not None
        and old["layout_id"] == where["layout_id"]
        and all(_alike(column, old[column], value) for column, value in values.items())
    ):
        return int(old["id"]), False
    row = {**where, **values, "measured_at": now()}
    return _supersede(conn, "measurement", None if old is None else old["id"], row), True


def _supersede(
    conn: sqlite3.Connection, table: str, old_id: int | None, values: Mapping[str, Any]
) -> int:
    """Insert a row and let the old one point to it, never leaving two current ones."""
    (new_id,) = conn.execute(f"SELECT COALESCE(MAX(id), 0) + 1 FROM {table}").fetchone()
    if old_id is not None:  # the foreign key is checked at the commit
        conn.execute(f"UPDATE {table} SET superseded_by = ? WHERE id = ?", (new_id, old_id))
    return insert(conn, table, {"id": new_id, **values})


def _columns(
    measured: Measurement, region: RegionOf, version: str, provenance: str
) -> dict[str, Any]:
    cov = measured.covariance
    lightness, a, b = (float(v) for v in measured.lab)
    return {
        "region": measured.name,
        "swatch_id": region.swatch_id,
        "dry": yes_no(region.dry),
        "lab_l": lightness,
        "lab_a": a,
        "lab_b": b,
        "cov_region": to_json(cov.region, _FIGURES),
        "cov_frame": to_json(cov.frame, _FIGURES),
        "cov_setup": to_json(cov.setup, _FIGURES),
        "cov_profile": to_json(cov.profile, _FIGURES),
        "flags": to_json(measured.flags),
        "reference": measured.reference,
        "pixels": int(measured.pixels),
        "left_out": to_json(measured.left_out),
        "clipped_share": none_if_nan(float(measured.clipped_share)),
        "shadow_sd": none_if_nan(float(measured.shadow_sd)),
        "mm_per_px": none_if_nan(float(measured.mm_per_px)),
        "tonality": None if measured.tonality is None else to_json(measured.tonality, _FIGURES),
        "provenance": provenance,
        "version": version,
    }


def _provenance(measurement: PhotoMeasurement) -> str:
    """How a photo was corrected, without what can be worked out again from it and its layout.

    Of a reference's patches what they were stated to be stays (a chart's is its edition); their
    readings are in `calibration`, their left-out residuals in the steps.
    """
    record = measurement.record()
    kept = ("steps", "flags", "encoding", "version")
    references = [_stated(reference) for reference in record["references"]]
    return to_json({**{key: record[key] for key in kept}, "references": references}, _FIGURES)


def _stated(reference: Mapping[str, Any]) -> dict[str, Any]:
    short = {key: value for key, value in reference.items() if key != "patches"}
    if reference.get("edition") is None:
        short["expected_lab"] = [p["expected_lab"] for p in reference.get("patches") or ()]
    return short


_JSON_COLUMNS = frozenset(
    {
        *("cov_region", "cov_frame", "cov_setup", "cov_profile", "flags", "left_out"),
        *("tonality", "provenance"),
    }
)


def _alike(column: str, old: Any, new: Any) -> bool:
    if column in _JSON_COLUMNS and old is not None and new is not None:
        return _close(json.loads(old), json.loads(new))
    return _close(old, new)


def _close(old: Any, new: Any) -> bool:
    if isinstance(old, dict) and isinstance(new, dict):
        return old.keys() == new.keys() and all(_close(old[k], new[k]) for k in old)
    if isinstance(old, list) and isinstance(new, list):
        return len(old) == len(new) and all(map(_close, old, new))
    if isinstance(old, int | float) and isinstance(new, int | float):
        return math.isclose(old, new, rel_tol=_SAME, abs_tol=_SAME)
    return bool(old == new)
