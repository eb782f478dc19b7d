"""What the archive holds of a swatch's colour, and which lots belong together."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ingest.model import Array, LabCovariance
from swatchvault.archive.aside import why_none_counts
from swatchvault.archive.measured import tonality_from
from swatchvault.archive.names import find
from swatchvault.archive.speaking import BEFORE_LAST_DYE, speaking, telling_evenness
from swatchvault.archive.values import tri
from swatchvault.archive.views import GONE_IN
from swatchvault.errors import NotFound

_SELECT = f"""SELECT m.*, swatch.label AS swatch, swatch.form, swatch.dry AS swatch_dry,
swatch.lot_id, lot.code AS lot, skein.label AS skein, colourway.name AS colourway,
base.name AS base, photo.taken_at, photo.added_at, setup.name AS setup, setup.locked,
COALESCE(photo.original_name, photo.sha256) AS photo,
COALESCE(photo.light, setup.light) AS light, photo.setup_id,
json_extract(m.provenance, '$.references[0].neutral') AS neutral,
json_extract(m.provenance, '$.references[0].neutrals') AS neutrals,
{BEFORE_LAST_DYE} AS before_last_dye
FROM {{measured}} AS m
JOIN photo ON photo.id = m.photo_id
JOIN swatch ON swatch.id = m.swatch_id
JOIN base ON base.id = swatch.base_id
LEFT JOIN setup ON setup.id = photo.setup_id
LEFT JOIN lot ON lot.id = swatch.lot_id
LEFT JOIN skein ON skein.id = swatch.skein_id
LEFT JOIN colourway ON colourway.id = lot.colourway_id
"""


@dataclass(frozen=True, eq=False)
class StoredColour:
    """A current measurement as the archive holds it, with what is needed to compare it.

    ``lab``: (3,) CIELAB D65/2°. Two of them show the same frame where ``photo_sha256`` is equal;
    ``photo`` is its file's name, else its sha256.
    ``dry`` is as it was in the photo, else as the swatch is; ``shadow_sd`` and ``mm_per_px`` are
    NaN where unknown. ``before_last_dye``: taken before the last dye went into the lot, by the
    times of its pot, so that it shows another colour than the lot's.
    """

    measurement_id: int
    swatch_id: int
    swatch: str
    region: str
    lab: Array
    covariance: LabCovariance
    flags: frozenset[str]
    reference: str
    clipped_share: float
    shadow_sd: float
    mm_per_px: float
    tonality: Mapping[str, Any] | None
    photo_sha256: str
    taken_at: str | None
    added_at: str
    setup_id: int | None
    setup: str | None
    locked: bool | None
    light: str | None
    form: str
    dry: bool | None
    lot_id: int | None
    lot: str | None
    skein: str | None
    colourway: str | None
    base: str
    version: str
    greys: tuple[tuple[float, ...] | None, ...] | None = None
    before_last_dye: bool = False
    photo: str = ""

    @property
    def damp(self) -> bool:
        """Whether it was measured wet or damp, which makes yarn darker and stronger in colour."""
        return self.dry is False or "not dry" in self.flags


@dataclass(frozen=True)
class LotDye:
    """A dye that went into a lot; ``pack``, its own or its stock's, is ``None`` if unknown."""

    dye: str
    pack: str | None
    stock: str | None
    amount: str | None
    dye_g: float | None


def swatch_colours(conn: sqlite3.Connection, swatch_id: int) -> list[StoredColour]:
    """Every current measurement of a swatch, oldest photo first."""
    return colours(conn, swatch_ids=(swatch_id,))


def colours(
    conn: sqlite3.Connection,
    *,
    swatch_ids: Sequence[int] | None = None,
    photo_sha256: str | None = None,
    colourway: str | None = None,
    base: str | None = None,
    form: str | None = None,
    setup_id: int | None = None,
    with_aside: bool = False,
) -> list[StoredColour]:
    """Current measurements that meet every condition given, oldest photo first.

    ``with_aside``: those too that were set aside, to be listed and never to be counted.
    """
    limits: list[tuple[str, object]] = []
    if swatch_ids is not None:
        limits.append(
            ("m.swatch_id IN (SELECT value FROM json_each(?))", json.dumps(list(swatch_ids)))
        )
    if photo_sha256 is not None:
        limits.append(("m.photo_id = (SELECT id FROM photo WHERE sha256 = ?)", photo_sha256))
    if colourway is not None:
        limits.append(("lot.colourway_id = ?", find(conn, "colourway", colourway)))
    if base is not None:
        limits.append(("swatch.base_id = ?", find(conn, "base", base)))
    if form is not None:
        limits.append(("swatch.form = ?", form))
    if setup_id is not None:
        limits.append(("photo.setup_id = ?", setup_id))
    where = f"WHERE {' AND '.join(sql for sql, _ in limits)} " if limits else ""
    order = "ORDER BY COALESCE(photo.taken_at, photo.added_at), m.id"
    select = _SELECT.format(measured="filed_measurement" if with_aside else "current_measurement")
    rows = conn.execute(select + where + order, tuple(v for _, v in limits))
    names = [d[0] for d in rows.description]
    return [_stored(dict(zip(names, row, strict=True))) for row in rows]


def speaks_of(conn: sqlite3.Connection, photos: Sequence[StoredColour]) -> dict[int, StoredColour]:
    """The measurement that speaks for each of the swatches that these are of, by its id; of
    measurements by the version of the newest of them."""
    newest = {c.swatch_id: c.version for c in photos}  # oldest first
    known = {c.measurement_id: c for c in photos}
    found: dict[int, StoredColour] = {}
    for version in sorted(set(newest.values())):
        of_it = [i for i, v in newest.items() if v == version]
        found |= {i: known[m] for i, m in speaking(conn, of_it, version).items()}
    return found


def tells_evenness(
    conn: sqlite3.Connection, photos: Sequence[StoredColour], method: str | None = None
) -> dict[int, StoredColour]:
    """The measurement that tells how even each of the swatches is that these are all photos of,
    by its id; one by ``method`` where one that can be compared is by it."""
    known = {c.measurement_id: c for c in photos}
    told = telling_evenness(conn, {c.swatch_id for c in photos}, method)
    return {swatch: known[m] for swatch, m in told.items() if m in known}


def lot_dyes(conn: sqlite3.Connection, lot_id: int) -> list[LotDye]:
    """Dyes that really went into a lot, in their order."""
    sql = (
        "SELECT dye.name, pack.code, stock.code, used.amount, used.dye_g "
        f"FROM {GONE_IN} AS used JOIN dye ON dye.id = used.dye_id "
        "LEFT JOIN stock ON stock.id = used.stock_id LEFT JOIN dye_pack AS pack "
        "ON pack.id = COALESCE(used.dye_pack_id, stock.dye_pack_id) "
        "WHERE used.lot_id = ? ORDER BY used.position"
    )
    return [LotDye(*row) for row in conn.execute(sql, (lot_id,))]


def same_dyes(conn: sqlite3.Connection, lot_a: int | None, lot_b: int | None) -> bool | None:
    """Whether two lots were dyed with the same dyes from the same packs; ``None`` if unknown.

    One lot is dyed as itself, whatever is written down of it.
    """
    if lot_a is None or lot_b is None:
        return None
    if lot_a == lot_b:
        return True
    return decide_same_dyes(lot_dyes(conn, lot_a), lot_dyes(conn, lot_b))


def decide_same_dyes(a: Sequence[LotDye], b: Sequence[LotDye]) -> bool | None:
    """Other dyes or other packs: no. From the same packs, or stocks, which are each of one pack:
    yes. No dyes written down, or it is not known of one what it came from: unknown."""
    if not a or not b:
        return None
    if {d.dye for d in a} != {d.dye for d in b}:
        return False
    alike = []
    for name in {d.dye for d in a}:
        ours, theirs = ([d for d in lot if d.dye == name] for lot in (a, b))
        if all(d.pack is not None for d in (*ours, *theirs)):
            if {d.pack for d in ours} != {d.pack for d in theirs}:
                return False
            alike.append(True)
        else:
            sources = {_source(d) for d in ours}
            alike.append(None not in sources and sources == {_source(d) for d in theirs})
    return True if all(alike) else None


def _source(dye: LotDye) -> tuple[str, str] | None:
    """What a dye came from: its pack, else its stock; ``None`` where neither is told."""
    if dye.pack is not None:
        return ("pack", dye.pack)
    return None if dye.stock is None else ("stock", dye.stock)


def swatch_id_of(conn: sqlite3.Connection, label: str) -> int:
    """Id of the swatch of that label, else ``NotFound`` with the nearest labels."""
    return find(conn, "swatch", label)


def measured_or_not_found(conn: sqlite3.Connection, label: str) -> list[StoredColour]:
    """The colours of a swatch by its label; ``NotFound`` if no photo of it is measured yet, or
    all of them are set aside."""
    swatch_id = swatch_id_of(conn, label)
    found = swatch_colours(conn, swatch_id)
    if not found:
        why = why_none_counts(conn, swatch_id) or (
            "has no measured photo yet: photograph and add it first"
        )
        raise NotFound(f"swatch {label!r} {why}")
    return found


def _stored(row: Mapping[str, Any]) -> StoredColour:
    dry = row["dry"] if row["dry"] is not None else row["swatch_dry"]
    return StoredColour(
        measurement_id=row["id"],
        lab=np.array([row["lab_l"], row["lab_a"], row["lab_b"]], dtype=np.float64),
        covariance=covariance_of(row),
        flags=frozenset(json.loads(row["flags"])),
        clipped_share=_or_nan(row["clipped_share"]),
        shadow_sd=_or_nan(row["shadow_sd"]),
        mm_per_px=_or_nan(row["mm_per_px"]),
        tonality=tonality_from(row["tonality"]),
        locked=tri(row["locked"]),
        dry=tri(dry),
        greys=_greys(row["neutral"], row["neutrals"]),
        before_last_dye=bool(row["before_last_dye"]),
        **{
            name: row[name]
            for name in (
                *("swatch_id", "swatch", "region", "reference", "photo_sha256", "taken_at"),
                *("added_at", "setup_id", "setup", "light", "form", "lot_id", "lot", "skein"),
                *("colourway", "base", "version", "photo"),
            )
        },
    )


def covariance_of(row: Mapping[str, Any]) -> LabCovariance:
    """The four parts of a measurement's covariance, from its columns."""
    parts = ("region", "frame", "setup", "profile")
    return LabCovariance(*(_matrix(row[f"cov_{part}"]) for part in parts))


def _greys(mid: str | None, others: str | None) -> tuple[tuple[float, ...] | None, ...] | None:
    """The mid grey and then the other neutrals, linear RGB; old records have it alone, or none."""
    if mid is None:
        return None
    rows = [json.loads(mid), *json.loads(others or "[]")]
    return tuple(None if row is None else tuple(row) for row in rows)


def _matrix(text: str) -> Array:
    """(3, 3); JSON's null becomes NaN."""
    return np.array(json.loads(text), dtype=np.float64)


def _or_nan(value: float | None) -> float:
    return float("nan") if value is None else float(value)
