"""Repeat photos that are filed in the archive: which of them can teach, and what they teach."""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ingest.model import FLAGS_THAT_STOP_A_VERDICT, Light
from swatchvault.archive import Archive, StoredColour, add_repeat_set, colours
from swatchvault.archive.again import stored_photos
from swatchvault.archive.entities import Setup
from swatchvault.archive.names import find
from swatchvault.archive.repeat_sets import filed_among
from swatchvault.batch import Job, measure_many
from swatchvault.copies import View, view_of
from swatchvault.errors import CompareError
from swatchvault.lotcheck import as_colour
from swatchvault.pair import HUES, REPEATS, Capture, mean_of_photos
from swatchvault.repeat_shots import Shot, shot_of
from swatchvault.repeats import Learned, learn

#: Why what a photo says of a swatch teaches nothing here.
EARLY, DAMP = "from before the last dye went in", "of damp yarn"
STOPPED, ONCE = "on which no lot is judged", "of swatches that stand in one photo alone"


@dataclass(frozen=True, eq=False)
class FiledShot:
    """A filed photo whose swatches stand in others of its set-up too, and what it says of them."""

    colours: tuple[StoredColour, ...]

    @property
    def first(self) -> StoredColour:
        """By which all that is the photo's own can be asked."""
        return self.colours[0]

    @property
    def sha256(self) -> str:
        return self.first.photo_sha256

    @property
    def swatches(self) -> tuple[str, ...]:
        """Their labels, each once."""
        return tuple(dict.fromkeys(c.swatch for c in self.colours))

    def shot(self, thumbs: Path) -> Shot:
        """The photo as it was filed, its picture from the folder of thumbs; two places of one
        swatch are one reading."""
        one = self.first
        seen = {
            name: mean_of_photos([as_colour(c) for c in self.colours if c.swatch == name])
            for name in self.swatches
        }
        known = (self.sha256, one.version, one.taken_at, one.greys, seen)
        return Shot(one.photo, *known, _view_of_file(thumbs / f"{self.sha256}.jpg"))


@dataclass(frozen=True, eq=False)
class FiledRepeats:
    """The photos of a set-up that can teach, newest first. ``left_out``: how many measurements
    cannot, by why."""

    shots: tuple[FiledShot, ...]
    left_out: dict[str, int]

    @property
    def swatches(self) -> dict[str, int]:
        """In how many of the photos each swatch is, those in most first."""
        return dict(Counter(name for s in self.shots for name in s.swatches).most_common())

    @property
    def left_out_words(self) -> str:
        """A sentence, or "" where nothing is left out."""
        told = [f"{count} {why}" for why, count in self.left_out.items()]
        return f"Measurements that do not count here: {', '.join(told)}." if told else ""

    def chosen(self, photos: Collection[str]) -> FiledRepeats:
        """Those of these sha256 alone."""
        return FiledRepeats(tuple(s for s in self.shots if s.sha256 in photos), self.left_out)


def filed_repeats(conn: sqlite3.Connection, setup_id: int) -> FiledRepeats:
    """The photos of a set-up with a swatch that stands in another of them too.

    What was set aside, was measured damp or from before the last dye, or is flagged so that no lot
    is judged on it, does not count.
    """
    counted: list[StoredColour] = []
    left_out: Counter[str] = Counter()
    for stored in colours(conn, setup_id=setup_id):
        why = _why_not(stored)
        if why:
            left_out[why] += 1
        else:
            counted.append(stored)
    photos_of = Counter(swatch for swatch, _ in {(c.swatch_id, c.photo_sha256) for c in counted})
    by_photo: dict[str, list[StoredColour]] = {}
    for stored in counted:
        if photos_of[stored.swatch_id] > 1:
            by_photo.setdefault(stored.photo_sha256, []).append(stored)
        else:
            left_out[ONCE] += 1
    shots = [FiledShot(tuple(found)) for found in reversed(by_photo.values())]
    return FiledRepeats(tuple(shots), dict(left_out))


def _why_not(stored: StoredColour) -> str:
    if stored.before_last_dye:
        return EARLY
    if stored.damp:
        return DAMP
    return STOPPED if stored.flags & FLAGS_THAT_STOP_A_VERDICT else ""


@dataclass(frozen=True, eq=False)
class Lesson:
    """What is to be learned from: photos as they were filed, and others to be measured for it.
    ``thumbs``: the archive's folder of small pictures."""

    thumbs: Path
    filed: tuple[FiledShot, ...]
    anew: tuple[tuple[FiledShot, Job], ...]


def lesson_of(archive: Archive, repeats: FiledRepeats) -> Lesson:
    """How to learn from these photos: as they were filed where one version of the method measured
    all and every grey is kept; else those that lack it are measured anew from their originals."""
    from ingest.pipeline import METHOD_VERSION
    from swatchvault.remeasure import job_of

    alike = len({s.first.version for s in repeats.shots}) == 1
    if alike and all(s.first.greys is not None for s in repeats.shots):
        return Lesson(archive.thumbs, repeats.shots, ())
    lacking = {
        s.sha256: s
        for s in repeats.shots
        if s.first.version != METHOD_VERSION or s.first.greys is None
    }
    if not lacking:
        return Lesson(archive.thumbs, repeats.shots, ())
    stored = stored_photos(
        archive.conn, version=METHOD_VERSION, evenness="", names=tuple(lacking), again=True
    )
    anew = tuple((lacking[p.sha256], job_of(archive, p)) for p in stored)
    as_filed = tuple(s for s in repeats.shots if s.sha256 not in lacking)
    return Lesson(archive.thumbs, as_filed, anew)


def learn_filed(lesson: Lesson, capture: Capture, workers: int | None = None) -> Learned:
    """What these photos teach; slow where some are measured anew. Nothing is filed.

    Raises :class:`CompareError` as :func:`learn` does, and where an original cannot be measured.
    """
    if not lesson.filed and not lesson.anew:
        raise CompareError(
            f"no photos to learn from: needed {REPEATS} of each of {HUES} swatches of different "
            "hue, filed with this set-up, and everything set up anew before each"
        )
    shots = [s.shot(lesson.thumbs) for s in lesson.filed]
    outcomes = measure_many([job for _, job in lesson.anew], workers)
    for (filed, job), outcome in zip(lesson.anew, outcomes, strict=True):
        found = outcome.measurement
        if found is None:
            raise CompareError(f"{outcome.error or job.path.name}: leave this photo out")
        if found.sha256 != filed.sha256:
            raise CompareError(f"{job.path.name} was altered: run `swatchvault verify`")
        light: Light | None = "daylight" if filed.first.light == "daylight" else None
        if filed.first.light not in (None, "daylight"):
            light = "other"
        label = {c.region: c.swatch for c in filed.colours}
        regions = tuple(replace(s, name=label[s.name]) for s in found.swatches if s.name in label)
        taken = replace(found, path=filed.first.photo, swatches=regions)
        shots.append(shot_of(taken, light))
    learned = learn(shots, capture)
    return replace(learned, to_be_said=(*_measured_words(lesson), *learned.to_be_said))


def _view_of_file(path: Path) -> View | None:
    """The view of a stored small picture; ``None`` where the file is not there or is damaged."""
    from PIL import Image

    try:
        with Image.open(path) as picture:
            return view_of(np.asarray(picture.convert("RGB")))
    except (OSError, SyntaxError, ValueError):
        return None


def _measured_words(lesson: Lesson) -> tuple[str, ...]:
    count = len(lesson.anew)
    if not count:
        return ()
    which = "1 of the photos was" if count == 1 else f"{count} of the photos were"
    return (
        f"{which} measured anew for this from the stored original, since another version of the "
        "method had measured it or its grey is not kept; what is filed stays.",
    )


def lock_words(setup: Setup, capture: Capture) -> tuple[str, ...]:
    """What to know where a set-up is not told to be as its photos are said to have been taken."""
    if setup.locked and capture is Capture.SAME_SETUP:
        return (
            "The set-up is told to be locked: its lot checks use what locked photos teach, and not "
            "this. Put its lock right, or take the photos with settings locked.",
        )
    if not setup.locked and capture is Capture.LOCKED:
        return (
            "The set-up is not told to be locked: its lot checks take its photos as with settings "
            "free, with more doubt than is said here, until its lock is put right.",
        )
    return ()


def refuse_copies(setup: str, learned: Learned) -> None:
    """Raises :class:`CompareError` where the photos look like copies of one shot."""
    if learned.one_shot:
        raise CompareError(
            f"nothing is kept for the set-up {setup!r}: the photos look like copies of one shot "
            f"({'; '.join(learned.one_shot)}); set everything up anew before each photo"
        )


def keep_for_setup(conn: sqlite3.Connection, setup: str, learned: Learned) -> int:
    """Keep what was learned for a set-up, by its name; the number of the row.

    Raises :class:`CompareError` where the photos look like copies of one shot.
    """
    refuse_copies(setup, learned)
    setup_id, variance = find(conn, "setup", setup), learned.frame_sd**2
    filed = filed_among(conn, learned.photos)
    return add_repeat_set(conn, setup_id, filed, variance, learned.record())
