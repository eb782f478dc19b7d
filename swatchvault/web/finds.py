"""Find: near a colour that was picked or typed, a swatch, or a photo that is not filed."""

from __future__ import annotations

import sqlite3
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from datasette import Response

from swatchvault.errors import NotFound, SwatchvaultError
from swatchvault.kinds import CLASSES, FORMS
from swatchvault.web.findasked import Asked, query_of, read_asked
from swatchvault.web.findphoto import measure_sent, picture_of
from swatchvault.web.photos import MOST_BYTES, raw_suffixes
from swatchvault.web.typed import number
from swatchvault.web.visit import Visit

if TYPE_CHECKING:
    from ingest.colour import Floats
    from swatchvault.alike import KeptLooks
    from swatchvault.finding import Hit
    from swatchvault.nearby import KeptColours
    from swatchvault.queries import Query

#: Whose doubt that of a hit's distance is, by how the two were photographed.
DOUBT_OF = {
    "same frame": "as for two swatches in one photo",
    "locked set-up": "as for two photos of one set-up, camera settings locked",
    "same set-up": "as for two photos of one set-up",
    "other": "as for two photos that have no set-up in common",
    "a stated colour": "that of the swatch's own colour alone",
}
DYES_UNKNOWN = "not known to be of the same dyes"
OTHER_DYES = "of other dyes or packs"
_DOTS, _DOTS_NEAR = 300, 7.0  # most dots on the plane, and how near in L*; our choice


async def find_page(visit: Visit) -> Response:
    """The picker, the limits, and what was found; posted, a photo is measured and not filed."""
    if visit.request.method == "POST":
        return await measure_sent(visit, await visit.form(files=True, most_bytes=MOST_BYTES))
    asked = read_asked(visit.asked)
    values = await visit.read(_values, visit.studio.state, asked)
    return await visit.page("sv_find.html", values, values["status"])


async def plane_page(visit: Visit) -> Response:
    """The plane of a*b* at an L*, for the picker's script."""
    from swatchvault.picker import plane_svg

    lightness = min(100.0, max(0.0, number(visit.asked("l", "55"), "L*")))
    dots = await visit.read(_dots, visit.studio.state, lightness)
    svg = plane_svg(lightness, dots)
    headers = {"Cache-Control": "no-store", "Content-Security-Policy": "default-src 'none'"}
    return Response(svg, headers=headers, content_type="image/svg+xml")


def kept_colours(
    conn: sqlite3.Connection, state: dict[str, Any], version: str | None = None
) -> KeptColours:
    """The archive's colours with their index, built anew only when something was measured."""
    from swatchvault.archive.pages_find import newest_row
    from swatchvault.nearby import keep_colours

    kept: dict[str | None, KeptColours] = state.setdefault("colours", {})
    stamp = newest_row(conn)
    usual = kept.get(None)
    if usual is not None and usual.stamp == stamp and version == usual.version:
        return usual
    found = kept.get(version)
    if found is None or found.stamp != stamp:
        found = kept[version] = keep_colours(conn, version)
    return found


def kept_looks(conn: sqlite3.Connection, state: dict[str, Any], query: Query) -> KeptLooks:
    """The archive's looks with their index, built anew only when something was measured."""
    from swatchvault.alike import keep_looks
    from swatchvault.archive.pages_find import newest_row

    kept: dict[tuple[str | None, str | None], KeptLooks] = state.setdefault("looks", {})
    versions = (query.version, query.evenness_method)
    found = kept.get(versions)
    if found is None or found.stamp != newest_row(conn):
        found = kept[versions] = keep_looks(conn, query)
    return found


def _dots(conn: sqlite3.Connection, state: dict[str, Any], lightness: float) -> Floats:
    """(n, 3) colours of the archive near a lightness, not more than can be told apart."""
    import numpy as np

    labs = kept_colours(conn, state).labs
    near = labs[np.abs(labs[:, 0] - lightness) <= _DOTS_NEAR]
    return np.asarray(near[:: max(1, -(-len(near) // _DOTS))])


def _values(conn: sqlite3.Connection, state: dict[str, Any], asked: Asked) -> dict[str, Any]:
    """All that the page shows; a search that cannot be leaves its sentence in ``problem``."""
    from swatchvault.archive.pages_find import choices

    values: dict[str, Any] = {
        "asked": asked,
        "choices": choices(conn),
        "forms": FORMS,
        "classes": CLASSES,
        "raw": raw_suffixes(),
        "problem": "",
        "status": 200,
        "query": None,
        "all": None,
        "of_all": 0,
        "hits": [],
        "notes": [],
        "regions": _regions(state, asked),
        "photo_name": state.get("names of photos", {}).get(asked["photo"], ""),
    }
    several = asked.by == "photo" and not asked["region"] and len(values["regions"]) > 1
    values["choose"] = several
    try:
        if asked.by and not several:
            values |= _found(conn, state, asked)
        elif asked.narrowed and not several:
            values |= _all_that_are(conn, asked)
    except NotFound as error:
        values |= {"problem": str(error), "status": 200 if values["query"] else 404}
    except SwatchvaultError as error:
        values |= {"problem": str(error), "status": 400}
    return values | picture_of(state, asked) | _picker(conn, state, asked, values["query"])


def _found(conn: sqlite3.Connection, state: dict[str, Any], asked: Asked) -> dict[str, Any]:
    from swatchvault import alike, finding, nearby, search_notes
    from swatchvault.archive.pages_find import colourway_ids, recipe_ids
    from swatchvault.queries import any_light
    from swatchvault.taken import ANY_LIGHT

    query, words = query_of(conn, asked, state.get("photos to find", {}))
    filters, k_l = asked.filters(), asked.above_zero("k_l", "kL")
    kept = kept_colours(conn, state, query.version)
    looks, far = asked["rank"] == "looks", ""
    limit = asked.above_zero("tolerance", "the tolerance")
    if looks:
        hits = alike.like(conn, query, filters, k=asked.count, kept=kept_looks(conn, state, query))
    elif asked["other"]:
        hits = nearby.within(conn, kept, query, filters, limit, k_l)
        hits = finding.by_other_dyes(conn, query, hits)
    else:
        hits = nearby.near(conn, kept, query, filters, k=asked.count, k_l=k_l)
        limited = bool(asked["tolerance"])
        far = search_notes.nothing_near(query, hits, limit, k_l=k_l, limited=limited)
        hits = [h for h in hits if not limited or h.distance <= limit]
    notes = [words, *query.target.warnings, *_left_out(conn, state, query, asked, kept), far]
    if looks and asked["tolerance"]:
        notes.append("The limit of ΔE00 was not used: how unlike two look is no ΔE00.")
    return {
        "query": query,
        "looks": looks,
        "k_l": k_l,
        "tolerance": limit,
        "ways": urlencode({**asked.target, **({"base": asked["base"]} if asked["base"] else {})}),
        "hits": [_shown(h) for h in hits],
        "doubt_of": _doubt_of_all(hits),
        **_no_doubt(query, hits),
        "shared": len({h.rank for h in hits}) < len(hits),
        "notes": [n for n in notes if n],
        "any_light": f"{ANY_LIGHT}." if any_light(query) else "",
        "colourways": colourway_ids(conn, [h.made.swatch_id for h in hits]),
        "recipes": recipe_ids(conn, [h.made.swatch_id for h in hits]),
    }


def _all_that_are(conn: sqlite3.Connection, asked: Asked) -> dict[str, Any]:
    """The swatches that limits alone leave, near no colour: the newest lot first."""
    from swatchvault.archive.made import made_of, speaking_labs, swatches_where

    wanted = swatches_where(conn, asked.filters())
    made = list(reversed(made_of(conn, sorted(wanted)).values()))
    ids, labs = speaking_labs(conn)
    lab_of = dict(zip(ids.tolist(), labs.tolist(), strict=True))
    shown = [{"made": m, "lab": lab_of[m.swatch_id]} for m in made if m.swatch_id in lab_of]
    return {"all": shown[: asked.count], "of_all": len(shown)}


def _shown(hit: Hit) -> dict[str, Any]:
    dyes = ", ".join(
        d.dye + ("" if d.depth_percent is None else f" {d.depth_percent:.3g} %")
        for d in hit.made.dyes
    )
    doubt_of = _doubt_of(hit)
    lab = [float(v) for v in hit.lab]
    return {"hit": hit, "made": hit.made, "lab": lab, "dyes": dyes, "doubt_of": doubt_of}


def _no_doubt(query: Query, hits: list[Hit]) -> dict[str, str]:
    """Whether "all" hits, "some" or none ("") have no known doubt, and why that is."""
    bare = [h for h in hits if h.u != h.u]
    if not bare:
        return {"no_doubt": "", "no_doubt_words": ""}
    if query.measured is not None and query.measured.reference == "none":
        why = "no grey card, steps or chart corrected this photo"
    else:
        why = "no grey card, steps or chart corrected the one or the other photo"
    share = "all" if len(bare) == len(hits) else "some"
    words = {"all": "No ± is told", "some": "Where no ± stands, none is known"}[share]
    return {"no_doubt": share, "no_doubt_words": f"{words}: {why}."}


def _doubt_of(hit: Hit) -> str:
    """What the ± of a hit's distance is: by which photos, and whether it allows for other dyes."""
    words = DOUBT_OF.get(hit.photos, "")
    if not words or hit.photos == "a stated colour" or hit.same_dyes:
        return words
    return f"{words}, {OTHER_DYES if hit.same_dyes is False else DYES_UNKNOWN}"


def _doubt_of_all(hits: list[Hit]) -> str:
    """Whose doubt it is, if it is so of every hit; "" if each must say its own, or has none."""
    found = {_doubt_of(h) for h in hits}
    return found.pop() if len(found) == 1 else ""


def _left_out(
    conn: sqlite3.Connection,
    state: dict[str, Any],
    query: Query,
    asked: Asked,
    kept: KeptColours,
) -> list[str]:
    """`search_notes.left_out`, looked up anew only when something was measured."""
    from swatchvault import shades
    from swatchvault.search_notes import left_out

    looks, classed = asked["rank"] == "looks", bool(asked["tonality"])
    key = (kept.stamp, query.version, query.evenness_method, looks, classed)
    told: dict[Any, list[str]] = state.setdefault("left out", {})
    if key not in told or classed:
        told.clear()
        told[key] = left_out(conn, query, evenness=looks, classed=classed)
    said = list(told[key])
    if looks and not shades.look_of(query.target.lab, query.tonality).tonal_known:
        said.append("How even it is is not known: found by its colours only.")
    return said


def _picker(
    conn: sqlite3.Connection, state: dict[str, Any], asked: Asked, query: Query | None
) -> dict[str, Any]:
    """Where the picker stands: at what was looked for, so that it can be moved on from there."""
    from swatchvault.picker import lab_of_lch, lch_of_lab, on_a_screen, plane_svg

    try:
        lch = asked.lch
    except SwatchvaultError:
        lch = Asked({}).lch
    if query is not None:
        lch = lch_of_lab([float(v) for v in query.target.lab])
    lab = lab_of_lch(*lch)
    return {
        "lch": lch,
        "lab": lab,
        "on_screen": bool(on_a_screen(lab)),
        "plane": plane_svg(lch[0], _dots(conn, state, lch[0]), lab),
    }


def _regions(state: dict[str, Any], asked: Asked) -> list[str]:
    photo = state.get("photos to find", {}).get(asked["photo"])
    return [s.name for s in photo[0].swatches] if photo else []
