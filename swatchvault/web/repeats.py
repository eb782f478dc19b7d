"""A set-up's page: what repeats taught of it, learned from its filed photos, and taken back."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from datasette import Response

from swatchvault.errors import SwatchvaultError
from swatchvault.web.said import on_page
from swatchvault.web.typed import row_id, whole
from swatchvault.web.visit import Form, RefusedError, Visit

if TYPE_CHECKING:
    from swatchvault.filed_repeats import Lesson
    from swatchvault.repeats import Learned

CAPTURES = {"locked set-up": "locked", "same set-up": "free"}
#: Photos offered, the newest first; our choice. Of each so much of its sha256 stands in addresses.
OFFERED, DIGITS = 120, 16


@dataclass(frozen=True)
class Asked:
    """Which photos are ticked, by the beginning of their sha256, and how they were taken."""

    photos: tuple[str, ...]
    capture: str

    @classmethod
    def of(cls, photos: Sequence[str], capture: str) -> Asked:
        return cls(tuple(p for p in photos if len(p) >= DIGITS), capture)


async def setup_page(visit: Visit) -> Response:
    """``/setup/<id>``; with ``go`` it says what the ticked photos teach. A POST keeps that, or
    takes back what counts."""
    if visit.request.method == "POST":
        return await _changed(visit, await visit.form())
    args = visit.request.args
    asked = Asked.of(args.getlist("photo") or (), visit.asked("capture"))
    values = await visit.read(_values, row_id(visit), asked, visit.asked("all") == "1")
    found: dict[str, Any] = {"learned": None, "words": ""}
    if visit.asked("go"):
        try:
            found["learned"] = _shown(await _learned(visit, asked), values["setup"])
        except SwatchvaultError as error:
            found["words"] = on_page(str(error))
    done = {"kept": visit.asked("kept") == "1", "back": visit.asked("back") == "1"}
    return await visit.page("sv_setup.html", {**values, **found, **done, "asked": asked})


async def _learned(visit: Visit, asked: Asked) -> Learned:
    """What the ticked photos teach, as the command says it."""
    from swatchvault.filed_repeats import learn_filed
    from swatchvault.pair import Capture

    if not asked.photos:
        raise RefusedError("No photo is ticked: tick those before which all was set up anew.")
    if asked.capture not in CAPTURES:
        raise RefusedError("Say whether the camera's settings were locked.")
    lesson = await visit.read(_lesson, visit.folder, row_id(visit), asked)
    return await visit.work(learn_filed, lesson, Capture(asked.capture), 1)


def _lesson(conn: sqlite3.Connection, folder: Path, setup_id: int, asked: Asked) -> Lesson:
    from swatchvault.archive import Archive
    from swatchvault.filed_repeats import filed_repeats, lesson_of

    there = filed_repeats(conn, setup_id)
    ticked = {s.sha256 for s in there.shots if s.sha256.startswith(asked.photos)}
    return lesson_of(Archive(folder, conn), there.chosen(ticked))


def _shown(learned: Learned, setup: Any) -> dict[str, Any]:
    from swatchvault.filed_repeats import lock_words
    from swatchvault.repeats import words
    from swatchvault.report import STANDING_FLAGS, flag_lines

    weak = flag_lines(learned.flags - STANDING_FLAGS)
    told = [*learned.to_be_said, *weak, *lock_words(setup, learned.own.capture)]
    lines = [*words(learned), *told]
    return {"lines": lines, "keeps": not learned.one_shot}


async def _changed(visit: Visit, form: Form) -> Response:
    setup_id = row_id(visit)
    if form.text("do") == "take-back":
        set_id = whole(form.need("set", "What is taken back"), "what is taken back")
        return await visit.change(form, lambda conn: _take_back(conn, setup_id, set_id))
    if form.text("do") != "keep":
        raise RefusedError("the form does not say what it does: load the page again")
    learned = await _learned(visit, Asked.of(form.texts("photo"), form.text("capture")))
    return await visit.change(form, lambda conn: _keep(conn, setup_id, learned))


def _keep(conn: sqlite3.Connection, setup_id: int, learned: Learned) -> str:
    from swatchvault.archive.pages_setups import setup_there
    from swatchvault.filed_repeats import keep_for_setup

    keep_for_setup(conn, setup_there(conn, setup_id).name, learned)
    return f"/setup/{setup_id}?kept=1"


def _take_back(conn: sqlite3.Connection, setup_id: int, set_id: int) -> str:
    from swatchvault.archive import take_back_repeat_set

    take_back_repeat_set(conn, setup_id, set_id)
    return f"/setup/{setup_id}?back=1"


def _values(conn: sqlite3.Connection, setup_id: int, asked: Asked, every: bool) -> dict[str, Any]:
    from swatchvault.archive import repeat_sets_in_force
    from swatchvault.archive.pages_setups import setup_there
    from swatchvault.filed_repeats import filed_repeats
    from swatchvault.pair import HUES, REPEATS
    from swatchvault.repeats import kept_words

    setup = setup_there(conn, setup_id)
    there, sets = filed_repeats(conn, setup_id), repeat_sets_in_force(conn, setup_id)
    shots = [
        {
            "sha256": s.sha256,
            "key": s.sha256[:DIGITS],
            "taken_at": s.first.taken_at,
            "added_at": s.first.added_at,
            "swatches": s.swatches,
            "ticked": every or s.sha256.startswith(asked.photos),
        }
        for s in there.shots[:OFFERED]
    ]
    return {
        "setup": setup,
        "number": setup_id,
        "sets": sets,
        "counts": kept_words(sets[0].learned if sets else None),
        "there": there,
        "shots": shots,
        "more": len(there.shots) - len(shots),
        "captures": CAPTURES,
        "capture": asked.capture or _by_lock(setup.locked),
        "repeats": REPEATS,
        "hues": HUES,
    }


def _by_lock(locked: bool | None) -> str:
    return {True: "locked set-up", False: "same set-up", None: ""}[locked]
