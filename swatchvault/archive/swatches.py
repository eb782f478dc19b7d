"""Which swatches there are, of which lot, colourway, base and form."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from swatchvault.archive.names import find, id_named, named_so
from swatchvault.archive.values import clean
from swatchvault.archive.views import DAY_OF_LOT

_SELECT = (
    f"SELECT swatch.id, swatch.label, swatch.form, base.name, lot.id, lot.code, lot.dyed_on, "
    f"colourway.name, {DAY_OF_LOT} AS day FROM swatch JOIN base ON base.id = swatch.base_id "
    "LEFT JOIN lot ON lot.id = swatch.lot_id "
    "LEFT JOIN colourway ON colourway.id = lot.colourway_id "
)


def swatch_there(conn: sqlite3.Connection, label: str) -> bool:
    """Whether a swatch is called so."""
    return bool(named_so(conn, "swatch", clean(label, "swatch") or ""))


@dataclass(frozen=True)
class SwatchFacts:
    """A swatch and what it is of; lot and colourway are ``None`` for undyed yarn.

    ``day``: ``dyed_on``, else the day of the lot's first photo.
    """

    swatch_id: int
    swatch: str
    form: str
    base: str
    lot_id: int | None
    lot: str | None
    dyed_on: str | None
    colourway: str | None
    day: str | None

    @property
    def by_photo(self) -> bool:
        """Whether its day is that of the lot's first photo."""
        return self.day is not None and self.dyed_on is None


def swatch_facts(conn: sqlite3.Connection, label: str) -> SwatchFacts:
    """What a swatch is of. Raises ``NotFound`` with the nearest labels."""
    row = conn.execute(f"{_SELECT}WHERE swatch.id = ?", (find(conn, "swatch", label),)).fetchone()
    return SwatchFacts(*row)


def swatches_of_lot(conn: sqlite3.Connection, lot: str) -> list[SwatchFacts]:
    """The swatches of a lot, in the order they were told. Raises ``NotFound`` for no such lot."""
    rows = conn.execute(f"{_SELECT}WHERE lot.id = ? ORDER BY swatch.id", (find(conn, "lot", lot),))
    return [SwatchFacts(*row) for row in rows]


def swatch_ids_named(conn: sqlite3.Connection, name: str) -> list[int]:
    """The swatches of the lot of that code, else the swatch of that label; ``NotFound``."""
    lot_id = id_named(conn, "lot", clean(name, "name") or "")
    of_lot = conn.execute("SELECT id FROM swatch WHERE lot_id = ? ORDER BY id", (lot_id,))
    return [int(r[0]) for r in of_lot] or [find(conn, "swatch", name)]


def swatches_of_colourway(
    conn: sqlite3.Connection, colourway: str, base: str | None = None, form: str | None = None
) -> list[SwatchFacts]:
    """The swatches of a colourway's lots, oldest lot first."""
    wanted: list[object] = [find(conn, "colourway", colourway)]
    where = "WHERE lot.colourway_id = ? "
    if base is not None:
        where += "AND swatch.base_id = ? "
        wanted.append(find(conn, "base", base))
    if form is not None:
        where += "AND swatch.form = ? "
        wanted.append(form)
    order = "ORDER BY day, lot.id, swatch.id"
    return [SwatchFacts(*row) for row in conn.execute(_SELECT + where + order, wanted)]


def colourway_names(conn: sqlite3.Connection) -> list[str]:
    """Every colourway, by name."""
    return [str(row[0]) for row in conn.execute("SELECT name FROM colourway ORDER BY name")]
