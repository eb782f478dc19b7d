"""Photos with notes of what they show, measured and filed in an archive, one after the other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ingest.model import Light, PhotoMeasurement, Settings
from swatchvault.archive import (
    Applied,
    Archive,
    FiledPhoto,
    PhotoFacts,
    RegionNote,
    RegionOf,
    file_photo,
)
from swatchvault.batch import Job, Outcome, measure_many
from swatchvault.errors import ArchiveError, SwatchvaultError


@dataclass(frozen=True, eq=False)
class Filing:
    """What became of one photo: filed, or the one line that says why not."""

    photo: Path
    filed: FiledPhoto | None
    measurement: PhotoMeasurement | None = None
    error: str | None = None

    @property
    def words(self) -> str:
        """In a few words, for the person who added it."""
        if self.filed is None:
            return self.error or "not filed"
        name = self.photo.name
        if self.filed.new:
            return f"{name}: filed, {_swatches(self.filed.measured)}"
        if self.filed.measured:
            return f"{name}: was there; measured anew, {_swatches(self.filed.measured)}"
        return f"{name}: was there already, nothing changed"


def file_photos(
    archive: Archive,
    applied: Applied,
    folder: Path,
    *,
    settings: Settings | None = None,
    workers: int | None = None,
) -> Iterator[Filing]:
    """Measure and file every photo that the notes name, in order; a bad one is told and passed.

    ``folder``: where the photos' names are relative to. Each photo is one short transaction
    after it was measured.
    """
    by_photo: dict[str, list[RegionNote]] = {}
    for region in applied.regions:
        by_photo.setdefault(region.photo, []).append(region)
    jobs = [
        Job(folder / name, settings=_settings(regions, settings or Settings()))
        for name, regions in by_photo.items()
    ]
    outcomes = measure_many(jobs, workers)
    for regions, outcome in zip(by_photo.values(), outcomes, strict=True):
        yield _file(archive, regions, outcome)


def _file(archive: Archive, regions: Sequence[RegionNote], outcome: Outcome) -> Filing:
    path, found = outcome.job.path, outcome.measurement
    if found is None:
        return Filing(path, None, error=outcome.error)
    try:
        shown = [_resolve(region, found) for region in regions]
        first = regions[0]
        note = "; ".join(dict.fromkeys(r.note for r in regions if r.note)) or None
        facts = PhotoFacts(first.setup_id, outcome.job.settings.light, note)
        return Filing(path, file_photo(archive, found, path, shown, facts), found)
    except SwatchvaultError as error:
        line = " ".join(str(error).split())
        return Filing(path, None, error=line if path.name in line else f"{path.name}: {line}")


def _resolve(region: RegionNote, found: PhotoMeasurement) -> RegionOf:
    names = [s.name for s in found.swatches]
    if region.region is not None:
        name = region.region
    elif len(names) == 1:
        name = names[0]
    else:
        have = ", ".join(names) or "none"
        raise ArchiveError(
            f"{region.where or Path(found.path).name}: no region is named, and the photo has "
            f"{len(names)} swatches ({have}); name one"
        )
    return RegionOf(name, region.swatch_id, region.dry)


def _settings(regions: Sequence[RegionNote], settings: Settings) -> Settings:
    lights = {r.light for r in regions if r.light is not None}
    if not lights:
        return settings
    light: Light = "daylight" if lights == {"daylight"} else "other"
    return replace(settings, light=light)


def _swatches(count: int) -> str:
    return "one swatch" if count == 1 else f"{count} swatches"
