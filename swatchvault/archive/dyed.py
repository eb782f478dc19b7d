"""Lots of one base as shade prediction takes them: what went in, and what colour came out."""

from __future__ import annotations

import json
import sqlite3
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ingest.model import FLAGS_THAT_STOP_A_VERDICT, Array
from swatchvault.archive.colours import StoredColour, colours, tells_evenness
from swatchvault.archive.eye import classes_in_force
from swatchvault.archive.names import find
from swatchvault.archive.speaking import speaking
from swatchvault.archive.views import GONE_IN
from swatchvault.basemodel import DyedLot, Undyed
from swatchvault.errors import ArchiveError, NotFound
from swatchvault.fluorescing import IS_FLUORESCENT, MAY_BE_FLUORESCENT, says_fluorescent

#: Classes of evenness of which one mean colour says little.
SEVERAL_COLOURS = ("variegated", "speckled", "gradient")

_OTHER_VERSION = "it was measured by another version of the method: run `swatchvault remeasure`"

_EARLY = "its photo is from before its last dye: photograph it anew"

_LOTS = """SELECT lot.id, lot.code, lot.dry_g, lot.overdyes_lot_id,
(SELECT count(*) FROM lot_base WHERE lot_id = lot.id),
(SELECT count(*) FROM recipe_part AS part WHERE part.recipe_id = lot.recipe_id),
(SELECT min(share_percent) FROM recipe_part AS part WHERE part.recipe_id = lot.recipe_id)
FROM lot"""

_DYES = f"""SELECT used.lot_id, dye.name, used.dye_g FROM {GONE_IN} AS used
JOIN dye ON dye.id = used.dye_id ORDER BY used.lot_id, used.position"""


@dataclass(frozen=True, eq=False)
class DyedOnBase:
    """One base in one form: lots that fit a model, undyed colours, and what does not fit and why.

    ``lots``, ``undyed``: Lab with the covariance that differs from photo to photo; what all photos
    of a set-up get wrong alike is ``shared``, (3, 3), their mean, NaN without lots. ``left_out``:
    lot's code to a reason. ``fluorescent``: dyes that are or may be, and which. ``forms``: form to
    how many lots were measured in it. ``setup_id``: of most of the lots' photos.
    """

    base: str
    form: str
    lots: tuple[DyedLot, ...]
    undyed: tuple[Undyed, ...]
    left_out: Mapping[str, str]
    fluorescent: Mapping[str, str]
    forms: Mapping[str, int]
    shared: Array
    setup_id: int | None = None


@dataclass(frozen=True, eq=False)
class PotAsDyed:
    """A lot with what went into it, its goods in g, and its valid colour in one form: that of the
    swatch photographed last, by the photo that speaks for it.

    ``photos``: all of that swatch.
    """

    lot: DyedLot
    goods_g: float
    colour: StoredColour
    photos: tuple[StoredColour, ...]

    @property
    def swatch(self) -> str:
        return self.colour.swatch

    @property
    def colourway(self) -> str | None:
        return self.colour.colourway

    @property
    def taken_at(self) -> str | None:
        return self.colour.taken_at


@dataclass(frozen=True, eq=False)
class _Voice:
    """The photo that speaks for a swatch, and why it cannot stand for its lot ("": it can)."""

    colour: StoredColour
    why_not: str


@dataclass(frozen=True)
class _LotRow:
    code: str
    dry_g: float | None
    overdyes: int | None
    bases: int
    parts: int
    least_share: float | None
    dyes: tuple[tuple[str, float | None], ...]


def dyed_on_base(conn: sqlite3.Connection, base: str, form: str | None = None) -> DyedOnBase:
    """The lots of a base, in the form most of them were measured in unless one is named.

    Raises ``NotFound`` for an unknown base, or one with no dyed swatch measured (in that form).
    """
    seen = colours(conn, base=base)
    lots_in = {(c.form, c.lot_id) for c in seen if c.lot_id is not None}
    forms = Counter(each for each, _ in lots_in)
    chosen = form or (forms.most_common(1)[0][0] if forms else "")
    mine = [c for c in seen if c.form == chosen]
    if not forms[chosen]:
        what = f"as {form}" if form and forms else "of dyed yarn"
        raise NotFound(
            f"no measured swatch {what} on {base!r}"
            + (f": there is {_listed(forms)}" if any(forms.values()) else ": photograph its lots")
        )
    rows = _lot_rows(conn)
    newest: dict[int, StoredColour] = {}  # the swatch photographed last comes last, and wins
    invalid: dict[int, str] = {}
    version = max(mine, key=lambda c: c.measurement_id).version
    voices = _voices(conn, mine, version)
    for swatch_id, lot_id in {c.swatch_id: c.lot_id for c in mine if c.lot_id is not None}.items():
        if swatch_id not in voices:
            invalid[lot_id] = _OTHER_VERSION
    for voice in (v for v in voices.values() if v.colour.lot_id is not None):
        why_not = voice.why_not or (_EARLY if voice.colour.before_last_dye else "")
        if why_not:
            invalid[voice.colour.lot_id or 0] = why_not
        else:
            newest[voice.colour.lot_id or 0] = voice.colour
    usual = Counter(c.setup_id for c in newest.values()).most_common(1)
    dyed: list[DyedLot] = []
    left_out = {rows[i].code: why for i, why in invalid.items() if i not in newest}
    for lot_id in _lots_on(conn, base) - {*newest, *invalid}:
        left_out[rows[lot_id].code] = f"it has no measured {chosen}"
    glowing: set[str] = set()
    for lot_id, colour in newest.items():
        lot, why = _as_dyed(rows, lot_id, colour, usual[0][0])
        if lot is not None and "fluorescent" in colour.flags:
            held = [d for d, c in lot.depths.items() if c > 0]
            glowing |= set(held) if len(held) == 1 else set()
            why = "its swatch fluoresces"
        if lot is None or why:
            left_out[rows[lot_id].code] = why
        else:
            dyed.append(lot)
    return DyedOnBase(
        base=mine[0].base,
        form=chosen,
        lots=tuple(dyed),
        undyed=tuple(_undyed(voices.values(), usual[0][0] if usual else None)),
        left_out=left_out,
        fluorescent=_fluorescent_dyes(conn) | dict.fromkeys(glowing, IS_FLUORESCENT),
        forms={f: n for f, n in forms.items() if n},
        shared=_shared(newest.values()),
        setup_id=usual[0][0] if usual else None,
    )


def pot_as_dyed(conn: sqlite3.Connection, code: str, form: str | None = None) -> PotAsDyed:
    """A lot as a pot that is to be corrected, with its valid colour, in ``form`` if named.

    Raises ``NotFound`` where it has no such colour, ``ArchiveError`` where what went in is not
    known or does not fit (see :func:`dyed_on_base`).
    """
    lot_id = find(conn, "lot", code)
    ids = conn.execute("SELECT id FROM swatch WHERE lot_id = ?", (lot_id,))
    seen = colours(conn, swatch_ids=[int(r[0]) for r in ids])
    mine = [c for c in seen if form is None or c.form == form]
    voices = list(_voices(conn, mine).values())
    valid = [v.colour for v in voices if not v.why_not]
    if not valid:
        why = f": {voices[-1].why_not}" if voices else ""
        raise NotFound(
            f"lot {code!r} has no usable colour{f' as {form}' if form else ''}{why}: dry a snippet "
            "from the pot, photograph it and add it as a swatch of this lot"
        )
    colour, rows = valid[-1], _lot_rows(conn)
    lot, why = _as_dyed(rows, lot_id, colour, colour.setup_id)
    if lot is None:
        raise ArchiveError(f"lot {code!r} cannot be corrected by sums: {why}")
    photos = tuple(c for c in mine if c.swatch_id == colour.swatch_id)
    return PotAsDyed(lot, rows[lot_id].dry_g or 0.0, colour, photos)


def base_and_form(conn: sqlite3.Connection, swatch: str) -> tuple[str, str]:
    """The base and form of a swatch by its label."""
    sql = "SELECT base.name, form FROM swatch JOIN base ON base.id = base_id WHERE swatch.id = ?"
    row = conn.execute(sql, (find(conn, "swatch", swatch),)).fetchone()
    return row[0], row[1]


def _lots_on(conn: sqlite3.Connection, base: str) -> set[int]:
    """Ids of the lots that hold a base."""
    sql = "SELECT lot_id FROM lot_base WHERE base_id = ?"
    return {int(r[0]) for r in conn.execute(sql, (find(conn, "base", base),))}


def _listed(forms: Mapping[str, int]) -> str:
    return ", ".join(f"{form} ({n} lots)" for form, n in forms.items() if n)


def _lot_rows(conn: sqlite3.Connection) -> dict[int, _LotRow]:
    dyes: dict[int, list[tuple[str, float | None]]] = {}
    for lot_id, dye, grams in conn.execute(_DYES):
        dyes.setdefault(lot_id, []).append((dye, grams))
    found = {}
    for lot_id, code, dry_g, overdyes, bases, parts, share in conn.execute(_LOTS):
        used = tuple(dyes.get(lot_id, ()))
        found[lot_id] = _LotRow(code, dry_g, overdyes, bases, parts, share, used)
    return found


def _voices(
    conn: sqlite3.Connection, photos: Sequence[StoredColour], version: str | None = None
) -> dict[int, _Voice]:
    """What speaks for each of the swatches that these (oldest first) are all photos of, by its id,
    that of the swatch photographed last at the end.

    ``version``: of measurements by that version alone.
    """
    known = {c.measurement_id: c for c in photos}
    last = {c.swatch_id: place for place, c in enumerate(photos)}
    told = {i: c.measurement_id for i, c in tells_evenness(conn, photos).items()}
    classes = classes_in_force(conn, told.values())
    kinds = {i: classes[m] for i, m in told.items()}
    spoken = {i: known[m] for i, m in speaking(conn, last, version).items()}
    order = sorted(spoken, key=lambda i: last[i])
    return {i: _Voice(spoken[i], _why_invalid(spoken[i], kinds.get(i))) for i in order}


def _why_invalid(colour: StoredColour, kind: str | None) -> str:
    """Why a colour of a swatch of this class cannot stand for its lot, or "" if it can."""
    stopping = colour.flags & FLAGS_THAT_STOP_A_VERDICT
    if "no reference" in stopping:
        return "its photo has no reference"
    if stopping:
        return "its photo is clipped"
    if colour.damp:
        return "it was measured wet"
    return f"its swatch is {kind}, not of one colour" if kind in SEVERAL_COLOURS else ""


def _as_dyed(
    rows: Mapping[int, _LotRow], lot_id: int, colour: StoredColour, usual_setup: int | None
) -> tuple[DyedLot | None, str]:
    """The lot with its depths in % DOS, with those of lots under it; or why it does not fit."""
    depths: dict[str, float] = {}
    at: int | None = lot_id
    while at is not None:
        row = rows[at]
        earlier = "" if at == lot_id else f"lot {row.code}, which it overdyes: "
        why = _why_not_one_pot(row)
        if why:
            return None, earlier + why
        for dye, grams in row.dyes:
            depths[dye] = depths.get(dye, 0.0) + 100.0 * float(grams or 0.0) / float(row.dry_g or 1)
        at = row.overdyes
    row = rows[lot_id]
    doubt = _own_doubt(colour, usual_setup)
    return DyedLot(row.code, depths, colour.lab, doubt, row.overdyes is not None), ""


def _own_doubt(colour: StoredColour, usual_setup: int | None) -> Array:
    """(3, 3) of a colour, without what it and others of the usual set-up get wrong alike."""
    parts = colour.covariance
    alike = colour.setup_id is not None and colour.setup_id == usual_setup
    return parts.region + parts.frame + (0.0 if alike else parts.setup)


def _why_not_one_pot(row: _LotRow) -> str:
    if row.parts > 1 or (row.least_share is not None and row.least_share < 100.0):
        return "it was dyed in several parts"
    if row.bases > 1:
        return "it held several bases, which share the dye unevenly"
    if row.dry_g is None:
        return "its dry weight is not written down"
    if not row.dyes:
        return "no dye is written down"
    if any(grams is None for _, grams in row.dyes):
        return "how much dye went in is not known"
    return ""


def _undyed(voices: Iterable[_Voice], usual_setup: int | None) -> list[Undyed]:
    """The valid colour of each undyed swatch that does not fluoresce."""
    return [
        Undyed(v.colour.lab, _own_doubt(v.colour, usual_setup))
        for v in voices
        if v.colour.lot_id is None and not v.why_not and "fluorescent" not in v.colour.flags
    ]


def _shared(seen: Iterable[StoredColour]) -> Array:
    parts = [c.covariance.setup + c.covariance.profile for c in seen]
    return np.mean(parts, axis=0) if parts else np.full((3, 3), np.nan)


def _fluorescent_dyes(conn: sqlite3.Connection) -> dict[str, str]:
    """Dyes that are fluorescent by their family or note, and those that may be."""
    rows = conn.execute("SELECT name, COALESCE(family, ''), COALESCE(note, '') FROM dye")
    said = {str(name): says_fluorescent(f"{family}; {note}") for name, family, note in rows}
    words = {True: IS_FLUORESCENT, None: MAY_BE_FLUORESCENT}
    return {name: words[told] for name, told in said.items() if told is not False}


def dyes_without_lots(conn: sqlite3.Connection, known: Sequence[str]) -> list[str]:
    """Dyes of the archive that are not among ``known``."""
    sql = "SELECT name FROM dye WHERE name NOT IN (SELECT value FROM json_each(?)) ORDER BY name"
    return [str(r[0]) for r in conn.execute(sql, (json.dumps(list(known)),))]
