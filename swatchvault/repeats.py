"""What repeat photos teach: the dyer's own frame part, and the tolerance it can certify. Pure."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from swatchvault.difference import GATE_WITHIN
from swatchvault.errors import CompareError
from swatchvault.pair import (
    HUES,
    REPEATS,
    Capture,
    Colour,
    Conditions,
    OwnFrame,
    mean_of_photos,
    own_frame,
)
from swatchvault.pairdoubt import pair_doubt
from swatchvault.repeat_shots import (
    Shot,
    check_shots,
    greys_alike,
    in_photos,
    not_locked,
    one_shots,
    stopped_words,
    weak_words,
)
from swatchvault.words import listed

_FIGURES = ("smallest_tolerance", "default_smallest_tolerance", "k_l")


@dataclass(frozen=True, eq=False)
class Learned:
    """``own``: the frame part. ``swatches``: their names. ``photos``: their sha256.

    ``smallest_tolerance``: the least T at which a lot of the same dyes could be called within,
    with the doubt of the region as the repeats had it; NaN where none under 20 can, or where
    ``one_shot`` says why the photos may be copies of one: then nothing was learned.
    ``to_be_said``: what else weakens it, in sentences; ``flags``: of all readings; neither is kept.
    """

    own: OwnFrame
    swatches: tuple[str, ...]
    photos: tuple[str, ...]
    smallest_tolerance: float
    default_tolerance: float
    k_l: float
    one_shot: tuple[str, ...] = ()
    to_be_said: tuple[str, ...] = ()
    flags: frozenset[str] = frozenset()

    @property
    def frame_sd(self) -> float:
        """Standard deviation per axis at kL = 1, of a difference of two frames."""
        return math.sqrt(float(np.trace(self.own.cov)) / 3.0)

    def record(self) -> dict[str, Any]:
        """Plain JSON data, enough to use it again."""
        return {
            "capture": self.own.capture.value,
            "cov": np.asarray(self.own.cov).tolist(),
            "swatches": list(self.swatches),
            "photos": list(self.photos),
            "frame_sd": self.frame_sd,
            "smallest_tolerance": _known(self.smallest_tolerance),
            "default_smallest_tolerance": _known(self.default_tolerance),
            "k_l": self.k_l,
            "one_shot": list(self.one_shot),
        }


def from_record(record: Mapping[str, Any]) -> Learned:
    """What :meth:`Learned.record` was told of; unknown is NaN or none."""
    known = {k: math.nan if record.get(k) is None else float(record[k]) for k in _FIGURES}
    return Learned(
        OwnFrame(np.array(record["cov"], dtype=float), Capture(record["capture"])),
        tuple(record.get("swatches", ())),
        tuple(record.get("photos", ())),
        known["smallest_tolerance"],
        known["default_smallest_tolerance"],
        known["k_l"],
        tuple(record.get("one_shot", ())),
    )


def learn(shots: Sequence[Shot], capture: Capture, k_l: float = 2.0) -> Learned:
    """Learn from photos of the same swatches, each set up anew.

    Swatches go together by name; one that stands in fewer than ten of the photos is left out.
    Photos of one shot count as one; where too few are left so, nothing is certified.
    Raises :class:`CompareError` for fewer than ten photos or four hues, for the capture classes
    that repeats say nothing of, and for figures of two versions of the method.
    """
    if capture not in (Capture.LOCKED, Capture.SAME_SETUP):
        raise CompareError(
            f"repeats teach 'locked set-up' or 'same set-up', not '{capture.value}'; say which"
        )
    check_shots(shots)
    ones, copies = one_shots(shots)
    if not copies:
        return _learn(shots, capture, k_l, greys_alike(shots))
    try:
        learned = _learn(ones, capture, k_l, greys_alike(ones))
    except CompareError:  # too few are left
        return _learn(shots, capture, k_l, copies)
    once = f"Counted as one photo each: {'; '.join(copies)}."
    return replace(learned, to_be_said=(once, *learned.to_be_said))


def _learn(
    shots: Sequence[Shot], stated: Capture, k_l: float, one_shot: tuple[str, ...]
) -> Learned:
    """What photos teach; ``one_shot``: why they may be copies of one."""
    readings = _readings(shots)
    capture = Capture.SAME_SETUP if stated is Capture.LOCKED and not_locked(shots) else stated
    few = [n for n, found in readings.items() if len(found) < REPEATS]
    stopped = stopped_words(shots)
    if len(few) == len(readings):
        raise CompareError(
            f"too few photos: needed {REPEATS} of each of {HUES} swatches of different hue, each "
            f"set up anew, and {in_photos(shots, few)}: take more{_dot(stopped)}"
        )
    taught = {n: found for n, found in readings.items() if n not in few}
    try:
        own = own_frame([np.array([c.lab for c in found]) for found in taught.values()], capture)
    except CompareError as error:
        there = f"; {in_photos(shots, few)} of the photos, needed {REPEATS}" if few else ""
        raise CompareError(f"{error}{there}{_dot(stopped)}") from None
    left_out = _left_out_words(shots, few, taught.keys())
    shots = [s for s in shots if s.colours.keys() & taught.keys()]
    typical = _typical(taught)
    conditions = Conditions(capture, 2.0, k_l, typical.light, True, own)
    return Learned(
        own,
        tuple(taught),
        tuple(s.sha256 for s in shots),
        math.nan if one_shot else smallest_tolerance(typical, conditions),
        smallest_tolerance(typical, replace(conditions, own_frame=None)),
        k_l,
        one_shot,
        (*left_out, *weak_words(shots, stated)),
        frozenset().union(*(c.flags for found in taught.values() for c in found)),
    )


def _left_out_words(
    shots: Sequence[Shot], few: Sequence[str], taught: Collection[str]
) -> list[str]:
    """What is left out, in sentences: swatches in too few photos, photos without those that are
    learned from, what no lot is judged on."""
    lines = []
    if few:
        lines.append(f"Left out, for needed are {REPEATS} photos: {in_photos(shots, few)}.")
    bare = [s.name for s in shots if not s.colours.keys() & set(taught)]
    if bare:
        shows = "it shows" if len(bare) == 1 else "they show"
        lines.append(f"Not counted, for {shows} none of these swatches: {listed(bare)}.")
    stopped = stopped_words(shots)
    return [*lines, stopped] if stopped else lines


def _dot(sentence: str) -> str:
    """A sentence that ends an error: without its stop."""
    return f". {sentence.removesuffix('.')}" if sentence else ""


def _readings(shots: Sequence[Shot]) -> dict[str, list[Colour]]:
    """What the photos say of each swatch, by name."""
    names = sorted({name for s in shots for name in s.colours})
    return {n: [s.colours[n] for s in shots if n in s.colours] for n in names}


def _typical(taught: Mapping[str, Sequence[Colour]]) -> Colour:
    """The first swatch's colour with the mean doubt of all regions, the least good reference, and a
    light that all photos say; the order of photos does not matter."""
    readings = [c for found in taught.values() for c in found]
    one, whole = mean_of_photos(next(iter(taught.values()))), mean_of_photos(readings)
    return replace(
        one,
        region_cov=np.mean([c.region_cov for c in readings], axis=0),
        frame_cov=np.mean([c.frame_cov for c in readings], axis=0),
        n_photos=1.0,
        reference=whole.reference,
        light=whole.light,
        flags=frozenset(),
    )


def smallest_tolerance(typical: Colour, conditions: Conditions) -> float:
    """The least T in steps of 0.05, up to 20, at which u(T) <= T / 3; NaN if there is none."""
    doubt = pair_doubt(typical, typical, conditions)
    for tolerance in np.arange(0.05, 20.0, 0.05):
        if doubt.u(float(tolerance)) <= GATE_WITHIN * tolerance:
            return round(float(tolerance), 2)
    return math.nan


def words(learned: Learned) -> list[str]:
    """What was learned, in sentences."""
    capture = learned.own.capture.value
    lines = [
        f"{len(learned.photos)} photos of {len(learned.swatches)} swatches, {capture}: two frames "
        f"differ by {learned.frame_sd:.2f} per axis (standard deviation, kL = 1).",
    ]
    if learned.one_shot:
        lines.append(
            f"They look like copies of one shot: {'; '.join(learned.one_shot)}. Such photos say "
            "nothing of setting up anew, so nothing is certified: set everything up anew before "
            "each photo."
        )
        return lines
    if math.isnan(learned.smallest_tolerance):
        told = not math.isnan(learned.default_tolerance)
        mend = "see why the photos differ so much" if told else "use a better reference"
        lines.append(f"No tolerance under 20 can be certified like this: {mend}.")
    else:
        lines.append(
            f"It can call a lot of the same dyes within a tolerance of "
            f"{learned.smallest_tolerance:g} or more at kL = {learned.k_l:g}; without what was "
            f"learned it would be {learned.default_tolerance:g}."
        )
    lines.append(
        "The doubt is never taken below the default of its class: a few swatches' repeats say too "
        "little of other colours."
    )
    return lines


def kept_words(record: Mapping[str, Any] | None) -> list[str]:
    """What counts for a set-up, in sentences; ``None``: nothing was learned of it."""
    if record is None:
        return ["Nothing is learned of it: its photos have the doubt that is usual for their kind."]
    learned = from_record(record)
    if learned.photos:
        return words(learned)
    capture = learned.own.capture.value
    return [f"{capture}: two frames differ by {learned.frame_sd:.2f} per axis (kL = 1)."]


def _known(value: float) -> float | None:
    return None if math.isnan(value) else value
