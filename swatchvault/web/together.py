"""Which skeins can go together, and where a base has not been."""

from __future__ import annotations

import re
import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from datasette import Response

from swatchvault.errors import NotFound, SwatchvaultError
from swatchvault.kinds import FORMS
from swatchvault.web.typed import number, whole
from swatchvault.web.visit import RefusedError, Visit

if TYPE_CHECKING:
    from swatchvault.archive.pages_find import NamedRow
    from swatchvault.experiments import GapsOnBase
    from swatchvault.groups import Grouping
    from swatchvault.together import Table

_BLOCKS = (("block_l", 1.0), ("block_c", 1.0), ("block_h", 0.8))
_GAPS_SHOWN = 8
_MOST_GROUPED = 600  # the table of all pairs stays small; our choice


@dataclass(frozen=True)
class GroupsAsked:
    """What is to be grouped, as typed; ``lots``: numbers of lots that were ticked."""

    colourway: str = ""
    lots: tuple[str, ...] = ()
    names: str = ""
    base: str = ""
    form: str = ""
    tolerance: str = ""
    k_l: str = ""
    standard: str = ""
    blocks: tuple[str, ...] = ("", "", "")
    go: str = ""
    damp: str = ""

    def above_zero(self, text: str, what: str, default: float) -> float:
        value = number(text, what) if text else default
        if value <= 0:
            raise RefusedError(f"{what} is {text}, and must be above 0")
        return value


async def groups_page(visit: Visit) -> Response:
    """Lots or skeins chosen, and the groups in which every pair is within the tolerance."""
    plain = ("colourway", "names", "base", "form", "tolerance", "k_l", "standard", "go", "damp")
    asked = GroupsAsked(
        lots=tuple(visit.request.args.getlist("lot")),
        blocks=tuple(visit.asked(name).strip() for name, _ in _BLOCKS),
        **{n: visit.asked(n).strip() for n in plain},
    )
    values = await visit.read(_groups_values, asked)
    return await visit.page("sv_groups.html", values, 400 if values["problem"] else 200)


def _groups_values(conn: sqlite3.Connection, asked: GroupsAsked) -> dict[str, Any]:
    from swatchvault.archive.pages_find import bases_named, colourways_measured, measured_lots

    values: dict[str, Any] = {
        "asked": asked,
        "colourways": colourways_measured(conn),
        "bases": bases_named(conn),
        "forms": FORMS,
        "lots": [],
        "problem": "",
        "found": None,
    }
    try:
        if asked.colourway:
            values["lots"] = measured_lots(conn, whole(asked.colourway, "the colourway"))
        if asked.go:
            values |= _grouped(conn, asked, values["colourways"])
    except SwatchvaultError as error:
        values["problem"] = str(error)
    return values


def _grouped(
    conn: sqlite3.Connection, asked: GroupsAsked, colourways: list[NamedRow]
) -> dict[str, Any]:
    from swatchvault import shades, together
    from swatchvault.archive.pages_pot import lot_code

    tolerance = asked.above_zero(asked.tolerance, "the tolerance", 2.0)
    k_l = asked.above_zero(asked.k_l, "kL", 2.0)
    sizes = [
        asked.above_zero(text, "a block", default)
        for text, (_, default) in zip(asked.blocks, _BLOCKS, strict=True)
    ]
    names = [lot_code(conn, whole(n, "the lot")) for n in asked.lots]
    names += [n.strip() for n in re.split(r"[\n;]", asked.names) if n.strip()]
    colourway = None
    if asked.colourway and not names:
        colourway = next((c.name for c in colourways if str(c.id) == asked.colourway), None)
        if colourway is None:
            raise NotFound("this colourway has no measured lot")
    if not names and colourway is None:
        raise RefusedError("nothing to group: choose a colourway, tick its lots, or type names")
    table = together.table_of(
        conn,
        names,
        colourway=colourway,
        base=asked.base or None,
        form=asked.form or None,
        damp=bool(asked.damp),
    )
    if len(table.made) > _MOST_GROUPED:
        raise RefusedError(
            f"these are {len(table.made)} swatches: group {_MOST_GROUPED} or fewer at once"
        )
    found = together.group_swatches(table, tolerance, k_l)
    standard = asked.standard or table.names[0]
    held = together.standard_lab(conn, table, found, asked.standard or None)
    numbers = shades.shade_sort(found.labs, held, (sizes[0], sizes[1], sizes[2]))
    rows = _group_rows(found, table, numbers)
    return {
        "found": found,
        "groups": rows,
        "table": table,
        "damp": together.damp_words(table.damp),
        "standard": standard,
        "sizes": sizes,
    }


def _group_rows(found: Grouping, table: Table, numbers: list[str]) -> list[list[dict[str, Any]]]:
    return [
        [
            {
                "made": table.made[row],
                "lab": [float(v) for v in found.labs[row]],
                "u_lab": found.u_labs[row],
                "number": numbers[row],
                "damp": table.photos[row].damp,
            }
            for row in rows
        ]
        for rows in found.groups
    ]


# -- gaps --------------------------------------------------------------------------------------


async def gaps_page(visit: Visit) -> Response:
    """Where a base has been and where not, with recipes to dye next where they can be told."""
    base_id = visit.asked("base")
    values = await visit.read(
        _gaps_values, visit.studio.state, base_id, visit.asked("form"), bool(visit.asked("damp"))
    )
    status = 400 if values["problem"] and values["base"] is None else 200
    return await visit.page("sv_gaps.html", values, status)


def _gaps_values(
    conn: sqlite3.Connection, state: dict[str, Any], base_id: str, form: str, with_damp: bool
) -> dict[str, Any]:
    from swatchvault.archive.pages_find import bases_named

    bases = bases_named(conn)
    values: dict[str, Any] = {
        "bases": bases,
        "base": None,
        "form": form,
        "forms": FORMS,
        "with_damp": with_damp,
        "problem": "",
        "map": None,
    }
    if not base_id:
        return values
    try:
        wanted = whole(base_id, "the base")
        base = next((b for b in bases if b.id == wanted), None)
        if base is None:
            raise NotFound("this base is not in the archive: choose one from the list")
        if form and form not in FORMS:
            raise RefusedError(f"the form is {form!r}: choose one from the list")
        values["base"] = base
        values |= _kept_gaps(conn, state, base.name, form, with_damp)
    except SwatchvaultError as error:
        values["problem"] = str(error)
    return values


def _kept_gaps(
    conn: sqlite3.Connection, state: dict[str, Any], base: str, form: str, with_damp: bool
) -> dict[str, Any]:
    """As the `gaps` command finds them; kept until something is measured or dyed."""
    from swatchvault.archive.pages_find import newest_making, newest_row

    stamp = (*newest_row(conn), *newest_making(conn))
    kept: dict[Any, dict[str, Any]] = state.setdefault("gaps", {})
    if any(key[0] != stamp for key in kept):
        kept.clear()
    asked = (base, form, with_damp)
    if (stamp, *asked) not in kept:
        kept[stamp, *asked] = _gaps(conn, *asked)
    return kept[stamp, *asked]


def _gaps(conn: sqlite3.Connection, base: str, form: str, with_damp: bool) -> dict[str, Any]:
    from swatchvault import shades, together
    from swatchvault.experiments import ORDER, gaps_on_base
    from swatchvault.web.learned import recipe_address

    table = together.table_of(conn, (), base=base, damp=with_damp)
    found: GapsOnBase = gaps_on_base(
        conn, base, table.labs, form=form or None, count=_GAPS_SHOWN, k_l=2.0
    )
    recipes = [e.words for e in found.gaps if e.words]
    title = f"Where {base} has been, kL = 2"
    spots = [e.gap for e in found.gaps]
    return {
        "map": shades.map_svg(table.labs, table.names, spots, title, recipes),
        "gaps": [
            {
                "lab": [float(v) for v in e.gap.lab],
                "delta_e": e.gap.delta_e,
                "nearest": table.made[e.gap.nearest],
                "words": e.words,
                "go": recipe_address(conn, base, e.depths) if e.words and e.depths else "",
            }
            for e in found.gaps
        ],
        "inside": found.inside_words(len(table.made)),
        "order": ORDER,
        "damp": together.damp_words(table.damp),
    }
