"""Lots held to their masters and to each other, from an archive's connection. No printing."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from swatchvault.archive import (
    CurrentMaster,
    LotCheck,
    SwatchFacts,
    colourway_names,
    current_master,
    record_check,
    record_evenness_check,
    same_dyes,
    stated_evenness,
    swatch_colours,
    swatches_of_colourway,
    swatches_of_lot,
    tells_evenness,
    transaction,
    why_none_counts,
)
from swatchvault.archive.eye import classes_in_force
from swatchvault.compare import Comparison, CoursePoint, LotMatrix, as_record
from swatchvault.errors import CompareError, NotFound
from swatchvault.lotcheck import (
    CheckedEvenness,
    CheckedSwatch,
    Held,
    check_evenness,
    check_record,
    check_swatch,
)
from swatchvault.photodoubt import own_frames


@dataclass(frozen=True)
class Ask:
    """What a person asks for, beyond what the master states."""

    form: str | None = None
    tolerance: float | None = None
    k_l: float | None = None
    across_forms: bool = False
    same_dyes: bool | None = None


@dataclass(frozen=True, eq=False)
class Check:
    """One swatch of a lot against its master."""

    swatch: SwatchFacts
    master: CurrentMaster
    checked: CheckedSwatch
    same_dyes: bool | None
    evenness: CheckedEvenness | None = None  # where the master states it

    def record(self) -> dict[str, Any]:
        """Plain JSON data: the colour's verdict, and under ``evenness`` that on evenness."""
        even = None if self.evenness is None else self.evenness.comparison.record()
        return {**check_record(self.checked, self.facts()), "evenness": even}

    def facts(self) -> dict[str, Any]:
        """The names that belong to the figures."""
        return {
            "lot": self.swatch.lot,
            "colourway": self.swatch.colourway,
            "base": self.swatch.base,
            "form": self.swatch.form,
            "master": self.master.swatch,
            "same_dyes": self.same_dyes,
        }


@dataclass(frozen=True, eq=False)
class Family:
    """Lots of one colourway on one base in one form: each pair, and the course over time."""

    base: str
    form: str
    k_l: float
    master: str | None
    matrix: LotMatrix
    course: tuple[CoursePoint, ...]
    evenness: tuple[CheckedEvenness | None, ...] = ()  # of each of course

    def record(self) -> dict[str, Any]:
        """Plain JSON data."""
        names = self.matrix.names
        return {
            "base": self.base,
            "form": self.form,
            "k_l": self.k_l,
            "master": self.master,
            "lots": list(names),
            "pairs": [
                {"lots": [names[i], names[j]], **as_record(c)}
                for (i, j), c in self.matrix.pairs.items()
            ],
            "course": [
                {
                    "when": p.when,
                    "when_by_photo": p.by_photo,
                    "lot": p.comparison.new.name,
                    "swatch": p.swatch,
                    **as_record(p.comparison),
                    "evenness": None if even is None else even.comparison.record(),
                }
                for p, even in zip(self.course, self.evenness, strict=True)
            ],
        }


def check_lot(conn: sqlite3.Connection, lot: str, ask: Ask) -> list[Check]:
    """Hold every measured swatch of a lot to the master of its colourway, base and form.

    Raises ``NotFound`` where the lot, a measured swatch or a master is missing.
    """
    swatches = [s for s in swatches_of_lot(conn, lot) if ask.form in (None, s.form)]
    measured = [s for s in swatches if swatch_colours(conn, s.swatch_id)]
    if not measured:
        form = f" as {ask.form}" if ask.form else ""
        asides = [(s.swatch, why_none_counts(conn, s.swatch_id)) for s in swatches]
        said = "; ".join(f"swatch {name!r} {why}" for name, why in asides if why)
        said = said or "photograph one and add it"
        raise NotFound(f"lot {lot!r} has no measured swatch{form}: {said}")
    checks, without = [], []
    for swatch in measured:
        master = _master_for(conn, swatch, ask)
        if master is None:
            without.append(swatch)
        elif master.swatch_id != swatch.swatch_id:
            checks.append(_check(conn, swatch, master, ask))
    if checks:
        return checks
    if without:
        first = without[0]
        raise NotFound(
            f"lot {lot!r}: {first.colourway or 'undyed yarn'} on {first.base} has no master as "
            f"{first.form}: set one with `swatchvault master SWATCH`"
        )
    raise NotFound(f"lot {lot!r} is the master's own lot: there is nothing to hold it to")


def keep_checks(conn: sqlite3.Connection, checks: Sequence[Check]) -> None:
    """Keep verdicts in the archive, as given."""
    with transaction(conn):
        for check in checks:
            row_id, even = record_check(conn, _row(check)), check.evenness
            if even is not None:
                found = even.comparison.record()
                args = (row_id, even.statement_id, even.measurement_id, found)
                record_evenness_check(conn, *args)


def lots_together(
    conn: sqlite3.Connection, colourway: str, base: str | None, ask: Ask
) -> list[Family]:
    """Every family of lots of a colourway that has at least two measured lots."""
    swatches = [
        s
        for s in swatches_of_colourway(conn, colourway, base, ask.form)
        if swatch_colours(conn, s.swatch_id)
    ]
    kinds = sorted({(s.base, s.form) for s in swatches})
    families = []
    for kind in kinds:
        of_kind = [s for s in swatches if (s.base, s.form) == kind]
        if len(of_kind) > 1:
            families.append(_family(conn, of_kind, ask))
    if not families:
        raise NotFound(
            f"colourway {colourway!r} has no two measured lots of one base and form: there is "
            "nothing to set against each other"
        )
    return families


def _family(conn: sqlite3.Connection, swatches: Sequence[SwatchFacts], ask: Ask) -> Family:
    master = _master_for(conn, swatches[0], ask)
    tolerance = ask.tolerance or (master.tolerance if master else 2.0)
    k_l = ask.k_l or (master.k_l if master else 2.0)
    names = _names(swatches)
    table = np.zeros((len(swatches), len(swatches)))
    pairs: dict[tuple[int, int], Comparison] = {}
    for i, first in enumerate(swatches):
        for j in range(i + 1, len(swatches)):
            held = Held(tolerance, k_l, _dyes(conn, first, swatches[j].lot_id, ask))
            pairs[i, j] = _hold(conn, first.swatch_id, swatches[j].swatch_id, held).comparison
            table[i, j] = table[j, i] = pairs[i, j].difference.delta_e_00
    course, evenness = [], []
    for swatch in swatches:
        if master is not None and swatch.swatch_id != master.swatch_id:
            found = _check(conn, swatch, master, ask)
            course.append(
                CoursePoint(
                    swatch.day or "", found.checked.comparison, swatch.by_photo, swatch.swatch
                )
            )
            evenness.append(found.evenness)
    return Family(
        swatches[0].base,
        swatches[0].form,
        k_l,
        master.swatch if master else None,
        LotMatrix(names, table, pairs),
        tuple(course),
        tuple(evenness),
    )


def _names(swatches: Sequence[SwatchFacts]) -> tuple[str, ...]:
    lots = [s.lot for s in swatches]
    return tuple(s.lot if s.lot and lots.count(s.lot) == 1 else s.swatch for s in swatches)


def _master_for(conn: sqlite3.Connection, swatch: SwatchFacts, ask: Ask) -> CurrentMaster | None:
    if swatch.colourway is None:
        return None
    found = current_master(conn, swatch.colourway, swatch.base, swatch.form)
    if found is not None or not ask.across_forms:
        return found
    forms = ("wound card", "skein", "knit")
    others = (current_master(conn, swatch.colourway, swatch.base, form) for form in forms)
    return next((m for m in others if m is not None), None)


def _check(conn: sqlite3.Connection, swatch: SwatchFacts, master: CurrentMaster, ask: Ask) -> Check:
    master_lot = swatch_colours(conn, master.swatch_id)
    dyes = _dyes(conn, swatch, master_lot[0].lot_id if master_lot else None, ask)
    held = Held(
        master.tolerance if ask.tolerance is None else ask.tolerance,
        master.k_l if ask.k_l is None else ask.k_l,
        dyes,
        ask.across_forms,
    )
    stated = stated_evenness(conn, master.master_id)
    even = None
    if stated is not None:
        found = swatch_colours(conn, swatch.swatch_id)
        new = tells_evenness(conn, found, stated.method).get(swatch.swatch_id)
        read = [stated.measurement_id, None if new is None else new.measurement_id]
        kinds = classes_in_force(conn, [i for i in read if i is not None])
        even = check_evenness(stated, new, master.form, kinds)
    if not master_lot:
        raise _no_master_photo(conn, master.swatch_id, master.swatch)
    return Check(swatch, master, _hold(conn, master.swatch_id, swatch.swatch_id, held), dyes, even)


def _no_master_photo(conn: sqlite3.Connection, swatch_id: int, swatch: str) -> CompareError:
    why = why_none_counts(conn, swatch_id)
    if why is None:
        return CompareError("the master's swatch has no measured photo: photograph it and add it")
    return CompareError(
        f"the master {swatch!r} {why}, or make another swatch the master with `swatchvault master "
        "SWATCH`"
    )


def _hold(conn: sqlite3.Connection, master_id: int, new_id: int, held: Held) -> CheckedSwatch:
    master, new = swatch_colours(conn, master_id), swatch_colours(conn, new_id)
    frames = own_frames(conn, (*master, *new))
    return check_swatch(master, new, replace(held, own_frames=frames))


def _dyes(
    conn: sqlite3.Connection, swatch: SwatchFacts, other_lot: int | None, ask: Ask
) -> bool | None:
    known = same_dyes(conn, swatch.lot_id, other_lot)
    return ask.same_dyes if known is None else known


def _row(check: Check) -> LotCheck:
    comparison = check.checked.comparison
    d = comparison.difference
    record = as_record(comparison)
    return LotCheck(
        master_swatch_id=check.master.swatch_id,
        swatch_id=check.swatch.swatch_id,
        verdict=d.verdict.value,
        tolerance=d.conditions.tolerance,
        k_l=d.conditions.k_l,
        delta_e_00=d.delta_e_00,
        capture=record["capture"],
        words=comparison.words,
        master_measurements=check.checked.master_measurements,
        lot_measurements=check.checked.lot_measurements,
        master_id=check.master.master_id,
        d_lch=d.d_lch,
        u_reading=record["u"]["reading"],
        u_at_tolerance=record["u"]["at_tolerance"],
        p_within=record["p_within"],
        p_outside=record["p_outside"],
        same_dyes=check.same_dyes,
        detail={
            **{k: record[k] for k in ("reasons", "what_next", "flags", "notes")},
            "u_d_lch": record["u"]["d_lch"],
        },
    )


def check_every_lot(conn: sqlite3.Connection, ask: Ask) -> list[Check]:
    """Hold every measured lot that has a master to it, by colourway and date."""
    checks: list[Check] = []
    for colourway in colourway_names(conn):
        for swatch in swatches_of_colourway(conn, colourway):
            master = _master_for(conn, swatch, ask)
            if master is None or master.swatch_id == swatch.swatch_id:
                continue
            if swatch_colours(conn, swatch.swatch_id) and swatch_colours(conn, master.swatch_id):
                checks.append(_check(conn, swatch, master, ask))
    return checks
