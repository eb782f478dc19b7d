"""A recipe stored as the newest version of its colourway on its base, whichever number that is."""

from __future__ import annotations

import sqlite3
from dataclasses import replace

from swatchvault.archive.entities import Colourway, PlannedDye, Recipe
from swatchvault.archive.listing import query
from swatchvault.archive.names import find
from swatchvault.archive.recipes import (
    add_recipe,
    get_recipe,
    recipe_by_id,
    same_recipe,
    versions_of,
)
from swatchvault.archive.rows import Entry, transaction
from swatchvault.archive.studio import add_colourway
from swatchvault.errors import ArchiveError, NotFound

_NEWEST = (
    "SELECT max(version) AS version FROM recipe WHERE colourway_id = :colourway AND base_id = :base"
)


def add_next_version(
    conn: sqlite3.Connection,
    recipe: Recipe,
    *,
    new_colourway: bool = False,
    came_from: int | None = None,
) -> Entry:
    """Store ``recipe`` as the version after the newest, from which it then comes; 1 if it is first.

    The first one on its base comes from the recipe of the number ``came_from``, if that is of the
    same colourway. ``new_colourway``: make its colourway too. Raises ``ArchiveError`` where that is
    there already and where nothing differs from the newest version, ``NotFound`` for an unknown
    name.
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
            planned = replace(recipe, parent=before.parent, parent_base=before.parent_base)
            if same_recipe(before, planned):
                raise ArchiveError(
                    f"nothing differs from version {newest} of {before.colourway!r} on "
                    f"{before.base!r}: change a dye, a depth or a step"
                )
        elif came_from is not None:
            first = recipe_by_id(conn, came_from)
            if find(conn, "colourway", first.colourway) == ids["colourway"]:
                return add_recipe(
                    conn, replace(recipe, version=1, parent=first.version, parent_base=first.base)
                )
        return add_recipe(conn, replace(recipe, version=(newest or 0) + 1, parent=newest))


def repeats(conn: sqlite3.Connection, recipe: Recipe) -> int | None:
    """The earliest version before ``recipe``, on its base, that plans the same; ``None`` if none.

    The order of its dyes, its notes and where it came from are left aside, and depths are held to
    each other by four figures, as what went into a lot is told.
    """
    of = (recipe.colourway, recipe.base)
    plan = _alike(recipe, recipe)
    for version in sorted(v for v in versions_of(conn, *of) if v < recipe.version):
        if same_recipe(plan, _alike(get_recipe(conn, *of, version), plan)):
            return version
    return None


def _alike(recipe: Recipe, other: Recipe) -> Recipe:
    """A recipe with what may differ of two that plan the same, its parents, as in ``other``."""
    parts = []
    for part in recipe.parts:
        dyes = [PlannedDye(d.dye, float(f"{d.depth_percent:.4g}")) for d in part.dyes]
        parts.append(replace(part, dyes=tuple(sorted(dyes, key=lambda d: d.dye.casefold()))))
    return replace(recipe, parts=tuple(parts), parent=other.parent, parent_base=other.parent_base)


def _make_colourway(conn: sqlite3.Connection, name: str) -> None:
    try:
        known = find(conn, "colourway", name)
    except NotFound:
        known = None
    if known is not None:
        raise ArchiveError(f"the colourway {name!r} is there already: choose it in the list")
    add_colourway(conn, Colourway(name))
