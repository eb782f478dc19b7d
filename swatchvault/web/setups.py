"""The dyer's own references and set-ups: told once, put right, and chosen for each photo."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping
from typing import Any

from datasette import Response

from swatchvault.archive import OwnedReference, Setup
from swatchvault.errors import SwatchvaultError
from swatchvault.kinds import EDITIONS, LIGHTS
from swatchvault.web.said import NOTHING_TYPED, on_page
from swatchvault.web.typed import number_or_none
from swatchvault.web.visit import Form, RefusedError, Visit

KINDS = {"card": "grey card", "steps": "neutral steps", "chart24": "24-patch chart"}
_YES_NO = {"yes": True, "no": False}


async def setups_page(visit: Visit) -> Response:
    """Every reference and set-up; a form that is refused comes back with what was typed."""
    from swatchvault.archive.mend import NotSureError

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
        return await _shown(visit, typed, on_page(str(error)), isinstance(error, NotSureError))


async def _shown(visit: Visit, typed: Mapping[str, str], words: str, ask: bool = False) -> Response:
    values = await visit.read(_values, visit.asked("mended"), visit.asked("setup"))
    values["anew"] = visit.asked("lit") == "1"
    values |= {"typed": typed, "adding": typed.get("add", ""), "words": words, "ask": ask}
    return await visit.page("sv_setups.html", values, 400 if words else 200)


def _values(conn: sqlite3.Connection, mended: str, setup: str) -> dict[str, Any]:
    from swatchvault.archive.pages_setups import (
        lit_by_setup,
        read_by_reference,
        references_there,
        setups_there,
    )

    return {
        "references": references_there(conn),
        "setups": setups_there(conn),
        "mended": read_by_reference(conn, mended),
        "mended_setup": lit_by_setup(conn, setup),
        "kinds": KINDS,
        "editions": EDITIONS,
        "lights": LIGHTS,
    }


def _typed(form: Form, name: str, kind: str) -> OwnedReference:
    """A reference as the form tells it. Raises ``SwatchvaultError`` in a sentence."""
    from swatchvault.typed_numbers import chart_values, lightest_first, numbers, reflectances

    y_text, lab_text, chart_text = form.text("y"), form.text("lab"), form.text("chart")
    if bool(y_text) + bool(lab_text) + bool(chart_text) > 1:
        raise RefusedError("its values are told in two ways: leave one of them blank")
    if y_text and kind == "chart24":
        raise RefusedError("a chart has 24 colours: give its edition, or its measured values")
    if (lab_text and kind != "card") or (chart_text and kind != "chart24"):
        raise RefusedError(f"these values are not of {KINDS[kind]}: look at what is filled in")
    y = reflectances(y_text, kind, "what it reflects") if y_text else None
    lab: tuple[tuple[float, float, float], ...] | None = None
    if lab_text:
        try:
            lightness, a, b = numbers(lab_text)
        except ValueError:
            raise RefusedError(f"L* a* b* is {lab_text!r}: write three numbers") from None
        lab = ((lightness, a, b),)
    edition = form.text("edition") or None
    if edition and (kind != "chart24" or edition not in EDITIONS):
        raise RefusedError("an edition is a chart's: after or before November 2014")
    return OwnedReference(
        name,
        kind,
        y=lightest_first(y) if y and kind == "steps" else y,
        lab_d50=chart_values(chart_text, "the chart's values") if chart_text else lab,
        edition=edition,
        tolerance_delta_e=number_or_none(form.text("tolerance"), "the tolerance"),
        source=form.text("source") or None,
        note=form.text("note") or None,
    )


def _add_reference(conn: sqlite3.Connection, form: Form) -> str:
    from swatchvault.archive import add_reference

    kind = form.need("kind", "What it is")
    if kind not in KINDS:
        raise RefusedError(f"what it is cannot be {kind!r}: choose one on the page")
    told = _typed(form, form.need("name", "The reference's name"), kind)
    if kind == "steps" and told.y is None:
        raise RefusedError("what the steps reflect is missing: it is printed on them or beside")
    add_reference(conn, told)
    return "/setups#references"


def _mend_reference(conn: sqlite3.Connection, form: Form) -> str:
    from swatchvault.archive import find, get_reference
    from swatchvault.archive.mend_reference import mend_reference

    name = form.need("name", "The reference")
    told = _typed(form, name, get_reference(conn, name).kind)
    done = mend_reference(conn, told, sure=form.text("sure") == "yes")
    if not done.changed:
        raise RefusedError(NOTHING_TYPED)
    return f"/setups?mended={find(conn, 'reference', done.name)}#references"


def _add_setup(conn: sqlite3.Connection, form: Form) -> str:
    from swatchvault.archive import add_setup

    add_setup(
        conn,
        Setup(
            form.need("name", "The set-up's name"),
            phone=form.text("phone") or None,
            **_light_and_lock(form),
            reference=form.text("reference") or None,
            note=form.text("note") or None,
        ),
    )
    return "/setups#setups"


def _mend_setup(conn: sqlite3.Connection, form: Form) -> str:
    from swatchvault.archive import find
    from swatchvault.archive.mend_setup import mend_setup

    name, sure = form.need("name", "The set-up"), form.text("sure") == "yes"
    done = mend_setup(conn, name, **_light_and_lock(form), sure=sure)
    if not done.changes:
        raise RefusedError(NOTHING_TYPED)
    lit = "&lit=1" if any(field == "light" for field, *_ in done.changes) else ""
    return f"/setups?setup={find(conn, 'setup', done.name)}{lit}#setups"


def _light_and_lock(form: Form) -> dict[str, Any]:
    light, locked = form.text("light"), form.text("locked")
    if light not in ("", *LIGHTS) or locked not in ("", *_YES_NO):
        raise RefusedError("light is daylight or other, and the camera is locked, free or neither")
    return {"light": light or None, "locked": _YES_NO.get(locked)}


WORK: Mapping[str, Callable[[sqlite3.Connection, Form], str]] = {
    "reference": _add_reference,
    "mend": _mend_reference,
    "setup": _add_setup,
    "mend-setup": _mend_setup,
}
