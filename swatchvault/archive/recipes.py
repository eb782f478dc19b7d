"""Recipes: a colourway on a base, in versions that are never rewritten."""

from __future__ import annotations

import sqlite3

from swatchvault.archive.entities import PlannedDye, PlannedStep, Recipe, RecipePart
from swatchvault.archive.names import find
from swatchvault.archive.planned import planned_columns, refuse_unreadable
from swatchvault.archive.rows import Entry, insert, transaction
from swatchvault.archive.schema_studio import STEP_KINDS
from swatchvault.archive.settings import spoons_of
from swatchvault.archive.values import clean, named, now
from swatchvault.errors import ArchiveError, NotFound


def add_recipe(conn: sqlite3.Connection, recipe: Recipe, *, as_kept: bool = False) -> Entry:
    """Store a recipe's version. The same again changes nothing; other contents are an error.

    ``as_kept``: as another archive keeps it, amounts that cannot be read (as they once were not
    refused) with the rest, their size unknown. Raises ``NotFound`` for an unknown colourway, base,
    dye or parent version, ``AmountError`` for an amount that cannot be read, and ``ArchiveError``
    if the version would come from itself through its parents.
    """
    wanted = _cleaned(recipe)
    with transaction(conn):
        colourway_id = find(conn, "colourway", recipe.colourway)
        base_id = find(conn, "base", recipe.base)
        known_id = _recipe_id(conn, colourway_id, base_id, recipe.version)
        if known_id is not None:
            if _contents(recipe_by_id(conn, known_id)) != _contents(wanted):
                raise ArchiveError(
                    f"version {recipe.version} of {recipe.colourway!r} on {recipe.base!r} is kept "
                    "with other contents: give the new one the next version number"
                )
            return Entry(known_id, "same")
        if not as_kept:
            refuse_unreadable(wanted)
        parent_id = _parent_id(conn, colourway_id, base_id, recipe)
        values = {
            "colourway_id": colourway_id,
            "base_id": base_id,
            "version": recipe.version,
            "parent_id": parent_id,
            "added_at": now(),
            "note": wanted.note,
        }
        recipe_id = insert(conn, "recipe", values)
        for position, part in enumerate(wanted.parts, 1):
            _add_part(conn, recipe_id, position, part)
        return Entry(recipe_id, "added")


def get_recipe(
    conn: sqlite3.Connection, colourway: str, base: str, version: int | None = None
) -> Recipe:
    """A recipe's version, the newest if not named. Raises :class:`NotFound` where there is none."""
    colourway_id, base_id = find(conn, "colourway", colourway), find(conn, "base", base)
    if version is None:
        version = next(iter(reversed(_versions(conn, colourway_id, base_id))), None)
    recipe_id = None if version is None else _recipe_id(conn, colourway_id, base_id, version)
    if recipe_id is None:
        raise NotFound(_no_version(conn, colourway_id, base_id, colourway, base, version))
    return recipe_by_id(conn, recipe_id)


def recipe_id_of(conn: sqlite3.Connection, colourway: str, base: str, version: int) -> int:
    """Id of a recipe's version, else ``NotFound`` naming the versions there are."""
    colourway_id, base_id = find(conn, "colourway", colourway), find(conn, "base", base)
    recipe_id = _recipe_id(conn, colourway_id, base_id, version)
    if recipe_id is None:
        raise NotFound(_no_version(conn, colourway_id, base_id, colourway, base, version))
    return recipe_id


def recipe_by_id(conn: sqlite3.Connection, recipe_id: int) -> Recipe:
    """The recipe with its parts, dyes and steps, in their order."""
    sql = (
        "SELECT colourway.name AS colourway, base.name AS base, recipe.version, recipe.note, "
        "parent.version AS parent, came.name AS parent_base "
        "FROM recipe JOIN colourway ON colourway.id = recipe.colourway_id "
        "JOIN base ON base.id = recipe.base_id LEFT JOIN recipe AS parent "
        "ON parent.id = recipe.parent_id LEFT JOIN base AS came "
        "ON came.id = parent.base_id AND came.id <> recipe.base_id WHERE recipe.id = ?"
    )
    row = conn.execute(sql, (recipe_id,)).fetchone()
    parts = conn.execute(
        "SELECT * FROM recipe_part WHERE recipe_id = ? ORDER BY position", (recipe_id,)
    ).fetchall()
    return Recipe(
        colourway=row["colourway"],
        base=row["base"],
        version=row["version"],
        parent=row["parent"],
        parts=tuple(_part(conn, part) for part in parts),
        note=row["note"],
        parent_base=row["parent_base"],
    )


def versions_of(conn: sqlite3.Connection, colourway: str, base: str) -> list[int]:
    """The versions that a colourway has on a base, oldest first; ``NotFound`` for unknown names."""
    return _versions(conn, find(conn, "colourway", colourway), find(conn, "base", base))


def same_recipe(one: Recipe, other: Recipe) -> bool:
    """Whether two plan the same from the same parent, their notes left aside."""
    return _contents(_cleaned(one)) == _contents(_cleaned(other))


def check_kind(kind: str) -> str:
    """The kind of a step, if it is one of ours: :class:`ArchiveError` else."""
    cleaned = named(kind, "kind of a step").casefold()
    if cleaned not in STEP_KINDS:
        raise ArchiveError(f"unknown kind of step {kind!r}: use one of {', '.join(STEP_KINDS)}")
    return cleaned


def _add_part(conn: sqlite3.Connection, recipe_id: int, position: int, part: RecipePart) -> None:
    values = {
        "recipe_id": recipe_id,
        "position": position,
        "name": part.name,
        "share_percent": part.share_percent,
        "note": part.note,
    }
    part_id, spoons = insert(conn, "recipe_part", values), spoons_of(conn)
    for place, dye in enumerate(part.dyes, 1):
        line = {
            "recipe_part_id": part_id,
            "position": place,
            "dye_id": find(conn, "dye", dye.dye),
            "depth_percent": dye.depth_percent,
        }
        insert(conn, "recipe_dye", line)
    for place, step in enumerate(part.steps, 1):
        planned = {
            "recipe_part_id": part_id,
            "position": place,
            "kind": step.kind,
            "temperature_c": step.temperature_c,
            "minutes": step.minutes,
            "note": step.note,
            **planned_columns(step.amount, spoons),
        }
        insert(conn, "recipe_step", planned)


def _part(conn: sqlite3.Connection, row: sqlite3.Row) -> RecipePart:
    dyes = conn.execute(
        "SELECT dye.name, depth_percent FROM recipe_dye JOIN dye ON dye.id = dye_id "
        "WHERE recipe_part_id = ? ORDER BY position",
        (row["id"],),
    )
    steps = conn.execute(
        "SELECT kind, amount, temperature_c, minutes, note FROM recipe_step "
        "WHERE recipe_part_id = ? ORDER BY position",
        (row["id"],),
    )
    return RecipePart(
        name=row["name"],
        share_percent=row["share_percent"],
        dyes=tuple(PlannedDye(*r) for r in dyes),
        steps=tuple(PlannedStep(*r) for r in steps),
        note=row["note"],
    )


def _parent_id(
    conn: sqlite3.Connection, colourway_id: int, base_id: int, recipe: Recipe
) -> int | None:
    if recipe.parent is None:
        return None
    came_from = recipe.parent_base or recipe.base
    parent_base_id = find(conn, "base", came_from)
    if recipe.parent == recipe.version and parent_base_id == base_id:
        raise ArchiveError(
            f"version {recipe.version} of {recipe.colourway!r} on {recipe.base!r} would come from "
            "itself: name the earlier version it came from, or none"
        )
    parent_id = _recipe_id(conn, colourway_id, parent_base_id, recipe.parent)
    if parent_id is None:
        named = (recipe.colourway, came_from, recipe.parent)
        raise NotFound(
            _no_version(conn, colourway_id, parent_base_id, *named)
            + "; add the version it came from first"
        )
    return parent_id


def _recipe_id(
    conn: sqlite3.Connection, colourway_id: int, base_id: int, version: int
) -> int | None:
    sql = "SELECT id FROM recipe WHERE colourway_id = ? AND base_id = ? AND version = ?"
    row = conn.execute(sql, (colourway_id, base_id, version)).fetchone()
    return None if row is None else int(row[0])


def _versions(conn: sqlite3.Connection, colourway_id: int, base_id: int) -> list[int]:
    sql = "SELECT version FROM recipe WHERE colourway_id = ? AND base_id = ? ORDER BY version"
    return [r[0] for r in conn.execute(sql, (colourway_id, base_id))]


def _no_version(
    conn: sqlite3.Connection,
    colourway_id: int,
    base_id: int,
    colourway: str,
    base: str,
    version: int | None,
) -> str:
    have = _versions(conn, colourway_id, base_id)
    what = "no recipe" if version is None else f"no version {version}"
    there = f"there are versions {', '.join(map(str, have))}" if have else "there is none yet"
    said = f"{what} of {colourway!r} on {base!r}: {there}"
    return said if have else said + _elsewhere(conn, colourway_id, base_id)


def _elsewhere(conn: sqlite3.Connection, colourway_id: int, base_id: int) -> str:
    """On which bases a colourway has a recipe, and how it is taken over from there; or ""."""
    sql = (
        "SELECT DISTINCT base.name FROM recipe JOIN base ON base.id = base_id "
        "WHERE colourway_id = ? ORDER BY base.name"
    )
    bases = [str(row[0]) for row in conn.execute(sql, (colourway_id,))]
    if not bases:
        return ""
    sql = (
        "SELECT colourway.name, base.name FROM colourway, base "
        "WHERE colourway.id = ? AND base.id = ?"
    )
    colourway, base = conn.execute(sql, (colourway_id, base_id)).fetchone()
    return (
        f"; it is there on {' and '.join(map(repr, bases))}, and is taken over by "
        f'`swatchvault revise "{colourway}" "{bases[0]}" --onto "{base}"`'
    )


def _cleaned(recipe: Recipe) -> Recipe:
    """The same recipe with its words as they will be stored, so that two can be compared."""
    parent_base = clean(recipe.parent_base, "parent_base")
    if parent_base is not None and recipe.parent is None:
        raise ArchiveError(
            f"version {recipe.version} of {recipe.colourway!r} on {recipe.base!r} names the base "
            f"{parent_base!r} that it came from, but not the version: give its parent too"
        )
    if (parent_base or "").casefold() == (clean(recipe.base, "base") or "").casefold():
        parent_base = None
    parts = tuple(
        RecipePart(
            name=named(part.name, "name of a recipe's part"),
            share_percent=float(part.share_percent),
            dyes=tuple(PlannedDye(d.dye, float(d.depth_percent)) for d in part.dyes),
            steps=tuple(
                PlannedStep(
                    kind=check_kind(step.kind),
                    amount=clean(step.amount, "amount"),
                    temperature_c=step.temperature_c,
                    minutes=step.minutes,
                    note=clean(step.note, "note"),
                )
                for step in part.steps
            ),
            note=clean(part.note, "note"),
        )
        for part in recipe.parts
    )
    return Recipe(
        recipe.colourway,
        recipe.base,
        recipe.version,
        recipe.parent,
        parts,
        clean(recipe.note, "note"),
        parent_base,
    )


def _contents(recipe: Recipe) -> object:
    """What must not change under a version number: all but its note, names without case."""
    return (
        recipe.parent,
        (recipe.parent_base or "").casefold(),
        tuple(
            (
                part.name.casefold(),
                part.share_percent,
                tuple((" ".join(d.dye.casefold().split()), d.depth_percent) for d in part.dyes),
                tuple((s.kind, s.amount, s.temperature_c, s.minutes) for s in part.steps),
            )
            for part in recipe.parts
        ),
    )
