"""Lots of a colourway set against each other, and over time against their master. No printing."""

from __future__ import annotations

import itertools
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from swatchvault.archive import SwatchFacts, same_dyes, swatches_of_colourway
from swatchvault.checking import Ask, Seen, check_against, held_under, master_for, seen_of
from swatchvault.compare import Comparison, as_record
from swatchvault.errors import NotFound
from swatchvault.evenness_check import EvennessComparison
from swatchvault.lotcheck import check_swatch


@dataclass(frozen=True, eq=False)
class CoursePoint:
    """One swatch in the course of time. ``when``: ISO 8601, as it sorts; of its lot's first photo
    where ``by_photo``, "" where neither is known. ``evenness``: where the master states it."""

    when: str
    by_photo: bool
    swatch: str
    comparison: Comparison
    evenness: EvennessComparison | None = None

    def record(self) -> dict[str, Any]:
        """Plain JSON data."""
        return {
            "when": self.when,
            "when_by_photo": self.by_photo,
            "lot": self.comparison.new.name,
            "swatch": self.swatch,
            **as_record(self.comparison),
            "evenness": None if self.evenness is None else self.evenness.record(),
        }


@dataclass(frozen=True, eq=False)
class Family:
    """Lots of one colourway on one base in one form: each pair, and the course over time.

    ``names``: of the lots, or of the swatches of a lot that has several. ``pairs``: by places
    (i, j) among the names with i < j, the earlier one as the master.
    """

    base: str
    form: str
    k_l: float
    master: str | None
    names: tuple[str, ...]
    pairs: Mapping[tuple[int, int], Comparison]
    course: tuple[CoursePoint, ...]

    def record(self) -> dict[str, Any]:
        """Plain JSON data."""
        return {
            "base": self.base,
            "form": self.form,
            "k_l": self.k_l,
            "master": self.master,
            "lots": list(self.names),
            "pairs": [
                {"lots": [self.names[i], self.names[j]], **as_record(c)}
                for (i, j), c in self.pairs.items()
            ],
            "course": [point.record() for point in self.course],
        }


def lots_together(
    conn: sqlite3.Connection, colourway: str, base: str | None, ask: Ask
) -> list[Family]:
    """Every family of lots of a colourway that has at least two measured lots."""
    swatches = swatches_of_colourway(conn, colourway, base, ask.form)
    seen = seen_of(conn, [s.swatch_id for s in swatches])
    kinds: dict[tuple[str, str], list[SwatchFacts]] = {}
    for swatch in swatches:
        if seen.of(swatch.swatch_id):
            kinds.setdefault((swatch.base, swatch.form), []).append(swatch)
    families = [_family(conn, kinds[k], seen, ask) for k in sorted(kinds) if len(kinds[k]) > 1]
    if not families:
        raise NotFound(
            f"colourway {colourway!r} has no two measured lots of one base and form: there is "
            "nothing to set against each other"
        )
    return families


def _family(
    conn: sqlite3.Connection, swatches: Sequence[SwatchFacts], seen: Seen, ask: Ask
) -> Family:
    master = master_for(conn, swatches[0], ask)
    pairs: dict[tuple[int, int], Comparison] = {}
    for (i, one), (j, other) in itertools.combinations(enumerate(swatches), 2):
        held = held_under(ask, master, same_dyes(conn, one.lot_id, other.lot_id), seen.frames)
        sides = (seen.of(one.swatch_id), seen.of(other.swatch_id))
        pairs[i, j] = check_swatch(*sides, held).comparison
    course = []
    for swatch in swatches:
        if master is not None and swatch.swatch_id != master.swatch_id:
            found = check_against(conn, seen, swatch, master, ask)
            even = None if found.evenness is None else found.evenness.comparison
            told = (swatch.day or "", swatch.by_photo, swatch.swatch)
            course.append(CoursePoint(*told, found.checked.comparison, even))
    return Family(
        swatches[0].base,
        swatches[0].form,
        held_under(ask, master, None, seen.frames).k_l,
        None if master is None else master.swatch,
        _names(swatches),
        pairs,
        tuple(course),
    )


def _names(swatches: Sequence[SwatchFacts]) -> tuple[str, ...]:
    lots = [s.lot for s in swatches]
    return tuple(s.lot if s.lot and lots.count(s.lot) == 1 else s.swatch for s in swatches)
