"""Which dyes get to a colour: recipes that a base's lots foretell to come nearest."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from datasette import Response

from swatchvault.errors import NotFound, SwatchvaultError
from swatchvault.kinds import FORMS
from swatchvault.web.findasked import Asked, query_of, read_asked
from swatchvault.web.learned import (
    LEARN_FIELDS,
    dyes_in_address,
    learn_from,
    recipe_address,
    rests_on,
    shown_shade,
)
from swatchvault.web.typed import whole
from swatchvault.web.visit import RefusedError, Visit

if TYPE_CHECKING:
    from swatchvault.foretell import Ways
    from swatchvault.foretell_asked import LearnFrom
    from swatchvault.queries import Query

#: How many dyes a recipe may have, as the command takes them.
DYES = ("1", "2", "3", "4")


@dataclass(frozen=True)
class WaysAsked:
    """What an address asks, as text. ``target``: the colour, as a search names it."""

    target: Asked
    said: dict[str, str]
    most: str
    without: tuple[str, ...]


async def ways_page(visit: Visit) -> Response:
    """The recipes that `reach` ranks, and the form that asks for others."""
    await visit.need_making()
    asked = WaysAsked(
        target=read_asked(visit.asked),
        said={n: visit.asked(n).strip() for n in LEARN_FIELDS},
        most=visit.asked("most").strip(),
        without=tuple(visit.request.args.getlist("without") or ()),
    )
    values = await visit.read(_values, visit.studio.state, asked)
    return await visit.page("sv_ways.html", values, values["status"])


def _values(conn: sqlite3.Connection, state: dict[str, Any], asked: WaysAsked) -> dict[str, Any]:
    """All that the page shows; what cannot be answered leaves its sentence in ``problem``."""
    from swatchvault.archive import get_base, get_dye
    from swatchvault.archive.pages_find import bases_named, choices
    from swatchvault.foretell_asked import MOST_DYES

    values: dict[str, Any] = {
        "asked": asked,
        "most": asked.most or str(MOST_DYES),
        "most_dyes": DYES,
        "base": asked.target["base"],
        "bases": bases_named(conn),
        "dyes": choices(conn).dyes,
        "forms": FORMS,
        "query": None,
        "found": None,
        "problem": "",
        "status": 200,
    }
    if not asked.target.by:
        return values
    try:
        query, words = query_of(conn, asked.target, state.get("photos to find", {}))
        values |= {"query": query, "base": values["base"] or _own_base(query)}
        if not values["base"]:
            return values
        base = get_base(conn, values["base"]).name
        without = [get_dye(conn, dye).name for dye in asked.without]
        learn = learn_from(lambda name: asked.said[name])
        if values["most"] not in DYES:
            raise RefusedError(f"how many dyes is {asked.most!r}: choose {', '.join(DYES)}")
    except SwatchvaultError as error:
        status = 404 if isinstance(error, NotFound) else 400
        return values | {"problem": str(error), "status": status}
    try:
        found = _found(conn, base, query, learn, without, whole(values["most"], "how many"))
        found["notes"] = [n for n in (words, *found["notes"]) if n]
        return values | {"found": found}
    except SwatchvaultError as error:  # what the base knows does not do: an answer too
        return values | {"problem": str(error)}


def _own_base(query: Query) -> str:
    """The base of the swatch that is looked for; "" of anything else."""
    return query.photos[0].base if query.photos else ""


def _found(
    conn: sqlite3.Connection,
    base: str,
    query: Query,
    learn: LearnFrom,
    without: list[str],
    most_dyes: int,
) -> dict[str, Any]:
    from swatchvault.foretell_asked import AtHand, ways_on
    from swatchvault.foretell_words import (
        OTHER_LIGHT_LINE,
        rank_words,
        shared_words,
        untried_words,
    )

    found, notes = ways_on(conn, base, query, learn, AtHand(without=without), most_dyes=most_dyes)
    first = found.found[0].shade if found.found else None
    return {
        "notes": notes,
        "ways": _shown(conn, found),
        "ranked": rank_words(found),
        "could_another": found.could_another(),
        "untried": untried_words(found),
        "shared": shared_words(found.known, first.lab) if first else "",
        "other_light": OTHER_LIGHT_LINE,
        "rests": rests_on(conn, found.known),
    }


def _shown(conn: sqlite3.Connection, found: Ways) -> list[dict[str, Any]]:
    """Each recipe with its predicted colour, and where it is written down or foretold."""
    from swatchvault.knownbase import recipe_words

    other = {True: "other dyes", False: "same dyes", None: ""}
    shown = []
    for way in found.found:
        depths = {dye: float(f"{depth:.3g}") for dye, depth in way.depths.items()}
        shown.append(
            {
                **shown_shade(way.shade),
                "recipe": recipe_words(way.depths),
                "delta_e": way.delta_e_00,
                "within_95": way.within_95,
                "other": other[found.other_dyes(way)],
                "write": recipe_address(conn, found.known.base, depths),
                "foretell": f"/foretell?{dyes_in_address(depths, base=found.known.base)}",
            }
        )
    return shown
