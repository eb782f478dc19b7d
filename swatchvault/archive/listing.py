"""What is there: lists, one thing with all that belongs to it, and any table as rows."""

from __future__ import annotations

import sqlite3
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from swatchvault.archive.about import ABOUT
from swatchvault.archive.names import find, unknown
from swatchvault.archive.since import since_then
from swatchvault.archive.speaking import speaks_for, tells_evenness_of
from swatchvault.archive.standing import NO_LONGER
from swatchvault.archive.views_evenness import HOW_EVEN, class_of
from swatchvault.errors import NotFound


@dataclass(frozen=True)
class Rows:
    """A table of plain values: column names, and rows in that order."""

    columns: tuple[str, ...]
    rows: tuple[tuple[Any, ...], ...]

    def records(self) -> list[dict[str, Any]]:
        """The rows as dictionaries, for JSON."""
        return [dict(zip(self.columns, row, strict=True)) for row in self.rows]


def _ranged(class_: str, value: Callable[[str], str]) -> str:
    """SQL: unevenness and its doubt, of what has a class alone, and its range. ``class_``: SQL of
    the class, ``value``: SQL of a figure by its name."""
    told = ", ".join(
        f"CASE WHEN {class_} <> 'cannot tell' THEN round({value(name)}, 2) END AS {name}"
        for name in ("unevenness", "u_unevenness")
    )
    ends = ", ".join(f"round({value(name)}, 2) AS {name}" for name in ("range_low", "range_high"))
    return f"{told}, {ends}"


_FIGURE = {
    "unevenness": "$.unevenness",
    "u_unevenness": "$.u_unevenness",
    "range_low": "$.range[0]",
    "range_high": "$.range[1]",
}
# By the photo that tells it best; as `_DRY`, of one swatch at a time: a view of all, joined to, may
# be looked through for each.
_CLASS = f"COALESCE({class_of('even')}, 'cannot tell')"
_EVENNESS = (
    f"CASE WHEN even.tonality IS NOT NULL THEN {_CLASS} END AS evenness, "
    + _ranged(_CLASS, lambda name: f"json_extract(even.tonality, '{_FIGURE[name]}')")
    + ", json_extract(even.tonality, '$.method') AS method"
)


def _telling(swatch: str) -> str:
    return f"LEFT JOIN measurement AS even ON even.id = {tells_evenness_of(swatch)} "


#: Whether a swatch was dry in the photo that speaks for it, else as its notes say.
_DRY = (
    "COALESCE((SELECT spoken.dry FROM measurement AS spoken "
    f"WHERE spoken.id = {speaks_for('swatch.id')}), swatch.dry)"
)

# As the view checks_given, with the verdict on evenness beside the colour's, and what became of
# the photos.
_CHECKS = (
    "SELECT given.checked_at, given.lot, given.swatch, given.master_swatch, given.verdict, "
    "tonal.verdict AS evenness_verdict, given.delta_e_00, given.tolerance, given.k_l, "
    "given.delta_l, given.delta_c, given.delta_h, given.u_reading, given.u_at_tolerance, "
    "given.capture, given.same_dyes, given.words, "
    f"{since_then('given.lot_check_id')} AS since_then, "
    "given.lot_check_id FROM checks_given AS given "
    "LEFT JOIN evenness_check AS tonal ON tonal.lot_check_id = given.lot_check_id"
)

#: Lots by age, as ``DAY_OF_LOT`` has it.
_BY_DAY = "ORDER BY COALESCE(dyed_on, first_photo_on), lot_id"

#: What can be listed, and the query that lists it.
LISTS: Mapping[str, str] = {
    "bases": (
        "SELECT name, (SELECT group_concat(printf('%g %% %s', percent, fibre), ', ') "
        "FROM (SELECT * FROM base_fibre WHERE base_id = base.id ORDER BY percent DESC, fibre)) "
        "AS fibres, superwash, construction, halo, "
        "price_per_kg, note FROM base ORDER BY name"
    ),
    "base lots": (
        "SELECT base.name AS base, label, received_on, base_lot.note FROM base_lot "
        "JOIN base ON base.id = base_id ORDER BY base.name, received_on, label"
    ),
    "dyes": (
        "SELECT name, family, (SELECT group_concat(code, ', ') FROM dye_pack "
        "WHERE dye_id = dye.id) AS packs, note FROM dye ORDER BY name"
    ),
    "stocks": "SELECT * FROM stocks ORDER BY dye, mixed_on, stock",
    "colourways": (
        "SELECT name, (SELECT count(*) FROM lot WHERE colourway_id = colourway.id) AS lots, "
        "(SELECT count(*) FROM recipe WHERE colourway_id = colourway.id) AS recipes, note "
        "FROM colourway ORDER BY name"
    ),
    "recipes": "SELECT * FROM recipes",
    "lots": f"SELECT * FROM lots {_BY_DAY}",
    "skeins": "SELECT * FROM skeins ORDER BY lot, skein",
    "swatches": (
        "SELECT swatch.label AS swatch, colourway.name AS colourway, base.name AS base, "
        "lot.code AS lot, swatch.form, "
        f"{_DRY} AS dry, (SELECT count(*) FROM current_measurement AS m "
        f"WHERE m.swatch_id = swatch.id) AS measured, {_EVENNESS}, swatch.note FROM swatch "
        "JOIN base ON base.id = swatch.base_id LEFT JOIN lot ON lot.id = swatch.lot_id "
        f"{_telling('swatch.id')}"
        "LEFT JOIN colourway ON colourway.id = lot.colourway_id ORDER BY swatch.label"
    ),
    "colours": (
        f"SELECT seen.*, {_EVENNESS} FROM latest_colours AS seen "
        f"{_telling('seen.swatch_id')}ORDER BY seen.swatch"
    ),
    "evenness": (
        "SELECT swatch, colourway, base, lot, form, COALESCE(by_your_eyes_rule, class, "
        "CASE WHEN method IS NOT NULL THEN 'cannot tell' END) AS class, "
        "CASE WHEN by_your_eyes_rule IS NULL THEN cannot_tell END AS cannot_tell, "
        "by_your_eyes_rule, you_named_it, "
        + _ranged("COALESCE(by_your_eyes_rule, class, 'cannot tell')", str)
        + ", patch_length, "
        "round(strand_contrast, 2) AS strand_contrast, dots_percent, colours, "
        f"method FROM ({HOW_EVEN}) ORDER BY swatch"
    ),
    "photos": "SELECT * FROM photos ORDER BY COALESCE(taken_at, added_at), photo",
    "setups": (
        "SELECT setup.name, phone, light, locked, reference.name AS reference, "
        "(SELECT count(*) FROM photo WHERE setup_id = setup.id) AS photos, setup.note "
        "FROM setup LEFT JOIN reference ON reference.id = reference_id ORDER BY setup.name"
    ),
    "references": (
        "SELECT name, kind, known_values, tolerance_delta_e, source, note FROM reference "
        "ORDER BY name"
    ),
    "masters": "SELECT * FROM current_masters ORDER BY colourway, base, form",
    "checks": f"{_CHECKS} ORDER BY checked_at DESC",
    "aside": "SELECT * FROM measurements_set_aside ORDER BY set_aside_at DESC, swatch, photo",
    "renamed": (
        "SELECT replace(replace(kind, '_', ' '), 'setup', 'set-up') AS kind, old_name, new_name, "
        "renamed_at FROM renamed ORDER BY id DESC"
    ),
}

#: What a row (:id of the table :kind) was called before, and until when.
EARLIER_NAMES = (
    "SELECT old_name, renamed_at FROM renamed WHERE kind = :kind AND row_id = :id ORDER BY id"
)

# What `show` prints of one thing: (title, query with the id or its name as :id and :name).
_SECTIONS: Mapping[str, Sequence[tuple[str, str]]] = {
    "base": (
        ("base", "SELECT * FROM base WHERE id = :id"),
        ("fibres", "SELECT fibre, percent FROM base_fibre WHERE base_id = :id"),
        ("deliveries", "SELECT label, received_on, note FROM base_lot WHERE base_id = :id"),
        ("colours undyed", "SELECT * FROM undyed_over_time WHERE base = :name"),
        (
            "swatches",
            f"SELECT label, form, {_DRY} AS dry FROM swatch WHERE base_id = :id ORDER BY label",
        ),
    ),
    "dye": (
        ("dye", "SELECT * FROM dye WHERE id = :id"),
        ("packs", "SELECT code, opened_on, note FROM dye_pack WHERE dye_id = :id"),
        ("stocks", "SELECT * FROM stocks WHERE dye = :name"),
        ("lots", "SELECT * FROM dyes_used WHERE dye = :name"),
    ),
    "colourway": (
        ("colourway", "SELECT * FROM colourway WHERE id = :id"),
        ("masters", "SELECT * FROM current_masters WHERE colourway_id = :id"),
        ("masters no longer", f"{NO_LONGER}held.colourway_id = :id"),
        ("recipes", "SELECT * FROM recipes WHERE colourway = :name"),
        ("plan", "SELECT * FROM recipe_plans WHERE colourway = :name"),
        ("lots", f"SELECT * FROM lots WHERE colourway = :name {_BY_DAY}"),
        ("lots against master", "SELECT * FROM lots_against_master WHERE colourway = :name"),
    ),
    "lot": (
        ("lot", "SELECT * FROM lots WHERE lot_id = :id"),
        ("dyes that went in", "SELECT * FROM dyes_used WHERE lot_id = :id"),
        ("pot log", "SELECT * FROM pot_logs WHERE lot_id = :id"),
        (
            "how it ended",
            "SELECT ended_at, bled, handle, success, next_time FROM pot WHERE lot_id = :id AND "
            "COALESCE(ended_at, bled, handle, success, next_time) IS NOT NULL",
        ),
        ("skeins", "SELECT * FROM skeins WHERE lot = :name"),
        ("colours", "SELECT * FROM latest_colours WHERE lot = :name"),
        ("checks", f"{_CHECKS} WHERE given.lot = :name ORDER BY checked_at DESC"),
    ),
    "swatch": (
        ("swatch", "SELECT * FROM swatch WHERE id = :id"),
        ("colours", "SELECT * FROM colours WHERE swatch_id = :id ORDER BY taken_at"),
        ("set aside", "SELECT * FROM measurements_set_aside WHERE swatch_id = :id"),
        ("how even it is", f"SELECT * FROM ({HOW_EVEN}) WHERE swatch_id = :id"),
        (
            "evenness checks",
            "SELECT * FROM evenness_checks_given WHERE swatch = :name OR master_swatch = :name "
            "ORDER BY checked_at DESC",
        ),
        ("master of", "SELECT * FROM current_masters WHERE swatch_id = :id"),
        ("no longer master of", f"{NO_LONGER}held.swatch_id = :id"),
        (
            "checks",
            f"{_CHECKS} WHERE given.swatch = :name OR given.master_swatch = :name "
            "ORDER BY checked_at DESC",
        ),
    ),
    "setup": (
        ("setup", "SELECT * FROM setup WHERE id = :id"),
        (
            "learned",
            "SELECT learned_at, frame_variance, taken_back_at, note FROM repeat_set "
            "WHERE setup_id = :id ORDER BY learned_at, id",
        ),
        ("photos", "SELECT * FROM photos WHERE setup = :name ORDER BY taken_at"),
    ),
    "reference": (
        ("reference", "SELECT * FROM reference WHERE id = :id"),
        ("setups", "SELECT name, phone, light, locked FROM setup WHERE reference_id = :id"),
    ),
}


def listing(
    conn: sqlite3.Connection,
    what: str,
    text: str = "",
    sort: str | None = None,
    *,
    largest_first: bool = False,
) -> Rows:
    """The list of ``what`` (a key of :data:`LISTS`), only rows in which ``text`` occurs.

    Case does not matter. ``sort``: the column to sort by, rows without a value last. Raises
    ``NotFound`` naming what can be listed, or sorted by.
    """
    if what not in LISTS:
        raise NotFound(f"unknown list {what!r}: there are {', '.join(LISTS)}")
    found = query(conn, LISTS[what])
    if sort is not None:
        found = in_order(found, sort, largest_first)
    if not text:
        return found
    return Rows(
        found.columns,
        tuple(row for row in found.rows if any(isinstance(v, str) and holds(v, text) for v in row)),
    )


def holds(words: str, text: str) -> bool:
    """Whether ``text`` occurs in ``words``; neither case nor Unicode's form of a letter matters."""
    told, wanted = (unicodedata.normalize("NFC", t).casefold() for t in (words, text))
    return wanted in told


def in_order(found: Rows, column: str, largest_first: bool = False) -> Rows:
    """Rows by one column: numbers before words (after them where the largest come first), rows
    without a value last. Raises :class:`NotFound` for an unknown column."""
    if column not in found.columns:
        raise NotFound(f"cannot sort by {column!r}: there are {', '.join(found.columns)}")
    place = found.columns.index(column)
    known = [row for row in found.rows if row[place] is not None]
    rest = [row for row in found.rows if row[place] is None]

    def key(row: tuple[Any, ...]) -> tuple[bool, Any]:
        value = row[place]
        return isinstance(value, str), value.casefold() if isinstance(value, str) else value

    known.sort(key=key, reverse=largest_first)
    return Rows(found.columns, (*known, *rest))


def show(conn: sqlite3.Connection, what: str, name: str) -> list[tuple[str, Rows]]:
    """One thing and all that belongs to it: titles with tables, those with no rows left out.

    ``what``: base, dye, colourway, lot, swatch, setup or reference. Raises :class:`NotFound` for
    another kind, and for an unknown name.
    """
    if what not in _SECTIONS:
        raise NotFound(f"unknown kind {what!r}: there are {', '.join(_SECTIONS)}")
    row_id = find(conn, what, name)
    label = {"lot": "code", "swatch": "label"}.get(what, "name")
    (own_name,) = conn.execute(f"SELECT {label} FROM {what} WHERE id = ?", (row_id,)).fetchone()
    values = {"id": row_id, "name": own_name, "kind": what}
    asked = (*_SECTIONS[what], ("earlier names", EARLIER_NAMES))
    sections = [(title, query(conn, sql, values)) for title, sql in asked]
    return [(title, rows) for title, rows in sections if rows.rows]


def export_rows(conn: sqlite3.Connection, name: str) -> Rows:
    """A whole table or view by its name in the schema. Raises ``NotFound`` for any other name."""
    if name not in ABOUT:
        raise NotFound(unknown("table or view", name, sorted(ABOUT)))
    return query(conn, f'SELECT * FROM "{name}"')


def query(conn: sqlite3.Connection, sql: str, values: Mapping[str, Any] | None = None) -> Rows:
    """Run one of this package's own queries."""
    cursor = conn.execute(sql, dict(values or {}))
    columns = tuple(d[0] for d in cursor.description)
    return Rows(columns, tuple(tuple(row) for row in cursor))
