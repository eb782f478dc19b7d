"""What an amount in words comes to: a share of the goods, or as it is. One reader for plan and
pot: pure.

A percentage alone is a share of the goods. Beside a name it may as well be a strength, so it is
asked back unless it says which; beside a mass or volume it is a strength, and is never reckoned
with.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from swatchvault.amounts import (
    FRACTION,
    NUMBER,
    Amount,
    SpoonSizes,
    is_unit,
    parse_amount,
    quoted,
    spelled_out,
)
from swatchvault.errors import AmountError, SwatchvaultError
from swatchvault.typed_numbers import read_number

_PERCENT = rf"(?P<percent>{NUMBER}) ?%"
#: How a percentage says that it is of the goods.
OF_GOODS = (
    r"(?:(?:of|on)(?: the)?(?: dry)?(?: weight of)?(?: the)?(?: dry)? (?:goods|yarn|fibre|fiber)"
    r"|o\.?w\.?[fg]\.?)"
)
_NAME = r"[^0-9%]+?"
_SHARE = re.compile(
    rf"{_PERCENT}|(?:(?P<before>{_NAME}),? )?{_PERCENT.replace('percent', 'said')} {OF_GOODS}"
    rf"(?:,? (?:of )?(?P<after>{_NAME}))?",
    re.IGNORECASE,
)
_PER_100_G = re.compile(
    rf"(?P<amount>.+?) ?(?:per|/) ?100 ?g(?: {OF_GOODS})?"
    r"(?P<behind>(?:(?P<comma>,)|(?: of)?) (?P<thing>.+))?",
    re.IGNORECASE,
)
_GOODS = re.compile(rf"(?<!\w){OF_GOODS}(?!\w)", re.IGNORECASE)
_STRENGTH = re.compile(rf"(?<![0-9.,/]){_PERCENT}")
#: A number and the words after it that may be its unit, of which some have two ("fl oz").
_MEASURE = re.compile(
    rf"(?<![\w.,/-])(?P<number>{FRACTION}|{NUMBER})(?P<unit> ?[A-Za-z]+\.?)(?P<more> [A-Za-z]+\.?)?"
)
_WORD = re.compile(r"\w+")
#: Words that make another amount of the one they stand beside: several of it, a part, about, of
#: each skein. None of them names what goes in. Our choice.
_COUNTS = frozenset(
    _WORD.findall(
        "a an about and approximately batch by ca circa double dozen each eight every fibre fiber "
        "five four goods half hank hanks least less more most nine one or owf owg per plus pot "
        "quarter roughly seven six skein skeins some ten third three thrice times to twice two "
        "until up x yarn"
    )
)
_OTHER_WAYS = (
    "a share of the goods is written '2 %' or '5 mL per 100 g', and what goes in behind it, as in "
    "'5 mL per 100 g of 56 % acetic acid'"
)


@dataclass(frozen=True)
class ReadAmount:
    """An amount as typed and what it says, in one figure at most; of words without a number none.

    ``thing``: what goes in and how strong it is, where that was typed with it.
    """

    typed: str | None
    g: float | None = None
    ml: float | None = None
    percent_of_goods: float | None = None
    ml_per_100_g: float | None = None
    thing: str | None = None

    @property
    def alone(self) -> bool:
        """Whether it is a mass or volume, on all or on 100 g of the goods, and nothing else."""
        unsaid = self == ReadAmount(self.typed)
        return not unsaid and self.thing is None and "%" not in (self.typed or "")


def planned_amount(text: str | None, spoons: SpoonSizes | None = None) -> ReadAmount:
    """A planned amount: % of the goods, mL or g on 100 g of them, or a mass or volume as it is.

    Raises ``AmountError``, which says what to write, for a number that can be read in no way or in
    two.

    >>> planned_amount("2 %").percent_of_goods, planned_amount("5 mL per 100 g").ml_per_100_g
    (2.0, 5.0)
    >>> planned_amount("20 mL of 56 % acetic acid").ml
    20.0
    >>> read = planned_amount("5 mL per 100 g of 56 % acetic acid")
    >>> read.ml_per_100_g, read.percent_of_goods, read.thing
    (5.0, None, '56 % acetic acid')
    """
    typed = _one_line(text)
    if typed is None or not _has_number(typed):
        return ReadAmount(typed)
    if (share := _SHARE.fullmatch(typed)) and _names(share["before"], share["after"]):
        number = share["percent"] or share["said"]
        percent = read_number(number, "the share of the goods")
        thing = " ".join(filter(None, (share["before"], share["after"]))) or None
        return ReadAmount(typed, percent_of_goods=percent, thing=thing)
    if (per_goods := _PER_100_G.fullmatch(typed)) and _is_behind(per_goods):
        amount, before = _measure(per_goods["amount"], spoons)
        after = per_goods["thing"]
        if before and after:
            raise AmountError(
                f"amount {quoted(typed)} cannot be read: it names {quoted(before)} and "
                f"{quoted(after)}, and one thing goes in with one step; {_OTHER_WAYS}"
            )
        on_goods = ReadAmount(typed, thing=before or after)
        if amount.si_unit == "mL":
            return replace(on_goods, ml_per_100_g=amount.si_value)
        return replace(on_goods, percent_of_goods=amount.si_value)
    if strength_of(typed):
        raise AmountError(_two_ways(typed))
    try:
        return done_amount(typed, spoons)
    except AmountError as error:
        raise AmountError(f"{error}; {_OTHER_WAYS}") from error


def done_amount(text: str | None, spoons: SpoonSizes | None = None) -> ReadAmount:
    """An amount that went in: a mass or a volume, what it is of with it or not. Raises as above.

    >>> done_amount("vinegar (5 %) 60 mL")
    ReadAmount(typed='vinegar (5 %) 60 mL', g=None, ml=60.0, percent_of_goods=None, \
ml_per_100_g=None, thing='vinegar (5 %)')
    """
    typed = _one_line(text)
    if typed is None or not _has_number(typed):
        return ReadAmount(typed)
    return _read(typed, *_measure(typed, spoons))


def dye_amount(text: str | None, spoons: SpoonSizes | None = None) -> ReadAmount:
    """An amount of a dye: a mass or a volume and nothing else, for its stock says how strong it is.

    Raises as above.
    """
    typed = _one_line(text)
    if typed is None or not _has_number(typed):
        return ReadAmount(typed)
    return _read(typed, parse_amount(typed, spoons), None)


def same_thing(typed: str, other: str | None) -> str:
    """An amount with what ``other`` says goes in, where it is a mass or volume and nothing else.

    >>> same_thing("12 mL", "20 mL of 56 % acetic acid"), same_thing("2 g of salt", "4 g of acid")
    ('12 mL of 56 % acetic acid', '2 g of salt')
    """
    try:
        thing = done_amount(other).thing
    except AmountError:
        return typed
    return f"{typed.strip()} of {thing}" if thing and is_measure(typed) else typed


def is_measure(text: str) -> bool:
    """Whether a text is a mass or volume, on all or on 100 g of the goods, and nothing else."""
    try:
        return planned_amount(text).alone
    except SwatchvaultError:
        return False


def strength_of(text: str) -> bool:
    """Whether a text is a percentage and a name, such as ``5 % vinegar``: what it is of is open."""
    found = _STRENGTH.search(text)
    rest = "" if found is None else _STRENGTH.sub(" ", text, count=1)
    return any(c.isalpha() for c in rest) and _names(rest)


def _read(typed: str, amount: Amount, thing: str | None) -> ReadAmount:
    if amount.si_unit == "mL":
        return ReadAmount(typed, ml=amount.si_value, thing=thing)
    return ReadAmount(typed, g=amount.si_value, thing=thing)


def _measure(typed: str, spoons: SpoonSizes | None) -> tuple[Amount, str | None]:
    """The one mass or volume in a text, and what else is said there: a name, a strength, or both"""
    try:
        return parse_amount(typed, spoons), None
    except AmountError:
        found = _among_words(spelled_out(typed), spoons)
        if found is None:
            raise
        return found


def _among_words(text: str, spoons: SpoonSizes | None) -> tuple[Amount, str] | None:
    """As above; ``None`` where other words make another amount of it, or none is there."""
    for found in _MEASURE.finditer(text):
        for unit in (found["unit"] + (found["more"] or ""), found["unit"]):
            if not is_unit(unit):
                continue
            measure = found["number"] + unit
            beside = f"{text[: found.start()]} {text[found.start() + len(measure) :]}"
            if not _names(_STRENGTH.sub(" ", beside, count=1)):
                return None
            return parse_amount(measure, spoons), _tidy(beside)
    return None


def _is_behind(found: re.Match[str]) -> bool:
    """Whether what stands behind "per 100 g" is what goes in, or nothing does.

    Without a comma it says its strength: 100 g "of wool" are the goods.
    """
    thing = found["thing"]
    if thing is None:
        return True
    named, strengths = _STRENGTH.subn(" ", thing, count=1)
    return not _GOODS.search(thing) and _names(named) and bool(strengths or found["comma"])


def _names(*texts: str | None) -> bool:
    """Whether texts can be the name of what goes in; what was not said can."""
    said = [text for text in texts if text is not None]
    return all(
        any(c.isalpha() for c in text)
        and all(c.isalpha() or c in " ,.()'’&-" for c in text)
        and not _COUNTS & set(_WORD.findall(text.casefold()))
        for text in said
    )


def _tidy(text: str) -> str:
    return re.sub(r"^of ", "", " ".join(text.split()).strip(" ,"))


def _two_ways(typed: str) -> str:
    percent = _STRENGTH.search(typed)
    number = percent["percent"] if percent else ""
    name = _tidy(re.sub(r"\( *\)", "", _STRENGTH.sub("", typed, count=1)))
    return (
        f"amount {quoted(typed)} can be read in two ways, as {number} % of the goods and as "
        f"{number} % strong: write '{number} % of goods, {name}', or how much of it goes in, such "
        f"as '20 mL of {number} % {name}'"
    )


def _one_line(text: str | None) -> str | None:
    return None if text is None else " ".join(text.split()) or None


def _has_number(text: str) -> bool:
    return any(c.isnumeric() for c in text)
