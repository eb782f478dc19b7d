"""Cells of Datasette's own tables: chips of colours, and names that lead to our pages."""

from __future__ import annotations

import math
import re
from typing import Any

from markupsafe import Markup, escape

from swatchvault.web.look import hex_of, with_doubt

_HEX = re.compile(r"#[0-9a-fA-F]{6}")
_LAB = ("lab_l", "lab_a", "lab_b")
_SIDE = 18

#: A column that names something, the column that has its id, and where that is shown.
LINKS = {
    "swatch": ("swatch_id", "/swatch/"),
    "lot": ("lot_id", "/lot/"),
    "colourway": ("colourway_id", "/colourway/"),
    "base": ("base_id", "/base/"),
    "version": ("recipe_id", "/recipe/"),
    "verdict": ("lot_check_id", "/check/"),
}


def cell(row: Any, value: Any, column: str) -> Markup | None:
    """How a cell is shown, or ``None``: as Datasette would show it.

    A chip stands before ``lab_l`` where the row has the other two, and before a ``#rrggbb``. An
    axis of Lab has its standard uncertainty beside it where the row has its variance.
    """
    if value is None or isinstance(value, bytes | dict):
        return None
    if column in _LAB:
        return _axis(row, value, column)
    if isinstance(value, str) and _HEX.fullmatch(value):
        return _chip(value) + Markup(" ") + escape(value)
    if column in LINKS:
        id_column, address = LINKS[column]
        found = _held(row, id_column)
        if isinstance(found, int) and str(value).strip():
            return Markup('<a href="{}{}">{}</a>').format(address, found, value)
    return None


def _axis(row: Any, value: Any, column: str) -> Markup | None:
    variance = _held(row, column.replace("lab", "variance"))
    words = escape(value)
    if isinstance(value, int | float):
        words = escape(with_doubt(value, _root(variance)))
    colour = hex_of(_lab_of(row)) if column == "lab_l" else None
    if colour is not None:
        return _chip(colour) + Markup(" ") + words
    return words if words != escape(value) else None


def _root(variance: Any) -> float | None:
    return math.sqrt(max(variance, 0.0)) if isinstance(variance, int | float) else None


def _chip(colour: str) -> Markup:
    return Markup(
        '<svg width="{0}" height="{0}" viewBox="0 0 1 1" role="img" aria-label="colour {1}">'
        '<rect width="1" height="1" fill="{1}"/></svg>'
    ).format(_SIDE, colour)


def _lab_of(row: Any) -> tuple[float, ...] | None:
    values = [_held(row, name) for name in _LAB]
    if not all(isinstance(v, int | float) and math.isfinite(v) for v in values):
        return None
    return tuple(float(v) for v in values)


def _held(row: Any, column: str) -> Any:
    """A column's value, ``None`` where the row has no such column."""
    try:
        return row[column]
    except (KeyError, IndexError):
        return None
