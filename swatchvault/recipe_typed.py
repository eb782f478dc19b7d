"""A recipe as it is typed into a form, to a recipe or to all that is wrong with it: pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, TypeVar

from swatchvault.errors import SwatchvaultError
from swatchvault.revision import read_depth, read_step

if TYPE_CHECKING:
    from swatchvault.archive.entities import PlannedDye, Recipe

T = TypeVar("T")

#: Rows for dyes in the form; our choice. Recipes of more are written in studio.toml.
DYE_ROWS = 6


@dataclass(frozen=True)
class TypedRecipe:
    """What was typed. ``colourway``: one that was chosen; ``new_colourway``: the name of a new one.

    ``dyes``: name and depth of shade in % of the goods, row by row; ``steps``: one a line, as
    ``revise --step`` takes them. ``came_from``: number of the recipe that the form began with.
    """

    colourway: str = ""
    new_colourway: str = ""
    base: str = ""
    dyes: tuple[tuple[str, str], ...] = ()
    steps: str = ""
    note: str = ""
    came_from: str = ""

    @property
    def rows(self) -> tuple[tuple[str, str], ...]:
        """Rows of dyes as the form has them, blank ones at the end."""
        return (*self.dyes, *((("", ""),) * (DYE_ROWS - len(self.dyes))))


@dataclass(frozen=True)
class ReadRecipe:
    """A recipe of one part, ``None`` where there are ``problems``: a sentence each."""

    recipe: Recipe | None
    problems: tuple[str, ...] = ()


def read_recipe(typed: TypedRecipe) -> ReadRecipe:
    """The recipe that was typed, its version still to be given; else everything that is wrong.

    Names are not looked up here: whether the archive has them is its own to say.
    """
    from swatchvault.archive.entities import Recipe, RecipePart

    problems: list[str] = []

    def tried(read: Callable[[], T], where: str) -> T | None:
        try:
            return read()
        except SwatchvaultError as error:
            problems.append(f"{where}: {error}.")
            return None

    if not (typed.colourway or typed.new_colourway):
        problems.append("Which colourway: choose one, or name a new one.")
    if typed.colourway and typed.new_colourway:
        problems.append(
            f"The colourway is {typed.colourway} or the new {typed.new_colourway}: choose none in "
            "the list, or leave the new name blank."
        )
    if not typed.base:
        problems.append("Which base: choose one.")
    dyes = _dyes(typed, problems, tried)
    lines = [(n, line.strip()) for n, line in enumerate(typed.steps.splitlines(), 1)]
    steps = [tried(partial(read_step, t), f"Line {n} of the steps") for n, t in lines if t]
    if problems:
        return ReadRecipe(None, tuple(problems))
    part = RecipePart(dyes=tuple(dyes), steps=tuple(s for s in steps if s is not None))
    name = typed.colourway or typed.new_colourway
    return ReadRecipe(Recipe(name, typed.base, parts=(part,), note=typed.note or None))


def _dyes(
    typed: TypedRecipe,
    problems: list[str],
    tried: Callable[[Callable[[], float], str], float | None],
) -> list[PlannedDye]:
    from swatchvault.archive.entities import PlannedDye

    dyes: list[PlannedDye] = []
    for row, (dye, depth) in enumerate(typed.dyes, 1):
        if depth and not dye:
            problems.append(f"Dye {row}: {depth} % of which dye? Choose it.")
        elif dye and not depth:
            problems.append(f"Dye {row}: the depth of {dye} is missing, in % of the dry goods.")
        elif dye in {d.dye for d in dyes}:
            problems.append(f"Dye {row}: {dye} is there twice: write its whole depth once.")
        elif dye:
            read = tried(partial(read_depth, dye, depth), f"Dye {row}")
            dyes.append(PlannedDye(dye, read or 0.0))
    if not any(dye or depth for dye, depth in typed.dyes):
        problems.append("No dye: choose one at least, with its depth of shade.")
    return dyes


def typed_of(recipe: Recipe) -> TypedRecipe | None:
    """A recipe as it would be typed, for its next version.

    ``None`` for one that the form cannot hold whole: of several parts, of more dyes than it has
    rows for, or with steps that would not be read as they are.
    """
    from swatchvault.archive.entities import RecipePart
    from swatchvault.recipe_sheet import planned_words

    if len(recipe.parts) != 1:
        return None
    (part,) = recipe.parts
    typed = TypedRecipe(
        recipe.colourway,
        "",
        recipe.base,
        tuple((d.dye, f"{d.depth_percent!r}".removesuffix(".0")) for d in part.dyes),
        "\n".join(planned_words(step) for step in part.steps),
    )
    try:
        again = read_recipe(typed).recipe
    except SwatchvaultError:
        return None
    whole = RecipePart(dyes=part.dyes, steps=part.steps)
    fits = again is not None and again.parts == (part,) == (whole,)
    return typed if fits and len(part.dyes) <= DYE_ROWS else None
