"""A fact put right, a thing let go: the forms on the pages of what they change, and refusals."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from datasette import Response

from swatchvault.errors import NotFound, SwatchvaultError
from swatchvault.kinds import FORMS
from swatchvault.web.said import NOTHING_TYPED, on_page
from swatchvault.web.typed import (
    day_or_none,
    grams_or_none,
    millilitres_or_none,
    number_or_none,
    row_id,
)
from swatchvault.web.visit import Form, RefusedError, Visit

Fact = float | str | None
Facts = Mapping[str, Fact]


@dataclass(frozen=True)
class Field:
    """A field of the form: the fact's name in the archive, its label, what it is ("g", "mL",
    "day", "form", or "base", "colourway" and "pack", which are chosen from those there are), and
    how it is read; what is blank is read as ``None``."""

    name: str
    label: str
    unit: str
    read: Callable[[str, str], Fact]

    def shown(self, fact: Fact) -> str:
        """A fact as the field has it, so that it is read back as the very same."""
        if isinstance(fact, float):
            return f"{Decimal(repr(fact)):f} {self.unit}".replace(".0 ", " ").strip()
        return fact or ""


def _form(text: str, what: str) -> str | None:
    if text and text not in FORMS:
        raise RefusedError(f"{what} is {text!r}: choose one of {', '.join(FORMS)}")
    return text or None


#: Names up to which one is chosen from a list; our choice. Of 10,000 the list is 320 kB.
MOST_NAMES = 300


def _chosen(text: str, what: str) -> str | None:
    return text or None


def _yes_no(text: str, what: str) -> str | None:
    if text not in ("", "yes", "no"):
        raise RefusedError(f"{what}; what was typed is {text!r}")
    return text or None


FIELDS: Mapping[str, tuple[Field, ...]] = {
    "stock": (
        Field("grams", "Powder in it", "g", grams_or_none),
        Field("made_up_to_ml", "Made up to", "mL", millilitres_or_none),
        Field("mixed_on", "Mixed on", "day", day_or_none),
        Field("pack", "Pack of its powder", "pack", _chosen),
    ),
    "swatch": (
        Field("form", "Form", "form", _form),
        Field("base", "Base", "base", _chosen),
        Field("lot", "Lot, if it is no undyed yarn", "", _chosen),
    ),
    "lot": (
        Field("dyed_on", "Dyed on", "day", day_or_none),
        Field("dry_g", "Dry weight of the goods", "g", grams_or_none),
        Field("colourway", "Colourway", "colourway", _chosen),
    ),
    "base": (
        Field("fibres", "Fibres, as 80 % wool, 20 % silk", "", _chosen),
        Field("price_per_kg", "Price per kg", "", number_or_none),
        Field("superwash", "Superwash: yes or no", "", _yes_no),
    ),
}
#: Where a visitor goes from a thing that is gone.
_AFTER = dict.fromkeys(("base", "dye", "stock"), "/shelf")


def put_right(
    kind: str,
    number: int,
    facts: Facts,
    typed: Mapping[str, str] | None = None,
    names: Sequence[str] = (),
) -> dict[str, Any]:
    """What the form of a stock, swatch or lot shows, and beside each field what it was when the
    form was made; ``typed``: what was typed and refused; ``names``: bases, colourways or packs to
    choose from. A stock of a dye without packs is asked for none."""
    told = typed or {}
    fields = [
        {
            "name": f.name,
            "label": f.label,
            "unit": f.unit,
            "was": f.shown(facts[f.name]),
            "value": told.get(f.name, f.shown(facts[f.name])),
        }
        for f in FIELDS[kind]
        if not (f.name == "pack" and not names)
    ]
    return {"kind": kind, "number": number, "fields": fields, "forms": FORMS, "names": names}


def names_for(conn: sqlite3.Connection, kind: str, number: int) -> tuple[str, ...]:
    """What the form of a swatch, lot or stock offers to choose from: bases, colourways or its dye's
    packs; nothing where they are too many to look through, so that a name is typed."""
    from swatchvault.archive.pages_find import choices, colourways_named
    from swatchvault.archive.pages_shelf import packs_by_dye, stock_on_shelf

    if kind == "base":
        return ()
    if kind == "stock":
        return tuple(packs_by_dye(conn).get(stock_on_shelf(conn, number).dye_id, ()))
    names = choices(conn).bases if kind == "swatch" else colourways_named(conn, MOST_NAMES + 1)
    return tuple(names) if len(names) <= MOST_NAMES else ()


async def facts_page(visit: Visit) -> Response:
    """The form alone; a POST puts the facts right, and a refused one comes back as typed."""
    from swatchvault.archive.mend import NotSureError

    kind, number = visit.part("kind"), row_id(visit)
    if visit.request.method != "POST":
        return await _shown(visit, None, "")
    form = await visit.form()
    typed = {f.name: form.text(f.name) for f in FIELDS[kind] if _touched(form, f)}

    def work(conn: sqlite3.Connection) -> str:
        from swatchvault.archive.mend import mend

        _refuse_stale(conn, kind, number, form, typed)
        told = {f.name: f.read(typed[f.name], f.label) for f in FIELDS[kind] if f.name in typed}
        if not mend(conn, kind, number, told, sure=form.text("sure") == "yes").changes:
            raise RefusedError(NOTHING_TYPED)
        return _page_of(conn, kind, number)

    try:
        return await visit.change(form, work, "It is put right.")
    except NotFound:
        raise
    except SwatchvaultError as error:
        if visit.wants_json:
            raise
        return await _shown(visit, typed, on_page(str(error)), isinstance(error, NotSureError))


def _was(form: Form, field: Field) -> str | None:
    """What a field held when its form was made; ``None`` where the form does not say."""
    said = form.said.get(f"was-{field.name}")
    return said.strip() if isinstance(said, str) else None


def _touched(form: Form, field: Field) -> bool:
    return form.text(field.name) != _was(form, field)


def _refuse_stale(
    conn: sqlite3.Connection, kind: str, number: int, form: Form, typed: Mapping[str, str]
) -> None:
    """Refuse what was typed over a fact that is no longer what the form showed."""
    from swatchvault.archive.mend import facts_of

    known = facts_of(conn, kind, number)
    for field in (f for f in FIELDS[kind] if typed.get(f.name)):
        now = field.shown(known[field.name])
        if _was(form, field) not in (None, now) and typed[field.name] != now:
            raise RefusedError(
                f"“{field.label}” was changed meanwhile, by another tab or phone: it is "
                f"{now or 'not said'} now. Look at it, and put it right again if yours still holds"
            )


async def _shown(
    visit: Visit, typed: Mapping[str, str] | None, words: str, ask: bool = False
) -> Response:
    values = await visit.read(_values, visit.part("kind"), row_id(visit), typed)
    values |= {"words": words, "ask": ask}
    return await visit.page("sv_facts.html", values, 400 if words else 200)


def _values(
    conn: sqlite3.Connection, kind: str, number: int, typed: Mapping[str, str] | None
) -> dict[str, Any]:
    from swatchvault.archive.mend import facts_of
    from swatchvault.archive.rename import name_of

    return {
        "name": name_of(conn, kind, number),
        "right": put_right(
            kind, number, facts_of(conn, kind, number), typed, names_for(conn, kind, number)
        ),
        "back": _page_of(conn, kind, number),
    }


def _page_of(conn: sqlite3.Connection, kind: str, number: int) -> str:
    """Where the thing is shown; a stock stands on its dye's page."""
    if kind != "stock":
        return f"/{kind}/{number}"
    from swatchvault.archive.pages_shelf import stock_on_shelf

    return f"/dye/{stock_on_shelf(conn, number).dye_id}"


async def let_go_page(visit: Visit) -> Response:
    """What belongs to a thing, or rests on it; a POST lets it go where nothing does."""
    kind, number = visit.part("kind"), row_id(visit)
    if visit.request.method != "POST":
        return await _whether(visit, "")
    form = await visit.form()

    def work(conn: sqlite3.Connection) -> str:
        from swatchvault.archive.let_go import let_go

        let_go(conn, kind, number)
        return _AFTER.get(kind, "/")

    try:
        return await visit.change(form, work, "It is gone.")
    except NotFound:
        raise
    except SwatchvaultError as error:
        if visit.wants_json:
            raise
        return await _whether(visit, str(error))


async def _whether(visit: Visit, words: str) -> Response:
    def values(conn: sqlite3.Connection) -> dict[str, Any]:
        from swatchvault.archive.let_go import (
            holds,
            measured_elsewhere,
            name_to_go,
            struck_steps,
            what_belongs,
        )

        kind, number = visit.part("kind"), row_id(visit)
        name = name_to_go(conn, kind, number)
        belongs = what_belongs(conn, kind, number)
        moved = measured_elsewhere(conn, number) if kind == "swatch" else ()
        struck = struck_steps(conn, number) if kind == "lot" else 0
        found = {"belongs": belongs, "moved": moved, "struck": struck, "words": words}
        back = _page_of(conn, kind, number)
        return {
            "kind": kind,
            "number": number,
            "name": name,
            "back": back,
            "holds": holds(kind),
        } | found

    return await visit.page("sv_let_go.html", await visit.read(values), 400 if words else 200)
