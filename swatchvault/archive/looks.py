"""What the archive holds of how swatches look: only what a search by looks reads, since a whole
measurement is long."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

import numpy as np

from ingest.model import Array
from swatchvault.archive.speaking import placed

_KEYS = ("signature", "palette", "off_light_line", "dots_percent", "strand_contrast")
_PATHS = ", ".join(f"'$.{key}'" for key in _KEYS)
_METHOD = "json_extract(m.tonality, '$.method')"
_ASKED = (
    "(:version IS NULL OR m.version = :version) "
    f"AND (:method IS NULL OR COALESCE({_METHOD}, :method) = :method)"
)
_LOOKS = f"""SELECT m.swatch_id, m.lab_l, m.lab_a, m.lab_b, json_extract(m.tonality, {_PATHS})
FROM ({placed(_ASKED)}) AS spoken JOIN measurement AS m ON m.id = spoken.id
WHERE spoken.place = 1 ORDER BY m.swatch_id"""


def speaking_looks(
    conn: sqlite3.Connection, version: str | None = None, method: str | None = None
) -> tuple[Array, Array, list[dict[str, Any]]]:
    """Ids (n,) of measured swatches, the Lab (n, 3) of the measurement that speaks for each and the
    keys of its evenness that a look is made of (all null where it has none).

    ``version``: only measurements by that version; ``method``: none whose evenness was measured
    by another.
    """
    rows = conn.execute(_LOOKS, {"version": version, "method": method})
    seen = {row[0]: tuple(row)[1:] for row in rows}
    ids = np.fromiter(seen, dtype=np.int64, count=len(seen))
    labs = np.array([row[:3] for row in seen.values()], dtype=np.float64).reshape(-1, 3)
    blank = [None] * len(_KEYS)
    found = (blank if row[3] is None else json.loads(row[3]) for row in seen.values())
    return ids, labs, [dict(zip(_KEYS, values, strict=True)) for values in found]
