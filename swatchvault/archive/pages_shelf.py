"""What the shelf's pages read: dyes with their packs and stocks, and bases with what came in."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass

from swatchvault.archive.let_go import what_belongs
from swatchvault.archive.listing import Rows, query
from swatchvault.archive.views import GONE_IN
from swatchvault.errors import NotFound

_STOCKS = """SELECT stocks.stock_id, dye.id AS dye_id, stocks.dye, stocks.stock AS code,
stocks.pack, stocks.strength_percent, stocks.grams, stocks.made_up_to_ml, stocks.mixed_on,
stocks.left_seen_ml, stocks.left_seen_on, stocks.left_ml, stocks.note
FROM stocks JOIN dye ON dye.name = stocks.dye"""

_DYES = f"""SELECT dye.id, dye.name, dye.family, dye.note,
(SELECT count(*) FROM dye_pack WHERE dye_pack.dye_id = dye.id) AS packs,
(SELECT count(*) FROM (SELECT DISTINCT lot_id FROM {GONE_IN} AS used WHERE used.dye_id = dye.id))
    AS lots
FROM dye ORDER BY dye.name"""

#: The newest stocks of each dye, as many as ``:newest``.
_NEWEST = """stocks.stock_id IN (SELECT id FROM (SELECT id, row_number() OVER (PARTITION BY dye_id
ORDER BY mixed_on DESC, id DESC) AS place FROM stock) WHERE place <= :newest)"""

_BASES = """SELECT base.id, base.name, base.superwash, base.construction, base.halo,
base.price_per_kg, base.note,
(SELECT group_concat(printf('%g %% %s', percent, fibre), ', ') FROM
    (SELECT * FROM base_fibre WHERE base_id = base.id ORDER BY percent DESC, fibre)) AS fibres,
(SELECT count(*) FROM lot_base WHERE lot_base.base_id = base.id) AS lots,
(SELECT group_concat(label, ', ') FROM
    (SELECT label FROM base_lot WHERE base_id = base.id ORDER BY received_on DESC, id DESC))
    AS deliveries
FROM base ORDER BY base.name"""

_PACKS = "SELECT code, opened_on, note FROM dye_pack WHERE dye_id = :id ORDER BY opened_on, id"

_LOTS_WITH = """SELECT lot.id AS lot_id, used.lot, used.colourway, used.dyed_on, used.pack,
used.stock, used.amount, used.depth_percent FROM dyes_used AS used
JOIN lot ON lot.id = used.lot_id WHERE used.dye = :name ORDER BY used.dyed_on DESC, lot.id DESC
LIMIT :count"""

_RECIPES_WITH = """SELECT recipe.id AS recipe_id, colourway.name AS colourway, base.name AS base,
recipe.version, part.name AS part, line.depth_percent
FROM recipe_dye AS line JOIN recipe_part AS part ON part.id = line.recipe_part_id
JOIN recipe ON recipe.id = part.recipe_id JOIN colourway ON colourway.id = recipe.colourway_id
JOIN base ON base.id = recipe.base_id WHERE line.dye_id = :id
ORDER BY colourway.name, base.name, recipe.version DESC"""


@dataclass(frozen=True)
class StockOnShelf:
    """A stock with what should be left of it; what is not known is ``None``."""

    stock_id: int
    dye_id: int
    dye: str
    code: str
    pack: str | None
    strength_percent: float
    grams: float
    made_up_to_ml: float
    mixed_on: str | None
    left_seen_ml: float | None
    left_seen_on: str | None
    left_ml: float | None
    note: str | None


@dataclass(frozen=True)
class DyeOnShelf:
    """A dye with how many packs there are and in how many lots it went."""

    id: int
    name: str
    family: str | None
    note: str | None
    packs: int
    lots: int


@dataclass(frozen=True)
class BaseOnShelf:
    """A base with its fibres in words and its deliveries, the latest first."""

    id: int
    name: str
    superwash: int | None
    construction: str | None
    halo: str | None
    price_per_kg: float | None
    note: str | None
    fibres: str | None
    lots: int
    deliveries: str | None


def dyes_on_shelf(conn: sqlite3.Connection) -> list[DyeOnShelf]:
    """All dyes, by name."""
    return [DyeOnShelf(**row) for row in query(conn, _DYES).records()]


def bases_on_shelf(conn: sqlite3.Connection) -> list[BaseOnShelf]:
    """All bases, by name."""
    return [BaseOnShelf(**row) for row in query(conn, _BASES).records()]


def stocks_on_shelf(
    conn: sqlite3.Connection, dye_id: int | None = None, newest: int | None = None
) -> list[StockOnShelf]:
    """The stocks of a dye, or of all; by dye, the newest first, and of each no more than that."""
    order = "ORDER BY stocks.dye, stocks.mixed_on DESC, stocks.stock_id DESC"
    asked = [] if dye_id is None else ["dye.id = :id"]
    asked += [] if newest is None else [_NEWEST]
    where = f"WHERE {' AND '.join(asked)} " if asked else ""
    found = query(conn, f"{_STOCKS} {where}{order}", {"id": dye_id, "newest": newest})
    return [StockOnShelf(**row) for row in found.records()]


def stock_numbers(conn: sqlite3.Connection) -> set[int]:
    """The numbers of all stocks."""
    return {int(row[0]) for row in conn.execute("SELECT id FROM stock")}


def packs_by_dye(conn: sqlite3.Connection) -> dict[int, list[str]]:
    """The codes of each dye's packs, by the dye's id, the latest opened first."""
    found: dict[int, list[str]] = {}
    sql = "SELECT dye_id, code FROM dye_pack ORDER BY opened_on DESC, id DESC"
    for dye_id, code in conn.execute(sql):
        found.setdefault(int(dye_id), []).append(str(code))
    return found


def stock_on_shelf(conn: sqlite3.Connection, stock_id: int) -> StockOnShelf:
    """One stock by its number. Raises ``NotFound``."""
    found = query(conn, f"{_STOCKS} WHERE stocks.stock_id = :id", {"id": stock_id}).records()
    if not found:
        raise NotFound("this stock is not on the shelf: load the page again")
    return StockOnShelf(**found[0])


@dataclass(frozen=True)
class DyePage:
    """One dye with all that belongs to it. ``never_used``: numbers of stocks that can go."""

    dye: DyeOnShelf
    packs: Rows
    stocks: list[StockOnShelf]
    lots: list[dict[str, object]]
    recipes: list[dict[str, object]]
    never_used: frozenset[int]


def dye_page(conn: sqlite3.Connection, dye_id: int, count: int = 200) -> DyePage:
    """A dye by its number, with the lots it went into, the latest first. Raises ``NotFound``."""
    dye = next((d for d in dyes_on_shelf(conn) if d.id == dye_id), None)
    if dye is None:
        raise NotFound("this dye is not in the archive")
    values = {"id": dye_id, "name": dye.name, "count": count}
    stocks = stocks_on_shelf(conn, dye_id)
    numbers = [s.stock_id for s in stocks]
    return DyePage(
        dye,
        query(conn, _PACKS, values),
        stocks,
        query(conn, _LOTS_WITH, values).records(),
        query(conn, _RECIPES_WITH, values).records(),
        frozenset(n for n in numbers if not what_belongs(conn, "stock", n)),
    )
