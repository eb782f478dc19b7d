"""Times at the pot, and how much colour a look finds left: pure."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from swatchvault.errors import AmountError, SwatchvaultError
from swatchvault.typed_numbers import read_percent

if TYPE_CHECKING:
    from swatchvault.archive.entities import PotStep

#: A time that has been over for longer was told later, and no one waits for it; our choice.
OVER_TOLD_S = 6 * 3600.0
#: Words for how much colour a look at the liquor finds left.
LEFT_WORDS = ("none", "trace", "some", "much")


@dataclass(frozen=True)
class Hold:
    """A hold, or another step that takes minutes, as its stored start and minutes say.

    ``left_s`` below 0 is time over.
    """

    started_at: datetime
    ends_at: datetime
    minutes: float
    gone_s: float
    left_s: float
    ended_by: str | None
    kind: str = "hold"

    @property
    def until(self) -> str:
        """When it ends, or since when it is over: what stays true while a page is looked at."""
        return f"{'to' if self.left_s > 0 else 'over since'} {self.ends_at:%H:%M}"

    @property
    def words(self) -> str:
        """The step's time in one sentence."""
        end = f"{self.ends_at:%H:%M}"
        said = f"{self.kind} of {self.minutes:g} min since {self.started_at:%H:%M}, to {end}: "
        if self.ended_by:
            return said + f"ended by {self.ended_by}"
        if self.left_s > 0:
            return said + f"{clock(self.left_s)} left"
        return said + (
            "done" if -self.left_s > OVER_TOLD_S else f"done, {clock(-self.left_s)} over"
        )


def clock(seconds: float) -> str:
    """``"1 h 05 min"``, ``"12 min 30 s"``: a length of time, to the second under an hour."""
    whole = math.ceil(seconds - 1e-9)
    if whole >= 3600:
        return f"{whole // 3600} h {whole % 3600 // 60:02d} min"
    return f"{whole // 60} min {whole % 60:02d} s"


def read_time(text: str, now: datetime) -> datetime:
    """A time as typed: ``10:05`` (today), or a date and time; without a zone it is local, and one
    in UTC is turned into this computer's.

    ``now`` carries a zone. Raises ``SwatchvaultError`` for anything else.
    """
    try:
        if len(text) <= 8 and ":" in text and "T" not in text:
            text = f"{now:%Y-%m-%d}T{text.strip().zfill(5)}"
        when = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise SwatchvaultError(
            f"time {text!r} cannot be read: write 10:05, or 2026-03-01T10:05"
        ) from error
    if when.tzinfo is None:
        return when.astimezone()  # by the rule of its own day: clocks are put forward and back
    return when if when.utcoffset() else when.astimezone()


#: Steps after which no hold runs on.
ENDS_A_HOLD = ("cool", "rinse", "dry")
#: Steps that can be timed. They follow one another in the pot: a later one ends an earlier one,
#: but for a hold, through which one may heat.
TIMED = ("soak", "heat", "hold", *ENDS_A_HOLD)
#: Of which an end before their minutes are over is told.
CAN_BE_SHORT = ("soak", "heat", "hold")
#: Share of their minutes, a minute at least, by which they may end early without a word; ours.
CUT_SHARE = 0.1
#: Longest that a step takes, in minutes: a hundred days. Our choice, longer than any soak.
LONGEST_MIN = 100 * 24 * 60.0
#: Characters of a day without a time.
DAY = len("2026-03-01")


def latest_hold(steps: Iterable[PotStep], now: datetime) -> Hold | None:
    """The last hold of a log that has a start and minutes, as it stands at ``now``.

    Only stored times count, so a timer survives sleep, restart and another machine. A later
    cool, rinse or dry ends it.
    """
    return _latest(list(steps), now, ("hold",))


def latest_timed(steps: Iterable[PotStep], now: datetime) -> Hold | None:
    """The last step of a log that takes time and has a start and minutes, as it stands at ``now``.

    A hold is ended by a later cool, rinse or dry, any other by a later step that takes time, and a
    soak by dye that goes in too.
    """
    return _latest(list(steps), now, TIMED)


def _latest(done: list[PotStep], now: datetime, kinds: tuple[str, ...]) -> Hold | None:
    for i in range(len(done) - 1, -1, -1):
        step = done[i]
        if step.kind not in kinds or step.at is None or step.minutes is None:
            continue
        start = read_time(step.at, now)
        minutes = min(step.minutes, LONGEST_MIN)
        ends = start + timedelta(minutes=minutes)
        after = next((s.kind for s in done[i + 1 :] if _ends(step.kind, s.kind)), None)
        gone = (now - start).total_seconds()
        return Hold(start, ends, minutes, gone, minutes * 60 - gone, after, step.kind)
    return None


def _ends(kind: str, later: str) -> bool:
    if kind == "hold":
        return later in ENDS_A_HOLD
    return later in TIMED or (kind == "soak" and later == "dye in")


def still_running(steps: Iterable[PotStep], now: datetime) -> Hold | None:
    """The hold that runs at ``now``, not over and not ended by a later step."""
    hold = latest_hold(steps, now)
    return hold if hold and not hold.ended_by and hold.left_s > 0 else None


def cut_short(steps: Iterable[PotStep], ended_at: str | None) -> list[str]:
    """Soaks, heats and holds that ended well before their minutes were over, a sentence each, by
    stored times.

    ``ended_at``: when the pot ended, ``None`` if it has not. One of which no one noted an end is
    left out.
    """
    done, said = list(steps), []
    for i, step in enumerate(done):
        if step.kind not in CAN_BE_SHORT or step.at is None or step.minutes is None:
            continue
        later = [s for s in done[i + 1 :] if s.kind == "hold" or _ends(step.kind, s.kind)]
        ends = [(s.kind, s.at) for s in later if s.at]
        by, at = ends[0] if ends else ("the end of the pot", ended_at)
        if at is None or len(at) <= DAY or len(step.at) <= DAY:
            continue
        start = read_time(step.at, datetime.now().astimezone())
        lasted = (read_time(at, start) - start).total_seconds()
        if 0 <= lasted < step.minutes * 60 - max(60.0, CUT_SHARE * step.minutes * 60):
            said.append(f"{step.kind} of {step.minutes:g} min ended after {clock(lasted)}, by {by}")
    return said


def check_end(when: datetime, started: str | None, steps: Iterable[PotStep], now: datetime) -> str:
    """The time of a pot's end as it is stored. Raises as :func:`check_time`, and for one before a
    step of its log."""
    times = [read_time(s.at, now) for s in steps if s.at and len(s.at) > DAY]
    last = max(times, default=None)
    if last is not None and when < last.replace(second=0, microsecond=0):
        raise SwatchvaultError(
            f"the pot cannot have ended at {when:%Y-%m-%d %H:%M}: its log has a step at "
            f"{last.astimezone(when.tzinfo):%Y-%m-%d %H:%M}. Correct the one that is wrong"
        )
    return check_time(when, started, now)


def check_time(when: datetime, started: str | None, now: datetime) -> str:
    """The time of a step as it is stored. Raises for one before the lot began or not come yet."""
    began = None if started is None else read_time(started, now)
    if began is not None and when == began.replace(second=0, microsecond=0):
        when = began  # a time is typed in whole minutes, and the lot began in that one
    if began is not None and when < began:
        raise SwatchvaultError(
            f"a step at {when:%Y-%m-%d %H:%M} is before the lot began "
            f"({began:%Y-%m-%d %H:%M}): correct the time"
        )
    if when > now + timedelta(minutes=1):
        said = f"a step at {when:%Y-%m-%d %H:%M} has not come yet: record it when it is done"
        before = when - timedelta(days=1)
        if before <= now:  # a time alone is of today, and pots run over midnight
            said += f", or write {before:%Y-%m-%dT%H:%M} if it was the day before"
        raise SwatchvaultError(said)
    return when.isoformat(timespec="seconds")


def check_minutes(minutes: float | None) -> float | None:
    """The minutes of a step. Raises ``AmountError`` for more than :data:`LONGEST_MIN`."""
    if minutes is not None and not minutes <= LONGEST_MIN:
        raise AmountError(
            f"a step of {minutes:g} min cannot be timed: {LONGEST_MIN:g} (a hundred days) is the "
            "most, so correct the minutes"
        )
    return minutes


def check_left(text: str) -> str:
    """How much colour is left: none, trace, some, much, or a reading such as ``15 %``.

    Raises :class:`AmountError` for anything else.
    """
    plain = " ".join(text.split()).casefold()
    if plain in LEFT_WORDS:
        return plain
    write = f"say {', '.join(LEFT_WORDS)}, or 0 % to 100 %"
    percent = read_percent(plain, "colour left", write) if plain.endswith("%") else -1.0
    if 0 <= percent <= 100:
        return f"{percent:g} %"
    raise AmountError(f"colour left {text!r} cannot be read: {write}")
