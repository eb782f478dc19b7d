"""A recipe on a weight of goods, and which stock it is to come from: pure.

What is planned comes from the recipe and is never what was done; that is the pot's log.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from swatchvault.amounts import SpoonSizes
from swatchvault.dyeing import DyeWanted, dye_doses, question_depth
from swatchvault.errors import AmountError
from swatchvault.measuring import SMALLEST_ML, held_words, pour_words, weigh_words
from swatchvault.planned_amounts import planned_amount

if TYPE_CHECKING:
    from swatchvault.archive.entities import PlannedStep, Recipe, RecipePart

#: A stock older than this gets a hint. Common practice, no source.
STOCK_AGES_AFTER_DAYS = 183

#: From here on half a step of what can be poured (``ROUND_STEPS_ML``) is 1 % at most, as far as a
#: dose may be off before that is told: a stronger stock needs no finer measure. Our choice.
POURED_WELL_ML = 5.0

#: Times by which the strengths of two stocks differ from which one is a dilution. Our choice.
SAME_STRENGTH = 2.0

#: Kinds of step that add to the liquor besides the stocks.
AUXILIARIES = ("acid in", "salt in", "levelling agent in", "other auxiliary in")

#: What is said of an amount that does not go by the goods, and of one that cannot be read.
_AS_WRITTEN = " (as written, whatever the goods)"
_NOT_READ = " (not reckoned: it cannot be read)"


@dataclass(frozen=True)
class StockChoice:
    """The stock a dose is to come from. ``left_ml`` and ``mixed_on`` are ``None`` if unknown."""

    code: str
    strength_percent: float
    left_ml: float | None = None
    mixed_on: str | None = None


@dataclass(frozen=True)
class Dose:
    """One dye of one part on its goods: grams always, mL where a stock is chosen."""

    dye: str
    depth_percent: float
    dye_g: float
    stock: str | None
    stock_ml: float | None
    words: str

    @property
    def held(self) -> str:
        """The dry dye in what is poured, or what is weighed."""
        if self.stock_ml is None:
            return weigh_words(self.dye_g)[0]
        return held_words(self.dye_g, self.stock_ml, self.words)


@dataclass(frozen=True)
class StepPlan:
    """A planned step on these goods; ``number`` counts through all parts, ``amount`` is scaled.

    ``amount_ml`` is the volume that it adds, in full precision; ``None`` if it is none.
    """

    number: int
    kind: str
    amount: str | None
    temperature_c: float | None
    minutes: float | None
    note: str | None
    amount_ml: float | None = None

    @property
    def amount_alone(self) -> str | None:
        """The amount without what is said of it: as it is told of what was done."""
        return self.amount and self.amount.removesuffix(_AS_WRITTEN).removesuffix(_NOT_READ)


@dataclass(frozen=True)
class PartPlan:
    """A part of the goods with its doses and steps."""

    name: str
    goods_g: float
    doses: tuple[Dose, ...]
    steps: tuple[StepPlan, ...]


@dataclass(frozen=True)
class PotPlan:
    """A recipe on a weight of goods, with what a dyer should look at twice."""

    goods_g: float
    liquor_ml: float | None
    water_ml: float | None
    parts: tuple[PartPlan, ...]
    hints: tuple[str, ...]

    @property
    def steps(self) -> tuple[StepPlan, ...]:
        """The steps of all parts in order."""
        return tuple(step for part in self.parts for step in part.steps)


def plan_pot(
    recipe: Recipe,
    goods_g: float,
    stocks: Mapping[str, StockChoice],
    *,
    today: date,
    liquor_ratio: float | None = None,
    smallest_ml: float = SMALLEST_ML,
    spoons: SpoonSizes | None = None,
    gone_g: Mapping[str, float] | None = None,
) -> PotPlan:
    """The amounts of a recipe for dry goods; a dye that ``stocks`` does not name is weighed.

    ``gone_g``: grams that are in the pot already by the dye's name in small letters, ``math.inf``
    where no more is to come: of its stock only the rest is needed.

    Raises ``AmountError`` for goods, depths or strengths that cannot be.
    """
    parts: list[PartPlan] = []
    hints: list[str] = []
    for part in recipe.parts:
        part_g = goods_g * part.share_percent / 100
        doses, questions = _plan_doses(part, part_g, stocks, smallest_ml)
        number = 1 + sum(len(p.steps) for p in parts)
        planned = [_plan_step(n, s, part_g, spoons) for n, s in enumerate(part.steps, number)]
        parts.append(PartPlan(part.name, part_g, doses, tuple(step for step, _ in planned)))
        questions += [hint for _, hint in planned if hint]
        hints += [q for q in questions if q not in hints]
    hints += _stock_hints(parts, stocks, today, gone_g or {})
    liquor, water = _liquor(goods_g, liquor_ratio, parts)
    return PotPlan(goods_g, liquor, water, tuple(parts), tuple(hints))


def _plan_doses(
    part: RecipePart, goods_g: float, stocks: Mapping[str, StockChoice], smallest_ml: float
) -> tuple[tuple[Dose, ...], list[str]]:
    wanted = [
        DyeWanted(
            d.dye, d.depth_percent, stocks[d.dye].strength_percent if d.dye in stocks else None
        )
        for d in part.dyes
    ]
    found = dye_doses(goods_g, wanted)
    doses, hints = [], []
    for dose in found.doses:
        if dose.stock_ml is None:
            words, hint = weigh_words(dose.dye_g)
            code = None
        else:
            words, hint = pour_words(dose.stock_ml, smallest_ml)
            code = stocks[dose.name].code
        if hint:
            hints.append(f"{dose.name}: {hint}")
        doses.append(Dose(dose.name, dose.depth_percent, dose.dye_g, code, dose.stock_ml, words))
    if doses and (question := question_depth(found.depth_percent)):
        hints.append(f"{part.name}: {question}")
    return tuple(doses), hints


def _plan_step(
    number: int, step: PlannedStep, goods_g: float, spoons: SpoonSizes | None
) -> tuple[StepPlan, str | None]:
    amount, ml, hint = _step_amount(step.amount, goods_g, spoons)
    plan = StepPlan(number, step.kind, amount, step.temperature_c, step.minutes, step.note, ml)
    return plan, f"step {number}, {step.kind}: {hint}" if hint else None


def _step_amount(
    typed: str | None, goods_g: float, spoons: SpoonSizes | None
) -> tuple[str | None, float | None, str | None]:
    """A planned amount on these goods in words, the mL that it adds, and a hint.

    One that cannot be read, of a recipe kept before such were refused, is told and not reckoned.
    """
    try:
        read = planned_amount(typed, spoons)
    except AmountError as error:
        return f"{typed}{_NOT_READ}", None, f"{error}; the water does not count it"
    ml, hint = read.ml, None
    words: str | None = typed
    if read.percent_of_goods is not None:
        words, hint = weigh_words(goods_g * read.percent_of_goods / 100)
    elif read.ml_per_100_g is not None:
        ml = goods_g * read.ml_per_100_g / 100
        words, hint = pour_words(ml)
    elif ml is not None or read.g is not None:
        return f"{typed}{_AS_WRITTEN}", ml, None
    of = f" of {read.thing}" if read.thing else ""
    return words and words + of, ml, hint


def _stock_hints(
    parts: Sequence[PartPlan],
    stocks: Mapping[str, StockChoice],
    today: date,
    gone_g: Mapping[str, float],
) -> list[str]:
    need: dict[str, float] = {}
    for dose in (d for part in parts for d in part.doses):
        if dose.stock_ml is not None:
            need[dose.dye] = need.get(dose.dye, 0.0) + dose.stock_ml
    hints = []
    for dye, ml in need.items():
        in_pot_ml = 100.0 * gone_g.get(dye.casefold(), 0.0) / stocks[dye].strength_percent
        hints += [h for h in [short_hint(dye, stocks[dye], ml - in_pot_ml)] if h]
    aged = [f"{stocks[dye].code!r} of {dye}" for dye in need if is_aged(stocks[dye], today)]
    return [*hints, aged_hint(aged)] if aged else hints


def aged_hint(stocks: Sequence[str]) -> str:
    """A sentence on stocks that have grown old, named as ``'S1' of Ember``."""
    return (
        f"mixed more than six months ago, so it may have weakened: stock {', '.join(stocks)}; "
        "test it or mix anew."
    )


def short_hint(dye: str, stock: StockChoice, need_ml: float) -> str | None:
    """A sentence if what is thought to be left of a stock does not suffice."""
    if stock.left_ml is None or stock.left_ml >= need_ml:
        return None
    return (
        f"stock {stock.code!r} of {dye} does not suffice: {pour_words(need_ml)[0]} needed, "
        f"about {max(stock.left_ml, 0.0):.4g} mL left, {missing_words(stock, need_ml)}; mix more."
    )


def missing_words(stock: StockChoice, need_ml: float) -> str:
    """How much of a stock is missing, of one that does not suffice."""
    return f"{pour_words(need_ml - max(stock.left_ml or 0.0, 0.0))[0]} missing"


def is_aged(stock: StockChoice, today: date) -> bool:
    """Whether a stock was mixed more than six months ago; not if that is not known."""
    if stock.mixed_on is None:
        return False
    return (today - date.fromisoformat(stock.mixed_on)).days > STOCK_AGES_AFTER_DAYS


def choose_stock(stocks: Sequence[StockChoice], need_g: float) -> StockChoice | None:
    """Of the stocks that suffice, else of all, the strongest of which the dose can be poured well,
    and of those about as strong the newest; ``None`` of none. The newest come first.

    Where even the weakest is too little to be poured well, it is that.
    """
    enough = [s for s in stocks if s.left_ml is None or s.left_ml >= _ml_of(s, need_g)] or stocks
    if not enough:
        return None
    strengths = [s.strength_percent for s in enough if _ml_of(s, need_g) >= POURED_WELL_ML]
    best = max(strengths) if strengths else min(s.strength_percent for s in enough)
    return next((s for s in enough if alike(s.strength_percent, best)), enough[0])


def _ml_of(stock: StockChoice, need_g: float) -> float:
    """What of a stock holds so much dye; none of one that holds nothing."""
    return need_g * 100 / stock.strength_percent if stock.strength_percent > 0 else 0.0


def alike(a: float, b: float) -> bool:
    """Whether two strengths, above 0, are of one stock mixed again, and not of a weaker one."""
    return max(a, b) < SAME_STRENGTH * min(a, b)


def stock_with(stocks: Sequence[StockChoice], need_ml: float) -> StockChoice | None:
    """The newest stock that holds a volume, else the newest; ``None`` of none. As above, in mL."""
    enough = (s for s in stocks if s.left_ml is None or s.left_ml >= need_ml)
    return next(enough, stocks[0] if stocks else None)


def _liquor(
    goods_g: float, ratio: float | None, parts: Sequence[PartPlan]
) -> tuple[float | None, float | None]:
    if ratio is None:
        return None, None
    from swatchvault.dyeing import water_left

    poured = [d.stock_ml for part in parts for d in part.doses if d.stock_ml is not None]
    steps = [s for part in parts for s in part.steps if s.kind in AUXILIARIES]
    poured += [s.amount_ml for s in steps if s.amount_ml is not None]
    left = water_left(goods_g, ratio, poured)
    return left.liquor_ml, left.water_ml
