"""The sums' results as lines that a dyer reads, with what to look at twice. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence

from swatchvault.acids import AcidDilution, AcidSwap
from swatchvault.costs import LotCost, to_cents
from swatchvault.dyeing import DyeDoses, PotWater, StockMix, question_depth
from swatchvault.measuring import held_words, pour_words, round_measure, weigh_words

#: Lines, and hints.
Said = tuple[list[str], list[str]]


def dose_lines(doses: DyeDoses, smallest_ml: float) -> Said:
    """What to weigh or pour of each dye."""
    lines, hints = [], []
    for dose in doses.doses:
        if dose.stock_ml is None:
            words, hint = weigh_words(dose.dye_g)
            words += " of powder"
        else:
            words, hint = pour_words(dose.stock_ml, smallest_ml)
            held = held_words(dose.dye_g, dose.stock_ml, words)
            words += f" of stock {dose.stock_percent:g} % ({held} of dye)"
        lines.append(f"{dose.name}, {dose.depth_percent:g} % depth of shade: {words}")
        hints += [f"{dose.name}: {hint}"] if hint else []
    lines.append(together_line(doses.depth_percent, doses.goods_g))
    question = question_depth(doses.depth_percent)
    return lines, [*hints, *([question] if question else [])]


def together_line(depth_percent: float, goods_g: float) -> str:
    """The depth of shade of all dyes, and the goods it is of."""
    return f"together {depth_percent:.4g} % on {goods_g:g} g of goods"


def mix_lines(mix: StockMix) -> Said:
    """Powder for a stock."""
    grams, hint = weigh_words(mix.powder_g)
    first = (
        f"a stock of {mix.stock_percent:.4g} %: {grams} of powder made up to "
        f"{mix.made_up_to_ml:g} mL"
    )
    return [first, mix.words], [hint] if hint else []


def swap_lines(swap: AcidSwap, amount: str, have: str, other: str, smallest_ml: float) -> Said:
    """One acid in terms of another; ``amount``, ``have``, ``other``: as they were told."""
    words, hint = pour_words(swap.to_ml, smallest_ml)
    lines = [
        f"{amount} of {have} is as much acid as {words} of {other}, or "
        f"{weigh_words(swap.to_pure_g)[0]} of the acid itself",
        "equal equivalents are not equal pH: check with pH paper, and write down what you find",
    ]
    return lines, [hint] if hint else []


def dilution_lines(dilution: AcidDilution, have: str, smallest_ml: float) -> Said:
    """A dilution of an acid."""
    words, hint = pour_words(dilution.acid_ml, smallest_ml)
    first = f"{words} of {have}, made up to {dilution.make_up_to_ml:g} mL"
    return [first, dilution.words], [hint] if hint else []


def water_lines(water: PotWater, goods_g: float, ratio: float) -> list[str]:
    """Liquor of the goods at 1:``ratio``, what is added as liquid, and the water left."""
    liquor = f"liquor {round_measure(water.liquor_ml).rounded_ml:g} mL"
    return [
        f"{liquor} for {goods_g:g} g of goods at 1:{ratio:g}",
        f"added as liquid {water.added_ml:g} mL",
        f"water to put in {round_measure(water.water_ml).rounded_ml:g} mL",
    ]


def cost_lines(cost: LotCost, skeins_g: Sequence[float]) -> Said:
    """What a lot costs, and each skein: rounded so that each adds up to the lot."""
    kinds = [cost.powder_cost, cost.base_cost, cost.auxiliary_cost]
    kinds += [] if cost.time_cost is None else [cost.time_cost]
    total, (powder, base, auxiliaries, *time) = to_cents(cost.total_cost, kinds)
    each = [*cost.skein_costs, cost.rest_cost] if skeins_g else []
    shares = to_cents(cost.total_cost, each)[1]
    shared = f"shared by weight over {math.fsum(skeins_g) + cost.rest_g:g} g, "
    shared += "the skeins and that rest" if cost.rest_g else "the skeins named"
    shared += "" if _plainly(each, shares) else "; rounded so that they add up to the lot"
    lines = [
        f"powder {powder:.2f}",
        f"base {base:.2f}",
        f"auxiliaries {auxiliaries:.2f}",
        f"time {time[0]:.2f}" if time else "time not counted",
        f"the lot {total:.2f}",
        *(f"skein of {g:g} g {c:.2f}" for g, c in zip(skeins_g, shares, strict=False)),
    ]
    if cost.rest_g:
        lines.append(f"the other {cost.rest_g:g} g of base, no skein named {shares[-1]:.2f}")
    lines += [shared] if skeins_g else []
    return lines, [_over(cost, skeins_g)] if cost.over_g else []


def _plainly(exact: Sequence[float], shown: Sequence[float]) -> bool:
    """Whether each is shown as it would be alone."""
    return all(to_cents(e, [])[0] == s for e, s in zip(exact, shown, strict=True))


def _over(cost: LotCost, skeins_g: Sequence[float]) -> str:
    named_g = math.fsum(skeins_g)
    return (
        f"the skeins weigh {named_g:g} g and the base {named_g - cost.over_g:g} g: dye adds only a "
        "little, so a weight is wrong, or some of the base is not named"
    )
