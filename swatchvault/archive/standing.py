"""Which masters stand: the one set last for a colourway, base and form, its swatch still of them.

A swatch or lot found to be of another base or colourway takes no master along: that one stands no
longer, no earlier one comes back in its place, and it stands again where the mistake is taken back.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from typing import Any


def still_of(master: str) -> str:
    """SQL: whether the swatch of a row of ``master`` is of its colourway, base and form."""
    return (
        "EXISTS (SELECT 1 FROM swatch AS its JOIN lot AS its_lot ON its_lot.id = its.lot_id "
        f"WHERE its.id = {master}.swatch_id AND its.base_id = {master}.base_id "
        f"AND its.form = {master}.form AND its_lot.colourway_id = {master}.colourway_id)"
    )


def in_force(master: str) -> str:
    """SQL: whether a row of ``master`` is the last of its colourway, base and form, and stands."""
    return (
        f"{still_of(master)} AND NOT EXISTS (SELECT 1 FROM master AS later "
        f"WHERE later.colourway_id = {master}.colourway_id AND later.base_id = {master}.base_id "
        f"AND later.form = {master}.form "
        f"AND (later.since, later.id) > ({master}.since, {master}.id))"
    )


#: SQL: masters that were set last and stand no longer, narrowed by a condition on ``held``.
NO_LONGER = f"""SELECT swatch.label AS swatch, colourway.name AS colourway, base.name AS base,
    held.form, held.since
FROM master AS held JOIN swatch ON swatch.id = held.swatch_id
JOIN colourway ON colourway.id = held.colourway_id JOIN base ON base.id = held.base_id
WHERE held.id = (SELECT id FROM master AS set_last WHERE set_last.colourway_id = held.colourway_id
    AND set_last.base_id = held.base_id AND set_last.form = held.form
    ORDER BY since DESC, id DESC LIMIT 1)
AND NOT {still_of("held")} AND """


def no_longer(conn: sqlite3.Connection, where: str, values: Collection[int]) -> list[str]:
    """What each such master was of and that it stands no longer, a sentence each.

    ``where``: a condition on ``held`` with a mark for each of ``values``.
    """
    cursor = conn.execute(f"{NO_LONGER}{where} ORDER BY 2, 3, 4", tuple(values))
    names = [d[0] for d in cursor.description]
    return [_sentence(dict(zip(names, row, strict=True))) for row in cursor]


def _sentence(held: dict[str, Any]) -> str:
    return (
        f"swatch {held['swatch']!r} was made the master of {held['colourway']!r} on "
        f"{held['base']!r} as {held['form']} and is of other yarn now: it stands no longer, and "
        "lots of that are held to nothing until another is made the master there"
    )
