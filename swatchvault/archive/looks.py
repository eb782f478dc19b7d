"""What the archive holds of how swatches look: only what a search by looks reads, since a whole
measurement is long."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

import numpy as np

from ingest.model import Array

_KEYS = ("signature", "palette", "off_light_line", "dots_percent", "strand_contrast")
_PATHS = ", ".join(f"'$.{key}'" for key in _KEYS)
_LOOKS = f"""SELECT m.swatch_id, m.lab_l, m.lab_a, m.lab_b, json_extract(m.tonality, {_PATHS})
FROM current_measurement AS m JOIN photo ON photo.id = m.photo_id
WHERE m.swatch_id IS NOT NULL AND (:version IS NULL OR m.version = :version)
AND (:method IS NULL OR COALESCE(json_extract(m.tonality, '$.method'), :method) = :method)
ORDER BY COALESCE(photo.taken_at, photo.added_at), m.id"""


def newest_looks(
    conn: sqlite3.Connection, version: str | None = None, method: str | None = None
) -> tuple[Array, Array, list[dict[str, Any]]]:
    """Ids (n,) of measured swatches, the Lab of their newest measurement (n, 3) and the keys of
    its evenness that a look is made of (all null where it has none).

    ``version``: only measurements by that version; ``method``: none whose evenness was measured
    by another.
    """
    rows = conn.execute(_LOOKS, {"version": version, "method": method})
    newest = {row[0]: tuple(row)[1:] for row in rows}  # oldest first
    ids = np.fromiter(newest, dtype=np.int64, count=len(newest))
    labs = np.array([row[:3] for row in newest.values()], dtype=np.float64).reshape(-1, 3)
    blank = [None] * len(_KEYS)
    found = (blank if row[3] is None else json.loads(row[3]) for row in newest.values())
    return ids, labs, [dict(zip(_KEYS, values, strict=True)) for values in found]
