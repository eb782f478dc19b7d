"""What a form about a photo's swatches holds beforehand, and what of it gives way to a label."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from typing import Any

from swatchvault.errors import SwatchvaultError

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


def give_way(conn: sqlite3.Connection, told: Mapping[str, Any], asked: Mapping[str, str]) -> None:
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
