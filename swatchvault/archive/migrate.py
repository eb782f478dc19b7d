"""The schema's numbered migrations: each old archive opens and is upgraded in one transaction.

Migration n is entry n - 1 of :data:`MIGRATIONS`; ``PRAGMA user_version`` holds how many an
archive has had. A released migration is never edited. Our views hold no data and are made anew,
also where they are not as this program has them; views that the owner added are left alone.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence

from swatchvault.archive.rows import transaction
from swatchvault.archive.schema_aside import SET_ASIDE
from swatchvault.archive.schema_evenness import EVENNESS
from swatchvault.archive.schema_numbered import renumber
from swatchvault.archive.schema_photos import PICTURES
from swatchvault.archive.schema_pot import POT
from swatchvault.archive.schema_poured import POURED
from swatchvault.archive.schema_renamed import RENAMED
from swatchvault.archive.schema_repeats import REPEATS_TAKEN_BACK
from swatchvault.archive.schema_shares import forget_wrong_shares
from swatchvault.archive.schema_struck import STRUCK
from swatchvault.archive.schema_studio import STUDIO
from swatchvault.archive.schema_web import WEB
from swatchvault.archive.views import FORMER_VIEWS, VIEWS
from swatchvault.errors import ArchiveError

Migration = Callable[[sqlite3.Connection], None]

#: ``PRAGMA application_id``: "SwVa" in ASCII, our own choice, so that a stray file is told apart.
APPLICATION_ID = 0x53775661


def first_tables(conn: sqlite3.Connection) -> None:
    """Migration 1: every table, index and trigger."""
    for statement in (*STUDIO, *PICTURES):
        conn.execute(statement)


def pots(conn: sqlite3.Connection) -> None:
    """Migration 2: when a pot was started, how it ended, and settings."""
    for statement in POT:
        conn.execute(statement)


def evenness(conn: sqlite3.Connection) -> None:
    """Migration 3: evenness held to and judged; classes named by the dyer, and a rule from them."""
    for statement in EVENNESS:
        conn.execute(statement)


def forms(conn: sqlite3.Connection) -> None:
    """Migration 4: forms that were sent, so that none does its work twice."""
    for statement in WEB:
        conn.execute(statement)


def numbered_photos(conn: sqlite3.Connection) -> None:
    """Migration 5: photos by number, and a photo's correction told once."""
    renumber(conn)


def mended_names(conn: sqlite3.Connection) -> None:
    """Migration 6: what was renamed, so that an old name is known again."""
    for statement in RENAMED:
        conn.execute(statement)


def set_aside(conn: sqlite3.Connection) -> None:
    """Migration 7: measurements that were set aside, and taken back."""
    for statement in SET_ASIDE:
        conn.execute(statement)


def struck(conn: sqlite3.Connection) -> None:
    """Migration 8: steps struck from a pot's log, and which dyes each step put in."""
    for statement in STRUCK:
        conn.execute(statement)


def shares(conn: sqlite3.Connection) -> None:
    """Migration 9: strengths that were kept as shares of the goods are taken out."""
    forget_wrong_shares(conn)


def repeats_taken_back(conn: sqlite3.Connection) -> None:
    """Migration 10: when what repeats taught was taken back."""
    for statement in REPEATS_TAKEN_BACK:
        conn.execute(statement)


def poured(conn: sqlite3.Connection) -> None:
    """Migration 11: indexes that tell what went in of a dye and of a stock."""
    for statement in POURED:
        conn.execute(statement)


MIGRATIONS: tuple[Migration, ...] = (
    first_tables,
    pots,
    evenness,
    forms,
    numbered_photos,
    mended_names,
    set_aside,
    struck,
    shares,
    repeats_taken_back,
    poured,
)


def version_of(conn: sqlite3.Connection) -> int:
    """How many migrations the database has had."""
    return int(conn.execute("PRAGMA user_version").fetchone()[0])


def migrate(conn: sqlite3.Connection, migrations: Sequence[Migration] | None = None) -> int:
    """Bring the database to the newest version in one transaction; return how many steps ran.

    Our views that differ from this program's are made anew without a step. Safe to run twice and by
    two programs at once. Raises ``ArchiveError`` if the archive is of a
    newer version (nothing is written), or if a step leaves rows that do not fit (nothing stays).
    """
    steps = MIGRATIONS if migrations is None else migrations
    refuse_newer(version_of(conn), len(steps))
    if version_of(conn) == len(steps) and _our_views(conn) == dict(VIEWS):
        return 0
    # A table is rebuilt under its old name without upsetting those that refer to it
    # (sqlite.org/lang_altertable.html, section 7); the check before the commit stands in.
    conn.execute("PRAGMA foreign_keys = OFF")
    # Else a rename looks into every view, and the owner's may read ours, which are dropped then.
    conn.execute("PRAGMA legacy_alter_table = ON")
    try:
        with transaction(conn):
            have = version_of(conn)
            refuse_newer(have, len(steps))
            for name in _our_views(conn):
                conn.execute(f"DROP VIEW {name}")
            for step in steps[have:]:
                step(conn)
            for statement in VIEWS.values():
                conn.execute(statement)
            if conn.execute("PRAGMA foreign_key_check").fetchone() is not None:
                raise ArchiveError("the upgrade would leave rows that do not fit: nothing changed")
            conn.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            conn.execute(f"PRAGMA user_version = {len(steps)}")
    finally:
        conn.execute("PRAGMA legacy_alter_table = OFF")
        conn.execute("PRAGMA foreign_keys = ON")
    return len(steps) - have


def refuse_newer(have: int, known: int) -> None:
    """Raise ``ArchiveError`` if the archive had more migrations than this program knows."""
    if have > known:
        raise ArchiveError(
            f"the archive is of version {have}, this program knows versions up to {known}: "
            "nothing was changed; open it with a newer swatchvault"
        )


def _our_views(conn: sqlite3.Connection) -> dict[str, str]:
    """The views of names that this program or an earlier one gave, as they are."""
    ours = {*VIEWS, *FORMER_VIEWS}
    rows = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'view'")
    return {name: sql for name, sql in rows if name in ours}
