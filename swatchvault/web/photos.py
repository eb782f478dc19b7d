"""A photo from the phone: sent, kept, and shown when it is filed."""

from __future__ import annotations

import hashlib
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace
from functools import partial
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from datasette import Response

from swatchvault.web import incoming, measuring
from swatchvault.web.glass import sent_for
from swatchvault.web.nextsteps import next_of_photo
from swatchvault.web.outlines import shapes
from swatchvault.web.visit import Form, RefusedError, Visit
from swatchvault.web.waiting import waits

if TYPE_CHECKING:
    from swatchvault.archive import OwnedReference, Setup

#: A photo of 40 MB must pass; a phone's largest raw files are near this.
MOST_BYTES = 60_000_000
#: Usual suffixes of camera raw; what a file is, its content says. Common practice, no source.
RAW = (
    *(".dng", ".cr2", ".cr3", ".nef", ".nrw", ".arw", ".orf", ".rw2", ".raf", ".pef", ".srw"),
    *(".raw", ".rwl", ".3fr", ".iiq", ".mrw", ".erf"),
)
_DRAINED = 500_000_000  # read and thrown away, so that the sentence reaches the sender
_TOO_LARGE = (
    "What was sent is larger than 60 MB. Send one photo at a time; a larger one must be saved "
    "smaller first (as JPEG of high quality, in its full size in pixels)."
)


async def new_page(visit: Visit) -> Response:
    """``/photos/new``: take or choose a photo; posted, it waits to be marked."""
    if visit.request.method == "POST":
        return await _sent(visit)
    from swatchvault.archive.pages_photo import what_lies_beside

    asked = {k: visit.asked(k) for k in ("lot", "swatch", "with") if visit.asked(k)}
    values = {
        "asked": asked,
        "beside": await visit.read(what_lies_beside, asked.get("with", "")),
        "waiting": await visit.work(waits, visit.folder),
        **await send_values(visit),
    }
    return await visit.page("sv_photo_new.html", values)


async def send_values(visit: Visit) -> dict[str, Any]:
    """What the form that sends a photo shows beside the photo."""
    from swatchvault.archive.pages_photo import last_reference, setup_beforehand
    from swatchvault.archive.pages_setups import setups_there

    last = await visit.read(last_reference)
    setups = [
        (row.setup.name, said_of_setup(row.setup, last)) for row in await visit.read(setups_there)
    ]
    chosen, why = await visit.read(setup_beforehand)
    return {
        "most": MOST_BYTES,
        "raw": raw_suffixes(),
        "setups": setups,
        "chosen": chosen,
        "why": why,
        "no_setup": said_of_setup(None, last),
    }


def said_of_setup(setup: Setup | None, last: OwnedReference | None) -> str:
    """What a set-up says of a photo, and which reference is looked for; ``None``: no set-up.

    ``last``: the reference that is looked for where the set-up has none of its own.
    """
    light = "no light is said by it" if setup is None else "its light is not said"
    if setup is not None and setup.light:
        light = f"its light is {setup.light}"
    own = None if setup is None else setup.reference
    if own is not None:
        return f"{light}, and its reference {own} is looked for, with its values"
    bare = "no reference is told with it" if setup is None else "it has no reference of its own"
    looked = (
        "a chart and a grey card are" if last is None else f"{last.name}, used or told last, is"
    )
    return f"{light}, {bare}, and {looked} looked for"


def raw_suffixes() -> tuple[str, ...]:
    """Suffixes of camera raw that a file picker is to show; none where raw cannot be read here."""
    return RAW if find_spec("rawpy") is not None else ()


async def _sent(visit: Visit) -> Response:
    from swatchvault.archive.pages_photo import (
        about_setup,
        photo_row,
        what_is_asked,
        what_lies_beside,
    )

    form = await _form(visit)
    name, data = await _one_photo(form)
    await visit.work(incoming.clean_up, visit.folder)
    sha256 = await visit.work(lambda: hashlib.sha256(data).hexdigest())
    told = await visit.read(sent_for, form.text("liquor"), form.text("look"))
    if await visit.read(photo_row, sha256) is not None:
        if told["liquor"]:
            raise RefusedError(
                "This photo is filed already, as one of yarn: take another one of the liquor.",
                links=[(f"/photos/{sha256}", "The filed photo")],
            )
        return _on(visit, f"/photos/{sha256}?again=1")
    await visit.work(incoming.keep, visit.folder, name, data)
    asked = await visit.read(what_is_asked, form.text("lot"), form.text("swatch"))
    beside = await visit.read(what_lies_beside, form.text("with"))
    about = await visit.read(about_setup, form.text("setup"))
    if asked or beside or about:
        told |= {"asked": asked, "beside": beside}
        told |= {"about": about, "found": None} if about else {}  # searched anew by the set-up
    await visit.work(incoming.note, visit.folder, sha256, told)
    return _on(visit, f"/photos/{sha256}/mark")


def _on(visit: Visit, path: str) -> Response:
    return visit.json({"ok": True, "go": path}) if visit.wants_json else visit.go(path)


async def _form(visit: Visit) -> Form:
    from datasette.utils.asgi import BadRequest

    body = _Body(visit.request.receive)
    visit.request.receive = body.next
    try:
        return await visit.form(files=True, most_bytes=MOST_BYTES)
    except BadRequest as error:
        said = str(error)
        if "too large" in said:
            await body.drain()
            raise RefusedError(_TOO_LARGE, 413) from error
        if "disk space" in said:
            words = "The server's disk is full: make room, then send it again."
            raise RefusedError(words) from error
        raise


@dataclass
class _Body:
    """What a sender sends, and whether more of it is on its way."""

    receive: Callable[[], Awaitable[dict[str, Any]]]
    more: bool = True

    async def next(self) -> dict[str, Any]:
        message = await self.receive()
        self.more = bool(message.get("more_body"))
        return message

    async def drain(self) -> None:
        """Take in the rest: a sender who is cut off sees no answer."""
        taken = 0
        while self.more and taken < _DRAINED:
            taken += len((await self.next()).get("body", b""))


async def _one_photo(form: Form) -> tuple[str, bytes]:
    sent = [f for f in form.said.getlist("photo") if not isinstance(f, str) and f.filename]
    if not sent:
        raise RefusedError("No photo came with the form: take or choose one, then send it.")
    if len(sent) > 1:
        raise RefusedError(f"{len(sent)} photos came at once: send one at a time.")
    if not sent[0].size:
        raise RefusedError("The photo's file is empty: take it again, or copy it anew.")
    return str(sent[0].filename), await sent[0].read()


async def photo_page(visit: Visit) -> Response:
    """``/photos/<sha256>``: a filed photo, where things were found, and what was measured."""
    from swatchvault.archive import colours, eye_rule
    from swatchvault.archive.aside import asides_of_photo
    from swatchvault.archive.pages_photo import photo_row, shown_only
    from swatchvault.archive.photo_doubts import photo_doubts
    from swatchvault.by_eye import as_told

    sha256 = visit.part("sha256")
    row = await visit.read(photo_row, sha256)
    if row is None:
        waits = await visit.work(incoming.waiting, visit.folder, sha256)
        if visit.may("log") and waits is not None:
            return visit.go(f"/photos/{sha256}/mark")
        raise _gone()
    found = await visit.read(colours, photo_sha256=sha256, with_aside=True)
    asides = await visit.read(asides_of_photo, sha256)
    doubts = await visit.read(partial(photo_doubts, sha256=sha256))
    rule = await visit.read(eye_rule)
    found = [replace(c, tonality=as_told(c.tonality, c.flags, rule)) for c in found]
    alike, told = measuring.told_once(found)
    regions = [
        {
            "stored": c,
            "aside": asides.get(c.swatch_id),
            "doubts": [
                *(str(d) for d in doubts if d.swatch_id == c.swatch_id),
                *_of_one_label(c.swatch, sum(other.swatch_id == c.swatch_id for other in found)),
            ],
            **words,
        }
        for c, words in zip(found, told, strict=True)
    ]
    shown = [
        (c.lot_id, c.lot, c.swatch_id)
        for c in found
        if c.lot_id and c.lot and c.swatch_id not in asides
    ]
    values = {
        "row": row,
        "sha256": sha256,
        "shapes": shapes(row.layout, row.facts["width"], row.facts["height"]),
        "regions": regions,
        "alike": alike,
        "shown": await visit.read(shown_only, sha256),
        "corrected": any(c.reference != "none" for c in found),
        "here": await visit.work((visit.folder / "photos" / f"{sha256}{row.suffix}").is_file),
        "again": bool(visit.asked("again")),
        "counts": bool(visit.asked("counts")),
        "next_of": await visit.read(next_of_photo, shown) if visit.may("log") else [],
    }
    return await visit.page("sv_photo.html", values)


def _of_one_label(swatch: str, places: int) -> list[str]:
    """That several places of a photo are filed as one swatch."""
    if places < 2:
        return []
    return [
        f"{places} places in this photo are filed as {swatch}, so they count as one swatch in one "
        "photo, and are set aside together. If they are several skeins, mark the photo anew and "
        "give each a label of its own"
    ]


def _gone() -> RefusedError:
    return RefusedError(
        "No photo of that name is here. One that is not filed is kept for a day: send it again.",
        404,
    )
