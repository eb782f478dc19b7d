"""What a swatch or a lot is of, put right: the base, the colourway, and all that goes with them.

A skein is on one base, so its swatches and the skeins that it was before or became go along; a
delivery goes along by its label. Masters and verdicts are kept as they were given.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection

from swatchvault.archive.rename import name_of
from swatchvault.archive.rows import insert, put
from swatchvault.errors import ArchiveError

#: A skein with those that it was before and became, as far as they are on the same base.
_SAME_YARN = (
    "WITH RECURSIVE same (id) AS (SELECT :skein UNION SELECT other.id FROM same "
    "JOIN skein AS own ON own.id = same.id JOIN skein AS other ON other.base_id = own.base_id "
    "AND (other.from_skein_id = own.id OR own.from_skein_id = other.id)) SELECT id FROM same"
)


def move_to_base(conn: sqlite3.Connection, swatch_id: int, base_id: int) -> tuple[list[str], bool]:
    """Put a swatch on another base, with its skein, delivery and lot.

    What went along, in words, and whether a lot is on one base more than before. Inside a
    transaction. Raises ``ArchiveError`` where lots are held to it as their master.
    """
    conn.execute("PRAGMA defer_foreign_keys = ON")  # skein and swatch change one after the other
    sql = "SELECT base_id FROM swatch WHERE id = ?"
    old = int(conn.execute(sql, (swatch_id,)).fetchone()[0])
    skeins, swatches = same_yarn(conn, swatch_id)
    refuse_held_to(conn, swatches)
    said, lots = [], _lots_of(conn, swatches, skeins)
    before = {lot_id: _bases_of(conn, lot_id) for lot_id in lots}
    for lot_id in lots:
        sql = "INSERT OR IGNORE INTO lot_base (lot_id, base_id) VALUES (?, ?)"
        conn.execute(sql, (lot_id, base_id))
    for table, ids in (("skein", skeins), ("swatch", swatches)):
        for row_id in ids:
            said += _move_row(conn, table, row_id, base_id)
    for skein in skeins:
        said.append(f"skein {name_of(conn, 'skein', skein)!r} is on it too")
    for other in swatches[1:]:
        said.append(f"swatch {name_of(conn, 'swatch', other)!r} is on it too")
    for lot_id in lots:
        said.append(_leave_base(conn, lot_id, old))
    more = any(len(_bases_of(conn, lot_id)) > len(before[lot_id]) for lot_id in lots)
    return list(dict.fromkeys(said)), more


def put_into_lot(conn: sqlite3.Connection, swatch_id: int, lot_id: int) -> tuple[list[str], bool]:
    """Put a swatch that was kept as undyed yarn, or of a wrong lot, into a lot.

    What went along, in words, and whether the lot is on one base more than before. Inside a
    transaction. Raises ``ArchiveError`` where the swatch has a lot and a master, a verdict or
    a skein of that lot says so too.
    """
    sql = "SELECT base_id, lot_id FROM swatch WHERE id = ?"
    base_id, old = conn.execute(sql, (swatch_id,)).fetchone()
    if old is not None and (why := bound_to_lot(conn, swatch_id)):
        lot = name_of(conn, "lot", lot_id)
        raise ArchiveError(
            f"swatch {name_of(conn, 'swatch', swatch_id)!r} is of lot "
            f"{name_of(conn, 'lot', old)!r}, and {why}: file its photo as of lot {lot!r} under "
            "another label, with `swatchvault add PHOTO --swatch LABEL --relabel`; what was said "
            "of this one keeps its words"
        )
    before = _bases_of(conn, lot_id)
    sql = "INSERT OR IGNORE INTO lot_base (lot_id, base_id) VALUES (?, ?)"
    conn.execute(sql, (lot_id, base_id))
    conn.execute("UPDATE swatch SET lot_id = ? WHERE id = ?", (lot_id, swatch_id))
    after = _bases_of(conn, lot_id)
    if before == after:
        return [], False
    on = " and ".join(map(repr, after))
    return [f"lot {name_of(conn, 'lot', lot_id)!r} is on {on} now"], bool(before)


def bound_to_lot(conn: sqlite3.Connection, swatch_id: int) -> str:
    """What else says of which lot a swatch is; "" where nothing does."""
    judged = (
        "SELECT EXISTS (SELECT 1 FROM master WHERE swatch_id = :id) OR EXISTS "
        "(SELECT 1 FROM lot_check WHERE swatch_id = :id OR master_swatch_id = :id)"
    )
    if conn.execute(judged, {"id": swatch_id}).fetchone()[0]:
        return "it is a master or was held to one as that"
    sql = "SELECT skein_id FROM swatch WHERE id = ?"
    (skein_id,) = conn.execute(sql, (swatch_id,)).fetchone()
    return "" if skein_id is None else f"of its skein {name_of(conn, 'skein', skein_id)!r}"


def same_yarn(conn: sqlite3.Connection, swatch_id: int) -> tuple[list[int], list[int]]:
    """The skeins that a swatch is of, as they were and became, and all swatches of them, its own
    number first."""
    sql = "SELECT skein_id FROM swatch WHERE id = ?"
    (skein_id,) = conn.execute(sql, (swatch_id,)).fetchone()
    skeins = [] if skein_id is None else _ids(conn, _SAME_YARN, {"skein": skein_id})
    swatches = [swatch_id]
    for skein in skeins:
        swatches += _ids(conn, "SELECT id FROM swatch WHERE skein_id = :skein", {"skein": skein})
    return skeins, list(dict.fromkeys(swatches))


def refuse_other_recipe(conn: sqlite3.Connection, lot_id: int, colourway_id: int) -> None:
    """Raise ``ArchiveError`` where a lot follows a recipe of another colourway than this."""
    row = conn.execute(
        "SELECT recipe.version, colourway.name, base.name, lot.code FROM lot "
        "JOIN recipe ON recipe.id = lot.recipe_id JOIN base ON base.id = recipe.base_id "
        "JOIN colourway ON colourway.id = recipe.colourway_id "
        "WHERE lot.id = ? AND recipe.colourway_id <> ?",
        (lot_id, colourway_id),
    ).fetchone()
    if row is not None:
        version, colourway, base, code = row
        raise ArchiveError(
            f"lot {code!r} follows version {version} of {colourway!r} on {base!r}: a lot of "
            "another colourway cannot follow it. If the colourway's name is wrong, mend the name"
        )


def refuse_held_to(conn: sqlite3.Connection, swatches: Collection[int]) -> None:
    """Raise ``ArchiveError`` where one is the master in force of yarn that is not among them."""
    marks = ", ".join("?" for _ in swatches)
    sql = (
        "SELECT held.swatch, held.colourway, held.base, held.form, other.label "
        "FROM current_masters AS held JOIN swatch AS other ON other.base_id = held.base_id "
        "AND other.form = held.form JOIN lot ON lot.id = other.lot_id "
        f"AND lot.colourway_id = held.colourway_id WHERE held.swatch_id IN ({marks}) "
        f"AND other.id NOT IN ({marks})"
    )
    row = conn.execute(sql, (*swatches, *swatches)).fetchone()
    if row is not None:
        label, colourway, base, form, other = row
        raise ArchiveError(
            f"swatch {label!r} is the master of {colourway!r} on {base!r} as {form}, and swatch "
            f"{other!r} is held to it: make another the master there first"
        )


def hanging(conn: sqlite3.Connection, swatches: Collection[int]) -> list[str]:
    """What was said of these swatches, in words: masters set and verdicts given."""
    marks = ", ".join("?" for _ in swatches)
    masters = (
        "SELECT DISTINCT swatch.label, colourway.name, base.name FROM master "
        "JOIN swatch ON swatch.id = master.swatch_id JOIN base ON base.id = master.base_id "
        f"JOIN colourway ON colourway.id = master.colourway_id WHERE swatch_id IN ({marks})"
    )
    said = [
        f"swatch {label!r} was made the master of {colourway!r} on {base!r}"
        for label, colourway, base in conn.execute(masters, tuple(swatches))
    ]
    checks = (
        f"SELECT count(*) FROM lot_check WHERE swatch_id IN ({marks}) "
        f"OR master_swatch_id IN ({marks})"
    )
    count = int(conn.execute(checks, (*swatches, *swatches)).fetchone()[0])
    if count:
        verdicts = "a verdict was" if count == 1 else f"{count} verdicts were"
        said.append(f"{verdicts} given on it or against it")
    return said


def _ids(conn: sqlite3.Connection, sql: str, values: dict[str, int]) -> list[int]:
    return [int(row[0]) for row in conn.execute(sql, values)]


def _lots_of(
    conn: sqlite3.Connection, swatches: Collection[int], skeins: Collection[int]
) -> list[int]:
    found = []
    for table, ids in (("swatch", swatches), ("skein", skeins)):
        for row_id in ids:
            sql = f"SELECT lot_id FROM {table} WHERE id = :id AND lot_id IS NOT NULL"
            found += _ids(conn, sql, {"id": row_id})
    return list(dict.fromkeys(found))


def _move_row(conn: sqlite3.Connection, table: str, row_id: int, base_id: int) -> list[str]:
    """A skein or swatch on another base, its delivery there by the same label.

    The old delivery goes where nothing is of it any more and the new one tells all that it told.
    """
    sql = f"SELECT base_lot_id FROM {table} WHERE id = ?"
    (before,) = conn.execute(sql, (row_id,)).fetchone()
    delivery, apart = (None, "") if before is None else _delivery(conn, before, base_id)
    sql = f"UPDATE {table} SET base_id = ?, base_lot_id = ? WHERE id = ?"
    conn.execute(sql, (base_id, delivery, row_id))
    if before is None or delivery is None or before == delivery:
        return []
    label = name_of(conn, "base_lot", delivery)
    used = (
        "SELECT EXISTS (SELECT 1 FROM skein WHERE base_lot_id = :id) "
        "OR EXISTS (SELECT 1 FROM swatch WHERE base_lot_id = :id)"
    )
    if not apart and not conn.execute(used, {"id": before}).fetchone()[0]:
        conn.execute("DELETE FROM renamed WHERE kind = 'base_lot' AND row_id = ?", (before,))
        conn.execute("DELETE FROM base_lot WHERE id = ?", (before,))
    return [f"delivery {label!r} is of it too{apart}"]


#: What is told of a delivery, and its words.
_TOLD = {"received_on": "received on", "note": "note"}


def _delivery(conn: sqlite3.Connection, base_lot_id: int, base_id: int) -> tuple[int, str]:
    """The delivery of that label on another base, made or its blanks filled from the old one.

    Where what is told of the two differs neither is changed, and how it differs is in words.
    """
    sql = "SELECT base_lot.*, base.name AS base FROM base_lot JOIN base ON base.id = base_id"
    old = conn.execute(f"{sql} WHERE base_lot.id = ?", (base_lot_id,)).fetchone()
    if old["base_id"] == base_id:
        return base_lot_id, ""
    told = {column: old[column] for column in _TOLD if old[column] is not None}
    of_label = f"{sql} WHERE base_id = ? AND label = ?"
    new = conn.execute(of_label, (base_id, old["label"])).fetchone()
    if new is None:
        return insert(conn, "base_lot", {"base_id": base_id, "label": old["label"], **told}), ""
    differs = [c for c, fact in told.items() if new[c] not in (None, fact)]
    if differs:
        on = ", ".join(f"{_TOLD[c]} {new[c]!r}, not {told[c]!r}" for c in differs)
        return new["id"], (
            f", as the archive has it ({on}); that of {old['base']!r} is kept, with what is told "
            "of it"
        )
    put(conn, "base_lot", {"base_id": base_id, "label": new["label"]}, told)
    return new["id"], ""


def _bases_of(conn: sqlite3.Connection, lot_id: int) -> list[str]:
    sql = (
        "SELECT name FROM lot_base JOIN base ON base.id = base_id WHERE lot_id = ? ORDER BY base.id"
    )
    return [str(row[0]) for row in conn.execute(sql, (lot_id,))]


def _leave_base(conn: sqlite3.Connection, lot_id: int, base_id: int) -> str:
    """Take a lot off a base that nothing of it is on any more; which bases it is on then."""
    on_it = (
        "SELECT 'swatch ' || quote(label) FROM swatch WHERE lot_id = :lot AND base_id = :base "
        "UNION ALL SELECT 'skein ' || quote(label) FROM skein WHERE lot_id = :lot "
        "AND base_id = :base UNION ALL SELECT 'the recipe that it follows' FROM lot "
        "JOIN recipe ON recipe.id = lot.recipe_id WHERE lot.id = :lot AND recipe.base_id = :base"
    )
    ids = {"lot": lot_id, "base": base_id}
    still = [str(row[0]) for row in conn.execute(on_it, ids)]
    if not still:
        conn.execute("DELETE FROM lot_base WHERE lot_id = :lot AND base_id = :base", ids)
    bases = " and ".join(map(repr, _bases_of(conn, lot_id)))
    said = f"lot {name_of(conn, 'lot', lot_id)!r} is on {bases} now"
    if still:
        said += f": {', '.join(still)} is still on {name_of(conn, 'base', base_id)!r}"
    return said
