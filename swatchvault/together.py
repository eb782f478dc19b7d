"""Swatches that lie on one table: groups, a colourway's course over time, and on each base."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ingest.colour import Floats
from swatchvault import shades
from swatchvault.archive import StoredColour, colours, swatch_ids_named
from swatchvault.archive.made import Made, made_of
from swatchvault.errors import CompareError
from swatchvault.lotcheck import as_colour
from swatchvault.pair import OwnFrame
from swatchvault.photodoubt import doubt_of_swatches, own_frames


@dataclass(frozen=True, eq=False)
class Table:
    """Swatches that lie on one table: their newest photos, facts and names.

    ``own_frames``: what repeats taught of their set-ups, by the set-up's id.
    """

    photos: tuple[StoredColour, ...]
    made: tuple[Made, ...]
    own_frames: Mapping[int, OwnFrame] = field(default_factory=dict)

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
) -> Table:
    """The newest photo of each measured swatch: of these lots and swatches, or all that fit.

    Oldest lot first; lots without a date, which may be from any time, come last.
    """
    wanted = None if not names else [i for name in names for i in swatch_ids_named(conn, name)]
    found = colours(conn, swatch_ids=wanted, colourway=colourway, base=base, form=form)
    newest = {c.swatch_id: c for c in found}  # oldest first
    made = made_of(conn, list(newest))
    versions = {c.version for c in newest.values()}
    if len(versions) > 1:
        raise CompareError(
            f"these were measured by versions {' and '.join(sorted(versions))} of the method: "
            "measure them anew with `swatchvault remeasure --all`, then compare"
        )
    order = sorted(newest, key=lambda i: (made[i].dyed_on or "9999", i))
    photos = tuple(newest[i] for i in order)
    return Table(photos, tuple(made[i] for i in order), own_frames(conn, photos))


def group_swatches(table: Table, tolerance: float, k_l: float) -> shades.Grouping:
    """Swatches grouped; pairs that the photos cannot tell are named. Needs one form only."""
    forms = sorted({m.form for m in table.made})
    if len(forms) > 1:
        raise CompareError(
            f"these are {' and '.join(forms)}: form alone changes the colour, so name one form"
        )
    sides = [as_colour(c) for c in table.photos]
    setups = [None if c.setup_id is None else (c.setup_id, bool(c.locked)) for c in table.photos]
    u = shades.u_pairs(sides, setups, shades.pairwise(table.labs, k_l), k_l)
    return shades.group(table.labs, tolerance, k_l=k_l, u=u)


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


def _facts(lot: str, made: Sequence[Made]) -> shades.LotFacts:
    dyes = [d for m in made for d in m.dyes]
    return shades.LotFacts(
        lot,
        made[0].dyed_on,
        frozenset(f"{d.dye} {d.pack}" for d in dyes if d.pack),
        frozenset(f"{d.dye} {d.stock}" for d in dyes if d.stock),
        frozenset(m.base_lot for m in made if m.base_lot),
        made[0].water,
    )


@dataclass(frozen=True)
class OnBase:
    """What a colourway gave on a base in a form: mean over its swatches, and the shift from the
    first base: ΔL*, ΔC*ab, Δhab in degrees."""

    base: str
    form: str
    swatches: int
    lab: tuple[float, float, float]
    shift: tuple[float, float, float]


def across_bases(table: Table) -> list[OnBase]:
    """One row for each form and base of a table; shifts are within one form."""
    rows: dict[tuple[str, str], list[int]] = {}
    for row, made in enumerate(table.made):
        rows.setdefault((made.form, made.base), []).append(row)
    found: list[OnBase] = []
    first: dict[str, Floats] = {}
    for (form, base), members in sorted(rows.items()):
        lab = table.labs[members].mean(axis=0)
        lch = np.array([lab[0], math.hypot(lab[1], lab[2]), math.degrees(math.atan2(*lab[:0:-1]))])
        shift = lch - first.setdefault(form, lch)
        shift[2] = (shift[2] + 180.0) % 360.0 - 180.0
        L, a, b = (float(v) for v in lab)
        d_l, d_c, d_h = (float(v) for v in shift)
        found.append(OnBase(base, form, len(members), (L, a, b), (d_l, d_c, d_h)))
    return found
