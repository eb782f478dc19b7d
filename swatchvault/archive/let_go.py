"""What was made by a slip, or never used, let go: only what nothing belongs to or rests on.

A base, colourway, lot, swatch, dye, stock or version of a recipe. A dye's packs go with it, where
nothing went in from them either, and a version's parts with it.

A pot that was started belongs to its lot and goes with it where nothing stands in its log and
nothing is told of its end; so do the steps that were struck from that log.

A measurement of a region that was found to be another swatch belongs to that one: it is kept, as a
superseded measurement of it, when the swatch that it was filed under by mistake goes.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass

from swatchvault.archive.names import kind_words
from swatchvault.archive.recipes import recipe_by_id
from swatchvault.archive.rename import name_of
from swatchvault.archive.rows import transaction
from swatchvault.archive.values import now
from swatchvault.errors import ArchiveError, NotFound

_OF_ITS_PARTS = "recipe_part_id IN (SELECT id FROM recipe_part WHERE recipe_id = :id)"

# Each measurement filed under a swatch, and the newest of the same region, which says what it is.
_ENDS = """WITH RECURSIVE chain (first, last) AS (
    SELECT id, id FROM measurement WHERE swatch_id = :id
    UNION SELECT chain.first, m.superseded_by FROM chain JOIN measurement AS m
    ON m.id = chain.last AND m.superseded_by IS NOT NULL)
SELECT chain.first, of_last.swatch_id FROM chain JOIN measurement AS of_last
ON of_last.id = chain.last AND of_last.superseded_by IS NULL"""

#: Pots that say of a dye, by its name, which stock they are planned from; powder where it is none.
_PLANNED = (
    "pot JOIN json_each(pot.planned_from) AS plan JOIN dye ON dye.name = plan.key COLLATE NOCASE"
)

#: What may belong to a row: one and several of it in words, and how many there are.
_BELONGS: Mapping[str, tuple[tuple[str, str, str], ...]] = {
    "base": (
        ("delivery", "deliveries", "base_lot WHERE base_id = :id"),
        ("recipe", "recipes", "recipe WHERE base_id = :id"),
        ("lot", "lots", "lot_base WHERE base_id = :id"),
        ("swatch", "swatches", "swatch WHERE base_id = :id"),
        ("master that was set", "masters that were set", "master WHERE base_id = :id"),
    ),
    "colourway": (
        ("recipe", "recipes", "recipe WHERE colourway_id = :id"),
        ("lot", "lots", "lot WHERE colourway_id = :id"),
        ("master that was set", "masters that were set", "master WHERE colourway_id = :id"),
    ),
    "lot": (
        ("dye that went in", "dyes that went in", "lot_dye WHERE lot_id = :id"),
        ("step of its log", "steps of its log", "pot_step WHERE lot_id = :id"),
        (
            "end of its pot",
            "ends of its pot",
            "pot WHERE lot_id = :id "
            "AND COALESCE(ended_at, bled, handle, success, next_time) IS NOT NULL",
        ),
        ("skein", "skeins", "skein WHERE lot_id = :id"),
        ("swatch", "swatches", "swatch WHERE lot_id = :id"),
        ("lot dyed over it", "lots dyed over it", "lot WHERE overdyes_lot_id = :id"),
        ("verdict", "verdicts", "lot_check WHERE lot_id = :id"),
    ),
    "swatch": (
        (
            "measurement, earlier ones too",
            "measurements, earlier ones too",
            f"({_ENDS}) WHERE swatch_id = :id",
        ),
        ("photo to be seen", "photos to be seen", "photo_swatch WHERE swatch_id = :id"),
        ("master that was set", "masters that were set", "master WHERE swatch_id = :id"),
        (
            "verdict",
            "verdicts",
            "lot_check WHERE swatch_id = :id OR master_swatch_id = :id",
        ),
        ("word on its evenness", "words on its evenness", "named_class WHERE swatch_id = :id"),
    ),
    "dye": (
        ("stock", "stocks", "stock WHERE dye_id = :id"),
        (
            "version of a recipe that names it",
            "versions of recipes that name it",
            "(SELECT DISTINCT part.recipe_id FROM recipe_dye AS line JOIN recipe_part AS part "
            "ON part.id = line.recipe_part_id WHERE line.dye_id = :id)",
        ),
        (
            "lot that it went into",
            "lots that it went into",
            "(SELECT DISTINCT lot_id FROM lot_dye WHERE dye_id = :id)",
        ),
        ("pot planned with it", "pots planned with it", f"{_PLANNED} WHERE dye.id = :id"),
    ),
    "stock": (
        (
            "lot that it went into",
            "lots that it went into",
            "(SELECT DISTINCT lot_id FROM lot_dye WHERE stock_id = :id)",
        ),
        (
            "pot planned from it",
            "pots planned from it",
            f"{_PLANNED} JOIN stock ON stock.dye_id = dye.id WHERE stock.id = :id "
            "AND plan.value = stock.code COLLATE NOCASE",
        ),
    ),
    "recipe": (
        ("lot dyed by it", "lots dyed by it", "lot WHERE recipe_id = :id"),
        (
            "version that came from it",
            "versions that came from it",
            "recipe WHERE parent_id = :id",
        ),
        (
            "step of a pot that is of its plan",
            "steps of pots that are of its plan",
            f"pot_step WHERE recipe_step_id IN (SELECT id FROM recipe_step WHERE {_OF_ITS_PARTS})",
        ),
    ),
}
_STRUCK = "struck_step WHERE lot_id = :id"
#: Rows that say what a thing is and go with it.
_ITS_OWN: Mapping[str, tuple[str, ...]] = {
    "base": ("base_fibre WHERE base_id = :id",),
    "colourway": (),
    "lot": (_STRUCK, "pot WHERE lot_id = :id", "lot_base WHERE lot_id = :id"),
    "swatch": (),
    "dye": (
        "renamed WHERE kind = 'dye_pack' "
        "AND row_id IN (SELECT id FROM dye_pack WHERE dye_id = :id)",
        "dye_pack WHERE dye_id = :id",
    ),
    "stock": (),
    "recipe": (
        f"recipe_step WHERE {_OF_ITS_PARTS}",
        f"recipe_dye WHERE {_OF_ITS_PARTS}",
        "recipe_part WHERE recipe_id = :id",
    ),
}
#: Kinds that can be let go.
KINDS = tuple(_BELONGS)


def what_belongs(conn: sqlite3.Connection, table: str, row_id: int) -> list[str]:
    """What still belongs to a row, in words; empty where it can be let go."""
    said = []
    for one, several, rows in _BELONGS[table]:
        count = conn.execute(f"SELECT count(*) FROM {rows}", {"id": row_id}).fetchone()[0]
        if count:
            said.append(f"{count} {one if count == 1 else several}")
    return said


@dataclass(frozen=True)
class Gone:
    """What was let go. ``moved_to``: swatches that its measurements turned out to be of.
    ``struck``: how many struck steps of its log went with it."""

    name: str
    moved_to: tuple[str, ...] = ()
    struck: int = 0

    @property
    def lines(self) -> list[str]:
        """What went with it, and what stays and where, a sentence each."""
        lines = [
            f"what was measured of {to!r} under that name stays with it" for to in self.moved_to
        ]
        if self.struck:
            steps = "step of its log" if self.struck == 1 else "steps of its log"
            lines.append(f"with it went {self.struck} struck {steps}")
        return lines


def let_go(conn: sqlite3.Connection, table: str, row_id: int) -> Gone:
    """Take a row out of the archive that nothing belongs to.

    Raises ``ArchiveError`` with what still belongs to it, ``NotFound`` where it is not.
    """
    with transaction(conn):
        name = name_to_go(conn, table, row_id)
        belongs = what_belongs(conn, table, row_id)
        if belongs:
            raise ArchiveError(
                f"{kind_words(table)} {name!r} stays: {holds(table)} "
                f"{', '.join(belongs)}. Only what nothing belongs to or rests on can be let go"
            )
        moved_to = _move_on(conn, row_id) if table == "swatch" else ()
        struck = struck_steps(conn, row_id) if table == "lot" else 0
        with _without(conn, "struck_step_is_not_deleted"):
            for rows in (*_ITS_OWN[table], f"{table} WHERE id = :id"):
                conn.execute(f"DELETE FROM {rows}", {"id": row_id})
        # Its number may be given to another, which was never called so.
        conn.execute("DELETE FROM renamed WHERE kind = ? AND row_id = ?", (table, row_id))
    return Gone(name, moved_to, struck)


def holds(table: str) -> str:
    """How what keeps a row is told of: it belongs to it, or it was made by it."""
    return "on it rest" if table in ("dye", "stock", "recipe") else "to it belong"


def name_to_go(conn: sqlite3.Connection, table: str, row_id: int) -> str:
    """The name of a row; of a recipe its colourway, base and version. Raises ``NotFound``."""
    if table != "recipe":
        return name_of(conn, table, row_id)
    if conn.execute("SELECT 1 FROM recipe WHERE id = ?", (row_id,)).fetchone() is None:
        raise NotFound(f"There is no recipe of the number {row_id} in the archive.")
    recipe = recipe_by_id(conn, row_id)
    return f"{recipe.colourway} on {recipe.base}, version {recipe.version}"


def struck_steps(conn: sqlite3.Connection, lot_id: int) -> int:
    """How many steps were struck from a lot's log."""
    sql = f"SELECT count(*) FROM {_STRUCK}"
    return int(conn.execute(sql, {"id": lot_id}).fetchone()[0])


def measured_elsewhere(conn: sqlite3.Connection, swatch_id: int) -> tuple[str, ...]:
    """Labels of the swatches that what was filed under this one turned out to be of."""
    ends = {int(to) for _, to in conn.execute(_ENDS, {"id": swatch_id})} - {swatch_id}
    return tuple(sorted(name_of(conn, "swatch", to) for to in ends))


def _move_on(conn: sqlite3.Connection, swatch_id: int) -> tuple[str, ...]:
    """File a swatch's earlier measurements, and what was set aside of them, under the swatches that
    they turned out to be of; whose labels."""
    ends = {int(first): int(to) for first, to in conn.execute(_ENDS, {"id": swatch_id})}
    moved_to = measured_elsewhere(conn, swatch_id)
    if not moved_to:
        return ()
    # Taken back first, as it was when the region was told to be another's.
    sql = "UPDATE set_aside SET taken_back_at = ? WHERE swatch_id = ? AND taken_back_at IS NULL"
    conn.execute(sql, (now(), swatch_id))
    aside = (
        "UPDATE set_aside SET swatch_id = :to WHERE swatch_id = :id AND photo_id = (SELECT "
        "photo_id FROM measurement AS m JOIN layout ON layout.id = layout_id WHERE m.id = :first)"
    )
    kept = ("measurement_is_not_changed", "set_aside_is_not_changed")
    with _without(conn, kept[0]), _without(conn, kept[1]):
        for first, to in ends.items():
            row = {"first": first, "to": to, "id": swatch_id}
            conn.execute("UPDATE measurement SET swatch_id = :to WHERE id = :first", row)
            conn.execute(aside, row)
    return moved_to


@contextmanager
def _without(conn: sqlite3.Connection, trigger: str) -> Iterator[None]:
    """Without a trigger that keeps a table's rows as they were, inside one transaction."""
    (sql,) = conn.execute("SELECT sql FROM sqlite_master WHERE name = ?", (trigger,)).fetchone()
    conn.execute(f"DROP TRIGGER {trigger}")
    yield
    conn.execute(sql)
