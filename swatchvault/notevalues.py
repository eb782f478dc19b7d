"""Values in notes: each reader takes what was written and where, and returns it clean.

Each raises ``SwatchvaultError`` saying where, what was found and what is needed.
"""

from __future__ import annotations

import math
from datetime import date, datetime
from typing import Any

from swatchvault.days import not_to_come
from swatchvault.errors import SwatchvaultError


def text(value: Any, where: str) -> str:
    """One line of text, not blank."""
    if not isinstance(value, str) or not value.strip():
        raise SwatchvaultError(f"{where} is {value!r}: text is needed, in quotes")
    return value.strip()


def number(value: Any, where: str) -> float:
    """A finite number."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise SwatchvaultError(f"{where} is {value!r}: a number is needed, without quotes")
    return float(value)


def whole_number(value: Any, where: str) -> int:
    """A whole number."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise SwatchvaultError(f"{where} is {value!r}: a whole number is needed, without quotes")
    return value


def yes_or_no(value: Any, where: str) -> bool:
    """TOML's true and false, and the words of the CSV."""
    words = {"yes": True, "no": False}
    if isinstance(value, str) and value.casefold() in words:
        return words[value.casefold()]
    if not isinstance(value, bool):
        raise SwatchvaultError(f"{where} is {value!r}: yes or no is needed (true or false in TOML)")
    return value


def day(value: Any, where: str) -> str:
    """A date, as text or as TOML's own; none after tomorrow."""
    return not_to_come(_day(value, where), where)


def _day(value: Any, where: str) -> str:
    try:
        if isinstance(value, date) and not isinstance(value, datetime):
            return value.isoformat()
        return date.fromisoformat(text(value, where)).isoformat()
    except ValueError as error:
        raise SwatchvaultError(
            f"{where} is {str(value)!r}: a date such as 2026-03-01 is needed"
        ) from error


def moment(value: Any, where: str) -> str:
    """A date or a time, as text or as TOML's own; none after tomorrow."""
    return not_to_come(_moment(value, where), where)


def _moment(value: Any, where: str) -> str:
    try:
        if isinstance(value, date):
            return value.isoformat()
        told = text(value, where)
        if len(told) == len("2026-03-01"):
            return _day(told, where)
        return datetime.fromisoformat(told).isoformat()
    except ValueError as error:
        raise SwatchvaultError(
            f"{where} is {str(value)!r}: a time such as 2026-03-01T10:05 is needed"
        ) from error


def texts(value: Any, where: str) -> tuple[str, ...]:
    """One text, or a list of them."""
    return tuple(text(v, where) for v in (value if isinstance(value, list) else [value]))


def fibres(value: Any, where: str) -> dict[str, float]:
    """Fibres by name, in percent."""
    if not isinstance(value, dict):
        raise SwatchvaultError(f"{where} is {value!r}: write {{wool = 80, silk = 20}}")
    return {fibre: number(percent, f"{where}, {fibre}") for fibre, percent in value.items()}


def numbers(value: Any, where: str) -> tuple[float, ...]:
    """A list of numbers."""
    if not isinstance(value, list):
        raise SwatchvaultError(f"{where} is {value!r}: a list of numbers is needed")
    return tuple(number(v, where) for v in value)


def labs(value: Any, where: str) -> tuple[tuple[float, ...], ...]:
    """A list of rows [L, a, b], or one such row."""
    rows = value if isinstance(value, list) and value and isinstance(value[0], list) else [value]
    read = tuple(numbers(row, where) for row in rows)
    if any(len(row) != 3 for row in read):
        raise SwatchvaultError(f"{where}: each row needs three numbers, [L, a, b]")
    return read
