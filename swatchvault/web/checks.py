"""A lot held to its master: asking for a check, and a check as it was given."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from datasette import Response

from swatchvault.errors import NotFound
from swatchvault.web.said import difference_parts, on_page
from swatchvault.web.typed import number_or_none, row_id, whole
from swatchvault.web.visit import Form, RefusedError, Visit

if TYPE_CHECKING:
    from swatchvault.checking import Ask

Record = dict[str, Any]

FORMS = ("skein", "wound card", "knit")
CAPTURES = {
    "same frame": "both are in one photo",
    "locked set-up": "two photos of one set-up, camera settings locked",
    "same set-up": "two photos of one set-up, camera settings free",
    "other": "two photos that have no set-up in common",
}
_QUESTION = ("swatch_id", "master_swatch_id", "capture", "tolerance", "k_l")
#: A difference in L* that rounding may leave.
_SAME = 0.01


async def new_check_page(visit: Visit) -> Response:
    """Choose how a lot is held to its master; a POST gives the verdict and keeps it."""
    if visit.request.method == "POST":
        return await _give(visit)
    lot_id = whole(visit.asked("lot"), "the lot")
    return await visit.page("sv_check_new.html", await visit.read(_ready, lot_id))


def _ready(conn: sqlite3.Connection, lot_id: int, only: Collection[int] | None = None) -> Record:
    """What a check of the lot would be held to, swatch by swatch."""
    from swatchvault.archive import pages_yarn as pages

    lot = pages.one(conn, "lot", lot_id)
    swatches = pages.swatches_of_lot_id(conn, lot_id)
    swatches = [s for s in swatches if only is None or s["swatch_id"] in only]
    for swatch in swatches:
        swatch["master"] = pages.master_of_swatch(conn, swatch["swatch_id"])
        swatch["why_not"] = _why_not(conn, swatch)
    next_words, links = what_to_do(lot, swatches)
    return {
        "lot": lot,
        "swatches": swatches,
        "what_next": next_words,
        "links": links,
        "forms": [f for f in FORMS if f in {s["form"] for s in swatches}],
        "can": any(not s["why_not"] for s in swatches),
    }


def _why_not(conn: sqlite3.Connection, swatch: Record) -> str:
    master = swatch["master"]
    if not swatch["lab"]:
        return _no_photo(conn, swatch)
    if master is None:
        return f"has no master as {swatch['form']} on {swatch['base']}"
    if master["swatch_id"] == swatch["swatch_id"]:
        return "is the master itself"
    if not master["lab"]:
        return f"has a master, {master['swatch']}, that {_no_photo(conn, master)}"
    return ""


def _no_photo(conn: sqlite3.Connection, swatch: Record) -> str:
    from swatchvault.archive import why_none_counts

    return on_page(why_none_counts(conn, swatch["swatch_id"]) or "has no measured photo yet")


async def _give(visit: Visit) -> Response:
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.checking import check_lot, keep_checks

    form = await visit.form()
    lot_id = whole(form.need("lot", "the lot"), "the lot")
    ask = ask_of(form)
    lot = await visit.read(pages.one, "lot", lot_id)
    try:
        checks = await visit.read(check_lot, lot["code"], ask)
    except NotFound as error:
        raise await visit.read(_cannot, lot_id, ask) from error

    def work(conn: sqlite3.Connection) -> str:
        before = pages.newest_check_id(conn)
        keep_checks(conn, checks)
        given = pages.checks_of_lot(conn, lot_id, before)
        return f"/check/{given[0]['id']}" if len(given) == 1 else f"/lot/{lot_id}#checks"

    return await visit.change(form, work, "The verdict is kept.")


def ask_of(form: Form) -> Ask:
    """What a form asks beyond what the master states; a blank field asks nothing."""
    from swatchvault.checking import Ask

    chosen = form.text("form")
    if chosen and chosen not in FORMS:
        raise RefusedError(f"the form is {chosen!r}, and must be one of {', '.join(FORMS)}")
    limits = {
        "tolerance": number_or_none(form.text("tolerance"), "the tolerance"),
        "k_l": number_or_none(form.text("k_l"), "kL"),
    }
    for name, value in limits.items():
        if value is not None and value <= 0:
            raise RefusedError(f"{name.replace('k_l', 'kL')} is {value:g}, and must be above 0")
    dyes = {"yes": True, "no": False}.get(form.text("same_dyes"))
    across = form.text("across_forms") == "yes"
    return Ask(chosen or None, limits["tolerance"], limits["k_l"], across, dyes)


def cannot_yet(
    conn: sqlite3.Connection, lot_id: int, only: Collection[int] | None = None
) -> tuple[str, list[tuple[str, str]]] | None:
    """Why no swatch of the lot can be held to a master as things are, and where to go on; ``None``
    where one can, or where there is none yet. ``only``: of these swatches alone."""
    ready = _ready(conn, lot_id, only)
    if ready["can"] or not ready["swatches"]:
        return None
    reasons = {s["why_not"] for s in ready["swatches"]}
    said = "; ".join(f"swatch {s['swatch']} {s['why_not']}" for s in ready["swatches"])
    words = f"{said[0].upper()}{said[1:]}."
    if reasons == {"is the master itself"}:
        return words, []
    links = [link for link in ready["links"] if link[0] != f"/lot/{lot_id}"]
    return f"{words} {ready['what_next']}", links


def _cannot(conn: sqlite3.Connection, lot_id: int, ask: Ask) -> RefusedError:
    """Why no swatch of the lot can be held to a master, and what to do, for a page."""
    ready = _ready(conn, lot_id)
    swatches = [s for s in ready["swatches"] if ask.form in (None, s["form"])]
    said = "; ".join(f"swatch {s['swatch']} {s['why_not']}" for s in swatches if s["why_not"])
    if not said:
        said = f"it has no swatch as {ask.form}" if ask.form else "it has no swatch yet"
    next_words, links = what_to_do(ready["lot"], swatches)
    words = f"Lot {ready['lot']['code']} cannot be checked: {said}. {next_words}"
    return RefusedError(words, links=links)


def what_to_do(lot: Record, swatches: Sequence[Record]) -> tuple[str, list[tuple[str, str]]]:
    """What makes a check of the lot possible, and address and words of where that is done."""
    measured = [s for s in swatches if s["lab"]]
    if not measured:
        words = "Photograph a swatch of it, dry."
        return words, [(f"/photos/new?lot={lot['id']}", "Take a photo")]
    if not lot["colourway_id"]:
        return "It is of no colourway, and a master is of one.", [(f"/lot/{lot['id']}", "The lot")]
    page = (f"/colourway/{lot['colourway_id']}", "To its colourway")
    without = next((s for s in measured if s["master"] is None), None)
    if without is not None:
        kind = f"on {without['base']} as {without['form']}"
        words = f"Make a swatch {kind} the master, on its colourway's page: one of an earlier lot, "
        own = (f"/swatch/{without['swatch_id']}#master", f"Swatch {without['swatch']}")
        return f"{words}or this one for later lots.", [own, page]
    bare = next((s["master"] for s in measured if s["master"] and not s["master"]["lab"]), None)
    if bare is not None:
        words = f"Photograph {bare['swatch']} again, or make another swatch the master."
        return words, [(f"/swatch/{bare['swatch_id']}", "The master's swatch"), page]
    return "Check another lot, or make a swatch of an earlier one the master.", [page]


async def check_page(visit: Visit) -> Response:
    """A verdict as it was given, new beside master."""
    values = await visit.read(_check, row_id(visit))
    return await visit.page("sv_check.html", {**values, "picture": picture_address})


def _check(conn: sqlite3.Connection, check_id: int) -> Record:
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.words import percent

    check = pages.one(conn, "check", check_id)
    sides = pages.sides_of_check(conn, check_id)
    detail = json.loads(check["detail"])
    given = pages.checks_of_lot(conn, check["lot_id"]) if check["lot_id"] else []
    unknown = float("nan")
    p = {k: percent(unknown if check[k] is None else check[k]) for k in ("p_within", "p_outside")}
    return {
        "check": check,
        "detail": detail,
        "flags": [
            *pair_flags(detail.get("flags", ()), detail.get("reasons") or ()),
            *own_flags(detail.get("flags", ())),
        ],
        "reasons": [on_page(r) for r in detail.get("reasons") or ()],
        "notes": [on_page(n) for n in general_notes(detail.get("notes") or ())],
        "p": p,
        "parts": difference_parts(check, detail.get("u_d_lch")),
        "capture": CAPTURES.get(check["capture"], ""),
        "dyes_missing": _dyes_missing(conn, check),
        "sides": sides,
        "compared": _compared(check, sides),
        "evenness": _evenness(conn, check_id, {r["photo_sha256"] for r in sides["lot"]}),
        "others": [[c for c in part if c["id"] != check_id] for part in newest_and_earlier(given)],
    }


def _compared(check: Record, sides: dict[str, list[Record]]) -> Record:
    """The colour of each side that was compared, the mean of its photos, with its doubt; empty
    where the stored photos do not give the stored difference."""
    import numpy as np

    from swatchvault.photodoubt import u_of_mean

    if not all(sides.values()):
        return {}
    labs = {side: np.mean([row["lab"] for row in rows], axis=0) for side, rows in sides.items()}
    told = check["delta_l"]
    if told is not None and abs(labs["lot"][0] - labs["master"][0] - told) > _SAME:
        return {}
    return {
        side: {
            "lab": labs[side].tolist(),
            "u": u_of_mean([r["covariance"] for r in rows], [r["setup_id"] for r in rows]),
        }
        for side, rows in sides.items()
    }


def _dyes_missing(conn: sqlite3.Connection, check: Record) -> list[Record]:
    """What to fill in so that the next check knows whether the dyes were the same, and where."""
    from swatchvault.archive import lot_dyes
    from swatchvault.report import dyes_missing

    if check["same_dyes"] is not None:
        return []
    lots = {check["lot"]: check["lot_id"], check["master_lot"]: check["master_lot_id"]}
    found: dict[str, Record] = {}
    for lot, lot_id in lots.items():
        dyes = [] if lot_id is None else lot_dyes(conn, lot_id)
        if lot_id is not None and not dyes:
            found[dyes_missing({lot: []})] = {"href": f"/pot/{lot_id}", "do": "log them at its pot"}
        for dye in (d for d in dyes if d.pack is None):
            shelf = {"href": "/shelf", "do": "store the stock again with its pack"}
            found[dyes_missing({lot: [dye]})] = shelf if dye.stock else {}
    return [{"words": words, **there} for words, there in found.items()]


def _evenness(conn: sqlite3.Connection, check_id: int, photos: set[str]) -> Record | None:
    """The verdict on evenness, the ``figures`` of its sentence, which says it once more, and what
    else is said of it; ``elsewhere``: whether it is told by none of the ``photos`` of the colour.
    """
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.evenness_check import Chances, Tonal

    found = pages.evenness_of_check(conn, check_id)
    if found is None:
        return None
    known = (found["p_as"], found["p_more"], found["p_less"])
    two_sided = found["tolerance"] < found["master_unevenness"]
    chances = Chances() if None in known else Chances(*known, two_sided=two_sided)
    reasons = json.loads(found["detail"]).get("reasons", [])
    figures = found["words"].partition("; ")[2] or found["words"]
    said = chances.sentences_of(Tonal(found["verdict"]))
    elsewhere = found["photo_sha256"] not in {None, *photos}
    return {**found, "figures": figures, "reasons": [*reasons, *said], "elsewhere": elsewhere}


def newest_and_earlier(checks: Sequence[Record]) -> tuple[list[Record], list[Record]]:
    """Checks, newest first, as the newest on each question and the earlier ones.

    A question is a swatch held to a master from photos of one kind, at one tolerance and kL.
    """
    seen: set[tuple[Any, ...]] = set()
    newest: list[Record] = []
    earlier: list[Record] = []
    for check in checks:
        asked = tuple(check[name] for name in _QUESTION)
        (earlier if asked in seen else newest).append(check)
        seen.add(asked)
    return newest, earlier


def own_flags(names: Sequence[str]) -> list[tuple[str, str, str]]:
    """Flags of the two sides as a check keeps them, ``"new: clipped"``: side or "both", name,
    sentence."""
    from ingest.flags import FLAGS

    sides: dict[str, list[str]] = {}
    for said in names:
        side, colon, name = said.partition(": ")
        if colon:
            sides.setdefault(name, []).append(side)
    return [
        ("both" if len(of) > 1 else of[0], name, on_page(FLAGS.get(name, "")))
        for name, of in sides.items()
    ]


def pair_flags(names: Sequence[str], reasons: Sequence[str]) -> list[tuple[str, str, str]]:
    """Flags that belong to the two together: "the two", name, sentence.

    A sentence that stands among the ``reasons`` already is not said twice.
    """
    from swatchvault.compare import PAIR_FLAGS

    own = [(name, PAIR_FLAGS.get(name, "")) for name in names if ": " not in name]
    told = "No verdict is given under it; see above."
    return [("the two", name, told if said in reasons else said) for name, said in own]


def general_notes(notes: Sequence[str]) -> list[str]:
    """The notes without the sentences of a pair's flags, which stand under what weakens it."""
    from swatchvault.compare import PAIR_FLAGS

    return [note for note in notes if note not in PAIR_FLAGS.values()]


def picture_address(sha256: str, region: str, *, save: bool = False) -> str:
    """A region of a photo in corrected colour, to look at or to save."""
    size = {"width": 1600, "save": 1} if save else {"width": 800}
    return f"/picture/{sha256}?{urlencode({'region': region, **size})}"
