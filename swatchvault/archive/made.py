"""How swatches were made, many at once, and which of them meet a filter."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Collection, Sequence
from dataclasses import dataclass, fields
from datetime import date

import numpy as np

from ingest.model import Array
from swatchvault.archive.names import find, folded
from swatchvault.archive.speaking import placed, placed_by_evenness
from swatchvault.archive.values import clean
from swatchvault.archive.views import DAY_OF_LOT, GONE_IN
from swatchvault.archive.views_evenness import class_of
from swatchvault.errors import ArchiveError

_MADE = f"""SELECT swatch.id, swatch.label, swatch.form, base.name, lot.id, lot.code, lot.dyed_on,
colourway.name, recipe.version, lot.water, skein.label,
COALESCE(base_lot.label, skein_lot.label), {DAY_OF_LOT} AS day
FROM swatch JOIN base ON base.id = swatch.base_id
LEFT JOIN lot ON lot.id = swatch.lot_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id
LEFT JOIN recipe ON recipe.id = lot.recipe_id
LEFT JOIN skein ON skein.id = swatch.skein_id
LEFT JOIN base_lot ON base_lot.id = swatch.base_lot_id
LEFT JOIN base_lot AS skein_lot ON skein_lot.id = skein.base_lot_id
WHERE swatch.id IN (SELECT value FROM json_each(?))
ORDER BY lot.id IS NULL, day, lot.id, swatch.id"""

#: A dye that went in more than once from one stock or pack is one, unless some of it is unknown.
_DYES = f"""SELECT used.lot_id, dye.name, pack.code, stock.code,
CASE WHEN count(used.dye_g) = count(*) THEN 100.0 * sum(used.dye_g) / lot.dry_g END
FROM {GONE_IN} AS used JOIN dye ON dye.id = used.dye_id JOIN lot ON lot.id = used.lot_id
LEFT JOIN stock ON stock.id = used.stock_id
LEFT JOIN dye_pack AS pack ON pack.id = COALESCE(used.dye_pack_id, stock.dye_pack_id)
WHERE used.lot_id IN (SELECT value FROM json_each(?))
GROUP BY used.lot_id, dye.id, pack.id, stock.id ORDER BY used.lot_id, min(used.position)"""

_LABS = f"""SELECT m.swatch_id, m.lab_l, m.lab_a, m.lab_b
FROM ({placed("(:version IS NULL OR m.version = :version)")}) AS spoken
JOIN measurement AS m ON m.id = spoken.id WHERE spoken.place = 1"""

_ANY_OF_CLASS = f"""SELECT swatch_id, some = every FROM (SELECT m.swatch_id, count(*) AS every,
    sum({class_of("m")} = :class) AS some FROM current_measurement AS m GROUP BY m.swatch_id)
WHERE some > 0"""
_AMONG = "m.swatch_id IN (SELECT value FROM json_each(:ids))"
_OF_CLASS = f"""SELECT spoken.swatch_id FROM ({placed_by_evenness(_AMONG)}) AS spoken
JOIN measurement AS m ON m.id = spoken.id WHERE spoken.place = 1 AND {class_of("m")} = :class"""


@dataclass(frozen=True)
class UsedDye:
    """A dye of a lot; ``depth_percent`` is ``None`` where grams are not known."""

    dye: str
    pack: str | None
    stock: str | None
    depth_percent: float | None


@dataclass(frozen=True)
class Made:
    """A swatch and how it was made; lot, colourway and dyes are blank for undyed yarn.

    ``day``: ``dyed_on``, else the day of the lot's first photo.
    """

    swatch_id: int
    swatch: str
    form: str
    base: str
    lot_id: int | None
    lot: str | None
    dyed_on: str | None
    colourway: str | None
    recipe_version: int | None
    water: str | None
    skein: str | None
    base_lot: str | None
    day: str | None
    dyes: tuple[UsedDye, ...] = ()

    @property
    def by_photo(self) -> bool:
        """Whether its day is that of the lot's first photo."""
        return self.day is not None and self.dyed_on is None


@dataclass(frozen=True)
class Filters:
    """What a swatch must be; ``None`` asks nothing. ``since``, ``until``: days of dyeing, or whole
    months or years (2026-03). Raises ``ArchiveError`` for anything else.

    ``tonality``: class by the photo that tells how even it is, by the dyer's rule where one is in
    force. ``dry``: as measured.
    """

    base: str | None = None
    fibre: str | None = None
    form: str | None = None
    dye: str | None = None
    since: str | None = None
    until: str | None = None
    tonality: str | None = None
    dry: bool | None = None

    def __post_init__(self) -> None:
        for name in ("since", "until"):
            told = getattr(self, name)
            if told is not None and not _is_date(told):
                raise ArchiveError(
                    f"dyed {name} {told!r} is no date: write a day such as 2026-03-01, a month "
                    "(2026-03) or a year"
                )

    @property
    def asks(self) -> bool:
        return any(getattr(self, f.name) is not None for f in fields(self))


def _is_date(told: str) -> bool:
    """Whether it is a day, a month or a year as the archive writes them."""
    if not re.fullmatch(r"\d{4}(-\d{2}){0,2}", told, re.ASCII):
        return False
    try:
        date.fromisoformat(_padded(told, "-01-01"))
    except ValueError:
        return False
    return True


def _padded(told: str, rest: str) -> str:
    """A year or a month as long as a day, with the end of ``rest``."""
    return told + rest[len(told) - 4 :]


def several_packs(
    conn: sqlite3.Connection, lots: Collection[str], dyes: Collection[str]
) -> dict[str, dict[str, int]]:
    """Of those of the ``dyes`` that went into these lots, by code, from several packs: in how many
    lots each pack, the pack opened first at first. What is of no known pack does not count."""
    sql = (
        "SELECT used.dye, used.pack, count(DISTINCT used.lot) FROM dyes_used AS used "
        "JOIN dye ON dye.name = used.dye JOIN dye_pack AS pack ON pack.dye_id = dye.id "
        "AND pack.code = used.pack WHERE used.lot IN (SELECT value FROM json_each(?)) "
        "AND used.dye IN (SELECT value FROM json_each(?)) GROUP BY used.dye, used.pack "
        "ORDER BY used.dye, pack.opened_on, pack.id"
    )
    found: dict[str, dict[str, int]] = {}
    for dye, pack, count in conn.execute(sql, (json.dumps([*lots]), json.dumps([*dyes]))):
        found.setdefault(str(dye), {})[str(pack)] = int(count)
    return {dye: packs for dye, packs in found.items() if len(packs) > 1}


def made_of(conn: sqlite3.Connection, swatch_ids: Sequence[int]) -> dict[int, Made]:
    """How each of these swatches was made, by its id: oldest lot first, undyed yarn last."""
    rows = [tuple(r) for r in conn.execute(_MADE, (json.dumps([int(i) for i in swatch_ids]),))]
    lots = sorted({r[4] for r in rows if r[4] is not None})
    dyes: dict[int, list[UsedDye]] = {}
    for lot_id, *used in conn.execute(_DYES, (json.dumps(lots),)):
        dyes.setdefault(lot_id, []).append(UsedDye(*used))
    return {r[0]: Made(*(*r, tuple(dyes.get(r[4], ())))) for r in rows}


def speaking_labs(conn: sqlite3.Connection, version: str | None = None) -> tuple[Array, Array]:
    """Ids (n,) of measured swatches and the Lab (n, 3) that speaks for each, by id.

    ``version``: only measurements by that version of the method.
    """
    rows = (tuple(row) for row in conn.execute(_LABS, {"version": version}))
    table = np.fromiter(rows, dtype=np.dtype((np.float64, 4)))  # ids are exact to 2**53
    table = table[np.argsort(table[:, 0], kind="stable")]
    return table[:, 0].astype(np.int64), np.ascontiguousarray(table[:, 1:])


def swatches_where(conn: sqlite3.Connection, filters: Filters) -> set[int]:
    """Ids of the measured swatches that meet every condition.

    Raises ``NotFound`` for a base or dye that the archive does not have.
    """
    where: list[tuple[str, object]] = []
    if filters.base is not None:
        where.append(("swatch.base_id = ?", find(conn, "base", filters.base)))
    if filters.fibre is not None:
        wanted = folded(clean(filters.fibre, "fibre") or "")
        rows = conn.execute("SELECT base_id, fibre FROM base_fibre")
        bases = json.dumps([int(r[0]) for r in rows if folded(r[1]) == wanted])
        where.append(("swatch.base_id IN (SELECT value FROM json_each(?))", bases))
    if filters.form is not None:
        where.append(("swatch.form = ?", filters.form))
    if filters.dye is not None:
        sql = f"SELECT lot_id FROM {GONE_IN} WHERE dye_id = ?"
        where.append((f"swatch.lot_id IN ({sql})", find(conn, "dye", filters.dye)))
    if filters.since is not None:
        where.append(("lot.dyed_on >= ?", filters.since))
    if filters.until is not None:
        where.append(("lot.dyed_on <= ?", _padded(filters.until, "-99-99")))  # its last day
    if filters.tonality is not None:
        ids = json.dumps(_of_class(conn, filters.tonality))
        where.append(("swatch.id IN (SELECT value FROM json_each(?))", ids))
    if filters.dry is not None:
        where.append(("COALESCE(m.dry, swatch.dry) = ?", int(filters.dry)))
    sql = (
        "SELECT DISTINCT swatch.id FROM current_measurement AS m "
        "JOIN swatch ON swatch.id = m.swatch_id LEFT JOIN lot ON lot.id = swatch.lot_id "
        + ("WHERE " + " AND ".join(s for s, _ in where) if where else "")
    )
    return {int(r[0]) for r in conn.execute(sql, tuple(v for _, v in where))}


def _of_class(conn: sqlite3.Connection, name: str) -> list[int]:
    """Ids of the swatches of a class; only where photos differ is it asked which of them tells."""
    found = [tuple(row) for row in conn.execute(_ANY_OF_CLASS, {"class": name})]
    alike, differ = (
        [int(i) for i, every in found if bool(every) is same] for same in (True, False)
    )
    told = conn.execute(_OF_CLASS, {"class": name, "ids": json.dumps(differ)}) if differ else ()
    return alike + [int(row[0]) for row in told]
