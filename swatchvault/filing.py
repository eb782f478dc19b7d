"""Photos with notes of what they show, measured and filed in an archive, one after the other."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ingest.exif import clean_text
from ingest.model import Light, PhotoMeasurement, Settings
from swatchvault.archive import (
    Applied,
    Archive,
    FiledPhoto,
    OwnedReference,
    PhotoFacts,
    RegionNote,
    RegionOf,
    file_photo,
    reference_of_setup,
)
from swatchvault.archive.files import remove_abandoned
from swatchvault.batch import Job, Outcome, measure_many
from swatchvault.errors import ArchiveError, SwatchvaultError

#: A photo under this light is kept beside its swatch, shown, and never measured.
BLACK_LIGHT = "black light"
_NAME_SHOWN, _LINE_SHOWN = 120, 2000  # most characters of a name and of a line; our choice


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
        name = clean_text(self.photo.name, _NAME_SHOWN)  # a name may hold line ends and worse
        if self.measurement is not None and not self.measurement.swatches:
            return f"{name}: {'kept to be seen' if self.filed.new else 'was there already'}"
        if self.filed.new:
            return f"{name}: filed, {_swatches(self.filed.measured)}"
        if self.filed.measured:
            said = f"{name}: was there; measured anew, {_swatches(self.filed.measured)}"
            return said + _aside(self.filed.aside)
        return f"{name}: was there already, nothing changed"


def file_photos(
    archive: Archive,
    applied: Applied,
    folder: Path,
    *,
    settings: Settings | None = None,
    workers: int | str | None = None,
    relabel: bool = False,
) -> Iterator[Filing]:
    """Measure and file every photo that the notes name, in order; a bad one is told and passed.

    ``folder``: where the photos' names are relative to. Each photo is one short transaction
    after it was measured.
    """
    for place in (archive.photos, archive.thumbs):
        remove_abandoned(place)  # what a run that was stopped left half-written
    by_photo: dict[str, list[RegionNote]] = {}
    for region in applied.regions:
        by_photo.setdefault(region.photo, []).append(region)
    jobs = [
        Job(
            folder / name,
            settings=_settings(archive, regions, settings or Settings()),
            measured=all(r.light != BLACK_LIGHT for r in regions),
        )
        for name, regions in by_photo.items()
    ]
    outcomes = measure_many(jobs, workers)
    for regions, outcome in zip(by_photo.values(), outcomes, strict=True):
        yield _file(archive, regions, outcome, relabel)


def _file(
    archive: Archive, regions: Sequence[RegionNote], outcome: Outcome, relabel: bool
) -> Filing:
    path, found = outcome.job.path, outcome.measurement
    if found is None:
        return Filing(path, None, error=outcome.error)
    try:
        first = regions[0]
        note = "; ".join(dict.fromkeys(r.note for r in regions if r.note)) or None
        if not outcome.job.measured:
            seen = tuple(r.swatch_id for r in regions)
            facts = PhotoFacts(first.setup_id, BLACK_LIGHT, note, seen)
            return Filing(path, file_photo(archive, found, path, (), facts), found)
        light = outcome.job.settings.light
        facts = PhotoFacts(first.setup_id, light, note, relabel=relabel, carry=True)
        shown = [_resolve(region, found) for region in regions]
        return Filing(path, file_photo(archive, found, path, shown, facts), found)
    except SwatchvaultError as error:
        line, name = clean_text(str(error), _LINE_SHOWN), clean_text(path.name, _NAME_SHOWN)
        return Filing(path, None, error=line if name in line else f"{name}: {line}")


def _resolve(region: RegionNote, found: PhotoMeasurement) -> RegionOf:
    names = [s.name for s in found.swatches]
    if region.region is not None:
        name = region.region
    elif len(names) == 1:
        name = names[0]
    else:
        have = ", ".join(names) or "none"
        raise ArchiveError(
            f"{region.where or Path(found.path).name}: the photo has {len(names)} swatches "
            f"({have}); say which one is meant (--region, or the column region)"
        )
    return RegionOf(name, region.swatch_id, region.dry)


def _settings(archive: Archive, regions: Sequence[RegionNote], settings: Settings) -> Settings:
    """The settings for one photo: its light, and its set-up's own reference."""
    lights = {r.light for r in regions if r.light is not None}
    if lights:
        light: Light = "daylight" if lights == {"daylight"} else "other"
        settings = replace(settings, light=light)
    setups = {r.setup_id for r in regions} - {None}
    owned = reference_of_setup(archive.conn, setups.pop()) if len(setups) == 1 else None
    return settings if owned is None else with_owned(settings, owned)


def with_owned(settings: Settings, owned: OwnedReference) -> Settings:
    """Settings with the values of a reference that the dyer owns."""
    settings = replace(settings, value_delta_e=owned.tolerance_delta_e)
    if owned.kind == "chart24":
        return replace(settings, chart_lab_d50=owned.lab_d50, chart_edition=owned.edition)
    if owned.kind == "steps":
        return replace(settings, steps_y=owned.y)
    if owned.lab_d50 is not None:
        return replace(settings, card_lab_d50=owned.lab_d50[0])
    return settings if owned.y is None else replace(settings, card_y=owned.y[0])


def _aside(labels: Sequence[str]) -> str:
    """What a photo showed and no longer shows, as the marks now are."""
    if not labels:
        return ""
    named = ", ".join(labels)
    return (
        f"; it no longer measures {named}: no mark of it is left. Its old figures are kept, and "
        "count again if you mark it too and add the photo again"
    )


def _swatches(count: int) -> str:
    return "one swatch" if count == 1 else f"{count} swatches"
