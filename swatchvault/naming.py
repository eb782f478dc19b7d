"""Swatches and lots as people name them: what a name that does not fit could have meant."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from swatchvault.archive import (
    StoredColour,
    measured_or_not_found,
    swatch_id_of,
    swatch_ids_named,
    swatches_of_lot,
    why_none_counts,
)
from swatchvault.archive.listing import listing
from swatchvault.archive.names import folded, old_name_words
from swatchvault.errors import NotFound

_NEAREST_SHOWN = 5
#: Likeness of two names, 0 to 1 (difflib), from which one is worth a mention; our choice.
_LIKE = 0.4


def measured_swatch(conn: sqlite3.Connection, label: str) -> list[StoredColour]:
    """The colours of the swatch of that label, else of the one swatch of the lot of that code,
    oldest photo first.

    Raises ``NotFound`` for a swatch without a measured photo, and for any other name, saying
    whether it is a lot's and else which labels are nearest.
    """
    try:
        swatch_id_of(conn, label)
    except NotFound as error:
        only = _only_swatch_of_lot(conn, label)
        if only is None:
            raise _no_such(conn, label, error, ("swatch",)) from error
        return measured_or_not_found(conn, only)
    return measured_or_not_found(conn, label)


def _only_swatch_of_lot(conn: sqlite3.Connection, name: str) -> str | None:
    """The label of the one swatch of the lot of that code; ``None`` where it has none or several,
    or no lot has it."""
    try:
        of_lot = swatches_of_lot(conn, name)
    except NotFound:
        return None
    return of_lot[0].swatch if len(of_lot) == 1 else None


def swatches_named(conn: sqlite3.Connection, name: str) -> list[int]:
    """Ids of the swatches of the lot of that code, else of the swatch of that label; never none.

    Raises :class:`NotFound` with what the name could have meant.
    """
    try:
        return swatch_ids_named(conn, name)
    except NotFound as error:
        raise _no_such(conn, name, error, ("swatch", "lot")) from error


def no_photo_yet(conn: sqlite3.Connection, name: str) -> NotFound:
    """What to say of a lot or swatch, by its name, of which no photo was measured yet."""
    try:
        swatches = [s.swatch for s in swatches_of_lot(conn, name)]
    except NotFound:
        swatches = []
    what = "lot" if swatches else "swatch"
    for swatch_id in swatch_ids_named(conn, name):
        if (why := why_none_counts(conn, swatch_id)) is not None:
            return NotFound(f"{what} {name!r} {why}; or leave it out")
    return NotFound(
        f"{what} {name!r} has no measured photo yet: photograph {_or(swatches) or 'it'} and add "
        "it first, or leave it out"
    )


def _no_such(
    conn: sqlite3.Connection, name: str, error: NotFound, kinds: tuple[str, ...]
) -> NotFound:
    try:
        of_lot = swatches_of_lot(conn, name)
    except NotFound:
        for kind in kinds:
            if (said := old_name_words(conn, kind, name)) is not None:
                return NotFound(said)
        return _of_colourway(conn, name) or _nearest(conn, name, error, kinds)
    if not of_lot:
        return NotFound(f"lot {name!r} has no swatch yet: photograph its yarn and add it first")
    labels = [s.swatch for s in of_lot]
    return NotFound(
        f"{name!r} is a lot, and its swatches are {', '.join(map(repr, labels))}: name one of them"
    )


def _of_colourway(conn: sqlite3.Connection, name: str) -> NotFound | None:
    """What to name in place of a colourway: a master's swatch, or one of its lots."""

    def of_it(what: str, column: str) -> list[str]:
        rows = listing(conn, what).records()
        return [str(r[column]) for r in rows if folded(str(r["colourway"] or "")) == folded(name)]

    lots, masters = of_it("lots", "lot"), of_it("masters", "swatch")
    if not lots:
        return None
    held = f"it is held to {' and '.join(map(repr, masters))}, and " if masters else ""
    shown = ", ".join(map(repr, lots[-_NEAREST_SHOWN:]))
    newest = "newest " if len(lots) > _NEAREST_SHOWN else ""
    return NotFound(
        f"{name!r} is a colourway: {held}its {newest}lots are {shown}: name one of these"
    )


def _nearest(
    conn: sqlite3.Connection, name: str, error: NotFound, kinds: tuple[str, ...]
) -> NotFound:
    import difflib

    lists = {"lot": "lots", "swatch": "swatches"}
    names = [str(row[0]) for kind in kinds for row in listing(conn, lists[kind]).rows]
    known = {n.casefold(): n for n in names}
    if not known:
        return error
    near = difflib.get_close_matches(name.casefold(), known, n=_NEAREST_SHOWN, cutoff=_LIKE)
    what = f"unknown {' or '.join(kinds)} {name!r}"
    if not near:
        there = " and ".join(lists[kind] for kind in kinds)
        return NotFound(
            f"{what}: the archive has {len(known)} names, none like it: look through its {there}"
        )
    shown = ", ".join(repr(known[n]) for n in near)
    more = f", of {len(known)} names" if len(known) > len(near) else ""
    return NotFound(f"{what}: the nearest are {shown}{more}")


def _or(labels: Sequence[str]) -> str:
    return " or ".join(map(repr, labels))
