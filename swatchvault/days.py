"""Days as people type them: of the calendar, and none that has not come yet. Pure but for today."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta

from swatchvault.errors import SwatchvaultError

#: When this was written: a clock that stands before it is wrong, and refuses no day of before.
WRITTEN_ON = date(2026, 11, 27)

_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d+)?)?(Z|[+-]\d\d:\d\d)?")
_IN_UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d+)?)?(Z|\+00:00)")


def past_day(text: str, what: str, today: date | None = None) -> str:
    """A day such as ``2026-03-01``, as it is stored. ``what``: of what it is, for the refusal.

    Raises ``SwatchvaultError`` where it is no date or comes after tomorrow.
    """
    try:
        day = date.fromisoformat(text.strip()).isoformat()
    except ValueError:
        raise SwatchvaultError(f"{what} is {text!r}: write a date such as 2026-03-01") from None
    return not_to_come(day, what, today)


def not_to_come(told: str, what: str, today: date | None = None) -> str:
    """A day or a time as it was told, in ISO 8601.

    Raises ``SwatchvaultError`` where its day comes after tomorrow: it is today's tomorrow
    somewhere else on the earth, and no day later.
    """
    now = today or date.today()
    if date.fromisoformat(told[:10]) > max(now, WRITTEN_ON) + timedelta(days=1):
        raise SwatchvaultError(
            f"{what} is {told}, which has not come yet: this computer's clock says "
            f"{now.isoformat()}. Correct the day (or the clock)"
        )
    return told


def here(told: str) -> str:
    """A stored time by this computer's clock: one in UTC, which ends in Z or +00:00, is turned into
    local time; a day, and a time that was told in any other way, are as they were told.

    >>> here("2026-03-01"), here("2026-03-01T10:40:00")
    ('2026-03-01', '2026-03-01T10:40:00')
    """
    if not _IN_UTC.fullmatch(told):
        return told
    local = datetime.fromisoformat(told).astimezone()
    return local.strftime("%Y-%m-%dT%H:%M:%S")


def when(told: str | None) -> str:
    """A stored time as people read it, to the minute; "no date" for none."""
    return here(told or "")[:16].replace("T", " ") or "no date"


def time_read(told: str) -> str:
    """Any stored text as people read it: a time to the minute, all else as it is.

    >>> time_read("2026-03-01T10:40:00"), time_read("at 2026-03-01T10:40:00")
    ('2026-03-01 10:40', 'at 2026-03-01T10:40:00')
    """
    return when(told) if _TIME.fullmatch(told) else told


def photo_when(taken: str | None, added: str | None) -> str:
    """When a photo was taken, to follow "photo"; where its camera told none, when it was added.

    >>> photo_when("2026-03-01T10:40:00", None), photo_when(None, "2026-03-01T10:40:00")
    ('of 2026-03-01 10:40', 'added 2026-03-01 10:40')
    """
    return f"of {when(taken)}" if taken else f"added {when(added)}"


def day_cell(day: str | None, by_photo: bool) -> str:
    """The day of a lot for a table: in brackets where it is that of its first photo."""
    return f"({day})" if day and by_photo else (day or "no date")[:10]


def by_photo_words(names: Sequence[str], lots: int) -> str:
    """Which of so many lots have no date and where they stand; "" if each has one."""
    if not names:
        return ""
    if len(names) == 1:
        return f"Lot {names[0]} has no date: it stands at the day of its first photo, in brackets."
    shown = ", ".join(names[:6]) + (" …" if len(names) > 6 else "")
    which = (
        "No lot has a date" if len(names) == lots else f"{len(names)} lots have no date ({shown})"
    )
    return f"{which}: they stand at the days of their first photos, in brackets."
