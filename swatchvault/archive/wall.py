"""The wall: a page of colourways, each with its newest picture, colour, evenness and check."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass

from swatchvault.archive.evenness import verdict_shown
from swatchvault.archive.listing import holds, query
from swatchvault.archive.lot_verdict import check_of, swatch_of
from swatchvault.archive.since import all_aside, former_master, since_then
from swatchvault.archive.speaking import speaking, swatch_for_lot, telling_evenness
from swatchvault.archive.standing import in_force
from swatchvault.archive.views import DAY_OF_LOT
from swatchvault.archive.views_evenness import class_words

_STANDS = in_force("master")

_PAGE = f"""SELECT colourway.id, colourway.name,
(SELECT count(*) FROM lot WHERE lot.colourway_id = colourway.id) AS lots,
(SELECT {swatch_for_lot("lot.id")} FROM lot WHERE lot.colourway_id = colourway.id
    AND EXISTS (SELECT 1 FROM swatch JOIN current_measurement AS m ON m.swatch_id = swatch.id
        WHERE swatch.lot_id = lot.id)
    ORDER BY {DAY_OF_LOT} DESC, lot.id DESC LIMIT 1) AS of_newest_lot,
(SELECT m.swatch_id FROM master JOIN current_measurement AS m ON m.swatch_id = master.swatch_id
    WHERE master.colourway_id = colourway.id AND {_STANDS}
    ORDER BY master.since DESC, master.id DESC, m.id DESC LIMIT 1) AS of_master,
EXISTS (SELECT 1 FROM master WHERE master.colourway_id = colourway.id AND {_STANDS}) AS has_master,
{
    all_aside(
        "SELECT swatch.id FROM lot JOIN swatch ON swatch.lot_id = lot.id "
        "WHERE lot.colourway_id = colourway.id"
    )
} AS all_aside
FROM colourway WHERE colourway.name > :after
AND (:among IS NULL OR colourway.id IN (SELECT value FROM json_each(:among)))
ORDER BY colourway.name LIMIT :count"""

_SEEN = """SELECT m.swatch_id, m.lab_l, m.lab_a, m.lab_b, photo.sha256 AS photo_sha256
FROM measurement AS m JOIN layout ON layout.id = m.layout_id
JOIN photo ON photo.id = layout.photo_id WHERE m.id IN (SELECT value FROM json_each(:ids))"""

_EVEN = f"""SELECT swatch_id, {class_words("m")} AS evenness FROM measurement AS m
WHERE id IN (SELECT value FROM json_each(:ids))"""

_CHECKED = f"""WITH last AS (SELECT lot.id, c.id AS check_id, c.verdict,
    c.verdict = 'outside' AND {former_master("c.id")} IS NULL AS is_outside
    FROM lot JOIN lot_check AS c ON c.id = {check_of("lot.id")}
    WHERE lot.colourway_id IN (SELECT value FROM json_each(:ids)))
SELECT newest.*, {swatch_of("newest.lot_id", "newest.check_id")} AS swatch,
{since_then("newest.check_id")} AS since_then, {verdict_shown("tonal")} AS evenness_verdict FROM
(SELECT lot.colourway_id, lot.id AS lot_id, lot.code AS lot, last.verdict, last.check_id,
    last.is_outside, sum(last.is_outside) OVER (PARTITION BY lot.colourway_id) AS outside,
    row_number() OVER (
    PARTITION BY lot.colourway_id ORDER BY {DAY_OF_LOT} DESC, lot.id DESC) AS place
FROM last JOIN lot ON lot.id = last.id) AS newest
LEFT JOIN evenness_check AS tonal ON tonal.lot_check_id = newest.check_id
WHERE newest.place = 1"""


@dataclass(frozen=True)
class OnTheWall:
    """A colourway as the wall shows it; what is not known is ``None``.

    ``lab`` and ``photo_sha256`` are of the photo that speaks for the master, or for the newest
    measured lot where no photo of a master counts; ``evenness`` is that swatch's. ``verdict``: the
    one that speaks for ``checked_lot``, the newest lot that was checked, by the day of its first
    photo where it has none of its own; ``evenness_verdict``: what that check said of its evenness,
    ``checked_swatch`` what it was of, where several of the lot were checked; ``since_then``: what
    became of its master and photos. ``outside``: lots that are, of those last held to a master
    that still is one; ``itself_outside``: whether ``checked_lot`` is of these. ``all_aside``:
    measured, and no photo counts.
    """

    colourway_id: int
    name: str
    lots: int
    lab: tuple[float, float, float] | None
    photo_sha256: str | None
    evenness: str | None
    has_master: bool
    checked_lot: str | None
    checked_swatch: str | None
    verdict: str | None
    evenness_verdict: str | None
    outside: int
    itself_outside: bool
    since_then: str | None
    all_aside: bool


def wall(
    conn: sqlite3.Connection, *, after: str = "", text: str = "", count: int = 48
) -> list[OnTheWall]:
    """Colourways by name, those after ``after``, whose name holds ``text``; at most ``count``."""
    among = json.dumps(_named_with(conn, text)) if text else None
    page = query(conn, _PAGE, {"after": after, "among": among, "count": count}).records()
    shown = [row["of_master"] or row["of_newest_lot"] for row in page]
    known = {i for i in shown if i is not None}
    spoken, told = speaking(conn, known), telling_evenness(conn, known)
    ids = json.dumps(list(spoken.values()))
    seen = {row["swatch_id"]: row for row in query(conn, _SEEN, {"ids": ids}).records()}
    for row in query(conn, _EVEN, {"ids": json.dumps(list(told.values()))}).records():
        seen[row["swatch_id"]]["evenness"] = row["evenness"]
    ids = json.dumps([row["id"] for row in page])
    checked = {row["colourway_id"]: row for row in query(conn, _CHECKED, {"ids": ids}).records()}
    return [
        _entry(row, seen.get(i, {}), checked.get(row["id"], {}))
        for row, i in zip(page, shown, strict=True)
    ]


def _named_with(conn: sqlite3.Connection, text: str) -> list[int]:
    """Ids of the colourways whose name holds ``text``, in any case."""
    rows = conn.execute("SELECT id, name FROM colourway")
    return [int(row[0]) for row in rows if holds(row[1], text)]


def _entry(
    row: dict[str, object], found: dict[str, object], checked: dict[str, object]
) -> OnTheWall:
    lab = tuple(float(str(found[k])) for k in ("lab_l", "lab_a", "lab_b")) if found else None
    return OnTheWall(
        colourway_id=int(str(row["id"])),
        name=str(row["name"]),
        lots=int(str(row["lots"])),
        lab=lab,  # type: ignore[arg-type]
        photo_sha256=_text(found.get("photo_sha256")),
        evenness=_text(found.get("evenness")),
        has_master=bool(row["has_master"]),
        checked_lot=_text(checked.get("lot")),
        checked_swatch=_text(checked.get("swatch")),
        verdict=_text(checked.get("verdict")),
        evenness_verdict=_text(checked.get("evenness_verdict")),
        outside=int(str(checked.get("outside") or 0)),
        itself_outside=bool(checked.get("is_outside")),
        since_then=_text(checked.get("since_then")),
        all_aside=bool(row["all_aside"]),
    )


def _text(value: object) -> str | None:
    return None if value is None else str(value)
