"""How even masters are stated to be, verdicts on evenness, and what is stored of a measure."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from swatchvault.archive.aside import stated_from_aside
from swatchvault.archive.rows import insert, transaction
from swatchvault.archive.values import clean, now, to_json
from swatchvault.kinds import NO_MORE_TONAL


@dataclass(frozen=True)
class StatedEvenness:
    """How even a master is stated to be; ``tolerance`` in ΔE00, ``method`` the measure's.

    ``set_aside``: the photo that it was stated from is set aside now.
    """

    statement_id: int
    master_id: int
    unevenness: float
    u_unevenness: float
    tolerance: float
    method: str
    measurement_id: int | None
    reason: str | None
    set_aside: bool = False


def state_evenness(
    conn: sqlite3.Connection,
    master_id: int,
    *,
    unevenness: float,
    u_unevenness: float,
    tolerance: float,
    method: str,
    measurement_id: int | None = None,
    reason: str | None = None,
) -> int:
    """Hold a master's lots to this evenness from now on; the earlier statement is kept."""
    values = {
        "unevenness": unevenness,
        "u_unevenness": u_unevenness,
        "tolerance": tolerance,
        "method": method,
        "measurement_id": measurement_id,
        "reason": clean(reason, "reason"),
    }
    with transaction(conn):
        known = _newest(conn, master_id)
        if known is not None and all(known[k] == v for k, v in values.items()):
            return int(known["id"])
        row = {"master_id": master_id, "stated_at": now(), **values}
        return insert(conn, "master_evenness", row)


def no_longer_held(conn: sqlite3.Connection, master_id: int) -> bool:
    """Lots are no longer held to this master's evenness; whether they were until now."""
    with transaction(conn):
        if stated_evenness(conn, master_id) is None:
            return False
        insert(conn, "master_evenness", {"master_id": master_id, "stated_at": now()})
        return True


def stated_evenness(conn: sqlite3.Connection, master_id: int) -> StatedEvenness | None:
    """What the master is stated to be now; ``None`` where its evenness is not held to."""
    row = _newest(conn, master_id)
    if row is None or row["unevenness"] is None:
        return None
    return StatedEvenness(
        row["id"],
        row["master_id"],
        row["unevenness"],
        row["u_unevenness"],
        row["tolerance"],
        row["method"],
        row["measurement_id"],
        row["reason"],
        stated_from_aside(conn, row["measurement_id"]),
    )


def class_stated(conn: sqlite3.Connection, stated: StatedEvenness) -> str | None:
    """The class of the measurement that a master's evenness is from; ``None`` where unknown."""
    sql = "SELECT json_extract(tonality, '$.class') FROM measurement WHERE id = ?"
    row = conn.execute(sql, (stated.measurement_id,)).fetchone()
    return None if row is None else row[0]


def verdict_shown(tonal: str) -> str:
    """SQL: the verdict of a row of ``evenness_check`` as it is shown: "no more tonal" where only
    that was tested, as ``EvennessComparison.shown`` says it; NULL of no row."""
    return (
        f"CASE WHEN {tonal}.verdict = 'as tonal' AND EXISTS (SELECT 1 FROM master_evenness "
        "AS stated JOIN measurement AS from_it ON from_it.id = stated.measurement_id "
        f"WHERE stated.id = {tonal}.master_evenness_id AND {tonal}.tolerance >= stated.unevenness "
        "AND json_extract(from_it.tonality, '$.class') <> 'solid') "
        f"THEN '{NO_MORE_TONAL}' ELSE {tonal}.verdict END"
    )


def record_evenness_check(
    conn: sqlite3.Connection,
    lot_check_id: int,
    statement_id: int,
    measurement_id: int | None,
    found: Mapping[str, Any],
) -> None:
    """Keep a verdict on evenness beside the colour's; ``found``: a comparison's record."""
    kept = (
        *("verdict", "unevenness", "u_unevenness", "tolerance", "p_as", "p_more", "p_less"),
        *("method", "words"),
    )
    row = {
        "lot_check_id": lot_check_id,
        "master_evenness_id": statement_id,
        "measurement_id": measurement_id,
        **{name: found[name] for name in kept},
        "detail": to_json({k: v for k, v in found.items() if k not in kept}),
    }
    with transaction(conn):
        insert(conn, "evenness_check", row)


def versions_in_use(conn: sqlite3.Connection) -> tuple[str, ...]:
    """Versions of the measurement that current measurements are by, the newest measured last."""
    return _in_use(conn, "version")


def versions_of_swatch(conn: sqlite3.Connection, swatch_id: int) -> set[str]:
    """Versions of the measurement that the current measurements of a swatch are by."""
    sql = "SELECT DISTINCT version FROM current_measurement WHERE swatch_id = ?"
    return {str(row[0]) for row in conn.execute(sql, (swatch_id,))}


def evenness_methods_in_use(conn: sqlite3.Connection) -> tuple[str, ...]:
    """Versions of the measure of evenness that current measurements are by, the newest last."""
    return _in_use(conn, "json_extract(tonality, '$.method')")


def _in_use(conn: sqlite3.Connection, version: str) -> tuple[str, ...]:
    """What ``version``, SQL that an index holds, is of current measurements.

    The index tells what there may be, where the view would read every row; the view is then
    asked of each, and stops at the first row.
    """
    sql = f"SELECT {version}, max(id) FROM measurement WHERE superseded_by IS NULL GROUP BY 1"
    found = [row[0] for row in conn.execute(f"{sql} ORDER BY max(id)") if row[0]]
    counts = f"SELECT EXISTS (SELECT 1 FROM current_measurement WHERE {version} = ?)"
    found = [v for v in found if conn.execute(counts, (v,)).fetchone()[0]]
    return tuple(str(v) for v in found)


def _newest(conn: sqlite3.Connection, master_id: int) -> dict[str, Any] | None:
    # A master told again with another tolerance is a new row; what is stated of it goes on.
    sql = (
        "SELECT stated.* FROM master AS held "
        "JOIN master AS told ON told.swatch_id = held.swatch_id "
        "AND told.colourway_id = held.colourway_id AND told.base_id = held.base_id "
        "AND told.form = held.form JOIN master_evenness AS stated ON stated.master_id = told.id "
        "WHERE held.id = ? ORDER BY stated.id DESC LIMIT 1"
    )
    cursor = conn.execute(sql, (master_id,))
    row = cursor.fetchone()
    if row is None:
        return None
    return dict(zip((d[0] for d in cursor.description), row, strict=True))
