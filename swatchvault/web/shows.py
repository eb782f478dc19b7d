"""What the regions of a photo show; measured and told, the photo is filed as `add` files it."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

from datasette import Response

from ingest.locate import parse_marks
from ingest.model import PhotoMeasurement
from swatchvault.archive import (
    Archive,
    Base,
    Colourway,
    FiledPhoto,
    Lot,
    Notes,
    PhotoFacts,
    PhotoNote,
    RegionOf,
    apply_notes,
    once,
    record_photo,
    store_files,
    transaction,
)
from swatchvault.archive.pages_photo import photo_row
from swatchvault.errors import SwatchvaultError
from swatchvault.filing import BLACK_LIGHT
from swatchvault.kinds import FORMS
from swatchvault.newnames import ask_about_new, refuse_other_day
from swatchvault.web import incoming, measuring
from swatchvault.web.glass import marked_regions, page_of
from swatchvault.web.outlines import shapes
from swatchvault.web.picture import source_of
from swatchvault.web.prefilled import ask_about_labels, known_of, prefilled
from swatchvault.web.said import CREATE, MOVE, REALLY_NEW, UNDYED, lacking, not_kept
from swatchvault.web.typed import day_or_none
from swatchvault.web.visit import Form, RefusedError, Visit

#: The picture's width and height where its marks are drawn, whatever its shape is.
DRAWN = 1000.0
_FACTS = ("swatch", "base", "colourway", "lot", "skein", "form", "dry", "dyed_on")


async def shows_page(visit: Visit) -> Response:
    """``/photos/<sha256>/shows``: per region which swatch it is; posted, the photo is filed."""
    sha256 = visit.part("sha256")
    path = await source_of(visit, sha256)
    draft = await visit.work(incoming.draft, visit.folder, sha256)
    if page_of(draft):
        return visit.go(page_of(draft))
    if visit.request.method == "POST":
        return await _told(visit, sha256, path, draft)
    if "marks" not in draft:
        return visit.go(f"/photos/{sha256}/mark")
    return await _page(visit, sha256, draft, {})


async def _told(visit: Visit, sha256: str, path: Path, draft: Mapping[str, Any]) -> Response:
    form = await visit.form()
    filed = path.parent.name == "photos"
    if "marks" not in draft:
        if filed:  # the form was sent twice, and the first was done
            return visit.go(f"/photos/{sha256}")
        raise RefusedError("nothing is marked on this photo yet: mark it first")
    if filed:
        measuring.refuse_not_dyers(visit)
    told = told_of(form, regions_of(draft), visit.may("change"))
    try:
        if not any(r["swatch"] for r in told["regions"]):
            raise SwatchvaultError("no region has a swatch's name: name at least one, then keep it")
        refuse_day_alone(told)
        await visit.read(ask_about_labels, told, draft)
        notes = notes_of(told, draft.get("about", {}), path)
        await visit.write(_try_out, notes, told["really_new"])
        told_all = {"told": told, "typed": told, "trouble": None}
        draft = await visit.work(incoming.note, visit.folder, sha256, told_all)
        run = await measuring.start(visit, sha256)
        if run.outcome is None:
            measuring.file_when_measured(visit, sha256, run)
            go = f"/photos/{sha256}/state"
        else:
            go = await file_told(visit, sha256)
    except SwatchvaultError as error:
        await visit.work(incoming.note, visit.folder, sha256, {"told": None})
        if visit.wants_json:
            raise
        missing = lacking(told, await visit.read(known_of, told))
        may_create, plain = visit.may("change"), " ".join(str(error).split())
        words = not_kept(plain, missing, create=told["create"], may_create=may_create)
        words = await measuring.named(visit, sha256, words)
        return await _page(visit, sha256, draft, told, words, missing)
    return visit.json({"ok": True, "go": go}) if visit.wants_json else visit.go(go)


def regions_of(draft: Mapping[str, Any]) -> list[str]:
    """Names of the marked swatches; a photo under black light shows some and measures none."""
    if draft.get("about", {}).get("light") == BLACK_LIGHT:
        return [""]
    return marked_regions(draft)


def told_of(form: Form, regions: Sequence[str], may_create: bool) -> dict[str, Any]:
    """The form as plain data."""
    rows: list[dict[str, Any]] = [
        {"region": name, **{k: form.text(f"{k}_{i}") for k in (*_FACTS, "undyed")}}
        for i, name in enumerate(regions)
    ]
    for row in rows:
        if row["dry"] not in ("", "yes", "no") or row["form"] not in ("", *FORMS):
            raise RefusedError("dry is yes or no, and form is skein, wound card or knit")
        row["dyed_on"] = row["dyed_on"] if may_create else ""
    return {
        "regions": rows,
        "note": form.text("note"),
        "erase_note": "note" in form.said and not form.text("note"),
        "create": may_create and form.text("create") == "yes",
        "really_new": may_create and form.text("really_new") == "yes",
        "relabel": may_create and form.text("relabel") == "yes",
        "once": form.text("once"),
    }


def refuse_day_alone(told: Mapping[str, Any]) -> None:
    """Raise where a day was typed that cannot be read, or that would be kept nowhere."""
    for row in told["regions"]:
        day_or_none(row["dyed_on"], "the day it was dyed")
        if row["dyed_on"] and not (told["create"] and row["lot"] and row["base"]):
            raise SwatchvaultError(
                "the day it was dyed is kept with a new lot: fill in lot and base and tick "
                f"“{CREATE}”. A lot that is here has a form for its day on its own page"
            )


def notes_of(told: Mapping[str, Any], about: Mapping[str, Any], path: Path) -> Notes:
    """What was told, as the notes that `add` applies."""
    yes_no = {"yes": True, "no": False}
    rows = [r for r in told["regions"] if r["swatch"]]
    photos = tuple(
        PhotoNote(
            photo=path.name,
            region=r["region"] or None,
            dry=yes_no.get(r["dry"]),
            light=about.get("light"),
            setup=about.get("setup"),
            locked=yes_no.get(about.get("locked", "")),
            note=told["note"] or None,
            swatch=r["swatch"],
            base=r["base"] or None,
            form=r["form"] or None,
            colourway=r["colourway"] or None,
            lot=r["lot"] or None,
            skein=r["skein"] or None,
        )
        for r in rows
    )
    if not told["create"]:
        return Notes(photos=photos)
    return Notes(
        bases=tuple(Base(b) for b in _each(rows, "base")),
        colourways=tuple(Colourway(c) for c in _each(rows, "colourway")),
        lots=tuple(
            Lot(r["lot"], (r["base"],), r["colourway"] or None, dyed_on=r.get("dyed_on") or None)
            for r in rows
            if r["lot"] and r["base"]
        ),
        photos=photos,
    )


def _each(rows: Sequence[Mapping[str, Any]], what: str) -> list[str]:
    return list(dict.fromkeys(r[what] for r in rows if r[what]))


class _UndoneError(Exception):
    """Ends a transaction that was only tried."""


def _try_out(conn: sqlite3.Connection, notes: Notes, really_new: bool) -> None:
    """Apply the notes and undo it: what does not fit is told before the photo is measured."""
    try:
        with transaction(conn):
            refuse_other_day(conn, notes)
            if not really_new:
                ask_about_new(conn, notes)
            apply_notes(conn, notes)
            raise _UndoneError
    except _UndoneError:
        pass


async def file_told(visit: Visit, sha256: str) -> str:
    """File a measured photo as it was told; return its page. Once, however often it is asked."""
    run = measuring.running(visit).get(sha256)
    done = f"/photos/{sha256}"
    if run is None or run.outcome is None:
        return f"{done}/state"
    async with run.filing:
        draft = await visit.work(incoming.draft, visit.folder, sha256)
        told, found = draft.get("told"), run.outcome.measurement
        if not told:
            return done
        if found is None:
            return f"{done}/state"
        path = await source_of(visit, sha256)
        size = await visit.work(store_files, visit.folder, found, path)
        notes = notes_of(told, draft.get("about", {}), path)

        def work(conn: sqlite3.Connection) -> str:
            archive = Archive(visit.folder, conn)
            filed = file_measured(archive, found, path, notes, size, told)
            return f"{done}?counts=1" if filed.again else done

        go = await visit.write(once, told["once"], work)
        await visit.work(incoming.forget, visit.folder, sha256)
        measuring.running(visit).pop(sha256, None)
    return go


def file_measured(
    archive: Archive,
    found: PhotoMeasurement,
    path: Path,
    notes: Notes,
    size: int,
    told: Mapping[str, Any],
) -> FiledPhoto:
    """Notes and measurement in one transaction; the files were stored just before."""
    with transaction(archive.conn):
        regions = apply_notes(archive.conn, notes).regions
        first = regions[0]
        note, erase = first.note, bool(told.get("erase_note"))
        if first.light == BLACK_LIGHT:
            seen = tuple(r.swatch_id for r in regions)
            facts = PhotoFacts(first.setup_id, BLACK_LIGHT, note, seen, erase_note=erase)
            return record_photo(archive, found, path, (), facts, size)
        moved = bool(told["relabel"])
        facts = PhotoFacts(first.setup_id, first.light, note, relabel=moved, erase_note=erase)
        shown = [RegionOf(r.region or "", r.swatch_id, r.dry) for r in regions]
        return record_photo(archive, found, path, shown, facts, size)


async def _page(
    visit: Visit,
    sha256: str,
    draft: Mapping[str, Any],
    told: Mapping[str, Any],
    words: str = "",
    missing: Sequence[str] = (),
) -> Response:
    from swatchvault.archive.pages_photo import choices, labels_of_regions

    known = await visit.read(labels_of_regions, sha256)
    asked, beside = draft.get("asked", {}), draft.get("beside") or {}
    row, said = await visit.read(photo_row, sha256), told or draft.get("typed") or {}
    typed = {r["region"]: r for r in said.get("regions", [])}
    noted = said.get("note", "") if said or row is None else row.facts["note"] or ""
    rows = [
        typed.get(name) or {"region": name, **prefilled(name, known, asked, beside)}
        for name in regions_of(draft)
    ]
    values = {
        "sha256": sha256,
        "shapes": shapes(parse_marks(draft["marks"]), DRAWN, DRAWN),
        "rows": rows,
        "told": told,
        "note": noted,
        "words": words,
        "missing": missing,
        "create_label": CREATE,
        "new_label": REALLY_NEW,
        "any_light": measuring.any_light(draft),
        "undyed_label": UNDYED,
        "move_label": MOVE,
        "filed": bool(known),
        "forms": FORMS,
        "days": await visit.read(_days_offered, sha256, draft),
        "choices": await visit.read(choices),
        "state": await measuring.state_of(visit, sha256),
    }
    return await visit.page("sv_photo_shows.html", values, 400 if words else 200)


def _days_offered(conn: sqlite3.Connection, sha256: str, draft: Mapping[str, Any]) -> list[str]:
    """Days that a new lot may have been dyed on: the photo's, and today."""
    row = photo_row(conn, sha256)
    taken = draft.get("taken_at") if row is None else row.facts["taken_at"]
    return list(dict.fromkeys([*([str(taken)[:10]] if taken else []), f"{date.today()}"]))
