"""A lot held to its master from what the archive holds: which photos to use, and as what.

No SQL and no printing: colours come in as :class:`StoredColour`, comparisons go out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from ingest.doubt import frame_of_its_own
from ingest.model import FLAGS_THAT_STOP_A_VERDICT
from swatchvault.archive.colours import StoredColour
from swatchvault.archive.evenness import StatedEvenness
from swatchvault.compare import BLURRED, Comparison, as_record, compare
from swatchvault.contradiction import contradiction
from swatchvault.difference import STOPPING_APART, STOPPING_ONE, curve_in_shadow
from swatchvault.errors import CompareError
from swatchvault.evenness_check import EvennessComparison, compare_evenness
from swatchvault.evenness_read import Evenness
from swatchvault.pair import (
    Capture,
    Colour,
    Conditions,
    OwnFrame,
    capture_class,
    grey_table,
    greys_differ,
    mean_of_photos,
)
from swatchvault.words import listed

#: Photos of the master, and of the lot.
Sides = tuple[list[StoredColour], list[StoredColour]]


@dataclass(frozen=True)
class Held:
    """What a lot is held to, apart from the photos: tolerance, kL, dyes, and whether forms mix."""

    tolerance: float = 2.0
    k_l: float = 2.0
    same_dyes: bool | None = None
    across_forms: bool = False
    own_frames: Mapping[int, OwnFrame] = field(default_factory=dict)  # by the set-up's id


@dataclass(frozen=True, eq=False)
class CheckedEvenness:
    """A lot's evenness held to what its master states, and the measurement it was judged on."""

    comparison: EvennessComparison
    statement_id: int
    measurement_id: int | None


@dataclass(frozen=True, eq=False)
class CheckedSwatch:
    """One swatch of a lot held to the master, and the measurements that it was judged on."""

    swatch: str
    comparison: Comparison
    master_measurements: tuple[int, ...]
    lot_measurements: tuple[int, ...]

    @property
    def measurements(self) -> tuple[int, ...]:
        return self.master_measurements + self.lot_measurements


@dataclass(frozen=True)
class LeftOut:
    """A swatch that cannot be held to another (``against``) as things are, and why, with what to
    do: no full stop."""

    swatch: str
    against: str
    why: str

    def record(self) -> dict[str, str]:
        """Plain JSON data."""
        return {"swatch": self.swatch, "against": self.against, "why": self.why}


#: What to do where swatches were measured by different versions of the method.
MEASURE_ANEW = "measure them anew with `swatchvault remeasure --all`"


def apart_by_version(master: Sequence[StoredColour], new: Sequence[StoredColour]) -> str:
    """That no version of the method has measured both swatches, and what to do; "" where one has:
    figures of two versions are never set against each other."""
    if {c.version for c in master} & {c.version for c in new}:
        return ""
    return f"{versions_words((new, master))}: {MEASURE_ANEW}"


def versions_words(swatches: Iterable[Sequence[StoredColour]]) -> str:
    """Which version of the method measured each of these swatches, by name; fewest first, for
    these are the ones that stand out."""
    by_version: dict[tuple[str, ...], list[str]] = {}
    for photos in swatches:
        by_version.setdefault(tuple(sorted({c.version for c in photos})), []).append(
            photos[0].swatch
        )
    parts: list[str] = []
    for versions, names in sorted(by_version.items(), key=lambda item: len(item[1])):
        of = " of the method" if not parts else ""
        measured = "" if parts else f" {'was' if len(names) == 1 else 'were'} measured"
        several = "version" if len(versions) == 1 else "versions"
        parts.append(f"{listed(names)}{measured} by {several} {' and '.join(versions)}{of}")
    return ", ".join(parts)


def as_colour(stored: StoredColour) -> Colour:
    """A stored measurement as one side of a comparison."""
    flags = stored.flags | ({"not dry"} if stored.damp else frozenset())
    return Colour(
        stored.lab,
        stored.covariance.region,
        stored.reference,
        name=stored.lot or stored.swatch,
        flags=frozenset(flags),
        shadow_sd=stored.shadow_sd,
        light="daylight" if stored.light == "daylight" else "other" if stored.light else None,
        form=stored.form,
        photo_ids=frozenset({stored.photo_sha256}),
        greys=stored.greys,
        frame_cov=frame_of_its_own(
            stored.covariance.frame, stored.lab, stored.reference, stored.light, stored.flags
        ),
    )


def groups(
    master: Sequence[StoredColour], new: Sequence[StoredColour]
) -> list[tuple[Capture, list[StoredColour], list[StoredColour]]]:
    """The ways to set the master's photos against the lot's, best first.

    Photos that show both; photos of one locked set-up; of one set-up; all there are. Of each way
    first those with the better reference alone, or by daylight alone, where both sides have such.
    Only measurements by one version of the method: raises ``CompareError`` where none is shared.
    """
    master, new = one_version(master, new)
    ways: list[tuple[Capture, list[StoredColour], list[StoredColour]]] = []
    both = {m.photo_sha256 for m in master} & {n.photo_sha256 for n in new}
    if both:
        ways.append(
            (
                Capture.SAME_FRAME,
                [m for m in master if m.photo_sha256 in both],
                [n for n in new if n.photo_sha256 in both],
            )
        )
    master, new = fit_to_part(master), fit_to_part(new)
    shared = {m.setup_id for m in master} & {n.setup_id for n in new} - {None}
    for setup in sorted(s for s in shared if s is not None):
        ours, theirs = ([c for c in side if c.setup_id == setup] for side in (master, new))
        locked = all(c.locked for c in (*ours, *theirs)) and not _drifted((*ours, *theirs))
        ways.append((Capture.LOCKED if locked else Capture.SAME_SETUP, ours, theirs))
    ways.append((Capture.OTHER, list(master), list(new)))
    ways.sort(key=lambda way: list(Capture).index(way[0]))
    return [(capture, *sides) for capture, *both in ways for sides in _narrowed(both[0], both[1])]


def _drifted(photos: Sequence[StoredColour]) -> bool:
    """Whether the greys of three photos or more differ: their mean would hide it. Of two the
    comparison itself tells."""
    if len(photos) < 3:
        return False
    table = grey_table([c.greys for c in photos])
    return bool(greys_differ(table[:1], table).any())


def _narrowed(ours: list[StoredColour], theirs: list[StoredColour]) -> list[Sides]:
    """The photos of both sides, after the better ones among them: one photo with a card alone, or
    by lamp, would otherwise bring its doubt upon all."""
    best = min(max(_rank(c) for c in side) for side in (ours, theirs))
    better = _kept(ours, theirs, lambda c: _rank(c) >= best)
    found = [_kept(*better, _by_daylight), better, _kept(ours, theirs, _by_daylight)]
    distinct = {
        tuple(tuple(c.measurement_id for c in side) for side in sides): sides
        for sides in (*found, (ours, theirs))
    }
    return list(distinct.values())


def _rank(stored: StoredColour) -> int:
    """How good a photo's reference is; what the tables of doubt do not know counts least."""
    order = ("card", "steps", "chart")
    column = as_colour(stored).column
    return order.index(column) if column in order else -1


def _by_daylight(stored: StoredColour) -> bool:
    return stored.light == "daylight"


def _kept(
    ours: list[StoredColour], theirs: list[StoredColour], keep: Callable[[StoredColour], bool]
) -> Sides:
    """Of both sides those to keep, or both whole where one would be left with none."""
    kept = tuple([c for c in side if keep(c)] for side in (ours, theirs))
    return (kept[0], kept[1]) if all(kept) else (ours, theirs)


def one_version(
    master: Sequence[StoredColour], new: Sequence[StoredColour]
) -> tuple[list[StoredColour], list[StoredColour]]:
    """Both sides as the newest version of the method that measured both sees them.

    Raises :class:`CompareError` where none measured both.
    """
    why = apart_by_version(master, new)
    if why:
        raise CompareError(f"{why}, then compare")
    shared = {m.version for m in master} & {n.version for n in new}
    newest = max((c for c in master if c.version in shared), key=lambda c: c.measurement_id)
    ours, theirs = ([c for c in side if c.version == newest.version] for side in (master, new))
    return ours, theirs


def check_swatch(
    master: Sequence[StoredColour], new: Sequence[StoredColour], held: Held
) -> CheckedSwatch:
    """Hold one swatch to the master by the strongest photos there are of both.

    Of the ways to set them against each other on which a verdict can be given, the one with the
    least doubt at the tolerance is taken. None can be given on photos that contradict each other,
    and it is told where others were. Photos that none can be given on, or none across two
    photos, are left out where others remain. Raises :class:`CompareError` where a side has no
    measured photo, or no version of the method measured both.
    """
    if not master or not new:
        side = "master" if not master else "lot"
        raise CompareError(f"the {side}'s swatch has no measured photo; add one first")
    tried, against = [], ""
    for capture, ours, theirs in groups(*sharp_alike(*map(usable, one_version(master, new)))):
        seen = [[(c, as_colour(c)) for c in side] for side in (ours, theirs)]
        one, other = (mean_of_photos([colour for _, colour in side]) for side in seen)
        conditions = Conditions(
            capture, held.tolerance, held.k_l, None, held.same_dyes, _learned(held, ours, theirs)
        )
        counts = replace(conditions, capture=capture_class(one, other, capture))
        said = contradiction(seen[0], seen[1], counts)
        against = against or said  # of the first way; the others say it of the same photos
        stops = (said,) if said else ()
        comparison = compare(one, other, conditions, across_forms=held.across_forms, stops=stops)
        tried.append((comparison, ours, theirs))
    comparison, ours, theirs = min(tried, key=lambda t: (bool(t[0].difference.stops), _doubt(t[0])))
    told = [against] if against and not comparison.difference.stops else []
    notes = (*comparison.notes, *told, *_before_the_dye(master), *_before_the_dye(new))
    return CheckedSwatch(
        new[0].swatch,
        replace(comparison, notes=notes),
        tuple(c.measurement_id for c in ours),
        tuple(c.measurement_id for c in theirs),
    )


def _learned(
    held: Held, ours: Sequence[StoredColour], theirs: Sequence[StoredColour]
) -> OwnFrame | None:
    """What repeats taught of the set-ups of these photos; of several the one that scatters most,
    for photos of one set-up are no surer when they are held to those of another."""
    setups = {c.setup_id for c in (*ours, *theirs) if c.setup_id is not None}
    known = [held.own_frames[s] for s in setups if s in held.own_frames]
    return max(known, key=lambda own: float(np.trace(own.cov)), default=None)


def _before_the_dye(photos: Sequence[StoredColour]) -> list[str]:
    """That photos of a swatch are from before its lot's last dye, and whether they count; or
    nothing."""
    early = sum(c.before_last_dye for c in photos)
    if not early:
        return []
    those = "1 photo" if early == 1 else f"{early} photos"
    said = f"{those} of {photos[0].swatch} from before the last dye went in, by the pot's times"
    if early < len(photos):
        return [f"Left out: {said}."]
    return [f"Judged on {said}, for want of a later one: photograph it again as it came out."]


def evenness_of(stored: StoredColour) -> Evenness:
    """How even a stored measurement says its swatch is."""
    return Evenness.of_record(stored.tonality, stored.form, stored.flags)


def check_evenness(
    stated: StatedEvenness, new: StoredColour | None, form: str, kinds: Mapping[int, str | None]
) -> CheckedEvenness:
    """Hold a swatch's evenness to its master's statement. ``form``: the master's; ``new``: the
    photo that tells the swatch's, ``None`` where it has none; ``kinds``: classes in force, by the
    measurement."""
    held = Evenness(
        stated.unevenness,
        stated.u_unevenness,
        form,
        stated.method,
        kinds.get(stated.measurement_id or -1),
        set_aside=stated.set_aside,
    )
    found = Evenness(math.nan, math.nan, "", None)
    if new is not None:
        found = replace(evenness_of(new), kind=kinds.get(new.measurement_id))
    comparison = compare_evenness(held, found, stated.tolerance)
    measured = None if new is None else new.measurement_id
    return CheckedEvenness(comparison, stated.statement_id, measured)


def check_record(checked: CheckedSwatch, facts: Mapping[str, Any]) -> dict[str, Any]:
    """A check as plain JSON data, with the names that belong to it."""
    return {**facts, "swatch": checked.swatch, **as_record(checked.comparison)}


def usable(colours: Sequence[StoredColour]) -> list[StoredColour]:
    """Photos that a verdict can be given on, or all of them where there is none; of those taken
    after the last dye went in, and of dry yarn, where there are such."""
    as_dyed = dry_of([c for c in colours if not c.before_last_dye] or list(colours))
    return [
        c
        for c in as_dyed
        if not c.flags & FLAGS_THAT_STOP_A_VERDICT and not curve_in_shadow(c.flags, c.reference)
    ] or as_dyed


def dry_of(photos: Sequence[StoredColour]) -> list[StoredColour]:
    """Photos of dry yarn, or all of them where there is none."""
    return [c for c in photos if not c.damp] or list(photos)


def sharp_alike(master: Sequence[StoredColour], new: Sequence[StoredColour]) -> Sides:
    """Both sides without photos in which one is sharp and the other blurred, or whole where one
    would be left with none."""
    blurred = {c.photo_sha256: BLURRED in c.flags for c in master}
    unlike = {c.photo_sha256 for c in new} & blurred.keys()
    unlike -= {c.photo_sha256 for c in new if blurred.get(c.photo_sha256) == (BLURRED in c.flags)}
    return _kept(list(master), list(new), lambda c: c.photo_sha256 not in unlike)


def fit_to_part(colours: Sequence[StoredColour]) -> list[StoredColour]:
    """Photos that may be held to other ones, or all of them where there is none."""
    good = [c for c in colours if not c.flags & (STOPPING_APART | {STOPPING_ONE})]
    return good or list(colours)


def _doubt(comparison: Comparison) -> float:
    u = comparison.difference.u_at_tolerance
    return u if u == u else float("inf")
