"""Looks at a liquor in a pot's log: each reading once, at the time of its photo."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from ingest.liquor import LiquorCurve
from swatchvault.archive import DoneStep, Pot, PotStep, edit_step, get_pot, record_step
from swatchvault.days import when
from swatchvault.errors import CompareError, SwatchvaultError
from swatchvault.liquor_looks import (
    AFTER_LOOKS,
    LiquorLook,
    LiquorLooks,
    remarks,
    start_is_missing,
    stored_left,
    stored_note,
)
from swatchvault.potclock import check_time, read_time
from swatchvault.potwork import local_now


@dataclass(frozen=True)
class Times:
    """When looks were, beside what their photos say, by their ``key``: as ISO 8601 with a zone.

    ``stated``: by the dyer, before all else. ``sent``: when a photo came, for one that has no time
    or one that does not fit the lot.
    """

    stated: Mapping[str, str] = field(default_factory=dict)
    sent: Mapping[str, str] = field(default_factory=dict)


def keep_looks(
    conn: sqlite3.Connection,
    lot: str,
    seen: LiquorLooks,
    curve: LiquorCurve,
    times: Times | None = None,
) -> tuple[list[str], list[str]]:
    """Each reading as a look of the pot's log; one of the same photo and region is corrected.

    What was done with each, and a note where the log had gone past its looks. Raises
    ``CompareError`` for a look that stands alone, and ``SwatchvaultError`` for a stated time that
    does not fit the lot.
    """
    times = times or Times()
    pot = get_pot(conn, lot)
    if start_is_missing(seen):
        raise CompareError(f"nothing is stored in lot {lot}: {remarks(seen, curve.readings)[0]}")
    lines, added = [], False
    for look, reading in zip(seen.looks, curve.readings, strict=True):
        left = stored_left(reading)
        if left is None:
            lines.append(f"{reading.name}: not stored in {pot.lot}, for it could not be read")
            continue
        note = stored_note(look, reading)
        at, why = time_of(look, pot.started_at, local_now(), times)
        entry = entry_of(pot, look)
        if entry is not None:
            changes = {"colour_left": left, "note": note}
            stated = {"at": at} if look.key in times.stated else {}
            edit_step(conn, lot, entry.number, changes | stated)
            lines.append(
                f"{reading.name}: step {entry.number} of {pot.lot}'s log corrected, {left} left"
            )
            continue
        number = record_step(conn, lot, PotStep("look", at, colour_left=left, note=note))
        added = True
        lines.append(
            f"{reading.name}: stored as step {number} of {pot.lot}'s log, {left} left, at "
            f"{when(at)}{f' ({why})' if why else ''}"
        )
    return lines, gone_past(pot) if added else []


def entry_of(pot: Pot, look: LiquorLook) -> DoneStep | None:
    """The log's entry of a look, if it has one."""
    begins = f"{look.key}: "
    return next(
        (
            done
            for done in reversed(pot.steps)
            if done.step.kind == "look" and (done.step.note or "").startswith(begins)
        ),
        None,
    )


def gone_past(pot: Pot) -> list[str]:
    """A note on a pot whose log had already come to the rinse, or so, before looks were added."""
    past = next((d for d in pot.steps if d.step.kind in AFTER_LOOKS), None)
    if past is None:
        return []
    at = f", {when(past.step.at)}" if past.step.at else ""
    return [
        f"{pot.lot}'s log goes on to {past.step.kind} (step {past.number}{at}): the new looks "
        "stand at its end, with the times given here. `swatchvault pot edit` corrects one."
    ]


def time_of(
    look: LiquorLook, started_at: str | None, now: datetime, times: Times
) -> tuple[str, str]:
    """When a look was, as it is stored, and why, where neither photo nor dyer says it.

    A stated time that does not fit the lot raises ``SwatchvaultError``.
    """
    stated, sent = (said.get(look.key) for said in (times.stated, times.sent))
    if stated is not None:
        return check_time(read_time(stated, now), started_at, now), ""
    why = "the photo has none"
    if look.taken_at is not None:
        try:
            return check_time(read_time(look.taken_at, now), started_at, now), ""
        except SwatchvaultError:
            why = f"the photo says {when(look.taken_at)}, which does not fit this lot"
    if sent is not None:
        return sent, f"when it was sent: {why}"
    return now.isoformat(timespec="seconds"), f"the time now: {why}"
