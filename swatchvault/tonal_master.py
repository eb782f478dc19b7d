"""A master's evenness, stated from its own measurement. No printing."""

from __future__ import annotations

import sqlite3

from swatchvault.archive import (
    CurrentMaster,
    Entry,
    Master,
    SwatchFacts,
    class_stated,
    current_master,
    no_longer_held,
    set_master,
    state_evenness,
    stated_evenness,
    swatch_colours,
    tells_evenness,
    why_none_counts,
)
from swatchvault.errors import ArchiveError, NotFound
from swatchvault.evenness_check import reason_for, tolerance_for
from swatchvault.evenness_read import Evenness
from swatchvault.lotcheck import evenness_of

#: Why a tolerance is what it is, where the dyer chose it.
BY_HAND = "stated by hand"
WIDER = "that is wider than it is uneven itself, so no lot can be called less tonal"


def make_master(
    conn: sqlite3.Connection,
    master: Master,
    swatch: SwatchFacts,
    held: bool | None,
    tolerance: float | None = None,
) -> tuple[Entry, str | None]:
    """Set a master; what was done about its evenness, in a line, ``None`` where nothing was.

    ``held``: whether later lots are held to it; ``None`` leaves it as it was, also where another
    swatch was the master until now. Raises as :func:`state_or_end` where ``held`` is true.
    """
    names = (master.colourway, master.base, master.form)
    before = current_master(conn, *names)
    entry = set_master(conn, master)
    if held is not None:
        return entry, state_or_end(conn, entry.id, swatch, held, tolerance)
    after = current_master(conn, *names)
    if before is None or after is None or after.swatch_id == before.swatch_id:
        return entry, None
    return entry, _as_before(conn, before, after, swatch)


def _as_before(
    conn: sqlite3.Connection, before: CurrentMaster, after: CurrentMaster, swatch: SwatchFacts
) -> str | None:
    known = stated_words(conn, after.master_id)
    if known:
        return "its evenness, as it was stated before: " + "; ".join(known)
    held = stated_evenness(conn, before.master_id)
    if held is None:
        return None
    try:
        by_hand = held.tolerance if held.reason == BY_HAND else None
        return state_or_end(conn, after.master_id, swatch, True, by_hand)
    except (ArchiveError, NotFound) as error:
        return f"lots were held to how even {before.swatch} is, and are to nothing now: {error}"


def state_or_end(
    conn: sqlite3.Connection,
    master_id: int,
    swatch: SwatchFacts,
    held: bool,
    tolerance: float | None,
) -> str:
    """Hold later lots to the master's evenness, or no longer; what was done, in a line.

    Raises ``NotFound`` without a measured photo, ``ArchiveError`` where its evenness cannot be
    told.
    """
    if not held:
        was = no_longer_held(conn, master_id)
        return "lots are no longer held to its evenness" if was else "its evenness was not stated"
    found, measurement_id = _told(conn, swatch)
    chosen = tolerance_for(found) if tolerance is None else tolerance
    reason = reason_for(found) if tolerance is None else BY_HAND
    state_evenness(
        conn,
        master_id,
        unevenness=found.unevenness,
        u_unevenness=found.u,
        tolerance=chosen,
        method=str(found.method),
        measurement_id=measurement_id,
        reason=reason,
    )
    said = (
        f"its evenness: {found.kind}, unevenness {found.unevenness:.2f} ± {found.u:.2f}; later "
        f"lots as {found.form} are held to it within {chosen:.2g} ({reason})"
    )
    if wider_than_itself(found.kind, found.unevenness, chosen):
        said += f"; {WIDER}: "
        if tolerance is None:
            said += (
                "a nearer photo, more yarn or flatter light makes it narrower; a smaller one by "
                "--evenness-tolerance finds lots that are far less tonal, and calls few as tonal"
            )
        else:
            said += f"state one under {found.unevenness:.2g}"
    return said


def wider_than_itself(kind: str | None, unevenness: float, tolerance: float) -> bool:
    """Whether a master's tolerance leaves no lot to be called less tonal, and that is news: of a
    solid it goes without saying. Both in ΔE00."""
    return kind != "solid" and tolerance >= unevenness


def stated_words(conn: sqlite3.Connection, master_id: int) -> tuple[str, ...]:
    """What later lots are held to of a master's evenness, a phrase each; none where to nothing."""
    stated = stated_evenness(conn, master_id)
    if stated is None:
        return ()
    said = [
        f"unevenness {stated.unevenness:.2f} ± {stated.u_unevenness:.2f}, tolerance "
        f"{stated.tolerance:.2g}" + (f" ({stated.reason})" if stated.reason else "")
    ]
    if wider_than_itself(class_stated(conn, stated), stated.unevenness, stated.tolerance):
        said.append(WIDER)
    if stated.set_aside:
        said.append("the photo that it was stated from is set aside: state it anew")
    return tuple(said)


def _told(conn: sqlite3.Connection, swatch: SwatchFacts) -> tuple[Evenness, int]:
    photos = swatch_colours(conn, swatch.swatch_id)
    photo = tells_evenness(conn, photos).get(swatch.swatch_id)
    if photo is None:
        why = why_none_counts(conn, swatch.swatch_id)
        why = why or "has no measured photo: photograph it and add it first"
        raise NotFound(f"swatch {swatch.swatch!r} {why}")
    found = evenness_of(photo)
    why = found.why_not
    if why is None and found.kind is None:
        between = (photo.tonality or {}).get("between") or ()
        why = "cannot tell " + (" from ".join(between) or "its class") + " in this photo"
    if why is not None:
        raise ArchiveError(
            f"the evenness of {swatch.swatch!r} cannot be stated: {why}; take a nearer photo with "
            "more yarn in flatter light, add it, and state it again"
        )
    return found, photo.measurement_id
