"""A reference's values that were typed wrong, put right; and the photos that were read by them."""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass, replace

from ingest.expected import NEWEST, values_words
from ingest.model import Settings
from swatchvault.archive.entities import OwnedReference
from swatchvault.archive.layouts import layout_from_text
from swatchvault.archive.lookup import get_reference
from swatchvault.archive.mend import NotSureError
from swatchvault.archive.names import find, id_named
from swatchvault.archive.owned_values import refuse_impossible
from swatchvault.archive.rows import transaction
from swatchvault.archive.values import to_json
from swatchvault.errors import ArchiveError

_SHOWN = 6  # photos named in one line; our choice

_PHOTOS = """SELECT DISTINCT photo.sha256, photo.original_name, layout.marks FROM photo
JOIN setup ON setup.id = photo.setup_id AND setup.reference_id = ?
JOIN filed_measurement AS m ON m.photo_id = photo.id
JOIN layout ON layout.id = m.layout_id
WHERE m.reference <> 'none' ORDER BY photo.added_at, photo.sha256"""


@dataclass(frozen=True)
class ReadBy:
    """Measured photos of a reference's set-ups: by its values, or by those of their own marks."""

    by_it: tuple[tuple[str, str], ...]  # (sha256, file name)
    by_marks: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class MendedReference:
    """What was put right of a reference; ``read``: photos that stood on the old values."""

    name: str
    old: OwnedReference
    new: OwnedReference
    read: ReadBy

    @property
    def changed(self) -> bool:
        """Whether anything is other than it was."""
        return self.old != self.new

    @property
    def lines(self) -> list[str]:
        """What was done and what to see to, for whoever did it."""
        if not self.changed:
            return [f"reference {self.name!r} says so already: nothing changed"]
        said = [f"reference {self.name!r}: {stated_words(self.new)}, was {stated_words(self.old)}"]
        if self.read.by_it:
            said.append(
                f"still by the old values: {photos_words(self.read.by_it)}; measure anew with "
                f'`swatchvault remeasure --reference "{self.name}"`'
            )
        if self.read.by_marks:
            said.append(
                f"by values in their own marks, which stay: {photos_words(self.read.by_marks)}; "
                "mark anew where these are wrong too; `swatchvault remeasure --reference "
                f'"{self.name}"` says anew whether the two differ'
            )
        return [*said, "write it in studio.toml too: notes that say otherwise clash"]


def stated_words(reference: OwnedReference) -> str:
    """What a reference is stated to be, for a sentence; what it is taken as where that is not told.

    >>> stated_words(OwnedReference("grey", "card"))
    'no values of its own: taken as Y 0.18'
    """
    said = []
    if reference.kind == "chart24" and reference.lab_d50 is not None:
        said.append("24 colours of its own")
    elif reference.y is not None or reference.lab_d50 is not None:
        said.append(values_words(reference.y, reference.lab_d50))
    said += [f"edition {reference.edition}"] if reference.edition else []
    taken = {"card": f"Y {Settings().card_y:g}", "chart24": f"edition {NEWEST}"}.get(reference.kind)
    if taken is not None and not said:
        said.append(f"no values of its own: taken as {taken}")
    if reference.tolerance_delta_e is not None:
        said.append(f"tolerance ΔE00 {reference.tolerance_delta_e:g}")
    return "; ".join(said) or "no values"


def known_words(kind: str, known_values: str) -> str:
    """The values of a reference of some kind as the archive keeps them, JSON or "", in words.

    >>> known_words("card", '{"y": [0.18]}'), known_words("chart24", '{"edition": "after-2014-11"}')
    ('Y 0.18', 'edition after-2014-11')
    """
    known = json.loads(known_values or "{}")
    y, lab = known.get("y"), known.get("lab_d50")
    words = stated_words(OwnedReference("", kind, y=y, lab_d50=lab, edition=known.get("edition")))
    return f"Y {words}" if y else words


def photos_read_by(conn: sqlite3.Connection, name: str) -> ReadBy:
    """Measured photos of the set-ups that a reference belongs to. Raises ``NotFound``."""
    kind = get_reference(conn, name).kind
    by_it: list[tuple[str, str]] = []
    by_marks: list[tuple[str, str]] = []
    for sha256, original, marks in conn.execute(_PHOTOS, (find(conn, "reference", name),)):
        own = [
            r
            for r in layout_from_text(marks).references
            if r.kind == kind and r.located == "marks" and (r.y or r.lab_d50)
        ]
        (by_marks if own else by_it).append((str(sha256), str(original or sha256)))
    return ReadBy(tuple(by_it), tuple(by_marks))


def mend_reference(
    conn: sqlite3.Connection, told: OwnedReference, *, sure: bool = False
) -> MendedReference:
    """Put the values of the reference of that name right; what is ``None`` stays.

    ``told.kind`` is not looked at. Raises ``NotSureError`` with what would change where photos were
    read by it and nobody is ``sure``: they keep their figures until they are measured anew.
    """
    with transaction(conn):
        old = get_reference(conn, told.name)
        new = _put_right(old, told)
        refuse_impossible(new)
        done = MendedReference(old.name, old, new, photos_read_by(conn, old.name))
        known = {"y": new.y, "lab_d50": new.lab_d50, "edition": new.edition}
        values = {k: v for k, v in known.items() if v is not None}
        conn.execute(
            "UPDATE reference SET known_values = ?, tolerance_delta_e = ?, source = ? WHERE id = ?",
            (
                to_json(values) if values else None,
                new.tolerance_delta_e,
                new.source,
                find(conn, "reference", old.name),
            ),
        )
        if done.changed and done.read.by_it and not sure:
            raise NotSureError(
                f"not changed yet: read by it so far: {photos_words(done.read.by_it)}, whose "
                f"figures stay until measured anew. It would be {stated_words(new)}, was "
                f"{stated_words(old)}. Confirm it (--yes) if that is meant"
            )
    return done


def _put_right(old: OwnedReference, told: OwnedReference) -> OwnedReference:
    if old.kind != "card" and told.lab_d50 is not None and len(told.lab_d50) == 1:
        raise ArchiveError(f"{old.name!r} is a {old.kind}: one L* a* b* is a card's")
    if old.kind != "chart24" and (told.edition or (told.lab_d50 and len(told.lab_d50) > 1)):
        raise ArchiveError(f"{old.name!r} is a {old.kind}: editions and 24 values are a chart's")
    if old.kind == "chart24" and told.y is not None:
        raise ArchiveError(f"{old.name!r} is a chart: give its --edition, or its --values")
    new = replace(
        old,
        tolerance_delta_e=old.tolerance_delta_e
        if told.tolerance_delta_e is None
        else told.tolerance_delta_e,
        source=told.source or old.source,
        edition=told.edition or old.edition,
    )
    if told.y is not None:
        return replace(new, y=told.y, lab_d50=None)
    return new if told.lab_d50 is None else replace(new, lab_d50=told.lab_d50, y=None)


def clash_words(conn: sqlite3.Connection, told: OwnedReference) -> str | None:
    """One line where a reference of that name has other values than ``told``; else ``None``."""
    row = conn.execute(
        "SELECT kind, known_values FROM reference WHERE id = ?",
        (id_named(conn, "reference", told.name),),
    ).fetchone()
    if row is None:
        return None
    old, told_values = get_reference(conn, told.name), (told.y, told.lab_d50, told.edition)
    if row[0] != told.kind:
        return f"reference {old.name!r} is a {old.kind}, not a {told.kind}: use another name"
    if not json.loads(row[1] or "{}") or told_values == (None, None, None):
        return None
    if told_values == (old.y, old.lab_d50, old.edition):
        return None
    return (
        f"reference {old.name!r} has {stated_words(old)} already, not {stated_words(told)}: put "
        f'it right with `swatchvault mend reference "{old.name}"`, or use another name'
    )


def photos_words(photos: tuple[tuple[str, str], ...]) -> str:
    """How many photos, as (sha256, file name), and which."""
    names = ", ".join(name for _, name in photos[:_SHOWN])
    more = f" and {len(photos) - _SHOWN} more" if len(photos) > _SHOWN else ""
    return f"{len(photos)} photo{'' if len(photos) == 1 else 's'} ({names}{more})"
