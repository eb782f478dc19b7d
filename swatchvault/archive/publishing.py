"""A copy of the archive for others to look at: checkpointed, read-only, recipes left out."""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path

from swatchvault.archive.connect import DATABASE, PHOTOS, THUMBS, Archive, backup
from swatchvault.archive.migrate import migrate
from swatchvault.archive.since import BEFORE_THE_LAST_DYE
from swatchvault.archive.speaking import BEFORE_LAST_DYE
from swatchvault.archive.values import now
from swatchvault.errors import ArchiveError

#: How a colour was made, in the order in which rows may go.
_MAKING = (
    *("struck_step", "pot_step", "pot", "lot_dye", "recipe_step", "recipe_dye", "recipe_part"),
    *("stock", "dye_pack", "dye"),
)
#: Tables and views that show nothing but the making.
OF_THE_MAKING = frozenset(
    {*_MAKING, "recipe", "recipes", "recipe_plans", "dyes_used", "pot_logs", "stocks"}
)
#: What a page's form did, and how a name was once mistyped, is nobody's business.
_PRIVATE = ("form_sent", "renamed")
#: Words and prices that may speak of recipes; notes are cleared wherever a table has them.
_CLEARED = (
    ("lot", "water"),
    ("lot", "recipe_id"),
    ("lot", "overdyes_lot_id"),
    ("lot", "liquor_ml"),
    ("base", "price_per_kg"),
    ("photo", "original_name"),
    ("master", "reason"),
    ("set_aside", "reason"),
)


def making_withheld(conn: sqlite3.Connection) -> bool:
    """Whether a published copy tells nothing of how colours were made."""
    asked = " UNION ALL ".join(f"SELECT 1 FROM {table}" for table in (*_MAKING, "recipe"))
    return conn.execute(f"SELECT 1 FROM ({asked}) LIMIT 1").fetchone() is None


def publish(archive: Archive, to: Path, *, recipes: bool = False, photos: bool = False) -> Path:
    """Write a copy of the archive into the new folder ``to``; return its database.

    Without ``recipes``: no dyes, stocks, recipes, pot logs, notes, prices or file names, and the
    file is rebuilt, so that nothing deleted is left in its free pages. Small pictures always go
    along, the originals (with whatever the camera wrote into them) only with ``photos``; files that
    no row names, and tables and views that the owner added, never do. Raises ``ArchiveError`` if
    the folder is there already or cannot be written.
    """
    if to.exists():
        raise ArchiveError(f"{to} is there already: name a new folder for the copy")
    part = to.with_name(f".part-{os.getpid()}-{to.name}")
    try:
        part.mkdir(parents=True)
        database = backup(archive.conn, part / DATABASE)
        with closing(sqlite3.connect(database, isolation_level=None)) as conn:
            _strip(conn, recipes=recipes)
        database.chmod(0o444)
        with closing(sqlite3.connect(database)) as conn:
            filed = conn.execute("SELECT sha256, suffix FROM photo").fetchall()
        _copy_filed(archive.thumbs, part / THUMBS, {f"{sha256}.jpg" for sha256, _ in filed})
        if photos:
            names = {sha256 + suffix for sha256, suffix in filed}
            _copy_filed(archive.photos, part / PHOTOS, names)
        part.replace(to)
    except OSError as error:
        shutil.rmtree(part, ignore_errors=True)
        raise ArchiveError(f"cannot write {to}: {error.strerror or error}") from error
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return to / DATABASE


def _strip(conn: sqlite3.Connection, *, recipes: bool) -> None:
    """Take out what is not for others, and rebuild the file."""
    conn.execute("PRAGMA secure_delete = ON")
    conn.execute("PRAGMA foreign_keys = OFF")
    conn.execute("BEGIN IMMEDIATE")
    _drop_own(conn)
    for table in _PRIVATE:
        conn.execute(f"DELETE FROM {table}")
    if not recipes:
        # What is kept as it was stays so in the archive; this is a copy.
        kept = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in kept:
            conn.execute(f'DROP TRIGGER "{name}"')
        for table, column in (*_CLEARED, *_notes(conn)):
            conn.execute(f"UPDATE {table} SET {column} = NULL")
        _keep_what_speaks(conn)
        for table in _MAKING:
            conn.execute(f"DELETE FROM {table}")
        conn.execute("DELETE FROM recipe")
        for _, sql in kept:
            conn.execute(sql)
    if conn.execute("PRAGMA foreign_key_check").fetchone() is not None:
        raise ArchiveError("the copy would hold rows that do not fit: nothing was written")
    conn.execute("COMMIT")
    conn.execute("VACUUM")


def _keep_what_speaks(conn: sqlite3.Connection) -> None:
    """Set aside what is left out for having been photographed before the last dye: when that went
    in, a copy does not tell."""
    early = (
        f"SELECT m.photo_id, m.swatch_id, {BEFORE_LAST_DYE} AS early FROM current_measurement AS m "
        "JOIN photo ON photo.id = m.photo_id WHERE m.swatch_id IS NOT NULL"
    )
    conn.execute(
        "INSERT INTO set_aside (photo_id, swatch_id, set_aside_at, reason) "
        f"SELECT DISTINCT photo_id, swatch_id, ?, ? FROM ({early}) WHERE early AND swatch_id IN "
        f"(SELECT swatch_id FROM ({early}) GROUP BY swatch_id HAVING min(early) = 0)",
        (now(), BEFORE_THE_LAST_DYE),
    )


def _drop_own(conn: sqlite3.Connection) -> None:
    """Tables, views and triggers that the owner added may hold, or name in their words, what is not
    for others."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as fresh:
        migrate(fresh)
        ours = {name for _, name in _named(fresh)}
    # A trigger goes with what it is on, and a virtual table takes those that it keeps along.
    for kind, name in _named(conn):
        if name not in ours:
            conn.execute('DROP {} IF EXISTS "{}"'.format(kind, name.replace('"', '""')))


def _named(conn: sqlite3.Connection) -> list[tuple[str, str]]:
    """Kind and name of triggers, views and tables, virtual tables first."""
    return conn.execute(
        "SELECT type, name FROM sqlite_master WHERE type IN ('trigger', 'view', 'table') "
        "AND name NOT LIKE 'sqlite!_%' ESCAPE '!' ORDER BY type DESC, rootpage"
    ).fetchall()


def _notes(conn: sqlite3.Connection) -> list[tuple[str, str]]:
    """Every column of free words, in every table."""
    tables = [r[0] for r in conn.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    return [
        (table, "note")
        for table in tables
        if any(r[1] == "note" for r in conn.execute(f'PRAGMA table_info("{table}")'))
    ]


def _copy_filed(folder: Path, to: Path, names: set[str]) -> None:
    """Copy files that rows name, those that are there; of what else lies there no row tells whose
    it is."""
    to.mkdir()
    for path in folder.iterdir():
        if path.name in names:
            shutil.copy2(path, to / path.name)
