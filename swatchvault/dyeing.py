"""Sums of the dye kitchen, pure: depth, stock, liquor and water.

Depth of shade (DOS) is the mass of dry dye put in, in % of the dry mass of the goods; how much
of it went on the yarn is another matter. A stock of 1 % is 1 g of powder made up to 100 mL. All
results keep full precision; `measuring.round_measure` gives what can be poured. Every function
raises ``AmountError`` (a ``ValueError``), one line, for what cannot be: NaN, infinite, negative,
no goods, no strength, over 100 %.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from swatchvault.amounts import check_number
from swatchvault.errors import AmountError

#: Depths (% DOS) that need no second look. Common practice, no single source; never enforced.
CUSTOMARY_DEPTH_PERCENT = (0.1, 6.0)

# ---------------------------------------------------------------------------------------------
# Depth and stock
# ---------------------------------------------------------------------------------------------


def _goods(goods_g: float) -> float:
    return check_number("the dry weight of the goods", goods_g, unit="g", above=0.0)


def _depth(depth: float) -> float:
    return check_number("the depth of shade", depth, unit="%", low=0.0, high=100.0)


def _strength(percent: float) -> float:
    name = "the strength of the stock"
    return check_number(name, percent, unit="g/100 mL", above=0.0, high=100.0)


def _finite(name: str, value: float, unit: str) -> float:
    return check_number(name, value, unit=unit)


def check_left(left_ml: float, made_up_to_ml: float) -> None:
    """Raise ``AmountError`` where more of a stock is said to be left than was mixed."""
    if left_ml > made_up_to_ml:
        raise AmountError(
            f"{left_ml:g} mL cannot be left of a stock of {made_up_to_ml:g} mL: check the decimal "
            "point; more that was mixed is a stock of its own"
        )


def dye_g(goods_g: float, depth_percent: float) -> float:
    """Grams of dry dye for dry goods at a depth of 0 to 100 % DOS (the definition of depth).

    >>> dye_g(125, 2)
    2.5
    """
    return _finite("the dye", _goods(goods_g) * _depth(depth_percent) / 100, "g")


def stock_ml(goods_g: float, depth_percent: float, stock_percent: float) -> float:
    """Millilitres of a stock of ``stock_percent`` g/100 mL that hold :func:`dye_g`.

    >>> stock_ml(454, 2, 1)
    908.0
    """
    ml = _goods(goods_g) * _depth(depth_percent) / _strength(stock_percent)
    return _finite("the stock", ml, "mL")


def depth_percent(dye_g: float, goods_g: float) -> float:
    """Depth in % DOS from the grams of dry dye that went in."""
    dye = check_number("the dye", dye_g, unit="g", low=0.0)
    return _depth(dye / _goods(goods_g) * 100)


def question_depth(depth_percent: float) -> str | None:
    """A sentence if the total depth is outside :data:`CUSTOMARY_DEPTH_PERCENT`, else ``None``.

    A question, not a refusal; over 100 % raises ``AmountError``.
    """
    depth = _depth(depth_percent)
    low, high = CUSTOMARY_DEPTH_PERCENT
    if low <= depth <= high:
        return None
    return (
        f"{depth:g} % depth of shade is {'less' if depth < low else 'more'} than the customary "
        f"{low:g} to {high:g} % (common practice): check the weights and the decimal point."
    )


@dataclass(frozen=True)
class DepthFound:
    """Depth reached by several stocks together and by each, in the order given."""

    total_percent: float
    each_percent: tuple[float, ...]


def depth_from_stocks(goods_g: float, stocks: Iterable[tuple[float, float]]) -> DepthFound:
    """Depth from what went in: pairs of (mL, strength in g/100 mL) on dry goods."""
    each = tuple(
        depth_percent(
            check_number("the stock", ml, unit="mL", low=0.0) * _strength(s) / 100, goods_g
        )
        for ml, s in stocks
    )
    return DepthFound(_depth(math.fsum(each)), each)


@dataclass(frozen=True)
class DyeWanted:
    """A dye of a recipe; ``stock_percent`` is ``None`` where it is weighed as powder."""

    name: str
    depth_percent: float
    stock_percent: float | None = None


@dataclass(frozen=True)
class DyeDose:
    """What one dye of a recipe comes to: always in grams, in mL where a stock is used."""

    name: str
    depth_percent: float
    dye_g: float
    stock_percent: float | None
    stock_ml: float | None


@dataclass(frozen=True)
class DyeDoses:
    """All dyes of a recipe on one weight of goods, with their sums (``stock_ml``: all stocks)."""

    goods_g: float
    depth_percent: float
    dye_g: float
    stock_ml: float
    doses: tuple[DyeDose, ...]


def dye_doses(goods_g: float, dyes: Iterable[DyeWanted]) -> DyeDoses:
    """Grams and millilitres of several dyes at once; together at most 100 % DOS."""
    doses = tuple(
        DyeDose(
            name=d.name,
            depth_percent=d.depth_percent,
            dye_g=dye_g(goods_g, d.depth_percent),
            stock_percent=d.stock_percent,
            stock_ml=None
            if d.stock_percent is None
            else stock_ml(goods_g, d.depth_percent, d.stock_percent),
        )
        for d in dyes
    )
    return DyeDoses(
        goods_g=_goods(goods_g),
        depth_percent=_depth(math.fsum(d.depth_percent for d in doses)),
        dye_g=math.fsum(d.dye_g for d in doses),
        stock_ml=math.fsum(d.stock_ml or 0.0 for d in doses),
        doses=doses,
    )


@dataclass(frozen=True)
class StockMix:
    """Powder for a stock. The volume is that of the finished stock, not of the water added."""

    powder_g: float
    made_up_to_ml: float
    stock_percent: float

    @property
    def words(self) -> str:
        return (
            f"Dissolve {self.powder_g:.4g} g of powder in less water and make it up to "
            f"{self.made_up_to_ml:.6g} mL; do not add it to {self.made_up_to_ml:.6g} mL."
        )


def mix_stock(made_up_to_ml: float, stock_percent: float) -> StockMix:
    """Grams of powder for a stock of ``stock_percent`` g per 100 mL made up to a volume."""
    ml = check_number("the volume of stock", made_up_to_ml, unit="mL", above=0.0)
    return StockMix(ml * _strength(stock_percent) / 100, ml, float(stock_percent))


def stock_strength_percent(powder_g: float, made_up_to_ml: float) -> float:
    """Strength in g/100 mL of a stock as it was mixed: 15 g made up to 1000 mL is 1.5 %."""
    grams = check_number("the powder", powder_g, unit="g", above=0.0)
    ml = check_number("the volume of stock", made_up_to_ml, unit="mL", above=0.0)
    return _strength(grams / ml * 100)


# ---------------------------------------------------------------------------------------------
# The pot: liquor and water
# ---------------------------------------------------------------------------------------------


def _ratio(liquor_ratio: float) -> float:
    return check_number("the liquor ratio", liquor_ratio, unit="mL per g", above=0.0)


@dataclass(frozen=True)
class PotWater:
    """Liquor of a pot, what is added to it measured by volume, and the water that fills it."""

    liquor_ml: float
    added_ml: float
    water_ml: float


def water_left(goods_g: float, liquor_ratio: float, added_ml: Iterable[float]) -> PotWater:
    """Water to put in: liquor less stocks, dissolved auxiliaries and all else that is liquid.

    Raises ``AmountError`` when what is added exceeds the liquor.
    """
    liquor = _finite("the liquor", _goods(goods_g) * _ratio(liquor_ratio), "mL")
    added = math.fsum(check_number("an addition", ml, unit="mL", low=0.0) for ml in added_ml)
    if added > liquor:
        raise AmountError(
            f"additions of {added:g} mL exceed the liquor of {liquor:g} mL: raise the liquor ratio "
            f"to 1:{math.ceil(added / goods_g)} or use stronger stocks"
        )
    return PotWater(liquor, added, liquor - added)
