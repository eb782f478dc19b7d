"""Marks on a photo: what the program found is offered, and a person corrects it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from datasette import Response

from ingest.errors import IngestError, MarksError, ReferenceMissing
from ingest.locate import as_marks, parse_marks
from ingest.model import Layout, Reference, Settings
from swatchvault import kinds
from swatchvault.archive import OwnedReference
from swatchvault.errors import CompareError, NotFound
from swatchvault.filing import BLACK_LIGHT
from swatchvault.liquor_looks import WHITE, refuse_lacking
from swatchvault.report import likely_words
from swatchvault.web import incoming, measuring
from swatchvault.web.glass import looks_offered, marked_regions, page_of, with_glass
from swatchvault.web.matbar import PRINTED_MM, bar_of_layout, bar_of_text, by_bar
from swatchvault.web.picture import heavy, source_of
from swatchvault.web.said import NO_CARD, missed, not_marked, on_page
from swatchvault.web.visit import Form, RefusedError, Visit

LIGHTS = (*kinds.LIGHTS, BLACK_LIGHT)


async def mark_page(visit: Visit) -> Response:
    """``/photos/<sha256>/mark``: the picture with its marks; posted, they are kept and measured."""
    sha256 = visit.part("sha256")
    path = await source_of(visit, sha256)
    if visit.request.method == "POST":
        return await _marked(visit, sha256, path)
    if path.parent.name == "photos":
        measuring.refuse_not_dyers(visit)
    draft = await visit.work(incoming.draft, visit.folder, sha256)
    found = draft.get("found") or await _find(visit, sha256, path)
    if draft.get("liquor"):
        before = await visit.work(_of_the_pot, visit.folder, draft)
        found = with_glass(found, draft["look"], before[-1] if before else ())
    offered = named_as_pair(found["marks"]) if draft.get("beside") else found["marks"]
    text = json.dumps(draft.get("marks") or offered, ensure_ascii=False)
    return await _page(visit, sha256, path, text, draft.get("about") or found["about"], found)


async def _marked(visit: Visit, sha256: str, path: Path) -> Response:
    form = await visit.form()
    filed, again = path.parent.name == "photos", form.text("look") == "again"
    text = form.need("marks", "What is marked")
    if filed:
        measuring.refuse_not_dyers(visit)
    about = await visit.read(_with_light, about_of(form))
    draft = await visit.work(incoming.draft, visit.folder, sha256)
    found = draft.get("found") or {}
    if not found and filed:
        found = await _find(visit, sha256, path)
    try:
        bar_mm = bar_of_text(about.get("bar_mm", ""))
        about |= {"bar_mm": bar_mm} if "bar_mm" in about else {}
        if again and not filed:
            return await _look_again(visit, sha256, about)
        marks, found = by_bar(marks_of(text, about), found, bar_mm)
        if draft.get("liquor"):
            refuse_lacking(path.name, marked_regions({"marks": marks}))
            about["no_card"] = True  # the white beside it does
    except (MarksError, CompareError) as error:
        words = on_page(str(error))
        if visit.wants_json:
            raise
        found = found or await _find(visit, sha256, path)
        return await _page(visit, sha256, path, text, about, found, words)
    changes: dict[str, Any] = {
        "marks": marks,
        "found": found,
        "about": about,
        "trouble": None,
        "told": None,
    }
    changes["removed"] = references_removed(marks, found, draft) or None
    await visit.work(incoming.note, visit.folder, sha256, changes)
    await measuring.start(visit, sha256)
    return visit.go(page_of(draft) or f"/photos/{sha256}/shows")


async def _look_again(visit: Visit, sha256: str, about: Mapping[str, Any]) -> Response:
    """The photo is searched anew by what was told of it; what was marked gives way."""
    from swatchvault.archive.pages_photo import about_setup

    of_setup = await visit.read(about_setup, str(about.get("setup", "")))
    anew: dict[str, Any] = {"about": {**of_setup, **about}}
    anew |= dict.fromkeys(("found", "marks", "told", "trouble", "removed"))
    await visit.work(incoming.note, visit.folder, sha256, anew)
    return visit.go(f"/photos/{sha256}/mark")


def _of_the_pot(folder: Path, draft: Mapping[str, Any]) -> list[list[dict[str, Any]]]:
    """The swatches marked on each photo of the same pot's liquor, the newest photo's last."""
    sent = incoming.of_liquor(folder, draft["liquor"])
    return [list(d["marks"].get("swatches", ())) for _, d, _ in sent if d.get("marks")]


def references_removed(
    marks: Mapping[str, Any], found: Mapping[str, Any], draft: Mapping[str, Any]
) -> bool:
    """Whether no reference is marked because a person took away what was found or marked."""
    if marks.get("references"):
        return False
    before = (found.get("marks") or {}, draft.get("marks") or {})
    return bool(draft.get("removed") or any(m.get("references") for m in before))


def marks_of(text: str, about: Mapping[str, Any]) -> dict[str, Any]:
    """The marks that were posted, checked. Raises ``MarksError`` in a sentence."""
    try:
        marks = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise MarksError(f"the marks are no JSON ({error}): mend them") from error
    layout = parse_marks(marks, "marks")
    if not layout.swatches and about.get("light") != BLACK_LIGHT:
        raise MarksError("marks: no swatch is marked; mark the yarn that is to be measured")
    return dict(marks)


def about_of(form: Form) -> dict[str, Any]:
    """What the form tells of the whole photo, the bar as typed; blank fields are left out."""
    said: dict[str, Any] = {k: form.text(k) for k in ("light", "setup", "locked", "bar_mm")}
    if said["light"] and said["light"] not in LIGHTS:
        raise RefusedError(f"light is {said['light']!r}; it can be {', '.join(LIGHTS)}")
    if said["locked"] not in ("", "yes", "no"):
        raise RefusedError("whether the camera was locked is yes, no, or left open")
    said["no_card"] = form.text("no_card") == "yes"
    return {k: v for k, v in said.items() if v}


def _with_light(conn: Any, about: dict[str, Any]) -> dict[str, Any]:
    """What was told of a photo, with its set-up's light where none was."""
    from swatchvault.archive.lookup import light_of_setup
    from swatchvault.archive.names import find

    if about.get("light") or not about.get("setup"):
        return about
    try:
        light = light_of_setup(conn, find(conn, "setup", about["setup"]))
    except NotFound:  # one that is made when the photo is kept
        return about
    return about if light is None else {**about, "light": light}


async def _find(visit: Visit, sha256: str, path: Path) -> dict[str, Any]:
    """What is offered: the marks of a filed photo, else what the program finds; kept."""
    from swatchvault.archive.pages_photo import photo_row
    from swatchvault.filing import with_owned

    row = await visit.read(photo_row, sha256)
    if row is not None:
        facts = row.facts
        lock = {1: "yes", 0: "no"}.get(facts["locked"])
        about = {"light": facts["light"], "setup": facts["setup"], "locked": lock}
        found = described(row.layout, {k: v for k, v in about.items() if v}, row.reference)
        bar_mm = bar_of_layout(found)
        told = {} if bar_mm in (None, PRINTED_MM) else {"bar_mm": bar_mm}
        return {**found, "about": {**found["about"], **told}}
    about = (await visit.work(incoming.draft, visit.folder, sha256)).get("about") or {}
    owned = await visit.read(measuring.reference_to_try, str(about.get("setup", "")))
    bare = Settings(bar_mm=float(about.get("bar_mm") or PRINTED_MM))
    settings = bare if owned is None else with_owned(bare, owned)
    async with heavy(visit):
        found = await visit.work(_search, path, settings, about, owned)
    await visit.work(incoming.note, visit.folder, sha256, {"found": found})
    return found


def _search(
    path: Path, settings: Settings, about: Mapping[str, Any], owned: OwnedReference | None
) -> dict[str, Any]:
    from ingest.pipeline import locate_file

    try:
        _, layout = locate_file(path, settings=settings)
    except ReferenceMissing as error:  # the mat's swatches are found all the same
        _, layout = locate_file(path, settings=replace(settings, allow_uncorrected=True))
        return {**described(layout, about, owned), "words": on_page(str(error))}
    except IngestError as error:
        return {**described(Layout(), about, owned), "words": on_page(str(error))}
    return described(layout, about, owned)


def described(
    layout: Layout, about: Mapping[str, Any], owned: OwnedReference | None = None
) -> dict[str, Any]:
    """A layout as plain data, with what a marks file does not hold, and where each is from.

    ``owned``: the reference that was looked for. Steps that were found do not state its values in
    the marks, where they would go before those of the set-up that a person chooses: what they are
    without such a set-up is under ``steps``.
    """
    one = [_as_typed(r) for r in layout.references]
    how: list[tuple[str, str, float]]
    how = [(r.kind, r.located, r.confidence) for r in layout.references]
    how += [(s.name, s.located, s.confidence) for s in layout.swatches]
    return {
        "marks": json.loads(json.dumps(as_marks(replace(layout, references=tuple(one))))),
        "located": layout.located,
        "surround": [[list(p) for p in polygon] for polygon in layout.surround],
        "flags": sorted(layout.flags),
        "how": [{"what": w, "by": by, "likely": likely_words(score)} for w, by, score in how],
        "about": dict(about),
        "words": "",
        "steps": _steps_if_not_said(layout, owned),
    }


def _as_typed(reference: Reference) -> Reference:
    """A reference with what a person's marks would say of it."""
    if reference.kind == "card":
        return replace(reference, patches=reference.patches[:1])
    found = reference.kind == "steps" and reference.located != "marks"
    return replace(reference, y=None) if found else reference


def _steps_if_not_said(layout: Layout, owned: OwnedReference | None) -> dict[str, Any] | None:
    """What steps reflect where neither the marks nor the set-up say it, and whose values it is."""
    own = owned.y if owned is not None and owned.kind == "steps" else None
    found = next(
        (r.y for r in layout.references if r.kind == "steps" and r.located != "marks"), own
    )
    if not found:
        return None
    return {"y": list(found), "of": owned.name if owned is not None and found == own else ""}


def named_as_pair(marks: Mapping[str, Any]) -> dict[str, Any]:
    """Found marks of a photo of two swatches: one that is not the master's is called "new"."""
    swatches = [dict(s) for s in marks.get("swatches", ())]
    others = [s for s in swatches if s.get("name") != "master"]
    if len(others) == 1:
        others[0]["name"] = "new"
    return {**marks, "swatches": swatches}


def _read_or_empty(text: str) -> dict[str, Any]:
    """The marks' text as data; empty where it cannot be read, which is told elsewhere."""
    try:
        marks = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    return marks if isinstance(marks, dict) else {}


async def _page(
    visit: Visit,
    sha256: str,
    path: Path,
    text: str,
    about: Mapping[str, Any],
    found: Mapping[str, Any],
    words: str = "",
) -> Response:
    from swatchvault.archive.pages_photo import choices

    marks = _read_or_empty(text)
    draft = await visit.work(incoming.draft, visit.folder, sha256)
    liquor, names = page_of(draft), []
    if liquor:
        marked = await visit.work(_of_the_pot, visit.folder, draft)
        there = [str(s["name"]) for swatches in marked for s in swatches]
        names = [draft["look"], WHITE, *looks_offered([*there, draft["look"]])]
    values = {
        "sha256": sha256,
        "liquor": liquor,
        "names": names,
        "beside": draft.get("beside"),
        "lone": len(marks.get("swatches") or ()) == 1,
        "name": path.name if path.parent.name != "photos" else "",
        "filed": path.parent.name == "photos",
        "marks": text,
        "about": about,
        "found": found,
        "words": words,
        "lights": LIGHTS[:2] if liquor else LIGHTS,
        "no_card_label": NO_CARD,
        "missed": missed(found),
        "bare": not_marked(marks, about),
        "choices": await visit.read(choices),
    }
    return await visit.page("sv_photo_mark.html", values, 400 if words else 200)
