"""What notes beside photos tell, written to the archive."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from swatchvault.archive.entities import Master, Notes, PhotoNote, Recipe, Setup, Swatch
from swatchvault.archive.lots import add_lot, add_swatch
from swatchvault.archive.masters import set_master
from swatchvault.archive.names import find, id_named, old_name_words
from swatchvault.archive.recipes import add_recipe
from swatchvault.archive.rows import Entry, transaction
from swatchvault.archive.setups import add_reference, add_setup
from swatchvault.archive.struck import refuse_struck
from swatchvault.archive.studio import (
    add_base,
    add_base_lot,
    add_colourway,
    add_dye,
    add_dye_pack,
    add_stock,
)
from swatchvault.archive.values import clean
from swatchvault.errors import ArchiveError, NotFound, SwatchvaultError

T = TypeVar("T")


@dataclass(frozen=True)
class RegionNote:
    """A row of the photo notes with its names resolved to ids of the archive.

    ``region`` is ``None`` where the notes leave it blank: the photo's one swatch.
    """

    photo: str
    region: str | None
    swatch_id: int
    dry: bool | None
    light: str | None
    setup_id: int | None
    note: str | None
    where: str


@dataclass(frozen=True)
class Applied:
    """How many things were added, changed or there already, and the photos' regions."""

    added: int
    changed: int
    same: int
    regions: tuple[RegionNote, ...]


def apply_notes(conn: sqlite3.Connection, notes: Notes, *, as_kept: bool = False) -> Applied:
    """Write everything that the notes tell, all or nothing, and resolve their photo rows.

    Swatches and set-ups are made from the photo rows; bases, colourways and lots must be in the
    notes or in the archive. Applying the same notes again changes nothing. Masters are set last,
    oldest first. ``as_kept``: as `add_recipe` takes it.
    """
    done: list[Entry] = []

    def each(things: Iterable[T], add: Callable[[sqlite3.Connection, T], Entry]) -> None:
        done.extend(add(conn, thing) for thing in things)

    with transaction(conn):
        each(notes.bases, add_base)
        each(notes.base_lots, add_base_lot)
        each(notes.dyes, add_dye)
        each(notes.packs, add_dye_pack)
        each(notes.stocks, add_stock)
        each(notes.colourways, add_colourway)
        each(_parents_first(notes.recipes), partial(add_recipe, as_kept=as_kept))
        for lot in notes.lots:
            refuse_struck(conn, lot.code, lot.steps)
        each(notes.lots, add_lot)
        each(notes.references, add_reference)
        each(notes.setups, add_setup)
        regions = tuple(_region(conn, row, done) for row in notes.photos)
        each(sorted(notes.masters, key=lambda m: m.since or "9999"), _set_master)
    count = [entry.change for entry in done].count
    return Applied(count("added"), count("changed"), count("same"), regions)


def _parents_first(recipes: Iterable[Recipe]) -> list[Recipe]:
    """Recipes in an order in which each parent comes before its child; a loop is an error."""
    waiting = list(recipes)
    ordered: list[Recipe] = []
    while waiting:
        held_up = {_version_key(r, r.base, r.version) for r in waiting}
        ready = [r for r in waiting if _parent_key(r) not in held_up]
        if not ready:
            first = waiting[0]
            raise ArchiveError(
                f"recipe {first.colourway!r} on {first.base!r}: version {first.version} would "
                "come from itself through its parents: correct a parent"
            )
        ordered += ready
        waiting = [r for r in waiting if r not in ready]
    return ordered


def _version_key(recipe: Recipe, base: str, version: int) -> tuple[str, str, int]:
    return recipe.colourway.casefold(), base.casefold(), version


def _parent_key(recipe: Recipe) -> tuple[str, str, int] | None:
    if recipe.parent is None:
        return None
    return _version_key(recipe, recipe.parent_base or recipe.base, recipe.parent)


def _region(conn: sqlite3.Connection, row: PhotoNote, done: list[Entry]) -> RegionNote:
    try:
        _refuse_other_colourway(conn, row)
        # Dry or not is told of the photo: the same piece may be seen wet first and dry later.
        base, form = _base_and_form(conn, row)
        swatch = Swatch(row.swatch, base, form, row.lot, row.skein, row.base_lot)
        entry = add_swatch(conn, swatch)
        done.append(entry)
        setup_id = None
        if row.setup is not None:
            setup = add_setup(conn, Setup(name=row.setup, locked=row.locked))
            done.append(setup)
            setup_id = setup.id
    except NotFound as error:
        raise NotFound(_placed(row, error)) from error
    except SwatchvaultError as error:
        raise ArchiveError(_placed(row, error)) from error
    return RegionNote(
        row.photo, row.region, entry.id, row.dry, row.light, setup_id, row.note, row.where
    )


def _base_and_form(conn: sqlite3.Connection, row: PhotoNote) -> tuple[str, str]:
    """As the row tells, else as the archive has the swatch of that label."""
    sql = (
        "SELECT base.name, swatch.form FROM swatch JOIN base ON base.id = base_id "
        "WHERE swatch.id = ?"
    )
    known = id_named(conn, "swatch", clean(row.swatch, "swatch") or "")
    base, form = conn.execute(sql, (known,)).fetchone() or (None, None)
    base, form = row.base or base, row.form or form
    if base is None or form is None:
        raise ArchiveError(
            old_name_words(conn, "swatch", clean(row.swatch, "swatch") or "")
            or f"swatch {row.swatch!r} is new: give its base and its form (skein, wound card, knit)"
        )
    return base, form


def _placed(row: PhotoNote, error: Exception) -> str:
    return f"{row.where}: {error}" if row.where else str(error)


def _refuse_other_colourway(conn: sqlite3.Connection, row: PhotoNote) -> None:
    colourway, lot = clean(row.colourway, "colourway"), clean(row.lot, "lot")
    if colourway is None:
        return
    colourway_id = find(conn, "colourway", colourway)
    if lot is None:
        raise ArchiveError(
            f"swatch {row.swatch!r} is of colourway {colourway!r} but names no lot: give its lot, "
            "or leave the colourway blank for undyed yarn"
        )
    sql = (
        "SELECT lot.colourway_id, colourway.name FROM lot "
        "LEFT JOIN colourway ON colourway.id = lot.colourway_id WHERE lot.id = ?"
    )
    of_lot, name = conn.execute(sql, (find(conn, "lot", lot),)).fetchone()
    if of_lot != colourway_id:
        said = "no colourway" if name is None else f"colourway {name!r}"
        raise ArchiveError(
            f"swatch {row.swatch!r} is said to be of {colourway!r}, but its lot {lot!r} is of "
            f"{said}: correct the one that is wrong"
        )


def _set_master(conn: sqlite3.Connection, master: Master) -> Entry:
    """Without a date, a master that was ever set so is left as it is: notes are read again."""
    if master.since is None:
        sql = (
            "SELECT id FROM master WHERE swatch_id = ? AND tolerance = ? AND k_l = ? "
            "AND colourway_id = ? AND base_id = ?"
        )
        ids = (
            find(conn, "swatch", master.swatch),
            float(master.tolerance),
            float(master.k_l),
            find(conn, "colourway", master.colourway),
            find(conn, "base", master.base),
        )
        row = conn.execute(sql, ids).fetchone()
        if row is not None:
            return Entry(int(row[0]), "same")
    return set_master(conn, master)
