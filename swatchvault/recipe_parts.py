"""The parts of a recipe on a weight of goods, in words: each by itself, and together: pure."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from swatchvault.measuring import held_words, pour_words, weigh_words

if TYPE_CHECKING:
    from swatchvault.pot import Dose, PartPlan, PotPlan

#: Shares typed as 33.3 three times make up the whole; our choice.
_SAME_GOODS = 0.002


def part_words(plan: PotPlan, part: PartPlan) -> str:
    """A part with its goods, and its share of all where that is not the whole.

    ``whole: 100 g``; ``dipped end, 25 % of the goods: 25 g``.
    """
    goods = weigh_words(part.goods_g)[0]
    if len(plan.parts) == 1 and part.goods_g == plan.goods_g:
        return f"{part.name}: {goods}"
    return f"{part.name}, {100 * part.goods_g / plan.goods_g:.4g} % of the goods: {goods}"


def together_lines(plan: PotPlan) -> list[str]:
    """What the parts come to together: dyes that go into several, and shares that are not 100 %."""
    doses: dict[str, list[Dose]] = {}
    for dose in (d for part in plan.parts for d in part.doses):
        doses.setdefault(dose.dye, []).append(dose)
    lines = [f"in all parts together: {_summed(found)}" for found in doses.values() if found[1:]]
    covered_g = sum(part.goods_g for part in plan.parts)
    if not plan.parts or math.isclose(covered_g, plan.goods_g, rel_tol=_SAME_GOODS):
        return lines
    more = covered_g > plan.goods_g
    some = "some of the goods is in more than one" if more else "the rest is in none"
    share = 100 * covered_g / plan.goods_g
    return [*lines, f"the parts come to {share:.4g} % of the goods together: {some}"]


def without_step(plan: PotPlan | None) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Parts whose dyes no planned step puts in, such as a sprinkle: each with its doses."""
    parts = () if plan is None else plan.parts
    found = ((part_words(plan, part), doses_without_step(part)) for part in parts if plan)
    return tuple((words, doses) for words, doses in found if doses)


def doses_without_step(part: PartPlan) -> tuple[str, ...]:
    """A part's doses, if no planned step of it puts them in."""
    stepped = any(step.kind == "dye in" for step in part.steps)
    return () if stepped else tuple(dose_words(dose) for dose in part.doses)


def dose_words(dose: Dose) -> str:
    """A dose: ``Ember 0.8 %: 80 mL of stock S1 (0.8 g of dye)``."""
    source = "of powder" if dose.stock is None else f"of stock {dose.stock}"
    dry = "" if dose.stock is None else f" ({dose.held} of dye)"
    return f"{dose.dye} {dose.depth_percent:g} %: {dose.words} {source}{dry}"


def _summed(doses: Sequence[Dose]) -> str:
    """Doses of one dye, which a plan takes from one source, as one."""
    dye, grams = doses[0].dye, sum(dose.dye_g for dose in doses)
    if doses[0].stock is None:
        return f"{dye} {weigh_words(grams)[0]} of powder"
    stock_ml = sum(dose.stock_ml or 0.0 for dose in doses)
    poured = pour_words(stock_ml)[0]
    held = held_words(grams, stock_ml, poured)
    return f"{dye} {poured} of stock {doses[0].stock} ({held} of dye)"
