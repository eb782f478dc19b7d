"""Recipes and lots as CSV or JSON text and back, nothing lost: pure.

Both hold the same records. JSON nests what belongs to a record under it; CSV has one line for
each, the column ``record`` first, and a record belongs to the nearest one above it that can own
it (a dye to its part, a part to its recipe). Unknown is a blank cell, or a key that is not there.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal

from swatchvault.errors import SwatchvaultError
from swatchvault.record_kinds import (
    COLUMNS,
    KINDS,
    OWNERS,
    Kind,
    Record,
    a_number,
    checked,
    counted,
)
from swatchvault.typed_numbers import plain_number, separator

FORMAT = "recipes and lots"
VERSION = 1


# ---------------------------------------------------------------------------------------------
# JSON
# ---------------------------------------------------------------------------------------------


def write_json(records: Sequence[Record]) -> str:
    """The records as JSON text, floats in full."""
    told = {"holds": FORMAT, "version": VERSION, **_nested(records)}
    return json.dumps(told, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def _nested(records: Sequence[Record]) -> dict[str, Any]:
    nested: dict[str, Any] = {}
    for record in records:
        nested.setdefault(record.kind, []).append({**record.facts, **_nested(record.inner)})
    return nested


def read_json(text: str) -> tuple[Record, ...]:
    """The records of JSON text. Raises ``SwatchvaultError`` in one line for anything else."""
    try:
        told = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise SwatchvaultError(f"this is no JSON: {error}") from error
    if not isinstance(told, dict) or told.get("holds") != FORMAT:
        raise SwatchvaultError(
            f'this JSON does not hold {FORMAT}: it needs "holds": "{FORMAT}" at its top'
        )
    if told.get("version") != VERSION:
        raise SwatchvaultError(
            f"the file is of version {told.get('version')!r}, this program reads version "
            f"{VERSION}: use a newer swatchvault"
        )
    rest = {k: v for k, v in told.items() if k not in ("holds", "version")}
    return _unnested(rest, KINDS, "the file")


def _unnested(told: Mapping[str, Any], kinds: Sequence[Kind], where: str) -> tuple[Record, ...]:
    known = {kind.name: kind for kind in kinds}
    for name in told:
        if name not in known:
            raise SwatchvaultError(
                f"{where}: unknown key {name!r}; records known here are "
                f"{', '.join(known) or 'none'}"
            )
    records = []
    for name, kind in known.items():
        listed = told.get(name, [])
        if not isinstance(listed, list):
            raise SwatchvaultError(f"{where}: {name!r} needs a list")
        for number, facts in enumerate(listed, 1):
            here = f"{where}, {name} {number}" if where != "the file" else f"{name} {number}"
            if not isinstance(facts, dict):
                raise SwatchvaultError(f"{here} is {facts!r}: an object with keys is needed")
            own = {k: v for k, v in facts.items() if k in kind.readers}
            rest = {k: v for k, v in facts.items() if k not in own}
            inner = _unnested(rest, kind.inner, here)
            records.append(Record(name, checked(kind, own, here), inner))
    return tuple(records)


# ---------------------------------------------------------------------------------------------
# CSV
# ---------------------------------------------------------------------------------------------

# A spreadsheet runs a cell that begins so as a formula; an apostrophe before it keeps it text.
_FORMULA = ("=", "+", "-", "@", "'")


def write_csv(records: Sequence[Record]) -> str:
    """The records as CSV text, one line each, floats in full."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    writer.writeheader()
    _write_rows(writer, records)
    return out.getvalue()


def _write_rows(writer: csv.DictWriter[str], records: Sequence[Record]) -> None:
    for record in records:
        cells = {k: _cell(v) for k, v in record.facts.items()}
        writer.writerow({"record": record.kind, **cells})
        _write_rows(writer, record.inner)


def _cell(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) else value
    return repr(value)


def read_csv(text: str) -> tuple[Record, ...]:
    """The records of CSV text; where semicolons part the columns numbers may have decimal commas.

    Raises ``SwatchvaultError`` in one line that names the line.
    """
    parted = separator(text)
    mark = "comma" if parted == "," else "semicolon"
    read_number = float if parted == "," else plain_number
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=parted, strict=True)
    columns: list[str] = []
    rows: list[tuple[str, Kind, dict[str, Any]]] = []
    try:
        for cells in reader:
            where = f"line {reader.line_num}"
            if not any(c.strip() for c in cells):
                continue
            if not columns:
                columns = _columns(cells, where)
                continue
            if len(cells) != len(columns):
                raise SwatchvaultError(
                    f"{where}: {len(cells)} values for {len(columns)} columns: put text that "
                    f"holds a {mark} in double quotes"
                )
            told = {c: v.strip() for c, v in zip(columns, cells, strict=True)}
            rows.append(_row(told, where, read_number))
    except csv.Error as error:
        raise SwatchvaultError(f"line {reader.line_num}: {error}") from error
    if not columns:
        raise SwatchvaultError("the file is empty: its first line names the columns")
    found, end = _owned_rows(rows, 0, None)
    if end < len(rows):
        where, kind, _ = rows[end]
        owner = OWNERS[kind.name][1]
        raise SwatchvaultError(
            f"{where}: a {kind.name!r} needs the {owner.name if owner else ''!r} it belongs to "
            "above it"
        )
    return found


def _columns(cells: Sequence[str], where: str) -> list[str]:
    names = [c.strip() for c in cells]
    if "record" not in names:
        raise SwatchvaultError(
            f"{where}: no column 'record': this CSV does not hold {FORMAT}, or is not separated "
            "by commas or semicolons"
        )
    for name in names:
        if name not in COLUMNS:
            raise SwatchvaultError(
                f"{where}: unknown column {name!r}; allowed are {', '.join(COLUMNS)}"
            )
        if names.count(name) > 1:
            raise SwatchvaultError(f"{where}: column {name!r} is there twice: keep one")
    return names


def _row(
    told: Mapping[str, str], where: str, read_number: Callable[[str], float]
) -> tuple[str, Kind, dict[str, Any]]:
    name = told["record"]
    if name not in OWNERS:
        raise SwatchvaultError(f"{where}: unknown record {name!r}; there are {', '.join(OWNERS)}")
    kind = OWNERS[name][0]
    where = f"{where} ({name})"
    facts: dict[str, Any] = {}
    for column, cell in told.items():
        if column == "record" or not cell:
            continue
        if column not in kind.readers:
            raise SwatchvaultError(
                f"{where}: it has no {column!r}; it has {', '.join(kind.readers)}"
            )
        here = f"{where}, {column}"
        facts[column] = _from_cell(cell, kind.readers[column], here, read_number)
    return where, kind, checked(kind, facts, where)


def _from_cell(
    cell: str,
    reader: Callable[[Any, str], Any],
    where: str,
    read_number: Callable[[str], float],
) -> Any:
    if reader in (a_number, counted):
        made: Callable[[str], Any] = int if reader is counted else read_number
        try:
            return made(cell)
        except ValueError as error:
            what = "a whole number" if made is int else "a number such as 12.5"
            raise SwatchvaultError(f"{where} is {cell!r}: {what} is needed") from error
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(_FORMULA) else cell


def _owned_rows(
    rows: Sequence[tuple[str, Kind, dict[str, Any]]], start: int, owner: Kind | None
) -> tuple[tuple[Record, ...], int]:
    """The records from ``start`` that this owner can own, and where they end."""
    allowed = KINDS if owner is None else owner.inner
    records = []
    while start < len(rows) and rows[start][1] in allowed:
        _, kind, facts = rows[start]
        inner, start = _owned_rows(rows, start + 1, kind)
        records.append(Record(kind.name, facts, inner))
    return tuple(records), start


Form = Literal["csv", "json"]


def write_records(records: Sequence[Record], form: Form) -> str:
    """The records in either form."""
    return write_csv(records) if form == "csv" else write_json(records)


def read_records(text: str, form: Form) -> tuple[Record, ...]:
    """The records of a text in either form."""
    return read_csv(text) if form == "csv" else read_json(text)
