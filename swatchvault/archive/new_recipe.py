"""A recipe stored as the newest version of its colourway on its base, whichever number that is."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

from swatchvault.archive.entities import Colourway, Recipe
from swatchvault.archive.listing import query
from swatchvault.archive.recipes import add_recipe, get_recipe, same_recipe
from swatchvault.archive.rows import Entry, find, transaction
from swatchvault.archive.studio import add_colourway
from swatchvault.errors import ArchiveError, NotFound

_NEWEST = (
    "SELECT max(version) AS version FROM recipe WHERE colourway_id = :colourway AND base_id = :base"
)


def add_next_version(
    conn: sqlite3.Connection, recipe: Recipe, *, new_colourway: bool = False
) -> Entry:
    """Store ``recipe`` as the version after the newest, from which it then comes; 1 if it is first.

    ``new_colourway``: make its colourway too. Raises ``ArchiveError`` where that is there already
    and where nothing differs from the newest version, ``NotFound`` for an unknown name.
    """
    with transaction(conn):
        if new_colourway:
            _make_colourway(conn, recipe.colourway)
        ids = {
            "colourway": find(conn, "colourway", recipe.colourway),
            "base": find(conn, "base", recipe.base),
        }
        newest = query(conn, _NEWEST, ids).records()[0]["version"]
        if newest is not None:
            before = get_recipe(conn, recipe.colourway, recipe.base, newest)
            if same_recipe(before, replace(recipe, parent=before.parent)):
                raise ArchiveError(
                    f"nothing differs from version {newest} of {before.colourway!r} on "
                    f"{before.base!r}: change a dye, a depth or a step"
                )
        return add_recipe(conn, replace(recipe, version=(newest or 0) + 1, parent=newest))


def _make_colourway(conn: sqlite3.Connection, name: str) -> None:
    try:
        known = find(conn, "colourway", name)
    except NotFound:
        known = None
    if known is not None:
        raise ArchiveError(f"the colourway {name!r} is there already: choose it in the list")
    add_colourway(conn, Colourway(name))
