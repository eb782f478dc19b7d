"""Things read back as they were told, by the names that people use."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

from ingest.model import Light
from swatchvault.archive.entities import (
    Base,
    BaseLot,
    Colourway,
    Dye,
    DyeIn,
    DyePack,
    Lot,
    OwnedReference,
    PotStep,
    Setup,
    Skein,
    Stock,
    Swatch,
)
from swatchvault.archive.names import find, find_of
from swatchvault.archive.studio import fibres_of
from swatchvault.archive.values import tri


def get_base(conn: sqlite3.Connection, name: str) -> Base:
    """The base of that name, its fibres the largest first."""
    row = _row(conn, "SELECT * FROM base WHERE id = ?", find(conn, "base", name))
    facts = {**_named(row, "name", "construction", "halo", "price_per_kg", "note")}
    return Base(fibres=fibres_of(conn, row["id"]), superwash=tri(row["superwash"]), **facts)


def get_base_lot(conn: sqlite3.Connection, base: str, label: str) -> BaseLot:
    """One delivery of a base."""
    sql = (
        "SELECT base.name AS base, base_lot.* FROM base_lot JOIN base ON base.id = base_id "
        "WHERE base_lot.id = ?"
    )
    row = _row(conn, sql, find_of(conn, "base_lot", find(conn, "base", base), label))
    return BaseLot(**_named(row, "base", "label", "received_on", "note"))


def get_dye(conn: sqlite3.Connection, name: str) -> Dye:
    """The dye of that name."""
    row = _row(conn, "SELECT * FROM dye WHERE id = ?", find(conn, "dye", name))
    return Dye(**_named(row, "name", "family", "note"))


def get_dye_pack(conn: sqlite3.Connection, dye: str, code: str) -> DyePack:
    """One jar or packet of a dye."""
    sql = (
        "SELECT dye.name AS dye, dye_pack.* FROM dye_pack JOIN dye ON dye.id = dye_id "
        "WHERE dye_pack.id = ?"
    )
    row = _row(conn, sql, find_of(conn, "dye_pack", find(conn, "dye", dye), code))
    return DyePack(**_named(row, "dye", "code", "opened_on", "note"))


def get_stock(conn: sqlite3.Connection, dye: str, code: str) -> Stock:
    """One stock solution of a dye."""
    sql = (
        "SELECT dye.name AS dye, dye_pack.code AS pack, stock.* FROM stock "
        "JOIN dye ON dye.id = stock.dye_id LEFT JOIN dye_pack ON dye_pack.id = dye_pack_id "
        "WHERE stock.id = ?"
    )
    row = _row(conn, sql, find_of(conn, "stock", find(conn, "dye", dye), code))
    names = ("dye", "code", "grams", "made_up_to_ml", "pack", "mixed_on", "left_ml")
    return Stock(**_named(row, *names, "left_seen_on", "note"))


def get_colourway(conn: sqlite3.Connection, name: str) -> Colourway:
    """The colourway of that name."""
    row = _row(conn, "SELECT * FROM colourway WHERE id = ?", find(conn, "colourway", name))
    return Colourway(**_named(row, "name", "note"))


def get_lot(conn: sqlite3.Connection, code: str) -> Lot:
    """A lot with its bases, the dyes that went in, the pot's log and its skeins."""
    sql = (
        "SELECT lot.*, colourway.name AS colourway, recipe.version AS recipe_version, "
        "earlier.code AS overdyes FROM lot LEFT JOIN colourway ON colourway.id = lot.colourway_id "
        "LEFT JOIN recipe ON recipe.id = lot.recipe_id "
        "LEFT JOIN lot AS earlier ON earlier.id = lot.overdyes_lot_id WHERE lot.id = ?"
    )
    lot_id = find(conn, "lot", code)
    row = _row(conn, sql, lot_id)
    bases = (
        "SELECT base.name FROM lot_base JOIN base ON base.id = base_id WHERE lot_id = ? "
        "ORDER BY lot_base.rowid"
    )
    dyes = (
        "SELECT dye.name, amount, dye_pack.code, stock.code FROM lot_dye "
        "JOIN dye ON dye.id = lot_dye.dye_id "
        "LEFT JOIN dye_pack ON dye_pack.id = lot_dye.dye_pack_id "
        "LEFT JOIN stock ON stock.id = stock_id WHERE lot_id = ? ORDER BY position"
    )
    steps = (
        "SELECT kind, at, amount, temperature_c, minutes, ph, colour_left, note FROM pot_step "
        "WHERE lot_id = ? ORDER BY position"
    )
    skeins = (
        "SELECT skein.label, skein.grams_in, skein.grams_out, base.name, base_lot.label, "
        "before_lot.code, before.label, skein.note FROM skein "
        "JOIN base ON base.id = skein.base_id "
        "LEFT JOIN base_lot ON base_lot.id = skein.base_lot_id "
        "LEFT JOIN skein AS before ON before.id = skein.from_skein_id "
        "LEFT JOIN lot AS before_lot ON before_lot.id = before.lot_id "
        "WHERE skein.lot_id = ? ORDER BY skein.id"
    )
    names = ("code", "colourway", "recipe_version", "overdyes", "dyed_on", "dry_g", "liquor_ml")
    return Lot(
        bases=tuple(str(r[0]) for r in conn.execute(bases, (lot_id,))),
        dyes_in=tuple(DyeIn(*r) for r in conn.execute(dyes, (lot_id,))),
        steps=tuple(PotStep(*r) for r in conn.execute(steps, (lot_id,))),
        skeins=tuple(Skein(*r) for r in conn.execute(skeins, (lot_id,))),
        **_named(row, *names, "water", "note"),
    )


def get_swatch(conn: sqlite3.Connection, label: str) -> Swatch:
    """The swatch of that label."""
    sql = (
        "SELECT swatch.*, base.name AS base, lot.code AS lot, skein.label AS skein, "
        "base_lot.label AS base_lot FROM swatch JOIN base ON base.id = swatch.base_id "
        "LEFT JOIN lot ON lot.id = swatch.lot_id LEFT JOIN skein ON skein.id = swatch.skein_id "
        "LEFT JOIN base_lot ON base_lot.id = swatch.base_lot_id WHERE swatch.id = ?"
    )
    row = _row(conn, sql, find(conn, "swatch", label))
    names = ("label", "base", "form", "lot", "skein", "base_lot", "note")
    return Swatch(dry=tri(row["dry"]), **_named(row, *names))


def get_setup(conn: sqlite3.Connection, name: str) -> Setup:
    """The set-up of that name."""
    sql = (
        "SELECT setup.*, reference.name AS reference FROM setup "
        "LEFT JOIN reference ON reference.id = reference_id WHERE setup.id = ?"
    )
    row = _row(conn, sql, find(conn, "setup", name))
    facts = _named(row, "name", "phone", "light", "reference", "note")
    return Setup(locked=tri(row["locked"]), **facts)


def get_reference(conn: sqlite3.Connection, name: str) -> OwnedReference:
    """The dyer's own reference of that name."""
    row = _row(conn, "SELECT * FROM reference WHERE id = ?", find(conn, "reference", name))
    known = json.loads(row["known_values"] or "{}")
    y, labs = known.get("y"), known.get("lab_d50")
    return OwnedReference(
        y=None if y is None else tuple(y),
        lab_d50=None if labs is None else tuple(tuple(lab) for lab in labs),
        edition=known.get("edition"),
        **_named(row, "name", "kind", "tolerance_delta_e", "source", "note"),
    )


def reference_of_setup(conn: sqlite3.Connection, setup_id: int | None) -> OwnedReference | None:
    """The reference that belongs to a set-up, or ``None``."""
    sql = "SELECT reference.name FROM setup JOIN reference ON reference.id = reference_id "
    row = conn.execute(sql + "WHERE setup.id = ?", (setup_id,)).fetchone()
    return None if row is None else get_reference(conn, row[0])


def light_of_setup(conn: sqlite3.Connection, setup_id: int | None) -> Light | None:
    """The light that a set-up stands for, or ``None`` where it is not said."""
    row = conn.execute("SELECT light FROM setup WHERE id = ?", (setup_id,)).fetchone()
    if row is None or row[0] not in ("daylight", "other"):
        return None
    return "daylight" if row[0] == "daylight" else "other"


def _row(conn: sqlite3.Connection, sql: str, row_id: int) -> dict[str, Any]:
    """One row by names, whatever the connection's row factory; of two equal names the first."""
    cursor = conn.execute(sql, (row_id,))
    row: dict[str, Any] = {}
    for description, value in zip(cursor.description, cursor.fetchone(), strict=True):
        row.setdefault(description[0], value)
    return row


def _named(row: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: row[name] for name in names}
