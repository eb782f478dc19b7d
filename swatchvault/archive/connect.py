"""The archive folder: made, opened, closed, copied."""

from __future__ import annotations

import os
import re
import sqlite3
import struct
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from swatchvault.archive.migrate import (
    APPLICATION_ID,
    MIGRATIONS,
    migrate,
    refuse_newer,
    version_of,
)
from swatchvault.archive.rows import PUT_BACK
from swatchvault.errors import ArchiveError

DATABASE = "archive.db"
PHOTOS = "photos"
THUMBS = "thumbs"

#: What SQLite says of a row that breaks its table's rules, which an older version may have let in.
RULE_BROKEN = re.compile(r"^(CHECK constraint failed|NULL value in|NUMERIC value in|TEXT value in)")

_BUSY_S = 30.0  # how long a writer waits for another; our choice
# SQLite file format 3, section 1.3: magic at 0, user version at 60, application id at 68.
_MAGIC = b"SQLite format 3\x00"


@dataclass(frozen=True)
class Archive:
    """An open archive: its folder and one connection to its database."""

    folder: Path
    conn: sqlite3.Connection

    @property
    def photos(self) -> Path:
        """Folder of the originals."""
        return self.folder / PHOTOS

    @property
    def thumbs(self) -> Path:
        """Folder of the small pictures."""
        return self.folder / THUMBS

    def close(self) -> None:
        """Close the connection; closing twice does no harm."""
        self.conn.close()

    def __enter__(self) -> Archive:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def create_archive(folder: Path | str) -> Archive:
    """Make an archive in ``folder`` (made if absent) and open it.

    Raises ``ArchiveError`` if one is there already or the folder cannot be written.
    """
    path = Path(folder)
    try:
        path.mkdir(parents=True, exist_ok=True)
        for name in (PHOTOS, THUMBS):
            (path / name).mkdir(exist_ok=True)
    except OSError as error:
        raise ArchiveError(f"cannot make an archive in {path}: {_why(error)}") from error
    database = path / DATABASE
    _refuse_taken(database)
    conn = _connect(database, "rwc")
    try:
        if not migrate(conn):
            raise ArchiveError(f"{path} already holds an archive: open it, or choose another")
    except BaseException:
        conn.close()
        raise
    return Archive(path, conn)


def open_archive(folder: Path | str) -> Archive:
    """Open the archive in ``folder``, upgrading an older one.

    Raises ``ArchiveError``: no archive there, not an archive's database, of a newer version
    (left untouched), or no permission to read or write.
    """
    path = Path(folder)
    database = path / DATABASE
    try:
        there = database.is_file()
    except OSError as error:
        raise ArchiveError(f"cannot open the archive in {path}: {_why(error)}") from error
    if not there:
        raise ArchiveError(f"no archive in {path}: create one there, or name the right folder")
    if database.stat().st_size == 0:
        raise ArchiveError(
            f"{database} is empty and not an archive's database: {PUT_BACK}, or "
            "make a new archive there (`swatchvault new`)"
        )
    application, version = _header(database)
    _refuse_log_of_another(database)
    if application != APPLICATION_ID and not _has_unwritten_log(database):
        raise ArchiveError(f"{database} is not an archive's database: name the right folder")
    refuse_newer(version, len(MIGRATIONS))
    refuse_unwritable(path)
    # The header may lie behind an unfinished log, and a writing connection would fold that in.
    with_log = _connect(database, "ro")
    try:
        refuse_newer(version_of(with_log), len(MIGRATIONS))
        if with_log.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
            raise ArchiveError(f"{database} is not an archive's database: name the right folder")
    finally:
        with_log.close()
    conn = _connect(database, "rw")
    try:
        migrate(conn)
        for name in (PHOTOS, THUMBS):
            (path / name).mkdir(exist_ok=True)
    except FileExistsError as error:
        conn.close()
        raise ArchiveError(
            f"{error.filename} is no folder: if it leads to another disk, connect that first; else "
            "move it away"
        ) from error
    except OSError as error:
        conn.close()
        raise ArchiveError(f"cannot open the archive in {path}: {_why(error)}") from error
    except BaseException:
        conn.close()
        raise
    return Archive(path, conn)


def refuse_unwritable(folder: Path) -> None:
    """Raise ``ArchiveError`` unless the folder and its database may be written."""
    for place in (folder, folder / DATABASE):
        if not os.access(place, os.W_OK):
            raise ArchiveError(f"{place} is read-only: allow writing there, or copy the archive")


def prepare_connection(conn: sqlite3.Connection) -> None:
    """Set a connection to an archive's habits; Datasette's own connections need it too.

    synchronous FULL, because with NORMAL a power cut can lose the last commits of a write-ahead
    log (sqlite.org/pragma.html#pragma_synchronous), and what was acknowledged must stay.
    """
    conn.row_factory = sqlite3.Row
    conn.execute(f"PRAGMA busy_timeout = {int(_BUSY_S * 1000)}")
    conn.execute("PRAGMA foreign_keys = ON")
    conn.execute("PRAGMA synchronous = FULL")


def backup(conn: sqlite3.Connection, to: Path | str) -> Path:
    """Copy the whole database, log included, to a new file while others may go on working.

    Raises ``ArchiveError`` if the file exists or cannot be written, or where the database is
    damaged: its copy would be too, and could take a good one's place. The photos are plain files:
    copy their folders beside it.
    """
    target = Path(to)
    if target.exists():
        raise ArchiveError(f"{target} is there already: name a new file for the copy")
    part = target.with_name(f".part-{os.getpid()}-{target.name}")
    try:
        copy = sqlite3.connect(part)
        try:
            conn.backup(copy)
            if found := damage(copy):
                raise ArchiveError(
                    f"the archive's database is damaged ({found[0]}), and so would a copy be: none "
                    f"was made. Keep the backups that you have; {PUT_BACK}"
                )
            copy.execute("PRAGMA journal_mode = DELETE")  # one file, nothing beside it
        finally:
            copy.close()
        part.replace(target)
    except (OSError, sqlite3.Error) as error:
        part.unlink(missing_ok=True)
        raise ArchiveError(f"cannot write the copy to {target}: {_why(error)}") from error
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return target


def damage(conn: sqlite3.Connection) -> list[str]:
    """What is damaged in a database, in SQLite's own words; a row that breaks a rule of its table
    is none, for it is whole."""
    try:
        found = [str(row[0]) for row in conn.execute("PRAGMA integrity_check")]
    except sqlite3.DatabaseError as error:
        return [str(error)]
    return [line for line in found if line != "ok" and not RULE_BROKEN.search(line)]


def _connect(database: Path, mode: str) -> sqlite3.Connection:
    uri = f"file:{quote(str(database.absolute()))}?mode={mode}"
    try:
        # isolation_level None: transactions begin and end where the code says so.
        conn = sqlite3.connect(uri, uri=True, timeout=_BUSY_S, isolation_level=None)
        try:
            if mode == "rwc":  # a measurement is over 1 kB: less of a larger page stays empty
                conn.execute("PRAGMA page_size = 8192")
            if mode != "ro":
                conn.execute("PRAGMA journal_mode = WAL")
            prepare_connection(conn)
            conn.execute("SELECT count(*) FROM sqlite_master")
        except BaseException:
            conn.close()
            raise
    except sqlite3.Error as error:
        raise ArchiveError(f"cannot open {database}: {_why(error)}") from error
    return conn


def _refuse_taken(database: Path) -> None:
    """Raise ``ArchiveError`` if a database with anything in it is there; nothing is changed."""
    if not database.exists() or database.stat().st_size == 0:
        return
    _header(database)  # refuses what is no SQLite file
    conn = _connect(database, "ro")
    try:
        application = conn.execute("PRAGMA application_id").fetchone()[0]
        tables = conn.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    finally:
        conn.close()
    if application == APPLICATION_ID:
        raise ArchiveError(
            f"{database.parent} already holds an archive: open it, or choose another"
        )
    if tables:
        raise ArchiveError(f"{database} is another program's database: choose another folder")


def _header(database: Path) -> tuple[int, int]:
    """(application id, user version) as the file's first bytes say; zeros for an empty file."""
    try:
        with database.open("rb") as file:
            head = file.read(100)
    except OSError as error:
        raise ArchiveError(f"cannot read {database}: {_why(error)}") from error
    if not head:
        return 0, 0
    if len(head) < 100 or not head.startswith(_MAGIC):
        raise ArchiveError(f"{database} is not an SQLite file: name the right folder")
    (version,) = struct.unpack_from(">i", head, 60)
    (application,) = struct.unpack_from(">i", head, 68)
    return application, version


def _refuse_log_of_another(database: Path) -> None:
    """Raise ``ArchiveError`` where a backup was put back beside the log of the database before it.

    An archive says in its header that it has a log, and a backup that it has none (SQLite file
    format 3, section 1.3.3); with a log beside it all the same, its pages would be mixed.
    """
    with database.open("rb") as file:
        without_log = file.read(19)[18:] == b"\x01"
    if without_log and _has_unwritten_log(database):
        raise ArchiveError(
            f"{database} is a backup, and the log beside it is another database's, whose changes "
            f"would spoil it: close all that has the archive open, move {database.name}-wal and "
            f"{database.name}-shm out of the folder, and open it again. Nothing was changed"
        )


def _has_unwritten_log(database: Path) -> bool:
    log = database.with_name(database.name + "-wal")
    return log.is_file() and log.stat().st_size > 0


def _why(error: Exception) -> str:
    """The reason alone, without number and file name."""
    if "disk I/O error" in str(error):  # SQLite's word for a full disk where it needs a little room
        return "the disk could not be read or written: make room if it is full, and try again"
    if "malformed" in str(error) or "not a database" in str(error):
        return f"it is damaged: {PUT_BACK}"
    return (error.strerror if isinstance(error, OSError) else None) or str(error)
