"""What is typed on the command line for a sum, to what the sum takes: pure.

Each raises ``AmountError`` in one line that shows how to write it.
"""

from __future__ import annotations

import re
from typing import Literal

from swatchvault.acids import AcidSolution
from swatchvault.amounts import SiUnit, SpoonSizes, parse_amount
from swatchvault.costs import CostItem, Kind, cost_item
from swatchvault.dyeing import DyeWanted
from swatchvault.errors import AmountError
from swatchvault.typed_numbers import read_number

_NUMBER = r"-?[0-9]+(?:[.,][0-9]+)?"
_DYE = re.compile(
    rf"(?:(?P<name>.*?)\s+)?(?P<depth>{_NUMBER}) ?%?(?: from (?P<stock>{_NUMBER}) ?%?)?"
)
_WENT_IN = re.compile(rf"(?P<amount>.+?) of (?P<stock>{_NUMBER}) ?%?")
_ACID = re.compile(
    rf"(?P<acid>[a-z ]+?) (?P<percent>{_NUMBER})(?: ?%)?"
    rf"(?: (?P<basis>g/100 ?(?:g|mL)|by (?:mass|weight)))?"
    rf"(?:,? density (?P<density>{_NUMBER})(?: g/mL)?)?",
    re.IGNORECASE,
)
_WHOLE, _FRACTION = re.compile(r" ([0-9]+)$"), re.compile(r"[0-9]+/[0-9]")
#: The amount is the last number before the price: dyes and bases have numbers in their names.
_USED = re.compile(rf"(?P<name>.+) (?P<amount>[0-9][^ ]*(?: [^0-9 ].*?)?) at (?P<price>{_NUMBER})")


def read_dye(text: str, number: int) -> DyeWanted:
    """A dye at a depth, from a stock or as powder; one without a name is called by its number.

    >>> read_dye("Ember 0.8 from 1", 1), read_dye("0.2", 2).name
    (DyeWanted(name='Ember', depth_percent=0.8, stock_percent=1.0), 'dye 2')
    """
    found = _read(_DYE, text, '"Ember 0.8 from 1" or "Ember 0.8"')
    name = found["name"] or f"dye {number}"
    depth = read_number(found["depth"], f"the depth of {name}")
    strength = _number_or_none(found["stock"], f"the strength of the stock of {name}")
    return DyeWanted(name, depth, strength)


def read_went_in(text: str, spoons: SpoonSizes | None) -> tuple[float, float]:
    """mL of a stock that went in and its strength in g/100 mL: ``80 mL of 1``."""
    found = _read(_WENT_IN, text, '"80 mL of 1"')
    strength = read_number(found["stock"], f"the strength in {text!r}")
    return parse_amount(found["amount"], spoons).ml, strength


def read_acid(text: str) -> AcidSolution:
    """An acid with its strength and what that is of: ``acetic 5 g/100 mL``."""
    example = '"acetic 5 g/100 mL", or by mass with its density, "acetic 56 g/100 g density 1.06"'
    found = _read(_ACID, text, example)
    basis: Literal["g/100 g", "g/100 mL"] | None = None
    if found["basis"]:
        basis = "g/100 mL" if found["basis"].lower().endswith("ml") else "g/100 g"
    return AcidSolution(
        found["acid"].lower(),
        read_number(found["percent"], f"the strength in {text!r}"),
        basis,
        _number_or_none(found["density"], f"the density in {text!r}"),
    )


def read_used(kind: Kind, text: str, spoons: SpoonSizes | None) -> CostItem:
    """Something used with the price of 1000 g or mL of it: ``Ember 2.5 g at 90``.

    What goes by weight, powder and base, needs no unit: it is in grams then.
    """
    found = _read(_USED, text, '"Ember 2.5 g at 90"')
    if (whole := _WHOLE.search(found["name"])) and _FRACTION.match(found["amount"]):
        raise AmountError(
            f"{text!r} may mean {whole[1]} and a fraction, or a name that ends in {whole[1]}: "
            f"write the amount with a decimal, such as {whole[1]}.5"
        )
    price = read_number(found["price"], f"the price of {found['name']}")
    bare: SiUnit | None = None if kind == "auxiliary" else "g"
    return cost_item(kind, found["name"], parse_amount(found["amount"], spoons, bare=bare), price)


def _read(pattern: re.Pattern[str], text: str, example: str) -> re.Match[str]:
    found = pattern.fullmatch(" ".join(text.split()))
    if found is None:
        raise AmountError(f"{text!r} cannot be read: write it as {example}")
    return found


def _number_or_none(text: str | None, what: str) -> float | None:
    return None if text is None else read_number(text, what)
