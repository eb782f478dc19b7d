"""A colourway with its recipes, lots, masters and course; a base; a swatch made the master."""

from __future__ import annotations

import sqlite3
from typing import Any

from datasette import Response

from swatchvault.errors import CompareError
from swatchvault.web.recipes import recipe_example
from swatchvault.web.said import on_page
from swatchvault.web.typed import above_zero, day_or_none, row_id, whole
from swatchvault.web.visit import Form, RefusedError, Visit

Record = dict[str, Any]

#: Dots on a base's map; the tables have all. Our choice, for the size of the picture.
_DOTS = 500
# A chart holds lots to each other, not to the master, and must not seem to overrule a verdict.
_CHECKED = "Verdicts against the master stand above."


async def colourway_page(visit: Visit) -> Response:
    """A colourway; a POST holds its later lots to one of its swatches."""
    colourway_id = row_id(visit)
    if visit.request.method == "POST":
        return await hold_later_lots(visit, f"/colourway/{colourway_id}", colourway_id)
    return await visit.page("sv_colourway.html", await visit.read(_colourway, colourway_id))


def _colourway(conn: sqlite3.Connection, colourway_id: int) -> Record:
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.archive.standing import no_longer
    from swatchvault.tonal_master import stated_words

    colourway = pages.one(conn, "colourway", colourway_id)
    masters = [
        {**m, "even": stated_words(conn, m["master_id"])}
        for m in pages.masters_of_colourway(conn, colourway_id)
    ]
    swatches = pages.swatches_of_colourway_id(conn, colourway_id)
    measured = [s for s in swatches if s["lab"]]
    lots = pages.lots_of_colourway(conn, colourway_id)
    checked = any(lot["check_id"] for lot in lots)
    return {
        "colourway": colourway,
        "lots": lots,
        "recipes": pages.recipes_of_colourway(conn, colourway_id),
        "masters": masters,
        "no_longer": no_longer(conn, "held.colourway_id = ?", (colourway_id,)),
        "measured": measured,
        "example": recipe_example(conn, colourway["name"]),
        "courses": _courses(conn, colourway["name"], measured, checked),
    }


def _courses(
    conn: sqlite3.Connection, name: str, measured: list[Record], checked: bool
) -> list[Record]:
    """The chart of each base and form that has two lots or more, and what it says; or why there
    is none (``svg`` is "" then).

    ``checked``: whether verdicts against the master stand on the page.
    """
    from swatchvault import shades, together

    families: dict[tuple[str, str], set[int]] = {}
    for swatch in measured:
        families.setdefault((swatch["base"], swatch["form"]), set()).add(swatch["lot_id"])
    found = []
    for (base, form), lots in sorted(families.items()):
        if len(lots) < 2:
            continue
        kind = {"title": f"{base} as {form}", "svg": "", "notes": []}
        try:
            table = together.table_of(conn, (), colourway=name, base=base, form=form, damp=False)
            course = together.course_of(table, 2.0)
        except CompareError as error:  # such as lots measured by two versions of the method
            found.append({**kind, "said": [f"No chart: {on_page(str(error))}."]})
            continue
        title = f"{name} on {base} as {form}, kL = 2"
        quiet = f"{course.quiet} {_CHECKED}" if checked else course.quiet
        said = course.sentences or (quiet,)
        notes = together.notes_of(course, table.damp)
        svg = shades.course_svg(course, title)
        found.append({**kind, "svg": svg, "said": said, "notes": notes})
    return found


async def hold_later_lots(
    visit: Visit, back: str, colourway_id: int | None = None, *, form: Form | None = None
) -> Response:
    """Make the swatch that a form names the master, and go to ``back``.

    ``colourway_id``: the swatch must be of this colourway. ``form``: where it is read already.
    """
    from swatchvault.words import question_tolerance

    form = form or await visit.form()
    swatch_id = whole(form.need("swatch", "the swatch"), "the swatch")
    tolerance = above_zero(form, "tolerance", "the tolerance", 2.0)
    k_l = above_zero(form, "k_l", "kL", 2.0)

    def work(conn: sqlite3.Connection) -> str:
        _set(conn, swatch_id, colourway_id, form, (tolerance, k_l))
        return back

    said = ["It is the master now.", question_tolerance(tolerance) or ""]
    return await visit.change(form, work, " ".join(said).strip())


def _set(
    conn: sqlite3.Connection,
    swatch_id: int,
    colourway_id: int | None,
    form: Form,
    limits: tuple[float, float],
) -> None:
    from swatchvault.archive import Master, swatch_facts
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.tonal_master import make_master

    swatch = pages.one(conn, "swatch", swatch_id)
    if swatch["colourway"] is None:
        raise RefusedError(
            f"swatch {swatch['label']} is of undyed yarn; a master is of a colourway"
        )
    if colourway_id not in (None, swatch["colourway_id"]):
        raise RefusedError(f"swatch {swatch['label']} is of another colourway: choose one of these")
    names = (swatch["colourway"], swatch["base"], swatch["form"], swatch["label"])
    since = day_or_none(form.text("since"), "the day from which it holds")
    reason = form.text("reason") or None
    wanted = {"yes": True, "no": False}.get(form.text("evenness"))
    facts = swatch_facts(conn, swatch["label"])
    make_master(conn, Master(*names, *limits, since, reason), facts, wanted)


async def base_page(visit: Visit) -> Response:
    """A base: fibres, deliveries, its undyed colours, and the lots on it."""
    return await visit.page("sv_base_yarn.html", await visit.read(_base, row_id(visit)))


def _base(conn: sqlite3.Connection, base_id: int) -> Record:
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.archive.mend_base import base_facts
    from swatchvault.web.mend import put_right

    fibres, deliveries = pages.fibres_and_deliveries(conn, base_id)
    return {
        "base": pages.one(conn, "base", base_id),
        "right": put_right("base", base_id, base_facts(conn, base_id)),
        "fibres": fibres,
        "deliveries": deliveries,
        "undyed": pages.undyed_swatches(conn, base_id),
        "lots": pages.lots_on_base(conn, base_id),
        **_map(conn, base_id),
        "dots": _DOTS,
    }


def _map(conn: sqlite3.Connection, base_id: int) -> Record:
    """Where the base has been, as ``svg``: the picture that ``gaps`` draws, without the gaps; and
    what was left out of it."""
    from swatchvault import shades
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.together import damp_words

    seen = pages.labs_on_base(conn, base_id, _DOTS)
    damp = damp_words([s["swatch"] for s in seen if s["damp"]])
    dry = [s for s in seen if not s["damp"]]
    if not dry:
        return {"svg": None, "damp": damp}
    name = pages.one(conn, "base", base_id)["name"]
    labs, names = [s["lab"] for s in dry], [s["swatch"] for s in dry]
    return {"svg": shades.map_svg(labs, names, (), f"Where {name} has been"), "damp": damp}
