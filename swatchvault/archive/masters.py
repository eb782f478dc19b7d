"""Masters and the verdicts given against them: both are kept, neither is ever rewritten."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from swatchvault.archive.entities import Master
from swatchvault.archive.names import find
from swatchvault.archive.rows import Entry, insert, transaction
from swatchvault.archive.values import clean, now, to_json, yes_no
from swatchvault.errors import ArchiveError


@dataclass(frozen=True)
class CurrentMaster:
    """The swatch that a colourway on a base in a form is held to now."""

    master_id: int
    swatch_id: int
    swatch: str
    colourway: str
    base: str
    form: str
    tolerance: float
    k_l: float
    since: str
    reason: str | None


@dataclass(frozen=True)
class LotCheck:
    """A verdict as it was given. Differences are lot minus master; unknown is ``None``.

    ``detail`` is plain data: whatever else was printed.
    """

    master_swatch_id: int
    swatch_id: int
    verdict: str
    tolerance: float
    k_l: float
    delta_e_00: float
    capture: str
    words: str
    master_measurements: Sequence[int] = ()
    lot_measurements: Sequence[int] = ()
    master_id: int | None = None
    d_lch: tuple[float, float, float] | None = None
    u_reading: float | None = None
    u_at_tolerance: float | None = None
    p_within: float | None = None
    p_outside: float | None = None
    same_dyes: bool | None = None
    checked_at: str | None = None
    detail: Mapping[str, Any] = field(default_factory=dict)


def set_master(conn: sqlite3.Connection, master: Master) -> Entry:
    """Hold a colourway on a base in a form to a swatch, from ``since`` (now if not said).

    The earlier masters are kept; the one of the latest ``since`` is in force. Telling one again
    that is in the history with the same ``since`` changes nothing, and neither does telling the
    one in force without a date. Raises ``ArchiveError`` if the swatch is of something else.
    """
    with transaction(conn):
        held = {
            "colourway_id": find(conn, "colourway", master.colourway),
            "base_id": find(conn, "base", master.base),
            "form": (clean(master.form, "form") or "").casefold(),
        }
        swatch_id = find(conn, "swatch", master.swatch)
        _refuse_other_yarn(conn, swatch_id, held, master)
        told = {
            "swatch_id": swatch_id,
            "tolerance": float(master.tolerance),
            "k_l": float(master.k_l),
        }
        known = _already(conn, held, told, clean(master.since, "since"))
        if known is not None:
            return Entry(known, "same")
        since = clean(master.since, "since") or max(now(), _latest(conn, held))
        values = {**held, **told, "since": since, "reason": clean(master.reason, "reason")}
        return Entry(insert(conn, "master", values), "added")


def _latest(conn: sqlite3.Connection, held: Mapping[str, Any]) -> str:
    """The latest ``since`` so far: one set now is in force also if the clock went back."""
    sql = (
        "SELECT COALESCE(max(since), '') FROM master "
        "WHERE colourway_id = :colourway_id AND base_id = :base_id AND form = :form"
    )
    return str(conn.execute(sql, dict(held)).fetchone()[0])


def current_master(
    conn: sqlite3.Connection, colourway: str, base: str, form: str
) -> CurrentMaster | None:
    """The master in force, or ``None`` if none was set. Raises ``NotFound`` for unknown names."""
    ids = (find(conn, "colourway", colourway), find(conn, "base", base), form)
    sql = (
        "SELECT master_id, swatch_id, swatch, colourway, base, form, tolerance, k_l, since, reason "
        "FROM current_masters WHERE colourway_id = ? AND base_id = ? AND form = ?"
    )
    row = conn.execute(sql, ids).fetchone()
    return None if row is None else CurrentMaster(*row)


def record_check(conn: sqlite3.Connection, check: LotCheck) -> int:
    """Keep a verdict as given, and which measurements it was given on; returns its id."""
    lightness, chroma, hue = check.d_lch or (None, None, None)
    with transaction(conn):
        (lot_id,) = conn.execute(
            "SELECT lot_id FROM swatch WHERE id = ?", (check.swatch_id,)
        ).fetchone() or (None,)
        values = {
            "checked_at": check.checked_at or now(),
            "master_id": check.master_id,
            "master_swatch_id": check.master_swatch_id,
            "swatch_id": check.swatch_id,
            "lot_id": lot_id,
            "verdict": check.verdict,
            "tolerance": check.tolerance,
            "k_l": check.k_l,
            "delta_e_00": check.delta_e_00,
            "delta_l": lightness,
            "delta_c": chroma,
            "delta_h": hue,
            "u_reading": check.u_reading,
            "u_at_tolerance": check.u_at_tolerance,
            "p_within": check.p_within,
            "p_outside": check.p_outside,
            "capture": check.capture,
            "same_dyes": yes_no(check.same_dyes),
            "words": check.words,
            "detail": to_json(check.detail),
        }
        check_id = insert(conn, "lot_check", values)
        for side, ids in (("master", check.master_measurements), ("lot", check.lot_measurements)):
            for measurement_id in ids:
                row = {"lot_check_id": check_id, "measurement_id": measurement_id, "side": side}
                insert(conn, "lot_check_measurement", row)
    return check_id


def _refuse_other_yarn(
    conn: sqlite3.Connection, swatch_id: int, held: Mapping[str, Any], master: Master
) -> None:
    sql = (
        "SELECT lot.colourway_id, swatch.base_id, swatch.form FROM swatch "
        "LEFT JOIN lot ON lot.id = swatch.lot_id WHERE swatch.id = ?"
    )
    is_of = dict(zip(held, conn.execute(sql, (swatch_id,)).fetchone(), strict=True))
    wrong = [key.removesuffix("_id") for key in held if held[key] != is_of[key]]
    if wrong:
        raise ArchiveError(
            f"swatch {master.swatch!r} cannot be master of {master.colourway!r} on "
            f"{master.base!r} as {master.form}: it is of another {' and '.join(wrong)}"
        )


def _already(
    conn: sqlite3.Connection,
    held: Mapping[str, Any],
    told: Mapping[str, Any],
    since: str | None,
) -> int | None:
    """Id of the row that says this already: at that date, or in force if no date is told."""
    sql = (
        "SELECT id, swatch_id, tolerance, k_l, since FROM master "
        "WHERE colourway_id = ? AND base_id = ? AND form = ? ORDER BY since DESC, id DESC"
    )
    rows = conn.execute(sql, tuple(held.values())).fetchall()
    candidates = rows[:1] if since is None else [r for r in rows if r[4] == since]
    for row in candidates:
        if tuple(row)[1:4] == tuple(told.values()):
            return int(row[0])
    return None
