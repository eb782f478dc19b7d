"""Lots held to their masters, from an archive's connection. No printing."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from swatchvault.archive import (
    CurrentMaster,
    LotCheck,
    StoredColour,
    SwatchFacts,
    colourway_names,
    current_master,
    record_check,
    record_evenness_check,
    same_dyes,
    stated_evenness,
    swatches_of_colourway,
    swatches_of_lot,
    tells_evenness,
    transaction,
    why_none_counts,
)
from swatchvault.archive.eye import classes_in_force
from swatchvault.compare import as_record
from swatchvault.errors import CompareError, NotFound
from swatchvault.lotcheck import (
    CheckedEvenness,
    CheckedSwatch,
    Held,
    LeftOut,
    apart_by_version,
    check_evenness,
    check_record,
    check_swatch,
)
from swatchvault.pair import OwnFrame
from swatchvault.photodoubt import own_frames, photos_by_swatch


@dataclass(frozen=True)
class Ask:
    """What a person asks for, beyond what the master states."""

    form: str | None = None
    tolerance: float | None = None
    k_l: float | None = None
    across_forms: bool = False
    same_dyes: bool | None = None


@dataclass(frozen=True, eq=False)
class Seen:
    """What photos say of some swatches, read once: the photos of each by its id, oldest first, and
    what repeats taught of their set-ups, by the set-up's id."""

    photos: Mapping[int, Sequence[StoredColour]]
    frames: Mapping[int, OwnFrame]

    def of(self, swatch_id: int) -> Sequence[StoredColour]:
        """The photos of a swatch; none where nothing of it was measured."""
        return self.photos.get(swatch_id, ())


def seen_of(conn: sqlite3.Connection, swatch_ids: Iterable[int]) -> Seen:
    """The photos of these swatches."""
    photos = photos_by_swatch(conn, sorted(set(swatch_ids)))
    return Seen(photos, own_frames(conn, [c for several in photos.values() for c in several]))


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
class Checks:
    """Checks of the swatches of a lot, and the swatches that could not be held to their master."""

    given: tuple[Check, ...]
    left_out: tuple[LeftOut, ...] = ()

    def records(self) -> list[dict[str, Any]]:
        """Plain JSON data: one item a check, each with all that was left out."""
        left_out = [one.record() for one in self.left_out]
        return [{**check.record(), "left_out": left_out} for check in self.given]


def check_lot(conn: sqlite3.Connection, lot: str, ask: Ask) -> Checks:
    """Hold every measured swatch of a lot to the master of its colourway, base and form.

    Raises ``NotFound`` where the lot, a measured swatch or a master is missing, and
    ``CompareError`` where no swatch can be held to the master that it has.
    """
    swatches = [s for s in swatches_of_lot(conn, lot) if ask.form in (None, s.form)]
    masters = {s.swatch_id: master_for(conn, s, ask) for s in swatches}
    seen = seen_of(conn, [*masters, *(m.swatch_id for m in masters.values() if m)])
    measured = [s for s in swatches if seen.of(s.swatch_id)]
    if not measured:
        form = f" as {ask.form}" if ask.form else ""
        asides = [(s.swatch, why_none_counts(conn, s.swatch_id)) for s in swatches]
        said = "; ".join(f"swatch {name!r} {why}" for name, why in asides if why)
        said = said or "photograph one and add it"
        raise NotFound(f"lot {lot!r} has no measured swatch{form}: {said}")
    pairs = [(s, m) for s in measured if (m := masters[s.swatch_id]) is not None]
    checks = check_pairs(conn, seen, pairs, ask)
    if checks.given:
        return checks
    if checks.left_out:
        raise CompareError("; ".join(dict.fromkeys(one.why for one in checks.left_out)))
    without = [s for s in measured if masters[s.swatch_id] is None]
    if without:
        first = without[0]
        raise NotFound(
            f"lot {lot!r}: {first.colourway or 'undyed yarn'} on {first.base} has no master as "
            f"{first.form}: set one with `swatchvault master SWATCH`"
        )
    raise NotFound(f"lot {lot!r} is the master's own lot: there is nothing to hold it to")


def check_every_lot(conn: sqlite3.Connection, ask: Ask) -> Checks:
    """Hold every measured lot that has a master to it, by colourway and date."""
    given: list[Check] = []
    left_out: list[LeftOut] = []
    for colourway in colourway_names(conn):
        of_it = swatches_of_colourway(conn, colourway)
        pairs = [(s, m) for s in of_it if (m := master_for(conn, s, ask)) is not None]
        seen = seen_of(conn, [i for s, m in pairs for i in (s.swatch_id, m.swatch_id)])
        found = check_pairs(conn, seen, [p for p in pairs if seen.of(p[0].swatch_id)], ask)
        given += found.given
        left_out += found.left_out
    return Checks(tuple(given), tuple(left_out))


def check_pairs(
    conn: sqlite3.Connection,
    seen: Seen,
    pairs: Sequence[tuple[SwatchFacts, CurrentMaster]],
    ask: Ask,
) -> Checks:
    """Hold measured swatches each to its master; a master's own swatch is passed over."""
    given, left_out = [], []
    for swatch, master in pairs:
        if swatch.swatch_id == master.swatch_id:
            continue
        why = _why_not(conn, seen, swatch, master)
        if why:
            left_out.append(LeftOut(swatch.swatch, master.swatch, why))
        else:
            given.append(_check(conn, seen, swatch, master, ask))
    return Checks(tuple(given), tuple(left_out))


def _why_not(
    conn: sqlite3.Connection, seen: Seen, swatch: SwatchFacts, master: CurrentMaster
) -> str:
    """Why a measured swatch cannot be held to its master, and what to do; "" where it can."""
    ours, theirs = seen.of(master.swatch_id), seen.of(swatch.swatch_id)
    if not ours:
        aside = why_none_counts(conn, master.swatch_id)
        if aside is None:
            return f"the master {master.swatch!r} has no measured photo: photograph it and add it"
        return (
            f"the master {master.swatch!r} {aside}, or make another swatch the master with "
            "`swatchvault master SWATCH`"
        )
    return apart_by_version(ours, theirs)


def keep_checks(conn: sqlite3.Connection, checks: Sequence[Check]) -> None:
    """Keep verdicts in the archive, as given."""
    with transaction(conn):
        for check in checks:
            row_id, even = record_check(conn, _row(check)), check.evenness
            if even is not None:
                found = even.comparison.record()
                args = (row_id, even.statement_id, even.measurement_id, found)
                record_evenness_check(conn, *args)


def master_for(conn: sqlite3.Connection, swatch: SwatchFacts, ask: Ask) -> CurrentMaster | None:
    """The master that a swatch is held to: of its form, or of another where that is asked for."""
    if swatch.colourway is None:
        return None
    found = current_master(conn, swatch.colourway, swatch.base, swatch.form)
    if found is not None or not ask.across_forms:
        return found
    forms = ("wound card", "skein", "knit")
    others = (current_master(conn, swatch.colourway, swatch.base, form) for form in forms)
    return next((m for m in others if m is not None), None)


def held_under(
    ask: Ask, master: CurrentMaster | None, same: bool | None, frames: Mapping[int, OwnFrame]
) -> Held:
    """What two swatches are held to: what is asked for, else what the master states. ``same``:
    whether the records say that both were dyed alike; ``None``: they do not."""
    told = Held() if master is None else Held(master.tolerance, master.k_l)
    return Held(
        told.tolerance if ask.tolerance is None else ask.tolerance,
        told.k_l if ask.k_l is None else ask.k_l,
        ask.same_dyes if same is None else same,
        ask.across_forms,
        frames,
    )


def _check(
    conn: sqlite3.Connection, seen: Seen, swatch: SwatchFacts, master: CurrentMaster, ask: Ask
) -> Check:
    """Hold a swatch to its master, by colour and by what that states of evenness."""
    ours, theirs = seen.of(master.swatch_id), seen.of(swatch.swatch_id)
    same = same_dyes(conn, swatch.lot_id, ours[0].lot_id)
    held = held_under(ask, master, same, seen.frames)
    stated = stated_evenness(conn, master.master_id)
    even = None
    if stated is not None:
        new = tells_evenness(conn, theirs, stated.method).get(swatch.swatch_id)
        read = [stated.measurement_id, None if new is None else new.measurement_id]
        kinds = classes_in_force(conn, [i for i in read if i is not None])
        even = check_evenness(stated, new, master.form, kinds)
    return Check(swatch, master, check_swatch(ours, theirs, held), held.same_dyes, even)


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
