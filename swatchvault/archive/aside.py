"""A measurement set aside: kept and shown with the reason, and counted nowhere, until taken back.

What is set aside is a swatch in a photo, so the same photo measured anew stays so. It counts again
where a person takes it back, marks it anew, or says of another region that it is this swatch.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from ingest.model import Layout
from swatchvault.archive.files import is_digest
from swatchvault.archive.layouts import layout_from_text, layout_to_marks
from swatchvault.archive.names import NAMES_SHOWN
from swatchvault.archive.rows import insert, transaction
from swatchvault.archive.values import clean, now
from swatchvault.errors import ArchiveError, NotFound

#: Most characters of a reason: a sentence or two. Our choice.
LONGEST_REASON = 500

_IN_FORCE = "photo_id = :photo AND swatch_id = :swatch AND taken_back_at IS NULL"


@dataclass(frozen=True)
class Aside:
    """A swatch in a photo, what was done to it, and what else that touches.

    ``reason``: why it is set aside, ``None`` where it counts. ``counting``: how many photos of the
    swatch count. ``beside``: other swatches of the photo that count. ``master_of``: what the swatch
    is the master of, in words. ``judged``: lots, else swatches, of verdicts given on it.
    ``evenness``: the master's is stated from it. ``eye``: the dyer's rule of evenness is from it.
    """

    swatch: str
    photo: str
    photo_sha256: str
    changed: bool
    reason: str | None
    counting: int
    beside: tuple[str, ...]
    master_of: tuple[str, ...]
    judged: tuple[str, ...]
    evenness: bool
    eye: bool

    @property
    def lines(self) -> list[str]:
        """What was done and what to see to, for whoever did it."""
        name = f"swatch {self.swatch!r} in {self.photo}"
        if self.reason is None:
            return [f"{name} {'counts again' if self.changed else 'counts: nothing changed'}"]
        if not self.changed:
            return [f"{name} is set aside for that reason already: nothing changed"]
        said = [f"{name} is set aside ({self.reason}): kept and shown, and counted nowhere"]
        if self.beside:
            verb = "counts" if len(self.beside) == 1 else "count"
            said.append(f"the same photo shows {', '.join(self.beside)} too, which still {verb}")
        return said + self._to_see_to

    @property
    def _to_see_to(self) -> list[str]:
        said = []
        if not self.counting:
            master = "".join(f"; it is the master of {of}" for of in self.master_of)
            other = ", make another swatch the master" if self.master_of else ""
            said.append(
                f"no photo of {self.swatch!r} counts now{master}: photograph it again{other}, or "
                "take this back with --take-back"
            )
        if self.judged:
            judged = ", ".join(self.judged)
            said.append(f"verdicts given on it keep their words: check again {judged}")
        if self.evenness:
            said.append(
                "the master's evenness is stated from it: state it again with `swatchvault master "
                f"{self.swatch!r} --evenness`"
            )
        if self.eye:
            said.append(
                "your rule of evenness was fitted to it too: `swatchvault eye --refit` goes without"
            )
        return said


def set_aside(conn: sqlite3.Connection, swatch_id: int, sha256: str, reason: str) -> Aside:
    """Let what a photo says of a swatch count nowhere; another reason replaces the earlier one.

    Raises ``NotFound`` where the photo does not measure the swatch, ``ArchiveError`` for a reason
    that is blank or too long.
    """
    why = clean(reason, "the reason")
    if why is None:
        raise ArchiveError("the reason is blank: say in a few words why it should not count")
    if len(why) > LONGEST_REASON:
        raise ArchiveError(f"the reason has {len(why)} characters: {LONGEST_REASON} is the most")
    with transaction(conn):
        key = _key(conn, swatch_id, sha256)
        was = _reason(conn, key)
        if was != why:
            _end(conn, key)
            row = {"photo_id": key["photo"], "swatch_id": key["swatch"], "reason": why}
            insert(conn, "set_aside", {**row, "set_aside_at": now()})
        return replace(_told(conn, key, sha256), changed=was != why)


def take_back(conn: sqlite3.Connection, swatch_id: int, sha256: str) -> Aside:
    """Let it count again. Raises ``NotFound`` where the photo does not measure the swatch."""
    with transaction(conn):
        key = _key(conn, swatch_id, sha256)
        changed = _end(conn, key)
        return replace(_told(conn, key, sha256), changed=changed)


def aside_of(conn: sqlite3.Connection, swatch_id: int, sha256: str) -> Aside:
    """As it is, and nothing done. Raises ``NotFound`` where the photo does not measure it."""
    return _told(conn, _key(conn, swatch_id, sha256), sha256)


def photo_named(conn: sqlite3.Connection, swatch_id: int, name: str) -> str:
    """The sha256 of the photo of a swatch by its file name or the beginning of its sha256.

    Raises ``NotFound`` where the swatch was measured in none of that name, or in several.
    """
    sql = (
        "SELECT DISTINCT photo.sha256, COALESCE(photo.original_name, photo.sha256) "
        "FROM filed_measurement AS m JOIN photo ON photo.id = m.photo_id WHERE m.swatch_id = ?"
    )
    photos = [tuple(row) for row in conn.execute(sql, (swatch_id,))]
    digits = name.casefold()
    found = [p for p in photos if is_digest(digits) and p[0].startswith(digits)]
    found = found or [p for p in photos if p[1].casefold() == name.casefold()]
    if len(found) == 1:
        return str(found[0][0])
    label = _label(conn, swatch_id)
    if found:
        several = ", ".join(sha256[:12] for sha256, _ in found)
        raise NotFound(
            f"{len(found)} photos of swatch {label!r} are called {name!r}: name one by the "
            f"beginning of its sha256: {several}"
        )
    if not photos:
        raise NotFound(f"swatch {label!r} has no measured photo: there is nothing to set aside")
    shown = ", ".join(photo for _, photo in photos[:NAMES_SHOWN])
    more = f" and {len(photos) - NAMES_SHOWN} more" if len(photos) > NAMES_SHOWN else ""
    raise NotFound(f"swatch {label!r} is not measured in {name!r}: it is in {shown}{more}")


def why_none_counts(conn: sqlite3.Connection, swatch_id: int) -> str | None:
    """What became of the photos of a swatch of which none counts, and what to do; ``None`` where
    none is set aside."""
    sql = (
        "SELECT swatch, COALESCE(photo, substr(photo_sha256, 1, 12)), reason "
        "FROM measurements_set_aside WHERE swatch_id = ? ORDER BY set_aside_at DESC"
    )
    rows = [tuple(row) for row in conn.execute(sql, (swatch_id,))]
    if not rows:
        return None
    swatch, photo, reason = rows[0]
    why = f" ({reason})" if reason else ""
    only = f"its photo {photo} is" if len(rows) == 1 else f"its {len(rows)} photos are all"
    last = why if len(rows) == 1 else f", {photo} last{why}"
    return (
        f"has no photo that counts: {only} set aside{last}; photograph it again, or take that "
        f"back with `swatchvault aside {swatch!r} {photo!r} --take-back`"
    )


def stated_from_aside(conn: sqlite3.Connection, measurement_id: int | None) -> bool:
    """Whether the photo and swatch of a measurement, superseded or not, are set aside now."""
    sql = (
        "SELECT 1 FROM measurement AS m JOIN layout ON layout.id = m.layout_id "
        "JOIN set_aside AS aside ON aside.photo_id = layout.photo_id "
        "AND aside.swatch_id = m.swatch_id WHERE m.id = ? AND aside.taken_back_at IS NULL"
    )
    return conn.execute(sql, (measurement_id,)).fetchone() is not None


def told_anew(old: Mapping[str, Any] | None, swatch_id: int, region: str, layout: Layout) -> bool:
    """Whether a person said anew where a swatch lies, or that a region is this swatch.

    ``old``: the row that this one supersedes, with the ``marks`` of its layout.
    """
    if old is not None and old["swatch_id"] != swatch_id:
        return True
    if layout.located != "marks":  # found by the program, whichever version of it
        return False
    before = None if old is None else _place(layout_from_text(old["marks"]), region)
    return before != _place(layout, region)


def count_again(conn: sqlite3.Connection, photo_id: int, swatch_id: int) -> bool:
    """Take back what was told anew; whether it was set aside."""
    return _end(conn, {"photo": photo_id, "swatch": swatch_id})


@dataclass(frozen=True)
class Reason:
    """Why a swatch of a photo is set aside, ``None`` in a copy for others, and since when."""

    swatch: str
    reason: str | None
    since: str


def asides_of_photo(conn: sqlite3.Connection, sha256: str) -> dict[int, Reason]:
    """The swatches of a photo that are set aside, by id, also those it no longer measures."""
    sql = (
        "SELECT swatch.id, swatch.label, aside.reason, aside.set_aside_at FROM set_aside AS aside "
        "JOIN photo ON photo.id = aside.photo_id JOIN swatch ON swatch.id = aside.swatch_id "
        "WHERE photo.sha256 = ? AND aside.taken_back_at IS NULL ORDER BY swatch.label"
    )
    return {int(row[0]): Reason(*tuple(row)[1:]) for row in conn.execute(sql, (sha256,))}


def _place(layout: Layout, region: str) -> tuple[object, ...]:
    """Where a region, the references and the scale are, however they were located."""
    marks, how = layout_to_marks(layout), ("located", "confidence")
    references = [{k: v for k, v in r.items() if k not in how} for r in marks["references"]]
    own = [s["polygon"] for s in marks["swatches"] if s["name"] == region]
    return references, own, marks.get("scale")


def _key(conn: sqlite3.Connection, swatch_id: int, sha256: str) -> dict[str, int]:
    sql = (
        "SELECT m.photo_id FROM filed_measurement AS m JOIN photo ON photo.id = m.photo_id "
        "WHERE m.swatch_id = ? AND photo.sha256 = ?"
    )
    row = conn.execute(sql, (swatch_id, sha256)).fetchone()
    if row is None:
        raise NotFound("this photo measures no such swatch: its page shows which")
    return {"photo": int(row[0]), "swatch": swatch_id}


def _reason(conn: sqlite3.Connection, key: Mapping[str, int]) -> str | None:
    row = conn.execute(f"SELECT reason FROM set_aside WHERE {_IN_FORCE}", dict(key)).fetchone()
    return None if row is None else row[0]


def _end(conn: sqlite3.Connection, key: Mapping[str, int]) -> bool:
    sql = f"UPDATE set_aside SET taken_back_at = :now WHERE {_IN_FORCE}"
    return conn.execute(sql, {**key, "now": now()}).rowcount > 0


def _label(conn: sqlite3.Connection, swatch_id: int) -> str:
    row = conn.execute("SELECT label FROM swatch WHERE id = ?", (swatch_id,)).fetchone()
    if row is None:
        raise NotFound("there is no such swatch in the archive")
    return str(row[0])


def _told(conn: sqlite3.Connection, key: Mapping[str, int], sha256: str) -> Aside:
    def column(sql: str) -> tuple[Any, ...]:
        return tuple(row[0] for row in conn.execute(sql, dict(key)))

    (name,) = column("SELECT COALESCE(original_name, sha256) FROM photo WHERE id = :photo")
    of_it = (
        "(SELECT m.id FROM measurement AS m JOIN layout ON layout.id = m.layout_id "
        "WHERE m.swatch_id = :swatch AND layout.photo_id = :photo)"
    )
    return Aside(
        swatch=_label(conn, key["swatch"]),
        photo=str(name),
        photo_sha256=sha256,
        changed=False,
        reason=_reason(conn, key),
        counting=column(
            "SELECT count(DISTINCT photo_id) FROM current_measurement WHERE swatch_id = :swatch"
        )[0],
        beside=column(
            "SELECT DISTINCT label FROM current_measurement AS m JOIN swatch "
            "ON swatch.id = m.swatch_id WHERE m.photo_id = :photo AND m.swatch_id <> :swatch "
            "ORDER BY label"
        ),
        master_of=column(
            "SELECT colourway || ' on ' || base || ' as ' || form FROM current_masters "
            "WHERE swatch_id = :swatch"
        ),
        judged=column(
            "SELECT DISTINCT COALESCE(lot.code, swatch.label) FROM lot_check AS c "
            "JOIN swatch ON swatch.id = c.swatch_id LEFT JOIN lot ON lot.id = c.lot_id "
            "WHERE c.id IN (SELECT lot_check_id FROM lot_check_measurement "
            f"WHERE measurement_id IN {of_it}) ORDER BY 1"
        ),
        evenness=bool(
            column(
                "SELECT 1 FROM current_masters AS held JOIN master_evenness AS stated "
                "ON stated.id = (SELECT max(id) FROM master_evenness AS any_of WHERE master_id IN "
                "(SELECT id FROM master WHERE swatch_id = held.swatch_id)) "
                f"WHERE held.swatch_id = :swatch AND stated.measurement_id IN {of_it}"
            )
        ),
        eye=bool(
            column(
                "SELECT 1 FROM eye_rule_swatch WHERE eye_rule_id = (SELECT max(id) FROM eye_rule "
                f"WHERE undone_at IS NULL) AND measurement_id IN {of_it} LIMIT 1"
            )
        ),
    )
