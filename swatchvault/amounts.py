"""Amounts as a dyer types them, kept beside their millilitres or grams.

A volume stays a volume and a mass stays a mass: nothing here turns one into the other, because
a spoon of powder has no known mass. ``oz`` is the ounce of mass; the volume is ``fl oz``.
"""

from __future__ import annotations

import math
import numbers
import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from swatchvault.errors import AmountError
from swatchvault.typed_numbers import ambiguous_words, plain_number

SiUnit = Literal["mL", "g"]

# NIST Handbook 44, appendix C: defined (exact) values of the US customary units.
US_FLUID_OUNCE_ML = 29.5735295625
AVOIRDUPOIS_OUNCE_G = 28.349523125
AVOIRDUPOIS_POUND_G = 16 * AVOIRDUPOIS_OUNCE_G


@dataclass(frozen=True)
class SpoonSizes:
    """Sizes of the household measures in mL: a setting, for they differ between countries.

    The defaults are common practice, no single source.
    """

    tsp_ml: float = 5.0
    tbsp_ml: float = 15.0
    cup_ml: float = 240.0

    def __post_init__(self) -> None:
        for name in ("tsp_ml", "tbsp_ml", "cup_ml"):
            check_number(f"the size {name}", getattr(self, name), above=0.0, unit="mL")


@dataclass(frozen=True)
class Amount:
    """What was typed, what it was read as, and the same in mL or g."""

    typed: str
    value: float
    unit: str
    si_value: float
    si_unit: SiUnit

    @property
    def ml(self) -> float:
        """Millilitres. Raises ``AmountError`` for a mass: its volume is not known."""
        return self._in("mL", "volume")

    @property
    def g(self) -> float:
        """Grams. Raises ``AmountError`` for a volume: its mass is not known."""
        return self._in("g", "mass")

    def _in(self, si_unit: SiUnit, kind: str) -> float:
        if self.si_unit != si_unit:
            raise AmountError(
                f"{self.typed!r} is no {kind}: a {kind} is needed here, and a volume is never "
                "turned into a mass or back; measure it again as what is asked"
            )
        return self.si_value


UNITS = ("mL", "L", "tsp", "tbsp", "cup", "fl oz", "g", "kg", "oz", "lb")

_NAMES: Mapping[str, str] = {
    name: unit
    for unit, names in {
        "mL": "ml milliliter milliliters millilitre millilitres",
        "L": "l liter liters litre litres",
        "tsp": "tsp tsps teaspoon teaspoons",
        "tbsp": "tbsp tbsps tablespoon tablespoons",
        "cup": "cup cups",
        "fl oz": "floz fluidounce fluidounces flounce flounces",
        "g": "g gram grams gramme grammes",
        "kg": "kg kgs kilo kilos kilogram kilograms kilogramme kilogrammes",
        "oz": "oz ounce ounces",
        "lb": "lb lbs pound pounds",
    }.items()
    for name in names.split()
}

#: No digit grouping, exponent or sign: what is left can be read in one way only.
NUMBER = r"(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
#: A fraction, with whole ones before it or not.
FRACTION = r"(?:[0-9]+[ -])?[0-9]+ ?/ ?[0-9]+"
_UNIT = r" ?(?:[A-Za-z][A-Za-z. ]*)?"
_AMOUNT = re.compile(
    rf"(?:(?P<whole>[0-9]+)(?: |-))?(?P<top>[0-9]+) ?/ ?(?P<bottom>[0-9]+)(?P<u1>{_UNIT})"
    rf"|(?P<number>{NUMBER})(?P<u2>{_UNIT})"
)
_FRACTION_SIGNS = {"½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅓": " 1/3", "⅔": " 2/3", "⅛": " 1/8"}

_MOST = 1e12  # no dye kitchen reaches this; our choice, so that no sum overflows


def after_one(text: str) -> str:
    """What a liquor ratio is typed as, without its "1:": 30 and 1:30 are the same.

    >>> after_one("1:30"), after_one(" 1 : 27,5"), after_one("30")
    ('30', '27,5', '30')
    """
    return re.sub(r"^\s*1\s*:\s*", "", text)


def check_number(
    name: str,
    value: object,
    *,
    unit: str,
    above: float | None = None,
    low: float | None = None,
    high: float | None = None,
) -> float:
    """Return ``value`` as a float within bounds, else raise ``AmountError`` in one line.

    ``above`` is a bound that is itself refused, ``low`` and ``high`` are allowed. NaN, infinity
    and anything beyond 1e12 are always refused.
    """
    if isinstance(value, bool) or not isinstance(value, numbers.Real):
        raise AmountError(f"{name} is {value!r}: a number in {unit} is needed")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not abs(number) <= _MOST:  # so written, NaN is refused too
        raise AmountError(f"{name} is {number:g}: a number in {unit} that can be real is needed")
    if above is not None and number <= above:
        raise AmountError(f"{name} is {number:g} {unit}: more than {above:g} {unit} is needed")
    if low is not None and number < low:
        raise AmountError(f"{name} is {number:g} {unit}: at least {low:g} {unit} is needed")
    if high is not None and number > high:
        raise AmountError(f"{name} is {number:g} {unit}: at most {high:g} {unit} makes sense")
    return number


def parse_amount(
    text: str, spoons: SpoonSizes | None = None, *, bare: SiUnit | None = None
) -> Amount:
    """Read an amount such as ``"12.5 mL"``, ``"1 1/2 cup"``, ``"0,5 g"`` or ``"2 fl. oz."``.

    Units in any case, singular or plural: mL, L, tsp, tbsp, cup, fl oz, g, kg, oz, lb. ``bare``:
    the unit of a number without one, where only one can be meant, and typed with it. Raises
    ``AmountError`` for anything that is not one number and one known unit, and for a comma that
    may be decimal or thousands.

    >>> parse_amount("1 1/2 tsp").si_value
    7.5
    """
    if not isinstance(text, str):
        raise AmountError(f"{text!r} is no text: needed an amount such as '12 mL'")
    found = _AMOUNT.fullmatch(spelled_out(text))
    if found is None:
        raise _unreadable(text, "a number and a unit are needed, such as '12.5 mL' or '1/2 tsp'")
    if bare and not (found["u1"] or found["u2"] or "").strip():
        return parse_amount(f"{text.strip()} {bare}", spoons)
    name = _bare(found["u1"] or found["u2"] or "")
    unit = _NAMES.get(name)
    if unit is None:
        raise _unreadable(text, f"{name!r} is no unit known here" if name else "it has no unit")
    return _amount(text, _value(text, found), unit, spoons)


def with_unit(text: str, unit: SiUnit) -> str:
    """A number with the one unit that can be meant; any other text as it is.

    >>> with_unit("60", "mL"), with_unit("1/2", "g"), with_unit("4 tbsp", "mL")
    ('60 mL', '1/2 g', '4 tbsp')
    """
    alone = re.fullmatch(rf"{FRACTION}|{NUMBER}", spelled_out(text))
    return f"{text.strip()} {unit}" if alone else text


def is_unit(text: str) -> bool:
    """Whether a text is a unit as :func:`parse_amount` knows it: ``mL``, ``fl. oz.``, ``cups``."""
    return _bare(text) in _NAMES


def _bare(unit: str) -> str:
    return unit.replace(".", "").replace(" ", "").lower()


def spelled_out(text: str) -> str:
    """A text in one line, its signs for fractions as numbers.

    >>> spelled_out("1½ tsp")
    '1 1/2 tsp'
    """
    for sign, written in _FRACTION_SIGNS.items():
        text = text.replace(sign, written)
    return " ".join(text.replace("\u2044", "/").split())


def _amount(typed: str, value: float, unit: str, spoons: SpoonSizes | None) -> Amount:
    factor, si_unit = _si(unit, spoons or SpoonSizes())
    si_value = value * factor
    if not si_value <= _MOST:
        raise _unreadable(typed, "the number is too large")
    return Amount(typed=typed, value=value, unit=unit, si_value=si_value, si_unit=si_unit)


def _si(unit: str, spoons: SpoonSizes) -> tuple[float, SiUnit]:
    volumes = {
        "mL": 1.0,
        "L": 1000.0,
        "tsp": spoons.tsp_ml,
        "tbsp": spoons.tbsp_ml,
        "cup": spoons.cup_ml,
        "fl oz": US_FLUID_OUNCE_ML,
    }
    masses = {"g": 1.0, "kg": 1000.0, "oz": AVOIRDUPOIS_OUNCE_G, "lb": AVOIRDUPOIS_POUND_G}
    return (volumes[unit], "mL") if unit in volumes else (masses[unit], "g")


def _value(text: str, found: re.Match[str]) -> float:
    number = found["number"]
    if number is None:
        bottom = Decimal(found["bottom"])
        if not bottom:
            raise _unreadable(text, "a fraction cannot have 0 below the line")
        return float(Decimal(found["whole"] or 0) + Decimal(found["top"]) / bottom)
    if words := ambiguous_words(number):
        raise _unreadable(text, f"the comma may be decimal or thousands: {words}")
    return plain_number(number)


def _unreadable(text: str, why: str) -> AmountError:
    known = ", ".join(UNITS)
    return AmountError(f"amount {quoted(text)} cannot be read: {why}; units known: {known}")


def quoted(text: str) -> str:
    """What was typed, as an error shows it: its beginning where it is long."""
    return repr(text if len(text) <= 40 else text[:40] + "...")


def format_quantity(value: float, unit: str, digits: int | None = None) -> str:
    """``"12.5 mL"``: no exponent; every digit, or ``digits`` significant ones.

    Without ``digits``, :func:`parse_amount` reads the same number back.
    """
    number = check_number("the amount", value, unit=unit)
    if digits is not None and number:
        number = round(number, digits - 1 - math.floor(math.log10(abs(number))))
    written = format(Decimal(repr(number + 0.0)), "f")
    if "." in written:
        written = written.rstrip("0").rstrip(".")
    return f"{written} {unit}"
