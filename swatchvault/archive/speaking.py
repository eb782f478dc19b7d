"""Which photo speaks for a swatch: one rule for views, lists, pages and searches alike.

Of a swatch's measurements in force by the newest version of the method, those that can be judged
on and were dry come before all others. Of these the photo speaks that leaves least doubt of the
colour, and of about equals the newest.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable

from ingest.flags import FLAGS_THAT_STOP_A_VERDICT

#: Photos whose doubt is larger than the least by no more than this factor are about equal; our
#: choice: figures of one swatch under one reference differ by some per cent.
ALIKE = 1.1


def variance_total(index: int) -> str:
    """SQL: variance of one Lab axis of the measurement ``m``, its four parts summed; NULL where a
    part is unknown."""
    parts = ("cov_region", "cov_frame", "cov_setup", "cov_profile")
    return " + ".join(f"json_extract(m.{p}, '$[{index}][{index}]')" for p in parts)


_STOPPED = " + ".join(f"instr(m.flags, '\"{flag}\"')" for flag in sorted(FLAGS_THAT_STOP_A_VERDICT))
#: SQL: 1 where the measurement ``m`` was of damp yarn, 0 where of dry or where nobody said.
DAMP = (
    "(COALESCE(m.dry, (SELECT dry FROM swatch WHERE swatch.id = m.swatch_id)) IS 0 "
    "OR COALESCE(instr(m.flags, '\"not dry\"'), 0) > 0)"
)
_NEWEST_VERSION = (
    "(SELECT version FROM measurement WHERE superseded_by IS NULL ORDER BY id DESC LIMIT 1)"
)


def placed(where: str = "1") -> str:
    """SQL: ``swatch_id``, ``id`` and ``place`` of the measurements ``m`` that fit ``where``; the
    one of place 1 speaks for its swatch."""
    doubt = " + ".join(variance_total(axis) for axis in range(3))
    return f"""SELECT swatch_id, id, row_number() OVER (PARTITION BY swatch_id
    ORDER BY fit DESC, doubt <= {ALIKE**2:.4f} * least DESC, at DESC, id DESC) AS place
FROM (SELECT *, min(doubt) OVER (PARTITION BY swatch_id, fit) AS least
    FROM (SELECT m.swatch_id, m.id, {doubt} AS doubt,
        2 * (m.version = {_NEWEST_VERSION}) + ({_STOPPED} = 0 AND NOT {DAMP}) AS fit,
        COALESCE(photo.taken_at, photo.added_at) AS at
        FROM current_measurement AS m JOIN photo ON photo.id = m.photo_id
        WHERE m.swatch_id IS NOT NULL AND {where}))"""


def speaks_for(swatch: str) -> str:
    """SQL: the number of the measurement that speaks for a swatch; NULL where it has none.

    ``swatch``: SQL of the swatch's number.
    """
    return f"(SELECT id FROM ({placed(f'm.swatch_id = {swatch}')}) WHERE place = 1)"


def speaking(
    conn: sqlite3.Connection, swatch_ids: Iterable[int], version: str | None = None
) -> dict[int, int]:
    """The number of the measurement that speaks for each of these swatches that has one.

    ``version``: of measurements by that version of the method alone.
    """
    where = (
        "m.swatch_id IN (SELECT value FROM json_each(:ids)) "
        "AND (:version IS NULL OR m.version = :version)"
    )
    asked = {"ids": json.dumps([int(i) for i in swatch_ids]), "version": version}
    rows = conn.execute(f"SELECT swatch_id, id FROM ({placed(where)}) WHERE place = 1", asked)
    return {int(swatch): int(measurement) for swatch, measurement in rows}
