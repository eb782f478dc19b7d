"""Repeat photos, each set up anew: what they show, whether they go together, what weakens them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ingest.colour import delta_e_2000
from ingest.model import FLAGS_THAT_STOP_A_VERDICT, Light, PhotoMeasurement
from swatchvault.copies import View, of_one_shot, view_of, why_one
from swatchvault.errors import CompareError
from swatchvault.pair import (
    Capture,
    Colour,
    Greys,
    grey_table,
    greys_differ,
    mean_of_photos,
)
from swatchvault.words import listed

#: Log of linear RGB of the mid grey: where all photos agree so nearly, they are one photo. Our
#: choice.
SAME_GREYS = 0.001
#: ΔE00 from the median of what all photos show of a swatch beyond which one reading is told: at
#: least so many, and so many times the median of all. Our choice: forty rendered photos, ten with
#: settings free, lie within 2.2; two names taken for each other are as far off as their swatches.
STANDS_OUT, STANDS_OUT_TIMES = 10.0, 5.0
#: How many photos or readings are named; our choice.
_NAMED = 3


@dataclass(frozen=True, eq=False)
class Shot:
    """One repeat photo: the colour of each swatch in it, by the swatch's name.

    ``greys``: of its reference, as :class:`Colour` has them. ``version``: of the
    method that measured it. ``view``: its picture as copies are told by, ``None`` where unknown.
    ``stopped``: flags for which swatches of it are left out, since no lot is judged on them.
    """

    name: str
    sha256: str
    version: str
    taken_at: str | None
    greys: Greys | None
    colours: Mapping[str, Colour]
    view: View | None = None
    stopped: frozenset[str] = frozenset()


def shot_of(photo: PhotoMeasurement, light: Light | None = None) -> Shot:
    """A photo as it was just measured; ``light``: what is said of it."""
    seen: dict[str, list[Colour]] = {}
    stopped: set[str] = set()
    for swatch in photo.swatches:
        stops = swatch.flags & FLAGS_THAT_STOP_A_VERDICT
        stopped |= stops
        if stops:
            continue
        seen.setdefault(swatch.name, []).append(Colour.from_measurement(swatch, light=light))
    colours = {name: mean_of_photos(places) for name, places in seen.items()}
    known = (photo.sha256, photo.version, photo.taken_at, photo.greys, colours)
    return Shot(Path(photo.path).name, *known, view_of(photo.preview), frozenset(stopped))


def check_shots(shots: Sequence[Shot]) -> None:
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
        why = stopped_words(shots)
        raise CompareError(
            f"no swatch that can be judged on stands in the photos. {why}"
            if why
            else "no swatch stands in the photos; give the swatches the same names"
        )


def one_shots(shots: Sequence[Shot]) -> tuple[list[Shot], tuple[str, ...]]:
    """One photo of each shot, and why others are of the same, a phrase for each shot."""
    groups = of_one_shot([s.view for s in shots], [s.taken_at for s in shots])
    several = [[shots[i] for i in group] for group in groups if len(group) > 1]
    why = [why_one([s.name for s in same], [s.taken_at for s in same]) for same in several]
    return [shots[group[0]] for group in groups], tuple(why)


def greys_alike(shots: Sequence[Shot]) -> tuple[str, ...]:
    """Why all photos may be of one shot: greys that agree in all of them to :data:`SAME_GREYS`."""
    mid = [s.greys[0] for s in shots if s.greys is not None]
    known = [grey for grey in mid if grey is not None and min(grey) > 0]
    if len(known) < len(shots) or len(shots) < 2:
        return ()
    logs = np.log(np.asarray(known, dtype=float))
    if float(np.ptp(logs, axis=0).max()) >= SAME_GREYS:
        return ()
    return ("their greys agree to a thousandth, and light and hands never do",)


def in_photos(shots: Sequence[Shot], swatches: Sequence[str]) -> str:
    """In how many of the photos each swatch is, and in which not where these are few."""
    told = []
    for swatch in swatches:
        without = [s.name for s in shots if swatch not in s.colours]
        not_in = f" (not in {listed(without)})" if 0 < len(without) <= _NAMED else ""
        told.append(f"{swatch!r} is in {len(shots) - len(without)}{not_in}")
    return listed(told)


def stopped_words(shots: Sequence[Shot]) -> str:
    """A sentence on what is left out since no lot is judged on it; "" where nothing is."""
    photos = Counter(flag for s in shots for flag in s.stopped)
    if not photos:
        return ""
    told = [f"{flag} ({count})" for flag, count in sorted(photos.items())]
    return f"Left out, for no lot is judged on it, in so many photos: {', '.join(told)}."


def not_locked(shots: Sequence[Shot]) -> list[Shot]:
    """Those whose greys differ more than locked settings let them from those of the photo that
    agrees with most."""
    known = [s for s in shots if s.greys is not None]
    if not known:
        return []
    each = grey_table([s.greys for s in known])
    differ = greys_differ(each[:, None], each)
    from_most = differ[int(differ.sum(axis=1).argmin())]
    return [s for s, apart in zip(known, from_most, strict=True) if apart]


def weak_words(shots: Sequence[Shot], stated: Capture) -> list[str]:
    """What weakens what photos teach, in sentences: what is unknown of them, greys that differ, and
    swatches that look like another. ``stated``: how they are said to have been taken."""
    lines = []
    unseen = sum(s.view is None for s in shots)
    if unseen:
        lines.append(
            f"The picture of {unseen} of the photos shows nothing to know copies by: they are told "
            "by their times and greys alone."
        )
    unknown = sum(s.greys is None for s in shots)
    if stated is Capture.LOCKED and unknown:
        lines.append(
            f"The grey of {unknown} of the photos is not known, so nor is whether their settings "
            "were locked."
        )
    apart = not_locked(shots) if stated is Capture.LOCKED else []
    if apart:
        lines.append(
            f"The greys of {len(apart)} of the photos differ more than locked settings let them "
            f"({listed([s.name for s in apart], _NAMED)}): as in lot checks, the photos count as "
            "taken with settings free."
        )
    return [*lines, *_standing_out(shots)]


def _standing_out(shots: Sequence[Shot]) -> list[str]:
    """Swatches that in a photo are far from what the others show of them, each in a sentence."""
    names = sorted({name for s in shots for name in s.colours})
    labs = {n: [s.colours[n].lab for s in shots if n in s.colours] for n in names}
    middle = {n: np.median(found, axis=0) for n, found in labs.items()}
    far = {
        (s.name, n): float(delta_e_2000(middle[n], c.lab))
        for s in shots
        for n, c in s.colours.items()
    }
    least = max(STANDS_OUT, STANDS_OUT_TIMES * float(np.median(list(far.values()))))
    found = sorted(((d, *where) for where, d in far.items() if d > least), reverse=True)
    lines = [
        f"In {photo} {swatch!r} lies {d:.0f} ΔE00 from what the photos mostly show of it: see "
        "whether it is marked and named rightly there."
        for d, photo, swatch in found[:_NAMED]
    ]
    more = len(found) - len(lines)
    return [*lines, f"So do {more} more."] if more > 0 else lines
