"""Does everything in an archive fit? Each thing that does not, in one line, with what to do."""

from __future__ import annotations

import json
import math
import sqlite3
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from swatchvault.archive.connect import RULE_BROKEN, Archive
from swatchvault.archive.files import PART_PREFIX, hash_of
from swatchvault.archive.migrate import MIGRATIONS, migrate
from swatchvault.archive.rows import transaction
from swatchvault.archive.studio import FIBRE_SUM_TOLERANCE
from swatchvault.errors import ArchiveError

_RESTORE = "restore archive.db from a backup"
_FOLDER_BACK = (
    "put the folder back beside archive.db, from where it was moved to or from a copy: without it "
    "nothing is measured anew, and no photo shown whole"
)
_ADD_AGAIN = "add the photo again from where it came"

# How old a file without a row must be before a sweep takes it: a run may be filing it. Our choice.
SWEEP_AFTER_S = 3600.0
#: Photos without a row that a sweep takes even where rows name fewer: what a stopped run leaves.
#: Our choice.
FEW_STRAYS = 10

# Columns that hold JSON; the CHECKs keep them so, and a damaged file may not.
_JSON = {
    "reference": ("known_values",),
    "repeat_set": ("learned",),
    "layout": ("marks",),
    "measurement": (
        *("cov_region", "cov_frame", "cov_setup", "cov_profile", "flags", "left_out"),
        "tonality",
    ),
    "correction": ("provenance",),
    "lot_check": ("detail",),
    "struck_step": ("step", "dyes"),
    "evenness_check": ("detail",),
    "eye_rule": ("thresholds", "detail"),
}


@dataclass(frozen=True)
class Problem:
    """Something that does not fit: its kind, where it is, what it is, and what to do."""

    kind: str
    where: str
    what: str
    do: str

    def __str__(self) -> str:
        return f"{self.kind}: {self.where}: {self.what}; {self.do}"


def verify(archive: Archive) -> list[Problem]:
    """Every problem found in the database and the folders; an empty list if all fits.

    Reads every photo once. Changes nothing.
    """
    conn = archive.conn
    broken = list(_database(conn))
    if any(p.kind == "database damaged" for p in broken):
        return broken  # its rows cannot be trusted to say more
    checks = (
        _schema(conn),
        _unfitting(conn),
        _json_columns(conn),
        _fibres(conn),
        _loops(conn),
        _chains(conn),
        _regions(conn),
        _files(archive),
        _strays(archive),
    )
    return broken + [problem for check in checks for problem in check]


def sweep(archive: Archive, min_age_s: float = SWEEP_AFTER_S) -> list[Path]:
    """Remove photos and thumbs that no row names and half-written files; return what went.

    Only files older than ``min_age_s``. The write lock is held meanwhile, so that a photo which
    is being filed is not taken away under its row. Raises :class:`ArchiveError` where a file cannot
    be removed, or where more photos would go than rows name: the database is then hardly the one
    that these photos were filed in.
    """
    gone = []
    with transaction(archive.conn):
        strays = _stray_paths(archive)
        _refuse_most(archive, strays)
        for path in strays:
            try:
                if time.time() - path.stat().st_mtime >= min_age_s:
                    path.unlink()
                    gone.append(path)
            except FileNotFoundError:
                continue  # another sweep was quicker
            except OSError as error:
                raise ArchiveError(f"cannot remove {path}: {error.strerror or error}") from error
    return gone


def _refuse_most(archive: Archive, strays: Sequence[Path]) -> None:
    whole = [p for p in strays if p.parent == archive.photos and p.name[0] != "."]
    (filed,) = archive.conn.execute("SELECT count(*) FROM photo").fetchone()
    if len(whole) > max(filed, FEW_STRAYS):
        raise ArchiveError(
            f"of the photos in {archive.photos.name} {len(whole)} are named by no row, and {filed} "
            "are: is archive.db another archive's, an older copy or a new one? Put the right one "
            "back (`swatchvault backup --help` says how), or add the photos again. Nothing was "
            "removed"
        )


def _database(conn: sqlite3.Connection) -> Iterator[Problem]:
    try:
        found = [str(r[0]) for r in conn.execute("PRAGMA integrity_check")]
    except sqlite3.DatabaseError as error:
        found = [str(error)]
    for line in found:
        if line == "ok":
            continue
        # A row that breaks its table's rules is whole enough to go on looking.
        kind = "row breaks a rule" if RULE_BROKEN.search(line) else "database damaged"
        yield Problem(kind, "archive.db", line, _RESTORE)


def _schema(conn: sqlite3.Connection) -> Iterator[Problem]:
    fresh = sqlite3.connect(":memory:", isolation_level=None)
    migrate(fresh, MIGRATIONS)
    sql = "SELECT type || ' ' || name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"
    wanted, have = dict(fresh.execute(sql)), {r[0]: r[1] for r in conn.execute(sql)}
    fresh.close()
    for name in wanted:
        if have.get(name) != wanted[name]:
            what = "is not as made" if name in have else "is missing"
            yield Problem("schema differs", name, what, _RESTORE)


def _unfitting(conn: sqlite3.Connection) -> Iterator[Problem]:
    seen = set()
    for table, rowid, parent, _ in conn.execute("PRAGMA foreign_key_check"):
        if (table, rowid, parent) not in seen:
            seen.add((table, rowid, parent))
            what = f"names a row of {parent} that is not there or does not fit"
            yield Problem("row fits no other", f"{table} {rowid}", what, _RESTORE)


def _json_columns(conn: sqlite3.Connection) -> Iterator[Problem]:
    for table, columns in _JSON.items():
        for column in columns:
            sql = f"SELECT rowid, {column} FROM {table} WHERE {column} IS NOT NULL"
            for row_id, text in conn.execute(sql):
                try:
                    json.loads(text)
                except ValueError as error:
                    where = f"{table} {row_id}, {column}"
                    yield Problem("JSON does not parse", where, str(error), _RESTORE)


def _fibres(conn: sqlite3.Connection) -> Iterator[Problem]:
    sql = (
        "SELECT name, sum(percent) FROM base JOIN base_fibre ON base_id = base.id GROUP BY base.id"
    )
    for name, total in conn.execute(sql):
        if not abs(total - 100.0) <= FIBRE_SUM_TOLERANCE:
            what = f"its fibres sum to {total:g} %"
            yield Problem("fibres do not sum to 100", f"base {name!r}", what, "correct them")


def _loops(conn: sqlite3.Connection) -> Iterator[Problem]:
    for table, column, words in (
        ("recipe", "parent_id", "comes from itself through its parents"),
        ("lot", "overdyes_lot_id", "overdyes itself"),
        ("skein", "from_skein_id", "was itself before"),
    ):
        # UNION, not UNION ALL: a loop ends when it meets a row that it has been at.
        sql = (
            f"WITH RECURSIVE up (start, id) AS (SELECT id, {column} FROM {table} "
            f"WHERE {column} IS NOT NULL UNION SELECT up.start, {table}.{column} FROM {table} "
            f"JOIN up ON {table}.id = up.id WHERE {table}.{column} IS NOT NULL) "
            "SELECT start FROM up WHERE start = id ORDER BY start"
        )
        for (row_id,) in conn.execute(sql):
            yield Problem("loop", f"{table} {row_id}", words, f"correct its {column}")


def _chains(conn: sqlite3.Connection) -> Iterator[Problem]:
    """A row may only be superseded by a later one of the same photo (and region)."""
    for table, same in (
        ("layout", "new.photo_id = old.photo_id"),
        ("measurement", f"new.region = old.region AND {_photo('new')} = {_photo('old')}"),
        ("named_class", "new.swatch_id = old.swatch_id"),
    ):
        sql = (
            f"SELECT old.id, old.superseded_by FROM {table} AS old LEFT JOIN {table} AS new "
            f"ON new.id = old.superseded_by WHERE old.superseded_by IS NOT NULL "
            f"AND (new.id IS NULL OR new.id <= old.id OR NOT ({same}))"
        )
        for old_id, new_id in conn.execute(sql):
            what = f"is superseded by {new_id}, which is not there, not later, or of another"
            yield Problem("chain broken", f"{table} {old_id}", what, _RESTORE)
    sql = (
        "SELECT sha256 FROM photo WHERE NOT EXISTS (SELECT 1 FROM layout "
        "WHERE photo_id = photo.id AND superseded_by IS NULL)"
    )
    for (sha256,) in conn.execute(sql):
        yield Problem(
            "photo without layout", f"photo {sha256}", "has no current layout", _ADD_AGAIN
        )


def _photo(measurement: str) -> str:
    return f"(SELECT photo_id FROM layout WHERE layout.id = {measurement}.layout_id)"


def _regions(conn: sqlite3.Connection) -> Iterator[Problem]:
    """Each measurement lies in a region of its layout, and was corrected as that layout was."""
    sql = (
        "SELECT m.id, m.region, m.lab_l, m.lab_a, m.lab_b, made.layout_id IS m.layout_id, "
        "layout.marks FROM measurement AS m LEFT JOIN layout ON layout.id = m.layout_id "
        "LEFT JOIN correction AS made ON made.id = m.correction_id"
    )
    for row_id, region, *lab, fits, marks in conn.execute(sql):
        if not all(isinstance(v, float) and math.isfinite(v) for v in lab):
            yield Problem("no colour", f"measurement {row_id}", "Lab is no number", _RESTORE)
        if marks is None or not fits:
            what = "its layout is missing, or its correction is of another"
            yield Problem("measurement without layout", f"measurement {row_id}", what, _RESTORE)
            continue
        try:
            names = [s["name"] for s in json.loads(marks)["swatches"]]
        except (ValueError, KeyError, TypeError):
            continue  # reported where JSON is looked at
        if region not in names:
            what = f"its layout has no region {region!r}"
            yield Problem("measurement without region", f"measurement {row_id}", what, _RESTORE)


def _files(archive: Archive) -> Iterator[Problem]:
    (filed,) = archive.conn.execute("SELECT count(*) FROM photo").fetchone()
    if filed > 1 and not any(path.is_file() for path in archive.photos.iterdir()):
        what = f"none of the {filed} photos is in the folder"
        yield Problem("photos missing", "photos", what, _FOLDER_BACK)
        return
    for sha256, suffix in archive.conn.execute(
        "SELECT sha256, suffix FROM photo ORDER BY added_at"
    ):
        path = archive.photos / f"{sha256}{suffix}"
        where = f"photos/{path.name}"
        try:
            altered = hash_of(path) != sha256
        except FileNotFoundError:
            yield Problem("photo missing", where, "the file is not there", _ADD_AGAIN)
            continue
        except OSError as error:
            yield Problem("photo unreadable", where, error.strerror or str(error), _ADD_AGAIN)
            continue
        if altered:
            yield Problem("photo altered", where, "its sha256 is not its name", _ADD_AGAIN)
        thumb = archive.thumbs / f"{sha256}.jpg"
        if not thumb.is_file() or not thumb.stat().st_size:
            what = "the file is not there or empty"
            yield Problem("thumb missing", f"thumbs/{thumb.name}", what, "add the photo again")


def _strays(archive: Archive) -> Iterator[Problem]:
    for path in _stray_paths(archive):
        where = f"{path.parent.name}/{path.name}"
        if path.name.startswith(PART_PREFIX):
            yield Problem("half-written file", where, "a program was stopped", "sweep removes it")
        else:
            what = "no row of the database names it"
            yield Problem("file without row", where, what, "add its photo, or sweep removes it")


def _stray_paths(archive: Archive) -> list[Path]:
    rows = archive.conn.execute("SELECT sha256, suffix FROM photo").fetchall()
    named = {archive.photos / f"{s}{suffix}" for s, suffix in rows}
    named |= {archive.thumbs / f"{s}.jpg" for s, _ in rows}
    folders = (archive.photos, archive.thumbs)
    present = sorted(p for f in folders if f.is_dir() for p in f.iterdir() if p.is_file())
    return [p for p in present if p not in named]
