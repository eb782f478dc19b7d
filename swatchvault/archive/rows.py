"""Small helpers over one SQLite connection: transactions, rows by their name, clean words."""

from __future__ import annotations

import difflib
import json
import math
import sqlite3
import unicodedata
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any, Literal, NamedTuple

from swatchvault.errors import ArchiveError, NotFound

Change = Literal["added", "changed", "same"]

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
#: What `mend` puts right, by table.
MENDABLE: Mapping[str, tuple[str, ...]] = {
    "stock": ("grams", "made_up_to_ml", "mixed_on", "pack"),
    "swatch": ("form", "base", "lot"),
    "lot": ("dyed_on", "dry_g", "colourway"),
    "base": ("fibres", "price_per_kg", "superwash"),
    "setup": ("light", "locked"),
}
NAMES_SHOWN = 8
#: Most characters of a new name: what a label, a card and a list have room for; our choice.
LONGEST_NAME = 120
_ALLOWED = "\t\r\n\u200c\u200d"  # white space, and the joiners that some scripts and emoji need


class Entry(NamedTuple):
    """A row's id, and whether storing it added it, changed it, or found it as it was."""

    id: int
    change: Change


@contextmanager
def transaction(conn: sqlite3.Connection) -> Iterator[None]:
    """All or nothing. Takes the write lock at once; inside another transaction, a savepoint.

    Raises ``ArchiveError`` in one line where SQLite refuses (locked, read-only, disk full, a
    CHECK or a foreign key).
    """
    nested = conn.in_transaction
    try:
        conn.execute("SAVEPOINT inner_step" if nested else "BEGIN IMMEDIATE")
        try:
            yield
            conn.execute("RELEASE inner_step" if nested else "COMMIT")
        except BaseException:
            _undo(conn, nested)
            raise
    except sqlite3.Error as error:
        raise ArchiveError(_refusal(error)) from error


def _undo(conn: sqlite3.Connection, nested: bool) -> None:
    if not conn.in_transaction:  # SQLite rolled back by itself (disk full, I/O error)
        return
    if nested:
        conn.execute("ROLLBACK TO inner_step")
        conn.execute("RELEASE inner_step")
    else:
        conn.execute("ROLLBACK")


def _refusal(error: sqlite3.Error) -> str:
    text = str(error)
    if "locked" in text or "busy" in text:
        return "another program is writing to the archive: wait until it is done and try again"
    if "readonly" in text:
        return "the archive is read-only: allow writing to its folder and archive.db"
    if "full" in text:
        return "the disk is full: nothing was stored; make room and try again"
    if "CHECK constraint failed: " in text:
        said = text.split(": ", 1)[1]
        return f"refused: {said.replace('temperature_c', 'the temperature in °C')}"
    if "FOREIGN KEY" in text:
        return (
            "refused: a row would name another that does not fit it (such as a pack of another "
            "dye, or a swatch on another base than its lot)"
        )
    return f"the archive refused: {text}"


def insert(conn: sqlite3.Connection, table: str, values: Mapping[str, Any]) -> int:
    """Insert one row; ``table`` and the keys are names of the schema, never a user's text."""
    marks = ", ".join("?" for _ in values)
    sql = f"INSERT INTO {table} ({', '.join(values)}) VALUES ({marks})"
    return int(conn.execute(sql, tuple(values.values())).lastrowid or 0)


def put(
    conn: sqlite3.Connection,
    table: str,
    key: Mapping[str, Any],
    facts: Mapping[str, Any],
    fixed: Collection[str] = (),
) -> Entry:
    """Store a row by its natural key; storing the same again changes nothing.

    A fact that is ``None`` never erases what is known. A known fact that differs replaces the
    old one, except those in ``fixed``, which tell one thing from another: these raise
    ``ArchiveError``.
    """
    where = " AND ".join(f"{column} = ?" for column in key)
    columns = ", ".join(("id", *facts))
    sql = f"SELECT {columns} FROM {table} WHERE {where}"
    old = conn.execute(sql, tuple(key.values())).fetchone()
    if old is None and (known_as := _id_by_key(conn, table, key)) is not None:
        sql = f"SELECT {columns} FROM {table} WHERE id = ?"
        old = conn.execute(sql, (known_as,)).fetchone()
    if old is None:
        _refuse_key(conn, table, key)
        return Entry(insert(conn, table, {**key, **facts}), "added")
    known = dict(zip(facts, tuple(old)[1:], strict=True))
    new = {c: v for c, v in facts.items() if v is not None and v != known[c]}
    for column in fixed:
        if column in new and known[column] is not None:
            fact = column.removesuffix("_id").removeprefix("dye_")
            mends = fact in MENDABLE.get(table, ()) and column != "lot_id"
            hint = " (the archive's by `swatchvault mend`)" if mends else ""
            raise ArchiveError(
                f"{table} {_key_words(key)} already has "
                f"{_differing(column, known[column], new[column])}: correct the one that is "
                f"wrong{hint}, or use another name"
            )
    if not new:
        return Entry(int(old[0]), "same")
    changes = ", ".join(f"{column} = ?" for column in new)
    conn.execute(f"UPDATE {table} SET {changes} WHERE id = ?", (*new.values(), old[0]))
    return Entry(int(old[0]), "changed")


def _differing(column: str, old: object, new: object) -> str:
    if column.endswith("_id"):  # ids say nothing to a person
        return f"another {column.removesuffix('_id').replace('_', ' ')}"
    return f"{column} {old!r}, not {new!r}"


def _key_words(key: Mapping[str, Any]) -> str:
    named = [repr(v) for v in key.values() if isinstance(v, str)]
    return " ".join(named) or repr(list(key.values()))


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


def _id_by_key(conn: sqlite3.Connection, table: str, key: Mapping[str, Any]) -> int | None:
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


def find_of(conn: sqlite3.Connection, table: str, owner_id: int, name: str) -> int:
    """Id of a row named within its owner: a dye's pack or stock, a base's lot, a lot's skein."""
    owner, column = NAMED_WITHIN[table]
    words = kind_words(table)
    wanted = clean(name, f"name of the {words}") or ""
    row_id = id_named(conn, table, wanted, owner_id)
    if row_id is None:
        sql = f"SELECT {column} FROM {table} WHERE {owner} = ? ORDER BY {column}"
        known = [r[0] for r in conn.execute(sql, (owner_id,))]
        said = old_name_words(conn, table, wanted, owner_id)
        said = said or _of_other(conn, table, owner_id, wanted, known)
        raise NotFound(said or unknown(words, wanted, known))
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


def _refuse_key(conn: sqlite3.Connection, table: str, key: Mapping[str, Any]) -> None:
    """No new name is too long, and old notes make no second thing of what was renamed since."""
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


def clean(text: str | None, what: str) -> str | None:
    """Text as one line: NFC, single spaces, blank as ``None``. Control characters are refused."""
    if text is None:
        return None
    if any(unicodedata.category(c) in {"Cc", "Cf", "Cs"} and c not in _ALLOWED for c in text):
        raise ArchiveError(f"{what} holds invisible control characters: type it anew")
    return " ".join(unicodedata.normalize("NFC", text).split()) or None


def named(text: str | None, what: str) -> str:
    """Like :func:`clean`, but it must not be blank."""
    cleaned = clean(text, what)
    if cleaned is None:
        raise ArchiveError(f"{what} is blank: give it a name")
    return cleaned


def check_length(name: str, what: str) -> None:
    """Raise ``ArchiveError`` for a name of more than :data:`LONGEST_NAME` characters."""
    if len(name) > LONGEST_NAME:
        raise ArchiveError(
            f"{what} has {len(name)} characters: {LONGEST_NAME} is the most, so shorten it, or put "
            "more into a note"
        )


def now() -> str:
    """The time in UTC, to the second, as ISO 8601."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def to_json(value: object, figures: int | None = None) -> str:
    """Plain data as JSON text; NaN and infinity become null.

    ``figures``: significant figures that numbers are rounded to; all of them if not given.
    """
    plain = _plain(value, figures)
    return json.dumps(plain, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def _plain(value: Any, figures: int | None) -> Any:
    if isinstance(value, Mapping):
        return {str(k): _plain(v, figures) for k, v in value.items()}
    if isinstance(value, set | frozenset):
        return sorted(_plain(v, figures) for v in value)
    if hasattr(value, "tolist"):  # arrays and their scalars
        return _plain(value.tolist(), figures)
    if isinstance(value, list | tuple):
        return [_plain(v, figures) for v in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, float) and figures is not None:
        return float(f"{value:.{figures}g}")
    return value


def yes_no(value: bool | None) -> int | None:
    """SQLite's 1, 0 or NULL."""
    return None if value is None else int(value)


def tri(value: int | None) -> bool | None:
    """The other way round: yes, no or unknown."""
    return None if value is None else bool(value)
