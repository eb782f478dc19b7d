"""A photo of liquor on its way: for which pot it was sent, and which outlines are offered on it."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from swatchvault.liquor_looks import AGAIN, CLEAR, START, WHITE
from swatchvault.web.typed import whole

_HOLD = "hold"
_LONGEST = 60  # characters of a look's name; our choice
# Where outlines lie before anything was marked for this pot: a glass amid the picture, and the
# paper left of it. Our choice.
_GLASS = ((0.42, 0.4), (0.58, 0.4), (0.58, 0.65), (0.42, 0.65))
_PAPER = ((0.06, 0.4), (0.2, 0.4), (0.2, 0.65), (0.06, 0.65))


def sent_for(conn: sqlite3.Connection, lot: str, look: str) -> dict[str, Any]:
    """What a draft keeps of the pot and the look that a photo was sent for; ``lot``: its number as
    the form says it, "" for a photo of yarn. Raises ``NotFound`` for a lot that is not there."""
    from swatchvault.archive.pages_pot import lot_code
    from swatchvault.potwork import local_now

    if not lot:
        return dict.fromkeys(("liquor", "look", "sent_at"))
    lot_id = whole(lot, "the pot")
    lot_code(conn, lot_id)
    sent_at = local_now().isoformat(timespec="seconds")
    return {"liquor": lot_id, "look": look[:_LONGEST] or START, "sent_at": sent_at}


def page_of(draft: Mapping[str, Any]) -> str:
    """Address of the page where a photo of liquor is gone on with; "" for one of yarn."""
    return f"/pot/{draft['liquor']}/liquor" if draft.get("liquor") else ""


def marked_regions(draft: Mapping[str, Any]) -> list[str]:
    """Names of what is marked on a photo."""
    return [str(s.get("name", "swatch")) for s in (draft.get("marks") or {}).get("swatches", ())]


def looks_offered(names: Collection[str]) -> list[str]:
    """What the next photo may show, the likeliest first; ``names``: what is marked already.

    >>> looks_offered([])
    ['start', 'again', 'hold 1', 'clear']
    >>> looks_offered(["start", "white", "Hold 1", "hold 2 b"])
    ['hold 2', 'again', 'clear']
    """
    folded = {name.casefold() for name in names}
    number = 1
    while f"{_HOLD} {number}" in folded:
        number += 1
    start = [] if START in folded else [START]
    hold, again = [f"{_HOLD} {number}"], [] if AGAIN in folded else [AGAIN]
    return [*start, *(again + hold if start else hold + again), CLEAR]


def with_glass(
    found: Mapping[str, Any], look: str, before: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """What was found, with a glass and the paper to be brought into place instead of yarn.

    ``before``: the swatches marked last for this pot: the same glass often stands where it stood.
    """
    at = {str(s.get("name", "")).casefold(): s["polygon"] for s in before}
    paper = at.pop(WHITE, None)
    glass = next(iter(at.values()), None)
    swatches = [
        {"name": look, "polygon": [list(p) for p in glass or _GLASS]},
        {"name": WHITE, "polygon": [list(p) for p in paper or _PAPER]},
    ]
    return {**found, "marks": {**found["marks"], "swatches": swatches}}
