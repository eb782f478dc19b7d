"""A swatch: its photo with what was located, its colour with its doubt, how even it is."""

from __future__ import annotations

import base64
import json
import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING, Any

from datasette import Response

from swatchvault.web.checks import newest_and_earlier
from swatchvault.web.mend import names_for, put_right
from swatchvault.web.said import on_page
from swatchvault.web.typed import row_id
from swatchvault.web.visit import Form, RefusedError, Visit
from swatchvault.web.yarn import hold_later_lots

if TYPE_CHECKING:
    from swatchvault.tonal_colours import Colours

Record = dict[str, Any]

#: What each part of a colour's doubt is.
PARTS = {
    "region": "this piece of yarn: how much the mean would move on another piece of it",
    "frame": "this photo: light, tones and the reference as they were in it",
    "setup": "this phone and light: the same in all photos taken so",
    "profile": "the camera's colours, and how dyes look to it and to an eye",
}


#: What the form says where the dyer's word for a swatch is to be taken back.
NO_WORD = "none"


async def swatch_page(visit: Visit) -> Response:
    """A swatch; a POST keeps the dyer's word for how even it looks, or makes it the master of its
    colourway, base and form."""
    swatch_id = row_id(visit)
    if visit.request.method == "POST":
        form = await visit.form()
        if form.text("looks"):
            return await _name_class(visit, form, swatch_id)
        return await hold_later_lots(visit, f"/swatch/{swatch_id}", form=form)
    return await visit.page("sv_swatch.html", await visit.read(_swatch, swatch_id))


async def _name_class(visit: Visit, form: Form, swatch_id: int) -> Response:
    """Keep the word, or take it back."""
    looks = form.text("looks")
    word = None if looks == NO_WORD else looks

    def work(conn: sqlite3.Connection) -> str:
        from swatchvault.archive import pages_yarn as pages
        from swatchvault.archive.eye import name_class

        name_class(conn, pages.one(conn, "swatch", swatch_id)["label"], word)
        return f"/swatch/{swatch_id}#even"

    return await visit.change(form, work, "Your word is kept." if word else "It is taken back.")


def _swatch(conn: sqlite3.Connection, swatch_id: int) -> Record:
    from swatchvault.archive import pages_check, speaks_of, swatch_colours, tells_evenness
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.archive.eye import word_for
    from swatchvault.archive.standing import no_longer
    from swatchvault.kinds import CLASSES
    from swatchvault.tonal_colours import colours_of
    from swatchvault.tonal_master import stated_words
    from swatchvault.tonal_of import lines_beside_earlier
    from swatchvault.tonal_words import eye_words, say

    found = swatch_colours(conn, swatch_id)
    spoken = speaks_of(conn, found).get(swatch_id)
    even = tells_evenness(conn, found).get(swatch_id)
    swatch = pages.one(conn, "swatch", swatch_id)
    history = pages.history_of_swatch(conn, swatch_id)
    told = None if even is None else _as_told(conn, even)
    colours = colours_of(told)
    master = pages.master_of_swatch(conn, swatch_id)
    return {
        "swatch": swatch,
        "right": put_right("swatch", swatch_id, swatch, names=names_for(conn, "swatch", swatch_id)),
        "spoken": spoken,
        "even": even,
        "photos": [c.photo_sha256 for c in found],
        "doubt": None if spoken is None else _doubt(spoken.covariance),
        "evenness": None if even is None else say(told, even.flags),
        "beside": [on_page(s) for s in lines_beside_earlier(conn, even)] if even else [],
        "palette": palette_bar(colours),
        "colours": colours.lines,
        "named": (named := word_for(conn, swatch_id)),
        "to_the_eye": eye_words(named, (told or {}).get("class")),
        "classes": CLASSES,
        "no_word": NO_WORD,
        "flags": [] if spoken is None else _flags(spoken),
        "photo": None if spoken is None else _photo(conn, spoken.photo_sha256, spoken.region),
        "history": history,
        "all_aside": not found and any(not h["superseded"] for h in history),
        "master": master,
        "held_even": stated_words(conn, master["master_id"]) if master else (),
        "no_longer": no_longer(conn, "held.swatch_id = ?", (swatch_id,)),
        "checks": newest_and_earlier(pages_check.checks_of_swatch(conn, swatch_id)),
    }


def _as_told(conn: sqlite3.Connection, even: Any) -> Any:
    """The record of a measurement's evenness, classed by the rule in force."""
    from swatchvault.archive import eye_rule
    from swatchvault.by_eye import as_told

    return as_told(even.tonality, even.flags, eye_rule(conn))


def _doubt(covariance: Any) -> Record:
    """Standard uncertainties of L*, a*, b*: of each part, and of all together."""
    parts = [(name, PARTS[name], u) for name, u in covariance.standard().items()]
    return {"parts": parts, "total": covariance.standard_total()}


def palette_bar(colours: Colours) -> list[Record]:
    """The colours as parts of a bar of width 100: where each begins, its width, its Lab, and what
    it is in words."""
    parts: list[Record] = []
    at = 0.0
    for part in colours.parts:
        width = 100.0 * part.width
        parts.append({"at": at, "width": width, "lab": part.lab, "words": part.words})
        at += width
    return parts


def _flags(colour: Any) -> list[tuple[str, str]]:
    """Each flag with its sentence, those that stop a verdict first."""
    from ingest.flags import FLAGS, FLAGS_THAT_STOP_A_VERDICT

    names = set(colour.flags) | ({"not dry"} if colour.dry is False else set())
    order = sorted(names, key=lambda n: (n not in FLAGS_THAT_STOP_A_VERDICT, n))
    return [(name, on_page(FLAGS.get(name, ""))) for name in order]


def _photo(conn: sqlite3.Connection, sha256: str, region: str) -> Record | None:
    """A photo's outlines, in its pixels, for drawing over its small picture."""
    from swatchvault.archive import pages_yarn as pages

    found = pages.photo_with_marks(conn, sha256)
    if found is None:
        return None
    marks = json.loads(found["marks"] or "{}")
    width, height = found["width"], found["height"]

    def points(polygon: Any) -> str:
        return " ".join(f"{x * width:.1f},{y * height:.1f}" for x, y in polygon)

    swatches = [
        {"name": s["name"], "points": points(s["polygon"]), "this": s["name"] == region}
        for s in marks.get("swatches", ())
    ]
    references = [
        points(patch) for reference in marks.get("references", ()) for patch in outlines(reference)
    ]
    return {**found, "swatches": swatches, "references": references}


def outlines(reference: Any) -> list[Any]:
    """The polygons of a reference in a marks file: a card's one, steps' patches, a chart's four
    corners."""
    if "polygon" in reference:
        return [reference["polygon"]]
    if "corners" in reference:
        return [reference["corners"]]
    return list(reference.get("patches", ()))


async def tonal_page(visit: Visit) -> Response:
    """The card of how tonal a swatch came out, on a page to print from, and all that it and the
    command tell as text."""
    from swatchvault.tonal_card import card_lines
    from swatchvault.tonal_drawing import PAPERS, card_svg

    paper, swatch_id = _paper(visit), row_id(visit)
    card = await visit.read(_tonal_card, visit.folder, swatch_id)
    svg = await visit.work(card_svg, card, paper)
    coded = base64.b64encode(svg.encode("utf-8")).decode("ascii")
    return await visit.page(
        "sv_tonal.html",
        {
            "swatch": {"id": swatch_id, "label": card.name},
            "lines": [on_page(line.strip()) for line in card_lines(card)],
            "card": f"data:image/svg+xml;base64,{coded}",
            "drawing": f"/swatch/{swatch_id}/tonal.svg?paper={paper}",
            "paper": paper,
            "papers": tuple(PAPERS),
        },
    )


async def tonal_drawing(visit: Visit) -> Response:
    """The card that ``tonal --svg`` writes, as a picture to look at, print or send."""
    from swatchvault.tonal_drawing import card_svg

    paper = _paper(visit)
    card = await visit.read(_tonal_card, visit.folder, row_id(visit))
    return svg_answer(await visit.work(card_svg, card, paper))


def _paper(visit: Visit) -> str:
    from swatchvault.tonal_drawing import PAPERS

    paper = visit.asked("paper", "A6")
    if paper not in PAPERS:
        raise RefusedError(f"no card on paper {paper!r}: choose one of {', '.join(PAPERS)}")
    return paper


def _tonal_card(conn: sqlite3.Connection, folder: Path, swatch_id: int) -> Any:
    from swatchvault.archive import Archive
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.tonal_of import card_of_swatch

    return card_of_swatch(Archive(folder, conn), pages.one(conn, "swatch", swatch_id)["label"])


def svg_answer(svg: str) -> Response:
    """A drawing of ours, to be shown and never run; it may hold pictures of its own."""
    headers = {
        "Content-Security-Policy": "default-src 'none'; img-src data:; sandbox",
        "X-Content-Type-Options": "nosniff",
        "Cache-Control": "private, no-cache",
    }
    return Response(svg, headers=headers, content_type="image/svg+xml; charset=utf-8")
