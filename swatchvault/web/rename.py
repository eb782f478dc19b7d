"""A name mended: the form on the page of a colourway, lot, swatch, base or dye, and its refusal."""

from __future__ import annotations

import sqlite3
from typing import Any

from datasette import Response

from swatchvault.errors import NotFound, SwatchvaultError
from swatchvault.web.said import NOTHING_TYPED
from swatchvault.web.typed import row_id
from swatchvault.web.visit import RefusedError, Visit


async def name_page(visit: Visit) -> Response:
    """The form alone; a POST mends the name, and one that is refused comes back as it was typed."""
    kind, number = visit.part("kind"), row_id(visit)
    if visit.request.method != "POST":
        return await _shown(visit, "", "")
    form = await visit.form()
    name = form.text("name")

    def work(conn: sqlite3.Connection) -> str:
        from swatchvault.archive.rename import rename

        if not rename(conn, kind, number, name).changed:
            raise RefusedError(NOTHING_TYPED)
        return f"/{kind}/{number}"

    try:
        return await visit.change(form, work, "The name is mended.")
    except NotFound:
        raise
    except SwatchvaultError as error:
        if visit.wants_json:
            raise
        return await _shown(visit, name, str(error))


async def _shown(visit: Visit, typed: str, words: str) -> Response:
    kind, number = visit.part("kind"), row_id(visit)
    values = {**await visit.read(_values, kind, number), "typed": typed, "words": words}
    return await visit.page("sv_name.html", values, 400 if words else 200)


def _values(conn: sqlite3.Connection, kind: str, number: int) -> dict[str, Any]:
    from swatchvault.archive.rename import earlier_names, name_of

    return {
        "kind": kind,
        "number": number,
        "name": name_of(conn, kind, number),
        "earlier": earlier_names(conn, kind, number).records(),
    }
