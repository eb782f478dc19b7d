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
    ``skeins``: rows of the view of that name; of one that was broken its pieces are weighed.
    ``auxiliaries``: the kind of each step of the log that put one in, with its grams or its
    millilitres; they are told as far as the form has room, and those of which neither is known are
    not. What is not known is left for the dyer to fill in.
    """
    powders: dict[str, float] = {}
    for name, grams in dyes:
        powders[name] = powders.get(name, 0.0) + (math.nan if grams is None else grams)
    skeins = list(skeins)
    broken = {_key(s, "was_") for s in skeins} - {None}
    whole = [s for s in skeins if _key(s, "was_") not in {_key(o) for o in skeins} - {None}]
    lines: list[tuple[str, str, float, float | None]] = [
        ("powder", name, grams, None) for name, grams in powders.items()
    ]
    for base, price in bases.items():
        of_it = [s["grams_in"] for s in whole if s["base"] == base]
        weighed = math.fsum(g for g in of_it if g)
        if len(bases) == 1 and goods_g:  # not every skein need be told of
            used = max(goods_g, weighed)
        else:
            used = weighed if of_it and all(of_it) else math.nan
        lines.append(("base", base, used, price))
    if not 0 < len(lines) <= LINES:
        return None
    amounts = [(*line, "g") for line in lines] + _auxiliaries(auxiliaries)
    told: dict[str, str] = {"fill": "cost"}
    for n, (kind, name, amount, price, unit) in enumerate(amounts[:LINES], 1):
        told |= {f"kind{n}": kind, f"name{n}": name}
        told |= {} if math.isnan(amount) else {f"amount{n}": f"{amount:.4g} {unit}"}
        told |= {} if price is None else {f"price{n}": f"{price:g}"}
    weights = [s["grams_out"] or s["grams_in"] for s in skeins if _key(s) not in broken][:LINES]
    told |= {f"skein{n}": f"{g:g} g" for n, g in enumerate(weights, 1) if g}
    return urlencode(told)


def _key(skein: Mapping[str, Any], which: str = "") -> tuple[str, str] | None:
    """Lot and label of a skein, or of that which it came from; ``None`` where it has none."""
    lot, label = skein.get(f"{which}lot"), skein.get(f"{which}skein")
    return None if lot is None or label is None else (lot, label)


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
