"""The form of what a lot costs, filled in with what the archive knows of the lot."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import urlencode

#: Lines of the form, for powders, bases and auxiliaries.
LINES = 6


def cost_form(
    dyes: Iterable[tuple[str, float | None]],
    bases: Mapping[str, float | None],
    goods_g: float | None,
    skeins: Iterable[Mapping[str, Any]],
    auxiliaries: Iterable[tuple[str, float | None, float | None]] = (),
) -> str | None:
    """What stands behind ``?`` in the address of the form; ``None`` where nothing is known.

    ``dyes``: name and grams of what went in. ``bases``: price of a kilogram, if known, by name.
    ``skeins``: with ``base`` and ``grams_in``. ``auxiliaries``: the kind of each step of the log
    that put one in, with its grams or its millilitres; they are told as far as the form has room,
    and those of which neither is known are not. What is not known is left for the dyer to fill in.
    """
    powders: dict[str, float] = {}
    for name, grams in dyes:
        powders[name] = powders.get(name, 0.0) + (math.nan if grams is None else grams)
    skeins = list(skeins)
    lines: list[tuple[str, str, float, float | None]] = [
        ("powder", name, grams, None) for name, grams in powders.items()
    ]
    for base, price in bases.items():
        weighed = [s["grams_in"] for s in skeins if s["base"] == base and s["grams_in"]]
        alone = goods_g if len(bases) == 1 and goods_g else math.nan
        lines.append(("base", base, sum(weighed) if weighed else alone, price))
    if not 0 < len(lines) <= LINES:
        return None
    amounts = [(*line, "g") for line in lines] + _auxiliaries(auxiliaries)
    told: dict[str, str] = {"fill": "cost"}
    for n, (kind, name, amount, price, unit) in enumerate(amounts[:LINES], 1):
        told |= {f"kind{n}": kind, f"name{n}": name}
        told |= {} if math.isnan(amount) else {f"amount{n}": f"{amount:.4g} {unit}"}
        told |= {} if price is None else {f"price{n}": f"{price:g}"}
    weights = [s["grams_out"] or s["grams_in"] for s in skeins][:LINES]
    told |= {f"skein{n}": f"{g:g} g" for n, g in enumerate(weights, 1) if g}
    return urlencode(told)


def _auxiliaries(
    steps: Iterable[tuple[str, float | None, float | None]],
) -> list[tuple[str, str, float, float | None, str]]:
    """What went in of each kind, in grams and in millilitres apart."""
    sums: dict[tuple[str, str], float] = {}
    for kind, grams, millilitres in steps:
        amount, unit = (grams, "g") if millilitres is None else (millilitres, "mL")
        if amount:
            name = kind.removesuffix(" in")
            sums[name, unit] = sums.get((name, unit), 0.0) + amount
    return [("auxiliary", name, amount, None, unit) for (name, unit), amount in sums.items()]
