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
) -> str | None:
    """What stands behind ``?`` in the address of the form; ``None`` where nothing is known.

    ``dyes``: name and grams of what went in. ``bases``: price of a kilogram, if known, by name.
    ``skeins``: with ``base`` and ``grams_in``. What is not known is left for the dyer to fill in.
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
    told: dict[str, str] = {"fill": "cost"}
    for n, (kind, name, grams, price) in enumerate(lines, 1):
        told |= {f"kind{n}": kind, f"name{n}": name}
        told |= {} if math.isnan(grams) else {f"amount{n}": f"{grams:.4g} g"}
        told |= {} if price is None else {f"price{n}": f"{price:g}"}
    weights = [s["grams_out"] or s["grams_in"] for s in skeins][:LINES]
    told |= {f"skein{n}": f"{g:g} g" for n, g in enumerate(weights, 1) if g}
    return urlencode(told)
