"""What people type into forms and addresses, as data; what cannot be read is a sentence."""

from __future__ import annotations

import re

from swatchvault.amounts import after_one, parse_amount
from swatchvault.days import past_day
from swatchvault.errors import AmountError, SwatchvaultError
from swatchvault.typed_numbers import read_number, read_percent, row_number
from swatchvault.web.visit import Form, RefusedError, Visit


def row_id(visit: Visit, name: str = "id") -> int:
    """The number of a row in the address."""
    return int(visit.part(name))


def number(text: str, what: str) -> float:
    """A number with a point or a comma. Raises ``RefusedError``."""
    try:
        return read_number(text, what)
    except AmountError as error:
        raise RefusedError(str(error)) from None


def percent(text: str, what: str) -> float:
    """A number of per cent, its sign written or not. Raises ``RefusedError``."""
    try:
        return read_percent(text, what)
    except AmountError as error:
        raise RefusedError(str(error)) from None


def percent_or_none(text: str, what: str) -> float | None:
    """A number of per cent, or ``None`` where nothing was typed."""
    return percent(text, what) if text.strip() else None


def number_or_none(text: str, what: str) -> float | None:
    """A number, or ``None`` where nothing was typed."""
    return number(text, what) if text.strip() else None


def celsius_or_none(text: str, what: str) -> float | None:
    """Degrees Celsius, as 85, 85 C or 85,5 °C; ``None`` where nothing was typed."""
    return number_or_none(re.sub(r"\s*°?\s*[Cc]\s*$", "", text), what)


def minutes_or_none(text: str, what: str) -> float | None:
    """Minutes, as 40 or 40 min; ``None`` where nothing was typed."""
    return number_or_none(re.sub(r"\s*min\.?\s*$", "", text), what)


def ratio_or_none(text: str, what: str = "the liquor ratio") -> float | None:
    """A liquor ratio typed as 30 or 1:30, or ``None`` where nothing was typed."""
    return number_or_none(after_one(text), what)


def day_or_none(text: str, what: str) -> str | None:
    """A day that has come, or ``None`` where nothing was typed. Raises ``RefusedError``."""
    if not text.strip():
        return None
    try:
        return past_day(text, what)
    except SwatchvaultError as error:
        raise RefusedError(str(error)) from None


def grams_or_none(text: str, what: str) -> float | None:
    """A weight above 0 in g, or ``None`` where nothing was typed; a number alone is in grams."""
    amount = parse_amount(text, bare="g").g if text.strip() else None
    return _above_zero(amount, text, what)


def millilitres_or_none(text: str, what: str) -> float | None:
    """A volume above 0 in mL, or ``None`` where nothing was typed; a number alone is in mL."""
    amount = parse_amount(text, bare="mL").ml if text.strip() else None
    return _above_zero(amount, text, what)


def _above_zero(amount: float | None, text: str, what: str) -> float | None:
    if amount is not None and amount <= 0:
        raise RefusedError(f"{what} is {text}, and must be above 0")
    return amount


def whole(text: str, what: str) -> int:
    """A whole number such as a row's. Raises ``RefusedError``."""
    found = row_number(text)
    if found is None:
        raise RefusedError(f"{what} cannot be read from {text!r}: choose one on the page")
    return found


def above_zero(form: Form, name: str, what: str, default: float) -> float:
    """A number above 0 from a form, ``default`` where the field is blank."""
    typed = form.text(name)
    value = number(typed, what) if typed else default
    if value <= 0:
        raise RefusedError(f"{what} is {typed}, and must be above 0")
    return value
