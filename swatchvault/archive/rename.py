"""A name that was typed wrong, mended in place.

Rows refer to each other by number, so a new name is one change of one row. Names are quoted in
two other places: the stocks that a pot is planned from, which follow, and the words of verdicts
and records, which are kept as they were given. The old name is kept, so that notes which still
use it are told of the new one instead of making a second thing.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass

from swatchvault.archive.listing import EARLIER_NAMES, Rows, query
from swatchvault.archive.names import (
    NAMED_BY,
    NAMED_WITHIN,
    NAMES_SHOWN,
    find,
    find_of,
    folded,
    kind_words,
    named_so,
    renamed_to,
    unknown,
)
from swatchvault.archive.rows import insert, transaction
from swatchvault.archive.values import check_length, named, now, to_json
from swatchvault.errors import ArchiveError, NotFound

#: What a row that has a name already is of, to tell it by: a query for each table.
_TOLD_BY: Mapping[str, str] = {
    "lot": (
        "SELECT COALESCE(' of colourway ' || colourway.name, '') || "
        "COALESCE(', dyed on ' || dyed_on, '') FROM lot "
        "LEFT JOIN colourway ON colourway.id = colourway_id WHERE lot.id = ?"
    ),
    "swatch": (
        "SELECT COALESCE(' of lot ' || lot.code, ' of undyed ' || base.name) FROM swatch "
        "JOIN base ON base.id = base_id LEFT JOIN lot ON lot.id = lot_id WHERE swatch.id = ?"
    ),
    "skein": "SELECT ' of lot ' || code FROM skein JOIN lot ON lot.id = lot_id WHERE skein.id = ?",
    "base_lot": (
        "SELECT ' of base ' || name FROM base_lot JOIN base ON base.id = base_id "
        "WHERE base_lot.id = ?"
    ),
    "dye_pack": (
        "SELECT ' of dye ' || name FROM dye_pack JOIN dye ON dye.id = dye_id WHERE dye_pack.id = ?"
    ),
    "stock": "SELECT ' of dye ' || name FROM stock JOIN dye ON dye.id = dye_id WHERE stock.id = ?",
}


@dataclass(frozen=True)
class Renaming:
    """What a renaming did. ``before``: what else was called ``new`` once, or ``None``."""

    kind: str
    old: str
    new: str
    before: str | None = None

    @property
    def changed(self) -> bool:
        """Whether the name is another one than it was."""
        return self.old != self.new

    @property
    def lines(self) -> list[str]:
        """What was done and what to see to, for whoever did it."""
        if not self.changed:
            return [f"{self.kind} {self.new!r} is called that already: nothing changed"]
        found = [f"{self.kind} {self.old!r} is {self.new!r} now"]
        if self.before is not None:
            found.append(
                f"{self.new!r} was once the name of what is {self.before!r} now: notes that still "
                "mean that would now name this one"
            )
        if folded(self.old) != folded(self.new):
            found.append(
                f"write {self.new!r} in photos.csv and studio.toml too: notes that still say "
                f"{self.old!r} are refused"
            )
        return found


def name_of(conn: sqlite3.Connection, table: str, row_id: int) -> str:
    """The name of a row. Raises ``NotFound`` where it is not."""
    sql = f"SELECT {_column(table)} FROM {table} WHERE id = ?"
    row = conn.execute(sql, (row_id,)).fetchone()
    if row is None:
        raise NotFound(f"There is no {kind_words(table)} of the number {row_id} in the archive.")
    return str(row[0])


def id_of(conn: sqlite3.Connection, table: str, name: str, owner: str | None = None) -> int:
    """The row of that name; ``owner`` says of which dye, base or lot, where several have it.

    Raises ``NotFound`` naming what there is, ``ArchiveError`` where it could be several.
    """
    if table in NAMED_BY:
        return find(conn, table, name)
    owner_table = NAMED_WITHIN[table][0].removesuffix("_id")
    if owner is not None:
        return find_of(conn, table, find(conn, owner_table, owner), name)
    wanted, column = named(name, f"name of the {kind_words(table)}"), _column(table)
    rows = named_so(conn, table, wanted)
    if len(rows) == 1:
        return rows[0][0]
    if rows:
        owners = [_told_by(conn, table, row_id) for row_id, _ in rows[:NAMES_SHOWN]]
        more = f", {len(rows) - len(owners)} more" if len(rows) > len(owners) else ""
        raise ArchiveError(
            f"{kind_words(table)} {wanted!r} could be that{', that'.join(owners)}{more}: say "
            f"which {owner_table} with --of"
        )
    known = [r[0] for r in conn.execute(f"SELECT DISTINCT {column} FROM {table} ORDER BY {column}")]
    raise NotFound(unknown(kind_words(table), wanted, known))


def rename(conn: sqlite3.Connection, table: str, row_id: int, name: str) -> Renaming:
    """Give a row another name, and keep the old one beside the time.

    Case alone may differ. Raises ``ArchiveError`` for a name that is blank, longer than
    :data:`~swatchvault.archive.values.LONGEST_NAME` or taken: two things are never made one.
    """
    words, column = kind_words(table), _column(table)
    new = named(name, f"new name of the {words}")
    check_length(new, f"new name of the {words}")
    with transaction(conn):
        old = name_of(conn, table, row_id)
        done = Renaming(words, old, new)
        if not done.changed:
            return done
        owner_id = _owner_id(conn, table, row_id)
        _refuse_taken(conn, table, row_id, owner_id, new)
        before = renamed_to(conn, table, new, owner_id)
        conn.execute(f"UPDATE {table} SET {column} = ? WHERE id = ?", (new, row_id))
        row = {"kind": table, "row_id": row_id, "old_name": old, "new_name": new}
        insert(conn, "renamed", {**row, "renamed_at": now()})
        _rename_in_plans(conn, table, owner_id, old, new)
        # Its own earlier name, taken back, was nobody else's.
        other = None if before is None or before[0] == old else before[0]
    return Renaming(words, old, new, other)


def earlier_names(conn: sqlite3.Connection, table: str, row_id: int) -> Rows:
    """What a row was called before, and until when, oldest first."""
    return query(conn, EARLIER_NAMES, {"kind": table, "id": row_id})


def _column(table: str) -> str:
    return NAMED_BY[table] if table in NAMED_BY else NAMED_WITHIN[table][1]


def _owner_id(conn: sqlite3.Connection, table: str, row_id: int) -> int | None:
    if table not in NAMED_WITHIN:
        return None
    sql = f"SELECT {NAMED_WITHIN[table][0]} FROM {table} WHERE id = ?"
    return int(conn.execute(sql, (row_id,)).fetchone()[0])


def _refuse_taken(
    conn: sqlite3.Connection, table: str, row_id: int, owner_id: int | None, new: str
) -> None:
    for other_id, other in named_so(conn, table, new, owner_id):
        if other_id != row_id:
            raise ArchiveError(
                f"the name {new!r} is taken by the {kind_words(table)} "
                f"{other!r}{_told_by(conn, table, other_id)}: choose another name; two of a kind "
                "are never made one"
            )


def _told_by(conn: sqlite3.Connection, table: str, row_id: int) -> str:
    sql = _TOLD_BY.get(table)
    return "" if sql is None else str(conn.execute(sql, (row_id,)).fetchone()[0])


def _rename_in_plans(
    conn: sqlite3.Connection, table: str, dye_id: int | None, old: str, new: str
) -> None:
    """Pots name, by dye, the stock that it is to come from: as text, which has to follow."""
    if table not in ("dye", "stock"):
        return
    dye = None if table == "dye" else folded(name_of(conn, "dye", dye_id or 0))
    for row in conn.execute("SELECT id, planned_from FROM pot WHERE planned_from IS NOT NULL"):
        plan: dict[str, str | None] = json.loads(row[1])
        if dye is None:
            said = {new if folded(d) == folded(old) else d: s for d, s in plan.items()}
        else:
            said = {
                d: new if folded(d) == dye and s and folded(s) == folded(old) else s
                for d, s in plan.items()
            }
        if said != plan:
            conn.execute("UPDATE pot SET planned_from = ? WHERE id = ?", (to_json(said), row[0]))
