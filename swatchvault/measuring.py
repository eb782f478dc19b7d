"""What a dyer can measure: volumes and masses as they can be poured and weighed, and what to do
where they are too small: pure."""

from __future__ import annotations

import math
from dataclasses import dataclass

from swatchvault.amounts import check_number, format_quantity, parse_amount

#: The least volume a dyer is taken to measure well. Common practice, no source: set your own.
SMALLEST_ML = 0.5

#: The least powder a scale that reads 0.01 g weighs well (within 5 %). Common practice, no source.
SMALLEST_G = 0.1

#: (up to mL, step mL): half a usual graduation of syringe or cylinder. Common practice, no source.
ROUND_STEPS_ML = (
    (1.0, 0.01),
    (3.0, 0.05),
    (10.0, 0.1),
    (100.0, 0.5),
    (500.0, 1.0),
    (math.inf, 5.0),
)

_MOST_DILUTE = 1000  # beyond this a weaker stock is the better advice; our choice


@dataclass(frozen=True)
class RoundedVolume:
    """A volume as it can be measured, beside the exact one; the sums go on with the exact one."""

    exact_ml: float
    rounded_ml: float
    step_ml: float


@dataclass(frozen=True)
class Measurable:
    """Whether a volume can be measured, and if not, the dilution to measure instead.

    ``dilute_to_parts`` 10 means one part made up to ten. It is ``None`` where no dilution is
    needed, and where even the weakest offered (1:1000) would not help (``words`` says so).
    """

    exact_ml: float
    smallest_ml: float
    measurable: bool
    dilute_to_parts: int | None
    take_ml: float | None
    make_up_to_ml: float | None
    measure_ml: float | None
    words: str


def round_measure(volume_ml: float) -> RoundedVolume:
    """Round to the step of :data:`ROUND_STEPS_ML` that fits the size.

    >>> round_measure(7.4666).rounded_ml
    7.5
    """
    exact = check_number("the volume", volume_ml, unit="mL", low=0.0)
    step = next(step for limit, step in ROUND_STEPS_ML if exact <= limit)
    return RoundedVolume(exact, round(math.floor(exact / step + 0.5) * step, 2), step)


def check_measurable(volume_ml: float, smallest_ml: float = SMALLEST_ML) -> Measurable:
    """Say whether ``volume_ml`` can be measured; offer 1:10, 1:100 or 1:1000 where it cannot."""
    exact = check_number("the volume", volume_ml, unit="mL", low=0.0)
    smallest = check_number("the smallest measurable volume", smallest_ml, unit="mL", above=0.0)
    if exact == 0 or exact >= smallest:
        words = f"{format_quantity(exact, 'mL', 3)} can be measured."
        return Measurable(exact, smallest, True, None, None, None, None, words)
    too_small = (
        f"{format_quantity(exact, 'mL', 3)} is under the {smallest:g} mL that you can measure"
    )
    parts = 10
    while exact * parts < smallest:
        parts *= 10
    if parts > _MOST_DILUTE:
        words = f"{too_small}, even after diluting 1:{_MOST_DILUTE}: mix a weaker stock."
        return Measurable(exact, smallest, False, None, None, None, None, words)
    take = max(1.0, smallest)  # then what is measured never exceeds what was made
    words = (
        f"{too_small}: dilute 1:{parts} ({take:g} mL made up to {take * parts:g} mL with water), "
        f"then measure {format_quantity(exact * parts, 'mL', 3)}."
    )
    return Measurable(exact, smallest, False, parts, take, take * parts, exact * parts, words)


def pour_words(volume_ml: float, smallest_ml: float = SMALLEST_ML) -> tuple[str, str | None]:
    """A volume as it can be poured, and the dilution to measure instead where it is too small.

    >>> pour_words(7.4666)
    ('7.5 mL', None)
    """
    found = check_measurable(volume_ml, smallest_ml)
    words = format_quantity(round_measure(volume_ml).rounded_ml, "mL")
    return (words, None) if found.measurable else (format_quantity(volume_ml, "mL", 3), found.words)


def weigh_words(mass_g: float, smallest_g: float = SMALLEST_G) -> tuple[str, str | None]:
    """A mass as a scale that reads 0.01 g shows it (0.1 g from 100 g on), and a hint if too small.

    >>> weigh_words(2.504)
    ('2.5 g', None)
    """
    if mass_g == 0 or mass_g >= smallest_g:
        return format_quantity(round(mass_g, 2 if mass_g < 100 else 1), "g"), None
    words = format_quantity(mass_g, "g", 3)
    return words, f"{words} is under the {smallest_g:g} g that a scale weighs well: use a stock."


def held_words(dye_g: float, stock_ml: float, poured: str) -> str:
    """The dye in what is ``poured`` of a stock, as `pour_words` rounds it: not quite ``dye_g``.

    >>> held_words(9.08, 908.0, "910 mL")
    '9.1 g'
    """
    share = parse_amount(poured).ml / stock_ml if stock_ml else 1.0
    return weigh_words(dye_g * share)[0]
