"""A lot held to its master: asking for a check, and a check as it was given."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from datasette import Response

from swatchvault.errors import CompareError, NotFound
from swatchvault.kinds import FORMS
from swatchvault.web.checkable import cannot, ready, some_can
from swatchvault.web.said import difference_parts, on_page
from swatchvault.web.typed import number_or_none, row_id, whole
from swatchvault.web.visit import Form, RefusedError, Visit

if TYPE_CHECKING:
    from swatchvault.checking import Ask

Record = dict[str, Any]

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
    return await visit.page("sv_check_new.html", await visit.read(ready, lot_id))


async def _give(visit: Visit) -> Response:
    from swatchvault.archive import pages_check
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.checking import check_lot, keep_checks

    form = await visit.form()
    lot_id = whole(form.need("lot", "the lot"), "the lot")
    ask = ask_of(form)
    lot = await visit.read(pages.one, "lot", lot_id)
    try:
        checks = await visit.read(check_lot, lot["code"], ask)
    except NotFound as error:
        raise await visit.read(cannot, lot_id, ask) from error
    except CompareError as error:  # such as a master of which no photo counts
        if not ask.across_forms and not await visit.read(some_can, lot_id, ask):
            raise await visit.read(cannot, lot_id, ask) from error
        raise RefusedError(on_page(str(error))) from error

    def work(conn: sqlite3.Connection) -> str:
        before = pages_check.newest_check_id(conn)
        keep_checks(conn, checks.given)
        given = pages_check.checks_of_lot(conn, lot_id, before)
        alone = len(given) == 1 and not checks.left_out
        return f"/check/{given[0]['id']}" if alone else f"/lot/{lot_id}#checks"

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


async def check_page(visit: Visit) -> Response:
    """A verdict as it was given, new beside master."""
    values = await visit.read(_check, row_id(visit))
    return await visit.page("sv_check.html", {**values, "picture": picture_address})


def _check(conn: sqlite3.Connection, check_id: int) -> Record:
    from swatchvault.archive import pages_check
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.words import percent

    check = pages.one(conn, "check", check_id)
    sides = pages_check.sides_of_check(conn, check_id)
    detail = json.loads(check["detail"])
    given = pages_check.checks_of_lot(conn, check["lot_id"]) if check["lot_id"] else []
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
            "u": u_of_mean(
                [r["covariance"] for r in rows],
                [r["setup_id"] for r in rows],
                [r["photo_sha256"] for r in rows],
            ),
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
    from swatchvault.archive import pages_check
    from swatchvault.evenness_check import Chances, Tonal

    found = pages_check.evenness_of_check(conn, check_id)
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
