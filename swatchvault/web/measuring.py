"""Measuring a photo in the background, and filing it when both figures and words are there."""

from __future__ import annotations

import asyncio
import json
import traceback
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from datasette import Response

from ingest.flags import FLAGS, FLAGS_THAT_STOP_A_VERDICT
from ingest.model import Layout, Light, Reference, Settings
from swatchvault.archive import OwnedReference
from swatchvault.archive.pages_photo import photo_row
from swatchvault.batch import Outcome
from swatchvault.errors import SwatchvaultError
from swatchvault.filing import BLACK_LIGHT
from swatchvault.web import incoming
from swatchvault.web.picture import heavy, source_of
from swatchvault.web.said import on_page
from swatchvault.web.visit import RefusedError, Visit

_REMEMBERED = 24  # measurements that wait to be filed; each holds about 1 MB. Our choice
_TOLD = "the server's window says more, and the photo is kept for a day"


@dataclass
class Running:
    """A photo that is being measured, or was; ``key`` says from what marks and settings."""

    key: str
    task: asyncio.Task[Outcome]
    filing: asyncio.Lock

    @property
    def outcome(self) -> Outcome | None:
        """What came out; ``None`` while it runs."""
        return self.task.result() if self.task.done() else None


def running(visit: Visit) -> dict[str, Running]:
    """Photos that are being measured in this server, by sha256."""
    found: dict[str, Running] = visit.studio.state.setdefault("measuring", {})
    return found


async def start(visit: Visit, sha256: str) -> Running:
    """Measure the photo by its draft, unless that is done or under way."""
    draft = await visit.work(incoming.draft, visit.folder, sha256)
    if "marks" not in draft:
        raise RefusedError("nothing is marked on this photo yet: mark it first")
    owned = await visit.read(_owned, draft.get("about", {}).get("setup", ""))
    by = [draft["marks"], draft.get("about"), draft.get("removed"), repr(owned)]
    key = json.dumps(by, sort_keys=True)
    known = running(visit)
    if sha256 in known and known[sha256].key == key:
        return known[sha256]
    path = await source_of(visit, sha256)
    made = Running(key, asyncio.create_task(_measured(visit, path, draft, owned)), asyncio.Lock())
    known[sha256] = made
    for old in [s for s, r in known.items() if r.task.done()][:-_REMEMBERED]:
        del known[old]
    if draft.get("told"):
        made.task.add_done_callback(lambda _: _file_later(visit, sha256))
    return made


def _file_later(visit: Visit, sha256: str) -> None:
    """After a measurement: file it if it was told what it shows; a task that is kept till done."""
    from swatchvault.web.shows import file_told

    async def file() -> None:
        try:
            await file_told(visit, sha256)
        except Exception as error:  # told on the state page; nobody waits for this task
            if not isinstance(error, SwatchvaultError):
                traceback.print_exc()
            words = " ".join(str(error).split())
            await visit.work(incoming.note, visit.folder, sha256, {"trouble": words, "told": None})

    kept: set[asyncio.Task[None]] = visit.studio.state.setdefault("filing", set())
    task = asyncio.get_running_loop().create_task(file())
    kept.add(task)
    task.add_done_callback(kept.discard)


def file_when_measured(visit: Visit, sha256: str, run: Running) -> None:
    """File the photo as soon as ``run`` is done; what it shows was told."""
    if run.task.done():
        _file_later(visit, sha256)
    else:
        run.task.add_done_callback(lambda _: _file_later(visit, sha256))


async def _measured(
    visit: Visit, path: Path, draft: Mapping[str, Any], owned: OwnedReference | None
) -> Outcome:
    from swatchvault.batch import Job, measure_one

    about = draft.get("about", {})
    settings = replace(settings_of(about, owned), search=may_search(draft, path))
    measured = about.get("light") != BLACK_LIGHT

    def work() -> Outcome:
        job = Job(path, layout_of(draft, path, settings), settings, measured)
        try:
            return measure_one(job)
        except Exception:  # a fault of ours: the task's outcome must still be one that can be told
            traceback.print_exc()
            return Outcome(
                job, None, f"{path.name}: measuring failed, and should not have: {_TOLD}"
            )

    async with heavy(visit):
        return await visit.work(work)


def _owned(conn: Any, setup: str) -> OwnedReference | None:
    from swatchvault.archive.pages_photo import setup_reference

    return setup_reference(conn, setup) if setup else None


def reference_to_try(conn: Any, setup: str) -> OwnedReference | None:
    """The reference to look for in a photo: the chosen set-up's, else the one used last."""
    from swatchvault.archive.pages_photo import last_reference

    return _owned(conn, setup) or last_reference(conn)


def may_search(draft: Mapping[str, Any], path: Path) -> bool:
    """Whether a reference may be looked for that is not marked.

    Not where one was taken away by hand, not where none is wanted, and not in a photo that is
    filed: its marks tell all that it was measured by.
    """
    waived = draft.get("about", {}).get("no_card")
    return not (draft.get("removed") or waived or path.parent.name == "photos")


def settings_of(about: Mapping[str, Any], owned: OwnedReference | None) -> Settings:
    """Settings from what was told of the photo."""
    from swatchvault.filing import with_owned

    light: Light | None = about["light"] if about.get("light") in ("daylight", "other") else None
    settings = Settings(
        light=light,
        allow_uncorrected=bool(about.get("no_card")),
        bar_mm=float(about.get("bar_mm") or 100.0),
    )
    return settings if owned is None else with_owned(settings, owned)


def layout_of(draft: Mapping[str, Any], path: Path, settings: Settings) -> Layout:
    """The layout that was marked; what the mat gives beside the regions stays."""
    from ingest.locate import parse_marks
    from swatchvault.web.picture import on_paper

    layout = parse_marks(draft["marks"])
    found = draft.get("found") or {}
    if settings.steps_y is None and found.get("steps"):
        layout = _with_steps(layout, tuple(found["steps"]["y"]))
    if found.get("located") != "mat":
        return layout
    if found["marks"] == draft["marks"]:
        layout = replace(layout, located="mat", flags=frozenset(found["flags"]))
    if not found["surround"]:  # of a layout that the archive kept
        return on_paper(path, layout, settings)
    surround = tuple(tuple((float(x), float(y)) for x, y in p) for p in found["surround"])
    return replace(layout, surround=surround)


def _with_steps(layout: Layout, y: tuple[float, ...]) -> Layout:
    """Steps of which neither a person nor the set-up says what they reflect, with ``y``."""

    def told(reference: Reference) -> Reference:
        bare = reference.kind == "steps" and reference.y is None and reference.lab_d50 is None
        return replace(reference, y=y) if bare and len(reference.patches) == len(y) else reference

    return replace(layout, references=tuple(told(r) for r in layout.references))


# ---------------------------------------------------------------------------------------------


async def named(visit: Visit, sha256: str, words: str) -> str:
    """What is wrong with a photo as a page says it, by the name that the photo had when it came."""
    row = await visit.read(photo_row, sha256)
    name = None if row is None else row.facts["original_name"]
    said = on_page(words)
    return said if row is None or not name else said.replace(f"{sha256}{row.suffix}", name)


async def state_page(visit: Visit) -> Response:
    """``/photos/<sha256>/state``: how far it is, the figures, or why not and what to do."""
    sha256 = visit.part("sha256")
    said = await state_of(visit, sha256)
    if visit.wants_json:
        return visit.json({"ok": True, **said})
    if said["go"]:
        return visit.go(said["go"])
    return await visit.page("sv_photo_state.html", {"sha256": sha256, **said})


async def state_of(visit: Visit, sha256: str) -> dict[str, Any]:
    """The state in plain data: ``state`` is measuring, measured, failed, filing or filed."""
    try:
        return await _state_now(visit, sha256)
    except SwatchvaultError:  # it may have been filed, and so moved, while we looked
        if not await visit.read(photo_row, sha256):
            raise
        return await _state_now(visit, sha256)


async def _state_now(visit: Visit, sha256: str) -> dict[str, Any]:
    await source_of(visit, sha256)
    draft = await visit.work(incoming.draft, visit.folder, sha256)
    if "marks" not in draft:
        filed = await visit.read(photo_row, sha256) is not None
        go = f"/photos/{sha256}" + ("" if filed else "/mark")
        return {"state": "filed" if filed else "not marked", "words": "", "regions": [], "go": go}
    outcome = (await start(visit, sha256)).outcome if visit.may("log") else None
    if outcome is None:
        words = "Measuring: a few seconds, longer for a large photo."
        return {"state": "measuring", "words": words, "regions": [], "go": None}
    if outcome.measurement is None:
        words = await named(visit, sha256, outcome.error or "")
        return {"state": "failed", "words": words, "regions": [], "go": None}
    regions = [region_words(s) for s in outcome.measurement.swatches]
    light = {"any_light": any_light(draft)}
    if draft.get("trouble"):
        words = await named(visit, sha256, draft["trouble"])
        return {"state": "trouble", "words": words, "regions": regions, "go": None, **light}
    if draft.get("told"):
        words = "Measured; being filed."
        return {"state": "filing", "words": words, "regions": regions, "go": None}
    flags, regions = told_once(outcome.measurement.swatches)
    said = {"state": "measured", "words": "Measured.", "regions": regions, "go": None}
    return {**said, "flags": flags, **light}


def any_light(draft: Mapping[str, Any]) -> str:
    """What is said of figures that rest on a marked reference where nobody told the light."""
    from swatchvault.taken import ANY_LIGHT

    told = draft.get("about", {}).get("light")
    return ANY_LIGHT if draft["marks"].get("references") and not told else ""


def told_once(swatches: Sequence[Any]) -> tuple[list[list[str]], list[dict[str, Any]]]:
    """Flags that all of several regions carry, to be told once, and the regions without them."""
    several = len(swatches) > 1
    alike = frozenset.intersection(*(s.flags for s in swatches)) if several else frozenset()
    return flag_words(alike), [region_words(s, alike) for s in swatches]


def region_words(swatch: Any, told: frozenset[str] = frozenset()) -> dict[str, Any]:
    """A measured region as a page shows it; ``swatch``: a measurement, stored or new. ``told``:
    flags that the page has told already."""
    from swatchvault.colour_words import lab_words
    from swatchvault.report import evenness_lines
    from swatchvault.web.look import hex_of

    lab = [float(v) for v in swatch.lab]
    return {
        "name": getattr(swatch, "region", None) or getattr(swatch, "name", ""),
        "lab": lab,
        "hex": hex_of(lab),
        "words": lab_words(swatch.lab, swatch.covariance.total),
        "even": [line.strip() for line in evenness_lines(swatch.tonality, swatch.flags)],
        "flags": flag_words(swatch.flags - told),
        "stops": bool(swatch.flags & FLAGS_THAT_STOP_A_VERDICT),
    }


def flag_words(flags: frozenset[str]) -> list[list[str]]:
    """Each flag with its sentence, those that stop a verdict first."""
    order = sorted(flags, key=lambda f: (f not in FLAGS_THAT_STOP_A_VERDICT, f))
    return [[name, on_page(FLAGS[name])] for name in order]


def refuse_not_dyers(visit: Visit) -> None:
    """A filed photo's marks decide what a master is: they are the dyer's to change."""
    if not visit.may("change"):
        raise SwatchvaultError(
            "This photo is filed already. A helper may add photos, and not mark filed ones anew: "
            "ask the dyer."
        )
