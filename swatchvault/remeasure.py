"""Stored photos measured anew after the method's version changed. The old figures are kept.

As when photos are added: many workers measure, one writer files, each photo in one short
transaction; so it may be stopped at any moment and run again.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ingest.colour import D50, D65, bradford, lab_to_xyz, xyz_to_lab
from ingest.model import Lab, Light, Settings
from swatchvault.archive import Archive, PhotoFacts, record_photo, reference_of_setup, transaction
from swatchvault.archive.again import StoredPhoto, layout_is_current, stored_photos
from swatchvault.batch import Job, Outcome, measure_many
from swatchvault.errors import ArchiveError, SwatchvaultError
from swatchvault.filing import with_owned

#: Reflectance and Lab of a reference's record are rounded; nearer than this they say the same. Our
#: choice.
ROUNDED = 2e-3


#: Of a photo that cannot be measured anew, whose figures stay as they were.
GONE = (
    "the archive's copy is gone, so its figures stay as they were: add the photo again from where "
    "it came, or let it count nowhere (`swatchvault aside`)"
)


@dataclass(frozen=True)
class Anew:
    """What became of one photo: how many new figures it gave, or the line that says why none."""

    name: str
    measured: int = 0
    error: str | None = None

    @property
    def words(self) -> str:
        """In a few words."""
        if self.error is not None:
            return self.error
        if not self.measured:
            return f"{self.name}: measured anew, the same figures"
        count = "one swatch" if self.measured == 1 else f"{self.measured} swatches"
        return f"{self.name}: measured anew, {count}"


def out_of_date(
    archive: Archive, names: Sequence[str] = (), *, again: bool = False
) -> list[StoredPhoto]:
    """Photos whose measurement is by another version of the method than this program's."""
    from ingest.pipeline import METHOD_VERSION
    from ingest.tonality import METHOD

    return stored_photos(
        archive.conn, version=METHOD_VERSION, evenness=METHOD, names=names, again=again
    )


def measure_anew(
    archive: Archive, photos: Sequence[StoredPhoto], *, workers: int | None = None
) -> Iterator[Anew]:
    """Measure these photos, in order; new rows supersede the old, a bad photo is told and passed.

    Where things are in them, their light and their references stay as they were.
    """
    jobs = [job_of(archive, photo) for photo in photos]
    for photo, outcome in zip(photos, measure_many(jobs, workers), strict=True):
        yield _file(archive, photo, outcome)


def job_of(archive: Archive, photo: StoredPhoto) -> Job:
    """A stored photo to be measured as it was before."""
    settings = settings_of(archive, photo)
    return Job(archive.photos / photo.file, layout=photo.layout, settings=settings)


def _file(archive: Archive, photo: StoredPhoto, outcome: Outcome) -> Anew:
    found = outcome.measurement
    if found is None and not outcome.job.path.is_file():
        return Anew(photo.name, error=f"{photo.name}: {GONE}")
    if found is None:
        said = (outcome.error or "not measured").removeprefix(f"{photo.file}: ")
        return Anew(photo.name, error=f"{photo.name}: {said}")
    try:
        if found.sha256 != photo.sha256:
            raise ArchiveError("the archive's copy was altered: run `swatchvault verify`")
        with transaction(archive.conn):
            if not layout_is_current(archive.conn, photo.layout_id):
                raise ArchiveError("its marks were changed meanwhile: run remeasure again")
            filed = record_photo(
                archive, found, outcome.job.path, photo.regions, PhotoFacts(), photo.bytes
            )
        return Anew(photo.name, filed.measured)
    except SwatchvaultError as error:
        return Anew(photo.name, error=f"{photo.name}: {' '.join(str(error).split())}")


def settings_of(archive: Archive, photo: StoredPhoto) -> Settings:
    """The settings that a stored photo was measured with, as far as they are kept."""
    light: Light | None = None
    if photo.light is not None:
        light = "daylight" if photo.light == "daylight" else "other"
    settings = Settings(light=light, allow_uncorrected=photo.reference == "none", search=False)
    owned = reference_of_setup(archive.conn, photo.setup_id)
    if owned is not None:
        settings = with_owned(settings, owned)
    for record in photo.references:
        settings = _with_stated(settings, record)
    return settings


def _with_stated(settings: Settings, record: dict[str, object]) -> Settings:
    """Settings with what a reference was stated to be when it was last read.

    A value that a person gave with the photo and not in its marks is kept nowhere else.
    """
    if record["kind"] == "chart24" and settings.chart_edition is None:
        edition = record.get("edition")
        return settings if edition is None else replace(settings, chart_edition=str(edition))
    stated = record.get("expected_lab")
    if stated is None:  # as it was stored at first, patch by patch
        stated = [p["expected_lab"] for p in record.get("patches") or ()]  # type: ignore[attr-defined]
    if not stated:
        return settings
    xyz = lab_to_xyz(np.array(stated, dtype=float))
    if record["kind"] == "steps" and settings.steps_y is None:
        return replace(settings, steps_y=tuple(float(y) for y in xyz[:, 1]))
    if record["kind"] == "card" and "card" not in settings.of_setup:
        return _with_card(settings, xyz[0])
    return settings


def _with_card(settings: Settings, xyz: np.ndarray) -> Settings:
    if np.allclose(xyz, settings.card_y * D65, atol=ROUNDED * settings.card_y):
        return settings
    if np.allclose(xyz, xyz[1] * D65, atol=ROUNDED * xyz[1]):
        return replace(settings, card_y=float(xyz[1]))
    lightness, a, b = xyz_to_lab(xyz @ bradford(D65, D50).T, D50)
    card: Lab = (float(lightness), float(a), float(b))
    return replace(settings, card_lab_d50=card)
