"""Rows of the archive as plain tables, for people."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from swatchvault.archive.mend_reference import known_words
from swatchvault.colour_words import plus_minus
from swatchvault.typed_numbers import shown

#: Columns of the archive that hold 1 for yes and 0 for no.
YES_OR_NO = frozenset({"dry", "locked", "superwash", "same_dyes"})


def table_lines(header: Sequence[str], rows: Sequence[Sequence[object]]) -> list[str]:
    """A plain table, columns as wide as they need."""
    text = [[_cell(v, n) for v, n in zip(row, header, strict=True)] for row in rows]
    widths = [max([len(name), *(len(row[i]) for row in text)]) for i, name in enumerate(header)]
    lines = ["  ".join(f"{n:<{w}}" for n, w in zip(header, widths, strict=True)).rstrip()]
    lines.append("  ".join("-" * w for w in widths))
    lines += ["  ".join(f"{c:<{w}}" for c, w in zip(r, widths, strict=True)).rstrip() for r in text]
    return lines


def as_read(
    header: Sequence[str], rows: Sequence[Sequence[object]]
) -> tuple[list[str], list[list[object]]]:
    """A view's columns, no two of one name, as people read them: ± in place of a variance, yes and
    no in place of 1 and 0, a reference's values in words."""
    names = list(header)
    doubts = {f"lab_{v}": f"variance_{v}" for v in "lab" if f"lab_{v}" in names}
    kept = [n for n in names if n not in doubts.values()]
    out = []
    for row in rows:
        values = dict(zip(names, row, strict=True))
        for name in YES_OR_NO & values.keys():
            if values[name] in (0, 1):
                values[name] = "yes" if values[name] else "no"
        if "known_values" in values:
            told = "" if values["known_values"] is None else str(values["known_values"])
            values["known_values"] = known_words(str(values["kind"]), told)
        for name, variance in doubts.items():
            lab, found = values[name], values.get(variance)
            u = math.sqrt(max(found, 0.0)) if isinstance(found, float) else None
            if isinstance(lab, float):
                values[name] = plus_minus(lab, u)
        out.append([values[n] for n in kept])
    return kept, out


#: How columns are named that hold what was measured: shown as it was. Others are worked out, or of
#: a photo, and three digits say all that they hold.
_MEASURED = re.compile(r".*_(g|ml|c)|grams(_in|_out)?|minutes|ph|price_per_kg")


def _cell(value: object, name: str) -> str:
    if value is None:
        return ""
    if not isinstance(value, float):
        return str(value)
    if _MEASURED.fullmatch(name):
        return shown(value)
    return f"{value:.0f}" if abs(value) >= 1000 else f"{value:.3g}"


def sheet_lines(header: Sequence[str], rows: Sequence[Sequence[object]]) -> list[str]:
    """One row as name and value down the page, several as a table; empty values left out."""
    header, rows = as_read(header, rows)
    told = [i for i in range(len(header)) if any(row[i] is not None for row in rows)]
    told = [i for i in told if not header[i].endswith("_id") and header[i] != "id"]
    names = [header[i] for i in told]
    if len(rows) == 1 and len(told) > 3:
        width = max(len(n) for n in names)
        return [f"{n:<{width}}  {_cell(rows[0][i], n)}" for n, i in zip(names, told, strict=True)]
    return table_lines(names, [[row[i] for i in told] for row in rows])
