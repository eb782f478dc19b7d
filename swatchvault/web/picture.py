"""Corrected pictures and previews: made once, kept as files that can always be made again.

They lie in the archive's folder ``pictures``, which no row names: it may be deleted, and need not
be copied. Where the folder cannot be written, as in a published copy, each is made when asked.
"""

from __future__ import annotations

import asyncio
import hashlib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from datasette import Response

from ingest.model import Layout, Settings
from swatchvault.errors import NotFound
from swatchvault.typed_numbers import row_number
from swatchvault.web.visit import Visit

PICTURES = "pictures"
#: Long sides that are made; another is rounded up to the next of them.
SIDES = (240, 480, 800, 1200, 1600)
#: Version of what is made; it changes where the same photo would give another file.
MADE = 2
KEPT = 600  # pictures; about 150 MB at most. Our choice
_NEVER_STALE = "private, no-cache"  # asked for again, and answered by 304 where it is the same


async def picture(visit: Visit) -> Response:
    """``/picture/<sha256>?region=NAME&width=PIXELS&save=1``: the corrected picture."""
    from swatchvault.archive.pages_photo import need_photo_row

    sha256 = visit.part("sha256")
    row = await visit.read(need_photo_row, sha256)
    region, side = visit.asked("region") or None, side_of(visit.asked("width"))
    name = hashlib.sha256((region or "").encode("utf-8", "replace")).hexdigest()[:16]
    key = f"{sha256}-{row.layout_id}-{name if region else 'all'}-{side}-{MADE}"
    if row.reference is not None:  # whose values may be put right
        key += f"-{hashlib.sha256(repr(row.reference).encode()).hexdigest()[:8]}"
    path = visit.folder / "photos" / f"{sha256}{row.suffix}"

    def make() -> bytes:
        from swatchvault.corrected import corrected_jpeg
        from swatchvault.filing import with_owned

        if not path.is_file():
            raise FileNotFoundError(path)
        settings = Settings() if row.reference is None else with_owned(Settings(), row.reference)
        layout = on_paper(path, row.layout, settings) if row.light_field else row.layout
        return corrected_jpeg(path, layout, settings, side, region)

    stem = Path(str(row.facts["original_name"] or sha256)).stem
    save = f"{stem} corrected.jpg" if visit.asked("save") else None
    return await picture_answer(visit, key, make, save)


async def preview(visit: Visit) -> Response:
    """``/photos/<sha256>/preview?width=PX``: as the camera gave it, upright, at most 1600 px."""
    sha256 = visit.part("sha256")
    side = side_of(visit.asked("width", str(SIDES[-1])))
    path = await source_of(visit, sha256)

    def make() -> bytes:
        from swatchvault.corrected import preview_jpeg

        if not path.is_file():
            raise FileNotFoundError(path)
        return preview_jpeg(path, side)

    return await picture_answer(visit, f"{sha256}-preview-{side}-{MADE}", make)


async def source_of(visit: Visit, sha256: str) -> Path:
    """The photo's file, filed or waiting. Raises ``NotFound``."""
    from swatchvault.archive.pages_photo import photo_row
    from swatchvault.web.incoming import waiting

    row = await visit.read(photo_row, sha256)
    if row is not None:
        return visit.folder / "photos" / f"{sha256}{row.suffix}"
    found = await visit.work(waiting, visit.folder, sha256)
    if found is None:
        raise NotFound(
            "no photo of that name is here; one that is not filed is kept for a day: send it again"
        )
    return found


def side_of(asked: str) -> int:
    """The long side to make, in px, for the one that was asked for."""
    wanted = row_number(asked)
    return next((s for s in SIDES if s >= (1200 if wanted is None else wanted)), SIDES[-1])


def on_paper(path: Path, layout: Layout, settings: Settings) -> Layout:
    """The layout with the bare paper of a mat, where the photo shows one: it is not in marks."""
    from ingest.decode import read_photo
    from ingest.errors import IngestError
    from ingest.mat import find_mat

    with suppress(IngestError):
        found = find_mat(read_photo(path), bar_mm=settings.bar_mm)
        if found is not None:
            return replace(layout, surround=tuple(found.surround.values()))
    return layout


async def picture_answer(
    visit: Visit, key: str, make: Callable[[], bytes], save: str | None = None
) -> Response:
    """The picture kept under ``key``, or made now, one at a time."""
    headers = {
        "Cache-Control": _NEVER_STALE,
        "ETag": f'"{key}"',
        "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": "default-src 'none'; sandbox",
    }
    if visit.request.headers.get("if-none-match") == headers["ETag"] and not save:
        return Response("", status=304, headers=headers)
    place = visit.folder / PICTURES
    body = await visit.work(_kept, place, key)
    if body is None:
        async with heavy(visit):
            body = await visit.work(_kept, place, key)
            if body is None:
                try:
                    body = await visit.work(make)
                except FileNotFoundError as error:
                    words = "a published copy holds small pictures only"
                    if not visit.studio.public:
                        words = "the photo's file is not in the archive: run verify"
                    raise NotFound(words) from error
                await visit.work(_keep, place, key, body)
    if save is not None:
        from urllib.parse import quote

        headers["Content-Disposition"] = f"attachment; filename*=UTF-8''{quote(save, safe='')}"
    return Response(body, headers=headers, content_type="image/jpeg")


def heavy(visit: Visit) -> asyncio.Lock:
    """One large picture in memory at a time, however many ask."""
    made: asyncio.Lock = visit.studio.state.setdefault("one large picture", asyncio.Lock())
    return made


def _kept(place: Path, key: str) -> bytes | None:
    try:
        return (place / f"{key}.jpg").read_bytes() or None
    except OSError:
        return None


def _keep(place: Path, key: str, body: bytes) -> None:
    from swatchvault.archive.files import remove_abandoned, whole_file

    with suppress(OSError):
        place.mkdir(exist_ok=True)
        with whole_file(place / f"{key}.jpg") as file:
            file.write(body)
        by_age = sorted(place.glob("*.jpg"), key=lambda p: p.stat().st_mtime, reverse=True)
        for old in by_age[KEPT:]:
            old.unlink(missing_ok=True)
        remove_abandoned(place)
