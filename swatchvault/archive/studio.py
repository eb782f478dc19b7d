"""Yarn, dyes and colourways: stored by their names.

Adding the same again changes nothing. A blank never erases; a new value of a describing fact
(note, price, dates) replaces the old one; a fact that tells one thing from another (the fibres
of a base, the grams of a stock) is an error when it differs.
"""

from __future__ import annotations

import sqlite3

from swatchvault.archive.entities import Base, BaseLot, Colourway, Dye, DyePack, Stock
from swatchvault.archive.names import find, find_of
from swatchvault.archive.rows import Entry, insert, put, transaction
from swatchvault.archive.values import clean, named, yes_no
from swatchvault.errors import ArchiveError

#: How far the fibres of a base may be from 100 % in all: room for labels that round. Our choice.
FIBRE_SUM_TOLERANCE = 0.1


def add_base(conn: sqlite3.Connection, base: Base) -> Entry:
    """Store a base and its fibres, in per cent (sum within 0.1 of 100, or none if unknown).

    Raises :class:`ArchiveError` for another sum, and for a base that is there with other fibres.
    """
    name = named(base.name, "name of a base")
    fibres = {named(f, "name of a fibre"): float(p) for f, p in base.fibres.items()}
    if fibres and not abs(sum(fibres.values()) - 100.0) <= FIBRE_SUM_TOLERANCE:
        raise ArchiveError(
            f"fibres of base {name!r} sum to {sum(fibres.values()):g} %: 100 % is needed"
        )
    facts = {
        "superwash": yes_no(base.superwash),
        "construction": clean(base.construction, "construction"),
        "halo": clean(base.halo, "halo"),
        "price_per_kg": base.price_per_kg,
        "note": clean(base.note, "note"),
    }
    with transaction(conn):
        entry = put(conn, "base", {"name": name}, facts)
        known = fibres_of(conn, entry.id)
        if fibres and not known:
            for fibre, percent in fibres.items():
                insert(
                    conn, "base_fibre", {"base_id": entry.id, "fibre": fibre, "percent": percent}
                )
            return entry if entry.change == "added" else Entry(entry.id, "changed")
        if fibres and _folded(fibres) != _folded(known):
            raise ArchiveError(
                f"base {name!r} already has fibres {_fibre_words(known)}, not "
                f"{_fibre_words(fibres)}: another blend is another base, so name it differently"
            )
    return entry


def fibres_of(conn: sqlite3.Connection, base_id: int) -> dict[str, float]:
    """Fibres of a base in percent, the largest first."""
    sql = "SELECT fibre, percent FROM base_fibre WHERE base_id = ? ORDER BY percent DESC, fibre"
    return {r[0]: r[1] for r in conn.execute(sql, (base_id,))}


def _folded(fibres: dict[str, float]) -> dict[str, float]:
    return {f.casefold(): p for f, p in fibres.items()}


def _fibre_words(fibres: dict[str, float]) -> str:
    return ", ".join(f"{p:g} % {f}" for f, p in fibres.items())


def add_base_lot(conn: sqlite3.Connection, base_lot: BaseLot) -> Entry:
    """Store one delivery of a base."""
    with transaction(conn):
        key = {
            "base_id": find(conn, "base", base_lot.base),
            "label": named(base_lot.label, "label of a base lot"),
        }
        facts = {"received_on": base_lot.received_on, "note": clean(base_lot.note, "note")}
        return put(conn, "base_lot", key, facts)


def add_dye(conn: sqlite3.Connection, dye: Dye) -> Entry:
    """Store a dye."""
    facts = {"family": clean(dye.family, "family"), "note": clean(dye.note, "note")}
    with transaction(conn):
        return put(conn, "dye", {"name": named(dye.name, "name of a dye")}, facts)


def add_dye_pack(conn: sqlite3.Connection, pack: DyePack) -> Entry:
    """Store one jar or packet of a dye."""
    with transaction(conn):
        key = {
            "dye_id": find(conn, "dye", pack.dye),
            "code": named(pack.code, "code of a dye pack"),
        }
        facts = {"opened_on": pack.opened_on, "note": clean(pack.note, "note")}
        return put(conn, "dye_pack", key, facts)


def add_stock(conn: sqlite3.Connection, stock: Stock) -> Entry:
    """Store a mixed stock solution; its strength follows from grams and millilitres."""
    with transaction(conn):
        dye_id = find(conn, "dye", stock.dye)
        key = {"dye_id": dye_id, "code": named(stock.code, "code of a stock")}
        pack = clean(stock.pack, "pack")
        facts = {
            "grams": float(stock.grams),
            "made_up_to_ml": float(stock.made_up_to_ml),
            "dye_pack_id": None if pack is None else find_of(conn, "dye_pack", dye_id, pack),
            "mixed_on": stock.mixed_on,
            "left_ml": stock.left_ml,
            "left_seen_on": stock.left_seen_on,
            "note": clean(stock.note, "note"),
        }
        fixed = ("grams", "made_up_to_ml", "dye_pack_id", "mixed_on")
        return put(conn, "stock", key, facts, fixed)


def add_colourway(conn: sqlite3.Connection, colourway: Colourway) -> Entry:
    """Store a colourway's name."""
    with transaction(conn):
        key = {"name": named(colourway.name, "name of a colourway")}
        return put(conn, "colourway", key, {"note": clean(colourway.note, "note")})
