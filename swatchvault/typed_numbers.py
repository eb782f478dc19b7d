"""Numbers as people type them, with a point or a comma, and as they are shown: one for commands
and pages."""

from __future__ import annotations

import csv
import json
import math
import re
from itertools import pairwise
from pathlib import Path

from swatchvault.errors import AmountError, ArchiveError

Triple = tuple[float, float, float]

#: Three digits after a comma may be thousands ("1,000"), unless a lone zero leads ("0,125").
_AMBIGUOUS = re.compile(r"[1-9][0-9]*,[0-9]{3}")
#: One comma and no point is a decimal comma.
_DECIMAL_COMMA = re.compile(r"^([^.,]*),([^.,]*)$")
_LENGTH = re.compile(r"([\d.,]+)\s*(mm|cm|in|inch|inches|[\"″”]|)\.?", re.IGNORECASE)
#: Millimetres in a unit; none is mm. An inch is 25.4 mm by definition (NIST Handbook 44, app. C).
_MM = {"": 1.0, "mm": 1.0, "cm": 10.0, "in": 25.4}
_WITH_COMMA = re.compile(r"[-+]?\d+,\d+")


def plain_number(text: str) -> float:
    """A number whose comma can only be decimal, as in tables and colours; else `read_number`.

    May be infinite or NaN. Raises ``ValueError``.

    >>> plain_number("2,5")
    2.5
    """
    return float(_DECIMAL_COMMA.sub(r"\1.\2", text.strip()))


def read_number(text: str, what: str = "", write: str = "write it as 2.5 (or 2,5)") -> float:
    """A finite number as a person types it, with a point or a comma; ``what`` it is of, if told.

    Raises ``AmountError`` in one line: for a comma that may be decimal or thousands with both ways
    to write it, for what is no number with ``write``.

    >>> read_number("2,5")
    2.5
    """
    said = text.strip()
    if words := ambiguous_words(said):
        named = f"{what} is {said!r}" if what else repr(said)
        raise AmountError(f"{named}: the comma may be decimal or thousands: {words}")
    try:
        value = plain_number(said)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise AmountError(f"{what or 'a number'} cannot be read from {said!r}: {write}")
    return value


def read_percent(text: str, what: str = "", write: str = "write it as 2.5 (or 2,5), in %") -> float:
    """As `read_number`, a number of per cent, its sign written or not."""
    return read_number(text.strip().removesuffix("%"), what, write)


def row_number(text: str) -> int | None:
    """The number of a row, a version or a step as an address, a form or a command has it; ``None``
    where it is no such number, or one that no row can have (SQLite's end at 19 digits).

    >>> row_number("12"), row_number("-1"), row_number("²"), row_number("9" * 19)
    (12, None, None, None)
    """
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else None


def millimetres(text: str) -> float:
    """A length in mm, or in the unit behind it: mm, cm or inches. Raises ``ValueError``.

    >>> millimetres("97,5"), millimetres("9.5 cm"), round(millimetres('3.5"'), 3)
    (97.5, 95.0, 88.9)
    """
    found = _LENGTH.fullmatch(text.strip())
    if not found or ambiguous_words(found[1]):
        raise ValueError(f"no length: {text!r}")
    return plain_number(found[1]) * _MM.get(found[2].casefold(), _MM["in"])


def shown(value: float) -> str:
    """A figure as it was weighed: to 0.01, of less than 1 to three digits, without float noise.

    >>> shown(100.6), shown(28.349523), shown(0.062499), shown(6000.0)
    ('100.6', '28.35', '0.0625', '6000')
    """
    if not math.isfinite(value) or 0 < abs(value) < 1e-4:
        return f"{value:.3g}"
    digits = 2 if value == 0 or abs(value) >= 1 else 2 - math.floor(math.log10(abs(value)))
    return f"{value:.{digits}f}".rstrip("0").rstrip(".")


def separator(text: str) -> str:
    """What parts the columns of a table as text, by its header: a comma, or the semicolon of
    spreadsheets whose decimals have commas.

    >>> separator("photo;swatch"), separator("photo,swatch")
    (';', ',')
    """
    header = next((line for line in text.splitlines() if line.strip()), "")
    return ";" if header.count(";") > header.count(",") else ","


def ambiguous_words(text: str) -> str | None:
    """How else to write a number whose comma may be decimal or thousands, such as 1,250."""
    plain = text.strip()
    if not _AMBIGUOUS.fullmatch(plain.lstrip("-+")):
        return None
    return f"write {plain.replace(',', '.')} or {plain.replace(',', '')}"


def numbers(text: str) -> tuple[float, ...]:
    """Several numbers, apart by spaces, semicolons or commas. Raises ``ValueError``.

    Where spaces or semicolons part them, a comma within one is decimal.

    >>> numbers("0.9,0.59, 0.36") == numbers("0,9 0,59 0,36") == numbers("0,9; 0,59; 0,36")
    True
    """
    found: list[float] = []
    for part in re.split(r"\s*;\s*|,?\s+", text.strip().strip(";,")):
        whole = [part] if _WITH_COMMA.fullmatch(part) else part.split(",")
        found += [plain_number(one) for one in whole]
    return tuple(found)


def reflectances(text: str, kind: str, name: str = "--y") -> tuple[float, ...]:
    """What a card or steps reflect, in the order typed. Raises ``AmountError`` in one line.

    With a sign behind each they are per cent. Steps that neither fall nor rise are refused.
    """
    try:
        found = numbers(re.sub(r"\s*%", " ", text).replace(" ,", ",").replace(" ;", ";"))
        if "%" in text and text.count("%") == len(found):
            found = tuple(v / 100.0 for v in found)
    except ValueError as error:
        raise AmountError(
            f"{name} is {text!r}; give numbers such as 0.18, for steps 0.9 0.59 0.36 and so on"
        ) from error
    if not all(math.isfinite(v) and 0.0 < v <= 1.0 for v in found):
        from ingest.marks_values import no_reflectance

        raise AmountError(f"{name} is {text!r}; {no_reflectance(found)}")
    if kind == "card" and len(found) != 1:
        raise AmountError(f"{name} has {len(found)} values; a card needs one reflectance")
    if kind == "steps" and len(found) < 2:
        raise AmountError(f"{name} has one value; steps need a reflectance for each step")
    if kind == "steps":
        _refuse_jumbled(found, name)
    return found


def lightest_first(y: tuple[float, ...]) -> tuple[float, ...]:
    """Steps as marks have them, whichever end they were read from."""
    return y if y[0] > y[-1] else y[::-1]


def _refuse_jumbled(found: tuple[float, ...], name: str) -> None:
    falling = lightest_first(found)
    for before, after in pairwise(falling):
        if after >= before:
            raise AmountError(
                f"{name} has {before:g} and {after:g} out of order: give the steps as they lie, "
                "lightest first"
            )


def read_values(path: Path) -> tuple[Triple, ...]:
    """24 rows of L*, a*, b* from a CSV without header (or JSON).

    Raises :class:`ArchiveError` where the file cannot be read or holds something else.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or "it is no text"
        raise ArchiveError(f"{path.name}: cannot be read ({why})") from error
    return chart_values(text, path.name, as_json=path.suffix.lower() == ".json")


def chart_values(text: str, name: str, *, as_json: bool = False) -> tuple[Triple, ...]:
    """24 colours, a line for each. Raises ``ArchiveError`` in one line that ``name`` begins."""
    try:
        if as_json:
            rows = [[float(v) for v in row] for row in json.loads(text)]
        else:
            rows = [_row(line) for line in text.splitlines() if line.strip()]
        found = tuple((r[0], r[1], r[2]) for r in rows)
    except (ValueError, IndexError, TypeError) as error:
        raise ArchiveError(f"{name}: each row needs three numbers L*,a*,b*") from error
    if len(found) != 24 or not all(0.0 < lab[0] <= 100.0 for lab in found):
        raise ArchiveError(f"{name}: found {len(found)} rows; needed 24 colours, L* 0 to 100")
    return found


def _row(line: str) -> list[float]:
    """A row of a spreadsheet, or of numbers apart by spaces: then commas may be decimal."""
    if any(c in line.strip() for c in ";\t "):
        return list(numbers(line))
    return [float(cell) for cell in next(csv.reader([line]))]
