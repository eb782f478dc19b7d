"""What repeat photos teach: the dyer's own frame part, and the tolerance it can certify. Pure."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ingest.model import Light, PhotoMeasurement
from swatchvault.difference import GATE_WITHIN
from swatchvault.errors import CompareError
from swatchvault.pair import Capture, Colour, Conditions, OwnFrame, own_frame
from swatchvault.pairdoubt import pair_doubt

#: Log of linear RGB of the mid grey: photos that agree so nearly are one photo. Our choice.
SAME_GREYS = 0.001
_FIGURES = ("smallest_tolerance", "default_smallest_tolerance", "k_l")


@dataclass(frozen=True, eq=False)
class Learned:
    """``own``: the frame part. ``swatches``: their names. ``photos``: their sha256.

    ``smallest_tolerance``: the least T at which a lot of the same dyes could be called within,
    with the doubt of the region as the repeats had it; NaN where none under 20 can, or where
    ``one_shot`` says why the photos may be copies of one: then nothing was learned.
    """

    own: OwnFrame
    swatches: tuple[str, ...]
    photos: tuple[str, ...]
    smallest_tolerance: float
    default_tolerance: float
    k_l: float
    one_shot: tuple[str, ...] = ()

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


def learn(
    photos: Sequence[PhotoMeasurement],
    capture: Capture,
    light: Light | None = None,
    k_l: float = 2.0,
) -> Learned:
    """Learn from photos of the same swatches, each set up anew.

    Swatches go together by name. Raises :class:`CompareError` for fewer than ten photos or four
    hues, and for the capture classes that repeats say nothing of.
    """
    if capture not in (Capture.LOCKED, Capture.SAME_SETUP):
        raise CompareError(
            f"repeats teach 'locked set-up' or 'same set-up', not '{capture.value}'; say which"
        )
    different = {p.sha256 for p in photos}
    if len(different) < len(photos):
        raise CompareError("the same photo is given twice; each repeat is a new photo, set up anew")
    common = set.intersection(*({s.name for s in p.swatches} for p in photos)) if photos else set()
    names = tuple(sorted(common))
    if not names:
        raise CompareError("no swatch stands in every photo; give the swatches the same names")
    readings = [[s for p in photos for s in p.swatches if s.name == name] for name in names]
    own = own_frame([np.array([s.lab for s in swatch]) for swatch in readings], capture)
    typical = Colour.from_measurement(readings[0][0], light=light)
    region = np.mean([s.covariance.region for swatch in readings for s in swatch], axis=0)
    typical = replace(typical, region_cov=region, flags=frozenset())
    conditions = Conditions(capture, 2.0, k_l, light, True, own)
    alike = one_shot(photos)
    return Learned(
        own,
        names,
        tuple(p.sha256 for p in photos),
        math.nan if alike else smallest_tolerance(typical, conditions),
        smallest_tolerance(typical, replace(conditions, own_frame=None)),
        k_l,
        alike,
    )


def one_shot(photos: Sequence[PhotoMeasurement]) -> tuple[str, ...]:
    """Why photos may be copies of one shot, a phrase each: bytes differ after any saving.

    Two that were taken in one second; greys that agree in all of them to :data:`SAME_GREYS`.
    """
    out = []
    times = Counter(p.taken_at for p in photos if p.taken_at)
    for when, count in times.items():
        if count > 1:
            out.append(f"{count} of them were taken in the same second ({when})")
    greys = [next((r.neutral for r in p.references if r.used), None) for p in photos]
    known = [g for g in greys if g is not None and min(g) > 0]
    if len(known) == len(photos) > 1:
        logs = np.log(np.asarray(known, dtype=float))
        if float(np.ptp(logs, axis=0).max()) < SAME_GREYS:
            out.append("their greys agree to a thousandth, and light and hands never do")
    return tuple(out)


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
