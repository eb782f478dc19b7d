"""What to add to a pot so that it comes nearer to its master or another colour."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from datasette import Response

from swatchvault.errors import NotFound, SwatchvaultError
from swatchvault.kinds import FORMS
from swatchvault.web.learned import LEARN_FIELDS, learn_from, rests_on
from swatchvault.web.said import on_page
from swatchvault.web.typed import row_id
from swatchvault.web.visit import Visit

if TYPE_CHECKING:
    from swatchvault.foretell_asked import Corrected, LearnFrom
    from swatchvault.queries import Query


@dataclass(frozen=True)
class CorrectAsked:
    """What an address asks, as text. ``to``: the colour wanted, blank: the lot's master."""

    to: str
    without: tuple[str, ...]
    said: dict[str, str]


async def correct_page(visit: Visit) -> Response:
    """The additions that `correct` tells, and the form that asks for others."""
    asked = CorrectAsked(
        visit.asked("to").strip(),
        tuple(visit.request.args.getlist("without") or ()),
        {n: visit.asked(n).strip() for n in LEARN_FIELDS},
    )
    values = await visit.read(_values, row_id(visit), asked)
    return await visit.page("sv_pot_correct.html", values, values["status"])


def _values(conn: sqlite3.Connection, lot_id: int, asked: CorrectAsked) -> dict[str, Any]:
    """All that the page shows; what cannot be told leaves its sentence in ``problem``."""
    from swatchvault.archive import get_dye
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.archive.pages_find import choices
    from swatchvault.cautions import CAUTION_LINE
    from swatchvault.queries import query_of_text

    lot = pages.one(conn, "lot", lot_id)
    of_it = lot["colourway_id"]
    swatches = [] if of_it is None else pages.swatches_of_colourway_id(conn, of_it)
    values: dict[str, Any] = {
        "asked": asked,
        "lot": lot,
        "targets": [s["swatch"] for s in swatches if s["lab"] and s["lot_id"] != lot_id],
        "dyes": choices(conn).dyes,
        "forms": FORMS,
        "found": None,
        "problem": "",
        "status": 200,
        "caution_line": CAUTION_LINE,
    }
    try:
        query = query_of_text(conn, asked.to) if asked.to else None
        without = [get_dye(conn, dye).name for dye in asked.without]
        learn = learn_from(lambda name: asked.said[name])
    except SwatchvaultError as error:
        status = 404 if isinstance(error, NotFound) else 400
        return values | {"problem": str(error), "status": status}
    try:
        return values | {"found": _found(conn, lot, query, learn, without)}
    except SwatchvaultError as error:  # what is known of it does not do: an answer too
        return values | {"problem": on_page(str(error))}


def _found(
    conn: sqlite3.Connection,
    lot: dict[str, Any],
    query: Query | None,
    learn: LearnFrom,
    without: list[str],
) -> dict[str, Any]:
    from swatchvault.foretell_asked import AtHand, corrected
    from swatchvault.knownbase import recipe_words

    put = corrected(conn, lot["code"], query, learn, AtHand(without=without))
    found, reading = put.found, put.found.reading
    return {
        "went_in": recipe_words(found.pot.lot.depths),
        "goods_g": found.pot.goods_g,
        "swatch": found.pot.swatch,
        "pot_lab": [float(v) for v in reading.lab],
        "target": found.target.name,
        "target_lab": [float(v) for v in found.target.lab],
        "reading": reading.words,
        "told_apart": reading.told_apart,
        "notes": [on_page(note) for note in put.notes],
        "why": found.additions.why,
        "added": _added(conn, lot["id"], put) if put.plan else None,
        "rests": rests_on(conn, found.known),
    }


def _added(conn: sqlite3.Connection, lot_id: int, put: Corrected) -> dict[str, Any]:
    """The additions, where they lead, and the address of the form that records them."""
    import numpy as np

    from swatchvault.archive.pages_pot import dye_sources
    from swatchvault.foretell_words import (
        PORTIONS_LINE,
        end_words,
        hints_of,
        shared_words,
        source_words,
    )

    assert put.plan is not None
    got = put.found.additions
    keys = {(s.dye, s.stock): s.key for s in dye_sources(conn)}
    fields: dict[str, str] = {}
    for row, dose in enumerate(put.doses, 1):
        fields |= {f"dye{row}": keys[dose.dye, dose.stock], f"amount{row}": dose.words}
    return {
        "doses": [(dose, source_words(dose, put.stocks)) for dose in put.doses],
        "lab": [float(v) for v in got.lab],
        "u_lab": [float(v) for v in np.sqrt(np.diag(got.covariance))],
        "end": end_words(put.found),
        "shared": shared_words(put.found.known, got.lab),
        "hints": hints_of(put.plan),
        "portions": PORTIONS_LINE,
        "record": f"/pot/{lot_id}?{urlencode(fields)}#else",
    }
