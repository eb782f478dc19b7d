"""What a lot and each of its skeins cost. Raises ``AmountError`` for what cannot be."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from swatchvault.amounts import Amount, check_number
from swatchvault.errors import AmountError

#: Grams of the skeins over grams of base under which skeins are taken to be missing, not dried
#: out: the rest is told apart then. Our choice.
ALL_NAMED = 0.9
#: Hundredths by which sums of numbers may miss: how numbers add up, and no money.
_NOISE = 1e-6


#: Grams of the skeins over grams of base above which one of the weights is asked about: dye adds a
#: few per cent at most, and the moisture of the air no more. Our choice.
MORE_THAN_BASE = 1.05


Kind = Literal["powder", "base", "auxiliary"]


@dataclass(frozen=True)
class CostItem:
    """Something used: ``amount`` in g or mL, and the price of 1000 of them (a kg or a litre)."""

    kind: Kind
    name: str
    amount: float
    price_per_1000: float


def cost_item(kind: Kind, name: str, amount: Amount, price_per_1000: float) -> CostItem:
    """Something used, by its amount as typed: an auxiliary in g or mL, powder and base in g.

    Raises ``AmountError`` for a volume of powder or base, which are sold by weight.
    """
    used = amount.si_value if kind == "auxiliary" else amount.g
    return CostItem(kind, name, used, price_per_1000)


@dataclass(frozen=True)
class LotCost:
    """Cost of a lot by kind and of each skein by its weight, in the prices' own currency.

    ``time_cost`` is ``None`` where time was not asked for; the total is then without it.
    ``rest_g``, ``rest_cost``: base of which no skein was named, and its share. ``over_g``: what the
    skeins weigh more than their base can, 0 if it is not more.
    """

    powder_cost: float
    base_cost: float
    auxiliary_cost: float
    time_cost: float | None
    total_cost: float
    skein_costs: tuple[float, ...]
    rest_g: float = 0.0
    rest_cost: float = 0.0
    over_g: float = 0.0


def cost_of_lot(
    items: Iterable[CostItem],
    skeins_g: Iterable[float],
    *,
    minutes: float | None = None,
    price_per_hour: float | None = None,
) -> LotCost:
    """Cost of one lot, and of its skeins in proportion to their weight.

    It is shared over the skeins, or over all of the base where they weigh clearly less than that.
    Give both ``minutes`` and ``price_per_hour`` to count time, or neither. Raises
    :class:`AmountError` for one of them alone, an item of an unknown kind, and amounts that cannot
    be.
    """
    base_g = 0.0
    by_kind = {"powder": 0.0, "base": 0.0, "auxiliary": 0.0}
    for item in items:
        amount = check_number(f"the amount of {item.name}", item.amount, unit="g or mL", low=0.0)
        price = check_number(
            f"the price of {item.name}", item.price_per_1000, unit="money", low=0.0
        )
        if item.kind not in by_kind:
            raise AmountError(f"{item.name} is {item.kind!r}: needed powder, base or auxiliary")
        by_kind[item.kind] += amount * price / 1000
        base_g += amount if item.kind == "base" else 0.0
    if (minutes is None) != (price_per_hour is None):
        raise AmountError("to count time, both the minutes and the price of an hour are needed")
    time_cost = None
    if minutes is not None and price_per_hour is not None:
        hours = check_number("the time", minutes, unit="minutes", low=0.0) / 60
        time_cost = hours * check_number(
            "the price of an hour", price_per_hour, unit="money", low=0.0
        )
    total = check_number("the cost", math.fsum(by_kind.values()) + (time_cost or 0.0), unit="money")
    weights = [check_number("a skein", g, unit="g", above=0.0) for g in skeins_g]
    named_g = math.fsum(weights)
    rest_g = base_g - named_g if weights and named_g < ALL_NAMED * base_g else 0.0
    over_g = named_g - base_g if 0.0 < MORE_THAN_BASE * base_g < named_g else 0.0
    each_g = total / (named_g + rest_g) if weights else 0.0
    shares = tuple(each_g * g for g in weights)
    kinds = (by_kind["powder"], by_kind["base"], by_kind["auxiliary"])
    return LotCost(*kinds, time_cost, total, shares, rest_g, each_g * rest_g, over_g)


def to_cents(total: float, parts: Sequence[float]) -> tuple[float, list[float]]:
    """A sum of money and its parts, rounded to 0.01 so that the parts add up to it.

    Each part is rounded down, and those with the largest remainders up again (the method of the
    largest remainder); of equal ones the first.

    >>> to_cents(11.745, [7.047, 4.698])
    (11.75, [7.05, 4.7])
    >>> to_cents(10.0, [10 / 3, 10 / 3, 10 / 3])
    (10.0, [3.34, 3.33, 3.33])
    """
    whole = math.floor(100 * total + 0.5 + _NOISE)
    cents = [math.floor(100 * part + _NOISE) for part in parts]
    left = [100 * part - down for part, down in zip(parts, cents, strict=True)]
    for place in sorted(range(len(parts)), key=lambda n: -round(left[n], 6))[: whole - sum(cents)]:
        cents[place] += 1
    return whole / 100, [c / 100 for c in cents]
