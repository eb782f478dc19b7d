"""The next version of a recipe from the one before: pure."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from swatchvault.amounts import UNITS
from swatchvault.errors import SwatchvaultError
from swatchvault.planned_amounts import OF_GOODS, is_measure, planned_amount, strength_of
from swatchvault.typed_numbers import read_number, read_percent

if TYPE_CHECKING:
    from swatchvault.archive.entities import PlannedStep, Recipe, RecipePart

_TEMPERATURE = re.compile(r"(-?[0-9]+(?:[.,][0-9]+)?) ?°? ?C", re.IGNORECASE)
_MINUTES = re.compile(r"([0-9]+(?:[.,][0-9]+)?) ?min(?:utes?)?", re.IGNORECASE)
_BARE = re.compile(r"[0-9]+(?:[.,][0-9]+)?")
# Where commas are left out: what may follow the kind, with the small words that people put before.
_UNITS = "|".join(map(re.escape, UNITS))
_AMOUNT = rf"[0-9]+(?:[.,/][0-9]+)? ?(?:%(?: {OF_GOODS})?|(?:{_UNITS})(?: per 100 ?g)?)"
_NEXT = re.compile(
    rf"(?:at |for |to |up to )?({_TEMPERATURE.pattern}|{_MINUTES.pattern}|{_AMOUNT})(?= |$)",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Changes:
    """What is to change in one part of a recipe; ``part`` may be left out where there is one.

    ``depths``: new depth of each dye in %, ``None`` drops it; with ``only_these`` all other dyes
    go. ``steps`` by their number in the recipe, counted through all parts, ``None`` drops one;
    ``added`` steps come before the step of their number, or last where it is ``None``. ``onto``:
    another base, whose first version it is to be.
    """

    part: str | None = None
    share_percent: float | None = None
    depths: Mapping[str, float | None] = field(default_factory=dict)
    only_these: bool = False
    steps: Mapping[int, PlannedStep | None] = field(default_factory=dict)
    added: tuple[tuple[int | None, PlannedStep], ...] = ()
    note: str | None = None
    onto: str | None = None


def read_step(text: str) -> PlannedStep:
    """A planned step as it is shown: ``acid in, 2 %, 85 °C, 30 min, white vinegar``.

    The kind comes first; the rest may be left out. What is no temperature, time or amount is the
    note. After the kind a comma may be missing (``hold 85 C 30 min``), and so may the "in" of what
    goes in. A percentage and a name (``5 % vinegar``) is the note of another amount (``60 mL``).
    Raises :class:`SwatchvaultError` for a number without a unit, and for two amounts.
    """
    from swatchvault.archive.entities import PlannedStep
    from swatchvault.archive.recipes import check_kind

    first, *more = (word.strip() for word in text.split(", "))
    kind, *rest = (*_without_commas(first), *more)
    amount = temperature = minutes = None
    note: list[str] = []
    strength = None
    for word in rest:
        if temperature is None and (found := _TEMPERATURE.fullmatch(word)):
            temperature = read_number(found[1], "the temperature")
        elif minutes is None and (found := _MINUTES.fullmatch(word)):
            minutes = read_number(found[1], "the time in minutes")
        elif amount is None and not note and _BARE.fullmatch(word):
            raise SwatchvaultError(
                f"{word} of what? Write its unit: {word} C, {word} min, {word} %, {word} g or "
                f"{word} mL"
            )
        elif is_measure(word):
            if amount is not None:
                raise SwatchvaultError(
                    f"{amount} and {word} are two amounts of one step: write one, and a strength "
                    "with the name, such as 20 mL of 56 % acetic acid"
                )
            amount = word
        elif amount is None and not note and strength_of(word):
            strength = word
            note.append(word)
        elif amount is None and not note and any(c.isnumeric() for c in word):
            planned_amount(word)  # refuses a number without a unit
            amount = word
        else:
            note.append(word)
    if amount is None and strength:
        planned_amount(strength)  # refuses it, for it can be read in two ways
    return PlannedStep(check_kind(kind), amount, temperature, minutes, ", ".join(note) or None)


def _without_commas(first: str) -> list[str]:
    """A kind of step and what follows it without a comma, as the words it would be with commas.

    An amount keeps what it is of (``20 mL of 56 % acetic acid``), a percentage the name beside it.
    What begins with no kind of step is left as it is, to be refused.
    """
    from swatchvault.archive.schema_studio import STEP_KINDS

    said = " ".join(first.split())
    names = [(name, kind) for kind in STEP_KINDS for name in (kind, kind.removesuffix(" in"))]
    for name, kind in sorted(names, key=lambda found: -len(found[0])):
        if not f"{said} ".casefold().startswith(f"{name} "):
            continue
        words, left = [kind], said[len(name) :].strip()
        while found := _NEXT.match(left):
            after = left[found.end() :].strip()
            named = found[1].endswith("%") and not _NEXT.match(after)
            if after and (named or after.startswith("of ")):
                break
            words.append(found[1])
            left = after
        return [*words, left] if left else words
    return [first]


def read_depth(dye: str, text: str) -> float:
    """A depth of shade as typed, in %: above 0, 100 at most. Raises ``SwatchvaultError``."""
    from swatchvault.amounts import check_number

    depth = read_percent(text, f"the depth of {dye}", "write a number in %, such as 0.8")
    return check_number(f"the depth of shade of {dye}", depth, unit="%", above=0.0, high=100.0)


def revise(recipe: Recipe, changes: Changes, version: int) -> Recipe:
    """``recipe`` with the changes, as ``version`` that comes from it.

    Raises ``SwatchvaultError`` for a part, dye or step that it does not have, and where nothing
    would change.
    """
    chosen = None if _of_no_part(changes) else _part_of(recipe, changes.part)
    first, parts = 1, []
    for part in recipe.parts:
        new = _with_steps(part, changes, first, part is chosen)
        first += len(part.steps)
        if part is chosen:
            new = with_dyes(new, changes)
            if changes.share_percent is not None:
                new = replace(new, share_percent=changes.share_percent)
        parts.append(new)
    for number in (*changes.steps, *(n for n, _ in changes.added if n is not None)):
        if not 1 <= number < first:
            raise SwatchvaultError(f"no step {number}: the recipe has {first - 1}")
    if tuple(parts) == recipe.parts and changes.onto is None:
        raise SwatchvaultError("nothing would change: say a dye, a step or a share that differs")
    return replace(
        recipe,
        base=changes.onto or recipe.base,
        version=version,
        parent=recipe.version,
        parent_base=None if changes.onto is None else recipe.base,
        parts=tuple(parts),
        note=changes.note,
    )


def _of_no_part(changes: Changes) -> bool:
    """Whether a recipe only goes to another base, so that no part needs to be named."""
    told = (changes.part, changes.share_percent, *changes.depths, *changes.added)
    return changes.onto is not None and not changes.only_these and not any(told)


def _part_of(recipe: Recipe, name: str | None) -> RecipePart:
    names = ", ".join(p.name for p in recipe.parts)
    if name is None and len(recipe.parts) == 1:
        return recipe.parts[0]
    for part in recipe.parts:
        if name is not None and part.name.casefold() == name.casefold():
            return part
    if name is None:
        raise SwatchvaultError(f"the recipe has parts {names or 'none'}: say which with --part")
    raise SwatchvaultError(f"no part {name!r}: the recipe has {names or 'none'}")


def with_dyes(part: RecipePart, changes: Changes) -> RecipePart:
    """The part with its dyes changed, in their order; new ones last.

    Raises :class:`SwatchvaultError` for one to be dropped that it has not.
    """
    from swatchvault.archive.entities import PlannedDye

    told = {name.casefold(): (name, depth) for name, depth in changes.depths.items()}
    dyes = []
    for dye in part.dyes:
        _, depth = told.pop(dye.dye.casefold(), (dye.dye, dye.depth_percent))
        if dye.dye.casefold() not in {n.casefold() for n in changes.depths} and changes.only_these:
            continue
        if depth is not None:
            dyes.append(replace(dye, depth_percent=depth))
    for name, depth in told.values():
        if depth is None:
            known = ", ".join(d.dye for d in part.dyes) or "none"
            raise SwatchvaultError(f"no dye {name!r} to drop in part {part.name!r}: it has {known}")
        dyes.append(PlannedDye(name, depth))
    return replace(part, dyes=tuple(dyes))


def _with_steps(part: RecipePart, changes: Changes, first: int, chosen: bool) -> RecipePart:
    """The part with its steps, numbered from ``first``, changed; steps without a place go last."""
    steps: list[PlannedStep] = []
    for number, step in enumerate(part.steps, first):
        steps += [added for before, added in changes.added if before == number]
        new = changes.steps.get(number, step)
        steps += [] if new is None else [new]
    if chosen:
        steps += [added for before, added in changes.added if before is None]
    return replace(part, steps=tuple(steps))
