"""Lots of a colourway set against each other, and over time against their master. No printing."""

from __future__ import annotations

import itertools
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from swatchvault.archive import CurrentMaster, SwatchFacts, same_dyes, swatches_of_colourway
from swatchvault.checking import (
    Ask,
    Check,
    Checks,
    Seen,
    check_pairs,
    held_under,
    master_for,
    seen_of,
)
from swatchvault.compare import Comparison, as_record
from swatchvault.errors import CompareError, NotFound
from swatchvault.evenness_check import EvennessComparison
from swatchvault.lotcheck import (
    MEASURE_ANEW,
    LeftOut,
    apart_by_version,
    check_swatch,
    versions_words,
)


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
    (i, j) among the names with i < j, the earlier one as the master. ``left_out``: which swatches
    could not be set against each other; ``notes``: the same in sentences, each thing once.
    """

    base: str
    form: str
    k_l: float
    master: str | None
    names: tuple[str, ...]
    pairs: Mapping[tuple[int, int], Comparison]
    course: tuple[CoursePoint, ...]
    left_out: tuple[LeftOut, ...] = ()
    notes: tuple[str, ...] = ()

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
            "left_out": [one.record() for one in self.left_out],
        }


def lots_together(
    conn: sqlite3.Connection, colourway: str, base: str | None, ask: Ask
) -> list[Family]:
    """Every family of lots of a colourway that has at least two measured lots.

    Raises ``NotFound`` where there is none, and ``CompareError`` where no two lots of any can be
    set against each other.
    """
    kinds: dict[tuple[str, str], list[SwatchFacts]] = {}
    for swatch in swatches_of_colourway(conn, colourway, base, ask.form):
        kinds.setdefault((swatch.base, swatch.form), []).append(swatch)
    masters = {kind: master_for(conn, swatches[0], ask) for kind, swatches in kinds.items()}
    own = [s.swatch_id for swatches in kinds.values() for s in swatches]
    seen = seen_of(conn, [*own, *(m.swatch_id for m in masters.values() if m)])
    families = []
    for kind, swatches in sorted(kinds.items()):
        measured = [s for s in swatches if seen.of(s.swatch_id)]
        if len(measured) > 1:
            families.append(_family(conn, measured, masters[kind], seen, ask))
    if not families:
        raise NotFound(
            f"colourway {colourway!r} has no two measured lots of one base and form: there is "
            "nothing to set against each other"
        )
    if not any(family.pairs or family.course for family in families):
        raise CompareError("; ".join(note for family in families for note in family.notes))
    return families


def _family(
    conn: sqlite3.Connection,
    swatches: Sequence[SwatchFacts],
    master: CurrentMaster | None,
    seen: Seen,
    ask: Ask,
) -> Family:
    pairs: dict[tuple[int, int], Comparison] = {}
    left_out: list[LeftOut] = []
    for (i, one), (j, other) in itertools.combinations(enumerate(swatches), 2):
        sides = (seen.of(one.swatch_id), seen.of(other.swatch_id))
        why = apart_by_version(*sides)
        if why:
            left_out.append(LeftOut(other.swatch, one.swatch, why))
            continue
        held = held_under(ask, master, same_dyes(conn, one.lot_id, other.lot_id), seen.frames)
        pairs[i, j] = check_swatch(*sides, held).comparison
    apart = {name for one in left_out for name in (one.swatch, one.against)}
    versions = [seen.of(s.swatch_id) for s in swatches if s.swatch in apart]
    notes = [f"{versions_words(versions)}: {MEASURE_ANEW}"] if versions else []
    checks = Checks(())
    if master is not None:
        checks = check_pairs(conn, seen, [(s, master) for s in swatches], ask)
        told = [{one.swatch, one.against} for one in left_out]
        rest = [one for one in checks.left_out if {one.swatch, one.against} not in told]
        left_out += rest
        notes += dict.fromkeys(one.why for one in rest)
    return Family(
        swatches[0].base,
        swatches[0].form,
        held_under(ask, master, None, seen.frames).k_l,
        None if master is None else master.swatch,
        _names(swatches),
        pairs,
        tuple(map(_point, checks.given)),
        tuple(left_out),
        tuple(notes),
    )


def _point(check: Check) -> CoursePoint:
    swatch, even = check.swatch, check.evenness
    return CoursePoint(
        swatch.day or "",
        swatch.by_photo,
        swatch.swatch,
        check.checked.comparison,
        None if even is None else even.comparison,
    )


def _names(swatches: Sequence[SwatchFacts]) -> tuple[str, ...]:
    lots = [s.lot for s in swatches]
    return tuple(s.lot if s.lot and lots.count(s.lot) == 1 else s.swatch for s in swatches)
