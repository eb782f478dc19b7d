"""What really went into a lot, as the next version of the recipe that it followed: pure."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from swatchvault.errors import ArchiveError
from swatchvault.revision import Changes, with_dyes

if TYPE_CHECKING:
    from swatchvault.archive import Pot, Recipe


def went_in(pot: Pot, recipe: Recipe) -> dict[str, float]:
    """Depth of shade in % of each dye that went into a lot, on the goods of the recipe's one part.

    Raises ``ArchiveError`` where the log does not say it.
    """
    if len(recipe.parts) > 1:
        raise ArchiveError(
            f"the log of lot {pot.lot!r} does not say which of the recipe's {len(recipe.parts)} "
            "parts each dye went into: say the depths of one, with --part and --dye"
        )
    if pot.goods_g is None or not pot.dyes_in:
        what = "the weight of its goods" if pot.goods_g is None else "a dye that went in"
        raise ArchiveError(f"lot {pot.lot!r} does not say {what}: add that first")
    goods_g = pot.goods_g * (recipe.parts[0].share_percent if recipe.parts else 100.0) / 100
    depths: dict[str, float] = {}
    for dye, grams in pot.dyes_in:
        if grams is None:
            raise ArchiveError(
                f"lot {pot.lot!r} does not say how much {dye.dye} went in: say of which stock it "
                f'was, with `swatchvault pot edit "{pot.lot}" NUMBER --stock "{dye.dye}=CODE"`, or '
                f'how much, with --dye "{dye.dye}=5 g"; NUMBER is that of the step in `pot log`'
            )
        depths[dye.dye] = depths.get(dye.dye, 0.0) + 100 * grams / goods_g
    return {dye: float(f"{depth:.4g}") for dye, depth in depths.items()}


def as_done(pot: Pot) -> Recipe:
    """The lot's recipe with the dyes that really went in; its steps as they were planned.

    Raises ``ArchiveError`` where there is no recipe, or the log does not say what went in.
    """
    if pot.recipe is None:
        raise ArchiveError(f"lot {pot.lot!r} followed no recipe")
    depths = went_in(pot, pot.recipe)
    if not pot.recipe.parts:
        raise ArchiveError(f"the recipe of lot {pot.lot!r} has no part")
    (part,) = pot.recipe.parts
    changes = Changes(depths=depths, only_these=True)
    return replace(pot.recipe, parts=(with_dyes(part, changes),))


def departed(planned: Recipe, done: Recipe) -> dict[str, str]:
    """Of each dye of ``done``, as `as_done` gives it, what was planned where that is another depth
    by more than 1 % of it; and of each that was left out, that it was."""
    before = {d.dye: d.depth_percent for d in planned.parts[0].dyes}
    after = {d.dye: d.depth_percent for d in done.parts[0].dyes}
    marks = {dye: "not planned" for dye in after if dye not in before}
    for dye, depth in before.items():
        if dye not in after:
            marks[dye] = f"planned at {depth:g} %, and none went in"
        elif abs(after[dye] - depth) > 0.01 * depth:
            marks[dye] = f"planned at {depth:g} %"
    return marks
