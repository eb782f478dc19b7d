"""The recipe that `predict` was asked of, from words to the archive's own."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from typing import Any

import click

from swatchvault.errors import AmountError
from swatchvault.foretell_asked import depths_of
from swatchvault.typed_numbers import read_percent


def read_recipe(
    conn: sqlite3.Connection, base: str, typed: Sequence[str], told: Mapping[str, Any]
) -> dict[str, float]:
    """The recipe in % DOS by the archive's names of its dyes."""
    from swatchvault.amounts import check_number
    from swatchvault.archive import get_dye

    times = check_number("--times", told["times"], unit="times the depth", above=0.0)
    if bool(typed) == (told["colourway"] is not None):
        raise click.UsageError('say the dyes, such as "Ember=0.8", or --colourway, one of the two')
    if not typed:
        return _planned(conn, told["colourway"], told["from_base"] or base, told["version"], times)
    depths: dict[str, float] = {}
    for text in typed:
        name, _, number = text.partition("=")
        depth = read_percent(
            number,
            f"the depth of {name.strip()}",
            "write the dye, = and its depth in % of the dry goods, as Ember=0.8",
        )
        dye = get_dye(conn, name).name
        if dye in depths:
            raise AmountError(f"{dye} is named twice: give its depth once")
        depths[dye] = depth * times
    return depths


def _planned(
    conn: sqlite3.Connection, colourway: str, base: str, version: int | None, times: float
) -> dict[str, float]:
    from swatchvault.archive import get_recipe

    return depths_of(get_recipe(conn, colourway, base, version), times)
