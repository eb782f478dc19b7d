"""What of a base can be put right: its fibres, its price and whether it is superwash."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Mapping

from swatchvault.archive.rows import insert
from swatchvault.archive.studio import FIBRE_SUM_TOLERANCE, fibres_of
from swatchvault.archive.values import named
from swatchvault.errors import ArchiveError
from swatchvault.typed_numbers import read_number

Fact = float | str | None

_YES_NO = {1: "yes", 0: "no"}
_FIBRE = re.compile(r"([0-9]+(?:[.,][0-9]+)?) ?%? ?([^0-9%].*)")


def fibre_words(fibres: Mapping[str, float]) -> str:
    """Fibres as they are written, the largest first: ``80 % wool, 20 % silk``."""
    largest = sorted(fibres.items(), key=lambda f: (-f[1], f[0]))
    return ", ".join(f"{percent:g} % {fibre}" for fibre, percent in largest)


def read_fibres(text: str) -> dict[str, float]:
    """Fibres as `fibre_words` writes them.

    Raises ``SwatchvaultError`` for what cannot be read, and where they make no 100 %.

    >>> read_fibres("80 % wool, 20 % silk")
    {'wool': 80.0, 'silk': 20.0}
    """
    fibres: dict[str, float] = {}
    for said in re.split(r"[,;] +|;", text.strip()):
        found = _FIBRE.fullmatch(said.strip())
        if not found:
            raise ArchiveError(
                f"fibre {said.strip()!r} cannot be read: write such as 80 % wool, 20 % silk"
            )
        fibre = named(found[2], "name of a fibre")
        fibres[fibre] = fibres.get(fibre, 0.0) + read_number(found[1], f"the share of {fibre}")
    total = sum(fibres.values())
    if abs(total - 100.0) > FIBRE_SUM_TOLERANCE:
        raise ArchiveError(f"these fibres sum to {total:g} %: 100 % is needed")
    return fibres


def base_facts(conn: sqlite3.Connection, base_id: int) -> dict[str, Fact]:
    """What can be put right, as it is; ``None`` where it is not known."""
    sql = "SELECT price_per_kg, superwash FROM base WHERE id = ?"
    price, superwash = conn.execute(sql, (base_id,)).fetchone()
    return {
        "fibres": fibre_words(fibres_of(conn, base_id)) or None,
        "price_per_kg": price,
        "superwash": _YES_NO.get(superwash),
    }


def set_fibres(
    conn: sqlite3.Connection, base_id: int, facts: Mapping[str, Fact]
) -> dict[str, Fact]:
    """Put fibres right that are among ``facts``; the rest as columns of the base."""
    columns = {field: value for field, value in facts.items() if field != "fibres"}
    if "superwash" in columns:
        columns["superwash"] = {"yes": 1, "no": 0}[str(columns["superwash"])]
    if "fibres" in facts:
        conn.execute("DELETE FROM base_fibre WHERE base_id = ?", (base_id,))
        for fibre, percent in read_fibres(str(facts["fibres"])).items():
            insert(conn, "base_fibre", {"base_id": base_id, "fibre": fibre, "percent": percent})
    return columns
