"""Which photo speaks for a swatch: one rule for views, lists, pages and searches alike.

Of a swatch's measurements in force by the newest version of the method, those of photos from before
the last dye went into its lot come last, and those that can be judged on and were dry first. Of
these the photo speaks that leaves least doubt of the colour, and of about equals the newest. How
even a swatch is, is told by the same rule from the photo that leaves least doubt of that, which may
be another one.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable

from ingest.evenness_model import ROOT_FLOOR
from ingest.evenness_stored import STOPS_A_COMPARISON
from ingest.flags import FLAGS_THAT_STOP_A_VERDICT
from swatchvault.archive.clock import earlier
from swatchvault.archive.standing import in_force

#: Photos whose doubt is larger than the least by no more than this factor are about equal; our
#: choice: figures of one swatch under one reference differ by some per cent.
ALIKE = 1.1


def variance_total(index: int) -> str:
    """SQL: variance of one Lab axis of the measurement ``m``, its four parts summed; NULL where a
    part is unknown."""
    parts = ("cov_region", "cov_frame", "cov_setup", "cov_profile")
    return " + ".join(f"json_extract(m.{p}, '$[{index}][{index}]')" for p in parts)


def _count_of(flags: Iterable[str]) -> str:
    return " + ".join(f"instr(m.flags, '\"{flag}\"')" for flag in sorted(flags))


#: SQL: 1 where the measurement ``m`` was of damp yarn, 0 where of dry or where nobody said.
DAMP = (
    "(COALESCE(m.dry, (SELECT dry FROM swatch WHERE swatch.id = m.swatch_id)) IS 0 "
    "OR COALESCE(instr(m.flags, '\"not dry\"'), 0) > 0)"
)
_NEWEST_VERSION = (
    "(SELECT version FROM measurement WHERE superseded_by IS NULL ORDER BY id DESC LIMIT 1)"
)

#: SQL: 1 where the photo of the measurement ``m`` was taken before the last dye went into the lot,
#: by the times of its pot, or was filed before; 0 where it was not, or where times are not told (a
#: day alone is none).
BEFORE_LAST_DYE = (
    "EXISTS (SELECT 1 FROM swatch JOIN pot_step AS step ON step.lot_id = swatch.lot_id "
    "WHERE swatch.id = m.swatch_id AND step.kind = 'dye in' AND length(step.at) > 10 "
    f"AND ({earlier('photo.taken_at', 'step.at')} OR {earlier('photo.added_at', 'step.at')}))"
)

_STOPPED = _count_of(FLAGS_THAT_STOP_A_VERDICT)
_FIT = (
    f"4 * (m.version = {_NEWEST_VERSION}) + 2 * (NOT {BEFORE_LAST_DYE}) "
    f"+ ({_STOPPED} = 0 AND NOT {DAMP})"
)

_VARIANCE = " + ".join(variance_total(axis) for axis in range(3))

# 2 where the swatch of the measurement ``m`` is a master in force, 1 where one is of its kind.
_LIKE_THE_MASTER = (
    "COALESCE((SELECT max(1 + (held.swatch_id = m.swatch_id)) FROM swatch AS own "
    "JOIN lot AS own_lot ON own_lot.id = own.lot_id JOIN master AS held "
    "ON held.colourway_id = own_lot.colourway_id AND held.base_id = own.base_id "
    f"AND held.form = own.form WHERE own.id = m.swatch_id AND {in_force('held')}), 0)"
)

_NEWEST_METHOD = (
    "(SELECT json_extract(tonality, '$.method') FROM measurement WHERE superseded_by IS NULL "
    "AND tonality IS NOT NULL ORDER BY id DESC LIMIT 1)"
)


def _figure(name: str) -> str:
    return f"json_extract(m.tonality, '$.{name}')"


#: SQL: 1 where the evenness of the measurement ``m`` can be compared with another's, else 0.
_COMPARABLE = (
    f"COALESCE({_figure('unevenness')} >= 0 AND {_figure('u_unevenness')} > 0, 0) "
    f"AND {_count_of(STOPS_A_COMPARISON)} = 0 "
    f"AND COALESCE(instr({_figure('between')}, '\"variegated\"'), 0) = 0"
)
#: SQL: the doubt of a comparable evenness in the scale where it does not grow with the reading;
#: the least plain doubt would choose whichever photo reads lowest. NULL where not comparable.
_DOUBT_OF_EVENNESS = (
    f"CASE WHEN {_COMPARABLE} THEN {_figure('u_unevenness')} * {_figure('u_unevenness')} "
    f"/ ({_figure('unevenness')} + {ROOT_FLOOR}) END"
)


def placed(where: str = "1") -> str:
    """SQL: ``swatch_id``, ``id`` and ``place`` of the measurements ``m`` that fit ``where``; the
    one of place 1 speaks for its swatch."""
    return _placed(_VARIANCE, _FIT, where)


def placed_by_evenness(where: str = "1", method: str = _NEWEST_METHOD) -> str:
    """SQL: as :func:`placed`; the measurement of place 1 tells how even its swatch is.

    Those from before the last dye come last. Of the others those that can be compared come first,
    of these those by ``method`` (SQL of a version of the measure of evenness), of these those of
    dry yarn. Where none can be, the newest says why not.
    """
    fit = (
        f"8 * (NOT {BEFORE_LAST_DYE}) + 4 * ({_COMPARABLE}) "
        f"+ 2 * ({_figure('method')} IS {method}) + NOT {DAMP}"
    )
    return _placed(_DOUBT_OF_EVENNESS, fit, where)


def _placed(doubt: str, fit: str, where: str, among: str = "swatch_id") -> str:
    """``doubt``: SQL of a variance, or of what grows with it. ``fit``: what comes before it.
    ``among``: SQL of what each one is placed among; of swatches a condition on one is pushed down.
    """
    return f"""SELECT swatch_id, id, row_number() OVER (PARTITION BY {among}
    ORDER BY fit DESC, doubt <= {ALIKE**2:.4f} * least DESC, at DESC, id DESC) AS place
FROM (SELECT *, min(doubt) OVER (PARTITION BY {among}, fit) AS least
    FROM (SELECT m.swatch_id, m.id, {doubt} AS doubt, {fit} AS fit,
        COALESCE(photo.taken_at, photo.added_at) AS at
        FROM current_measurement AS m JOIN photo ON photo.id = m.photo_id
        WHERE m.swatch_id IS NOT NULL AND {where}))"""


def speaks_for(swatch: str) -> str:
    """SQL: the number of the measurement that speaks for a swatch; NULL where it has none.

    ``swatch``: SQL of the swatch's number.
    """
    return f"(SELECT id FROM ({placed(f'm.swatch_id = {swatch}')}) WHERE place = 1)"


def swatch_for_lot(lot: str, among: str = "1") -> str:
    """SQL: the number of the swatch that speaks for a lot; NULL where none of it is measured.

    The master itself comes first, then swatches of the base and form of a master in force, since
    other forms of one lot have other colours. Of several the one whose photo speaks, by the rule.
    ``lot``: SQL of the lot's number. ``among``: a condition on ``swatch``.
    """
    where = f"m.swatch_id IN (SELECT swatch.id FROM swatch WHERE swatch.lot_id = {lot} AND {among})"
    placed = _placed(_VARIANCE, f"8 * {_LIKE_THE_MASTER} + {_FIT}", where, "1")
    return f"(SELECT swatch_id FROM ({placed}) WHERE place = 1)"


def tells_evenness_of(swatch: str) -> str:
    """SQL: the number of the measurement that tells how even a swatch is; NULL where it has none.

    ``swatch``: SQL of the swatch's number.
    """
    return f"(SELECT id FROM ({placed_by_evenness(f'm.swatch_id = {swatch}')}) WHERE place = 1)"


def speaking(
    conn: sqlite3.Connection,
    swatch_ids: Iterable[int],
    version: str | None = None,
) -> dict[int, int]:
    """The number of the measurement that speaks for each of these swatches that has one.

    ``version``: of measurements by that version of the method alone.
    """
    where = (
        "m.swatch_id IN (SELECT value FROM json_each(:ids)) "
        "AND (:version IS NULL OR m.version = :version)"
    )
    asked = {"ids": json.dumps([int(i) for i in swatch_ids]), "version": version}
    rows = conn.execute(f"SELECT swatch_id, id FROM ({placed(where)}) WHERE place = 1", asked)
    return {int(swatch): int(measurement) for swatch, measurement in rows}


def telling_evenness(
    conn: sqlite3.Connection, swatch_ids: Iterable[int], method: str | None = None
) -> dict[int, int]:
    """The number of the measurement that tells how even each of these swatches is.

    ``method``: the version of the measure of evenness that comes first; the newest if not said.
    """
    where = "m.swatch_id IN (SELECT value FROM json_each(:ids))"
    asked = {"ids": json.dumps([int(i) for i in swatch_ids]), "method": method}
    sql = placed_by_evenness(where, f"COALESCE(:method, {_NEWEST_METHOD})")
    rows = conn.execute(f"SELECT swatch_id, id FROM ({sql}) WHERE place = 1", asked)
    return {int(swatch): int(measurement) for swatch, measurement in rows}
