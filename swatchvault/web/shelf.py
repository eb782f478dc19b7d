"""The shelf: dyes, their packs and stocks, and bases; what is new on it, and what is left."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any

from datasette import Response

from swatchvault.cautions import CAUTION_LINE
from swatchvault.errors import SwatchvaultError
from swatchvault.web.mend import put_right
from swatchvault.web.said import CHANGE, IS_NEW, on_page
from swatchvault.web.typed import day_or_none, number, number_or_none, percent, row_id, whole
from swatchvault.web.visit import Form, RefusedError, Visit

if TYPE_CHECKING:
    from swatchvault.archive.known import Kind
    from swatchvault.archive.pages_shelf import StockOnShelf
    from swatchvault.archive.rows import Entry
    from swatchvault.archive.stock_doubts import StockDoubt

#: Rows of fibres in the form of a base; our choice.
FIBRE_ROWS = 4
#: Stocks of each dye that the shelf shows, the newest: a few strengths of it. Our choice.
STOCKS_OF_A_DYE = 6


async def shelf_page(visit: Visit) -> Response:
    """All that is on the shelf; a form that is refused comes back with what was typed."""
    if visit.request.method != "POST":
        return await _shown(visit, {}, "")
    form = await visit.form()
    work = WORK.get(form.text("add"))
    if work is None:
        raise RefusedError("the form does not say what it adds: load the page again")
    try:
        return await visit.change(form, lambda conn: work(conn, form))
    except SwatchvaultError as error:
        if visit.wants_json:
            raise
        typed = {n: form.text(n) for n in form.said if isinstance(n, str) and n != "once"}
        return await _shown(visit, typed, on_page(str(error)))


async def _shown(visit: Visit, typed: Mapping[str, str], words: str) -> Response:
    refused = typed.get("stock", "")
    values = await visit.read(_values, int(refused) if refused.isdecimal() else None)
    values |= {"typed": typed, "adding": typed.get("add", ""), "words": words}
    asked = {"really_new": IS_NEW, "change": CHANGE}
    values["asked_back"] = [(name, label) for name, label in asked.items() if label in words]
    return await visit.page("sv_shelf.html", values, 400 if words else 200)


def _values(conn: sqlite3.Connection, typed_stock: int | None = None) -> dict[str, Any]:
    from swatchvault.archive import schema_studio
    from swatchvault.archive.pages_shelf import (
        bases_on_shelf,
        dyes_on_shelf,
        stock_numbers,
        stock_on_shelf,
        stocks_on_shelf,
    )
    from swatchvault.archive.stock_doubts import stock_doubts

    shown, all_of = stocks_on_shelf(conn, newest=STOCKS_OF_A_DYE), stock_numbers(conn)
    if typed_stock in all_of and typed_stock not in {s.stock_id for s in shown}:
        shown.append(stock_on_shelf(conn, typed_stock))
    doubts = stock_doubts(conn, {s.stock_id for s in shown})
    return {
        "dyes": dyes_on_shelf(conn),
        "stocks": [with_age(s, doubts) for s in shown],
        "older": len(all_of) - len(shown),
        "of_a_dye": STOCKS_OF_A_DYE,
        "bases": bases_on_shelf(conn),
        "halos": schema_studio.HALOS,
        "fibre_rows": range(1, FIBRE_ROWS + 1),
        "today": f"{date.today():%Y-%m-%d}",
        "caution_line": CAUTION_LINE,
    }


def with_age(
    stock: StockOnShelf,
    doubts: Iterable[StockDoubt],
    packs: Mapping[int, Sequence[str]] | None = None,
) -> dict[str, Any]:
    """A stock with hints: where it is old or used up, as a pot's plan gives it, and its doubts.

    ``packs``: of each dye, by its id, the codes of its packs, where the stock can be put right."""
    from swatchvault.pot import StockChoice, is_aged

    choice = StockChoice(stock.code, stock.strength_percent, stock.left_ml, stock.mixed_on)
    hints = []
    if is_aged(choice, date.today()):
        hints.append("mixed more than six months ago: test it, or mix anew")
    hints += [f"{d.what}: {d.do}" for d in doubts if d.stock_id == stock.stock_id]
    if stock.left_ml == 0:
        hints.append("used up")
    if packs is None:
        return {"stock": stock, "hints": hints}
    facts = {name: getattr(stock, name) for name in ("grams", "made_up_to_ml", "mixed_on", "pack")}
    right = put_right("stock", stock.stock_id, facts, names=packs.get(stock.dye_id, ()))
    return {"stock": stock, "hints": hints, "right": right}


async def dye_page(visit: Visit) -> Response:
    """One dye: packs, stocks, the recipes that name it and the lots it went into."""
    from swatchvault.archive import pages_shelf
    from swatchvault.archive.stock_doubts import stock_doubts

    found = await visit.read(pages_shelf.dye_page, row_id(visit))
    doubts = await visit.read(stock_doubts, {s.stock_id for s in found.stocks})
    packs = await visit.read(pages_shelf.packs_by_dye)
    stocks = [with_age(s, doubts, packs) for s in found.stocks]
    values = {
        "page": found,
        "dye": found.dye,
        "stocks": stocks,
        "today": f"{date.today():%Y-%m-%d}",
    }
    return await visit.page("sv_dye.html", values)


# -- what is added: the function of the archive that the notes' reader calls too ---------------


def _day(form: Form, name: str, what: str) -> str | None:
    return day_or_none(form.text(name), what)


def _ask_about(conn: sqlite3.Connection, kind: Kind, name: str, form: Form) -> None:
    """Refuse a name that could be a slip for one that is there, unless it is ticked as new."""
    from swatchvault.newnames import question_on_name

    asked = question_on_name(conn, kind, name)
    if asked and form.text("really_new") != "yes":
        raise RefusedError(f"Not added yet: {asked} Write it so, or tick “{IS_NEW}”")


def _unless_other(entry: Entry, what: str, form: Form) -> int:
    """The number of what was added; refuse to change one that is there unless that is ticked.

    Raising undoes what was written.
    """
    if entry.change == "changed" and form.text("change") != "yes":
        raise RefusedError(
            f"Not added yet: {what} is there already, and other things are kept of it than are "
            f"told here. If this is another, give it a name of its own; else tick “{CHANGE}”"
        )
    return entry.id


def _add_dye(conn: sqlite3.Connection, form: Form) -> str:
    from swatchvault.archive import Dye, add_dye

    name = form.need("name", "The dye's name")
    _ask_about(conn, "dye", name, form)
    told = {n: form.text(n) or None for n in ("family", "note")}
    return f"/dye/{_unless_other(add_dye(conn, Dye(name, **told)), f'dye {name!r}', form)}"


def _add_pack(conn: sqlite3.Connection, form: Form) -> str:
    from swatchvault.archive import DyePack, add_dye_pack, find

    dye = form.need("dye", "The dye")
    code = form.need("code", "The pack's code")
    opened = _day(form, "opened_on", "when it was opened")
    added = add_dye_pack(conn, DyePack(dye, code, opened, form.text("note") or None))
    _unless_other(added, f"pack {code!r} of {dye}", form)
    return f"/dye/{find(conn, 'dye', dye)}"


def _add_stock(conn: sqlite3.Connection, form: Form) -> str:
    from swatchvault.amounts import parse_amount
    from swatchvault.archive import Stock, add_stock, find, spoons_of
    from swatchvault.dyeing import stock_strength_percent

    dye = form.need("dye", "The dye")
    spoons = spoons_of(conn)
    grams = parse_amount(form.need("grams", "The powder"), spoons, bare="g").g
    volume = form.need("made_up_to", "The volume it is made up to")
    made_up_to_ml = parse_amount(volume, spoons, bare="mL").ml
    stock_strength_percent(grams, made_up_to_ml)  # refuses what cannot be a stock
    stock = Stock(
        dye,
        form.need("code", "The stock's code"),
        grams,
        made_up_to_ml,
        pack=form.text("pack") or None,
        mixed_on=_day(form, "mixed_on", "when it was mixed"),
        note=form.text("note") or None,
    )
    _unless_other(add_stock(conn, stock), f"stock {stock.code!r} of {dye}", form)
    return f"/dye/{find(conn, 'dye', dye)}"


def _add_base(conn: sqlite3.Connection, form: Form) -> str:
    from swatchvault.archive import Base, add_base

    fibres: dict[str, float] = {}
    for n in range(1, FIBRE_ROWS + 1):
        fibre, share = form.text(f"fibre{n}"), form.text(f"percent{n}")
        if fibre and not share:
            raise RefusedError(f"how much {fibre} is in the base is missing: in %, 100 in all")
        if share and not fibre:
            raise RefusedError(f"{share.removesuffix('%').strip()} % of which fibre? name it")
        if fibre:
            fibres[fibre] = fibres.get(fibre, 0.0) + percent(share, f"the percent of {fibre}")
    name = form.need("name", "The base's name")
    _ask_about(conn, "base", name, form)
    base = Base(
        name,
        fibres,
        superwash={"yes": True, "no": False}.get(form.text("superwash")),
        construction=form.text("construction") or None,
        halo=form.text("halo") or None,
        price_per_kg=number_or_none(form.text("price_per_kg"), "the price"),
        note=form.text("note") or None,
    )
    return f"/base/{_unless_other(add_base(conn, base), f'base {name!r}', form)}"


def _add_base_lot(conn: sqlite3.Connection, form: Form) -> str:
    from swatchvault.archive import BaseLot, add_base_lot, find

    base = form.need("base", "The base")
    label = form.need("label", "The delivery's label")
    came = _day(form, "received_on", "when it came")
    added = add_base_lot(conn, BaseLot(base, label, came, form.text("note") or None))
    _unless_other(added, f"delivery {label!r} of {base}", form)
    return f"/base/{find(conn, 'base', base)}"


def _set_left(conn: sqlite3.Connection, form: Form) -> str:
    from swatchvault.archive import add_stock, get_stock
    from swatchvault.archive.pages_shelf import stock_on_shelf
    from swatchvault.dyeing import check_left

    found = stock_on_shelf(conn, whole(form.text("stock"), "the stock"))
    left = number(form.need("left", "What is left, in mL"), "what is left")
    if left < 0:
        raise RefusedError(f"{left:g} mL cannot be left: 0 or more is needed")
    kept = get_stock(conn, found.dye, found.code)
    check_left(left, kept.made_up_to_ml)
    seen = _day(form, "seen_on", "when it was seen") or f"{date.today():%Y-%m-%d}"
    add_stock(conn, replace(kept, left_ml=left, left_seen_on=seen))
    return "/shelf#stocks"


WORK: Mapping[str, Callable[[sqlite3.Connection, Form], str]] = {
    "dye": _add_dye,
    "pack": _add_pack,
    "stock": _add_stock,
    "base": _add_base,
    "base lot": _add_base_lot,
    "left": _set_left,
}
