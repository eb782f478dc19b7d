"""A recipe as it is typed into a form, to a recipe or to all that is wrong with it: pure."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, TypeVar

from swatchvault.amounts import check_number
from swatchvault.errors import SwatchvaultError
from swatchvault.revision import read_depth, read_step
from swatchvault.typed_numbers import read_percent

if TYPE_CHECKING:
    from swatchvault.archive.entities import PlannedDye, Recipe, RecipePart

T = TypeVar("T")

#: Rows for dyes of a part in the form, and most parts; our choice. Recipes of more are written in
#: studio.toml.
DYE_ROWS = 6
MOST_PARTS = 6

#: What a part that says neither name nor share is: all of the goods, as `RecipePart` has it.
_WHOLE = ("whole", "100")


@dataclass(frozen=True)
class TypedPart:
    """What was typed of a part. ``name`` and ``share`` in % may be blank where it is the only one.

    ``dyes``: name and depth of shade in % of the part's goods, row by row; ``steps``: one a line,
    as ``revise --step`` takes them.
    """

    name: str = ""
    share: str = ""
    dyes: tuple[tuple[str, str], ...] = ()
    steps: str = ""
    note: str = ""

    @property
    def rows(self) -> tuple[tuple[str, str], ...]:
        """Rows of dyes as the form has them, blank ones at the end."""
        return (*self.dyes, *((("", ""),) * (DYE_ROWS - len(self.dyes))))

    @property
    def filled(self) -> int:
        """Rows of dyes up to the last one that says something."""
        return max((n for n, row in enumerate(self.dyes, 1) if any(row)), default=0)

    @property
    def blank(self) -> bool:
        """Whether nothing was typed."""
        words = (self.name, self.share, self.steps.strip(), self.note)
        return not any(words) and not self.filled


@dataclass(frozen=True)
class TypedRecipe:
    """What was typed. ``colourway``: one that was chosen; ``new_colourway``: the name of a new one.

    ``came_from``: number of the recipe that the form began with; ``done_in``: of the lot whose
    dyes it began with.
    """

    colourway: str = ""
    new_colourway: str = ""
    base: str = ""
    parts: tuple[TypedPart, ...] = (TypedPart(),)
    note: str = ""
    came_from: str = ""
    done_in: str = ""

    @property
    def simple(self) -> bool:
        """Whether its one part is the whole goods, so that the form asks neither name nor share."""
        first, *more = self.parts
        told = (first.name or _WHOLE[0], first.share or _WHOLE[1])
        return not more and told == _WHOLE and not first.note

    def with_another(self) -> TypedRecipe:
        """The same with a blank part at the end; a first part without name and share gets them."""
        first, *more = self.parts
        if self.simple:
            first = replace(first, name=_WHOLE[0], share=_WHOLE[1])
        return replace(self, parts=(first, *more, TypedPart()))

    def without(self, number: int) -> TypedRecipe:
        """The same without a part, counted from 1; the last one stays."""
        left = tuple(part for n, part in enumerate(self.parts, 1) if n != number)
        return replace(self, parts=left or self.parts)


@dataclass(frozen=True)
class ReadRecipe:
    """A recipe, ``None`` where there are ``problems``: a sentence each."""

    recipe: Recipe | None
    problems: tuple[str, ...] = ()


def read_recipe(typed: TypedRecipe) -> ReadRecipe:
    """The recipe that was typed, its version still to be given; else everything that is wrong.

    Names are not looked up here: whether the archive has them is its own to say.
    """
    from swatchvault.archive.entities import Recipe

    problems: list[str] = []
    if not (typed.colourway or typed.new_colourway):
        problems.append("Which colourway: choose one, or name a new one.")
    if typed.colourway and typed.new_colourway:
        problems.append(
            f"The colourway is {typed.colourway} or the new {typed.new_colourway}: choose none in "
            "the list, or leave the new name blank."
        )
    if not typed.base:
        problems.append("Which base: choose one.")
    if len(typed.parts) > MOST_PARTS:
        problems.append(f"There are {len(typed.parts)} parts: {MOST_PARTS} is the most here.")
    several = len(typed.parts) > 1
    parts = [
        _PartReader(problems, n if several else None).read(part)
        for n, part in enumerate(typed.parts, 1)
    ]
    problems += _called_alike(parts)
    if not any(part.filled for part in typed.parts):
        problems.append("No dye: choose one at least, with its depth of shade.")
    if problems:
        return ReadRecipe(None, tuple(problems))
    name = typed.colourway or typed.new_colourway
    return ReadRecipe(Recipe(name, typed.base, parts=tuple(parts), note=typed.note or None))


def _called_alike(parts: list[RecipePart]) -> list[str]:
    names = [part.name.casefold() for part in parts]
    return [
        f"Part {n} is called {part.name}, and so is part {names.index(part.name.casefold()) + 1}: "
        "give each a name of its own."
        for n, part in enumerate(parts, 1)
        if part.name and part.name.casefold() in names[: n - 1]
    ]


@dataclass(frozen=True)
class _PartReader:
    """Reads one part and tells ``problems`` of all that is wrong in it; ``number`` of several."""

    problems: list[str]
    number: int | None

    def read(self, typed: TypedPart) -> RecipePart:
        """The part, as far as it can be read; blank name where that is wrong."""
        from swatchvault.archive.entities import RecipePart

        if self.number is not None and typed.blank:
            self.problems.append(f"Part {self.number} is blank: fill it in, or remove it.")
            return RecipePart("")
        name = self._tried(partial(_read_name, typed.name, self.number), "") or ""
        share = self._tried(partial(_read_share, typed.share, self.number), "") or 100.0
        dyes = self._dyes(typed)
        lines = [(n, line.strip()) for n, line in enumerate(typed.steps.splitlines(), 1)]
        steps = [
            self._tried(partial(read_step, line), f"line {n} of the steps")
            for n, line in lines
            if line
        ]
        done = tuple(step for step in steps if step is not None)
        return RecipePart(name, share, tuple(dyes), done, typed.note or None)

    def _tried(self, read: Callable[[], T], where: str) -> T | None:
        try:
            return read()
        except SwatchvaultError as error:
            self._say(where, f"{error}.")
            return None

    def _say(self, where: str, words: str) -> None:
        part = "" if self.number is None else f"part {self.number}"
        said = ": ".join(filter(None, (", ".join(filter(None, (part, where))), words)))
        self.problems.append(said[0].upper() + said[1:])

    def _dyes(self, typed: TypedPart) -> list[PlannedDye]:
        from swatchvault.archive.entities import PlannedDye

        dyes: list[PlannedDye] = []
        for row, (dye, depth) in enumerate(typed.dyes, 1):
            where = f"dye {row}"
            if depth and not dye:
                self._say(where, f"{depth} % of which dye? Choose it.")
            elif dye and not depth:
                self._say(where, f"the depth of {dye} is missing, in % of the dry goods.")
            elif dye in {d.dye for d in dyes}:
                self._say(where, f"{dye} is there twice: write its whole depth once.")
            elif dye:
                read = self._tried(partial(read_depth, dye, depth), where)
                dyes.append(PlannedDye(dye, read or 0.0))
        return dyes


def _read_name(text: str, number: int | None) -> str:
    from swatchvault.archive.values import check_length, named

    if number is None and not text:
        return _WHOLE[0]
    if not text:
        raise SwatchvaultError("its name is missing: such as whole, dipped end or sprinkled red")
    check_length(text, "its name")
    return named(text, "its name")


def _read_share(text: str, number: int | None) -> float:
    if number is None and not text:
        return float(_WHOLE[1])
    if not text:
        raise SwatchvaultError("its share is missing: write it in % of all the dry goods")
    share = read_percent(text, "its share", "write it in % of all the dry goods, such as 25")
    return check_number("its share of the goods", share, unit="%", above=0.0, high=100.0)


def typed_of(recipe: Recipe) -> TypedRecipe | None:
    """A recipe as it would be typed, for its next version.

    ``None`` for one that the form cannot hold whole: of more parts than it has, of more dyes than
    it has rows for, or with steps that would not be read as they are.
    """
    if not recipe.parts or any(len(part.dyes) > DYE_ROWS for part in recipe.parts):
        return None
    typed = TypedRecipe(
        recipe.colourway, "", recipe.base, tuple(_typed_part(part) for part in recipe.parts)
    )
    again = read_recipe(typed).recipe
    return typed if again is not None and again.parts == recipe.parts else None


def _typed_part(part: RecipePart) -> TypedPart:
    from swatchvault.recipe_sheet import planned_words

    return TypedPart(
        part.name,
        _figure(part.share_percent),
        tuple((dye.dye, _figure(dye.depth_percent)) for dye in part.dyes),
        "\n".join(planned_words(step) for step in part.steps),
        part.note or "",
    )


def _figure(number: float) -> str:
    """A number in full, so that it is read as it was."""
    return f"{number!r}".removesuffix(".0")
