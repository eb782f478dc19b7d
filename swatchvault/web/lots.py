"""A lot with its pot log, dyes, skeins, photos, swatches and checks; and its card and label."""

from __future__ import annotations

import sqlite3
from functools import partial
from typing import Any

from datasette import Response

from swatchvault.web.checkable import cannot_yet, left_out
from swatchvault.web.checks import newest_and_earlier
from swatchvault.web.costs import cost_form
from swatchvault.web.mend import names_for, put_right
from swatchvault.web.newrecipe import next_as_done
from swatchvault.web.typed import number_or_none, row_id
from swatchvault.web.visit import RefusedError, Visit

Record = dict[str, Any]

_MOST_LABELS = 40


async def lot_page(visit: Visit) -> Response:
    """All that the archive holds of a lot."""
    lot_id = row_id(visit)
    may = visit.may("log")
    values = {
        **await visit.read(_lot, lot_id),
        "cannot": await visit.read(cannot_yet, lot_id) if may else None,
        "left_out": await visit.read(left_out, lot_id) if may else [],
    }
    return await visit.page("sv_lot.html", values)


async def lot_card(visit: Visit) -> Response:
    """A lot on one sheet, to go with its skeins."""
    found = await visit.read(_lot, row_id(visit))
    address = lot_address(visit, found["lot"]["id"])
    code = await visit.work(code_svg, address)
    return await visit.page("sv_print_lot.html", {**found, "code": code, "address": address})


async def lot_label(visit: Visit) -> Response:
    """A small label with a code that leads to the lot's page; ``copies`` on ordinary paper."""
    asked = number_or_none(visit.asked("copies"), "how many labels")
    if asked is not None and not 1 <= asked <= _MOST_LABELS:
        raise RefusedError(f"how many labels is {asked:g}, and must be 1 to {_MOST_LABELS}")
    found = await visit.read(_lot, row_id(visit))
    address = lot_address(visit, found["lot"]["id"])
    code = await visit.work(code_svg, address)
    copies = None if asked is None else int(asked)
    values = {**found, "code": code, "address": address, "copies": copies}
    return await visit.page("sv_print_label.html", values)


def lot_address(visit: Visit, lot_id: int) -> str:
    """The address of a lot's page on this server, as this visitor reached it."""
    return f"{visit.request.scheme}://{visit.request.host}/lot/{lot_id}"


def code_svg(text: str) -> str:
    """A QR code as a data address of an SVG, black on white with its quiet zone."""
    import segno

    code = segno.make(text, error="m", micro=False)
    return str(code.svg_data_uri(scale=4, light="#fff", dark="#000"))


def _lot(conn: sqlite3.Connection, lot_id: int) -> Record:
    from swatchvault.archive import get_pot, pages_check
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.archive.photo_doubts import photo_doubts
    from swatchvault.cautions import CAUTION_LINE
    from swatchvault.departures import departures
    from swatchvault.pot import AUXILIARIES
    from swatchvault.potwork import done_words, plan_of
    from swatchvault.recipe_sheet import step_plan_words

    lot = pages.one(conn, "lot", lot_id)
    pot = get_pot(conn, lot["code"])
    plan = plan_of(conn, pot, {})
    done: dict[int | None, list[Any]] = {}
    for step in pot.steps:
        done.setdefault(step.plan_number, []).append(step)
    numbers = {s.number for s in plan.steps} if plan else set()
    skeins = pages.skeins_of_lot(conn, lot["code"])
    return {
        "lot": lot,
        "later": pages.dyed_over_as(conn, lot_id),
        "right": put_right("lot", lot_id, lot, names=names_for(conn, "lot", lot_id)),
        "pot": pot,
        "plan": plan,
        "done": done,
        "told_apart": bool(numbers & done.keys()),
        "unplanned": [s for s in pot.steps if s.plan_number not in numbers],
        "departures": departures(plan, pot),
        "next_as_done": next_as_done(conn, lot),
        "dyes": [_dye(dye, grams, pot.goods_g) for dye, grams in pot.dyes_in],
        "skeins": skeins,
        "costs": cost_form(
            [(dye.dye, grams) for dye, grams in pot.dyes_in],
            pages.base_prices(conn, lot_id),
            pot.goods_g,
            skeins,
            [
                (s.step.kind, s.amount_g, s.amount_ml)
                for s in pot.steps
                if s.step.kind in AUXILIARIES
            ],
        ),
        "photos": pages.photos_of_lot(conn, lot_id),
        "photo_doubts": [str(d) for d in photo_doubts(conn, lot_id=lot_id)],
        "swatches": pages.swatches_of_lot_id(conn, lot_id),
        "checks": newest_and_earlier(pages_check.checks_of_lot(conn, lot_id)),
        "done_words": partial(done_words, pot),
        "plan_words": step_plan_words,
        "caution_line": CAUTION_LINE,
    }


def _dye(dye: Any, grams: float | None, goods_g: float | None) -> Record:
    depth = None if grams is None or not goods_g else 100.0 * grams / goods_g
    return {"dye": dye, "grams": grams, "depth": depth}
