"""What the pages of checks, and the lists of them on other pages, read."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from typing import Any

from swatchvault.archive.colours import covariance_of
from swatchvault.archive.evenness import verdict_shown
from swatchvault.archive.labs import LAB, with_lab
from swatchvault.archive.listing import query
from swatchvault.archive.pages_yarn import ASIDE, MOST, WHETHER_ASIDE
from swatchvault.archive.since import MOVED_TO, MOVED_TO_ID, STILL, since_then

Record = dict[str, Any]

_CHECKS = f"""SELECT c.id, c.checked_at, c.verdict, c.delta_e_00, c.k_l, c.u_reading, c.tolerance,
c.words, c.capture, c.swatch_id, c.master_swatch_id, c.lot_id, lot.code AS lot,
swatch.label AS swatch, held.label AS master_swatch,
{verdict_shown("tonal")} AS evenness_verdict,
{since_then("c.id")} AS since_then
FROM lot_check AS c JOIN swatch ON swatch.id = c.swatch_id
JOIN swatch AS held ON held.id = c.master_swatch_id LEFT JOIN lot ON lot.id = c.lot_id
LEFT JOIN evenness_check AS tonal ON tonal.lot_check_id = c.id
WHERE {{where}} ORDER BY c.id DESC LIMIT :most"""


def checks_of_lot(conn: sqlite3.Connection, lot_id: int, after: int = 0) -> list[Record]:
    """Verdicts given on a lot, newest first; only those of a number above ``after``."""
    return _checks(conn, "c.lot_id = :id AND c.id > :after", {"id": lot_id, "after": after})


def checks_of_swatch(conn: sqlite3.Connection, swatch_id: int) -> list[Record]:
    """Verdicts in which a swatch was judged or was the master, newest first."""
    return _checks(conn, "c.swatch_id = :id OR c.master_swatch_id = :id", {"id": swatch_id})


def newest_check_id(conn: sqlite3.Connection) -> int:
    """Number of the last verdict given; 0 before the first."""
    return int(conn.execute("SELECT COALESCE(max(id), 0) FROM lot_check").fetchone()[0])


def sides_of_check(conn: sqlite3.Connection, check_id: int) -> dict[str, list[Record]]:
    """The measurements that a verdict was given on: ``{"master": [...], "lot": [...]}``, each with
    its ``covariance``, the number of its set-up, and what became of it since."""
    sql = (
        f"SELECT given.side, m.id, photo.sha256 AS photo_sha256, m.region, {LAB}, "
        "m.reference, m.flags, m.superseded_by, photo.taken_at, photo.added_at, "
        "setup.name AS setup, "
        "photo.setup_id, m.cov_region, m.cov_frame, m.cov_setup, m.cov_profile, "
        f"{ASIDE}, {MOVED_TO} AS moved_to, {MOVED_TO_ID} AS moved_to_id, "
        f"NOT {STILL} AS gone FROM lot_check_measurement AS given "
        "JOIN measurement AS m ON m.id = given.measurement_id "
        "JOIN layout ON layout.id = m.layout_id JOIN photo ON photo.id = layout.photo_id "
        f"{WHETHER_ASIDE} LEFT JOIN setup ON setup.id = photo.setup_id "
        "WHERE given.lot_check_id = :id ORDER BY m.id"
    )
    sides: dict[str, list[Record]] = {"master": [], "lot": []}
    for row in with_lab(query(conn, sql, {"id": check_id}).records()):
        row["covariance"] = covariance_of(row)
        sides[row["side"]].append(row)
    return sides


def evenness_of_check(conn: sqlite3.Connection, check_id: int) -> Record | None:
    """The verdict on evenness that was given with a colour's, or ``None``."""
    sql = (
        f"SELECT told.*, {verdict_shown('given')} AS shown, given.detail, "
        "photo.sha256 AS photo_sha256, photo.original_name AS photo "
        "FROM evenness_checks_given AS told JOIN evenness_check AS given USING (lot_check_id) "
        "LEFT JOIN measurement AS m ON m.id = given.measurement_id LEFT JOIN layout "
        "ON layout.id = m.layout_id LEFT JOIN photo ON photo.id = layout.photo_id "
        "WHERE lot_check_id = :id"
    )
    found = query(conn, sql, {"id": check_id}).records()
    return found[0] if found else None


def _checks(conn: sqlite3.Connection, where: str, values: Mapping[str, Any]) -> list[Record]:
    return query(conn, _CHECKS.format(where=where), {**values, "most": MOST}).records()
