"""Rows by their names: in any case, within what they belong to, and by what they once were."""

from __future__ import annotations

import difflib
import json
import sqlite3
import unicodedata
from collections.abc import Mapping, Sequence
from typing import Any

from swatchvault.archive.values import check_length, clean
from swatchvault.errors import ArchiveError, NotFound

#: Column that a person calls a row by, for tables whose rows have a name of their own.
NAMED_BY: Mapping[str, str] = {
    "base": "name",
    "dye": "name",
    "colourway": "name",
    "lot": "code",
    "swatch": "label",
    "setup": "name",
    "reference": "name",
}
#: The owner's column and the naming one, for tables whose rows are named within another row.
NAMED_WITHIN: Mapping[str, tuple[str, str]] = {
    "dye_pack": ("dye_id", "code"),
    "stock": ("dye_id", "code"),
    "base_lot": ("base_id", "label"),
    "skein": ("lot_id", "label"),
}
#: Most names that a refusal lists; our choice.
NAMES_SHOWN = 8


def folded(name: str) -> str:
    """A name as it is told from others: neither case nor Unicode's form of a letter matters.

    Not as ``str.casefold``, which takes ß for ss: another spelling stays another name.

    >>> folded("ÉLAN") == folded("e\u0301lan"), folded("Straße") == folded("Strasse")
    (True, False)
    """
    small = unicodedata.normalize("NFC", name).lower().replace("ς", "σ")  # at a word's end
    return unicodedata.normalize("NFC", small)


def named_so(
    conn: sqlite3.Connection, table: str, name: str, owner_id: int | None = None
) -> list[tuple[int, str]]:
    """Id and name of all rows of that name, within an owner if told. SQLite itself folds ASCII
    alone: in old archives several may be one name, and other names are gone through here."""
    owner, column = NAMED_WITHIN.get(table) or ("", NAMED_BY[table])
    within = f"{owner} = :owner AND " if owner_id is not None else ""
    sql = f"SELECT id, {column} FROM {table} WHERE {within}{_may_be(column, name)} ORDER BY id"
    rows = conn.execute(sql, {"name": name, "owner": owner_id})
    wanted = folded(name)
    return [(int(r[0]), str(r[1])) for r in rows if folded(r[1]) == wanted]


def _may_be(column: str, name: str) -> str:
    """SQL: which rows may be called ``:name``; an index finds them where it is plain ASCII."""
    return f"{column} = :name" if name.isascii() else f"{column} GLOB '*[^ -~]*'"


def id_named(
    conn: sqlite3.Connection, table: str, name: str, owner_id: int | None = None
) -> int | None:
    """Id of the row of that name, ``None`` where there is none. Of several that differ by case
    alone the one that is written so; raises ``ArchiveError`` where none is."""
    if not name.isascii():
        owner, column = NAMED_WITHIN.get(table) or ("", NAMED_BY[table])
        within = f"{owner} = :owner AND " if owner_id is not None else ""
        exactly = f"{column} = :name AND {column} = :name COLLATE BINARY"  # the first has an index
        sql = f"SELECT id FROM {table} WHERE {within}{exactly}"
        row = conn.execute(sql, {"name": name, "owner": owner_id}).fetchone()
        if row is not None:
            return int(row[0])
    found = named_so(conn, table, name, owner_id)
    if len(found) > 1:
        several = " and ".join(repr(as_kept) for _, as_kept in found)
        raise ArchiveError(
            f"{kind_words(table)} {name!r} could be {several}: write it as one of them"
        )
    return found[0][0] if found else None


def id_by_key(conn: sqlite3.Connection, table: str, key: Mapping[str, Any]) -> int | None:
    """Id of the row of that natural key by its name in any case, where SQLite itself does not
    find it; of tables without names ``None``."""
    owner, column = NAMED_WITHIN.get(table) or ("", NAMED_BY.get(table, ""))
    if not column or set(key) != {column, owner} - {""} or key[column].isascii():
        return None
    return id_named(conn, table, key[column], key.get(owner))


def find(conn: sqlite3.Connection, table: str, name: str) -> int:
    """Id of the row of that name (case does not matter), else :class:`NotFound` with help."""
    column = NAMED_BY[table]
    wanted = clean(name, f"name of the {table}") or ""
    row_id = id_named(conn, table, wanted)
    if row_id is None:
        known = [r[0] for r in conn.execute(f"SELECT {column} FROM {table} ORDER BY {column}")]
        raise NotFound(old_name_words(conn, table, wanted) or unknown(table, wanted, known))
    return row_id


#: What to do of a name that is not there, where another command tells it.
FIRST_TOLD = {"skein": "; `swatchvault pot skein LOT SKEIN` records one, or name none"}


def find_of(conn: sqlite3.Connection, table: str, owner_id: int, name: str) -> int:
    """Id of a row named within its owner: a dye's pack or stock, a base's lot, a lot's skein.

    Raises :class:`NotFound` with the names that there are.
    """
    owner, column = NAMED_WITHIN[table]
    words = kind_words(table)
    wanted = clean(name, f"name of the {words}") or ""
    row_id = id_named(conn, table, wanted, owner_id)
    if row_id is None:
        sql = f"SELECT {column} FROM {table} WHERE {owner} = ? ORDER BY {column}"
        known = [r[0] for r in conn.execute(sql, (owner_id,))]
        said = old_name_words(conn, table, wanted, owner_id)
        if said is None:
            said = _of_other(conn, table, owner_id, wanted, known) or unknown(words, wanted, known)
            said += FIRST_TOLD.get(table, "")
        raise NotFound(said)
    return row_id


def _of_other(
    conn: sqlite3.Connection, table: str, owner_id: int, name: str, known: Sequence[str]
) -> str:
    """That a name is there, and within another owner; "" where it is not."""
    owner, _ = NAMED_WITHIN[table]
    of = owner.removesuffix("_id")
    title = NAMED_BY[of]
    sql = (
        f"SELECT {of}.{title} FROM {table} JOIN {of} ON {of}.id = {table}.{owner} "
        f"WHERE {table}.id IN (SELECT value FROM json_each(?)) ORDER BY 1"
    )
    ids = json.dumps([row_id for row_id, _ in named_so(conn, table, name)])
    others = [str(row[0]) for row in conn.execute(sql, (ids,))]
    if not others:
        return ""
    (mine,) = conn.execute(f"SELECT {title} FROM {of} WHERE id = ?", (owner_id,)).fetchone()
    has = ", ".join(map(repr, known[:NAMES_SHOWN])) or "none yet"
    more = f" and {len(known) - NAMES_SHOWN} more" if len(known) > NAMES_SHOWN else ""
    elsewhere = ", ".join(map(repr, others[:NAMES_SHOWN]))
    return (
        f"{kind_words(table)} {name!r} is of the {kind_words(of)} {elsewhere}, not of {mine!r}, "
        f"which has {has}{more}"
    )


def kind_words(table: str) -> str:
    """What a row of a table is called in a sentence."""
    return "set-up" if table == "setup" else table.replace("_", " ")


def renamed_to(
    conn: sqlite3.Connection, table: str, name: str, owner_id: int | None = None
) -> tuple[str, str] | None:
    """The name now, and the day, of what was last called ``name`` and renamed; else ``None``."""
    owner, column = NAMED_WITHIN.get(table) or ("", NAMED_BY[table])
    within = f"AND so.{owner} = :owner " if owner else ""
    sql = (
        f"SELECT so.{column}, substr(renamed_at, 1, 10), old_name FROM renamed JOIN {table} AS so "
        f"ON so.id = row_id WHERE renamed.kind = :kind AND {_may_be('old_name', name)} {within}"
        "ORDER BY renamed.id DESC"
    )
    rows = conn.execute(sql, {"kind": table, "name": name, "owner": owner_id})
    wanted = folded(name)
    return next(((str(r[0]), str(r[1])) for r in rows if folded(r[2]) == wanted), None)


def old_name_words(
    conn: sqlite3.Connection, table: str, name: str, owner_id: int | None = None
) -> str | None:
    """One line where ``name``, which nothing has now, is what something was called before."""
    found = renamed_to(conn, table, name, owner_id)
    if found is None:
        return None
    new, day = found
    return f"{kind_words(table)} {name!r} was renamed to {new!r} on {day}: write {new!r}"


def refuse_key(conn: sqlite3.Connection, table: str, key: Mapping[str, Any]) -> None:
    """No new name is too long, and old notes make no second thing of what was renamed since:
    :class:`ArchiveError` else."""
    owner, column = NAMED_WITHIN.get(table) or ("", NAMED_BY.get(table, ""))
    if not column:
        return
    check_length(key[column], f"name of the {kind_words(table)}")
    said = old_name_words(conn, table, key[column], key.get(owner))
    if said is not None:
        raise ArchiveError(
            f"{said}; if another is meant, add it by a name of its own and rename it to "
            f"{key[column]!r}"
        )


def unknown(what: str, wanted: str, known: Sequence[str]) -> str:
    """One line for a name that is not there: the nearest names first, then what there is."""
    if not known:
        return f"unknown {what} {wanted!r}: the archive has none yet; add it first"
    folded = {k.casefold(): k for k in known}
    near = [folded[n] for n in difflib.get_close_matches(wanted.casefold(), folded, n=3)]
    shown = [*near, *(k for k in known if k not in near)][:NAMES_SHOWN]
    more = len(known) - len(shown)
    tail = f" and {more} more" if more else ""
    return f"unknown {what} {wanted!r}: the archive has {', '.join(map(repr, shown))}{tail}"
