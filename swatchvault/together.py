"""Swatches that lie on one table: groups, and a colourway's course over time."""

from __future__ import annotations

import math
import sqlite3
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ingest.colour import Floats, delta_e_2000
from swatchvault import shades
from swatchvault.archive import LotDye, StoredColour, colours, decide_same_dyes, speaks_of
from swatchvault.archive.made import Made, made_of
from swatchvault.days import by_photo_words
from swatchvault.errors import CompareError
from swatchvault.lotcheck import MEASURE_ANEW, as_colour, dry_of, usable, versions_words
from swatchvault.naming import measured_swatch, no_photo_yet, swatches_named
from swatchvault.pair import Capture, Colour, Conditions, OwnFrame, mean_of_photos
from swatchvault.pairdoubt import pair_doubt
from swatchvault.photodoubt import doubt_of_swatches, own_frames, u_of_photos
from swatchvault.unjudged import Unjudged, pairs_unjudged
from swatchvault.words import listed

#: Swatches by which photos are chosen, where there are more: enough to tell. Our choice.
FEW = 40
#: The set-up of each photo, by its id, and whether it is locked.
Setups = list[tuple[int, bool] | None]


@dataclass(frozen=True, eq=False)
class Table:
    """Swatches that lie on one table: the photos that speak for them, facts and names.

    ``every``: all photos of each by the same version of the method, oldest first.
    ``own_frames``: what repeats taught of their set-ups, by the set-up's id. ``left_out``: swatches
    that are not on it because they were measured wet or damp, by label.
    """

    photos: tuple[StoredColour, ...]
    made: tuple[Made, ...]
    every: tuple[tuple[StoredColour, ...], ...] = ()
    own_frames: Mapping[int, OwnFrame] = field(default_factory=dict)
    left_out: tuple[Made, ...] = ()

    @property
    def damp(self) -> tuple[str, ...]:
        """Labels of the swatches that were left out."""
        return tuple(m.swatch for m in self.left_out)

    @property
    def labs(self) -> Floats:
        return np.array([c.lab for c in self.photos]).reshape(-1, 3)

    @property
    def names(self) -> list[str]:
        return [m.swatch for m in self.made]


def table_of(
    conn: sqlite3.Connection,
    names: Sequence[str],
    *,
    colourway: str | None = None,
    base: str | None = None,
    form: str | None = None,
    damp: bool = True,
) -> Table:
    """Each measured swatch and its photos: of these lots and swatches, or all that fit.

    Oldest lot first, one without a date by the day of its first photo. ``damp``: with those that
    were measured wet or damp; else these are left out, and told. Raises ``NotFound`` for a name of
    which nothing was measured, and ``CompareError`` where none of what was measured of these is on
    the base or of the form.
    """
    wanted = _measured_of(conn, names) if names else None
    found = colours(conn, swatch_ids=wanted, colourway=colourway, base=base, form=form)
    if not found and (wanted or colourway) and (base or form):
        _say_where(conn, wanted, colourway, base, form)
    photos: dict[int, list[StoredColour]] = {}
    for stored in found:  # oldest first
        photos.setdefault(stored.swatch_id, []).append(stored)
    spoken = speaks_of(conn, found)
    made = made_of(conn, list(spoken))
    wet = () if damp else tuple(made[i] for i, c in spoken.items() if c.damp)
    left_out = tuple(sorted(wet, key=lambda m: m.swatch))
    spoken = {i: c for i, c in spoken.items() if damp or not c.damp}
    if left_out and not spoken:
        raise CompareError(damp_words([m.swatch for m in left_out]))
    versions = {c.version for c in spoken.values()}
    if len(versions) > 1:
        said = versions_words([c] for c in spoken.values())
        raise CompareError(f"{said}: {MEASURE_ANEW}, then compare")
    order = [i for i in made if i in spoken]  # oldest lot first
    version = versions.pop() if versions else None
    of_it = [[c for c in photos[i] if c.version == version] for i in order]
    every = tuple(tuple(several if damp else dry_of(several)) for several in of_it)
    frames = own_frames(conn, [c for several in every for c in several])
    seen, how = tuple(spoken[i] for i in order), tuple(made[i] for i in order)
    return Table(seen, how, every, frames, left_out)


def damp_words(swatches: Sequence[str]) -> str:
    """That swatches were left out because they were measured damp, and how many; "" for none."""
    if not swatches:
        return ""
    count = "" if len(swatches) == 1 else f"{len(swatches)} swatches, "
    were, it = ("was", "it") if len(swatches) == 1 else ("were", "them")
    return (
        f"{count}{listed(swatches)} {were} measured damp and left out, since wet yarn is darker "
        f"and stronger in colour: photograph {it} again, dry"
    )


def _measured_of(conn: sqlite3.Connection, names: Sequence[str]) -> list[int]:
    """Ids of the measured swatches of these lots and swatches; each name has one at least."""
    named = {name: swatches_named(conn, name) for name in names}
    every = [i for ids in named.values() for i in ids]
    measured = {c.swatch_id for c in colours(conn, swatch_ids=every)}
    for name, ids in named.items():
        if measured.isdisjoint(ids):
            raise no_photo_yet(conn, name)
    return [i for i in every if i in measured]


def _say_where(
    conn: sqlite3.Connection,
    wanted: Sequence[int] | None,
    colourway: str | None,
    base: str | None,
    form: str | None,
) -> None:
    """Raise ``CompareError`` with the bases and forms that were measured, if any were."""
    measured = {c.swatch_id for c in colours(conn, swatch_ids=wanted, colourway=colourway)}
    kinds = Counter(f"{m.base} as {m.form}" for m in made_of(conn, sorted(measured)).values())
    if not kinds:
        return
    asked = [*([f"on {base}"] if base else []), *([f"as {form}"] if form else [])]
    has = f"{colourway} has" if colourway else "these are"
    there = ", ".join(f"{kind} ({count})" for kind, count in kinds.most_common())
    raise CompareError(
        f"{has} {len(measured)} measured swatch{'' if len(measured) == 1 else 'es'}, none "
        f"{' '.join(asked)}: there is {there}; ask for one of these"
    )


def group_swatches(table: Table, tolerance: float, k_l: float) -> shades.Grouping:
    """Swatches grouped; pairs that the photos cannot tell are named. Needs one form only.

    Of the photos that swatches can be taken from, those are that leave the pairs least in doubt
    at the tolerance, as where one lot is checked. Photos of a swatch that are further from their
    mean than the tolerance are not averaged. Raises :class:`CompareError` for several forms.
    """
    forms = sorted({m.form for m in table.made})
    if len(forms) > 1:
        raise CompareError(
            f"these are {' and '.join(forms)}: form alone changes the colour, so name one form"
        )
    if not table.made:
        return shades.group(table.labs, tolerance, k_l=k_l)
    by, photos = _least_doubt(table, tolerance, k_l)
    sides, setups = _sides(photos)
    labs = np.array([side.lab for side in sides])
    unjudged = pairs_unjudged(sides, shades.captures(sides, setups))
    u = _u_pairs(sides, setups, shades.pairwise(labs, k_l), k_l, table, unjudged)
    own = tuple(tuple(u_of_photos(several)) for several in photos)
    found = shades.group(labs, tolerance, k_l=k_l, u=u, barred=unjudged.barred)

    ways, capture = list(Capture), shades.captures(sides, setups)

    def stated(i: int, j: int) -> float:
        way, setup = ways[capture[i, j]], photos[i][0].setup_id
        own_frame = None if setup is None else table.own_frames.get(setup)
        conditions = Conditions(
            way,
            k_l=k_l,
            same_dyes=_same_dyes(table.made[i], table.made[j]),
            own_frame=own_frame if way in (Capture.LOCKED, Capture.SAME_SETUP) else None,
        )
        return pair_doubt(sides[i], sides[j], conditions).u_stated(float(found.delta_e[i, j]))

    why = unjudged.words(found.unsure, table.names)
    return replace(found, by=by, u_labs=own, stated=stated, why=why)


def _u_pairs(
    sides: Sequence[Colour],
    setups: Setups,
    delta_e: Floats,
    k_l: float,
    table: Table,
    unjudged: Unjudged,
) -> Floats:
    """(n, n) doubt of each pair; NaN, unknown, also where a check gives no verdict."""
    u = shades.u_pairs(sides, setups, delta_e, k_l, table.own_frames)
    return np.where(unjudged.stopped, np.nan, u)


def _same_dyes(one: Made, other: Made) -> bool | None:
    """As `same_dyes` of the archive has it of their lots."""
    if one.lot is None or other.lot is None:
        return None
    if one.lot == other.lot:
        return True
    ours, theirs = (
        [LotDye(d.dye, d.pack, d.stock, None, None) for d in m.dyes] for m in (one, other)
    )
    return decide_same_dyes(ours, theirs)


def standard_lab(
    conn: sqlite3.Connection, table: Table, found: shades.Grouping, standard: str | None
) -> Floats:
    """(3,) the colour of the swatch of that name, as it was grouped where it was; the first's
    where none is named."""
    if standard is None or standard in table.names:
        return np.asarray(found.labs[table.names.index(standard) if standard else 0])
    (spoken,) = speaks_of(conn, measured_swatch(conn, standard)).values()
    return np.asarray(spoken.lab)


Way = tuple[str, list[list[StoredColour]]]


def _least_doubt(table: Table, tolerance: float, k_l: float) -> Way:
    single, *averaged = _ways(table)
    ways = [single, *(way for way in averaged if _agree(way[1], tolerance, k_l))]
    if len(ways) == 1:
        return single
    return min(ways, key=lambda way: _doubt(table, way[1], tolerance, k_l))


def _doubt(
    table: Table, photos: Sequence[Sequence[StoredColour]], tolerance: float, k_l: float
) -> float:
    """Of the middle one of all pairs at the tolerance, by some of many swatches; one of which
    nothing is known is worse than any."""
    sides, setups = _sides(photos[:: -(-len(photos) // FEW)])
    n = len(sides)
    unjudged = pairs_unjudged(sides, shades.captures(sides, setups))
    u = _u_pairs(sides, setups, np.full((n, n), tolerance), k_l, table, unjudged)
    pairs = u[np.triu_indices(n, 1)]
    return float(np.median(np.where(np.isnan(pairs), np.inf, pairs))) if n > 1 else 0.0


def _ways(table: Table) -> list[Way]:
    """What swatches can be taken from, in words and as photos of each swatch; photos on which no
    verdict can be given, or from before the last dye, are left out where others remain."""
    every = [usable(several) for several in table.every]
    ways = [("each swatch by its photo of least doubt", [[c] for c in table.photos])]
    frames = set.intersection(*({c.photo_sha256 for c in several} for several in every))
    setups = set.intersection(*({c.setup_id for c in several} for several in every)) - {None}
    if frames:
        shown = [[c for c in several if c.photo_sha256 in frames] for several in every]
        ways.append(("each swatch by the photos that show them all", shown))
    for setup in sorted(s for s in setups if s is not None):
        of_it = [[c for c in several if c.setup_id == setup] for several in every]
        ways.append((f"each swatch by its photos in the set-up {of_it[0][0].setup}", of_it))
    return ways


def _agree(photos: Sequence[Sequence[StoredColour]], tolerance: float, k_l: float) -> bool:
    """Whether no photo is further from the mean of its swatch's than the tolerance."""
    labs = [np.array([c.lab for c in several]) for several in photos if len(several) > 1]
    if not labs:
        return True
    means = np.concatenate([np.broadcast_to(lab.mean(axis=0), lab.shape) for lab in labs])
    return bool((delta_e_2000(means, np.concatenate(labs), k_l) <= tolerance).all())


def _sides(photos: Sequence[Sequence[StoredColour]]) -> tuple[list[Colour], Setups]:
    """The mean of each swatch's photos, and their set-up where they have one."""
    sides = [
        as_colour(several[0])
        if len(several) == 1
        else mean_of_photos([as_colour(c) for c in several])
        for several in photos
    ]
    setups: Setups = [
        None
        if several[0].setup_id is None or len({c.setup_id for c in several}) > 1
        else (several[0].setup_id, all(bool(c.locked) for c in several))
        for several in photos
    ]
    return sides, setups


def course_of(table: Table, k_l: float) -> shades.Course:
    """The lots of a table (one base and form) over time."""
    by_lot: dict[str, list[int]] = {}
    for row, made in enumerate(table.made):
        if made.lot is not None:
            by_lot.setdefault(made.lot, []).append(row)
    labs = [table.labs[rows].mean(axis=0) for rows in by_lot.values()]
    facts = [_facts(lot, [table.made[r] for r in rows]) for lot, rows in by_lot.items()]
    sides = [table.photos[rows[0]] for rows in by_lot.values()]
    u = []
    for row in range(len(sides)):
        other = sides[row - 1] if row else sides[min(1, len(sides) - 1)]
        both, _ = doubt_of_swatches([sides[row]], [other], 0.0, k_l, table.own_frames)
        u.append(both / math.sqrt(2.0))
    return shades.course(np.array(labs).reshape(-1, 3), facts, k_l=k_l, u=u)


def notes_of(course: shades.Course, damp: Sequence[str] = ()) -> list[str]:
    """What must be read with a course: swatches left out as ``damp``, lots that stand
    by their first photo for want of a date, and what else weakens it."""
    left_out = damp_words(damp) and f"{damp_words(damp)}."
    undated = by_photo_words([lot.lot for lot in course.lots if lot.by_photo], len(course.lots))
    return [note for note in (left_out, undated, *course.notes) if note]


def _facts(lot: str, made: Sequence[Made]) -> shades.LotFacts:
    dyes = [d for m in made for d in m.dyes]
    return shades.LotFacts(
        lot,
        made[0].day,
        frozenset(f"{d.dye} {d.pack}" for d in dyes if d.pack),
        frozenset(f"{d.dye} {d.stock}" for d in dyes if d.stock),
        frozenset(m.base_lot for m in made if m.base_lot),
        made[0].water,
        made[0].by_photo,
    )
