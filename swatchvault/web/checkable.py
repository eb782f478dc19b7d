"""Whether a lot can be held to its master as things are, why not, and what to do."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Any

from swatchvault.kinds import FORMS
from swatchvault.web.said import on_page
from swatchvault.web.visit import RefusedError

if TYPE_CHECKING:
    from swatchvault.checking import Ask

Record = dict[str, Any]


def ready(conn: sqlite3.Connection, lot_id: int, only: Collection[int] | None = None) -> Record:
    """What a check of the lot would be held to, swatch by swatch."""
    from swatchvault.archive import pages_yarn as pages

    lot = pages.one(conn, "lot", lot_id)
    swatches = pages.swatches_of_lot_id(conn, lot_id)
    swatches = [s for s in swatches if only is None or s["swatch_id"] in only]
    for swatch in swatches:
        swatch["master"] = pages.master_of_swatch(conn, swatch["swatch_id"])
        swatch["why_not"] = _why_not(conn, swatch)
    next_words, links = what_to_do(lot, swatches)
    return {
        "lot": lot,
        "swatches": swatches,
        "what_next": next_words,
        "links": links,
        "forms": [f for f in FORMS if f in {s["form"] for s in swatches}],
        "can": any(not s["why_not"] for s in swatches),
        "across": any(_other_form(conn, lot, s) for s in swatches),
    }


def _other_form(conn: sqlite3.Connection, lot: Record, swatch: Record) -> bool:
    """Whether a swatch without a master could be held to one in another form."""
    from swatchvault.archive import current_master, swatch_colours

    if not swatch["lab"] or swatch["master"] is not None or not lot["colourway"]:
        return False
    found = (current_master(conn, lot["colourway"], swatch["base"], form) for form in FORMS)
    return any(m is not None and swatch_colours(conn, m.swatch_id) for m in found)


def _why_not(conn: sqlite3.Connection, swatch: Record) -> str:
    master = swatch["master"]
    if not swatch["lab"]:
        return _no_photo(conn, swatch)
    if master is None:
        return f"has no master as {swatch['form']} on {swatch['base']}"
    if master["swatch_id"] == swatch["swatch_id"]:
        return "is the master itself"
    if not master["lab"]:
        return f"has a master, {master['swatch']}, that {_no_photo(conn, master)}"
    return _apart_by_version(conn, swatch["swatch_id"], master["swatch_id"])


def _apart_by_version(conn: sqlite3.Connection, swatch_id: int, master_id: int) -> str:
    """That no version of the method has measured both swatches; "" where one has."""
    from swatchvault.archive import swatch_colours
    from swatchvault.archive.evenness import versions_of_swatch
    from swatchvault.lotcheck import apart_by_version

    if versions_of_swatch(conn, swatch_id) & versions_of_swatch(conn, master_id):
        return ""
    why = apart_by_version(swatch_colours(conn, master_id), swatch_colours(conn, swatch_id))
    return f"cannot be held to its master as they are measured: {why}" if why else ""


def left_out(conn: sqlite3.Connection, lot_id: int) -> list[str]:
    """Swatches that a check of the lot leaves out, and why: those with a master that they cannot
    be held to as things are. None where no swatch can be checked: :func:`cannot_yet` has it then.
    """
    found = ready(conn, lot_id)
    rest = [s for s in found["swatches"] if _has_another_for_master(s) and s["why_not"]]
    return [f"swatch {s['swatch']} {s['why_not']}" for s in rest] if found["can"] else []


def _has_another_for_master(swatch: Record) -> bool:
    master = swatch["master"]
    return bool(swatch["lab"] and master and master["swatch_id"] != swatch["swatch_id"])


def _no_photo(conn: sqlite3.Connection, swatch: Record) -> str:
    from swatchvault.archive import why_none_counts

    return on_page(why_none_counts(conn, swatch["swatch_id"]) or "has no measured photo yet")


def cannot_yet(
    conn: sqlite3.Connection, lot_id: int, only: Collection[int] | None = None
) -> tuple[str, list[tuple[str, str]]] | None:
    """Why no swatch of the lot can be held to a master as things are, and where to go on; ``None``
    where one can, or where there is none yet. ``only``: of these swatches alone."""
    found = ready(conn, lot_id, only)
    if found["can"] or not found["swatches"]:
        return None
    reasons = {s["why_not"] for s in found["swatches"]}
    said = "; ".join(f"swatch {s['swatch']} {s['why_not']}" for s in found["swatches"])
    words = f"{said[0].upper()}{said[1:]}."
    if reasons == {"is the master itself"}:
        return words, []
    links = [link for link in found["links"] if link[0] != f"/lot/{lot_id}"]
    return f"{words} {found['what_next']}", links


def some_can(conn: sqlite3.Connection, lot_id: int, ask: Ask) -> bool:
    """Whether a swatch in the form that is asked for can be held to its master."""
    swatches = ready(conn, lot_id)["swatches"]
    return any(not s["why_not"] and ask.form in (None, s["form"]) for s in swatches)


def cannot(conn: sqlite3.Connection, lot_id: int, ask: Ask) -> RefusedError:
    """Why no swatch of the lot can be held to a master, and what to do, for a page."""
    found = ready(conn, lot_id)
    swatches = [s for s in found["swatches"] if ask.form in (None, s["form"])]
    said = "; ".join(f"swatch {s['swatch']} {s['why_not']}" for s in swatches if s["why_not"])
    if not said:
        said = f"it has no swatch as {ask.form}" if ask.form else "it has no swatch yet"
    next_words, links = what_to_do(found["lot"], swatches)
    words = f"Lot {found['lot']['code']} cannot be checked: {said}. {next_words}"
    return RefusedError(words, links=links)


def what_to_do(lot: Record, swatches: Sequence[Record]) -> tuple[str, list[tuple[str, str]]]:
    """What makes a check of the lot possible, and address and words of where that is done."""
    measured = [s for s in swatches if s["lab"]]
    if not measured:
        words = "Photograph a swatch of it, dry."
        return words, [(f"/photos/new?lot={lot['id']}", "Take a photo")]
    if not lot["colourway_id"]:
        return "It is of no colourway, and a master is of one.", [(f"/lot/{lot['id']}", "The lot")]
    page = (f"/colourway/{lot['colourway_id']}", "To its colourway")
    without = next((s for s in measured if s["master"] is None), None)
    if without is not None:
        kind = f"on {without['base']} as {without['form']}"
        words = f"Make a swatch {kind} the master, on its colourway's page: one of an earlier lot, "
        own = (f"/swatch/{without['swatch_id']}#master", f"Swatch {without['swatch']}")
        return f"{words}or this one for later lots.", [own, page]
    bare = next((s["master"] for s in measured if s["master"] and not s["master"]["lab"]), None)
    if bare is not None:
        words = f"Photograph {bare['swatch']} again, or make another swatch the master."
        return words, [(f"/swatch/{bare['swatch_id']}", "The master's swatch"), page]
    if any(_has_another_for_master(s) for s in measured):  # measured by another version
        return "Then check it.", []
    return "Check another lot, or make a swatch of an earlier one the master.", [page]
