"""What a form about a photo's swatches holds beforehand, and what of it gives way to a label."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from typing import Any

from swatchvault.archive import find
from swatchvault.errors import SwatchvaultError
from swatchvault.web.said import UNDYED

#: Facts that the page before the photo fills in, by the lot that it was opened from.
_OF_LOT = ("lot", "base", "colourway")


def prefilled(
    region: str,
    known: Mapping[str, Mapping[str, Any]],
    asked: Mapping[str, str],
    beside: Mapping[str, str],
) -> dict[str, Any]:
    """What is known of a region already: its swatch, or what the page before asked for; of the
    region "master" the swatch that was to lie ``beside``."""
    if region in known:
        dry = {1: "yes", 0: "no"}.get(known[region]["dry"], "")
        return {"swatch": known[region]["swatch"], "dry": dry}
    return dict(beside) if region == "master" else dict(asked)


def known_of(conn: sqlite3.Connection, told: Mapping[str, Any]) -> set[tuple[str, str]]:
    """Kind and name of the swatches and lots of the form that the archive has."""
    named = {(kind, row[kind]) for row in told["regions"] for kind in ("swatch", "lot")}
    return {(kind, name) for kind, name in named if name and _there(conn, kind, name)}


def _there(conn: sqlite3.Connection, kind: str, name: str) -> bool:
    try:
        find(conn, kind, name)
    except SwatchvaultError:
        return False
    return True


def ask_about_labels(
    conn: sqlite3.Connection, told: Mapping[str, Any], draft: Mapping[str, Any]
) -> None:
    """Ask where a label and what the page filled in of its lot do not go together."""
    asked = draft.get("asked") or {}
    _give_way(conn, told, asked)
    _name_the_lot(conn, told, asked)


def _give_way(conn: sqlite3.Connection, told: Mapping[str, Any], asked: Mapping[str, str]) -> None:
    """Ask about a label that is of another lot than the page filled in, and empty those fields.

    A snippet of the master beside a new lot is such a label, and so is a slip: the person says
    which, by keeping it once more or by another label. What was typed stays, and is judged as ever.
    """
    from swatchvault.archive.swatches import swatch_facts, swatch_there

    questions = []
    for row in told["regions"]:
        if not row["swatch"] or not swatch_there(conn, row["swatch"]):
            continue
        facts = swatch_facts(conn, row["swatch"])
        filled_in = [k for k in _OF_LOT if row[k] and row[k] == asked.get(k)]
        wrong = [k for k in filled_in if row[k] != getattr(facts, k)]
        if not wrong:
            continue
        of = f"of lot {facts.lot}" if facts.lot else "undyed"
        questions.append(
            f"swatch '{facts.swatch}' is in the archive, {of} on {facts.base}, and not of "
            f"{wrong[0]} '{row[wrong[0]]}'. If region {row['region']} shows it, keep it again: "
            "what the form said of its lot is emptied. If it is new yarn, give it another label"
        )
        row.update(dict.fromkeys(filled_in, ""))
    if questions:
        raise SwatchvaultError("; ".join(questions))


def _name_the_lot(
    conn: sqlite3.Connection, told: Mapping[str, Any], asked: Mapping[str, str]
) -> None:
    """Ask about a new label without a lot: only yarn that is said to be undyed has none.

    Where the page was opened for a lot, what it filled in of that lot, and an earlier label may
    have emptied, is brought back; not for a master, which is of another.
    """
    from swatchvault.archive.swatches import swatch_there

    questions, lot = [], asked.get("lot", "")
    for row in told["regions"]:
        if not row["swatch"] or swatch_there(conn, row["swatch"]):
            continue
        name = f"swatch '{row['swatch']}'"
        name += f" of region {row['region']}" if row["region"] else ""
        if row["undyed"] and row["lot"] in ("", lot):
            row.update(lot="", colourway="")
        elif row["undyed"]:
            questions.append(
                f"{name} is said to be undyed and of lot {row['lot']}: empty the lot, or take the "
                f"tick from “{UNDYED}”"
            )
        elif not row["lot"] and (row["region"] == "master" or not lot):
            questions.append(f"{name} is new, and no lot is named: write it, or tick “{UNDYED}”")
        elif not row["lot"]:
            row.update({k: row[k] or asked.get(k, "") for k in _OF_LOT})
            questions.append(
                f"{name} is new, and no lot was named: lot {lot}, which this page was "
                "opened for, is filled in again. Keep it again if it is of that lot; if not, "
                f"write its lot, or tick “{UNDYED}”"
            )
    if questions:
        raise SwatchvaultError("; ".join(questions))
