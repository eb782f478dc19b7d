"""Settings that an archive keeps: the sizes of spoon and cup."""

from __future__ import annotations

import sqlite3
from dataclasses import asdict

from swatchvault.amounts import SpoonSizes


def spoons_of(conn: sqlite3.Connection) -> SpoonSizes:
    """The sizes of spoon and cup in this archive; the usual ones where none was set."""
    told = {r[0]: r[1] for r in conn.execute("SELECT name, value FROM setting")}
    return SpoonSizes(**{k: told.get(k, v) for k, v in asdict(SpoonSizes()).items()})
