"""What looks at a liquor tell, in the words that command and page share."""

from __future__ import annotations

from dataclasses import dataclass

from ingest.liquor import LiquorCurve, LiquorReading
from swatchvault.liquor_looks import LiquorLooks, channel_words, start_is_missing

#: Standard uncertainty of a share up to which nothing more is asked for: 5 points in 95 of 100. Our
#: choice.
SURE = 0.025
AGAIN_HINT = (
    "To be surer, photograph the start once more made up to two parts with water, and mark it "
    '"again".'
)


@dataclass(frozen=True)
class Told:
    """A glass in words. ``channels``: the same by channel, or "". ``words``: "" where a look alone
    tells nothing. ``dilute_to_parts``: what to make it up to where it is too deep to read."""

    name: str
    words: str
    channels: str = ""
    dilute_to_parts: int | None = None


def looks_told(seen: LiquorLooks, curve: LiquorCurve) -> list[Told]:
    """Each look, in the order of the readings; the start itself is what others are held to."""
    first = curve.readings[0]
    return [
        _told(reading, look.look.dilution, reading is first, seen)
        for look, reading in zip(seen.looks, curve.readings, strict=True)
    ]


def _told(reading: LiquorReading, dilution: float, first: bool, seen: LiquorLooks) -> Told:
    name = reading.name + (f" (diluted to {dilution:g} parts)" if dilution > 1 else "")
    if first and reading.word:
        return Told(name, "" if start_is_missing(seen) else "what the others are measured against")
    by_channel = channel_words(reading)
    return Told(
        name,
        reading.words,
        f"by channel: {by_channel} of the start" if by_channel else "",
        reading.dilute_to_parts if reading.too_deep else None,
    )


def again_told(seen: LiquorLooks, curve: LiquorCurve) -> list[Told]:
    """Each glass of the start once more, and whether it counted."""
    return [
        Told(f"{more.name} (diluted to {more.dilution:g} parts)", _again_words(counted, curve))
        for more, counted in zip(seen.again, curve.again_read, strict=True)
    ]


def _again_words(counted: bool, curve: LiquorCurve) -> str:
    if counted:
        return "the start once more, counted"
    if curve.readings[0].word:
        return "too deep to read, not counted: make it up to more parts, and say so with --dilution"
    return "not counted, for the start could not be read"


def hints(seen: LiquorLooks, curve: LiquorCurve) -> list[str]:
    """What would make the readings surer, and what is wrong with all of them."""
    unsure = not seen.again and any(r.u_share > SURE for r in curve.readings)
    return [*([AGAIN_HINT] if unsure else []), *([curve.words] if curve.words else [])]
