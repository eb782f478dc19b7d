"""The sums of the dye kitchen as forms: dye, stock, mix, acid, water, cost. Nothing is stored."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from datasette import Response

from swatchvault.amounts import Amount, SiUnit, SpoonSizes, after_one, parse_amount
from swatchvault.cautions import CAUTION_LINE
from swatchvault.customary import CUSTOMS, FIRST
from swatchvault.errors import SwatchvaultError
from swatchvault.measuring import SMALLEST_ML
from swatchvault.web.costs import LINES
from swatchvault.web.typed import number, number_or_none, percent, percent_or_none
from swatchvault.web.visit import RefusedError, Visit

if TYPE_CHECKING:
    from swatchvault.acids import AcidSolution

#: Rows of a form for dyes, stocks, additions or what was used; our choice.
ROWS = 4
BASES = ("g/100 mL", "g/100 g")


@dataclass(frozen=True)
class Typed:
    """A sum's form as typed, and the archive's sizes of spoon and cup."""

    text: Callable[[str], str]
    spoons: SpoonSizes

    def __call__(self, name: str) -> str:
        return self.text(name).strip()

    def need(self, name: str, what: str) -> str:
        """A field that must be filled in."""
        found = self(name)
        if not found:
            raise RefusedError(f"{what} is missing: fill it in")
        return found

    def amount(self, name: str, what: str, unit: SiUnit) -> Amount:
        """An amount; a bare number is in ``unit``."""
        return parse_amount(self.need(name, what), self.spoons, bare=unit)

    @property
    def smallest(self) -> float:
        """The least volume in mL that can be measured well."""
        return number(self("smallest") or str(SMALLEST_ML), "the least you can measure")

    def rows(self, *names: str, most: int = ROWS) -> list[int]:
        """The rows of a form in which anything is typed."""
        return [n for n in range(1, most + 1) if any(self(f"{name}{n}") for name in names)]


@dataclass(frozen=True)
class Answer:
    """A sum's lines, and what to look at twice."""

    lines: tuple[str, ...]
    hints: tuple[str, ...] = ()


def answered(lines: Iterable[str], hints: Iterable[str | None] = ()) -> Answer:
    return Answer(tuple(lines), tuple(h for h in hints if h))


async def sums_page(visit: Visit) -> Response:
    """All six forms; the one that is asked for with its answer, or with why there is none, and one
    that another page fills in (``fill``) with neither."""
    from swatchvault.acids import ACIDS
    from swatchvault.archive import spoons_of

    asked = visit.asked("sum")
    answer, words = None, ""
    if asked in SUMS:
        spoons = await visit.read(spoons_of)
        try:
            answer = SUMS[asked](Typed(visit.asked, spoons))
        except SwatchvaultError as error:
            words = str(error)
    values = {
        "asked": next((a for a in (asked, visit.asked("fill")) if a in SUMS), ""),
        "typed": visit.asked,
        "answer": answer,
        "words": words,
        "rows": range(1, ROWS + 1),
        "cost_rows": range(1, LINES + 1),
        "acids": list(ACIDS),
        "bases": BASES,
        "smallest": SMALLEST_ML,
        "caution_line": CAUTION_LINE,
        "customs": CUSTOMS,
        "customary_first": FIRST,
    }
    return await visit.page("sv_sums.html", values, 400 if words else 200)


def dye_sum(typed: Typed) -> Answer:
    """Dye and stock for goods at a depth, as `sums dye`."""
    from swatchvault.dyeing import DyeWanted, dye_doses
    from swatchvault.sums_words import dose_lines

    goods_g = typed.amount("goods", "the dry weight of the goods", "g").g
    wanted = [
        DyeWanted(
            typed(f"name{n}") or f"dye {n}",
            percent(typed.need(f"depth{n}", f"the depth of dye {n}"), "the depth"),
            percent_or_none(typed(f"stock{n}"), "the strength of the stock"),
        )
        for n in typed.rows("name", "depth", "stock")
    ]
    if not wanted:
        raise RefusedError("the depth is missing: fill in at least one dye")
    return answered(*dose_lines(dye_doses(goods_g, wanted), typed.smallest))


def stock_sum(typed: Typed) -> Answer:
    """The depth that stocks come to, as `sums stock`."""
    from swatchvault.dyeing import depth_from_stocks, question_depth
    from swatchvault.sums_words import together_line

    goods_g = typed.amount("goods", "the dry weight of the goods", "g").g
    rows = typed.rows("amount", "stock")
    if not rows:
        raise RefusedError("what went in is missing: fill in at least one stock")
    pairs = [
        (
            typed.amount(f"amount{n}", f"how much of stock {n}", "mL").ml,
            percent(typed.need(f"stock{n}", f"the strength of stock {n}"), "the strength"),
        )
        for n in rows
    ]
    depth = depth_from_stocks(goods_g, pairs)
    lines = [
        f"{ml:g} mL of {strength:g} %: {each:.3g} % depth of shade"
        for (ml, strength), each in zip(pairs, depth.each_percent, strict=True)
    ]
    lines.append(together_line(depth.total_percent, goods_g))
    return answered(lines, [question_depth(depth.total_percent)])


def mix_sum(typed: Typed) -> Answer:
    """Powder for a stock, or the strength of one, as `sums mix`."""
    from swatchvault.dyeing import mix_stock, stock_strength_percent
    from swatchvault.sums_words import mix_lines

    ml = typed.amount("volume", "the volume", "mL").ml
    if bool(typed("strength")) == bool(typed("powder")):
        raise RefusedError("give either the strength wanted, or the powder that was weighed")
    if typed("powder"):
        strength = stock_strength_percent(typed.amount("powder", "the powder", "g").g, ml)
    else:
        strength = percent(typed("strength"), "the strength")
    return answered(*mix_lines(mix_stock(ml, strength)))


def acid_sum(typed: Typed) -> Answer:
    """One acid in terms of another, or its dilution, as `sums acid`."""
    from swatchvault.acids import dilute_acid, swap_acid
    from swatchvault.sums_words import dilution_lines, swap_lines

    have = _solution(typed, "have")
    if typed("dilute_to") or typed("make_up_to"):
        if typed("amount"):
            raise RefusedError("fill in either the other acid or the dilution, not both")
        to = percent(typed.need("dilute_to", "the strength wanted"), "the strength wanted")
        dilution = dilute_acid(have, to, typed.amount("make_up_to", "how much to make", "mL").ml)
        lines, hints = dilution_lines(dilution, "the acid", typed.smallest)
        return answered([*lines, dilution.caution], hints)
    other = _solution(typed, "other")
    swap = swap_acid(typed.amount("amount", "how much acid", "mL").ml, have, other)
    told = (f"{swap.from_ml:g} mL", _said(have), _said(other))
    return answered(*swap_lines(swap, *told, typed.smallest))


def _solution(typed: Typed, which: str) -> AcidSolution:
    from swatchvault.acids import AcidSolution

    what = "the acid at hand" if which == "have" else "the other acid"
    basis = typed(f"{which}_basis")
    name = typed.need(f"{which}_acid", what)
    strength = percent(typed.need(f"{which}_strength", f"the strength of {what}"), "the strength")
    density = number_or_none(typed(f"{which}_density"), "the density")
    if basis not in BASES:
        raise RefusedError(
            f"{strength:g} % {name} acid can be read as {BASES[0]} or as {BASES[1]}, by mass: "
            "choose under “As its label says” which it means"
        )
    if basis == BASES[1] and density is None:
        raise RefusedError(
            f"{strength:g} % {name} acid by mass: its density is needed too. Fill it in, in g/mL; "
            "it stands on the label or in the safety data sheet"
        )
    return AcidSolution(name, strength, "g/100 mL" if basis == BASES[0] else "g/100 g", density)


def _said(acid: AcidSolution) -> str:
    density = f", density {acid.density_g_per_ml:g}" if acid.density_g_per_ml else ""
    return f"{acid.acid} acid {acid.percent:g} {acid.basis or '%'}{density}"


def water_sum(typed: Typed) -> Answer:
    """Liquor and the water left, as `sums water`."""
    from swatchvault.dyeing import water_left
    from swatchvault.sums_words import water_lines

    goods_g = typed.amount("goods", "the dry weight of the goods", "g").g
    ratio = number(after_one(typed.need("ratio", "the liquor ratio")), "the liquor ratio")
    added = [typed.amount(f"added{n}", "what is added", "mL").ml for n in typed.rows("added")]
    return answered(water_lines(water_left(goods_g, ratio, added), goods_g, ratio))


def cost_sum(typed: Typed) -> Answer:
    """What a lot costs and each of its skeins, as `sums cost`."""
    from swatchvault.costs import Kind, cost_item, cost_of_lot
    from swatchvault.sums_words import cost_lines

    kinds: Mapping[str, Kind] = {
        "powder": "powder",
        "base": "base",
        "auxiliary": "auxiliary",
    }
    items = [
        cost_item(
            kinds.get(typed(f"kind{n}"), "powder"),
            typed(f"name{n}") or f"line {n}",
            typed.amount(f"amount{n}", f"the amount of line {n}", "g"),
            number(typed.need(f"price{n}", f"the price of line {n}"), "the price"),
        )
        for n in typed.rows("name", "amount", "price", most=LINES)
    ]
    if not items:
        raise RefusedError("what was used is missing: fill in at least one line")
    skeins = [typed.amount(f"skein{n}", "a skein", "g").g for n in typed.rows("skein", most=LINES)]
    cost = cost_of_lot(
        items,
        skeins,
        minutes=number_or_none(typed("minutes"), "the minutes"),
        price_per_hour=number_or_none(typed("per_hour"), "the price of an hour"),
    )
    return answered(*cost_lines(cost, skeins))


SUMS: Mapping[str, Callable[[Typed], Answer]] = {
    "dye": dye_sum,
    "stock": stock_sum,
    "mix": mix_sum,
    "acid": acid_sum,
    "water": water_sum,
    "cost": cost_sum,
}
