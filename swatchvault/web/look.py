"""How figures look on a page: filters and functions that every template has."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any


def hex_of(lab: Sequence[float] | None) -> str | None:
    """``#rrggbb`` of a Lab D65 colour in sRGB; ``None`` where it is unknown."""
    from ingest.screen import hex_of_lab

    if lab is None or any(v is None or not math.isfinite(v) for v in lab):
        return None
    return hex_of_lab(lab)


def figure(value: object, digits: int = 1) -> str:
    """A number as a person reads it; a dash where it is not known."""
    if value is None or not isinstance(value, int | float) or not math.isfinite(value):
        return "–"
    return f"{value:.{digits}f}"


def weighed(value: object) -> str:
    """Grams or millilitres as they were measured; a dash where they are not known."""
    from swatchvault.typed_numbers import shown

    return "–" if figure(value) == "–" or not isinstance(value, int | float) else shown(value)


def with_doubt(value: object, u: object = None) -> str:
    """A value of L*, a* or b* with its standard uncertainty where it is known; a dash for none."""
    from swatchvault.colour_words import plus_minus

    if figure(value) == "–" or not isinstance(value, int | float):
        return "–"
    return plus_minus(value, u if isinstance(u, int | float) else None)


def delta_e(value: float, u: float | None) -> str:
    """A ΔE00 with its standard uncertainty, a question mark where that is not known."""
    from swatchvault.colour_words import delta_e_words

    return delta_e_words(float(value), u)


def add_to(env: Any) -> None:
    """Give a Jinja environment our filters."""
    from swatchvault.colour_words import photos_words
    from swatchvault.days import here, photo_when, when

    env.filters["hex_of"] = hex_of
    env.filters["here"] = here
    env.filters["when"] = when
    env.globals["photo_when"] = photo_when
    env.filters["photos_words"] = photos_words
    env.filters["figure"] = figure
    env.filters["weighed"] = weighed
    env.filters["with_doubt"] = with_doubt
    env.filters["delta_e"] = delta_e
