"""What the pages of colourways, lots, swatches, bases and recipes read, by ids of their rows."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from typing import Any

from swatchvault.archive.evenness import verdict_shown
from swatchvault.archive.labs import LAB, with_lab
from swatchvault.archive.listing import query
from swatchvault.archive.lot_verdict import check_of, swatch_of
from swatchvault.archive.since import all_aside, former_master, since_then
from swatchvault.archive.speaking import DAMP, speaks_for, swatch_for_lot, tells_evenness_of
from swatchvault.archive.standing import still_of
from swatchvault.archive.views import DAY_OF_LOT
from swatchvault.archive.views_evenness import class_words
from swatchvault.errors import NotFound

Record = dict[str, Any]

_BASES = (
    "(SELECT group_concat(base.name, ', ') FROM lot_base JOIN base ON base.id = lot_base.base_id "
    "WHERE lot_base.lot_id = lot.id)"
)

#: One thing by its id, with the names that belong to it.
_ONE: Mapping[str, str] = {
    "colourway": "SELECT id, name, note FROM colourway WHERE id = :id",
    "base": "SELECT * FROM base WHERE id = :id",
    "lot": f"""SELECT lot.*, colourway.name AS colourway, {_BASES} AS bases,
        recipe.version AS recipe_version, earlier.code AS overdyes, pot.started_at, pot.ended_at,
        {DAY_OF_LOT} AS day
        FROM lot LEFT JOIN colourway ON colourway.id = lot.colourway_id
        LEFT JOIN recipe ON recipe.id = lot.recipe_id LEFT JOIN pot ON pot.lot_id = lot.id
        LEFT JOIN lot AS earlier ON earlier.id = lot.overdyes_lot_id WHERE lot.id = :id""",
    "swatch": """SELECT swatch.*, base.name AS base, lot.code AS lot, lot.dyed_on,
        colourway.name AS colourway, lot.colourway_id, skein.label AS skein,
        base_lot.label AS base_lot
        FROM swatch JOIN base ON base.id = swatch.base_id LEFT JOIN lot ON lot.id = swatch.lot_id
        LEFT JOIN colourway ON colourway.id = lot.colourway_id
        LEFT JOIN skein ON skein.id = swatch.skein_id
        LEFT JOIN base_lot ON base_lot.id = swatch.base_lot_id WHERE swatch.id = :id""",
    "recipe": """SELECT recipe.*, colourway.name AS colourway, base.name AS base,
        parent.version AS parent_version, came.name AS parent_base FROM recipe
        JOIN colourway ON colourway.id = recipe.colourway_id JOIN base ON base.id = recipe.base_id
        LEFT JOIN recipe AS parent ON parent.id = recipe.parent_id
        LEFT JOIN base AS came ON came.id = parent.base_id AND came.id <> recipe.base_id
        WHERE recipe.id = :id""",
    "check": f"""SELECT c.*, lot.code AS lot, lot.colourway_id, colourway.name AS colourway,
        swatch.label AS swatch, swatch.form, base.name AS base, held.label AS master_swatch,
        held.lot_id AS master_lot_id, held_lot.code AS master_lot,
        {former_master("c.id")} AS former_master
        FROM lot_check AS c JOIN swatch ON swatch.id = c.swatch_id
        JOIN base ON base.id = swatch.base_id JOIN swatch AS held ON held.id = c.master_swatch_id
        LEFT JOIN lot ON lot.id = c.lot_id LEFT JOIN lot AS held_lot ON held_lot.id = held.lot_id
        LEFT JOIN colourway ON colourway.id = lot.colourway_id WHERE c.id = :id""",
}

_LOTS = f"""SELECT l.*, {LAB}, {DAMP} AS damp, photo.sha256 AS photo_sha256,
{class_words("even")} AS evenness, c.verdict, {verdict_shown("tonal")} AS evenness_verdict,
c.words, {swatch_of("l.lot_id", "l.check_id")} AS checked_swatch,
shown.label AS swatch, shown.form, {since_then("l.check_id")} AS since_then,
{all_aside("SELECT id FROM swatch AS own WHERE own.lot_id = l.lot_id")} AS all_aside
FROM (SELECT lot.id AS lot_id, lot.code AS lot, lot.dyed_on, lot.recipe_id, lot.colourway_id,
    {_BASES} AS bases, recipe.version AS recipe_version,
    {{seen}} AS seen,
    {check_of("lot.id")} AS check_id,
    {DAY_OF_LOT} AS day
    FROM (SELECT id FROM lot {{where}} ORDER BY {DAY_OF_LOT} DESC, id DESC LIMIT :most) AS shown
    JOIN lot ON lot.id = shown.id LEFT JOIN recipe ON recipe.id = lot.recipe_id) AS l
LEFT JOIN swatch AS shown ON shown.id = l.seen
LEFT JOIN measurement AS m ON m.id = {speaks_for("l.seen")}
LEFT JOIN measurement AS even ON even.id = {tells_evenness_of("l.seen")}
LEFT JOIN layout ON layout.id = m.layout_id
LEFT JOIN photo ON photo.id = layout.photo_id LEFT JOIN lot_check AS c ON c.id = l.check_id
LEFT JOIN evenness_check AS tonal ON tonal.lot_check_id = c.id
ORDER BY l.day DESC, l.lot_id DESC"""

_SWATCHES = f"""SELECT s.*, {LAB}, {DAMP} AS damp, photo.sha256 AS photo_sha256,
m.region, m.flags, {class_words("even")} AS evenness, {all_aside("s.swatch_id")} AS all_aside
FROM (SELECT swatch.id AS swatch_id, swatch.label AS swatch, swatch.form, swatch.dry,
    swatch.base_id, base.name AS base, swatch.lot_id, lot.code AS lot, lot.dyed_on,
    {DAY_OF_LOT} AS day
    FROM swatch JOIN base ON base.id = swatch.base_id LEFT JOIN lot ON lot.id = swatch.lot_id
    WHERE {{where}}) AS s
LEFT JOIN measurement AS m ON m.id = {speaks_for("s.swatch_id")}
LEFT JOIN measurement AS even ON even.id = {tells_evenness_of("s.swatch_id")}
LEFT JOIN layout ON layout.id = m.layout_id
LEFT JOIN photo ON photo.id = layout.photo_id
ORDER BY s.day, s.lot_id, s.swatch_id LIMIT :most"""

# As the view current_masters, which ranks every master before it can be narrowed.
_MASTERS = f"""SELECT held.id AS master_id, held.swatch_id, held.base_id, held.form, held.tolerance,
held.k_l, held.since, held.reason, base.name AS base, swatch.label AS swatch, {LAB}, {DAMP} AS damp,
{all_aside("held.swatch_id")} AS all_aside
FROM (SELECT master.*, row_number() OVER (PARTITION BY colourway_id, base_id, form
        ORDER BY since DESC, id DESC) AS place FROM master WHERE {{where}}) AS held
JOIN base ON base.id = held.base_id JOIN swatch ON swatch.id = held.swatch_id
LEFT JOIN measurement AS m ON m.id = {speaks_for("held.swatch_id")}
WHERE held.place = 1 AND {still_of("held")} ORDER BY base.name, held.form"""

_LABS_ON_BASE = f"""SELECT s.label AS swatch, {LAB}, {DAMP} AS damp
FROM (SELECT id, label FROM swatch WHERE base_id = :id AND EXISTS (SELECT 1
    FROM current_measurement AS seen WHERE seen.swatch_id = swatch.id)
    ORDER BY id DESC LIMIT :most) AS s
JOIN measurement AS m ON m.id = {speaks_for("s.id")} ORDER BY s.id DESC"""

ASIDE = "aside.reason AS aside_reason, aside.set_aside_at AS aside_since"
WHETHER_ASIDE = (
    "LEFT JOIN set_aside AS aside ON aside.photo_id = layout.photo_id "
    "AND aside.swatch_id = m.swatch_id AND aside.taken_back_at IS NULL"
)

_OF_LOT = (
    "EXISTS (SELECT 1 FROM {0} AS m JOIN swatch ON swatch.id = m.swatch_id "
    "WHERE m.photo_id = photo.id AND swatch.lot_id = :id)"
)
_ALL_OF_LOT = (
    f"({_OF_LOT.format('filed_measurement')} AND NOT {_OF_LOT.format('current_measurement')})"
)

#: More rows than this no page shows; Datasette's tables show all.
MOST = 500


def one(conn: sqlite3.Connection, kind: str, row_id: int) -> Record:
    """A colourway, base, lot, swatch, recipe or check. Raises ``NotFound`` where it is not."""
    found = query(conn, _ONE[kind], {"id": row_id}).records()
    if not found:
        raise NotFound(f"There is no {kind} of the number {row_id} in the archive.")
    return found[0]


def lots_of_colourway(conn: sqlite3.Connection, colourway_id: int) -> list[Record]:
    """Its lots, newest first, at most ``MOST``: each with the colour of the ``swatch`` that speaks
    for it, and the verdict for it."""
    sql = _LOTS.format(where="WHERE lot.colourway_id = :id", seen=swatch_for_lot("lot.id"))
    return with_lab(query(conn, sql, {"id": colourway_id, "most": MOST}).records())


def lots_on_base(conn: sqlite3.Connection, base_id: int, most: int = 100) -> list[Record]:
    """The newest lots that were on a base, each with the colour of a swatch of it on that base."""
    where = "WHERE lot.id IN (SELECT lot_id FROM lot_base WHERE base_id = :id)"
    sql = _LOTS.format(where=where, seen=swatch_for_lot("lot.id", "swatch.base_id = :id"))
    return with_lab(query(conn, sql, {"id": base_id, "most": most}).records())


def swatches_of_lot_id(conn: sqlite3.Connection, lot_id: int) -> list[Record]:
    """A lot's swatches, each with the colour that speaks for it."""
    return _swatches(conn, "swatch.lot_id = :id", lot_id)


def swatches_of_colourway_id(conn: sqlite3.Connection, colourway_id: int) -> list[Record]:
    """The swatches of a colourway's lots with their colours, oldest lot first."""
    return _swatches(conn, "lot.colourway_id = :id", colourway_id)


def undyed_swatches(conn: sqlite3.Connection, base_id: int) -> list[Record]:
    """Swatches of a base as it came, with their colours."""
    return _swatches(conn, "swatch.base_id = :id AND swatch.lot_id IS NULL", base_id)


def labs_on_base(conn: sqlite3.Connection, base_id: int, most: int) -> list[Record]:
    """The colour that speaks for each of a base's swatches, and whether it is of damp yarn; the
    newest swatches first, at most ``most``."""
    return with_lab(query(conn, _LABS_ON_BASE, {"id": base_id, "most": most}).records())


def masters_of_colourway(conn: sqlite3.Connection, colourway_id: int) -> list[Record]:
    """The masters in force, one for each base and form, with their colours."""
    sql = _MASTERS.format(where="colourway_id = :id")
    return with_lab(query(conn, sql, {"id": colourway_id}).records())


def master_of_swatch(conn: sqlite3.Connection, swatch_id: int) -> Record | None:
    """The master in force for the colourway, base and form that a swatch is of."""
    sql = _MASTERS.format(
        where="(master.colourway_id, master.base_id, master.form) = (SELECT lot.colourway_id, "
        "swatch.base_id, swatch.form FROM swatch JOIN lot ON lot.id = swatch.lot_id "
        "WHERE swatch.id = :id)"
    )
    found = with_lab(query(conn, sql, {"id": swatch_id}).records())
    return found[0] if found else None


def recipes_of_colourway(conn: sqlite3.Connection, colourway_id: int) -> list[Record]:
    """Its recipes, newest version first on each base, with a list ``lines`` of planned dyes."""
    sql = (
        "SELECT recipe.id, base.id AS base_id, base.name AS base, recipe.version, "
        "parent.version AS parent_version, came.name AS parent_base, recipe.added_at, recipe.note, "
        "(SELECT count(*) FROM lot WHERE lot.recipe_id = recipe.id) AS lots FROM recipe "
        "JOIN base ON base.id = recipe.base_id "
        "LEFT JOIN recipe AS parent ON parent.id = recipe.parent_id "
        "LEFT JOIN base AS came ON came.id = parent.base_id AND came.id <> recipe.base_id "
        "WHERE recipe.colourway_id = :id ORDER BY base.name, recipe.version DESC"
    )
    found = query(conn, sql, {"id": colourway_id}).records()
    for recipe in found:
        recipe["lines"] = recipe_lines(conn, recipe["id"])
    return found


def recipe_lines(conn: sqlite3.Connection, recipe_id: int) -> list[Record]:
    """A recipe's dyes, part by part, in their order."""
    sql = (
        "SELECT part.name AS part, part.share_percent, dye.name AS dye, line.depth_percent "
        "FROM recipe_part AS part LEFT JOIN recipe_dye AS line ON line.recipe_part_id = part.id "
        "LEFT JOIN dye ON dye.id = line.dye_id WHERE part.recipe_id = :id "
        "ORDER BY part.position, line.position"
    )
    return query(conn, sql, {"id": recipe_id}).records()


def other_versions(conn: sqlite3.Connection, recipe_id: int) -> list[Record]:
    """The versions of the same colourway on the same base."""
    sql = (
        "SELECT other.id, other.version FROM recipe JOIN recipe AS other "
        "ON other.colourway_id = recipe.colourway_id AND other.base_id = recipe.base_id "
        "WHERE recipe.id = :id ORDER BY other.version"
    )
    return query(conn, sql, {"id": recipe_id}).records()


def skeins_of_lot(conn: sqlite3.Connection, lot: str) -> list[Record]:
    """A lot's skeins with grams in and out."""
    sql = "SELECT * FROM skeins WHERE lot = :lot COLLATE NOCASE ORDER BY skein_id"
    return query(conn, sql, {"lot": lot}).records()


def base_prices(conn: sqlite3.Connection, lot_id: int) -> dict[str, float | None]:
    """A lot's bases, each with its price of a kilogram where that is told."""
    sql = (
        "SELECT base.name, base.price_per_kg FROM lot_base JOIN base ON base.id = lot_base.base_id "
        "WHERE lot_base.lot_id = ? ORDER BY base.name"
    )
    return dict(conn.execute(sql, (lot_id,)).fetchall())


def dyed_over_as(conn: sqlite3.Connection, lot_id: int) -> list[tuple[int, str]]:
    """Id and code of each lot that this one's yarn was dyed over as."""
    sql = "SELECT id, code FROM lot WHERE overdyes_lot_id = ? ORDER BY id"
    return [(int(row[0]), str(row[1])) for row in conn.execute(sql, (lot_id,))]


def photos_of_lot(conn: sqlite3.Connection, lot_id: int) -> list[Record]:
    """Photos that show a swatch of a lot, measured or kept to be seen, newest first; none that
    was found to show another's."""
    sql = (
        f"SELECT sha256, taken_at, added_at, original_name, {_ALL_OF_LOT} AS aside FROM photo "
        "WHERE id IN "
        "(SELECT m.photo_id FROM swatch JOIN filed_measurement AS m ON m.swatch_id = swatch.id "
        "WHERE swatch.lot_id = :id "
        "UNION SELECT photo.id FROM swatch JOIN photo_swatch AS seen ON seen.swatch_id = swatch.id "
        "JOIN photo ON photo.sha256 = seen.photo_sha256 WHERE swatch.lot_id = :id) "
        "ORDER BY COALESCE(taken_at, added_at) DESC LIMIT 60"
    )
    return query(conn, sql, {"id": lot_id}).records()


def history_of_swatch(conn: sqlite3.Connection, swatch_id: int) -> list[Record]:
    """Every measurement of a swatch, newest first, those superseded and set aside too."""
    sql = (
        f"SELECT m.id, photo.sha256 AS photo_sha256, m.region, {LAB}, "
        "m.reference, m.measured_at, m.version, photo.taken_at, photo.added_at, "
        "setup.name AS setup, "
        "(m.superseded_by IS NOT NULL OR layout.superseded_by IS NOT NULL) AS superseded, "
        f"{ASIDE} FROM measurement AS m JOIN layout ON layout.id = m.layout_id "
        f"JOIN photo ON photo.id = layout.photo_id {WHETHER_ASIDE} "
        "LEFT JOIN setup ON setup.id = photo.setup_id "
        "WHERE m.swatch_id = :id ORDER BY m.id DESC LIMIT 200"
    )
    return with_lab(query(conn, sql, {"id": swatch_id}).records())


def photo_with_marks(conn: sqlite3.Connection, sha256: str) -> Record | None:
    """A photo's size and the marks of its layout in force, as stored text."""
    sql = (
        "SELECT photo.sha256, photo.width, photo.height, photo.taken_at, layout.marks, "
        "layout.located FROM photo LEFT JOIN layout ON layout.photo_id = photo.id "
        "AND layout.superseded_by IS NULL WHERE photo.sha256 = :sha256"
    )
    found = query(conn, sql, {"sha256": sha256}).records()
    return found[0] if found else None


def fibres_and_deliveries(
    conn: sqlite3.Connection, base_id: int
) -> tuple[list[Record], list[Record]]:
    """What a base is of, the largest share first, and when it came."""
    fibres = (
        "SELECT fibre, percent FROM base_fibre WHERE base_id = :id ORDER BY percent DESC, fibre"
    )
    came = "SELECT label, received_on, note FROM base_lot WHERE base_id = :id ORDER BY received_on"
    values = {"id": base_id}
    return query(conn, fibres, values).records(), query(conn, came, values).records()


def _swatches(conn: sqlite3.Connection, where: str, row_id: int) -> list[Record]:
    sql = _SWATCHES.format(where=where)
    return with_lab(query(conn, sql, {"id": row_id, "most": MOST}).records())
