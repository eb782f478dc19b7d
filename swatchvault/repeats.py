"""What repeat photos teach: the dyer's own frame part, and the tolerance it can certify. Pure."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from ingest.model import Light, PhotoMeasurement
from swatchvault.copies import View, of_one_shot, view_of, why_one
from swatchvault.difference import GATE_WITHIN
from swatchvault.errors import CompareError
from swatchvault.pair import (
    HUES,
    REPEATS,
    Capture,
    Colour,
    Conditions,
    Greys,
    OwnFrame,
    grey_table,
    greys_differ,
    mean_of_photos,
    own_frame,
)
from swatchvault.pairdoubt import pair_doubt
from swatchvault.words import listed

#: Log of linear RGB of the mid grey: where all photos agree so nearly, they are one photo. Our
#: choice.
SAME_GREYS = 0.001
_FIGURES = ("smallest_tolerance", "default_smallest_tolerance", "k_l")


@dataclass(frozen=True, eq=False)
class Learned:
    """``own``: the frame part. ``swatches``: their names. ``photos``: their sha256.

    ``smallest_tolerance``: the least T at which a lot of the same dyes could be called within,
    with the doubt of the region as the repeats had it; NaN where none under 20 can, or where
    ``one_shot`` says why the photos may be copies of one: then nothing was learned.
    ``to_be_said``: what else weakens it, in sentences; not kept.
    """

    own: OwnFrame
    swatches: tuple[str, ...]
    photos: tuple[str, ...]
    smallest_tolerance: float
    default_tolerance: float
    k_l: float
    one_shot: tuple[str, ...] = ()
    to_be_said: tuple[str, ...] = ()

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


@dataclass(frozen=True, eq=False)
class Shot:
    """One repeat photo: the colour of each swatch in it, by the swatch's name.

    ``greys``: of its reference, as :class:`Colour` has them. ``version``: of the
    method that measured it. ``view``: its picture as copies are told by, ``None`` where unknown.
    """

    name: str
    sha256: str
    version: str
    taken_at: str | None
    greys: Greys | None
    colours: Mapping[str, Colour]
    view: View | None = None


def shot_of(photo: PhotoMeasurement, light: Light | None = None) -> Shot:
    """A photo as it was just measured; ``light``: what is said of it."""
    seen: dict[str, list[Colour]] = {}
    for swatch in photo.swatches:
        seen.setdefault(swatch.name, []).append(Colour.from_measurement(swatch, light=light))
    colours = {name: mean_of_photos(places) for name, places in seen.items()}
    known = (photo.sha256, photo.version, photo.taken_at, photo.greys, colours)
    return Shot(Path(photo.path).name, *known, view_of(photo.preview))


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
    _check(shots)
    ones, copies = _one_shots(shots)
    if not copies:
        return _learn(shots, capture, k_l, _greys_alike(shots))
    try:
        learned = _learn(ones, capture, k_l, _greys_alike(ones))
    except CompareError:  # too few are left
        return _learn(shots, capture, k_l, copies)
    once = f"Counted as one photo each: {'; '.join(copies)}."
    return replace(learned, to_be_said=(once, *learned.to_be_said))


def _learn(
    shots: Sequence[Shot], capture: Capture, k_l: float, one_shot: tuple[str, ...]
) -> Learned:
    """What photos teach; ``one_shot``: why they may be copies of one."""
    readings = _readings(shots)
    few = {n: len(found) for n, found in readings.items() if len(found) < REPEATS}
    if len(few) == len(readings):
        raise CompareError(
            f"too few photos: needed {REPEATS} of each of {HUES} swatches of different hue, each "
            f"set up anew, and {_in_photos(few)}: take more"
        )
    taught = {n: found for n, found in readings.items() if n not in few}
    try:
        own = own_frame([np.array([c.lab for c in found]) for found in taught.values()], capture)
    except CompareError as error:
        too_few = f"; {_in_photos(few)} of the photos, needed {REPEATS}" if few else ""
        raise CompareError(f"{error}{too_few}") from None
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
        _to_be_said(shots, capture, few),
    )


def _check(shots: Sequence[Shot]) -> None:
    """Raises :class:`CompareError` for photos that do not go together."""
    if len({s.sha256 for s in shots}) < len(shots):
        raise CompareError("the same photo is given twice; each repeat is a new photo, set up anew")
    versions = sorted({s.version for s in shots})
    if len(versions) > 1:
        raise CompareError(
            f"the photos were measured by versions {' and '.join(versions)} of the method, and "
            "figures of two versions are never set against each other: measure them anew"
        )
    if not any(s.colours for s in shots):
        raise CompareError("no swatch stands in the photos; give the swatches the same names")


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


def _in_photos(counts: Mapping[str, int]) -> str:
    return listed([f"{name!r} is in {count}" for name, count in counts.items()])


def _to_be_said(shots: Sequence[Shot], capture: Capture, few: Mapping[str, int]) -> tuple[str, ...]:
    """What weakens the answer: swatches left out, what is unknown of photos, greys that differ."""
    lines = []
    if few:
        lines.append(f"Left out, for needed are {REPEATS} photos: {_in_photos(few)}.")
    unseen = sum(s.view is None for s in shots)
    if unseen:
        lines.append(
            f"The picture of {unseen} of the photos shows nothing to know copies by: they are told "
            "by their times and greys alone."
        )
    greys = [s.greys for s in shots if s.greys is not None]
    if capture is Capture.LOCKED and len(greys) < len(shots):
        lines.append(
            f"The grey of {len(shots) - len(greys)} of the photos is not known, so nor is whether "
            "their settings were locked."
        )
    if capture is Capture.LOCKED and greys:
        each = grey_table(greys)
        of_most = greys_differ(each[:, None], each).sum(axis=1) > len(each) / 2.0
        apart = int(of_most.sum())
        if apart:
            lines.append(
                f"The grey of {apart} of the photos differs more than locked settings let it: in "
                "lot checks such photos count as taken with settings free."
            )
    return tuple(lines)


def _one_shots(shots: Sequence[Shot]) -> tuple[list[Shot], tuple[str, ...]]:
    """One photo of each shot, and why others are of the same, a phrase for each shot."""
    groups = of_one_shot([s.view for s in shots], [s.taken_at for s in shots])
    several = [[shots[i] for i in group] for group in groups if len(group) > 1]
    why = [why_one([s.name for s in same], [s.taken_at for s in same]) for same in several]
    return [shots[group[0]] for group in groups], tuple(why)


def _greys_alike(shots: Sequence[Shot]) -> tuple[str, ...]:
    """Why all photos may be of one shot: greys that agree in all of them to :data:`SAME_GREYS`."""
    mid = [s.greys[0] for s in shots if s.greys is not None]
    known = [grey for grey in mid if grey is not None and min(grey) > 0]
    if len(known) < len(shots) or len(shots) < 2:
        return ()
    logs = np.log(np.asarray(known, dtype=float))
    if float(np.ptp(logs, axis=0).max()) >= SAME_GREYS:
        return ()
    return ("their greys agree to a thousandth, and light and hands never do",)


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
        lines.append("No tolerance under 20 can be certified like this: use a better reference.")
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
