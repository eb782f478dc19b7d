"""What people type into forms and addresses, as data; what cannot be read is a sentence."""

from __future__ import annotations

import math

from swatchvault.amounts import AMBIGUOUS
from swatchvault.web.visit import Form, RefusedError, Visit


def row_id(visit: Visit, name: str = "id") -> int:
    """The number of a row in the address."""
    return int(visit.part(name))


def number(text: str, what: str) -> float:
    """A number with a point or a comma. Raises ``RefusedError``."""
    if AMBIGUOUS.fullmatch(text.strip().lstrip("-+")):
        words = f"write {text.replace(',', '.')} or {text.replace(',', '')}"
        raise RefusedError(f"{what} is {text!r}: the comma may be decimal or thousands: {words}")
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise RefusedError(f"{what} cannot be read from {text!r}: write a number such as 2 or 1.5")
    return value


def number_or_none(text: str, what: str) -> float | None:
    """A number, or ``None`` where nothing was typed."""
    return number(text, what) if text.strip() else None


def whole(text: str, what: str) -> int:
    """A whole number such as a row's. Raises ``RefusedError``."""
    if not (text.isascii() and text.isdigit() and len(text) < 19):
        raise RefusedError(f"{what} cannot be read from {text!r}: choose one on the page")
    return int(text)


def above_zero(form: Form, name: str, what: str, default: float) -> float:
    """A number above 0 from a form, ``default`` where the field is blank."""
    typed = form.text(name)
    value = number(typed, what) if typed else default
    if value <= 0:
        raise RefusedError(f"{what} is {typed}, and must be above 0")
    return value
