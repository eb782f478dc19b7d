"""What the pot's pages read: open pots, recipes to start one from, where a dye can come from."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass, replace

from swatchvault.archive.listing import query
from swatchvault.archive.names import id_named, named_so
from swatchvault.archive.pages_shelf import packs_by_dye
from swatchvault.archive.views import DAY_OF_LOT
from swatchvault.errors import NotFound

_POTS = """SELECT lot.id AS lot_id, lot.code, colourway.name AS colourway,
(SELECT group_concat(base.name, ', ') FROM lot_base JOIN base ON base.id = lot_base.base_id
    WHERE lot_base.lot_id = lot.id) AS bases,
lot.dry_g, pot.started_at, pot.ended_at,
(SELECT kind || COALESCE(', ' || colour_left || ' left', '') FROM pot_step
    WHERE pot_step.lot_id = lot.id ORDER BY position DESC LIMIT 1) AS last_step,
(SELECT count(*) FROM pot_step WHERE pot_step.lot_id = lot.id) AS steps
FROM pot JOIN lot ON lot.id = pot.lot_id LEFT JOIN colourway ON colourway.id = lot.colourway_id
WHERE pot.started_at IS NOT NULL AND (pot.ended_at IS NULL) = :open
ORDER BY COALESCE(pot.ended_at, pot.started_at) DESC, lot.id DESC LIMIT :count"""

_RECIPES = """SELECT recipe.id AS recipe_id, colourway.name AS colourway, base.name AS base,
recipe.version, recipe.version = max(recipe.version) OVER
    (PARTITION BY colourway_id, base_id) AS newest
FROM recipe JOIN colourway ON colourway.id = recipe.colourway_id
JOIN base ON base.id = recipe.base_id
ORDER BY colourway.name, base.name, recipe.version DESC"""

_SOURCES = """SELECT dye.id AS dye_id, dye.name AS dye, stocks.stock_id, stocks.stock,
stocks.strength_percent, stocks.left_ml FROM dye LEFT JOIN stocks ON stocks.dye = dye.name
ORDER BY dye.name, stocks.mixed_on DESC, stocks.stock_id DESC"""


@dataclass(frozen=True)
class PotEntry:
    """A pot in a list; what is not known is ``None``."""

    lot_id: int
    code: str
    colourway: str | None
    bases: str | None
    dry_g: float | None
    started_at: str
    ended_at: str | None
    last_step: str | None
    steps: int


@dataclass(frozen=True)
class RecipeChoice:
    """A recipe that a pot can be started from."""

    recipe_id: int
    colourway: str
    base: str
    version: int
    newest: bool


@dataclass(frozen=True)
class DyeSource:
    """A dye and one of its stocks; powder where ``stock`` is ``None``, of ``pack`` if that is told.

    ``key``: how a form names it; ``words``: what it is called beside its dye's name.
    """

    dye_id: int
    dye: str
    stock_id: int | None
    stock: str | None
    strength_percent: float | None
    left_ml: float | None
    pack: str | None = None

    @property
    def key(self) -> str:
        if self.pack is not None:
            return f"{self.dye_id}:pack {self.pack}"
        return f"{self.dye_id}:{'powder' if self.stock_id is None else self.stock_id}"

    @property
    def words(self) -> str:
        if self.stock is not None:
            return f"stock {self.stock}"
        return "powder" if self.pack is None else f"powder of pack {self.pack}"


def pots(conn: sqlite3.Connection, *, open_now: bool, count: int = 50) -> list[PotEntry]:
    """Pots that were started and not ended, or those that were; the latest first."""
    found = query(conn, _POTS, {"open": int(open_now), "count": count})
    return [PotEntry(**row) for row in found.records()]


def recipe_choices(conn: sqlite3.Connection) -> list[RecipeChoice]:
    """All recipes by colourway and base, the newest version first."""
    return [
        RecipeChoice(**{**row, "newest": bool(row["newest"])})
        for row in query(conn, _RECIPES).records()
    ]


def dye_sources(conn: sqlite3.Connection) -> list[DyeSource]:
    """Every dye with each of its stocks, and every dye as powder (last of its dye)."""
    found = [DyeSource(**row) for row in query(conn, _SOURCES).records()]
    powders = {s.dye: DyeSource(s.dye_id, s.dye, None, None, None, None) for s in found}
    return [
        source
        for dye, powder in powders.items()
        for source in (*(s for s in found if s.dye == dye and s.stock_id), powder)
    ]


def packed_sources(conn: sqlite3.Connection) -> list[DyeSource]:
    """The same, and after each powder that of each of the dye's packs."""
    found, packs = [], packs_by_dye(conn)
    for source in dye_sources(conn):
        codes = packs.get(source.dye_id, ()) if source.stock is None else ()
        found += [source, *(replace(source, pack=code) for code in codes)]
    return found


def lot_code(conn: sqlite3.Connection, lot_id: int) -> str:
    """A lot's code by its number. Raises ``NotFound`` for one that is not there (any more)."""
    row = conn.execute("SELECT code FROM lot WHERE id = ?", (lot_id,)).fetchone()
    if row is None:
        raise NotFound("this lot is not in the archive: it was deleted, or the address is mistyped")
    return str(row[0])


def recipe_there(conn: sqlite3.Connection, recipe_id: int) -> bool:
    """Whether a recipe of that number is in the archive."""
    row = conn.execute("SELECT 1 FROM recipe WHERE id = ?", (recipe_id,)).fetchone()
    return row is not None


def lot_there(conn: sqlite3.Connection, code: str) -> bool:
    """Whether a lot has that code."""
    return bool(named_so(conn, "lot", code))


def newest_code(conn: sqlite3.Connection, colourway: str) -> str | None:
    """The code of a colourway's newest lot."""
    sql = f"SELECT lot.code FROM lot WHERE colourway_id = ? ORDER BY {DAY_OF_LOT} DESC, lot.id DESC"
    row = conn.execute(sql, (id_named(conn, "colourway", colourway),)).fetchone()
    return None if row is None else str(row[0])


def started_here(conn: sqlite3.Connection, lot_id: int) -> bool:
    """Whether the lot was started as a pot, and not written down afterwards."""
    sql = "SELECT 1 FROM pot WHERE lot_id = ? AND started_at IS NOT NULL"
    return conn.execute(sql, (lot_id,)).fetchone() is not None


@dataclass(frozen=True)
class SkeinEntry:
    """A skein of a lot with its weights."""

    label: str
    base: str
    base_lot: str | None
    grams_in: float | None
    grams_out: float | None
    lost_percent: float | None
    note: str | None


def skeins_of(conn: sqlite3.Connection, lot: str) -> list[SkeinEntry]:
    """The skeins of a lot, by label."""
    sql = (
        "SELECT skein AS label, base, base_lot, grams_in, grams_out, lost_percent, note "
        "FROM skeins WHERE lot = :lot ORDER BY skein"
    )
    return [SkeinEntry(**row) for row in query(conn, sql, {"lot": lot}).records()]


def bases_in_lot(conn: sqlite3.Connection, lot_id: int) -> list[str]:
    """The bases that are in a lot."""
    sql = (
        "SELECT base.name FROM lot_base JOIN base ON base.id = base_id WHERE lot_id = ? "
        "ORDER BY lot_base.rowid"
    )
    return [str(r[0]) for r in conn.execute(sql, (lot_id,))]
