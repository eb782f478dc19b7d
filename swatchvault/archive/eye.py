"""The dyer's own words for how even swatches are, and the rule of evenness fitted to them."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any

from ingest.evenness_rule import Thresholds
from ingest.evenness_stored import class_of_record
from swatchvault.archive.measured import tonality_from
from swatchvault.archive.names import find
from swatchvault.archive.rows import insert, transaction
from swatchvault.archive.speaking import tells_evenness_of
from swatchvault.archive.values import clean, now, to_json
from swatchvault.archive.views_evenness import class_of
from swatchvault.errors import ArchiveError
from swatchvault.kinds import CLASSES

#: Trade words for the same class.
ALSO = {"tonal": "semi-solid", "semisolid": "semi-solid", "semi solid": "semi-solid"}


@dataclass(frozen=True, eq=False)
class NamedSwatch:
    """A swatch that the dyer named, with what the photo of least doubt says; unknown is ``None``.

    ``word``: the dyer's. ``by_program``, ``by_eye``: classes by the program's rule and by the
    dyer's rule in force, ``None`` where it cannot be told; ``by_eye_known``: whether that rule
    can say anything of what is stored.
    """

    named_class_id: int
    swatch: str
    word: str
    note: str | None
    measurement_id: int | None
    tonality: Mapping[str, Any] | None
    flags: frozenset[str]
    by_eye: str | None
    by_eye_known: bool

    @property
    def by_program(self) -> str | None:
        return (self.tonality or {}).get("class")


@dataclass(frozen=True, eq=False)
class EyeRule:
    """A rule of the dyer's in force: thresholds, and the version of the measure it reads."""

    rule_id: int
    limits: Thresholds
    method: str
    taken_at: str
    swatches: int
    right_before: int
    right_after: int


def name_class(
    conn: sqlite3.Connection, swatch: str, word: str | None, note: str | None = None
) -> bool:
    """Keep the dyer's word for a swatch (``None`` takes it back); whether anything changed.

    The earlier word is superseded, not overwritten. Raises :class:`ArchiveError` for a word that is
    no class, and :class:`NotFound` for an unknown swatch.
    """
    said = None if word is None else (clean(word, "class") or "").casefold()
    said = None if said is None else ALSO.get(said, said)
    if said is not None and said not in CLASSES:
        raise ArchiveError(f"unknown class {word!r}: it is one of {', '.join(CLASSES)}")
    with transaction(conn):
        swatch_id = find(conn, "swatch", swatch)
        sql = (
            "SELECT id, class, note FROM named_class WHERE swatch_id = ? AND superseded_by IS NULL"
        )
        old = conn.execute(sql, (swatch_id,)).fetchone()
        told = clean(note, "note")
        if said == (None if old is None else old[1]) and told in (None, old and old[2]):
            return False
        (new_id,) = conn.execute("SELECT COALESCE(max(id), 0) + 1 FROM named_class").fetchone()
        if old is not None:  # the foreign key is checked at the commit
            sql = "UPDATE named_class SET superseded_by = ? WHERE id = ?"
            conn.execute(sql, (new_id, old[0]))
        row = {"id": new_id, "swatch_id": swatch_id, "class": said, "named_at": now()}
        insert(conn, "named_class", {**row, "note": told})
    return True


def word_for(conn: sqlite3.Connection, swatch_id: int) -> str | None:
    """The dyer's word for a swatch, or ``None``."""
    sql = "SELECT class FROM named_class WHERE swatch_id = ? AND superseded_by IS NULL"
    row = conn.execute(sql, (swatch_id,)).fetchone()
    return None if row is None else row[0]


def named_swatches(conn: sqlite3.Connection) -> list[NamedSwatch]:
    """Every swatch that the dyer has a word for, by label."""
    rule = eye_rule(conn)
    cursor = conn.execute(
        "SELECT named.id, swatch.label, named.class, named.note, m.id, m.tonality, "
        "m.flags, by_eye.class, by_eye.measurement_id IS NOT NULL "
        "FROM named_class AS named JOIN swatch ON swatch.id = named.swatch_id "
        f"LEFT JOIN measurement AS m ON m.id = {tells_evenness_of('swatch.id')} "
        "LEFT JOIN eye_class AS by_eye ON by_eye.measurement_id = m.id AND by_eye.eye_rule_id = ? "
        "WHERE named.superseded_by IS NULL AND named.class IS NOT NULL ORDER BY swatch.label",
        (None if rule is None else rule.rule_id,),
    )
    return [
        NamedSwatch(
            *(row[0], row[1], row[2], row[3], row[4]),
            tonality_from(row[5]),
            frozenset(json.loads(row[6] or "[]")),
            row[7],
            bool(row[8]),
        )
        for row in cursor
    ]


def take_rule(
    conn: sqlite3.Connection,
    limits: Thresholds,
    method: str,
    swatches: Sequence[tuple[int, int]],
    right: tuple[int, int],
    detail: Mapping[str, Any],
) -> int:
    """Class the archive by ``limits`` from now on; returns how many measurements that count
    it can class.

    ``swatches``: (named_class id, measurement id) that it was fitted to. ``right``: how many of
    them were called right before, and after.
    """
    with transaction(conn):
        row = {
            "taken_at": now(),
            "method": method,
            "thresholds": to_json(asdict(limits)),
            "swatches": len(swatches),
            "right_before": right[0],
            "right_after": right[1],
            "detail": to_json(detail),
        }
        rule_id = insert(conn, "eye_rule", row)
        for named_id, measurement_id in swatches:
            values = {"named_class_id": named_id, "measurement_id": measurement_id}
            insert(conn, "eye_rule_swatch", {"eye_rule_id": rule_id, **values})
        rule = eye_rule(conn)
        assert rule is not None
        # one set aside is classed too, since it may count again, but it is not counted
        sql = (
            "SELECT EXISTS (SELECT 1 FROM current_measurement AS c WHERE c.id = m.id), m.id, "
            "m.tonality, m.flags FROM measurement AS m WHERE m.superseded_by IS NULL "
            "AND m.tonality IS NOT NULL"
        )
        rows = [tuple(r) for r in conn.execute(sql)]
        return sum(_put_class(conn, rule, *row) and bool(counts) for counts, *row in rows)


def undo_rule(conn: sqlite3.Connection) -> EyeRule | None:
    """Go back to the rule before; the one undone, or ``None`` where none was in force."""
    with transaction(conn):
        rule = eye_rule(conn)
        if rule is not None:
            sql = "UPDATE eye_rule SET undone_at = ? WHERE id = ?"
            conn.execute(sql, (now(), rule.rule_id))
            before = eye_rule(conn)
            if before is not None:  # measured since it was last in force
                _class_missing(conn, before)
    return rule


def eye_rule(conn: sqlite3.Connection) -> EyeRule | None:
    """The dyer's rule in force, ``None`` where it is the program's own."""
    row = conn.execute(
        "SELECT id, thresholds, method, taken_at, swatches, right_before, right_after "
        "FROM eye_rule WHERE undone_at IS NULL ORDER BY id DESC LIMIT 1"
    ).fetchone()
    if row is None:
        return None
    told = json.loads(row[1])
    known = {f.name for f in fields(Thresholds)}
    limits = Thresholds(**{k: v for k, v in told.items() if k in known})
    return EyeRule(row[0], limits, *tuple(row)[2:])


def class_by_eye(conn: sqlite3.Connection, measurement_id: int) -> None:
    """Class a measurement that was just filed by the dyer's rule, where one is in force."""
    rule = eye_rule(conn)
    if rule is None:
        return
    sql = "SELECT id, tonality, flags FROM measurement WHERE id = ?"
    _put_class(conn, rule, *conn.execute(sql, (measurement_id,)).fetchone())


def classes_in_force(
    conn: sqlite3.Connection, measurement_ids: Collection[int]
) -> dict[int, str | None]:
    """The class of each of these measurements, by the dyer's rule where one is in force and can
    say; ``None`` where it cannot be told."""
    sql = (
        f"SELECT m.id, {class_of('m')} FROM measurement AS m "
        "WHERE m.id IN (SELECT value FROM json_each(?))"
    )
    return {int(r[0]): r[1] for r in conn.execute(sql, (json.dumps(list(measurement_ids)),))}


def not_classed_by_eye(conn: sqlite3.Connection) -> int:
    """How many swatches the rule in force cannot class from what is stored of them."""
    sql = (
        "SELECT count(*) FROM how_even WHERE method IS NOT NULL AND by_your_eyes_rule IS NULL "
        "AND EXISTS (SELECT 1 FROM eye_rule WHERE undone_at IS NULL)"
    )
    return int(conn.execute(sql).fetchone()[0])


def _class_missing(conn: sqlite3.Connection, rule: EyeRule) -> None:
    sql = (
        "SELECT id, tonality, flags FROM measurement WHERE superseded_by IS NULL "
        "AND tonality IS NOT NULL AND NOT EXISTS (SELECT 1 FROM eye_class "
        "WHERE measurement_id = measurement.id AND eye_rule_id = ?)"
    )
    for row in [tuple(r) for r in conn.execute(sql, (rule.rule_id,))]:
        _put_class(conn, rule, *row)


def _put_class(
    conn: sqlite3.Connection, rule: EyeRule, row_id: int, tonality: str | None, flags: str
) -> bool:
    """Store the class that the rule gives a measurement; False where it cannot say."""
    record = tonality_from(tonality)
    if record is None or record.get("method") != rule.method:
        return False
    found = class_of_record(record, frozenset(json.loads(flags)), rule.limits)
    if found is None:
        return False
    row = {"eye_rule_id": rule.rule_id, "measurement_id": row_id, "class": found.name}
    insert(conn, "eye_class", row)
    return True
