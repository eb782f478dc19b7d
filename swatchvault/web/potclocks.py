"""The times that run in pots: of the pot shown, and of the others that are open beside it."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from swatchvault.archive import Pot
    from swatchvault.archive.pages_pot import PotEntry
    from swatchvault.potclock import Hold


@dataclass(frozen=True)
class OpenPot:
    """A pot that is open, with the time that runs in it."""

    entry: PotEntry
    hold: Hold | None


def shown_hold(pot: Pot, now: datetime) -> Hold | None:
    """The step whose time runs, or a hold that is over and was not followed by what ends it."""
    from swatchvault.potclock import OVER_TOLD_S, latest_timed

    hold = latest_timed((d.step for d in pot.steps), now)
    shown_s = OVER_TOLD_S if hold and hold.kind == "hold" else 0.0
    if hold and (pot.ended_at or hold.ended_by or hold.left_s < -shown_s):
        return None
    return hold


def open_pots(conn: sqlite3.Connection, now: datetime, without: int | None = None) -> list[OpenPot]:
    """The pots that are open, but for the lot ``without``; the latest started first."""
    from swatchvault.archive import get_pot
    from swatchvault.archive.pages_pot import pots

    found = [p for p in pots(conn, open_now=True) if p.lot_id != without]
    return [OpenPot(p, shown_hold(get_pot(conn, p.code), now)) for p in found]
