"""Photos that can hardly show what they are filed as; all of it is kept as told."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

# Of one lot, or one photo, by its index: "it is not asked for, or is this" would look through all.
_BEFORE_DYEING = """SELECT photo.sha256, COALESCE(photo.original_name, substr(photo.sha256, 1, 12)),
substr(photo.taken_at, 1, 10), swatch.id, swatch.label, lot.id, lot.code, substr(lot.dyed_on, 1, 10)
FROM lot JOIN swatch ON swatch.lot_id = lot.id
JOIN current_measurement AS m ON m.swatch_id = swatch.id JOIN photo ON photo.id = m.photo_id
WHERE substr(photo.taken_at, 1, 10) < substr(lot.dyed_on, 1, 10) AND {which}
ORDER BY lot.code, photo.taken_at, swatch.label"""


@dataclass(frozen=True)
class PhotoDoubt:
    """Something of a photo that can hardly be: its kind, where, what, and what to do."""

    kind: str
    where: str
    what: str
    do: str
    sha256: str
    swatch_id: int
    lot_id: int

    def __str__(self) -> str:
        return f"{self.where}: {self.what}; {self.do}"


def photo_doubts(
    conn: sqlite3.Connection, *, lot_id: int | None = None, sha256: str | None = None
) -> list[PhotoDoubt]:
    """Photos that count and were taken, by the camera's clock, on a day before their lot was dyed.

    ``lot_id``, ``sha256``: only those of this lot, of this photo.
    """
    asked = {"lot.id": lot_id, "photo.sha256": sha256}
    told = {column: value for column, value in asked.items() if value is not None}
    which = " AND ".join(f"{column} = ?" for column in told) or "1"
    return [
        PhotoDoubt(
            "photo before dyeing",
            f"photo {photo!r} of swatch {label!r}",
            f"it was taken on {taken}, and lot {code!r} was dyed on {dyed}",
            "correct the lot's day, or add the photo again as the swatch that it really shows; "
            "if the camera's clock was wrong, all is well",
            sha,
            swatch_id,
            of_lot,
        )
        for sha, photo, taken, swatch_id, label, of_lot, code, dyed in conn.execute(
            _BEFORE_DYEING.format(which=which), tuple(told.values())
        )
    ]
