"""Lots, what was done in the pot, skeins and swatches.

What went in and what was done are records: storing the same again changes nothing, a longer log
goes on from the one that is kept, and a log that differs from it is an error.
"""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Mapping, Sequence
from typing import Any

from swatchvault.archive.entities import DyeIn, Lot, PotStep, Skein, Swatch
from swatchvault.archive.names import find, find_of, id_named
from swatchvault.archive.recipes import check_kind, recipe_id_of
from swatchvault.archive.rows import Entry, insert, put, transaction
from swatchvault.archive.settings import spoons_of
from swatchvault.archive.values import clean, named, yes_no
from swatchvault.archive.yarn_of import bound_to_lot
from swatchvault.errors import ArchiveError
from swatchvault.planned_amounts import ReadAmount, done_amount, dye_amount
from swatchvault.typed_numbers import read_number

# Kept as worked out when it was done, though a spoon may since have been set to another size.
_WORKED_OUT = ("amount_g", "amount_ml", "dye_g")
_PERCENT_LEFT = re.compile(r"([0-9]+(?:[.,][0-9]+)?) ?%")


def add_lot(conn: sqlite3.Connection, lot: Lot) -> Entry:
    """Store a lot with its bases, dyes, pot steps and skeins.

    Raises ``NotFound`` for a name that the archive does not hold, ``ArchiveError`` where the lot
    is kept with other facts.
    """
    with transaction(conn):
        base_ids = [find(conn, "base", b) for b in lot.bases]
        if not base_ids:
            raise ArchiveError(f"lot {lot.code!r} names no base: say which yarn went in")
        key = {"code": named(lot.code, "code of a lot")}
        entry = put(conn, "lot", key, _facts(conn, lot), ("colourway_id", "overdyes_lot_id"))
        _refuse_overdye_loop(conn, entry.id, lot.code)
        changed = False
        for base_id in base_ids:
            sql = "INSERT OR IGNORE INTO lot_base (lot_id, base_id) VALUES (?, ?)"
            changed |= conn.execute(sql, (entry.id, base_id)).rowcount > 0
        changed |= _append(
            conn, "lot_dye", entry.id, [dye_columns(conn, d) for d in lot.dyes_in], lot.code
        )
        changed |= _append(
            conn, "pot_step", entry.id, [step_columns(conn, s) for s in lot.steps], lot.code
        )
        for skein in lot.skeins:
            changed |= add_skein(conn, lot.code, skein).change != "same"
    return Entry(entry.id, "changed") if changed and entry.change == "same" else entry


def add_skein(conn: sqlite3.Connection, lot_code: str, skein: Skein) -> Entry:
    """Store one skein of a lot."""
    with transaction(conn):
        lot_id = find(conn, "lot", lot_code)
        base_id = _base_of(conn, lot_id, lot_code, skein.base, f"skein {skein.label!r}")
        base_lot = clean(skein.base_lot, "base lot")
        facts = {
            "base_id": base_id,
            "base_lot_id": find_of(conn, "base_lot", base_id, base_lot) if base_lot else None,
            "grams_in": skein.grams_in,
            "grams_out": skein.grams_out,
            "from_skein_id": _before(conn, lot_id, skein),
            "note": clean(skein.note, "note"),
        }
        key = {"lot_id": lot_id, "label": named(skein.label, "label of a skein")}
        return put(conn, "skein", key, facts, ("base_id", "base_lot_id", "from_skein_id"))


#: Grams out over grams in of a skein: less is a piece lost, more water or a slip. Our choice.
LEAST_LEFT, MOST_LEFT = 0.7, 1.08


def add_swatch(conn: sqlite3.Connection, swatch: Swatch) -> Entry:
    """Store a swatch of a lot, or of undyed yarn where it names no lot.

    Its label is unique in the archive; its base, lot, skein and form say which piece it is, so
    they are an error where they differ.
    """
    label = named(swatch.label, "label of a swatch")
    skein, base_lot = clean(swatch.skein, "skein"), clean(swatch.base_lot, "base lot")
    with transaction(conn):
        base_id = find(conn, "base", swatch.base)
        lot = clean(swatch.lot, "lot")
        lot_id = None if lot is None else find(conn, "lot", lot)
        if lot_id is not None:
            _base_of(conn, lot_id, swatch.lot or "", swatch.base, f"swatch {label!r}")
        elif skein:
            raise ArchiveError(f"swatch {label!r} names a skein but no lot: name its lot too")
        facts = {
            "base_id": base_id,
            "base_lot_id": find_of(conn, "base_lot", base_id, base_lot) if base_lot else None,
            "lot_id": lot_id,
            "skein_id": find_of(conn, "skein", lot_id, skein) if skein and lot_id else None,
            "form": (clean(swatch.form, "form") or "").casefold(),
            "dry": yes_no(swatch.dry),
            "note": clean(swatch.note, "note"),
        }
        known_id = id_named(conn, "swatch", label)
        known = conn.execute("SELECT lot_id FROM swatch WHERE id = ?", (known_id,)).fetchone()
        if known is not None and known[0] is None and lot_id is not None:
            raise ArchiveError(
                f"swatch {label!r} is kept as undyed yarn, not of lot {swatch.lot!r}: correct the "
                "one that is wrong (the archive's by `swatchvault mend`), or use another label"
            )
        if known_id is not None and lot_id is not None and known[0] != lot_id:
            (other,) = conn.execute("SELECT code FROM lot WHERE id = ?", (known[0],)).fetchone()
            mended = (
                f'if that is wrong, correct it with `swatchvault mend swatch "{label}" --lot '
                f'"{swatch.lot}"`, else use another label'
            )
            why = bound_to_lot(conn, known_id)
            raise ArchiveError(
                f"swatch {label!r} is kept as of another lot, {other!r} and not {swatch.lot!r}"
                + (f", and {why}: use another label" if why else f": {mended}")
            )
        fixed = ("base_id", "base_lot_id", "lot_id", "skein_id", "form")
        return put(conn, "swatch", {"label": label}, facts, fixed)


def dye_in_grams(conn: sqlite3.Connection, columns: Mapping[str, Any]) -> float | None:
    """Dry dye in g that an amount held, or ``None`` where it cannot be known.

    From a stock: its volume times its strength; a weighed stock counts 1 g as 1 mL (a dilute
    solution in water; common practice, no source). Without a stock, a mass is powder and a
    volume says nothing.
    """
    grams, ml = columns.get("amount_g"), columns.get("amount_ml")
    if columns.get("stock_id") is None:
        return grams
    sql = "SELECT grams / made_up_to_ml FROM stock WHERE id = ?"
    (g_per_ml,) = conn.execute(sql, (columns["stock_id"],)).fetchone()
    taken = ml if ml is not None else grams
    return None if taken is None else float(taken * g_per_ml)


def _facts(conn: sqlite3.Connection, lot: Lot) -> dict[str, Any]:
    colourway = clean(lot.colourway, "colourway")
    overdyes = clean(lot.overdyes, "overdyes")
    recipe_id = None
    if lot.recipe_version is not None:
        if colourway is None:
            raise ArchiveError(
                f"lot {lot.code!r} follows a recipe but names no colourway: name the colourway"
            )
        recipe_id = recipe_id_of(conn, colourway, lot.bases[0], lot.recipe_version)
    return {
        "colourway_id": None if colourway is None else find(conn, "colourway", colourway),
        "recipe_id": recipe_id,
        "overdyes_lot_id": None if overdyes is None else find(conn, "lot", overdyes),
        "dyed_on": lot.dyed_on,
        "dry_g": lot.dry_g,
        "liquor_ml": lot.liquor_ml,
        "water": clean(lot.water, "water"),
        "note": clean(lot.note, "note"),
    }


def _refuse_overdye_loop(conn: sqlite3.Connection, lot_id: int, code: str) -> None:
    sql = (
        "WITH RECURSIVE under (id) AS (SELECT overdyes_lot_id FROM lot WHERE id = :lot UNION "
        "SELECT lot.overdyes_lot_id FROM lot JOIN under ON lot.id = under.id) "
        "SELECT 1 FROM under WHERE id = :lot"
    )
    if conn.execute(sql, {"lot": lot_id}).fetchone():
        raise ArchiveError(f"lot {code!r} would overdye itself: correct which lot came before")


def dye_columns(conn: sqlite3.Connection, dye: DyeIn) -> dict[str, Any]:
    """Columns of a dye that went in, its dry grams worked out.

    Raises :class:`ArchiveError` where the pack named is not that of the stock named.
    """
    dye_id = find(conn, "dye", dye.dye)
    stock, pack = clean(dye.stock, "stock"), clean(dye.pack, "pack")
    stock_id = find_of(conn, "stock", dye_id, stock) if stock else None
    pack_id = find_of(conn, "dye_pack", dye_id, pack) if pack else None
    if stock_id is not None:
        sql = "SELECT dye_pack_id FROM stock WHERE id = ?"
        (of_stock,) = conn.execute(sql, (stock_id,)).fetchone()
        if pack_id is not None and of_stock is not None and pack_id != of_stock:
            raise ArchiveError(
                f"stock {stock!r} of {dye.dye!r} was mixed from another pack than {pack!r}: "
                "correct the pack or the stock"
            )
    columns = {
        "dye_id": dye_id,
        "dye_pack_id": pack_id,
        "stock_id": stock_id,
        **dye_amount_columns(conn, dye.amount),
    }
    return {**columns, "dye_g": dye_in_grams(conn, columns)}


def dye_amount_columns(conn: sqlite3.Connection, amount: str | None) -> dict[str, Any]:
    """Columns of how much of a dye went in, with grams or millilitres beside it.

    Words without a number ("a splash") are kept as they are, their size unknown; a number that
    cannot be read raises ``AmountError``.
    """
    return _columns(dye_amount(clean(amount, "amount"), spoons_of(conn)))


def _columns(read: ReadAmount) -> dict[str, Any]:
    return {"amount": read.typed, "amount_g": read.g, "amount_ml": read.ml}


def step_columns(conn: sqlite3.Connection, step: PotStep) -> dict[str, Any]:
    """Columns of a step that was done."""
    left = clean(step.colour_left, "colour_left")
    percent = _PERCENT_LEFT.fullmatch(left) if left else None
    return {
        "at": step.at,
        "kind": check_kind(step.kind),
        **_columns(done_amount(clean(step.amount, "amount"), spoons_of(conn))),
        "temperature_c": step.temperature_c,
        "minutes": step.minutes,
        "ph": step.ph,
        "colour_left": left,
        "colour_left_percent": read_number(percent[1], "colour left") if percent else None,
        "note": clean(step.note, "note"),
    }


def _append(
    conn: sqlite3.Connection,
    table: str,
    lot_id: int,
    rows: Sequence[Mapping[str, Any]],
    code: str,
) -> bool:
    """Add the rows that go on from those kept and fill their blanks; True if anything was new."""
    if not rows:
        return False
    sql = f"SELECT id, {', '.join(rows[0])} FROM {table} WHERE lot_id = ? ORDER BY position"
    kept = [tuple(r) for r in conn.execute(sql, (lot_id,))]
    changed = len(rows) > len(kept)
    for (row_id, *known), row in zip(kept, rows, strict=False):
        new = {}
        before = dict(zip(row, known, strict=True))
        same_typed = row["amount"] is not None and row["amount"] == before["amount"]
        for column, told in row.items():
            old = before[column]
            if same_typed and old is not None and column in _WORKED_OUT:
                continue
            if told is not None and old is not None and told != old:
                what = "dyes" if table == "lot_dye" else "pot steps"
                raise ArchiveError(
                    f"lot {code!r} is kept with other {what}: what was done is not rewritten, so "
                    "correct the notes, or give the lot another code"
                )
            if told is not None and old is None:
                new[column] = told
        if new:
            changes = ", ".join(f"{column} = ?" for column in new)
            conn.execute(f"UPDATE {table} SET {changes} WHERE id = ?", (*new.values(), row_id))
            changed = True
    for position, row in enumerate(rows[len(kept) :], len(kept) + 1):
        insert(conn, table, {"lot_id": lot_id, "position": position, **row})
    return changed


def _base_of(conn: sqlite3.Connection, lot_id: int, code: str, base: str | None, what: str) -> int:
    """The base named, if the lot holds it; the lot's only base if none is named."""
    sql = "SELECT base.id, base.name FROM lot_base JOIN base ON base.id = base_id WHERE lot_id = ?"
    held = {int(r[0]): str(r[1]) for r in conn.execute(sql, (lot_id,))}
    base_id = None if base is None else find(conn, "base", base)
    if base_id is None and len(held) == 1:
        return next(iter(held))
    if base_id is None or base_id not in held:
        said = "no base" if base_id is None else f"base {base!r}"
        raise ArchiveError(
            f"{what} of lot {code!r} names {said}: the lot holds "
            f"{', '.join(map(repr, held.values())) or 'none'}"
        )
    return base_id


def _before(conn: sqlite3.Connection, lot_id: int, skein: Skein) -> int | None:
    """The skein that this one was, in the lot named or (broken in two) in the same lot."""
    before = clean(skein.from_skein, "from_skein")
    if before is None:
        return None
    earlier = clean(skein.from_lot, "from_lot")
    owner = lot_id if earlier is None else find(conn, "lot", earlier)
    return find_of(conn, "skein", owner, before)


def skein_doubts(conn: sqlite3.Connection, lot: str, label: str) -> list[str]:
    """What can hardly be right in a skein's weights as they are stored, a sentence each."""
    lot_id = find(conn, "lot", lot)
    before, after = conn.execute(
        "SELECT grams_in, grams_out FROM skein WHERE id = ?",
        (find_of(conn, "skein", lot_id, label),),
    ).fetchone()
    dry, every = conn.execute(
        "SELECT lot.dry_g, total(skein.grams_in) FROM lot JOIN skein ON skein.lot_id = lot.id "
        "WHERE lot.id = ?",
        (lot_id,),
    ).fetchone()
    out = []
    if before and after and not LEAST_LEFT <= after / before <= MOST_LEFT:
        why = (
            "is it damp still, is it another skein, or is one a slip?"
            if after > before
            else "is a piece of it missing, is it another skein, or is one a slip?"
        )
        out.append(f"it went in with {before:g} g and came out with {after:g} g: {why}")
    if dry and every > MOST_LEFT * dry:
        out.append(
            f"the skeins of this lot went in with {every:g} g in all, and the lot with {dry:g} g "
            "of dry goods: is one of them wrong?"
        )
    return out
