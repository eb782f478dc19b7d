"""What repeat photos of a set-up taught: kept, asked for, and taken back."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from swatchvault.archive.rows import insert, transaction
from swatchvault.archive.values import now, to_json
from swatchvault.errors import ArchiveError

_IN_FORCE = (
    "SELECT id, learned_at, learned FROM repeat_set WHERE setup_id = ? AND taken_back_at IS NULL "
    "ORDER BY id DESC"  # not by the clock, which may have gone back
)


@dataclass(frozen=True)
class RepeatSet:
    """What one set of repeats taught, as it was kept. ``id``: of its row."""

    id: int
    learned_at: str
    learned: Mapping[str, Any]


def add_repeat_set(
    conn: sqlite3.Connection,
    setup_id: int,
    photos: Sequence[str],
    frame_variance: float,
    learned: Mapping[str, Any],
) -> int:
    """Keep what repeat photos of a set-up taught.

    ``frame_variance``: the mean of the three variances of a difference's frame part, at kL = 1.
    ``photos``: their sha256, of those that are filed. ``learned``: how it was found, as plain data.
    """
    with transaction(conn):
        values = {
            "setup_id": setup_id,
            "learned_at": now(),
            "frame_variance": frame_variance,
            "learned": to_json(learned),
        }
        set_id = insert(conn, "repeat_set", values)
        for sha256 in photos:
            insert(conn, "repeat_photo", {"repeat_set_id": set_id, "photo_sha256": sha256})
    return set_id


def filed_among(conn: sqlite3.Connection, photos: Sequence[str]) -> list[str]:
    """Those of these sha256 whose photo is filed."""
    sql = "SELECT sha256 FROM photo WHERE sha256 IN (SELECT value FROM json_each(?)) ORDER BY id"
    return [str(r[0]) for r in conn.execute(sql, (json.dumps(list(photos)),))]


def repeat_sets_in_force(conn: sqlite3.Connection, setup_id: int) -> list[RepeatSet]:
    """What was kept for a set-up and not taken back, newest first; the first of them counts."""
    rows = conn.execute(_IN_FORCE, (setup_id,)).fetchall()
    return [RepeatSet(int(r[0]), str(r[1]), dict(json.loads(r[2]))) for r in rows]


def learned_of_setup(conn: sqlite3.Connection, setup_id: int) -> Mapping[str, Any] | None:
    """What the newest repeat photos of a set-up taught, as it was kept; ``None`` if nothing."""
    row = conn.execute(_IN_FORCE, (setup_id,)).fetchone()
    return None if row is None else dict(json.loads(row[2]))


def take_back_repeat_set(
    conn: sqlite3.Connection, setup_id: int, set_id: int | None = None
) -> RepeatSet | None:
    """Take back what counts for a set-up; what counted before it counts again, and is returned.

    ``set_id``: the one that is meant, where it may have changed meanwhile. Raises ``ArchiveError``
    where nothing is kept, or another one counts.
    """
    with transaction(conn):
        kept = repeat_sets_in_force(conn, setup_id)
        if not kept:
            raise ArchiveError("nothing that repeats taught is kept for it: nothing to take back")
        if set_id is not None and kept[0].id != set_id:
            raise ArchiveError("what counts for it has changed since: look again before you do it")
        sql = "UPDATE repeat_set SET taken_back_at = ? WHERE id = ?"
        conn.execute(sql, (now(), kept[0].id))
    return kept[1] if len(kept) > 1 else None
