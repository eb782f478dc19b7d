"""A recipe's sheet as it is asked of an archive, for the command and the pages alike."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from swatchvault.archive import Recipe, get_recipe, next_time, recipe_colour, spoons_of
from swatchvault.archive.new_recipe import repeats
from swatchvault.errors import ArchiveError
from swatchvault.measuring import SMALLEST_ML
from swatchvault.other_base import other_base_lines
from swatchvault.pot import plan_pot
from swatchvault.potwork import choose_stocks, local_now
from swatchvault.recipe_sheet import RecipeSheet, recipe_changes


@dataclass(frozen=True)
class SheetAsked:
    """What is asked of a recipe: dry goods in g, the liquor ratio in mL/g, the version on its base
    that it is set against (``None``: its parent, on whichever base), the stock of each dye that is
    named (``None``: weighed), and the least volume in mL that can be measured well."""

    goods_g: float
    ratio: float | None = None
    against: int | None = None
    sources: Mapping[str, str | None] = field(default_factory=dict)
    smallest_ml: float = SMALLEST_ML


def sheet_of(
    conn: sqlite3.Connection, thumbs: Path, recipe: Recipe, asked: SheetAsked
) -> RecipeSheet:
    """The sheet of a stored recipe. ``thumbs``: the archive's folder of small pictures.

    Raises ``SwatchvaultError`` for amounts, stocks or versions that cannot be.
    """
    older = _set_against(conn, recipe, asked.against)
    chosen = choose_stocks(conn, recipe, asked.goods_g, asked.sources, need=False)
    colour = recipe_colour(conn, recipe.colourway, recipe.base, recipe.version)
    thumb = None if colour is None else thumbs / f"{colour.photo_sha256}.jpg"
    return RecipeSheet(
        recipe=recipe,
        plan=plan_pot(
            recipe,
            asked.goods_g,
            chosen,
            today=local_now().date(),
            liquor_ratio=asked.ratio,
            smallest_ml=asked.smallest_ml,
            spoons=spoons_of(conn),
        ),
        changes=None if older is None else tuple(recipe_changes(older, recipe)),
        against=None if older is None else older.version,
        against_base=None if older is None or older.base == recipe.base else older.base,
        lab=None if colour is None else colour.lab,
        lab_of=None if colour is None else f"swatch {colour.swatch} of lot {colour.lot}",
        u_lab=None if colour is None else colour.u_lab,
        thumb=thumb.read_bytes() if thumb is not None and thumb.is_file() else None,
        to_try=next_time(conn, recipe.colourway, recipe.base),
        other_base=other_base_lines(conn, recipe),
        again=repeats(conn, recipe),
    )


def _set_against(conn: sqlite3.Connection, recipe: Recipe, version: int | None) -> Recipe | None:
    if version is None:
        base, version = recipe.parent_base or recipe.base, recipe.parent
        return None if version is None else get_recipe(conn, recipe.colourway, base, version)
    older = get_recipe(conn, recipe.colourway, recipe.base, version)
    if older.version == recipe.version:
        raise ArchiveError(
            f"version {version} of {recipe.colourway!r} on {recipe.base!r} would be set against "
            "itself: name another version to set it against, or none for the one it came from"
        )
    return older
