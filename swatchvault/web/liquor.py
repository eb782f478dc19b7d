"""How much colour is left in a pot's liquor: photos of it sent, read together, kept as looks."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from datasette import Response

from ingest.errors import IngestError
from swatchvault.cautions import CAUTION_LINE
from swatchvault.days import when
from swatchvault.errors import CompareError, SwatchvaultError
from swatchvault.liquor_looks import (
    CLEAR,
    WHITE,
    note_key,
    read_glasses,
    remarks,
    stored_left,
    stored_note,
)
from swatchvault.web import incoming, measuring
from swatchvault.web.glass import looks_offered, marked_regions
from swatchvault.web.photos import send_values
from swatchvault.web.potforms import read_at
from swatchvault.web.said import on_page
from swatchvault.web.typed import number, row_id
from swatchvault.web.visit import Form, RefusedError, Visit

if TYPE_CHECKING:
    from ingest.liquor import LiquorCurve, LiquorReading
    from ingest.model import PhotoMeasurement
    from swatchvault.archive import Pot
    from swatchvault.liquor_log import Times
    from swatchvault.liquor_looks import LiquorLook, LiquorLooks

    Read = tuple[LiquorLooks, LiquorCurve]


@dataclass(frozen=True, eq=False)
class Sent:
    """A photo of a pot's liquor. ``state``: not marked, measuring, failed or measured, and then
    ``measurement``; ``until``: when it is let go, ISO 8601."""

    sha256: str
    draft: Mapping[str, Any]
    until: str
    state: str
    words: str = ""
    measurement: PhotoMeasurement | None = None

    @property
    def name(self) -> str:
        return str(self.draft.get("name", ""))

    @property
    def glasses(self) -> dict[str, str]:
        """Names of the marked glasses, with what their fields of the form are called by."""
        names = enumerate(marked_regions(self.draft))
        bare = (WHITE, CLEAR)
        return {n: f"{self.sha256[:12]}-{i}" for i, n in names if n.casefold() not in bare}

    def said(self, region: str, what: str) -> str:
        """What was told of a glass, ``parts`` or ``at``; "" where nothing was."""
        return str(self.draft.get("glasses", {}).get(region, {}).get(what, ""))


async def liquor_page(visit: Visit) -> Response:
    """``/pot/<lot>/liquor``: photos of the liquor and what they tell; posted, dilutions and times
    are told, and readings kept in the pot's log as `liquor --lot` keeps them."""
    from swatchvault.archive.pages_pot import lot_code

    lot_id = row_id(visit)
    code = await visit.read(lot_code, lot_id)
    sent = await _sent(visit, lot_id)
    if visit.request.method != "POST":
        if visit.wants_json:
            state = "measuring" if _measuring(sent) else "read"
            return visit.json({"ok": True, "state": state, "go": None})
        return await _shown(visit, lot_id, code, sent)
    form = await visit.form()
    try:
        sent = await _told(visit, code, sent, form)
        if form.text("do") != "keep":
            return visit.go(f"/pot/{lot_id}/liquor")
        if _measuring(sent):
            raise RefusedError("a photo is still being measured: wait a moment, then keep it")
        seen, curve = await visit.work(_read, sent)

        def work(conn: sqlite3.Connection) -> str:
            from swatchvault.liquor_log import keep_looks

            keep_looks(conn, lot_code(conn, lot_id), seen, curve, _times(sent))
            return f"/pot/{lot_id}/liquor"

        return await visit.change(form, work)
    except (SwatchvaultError, IngestError) as error:
        if visit.wants_json:
            raise
        typed = {n: form.text(n) for n in form.said if isinstance(n, str)}
        return await _shown(visit, lot_id, code, sent, on_page(str(error)), typed)


async def _sent(visit: Visit, lot_id: int) -> list[Sent]:
    """The pot's photos; those that are marked are measured, now or in the background."""
    found = []
    for sha256, draft, ends in await visit.work(incoming.of_liquor, visit.folder, lot_id):
        until = datetime.fromtimestamp(ends, UTC).isoformat(timespec="seconds")
        if "marks" not in draft:
            found.append(Sent(sha256, draft, until, "not marked"))
            continue
        outcome = (await measuring.start(visit, sha256)).outcome
        if outcome is None:
            found.append(Sent(sha256, draft, until, "measuring"))
        elif outcome.measurement is None:
            words = on_page(outcome.error or "")
            found.append(Sent(sha256, draft, until, "failed", words))
        else:
            found.append(Sent(sha256, draft, until, "measured", "", outcome.measurement))
    return found


def _measuring(sent: Sequence[Sent]) -> bool:
    return any(photo.state == "measuring" for photo in sent)


async def _told(visit: Visit, code: str, sent: Sequence[Sent], form: Form) -> list[Sent]:
    """The photos with what the form tells of their glasses, which is kept with them."""
    from dataclasses import replace

    from swatchvault.archive import get_pot

    pot = await visit.read(get_pot, code)
    told = [{n: _of_glass(p, n, key, pot, form) for n, key in p.glasses.items()} for p in sent]
    for photo, glasses in zip(sent, told, strict=True):
        if glasses != photo.draft.get("glasses", {}):
            await visit.work(incoming.note, visit.folder, photo.sha256, {"glasses": glasses})
    return [replace(p, draft={**p.draft, "glasses": g}) for p, g in zip(sent, told, strict=True)]


def _of_glass(photo: Sent, region: str, key: str, pot: Pot, form: Form) -> dict[str, str]:
    """A glass's dilution and time as typed, or as told before where the form has no field for it; a
    time is kept with the day that it was typed on."""
    from swatchvault.potclock import check_time, read_time
    from swatchvault.potwork import local_now

    now = local_now()
    parts, at = (
        form.text(f"{what}-{key}") if f"{what}-{key}" in form.said else photo.said(region, what)
        for what in ("parts", "at")
    )
    if parts and not number(parts, f"the dilution of {region}") >= 1:
        raise RefusedError(
            f"{region}: a dilution to {parts} parts cannot be, 1 or more is needed: 10 means one "
            "part of liquor made up to ten"
        )
    told = photo.said(region, "at")
    if at and at in (told, when(told)):
        at = told
    elif at:
        at = check_time(read_time(read_at(at, now) or "", now), pot.started_at, now)
    return {k: v for k, v in (("parts", parts), ("at", at)) if v}


def _read(sent: Sequence[Sent]) -> Read:
    """What the measured photos tell together. Raises what `read_glasses` does, and
    ``CompareError`` for a look that several photos have: each is one entry of the log."""
    measured = [p for p in sent if p.measurement is not None]
    showing: dict[str, list[str]] = {}
    for photo in measured:
        for region in photo.glasses:
            showing.setdefault(region.casefold(), []).append(photo.name)
    for region, photos in showing.items():
        if len(photos) > 1:
            raise CompareError(
                f"{region} is marked in {len(photos)} photos, {' and '.join(photos)}: throw one of "
                "them away below, or mark it anew under another name"
            )
    parts = {
        region: number(photo.said(region, "parts"), f"the dilution of {region}")
        for photo in measured
        for region in photo.glasses
        if photo.said(region, "parts")
    }
    return read_glasses([p.measurement for p in measured if p.measurement], parts)


def _times(sent: Sequence[Sent]) -> Times:
    from swatchvault.liquor_log import Times

    regions = [
        (photo, region, note_key(photo.name, region)) for photo in sent for region in photo.glasses
    ]
    return Times(
        stated={key: at for photo, region, key in regions if (at := photo.said(region, "at"))},
        sent={key: str(photo.draft["sent_at"]) for photo, _, key in regions},
    )


async def _shown(
    visit: Visit,
    lot_id: int,
    code: str,
    sent: Sequence[Sent],
    words: str = "",
    typed: Mapping[str, str] | None = None,
) -> Response:
    from swatchvault.archive import get_pot

    values: dict[str, Any] = {"rows": [], "again": [], "notes": [], "past": [], "problem": ""}
    if any(p.measurement for p in sent) and not _measuring(sent):
        pot = await visit.read(get_pot, code)
        try:
            values |= _readings(pot, sent, *await visit.work(_read, sent))
        except (SwatchvaultError, IngestError) as error:
            values["problem"] = on_page(str(error))
    names = [name for photo in sent for name in marked_regions(photo.draft)]
    values |= {
        "lot_id": lot_id,
        "code": code,
        "sent": sent,
        "state": "measuring" if _measuring(sent) else "read",
        "words": words,
        "typed": typed or {},
        "looks": looks_offered(names),
        "asked": {"liquor": lot_id},
        "caution_line": CAUTION_LINE,
        **await send_values(visit),
    }
    return await visit.page("sv_pot_liquor.html", values, 400 if words else 200)


def _readings(
    pot: Pot, sent: Sequence[Sent], seen: LiquorLooks, curve: LiquorCurve
) -> dict[str, Any]:
    """Each look with its reading, its fields and its entry; what is to be said of all."""
    from swatchvault.liquor_log import gone_past
    from swatchvault.liquor_words import again_told, hints, looks_told

    times, of = _times(sent), {n: (p, key) for p in sent for n, key in p.glasses.items()}
    rows = []
    for look, reading, told in zip(
        seen.looks, curve.readings, looks_told(seen, curve), strict=True
    ):
        photo, key = of[look.region]
        row = {"told": told, "key": key, "parts": photo.said(look.region, "parts")}
        rows.append({**row, **_entry(pot, look, reading, times)})
    again = [
        {"told": told, "key": of[name][1], "parts": of[name][0].said(name, "parts")}
        for told, name in zip(
            again_told(seen, curve), (look.name for look in seen.again), strict=True
        )
    ]
    said = [*seen.warnings, *remarks(seen, curve.readings), *hints(seen, curve)]
    new = any(row["entry"] is None and row["left"] for row in rows)
    past = gone_past(pot) if new else []
    return {
        "rows": rows,
        "again": again,
        "notes": [on_page(note) for note in said],
        "past": [on_page(note) for note in past],
    }


def _entry(pot: Pot, look: LiquorLook, reading: LiquorReading, times: Times) -> dict[str, Any]:
    """What of a look the log has, and what would be kept of it now."""
    from swatchvault.liquor_log import entry_of, time_of
    from swatchvault.potwork import local_now

    at, why = time_of(look, pot.started_at, local_now(), times)
    stated = look.key in times.stated
    entry, left = entry_of(pot, look), stored_left(reading)
    step = None if entry is None else entry.step
    now = (left, stored_note(look, reading), when(at) if stated else None)
    kept = step and (step.colour_left, step.note, when(step.at) if stated else None)
    return {
        "left": left,
        "entry": entry,
        "entered": "" if step is None else f"{step.colour_left} left, {when(step.at)}",
        "as_read": kept == now,
        "at": when(at) if stated else "",
        "at_words": when(at) + (f" ({why})" if why else "" if stated else " (by the photo)"),
    }
