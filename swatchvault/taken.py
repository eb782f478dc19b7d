"""A photo that is looked for and not filed: how it was taken, and what that makes of it."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ingest.errors import PictureMirrored, ReferenceMissing
from ingest.model import Light, PhotoMeasurement, Settings
from swatchvault.archive.lookup import get_setup, light_of_setup, reference_of_setup
from swatchvault.archive.names import find
from swatchvault.archive.pages_photo import last_reference
from swatchvault.filing import with_owned

#: Said where a photo's colours rest on a reference and nobody told its light.
ANY_LIGHT = "± is that of any light, since none was told"
#: Said where no reference was found, and what steps reflect was known of none.
STEPS_NOT_SOUGHT = (
    "Neutral steps were not looked for: of none of yours the archive knows what they reflect."
)


@dataclass(frozen=True)
class Taken:
    """How a photo was taken. ``setup_id``, ``locked``: of its set-up, if one was named.

    ``tried``: the name of the steps that are looked for because they were used last, and not
    because a set-up or a person said so; else "".
    """

    settings: Settings
    setup_id: int | None = None
    locked: bool | None = None
    tried: str = ""

    @property
    def light(self) -> Light | None:
        return self.settings.light

    def notes(self, photo: PhotoMeasurement) -> tuple[str, ...]:
        """What is to be said of how the photo's reference was taken."""
        used = next((r.reference for r in photo.references if r.used), None)
        if used is None and self.settings.steps_y is None:
            return (STEPS_NOT_SOUGHT,)
        if used is None or not self.tried or used.kind != "steps" or used.located == "marks":
            return ()
        words = f"Its steps were taken for your {self.tried!r}, used last: name the set-up if not."
        return (words,)


def taken_with(
    conn: sqlite3.Connection,
    setup: str | None = None,
    light: Light | None = None,
    steps_y: Sequence[float] | None = None,
) -> Taken:
    """How a photo was taken, from what was told of it: its set-up by name, light, and steps.

    A set-up brings its light and its reference's values. Without one the steps are looked for that
    were used last. Raises ``NotFound`` for a set-up that is not there, and ``ArchiveError`` for
    steps that are not the set-up's.
    """
    told = Settings(light=light)
    if steps_y is not None:
        told = replace(told, steps_y=tuple(steps_y), told=frozenset({"steps"}))
    if setup:
        setup_id = find(conn, "setup", setup)
        known = get_setup(conn, setup)
        told = replace(told, light=light or light_of_setup(conn, setup_id))
        owned = reference_of_setup(conn, setup_id)
        settings = told if owned is None else with_owned(told, owned)
        return Taken(settings, setup_id, known.locked)
    last = last_reference(conn)
    if told.steps_y is None and last is not None and last.kind == "steps" and last.y is not None:
        return Taken(replace(told, steps_y=last.y), tried=last.name)
    return Taken(told)


def measure_taken(path: Path, taken: Taken) -> PhotoMeasurement:
    """The photo measured; where no reference is found its colours are the camera's own.

    Raises ``PictureMirrored`` where a chart is there that a mirrored picture hides.
    """
    from ingest.pipeline import measure_photo

    try:
        return measure_photo(path, settings=taken.settings)
    except PictureMirrored:
        raise
    except ReferenceMissing:
        return measure_photo(path, settings=replace(taken.settings, allow_uncorrected=True))
