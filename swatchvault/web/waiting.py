"""Photos that were sent and not kept yet: listed where photos are added, and thrown away."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from datasette import Response

from swatchvault.web import incoming
from swatchvault.web.glass import page_of
from swatchvault.web.visit import Visit


@dataclass(frozen=True)
class Waiting:
    """A photo that waits. ``until``: when it is removed, ISO 8601; ``name``: as it was sent;
    ``go``: the page where it is gone on with."""

    sha256: str
    name: str
    until: str
    go: str


def waits(folder: Path) -> list[Waiting]:
    """The photos that wait to be kept, the one that was touched last first."""
    found = []
    for place, touched in incoming.places(folder):
        path, ends = (
            incoming.waiting(folder, place.name),
            incoming.ends_at(folder, place, touched),
        )
        if path is None or ends < time.time():
            continue
        until = datetime.fromtimestamp(ends, UTC).isoformat(timespec="seconds")
        draft = incoming.draft(folder, place.name)
        step = "shows" if "marks" in draft else "mark"
        go = page_of(draft) or f"/photos/{place.name}/{step}"
        found.append(Waiting(place.name, path.name, until, go))
    return sorted(found, key=lambda w: w.until, reverse=True)


async def drop_page(visit: Visit) -> Response:
    """``/photos/<sha256>/drop``: posted, a photo that waits is thrown away; one that is filed is
    not touched. ``?to=pot``: back to the pot whose liquor it shows."""
    go = "/photos/new"
    if visit.request.method == "POST":
        sha256 = visit.part("sha256")
        if await visit.work(incoming.waiting, visit.folder, sha256) is not None:
            draft = await visit.work(incoming.draft, visit.folder, sha256)
            go = (page_of(draft) if visit.asked("to") == "pot" else "") or go
            await visit.work(incoming.forget, visit.folder, sha256)
    return visit.go(go)
