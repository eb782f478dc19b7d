"""A measurement set aside or taken back: the form on a swatch's and a photo's page, its refusal."""

from __future__ import annotations

import sqlite3
from typing import Any

from datasette import Response

from swatchvault.errors import NotFound, SwatchvaultError
from swatchvault.web.typed import whole
from swatchvault.web.visit import RefusedError, Visit


async def aside_page(visit: Visit) -> Response:
    """``/photos/<sha256>/aside?swatch=ID``: the form alone; a POST sets aside or takes back, and
    one that is refused comes back as it was typed."""
    sha256 = visit.part("sha256")
    if visit.request.method != "POST":
        return await _shown(visit, whole(visit.asked("swatch"), "the swatch"), "", "")
    form = await visit.form()
    swatch_id = whole(form.need("swatch", "the swatch"), "the swatch")
    back, typed = form.text("back"), form.text("because")
    wanted = form.text("take_back") != "yes"

    def work(conn: sqlite3.Connection) -> str:
        from swatchvault.archive.aside import set_aside, take_back

        if wanted:
            set_aside(conn, swatch_id, sha256, typed)
        else:
            take_back(conn, swatch_id, sha256)
        return f"/photos/{sha256}" if back == "photo" else f"/swatch/{swatch_id}#measured"

    try:
        return await visit.change(form, work, "Set aside." if wanted else "It counts again.")
    except (NotFound, RefusedError):
        raise
    except SwatchvaultError as error:
        if visit.wants_json:
            raise
        return await _shown(visit, swatch_id, typed, str(error))


async def _shown(visit: Visit, swatch_id: int, typed: str, words: str) -> Response:
    from swatchvault.archive.aside import aside_of

    found: Any = await visit.read(aside_of, swatch_id, visit.part("sha256"))
    values = {"found": found, "swatch_id": swatch_id, "typed": typed, "words": words}
    return await visit.page("sv_aside.html", values, 400 if words else 200)
