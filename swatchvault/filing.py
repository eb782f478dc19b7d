"""Photos with notes of what they show, measured and filed in an archive, one after the other."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import cast

from ingest.exif import clean_text
from ingest.expected import told_words, values_words
from ingest.model import Light, PhotoMeasurement, ReferenceKind, Settings
from swatchvault.archive import (
    Applied,
    Archive,
    FiledPhoto,
    Notes,
    OwnedReference,
    PhotoFacts,
    PhotoNote,
    RegionNote,
    RegionOf,
    apply_notes,
    file_photo,
    light_of_setup,
    reference_of_setup,
    transaction,
)
from swatchvault.archive.files import remove_abandoned
from swatchvault.batch import Job, Outcome, measure_many
from swatchvault.errors import ArchiveError, SwatchvaultError
from swatchvault.newnames import ask_about_new, refuse_other_day

#: A photo under this light is kept beside its swatch, shown, and never measured.
BLACK_LIGHT = "black light"
_NAME_SHOWN, _LINE_SHOWN = 120, 2000  # most characters of a name and of a line; our choice


@dataclass(frozen=True, eq=False)
class Filing:
    """What became of one photo: filed, or the one line that says why not. ``added``, ``changed``:
    things of the archive that were made and changed for it alone."""

    photo: Path
    filed: FiledPhoto | None
    measurement: PhotoMeasurement | None = None
    error: str | None = None
    added: int = 0
    changed: int = 0

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
            return said + _aside(self.filed.aside) + _set_aside(self.filed)
        return f"{name}: was there already, nothing changed" + _set_aside(self.filed)


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
    _tidy(archive)
    by_photo = _by_photo(applied)
    outcomes = measure_many(_jobs(archive, by_photo, folder, settings), workers)
    for regions, outcome in zip(by_photo.values(), outcomes, strict=True):
        yield _file(archive, regions, outcome, relabel)


def file_told(
    archive: Archive,
    notes: Notes,
    *,
    settings: Settings | None = None,
    workers: int | str | None = None,
    relabel: bool = False,
    really_new: bool = False,
) -> Iterator[Filing]:
    """Measure and file photos of which the notes tell nothing else than what they show.

    What is new for a photo (base, colourway, lot, set-up, swatch) is made in one transaction with
    its filing, so of a photo that cannot be filed nothing is left. Names that could be slips for
    others are asked about, unless they are ``really_new``.
    """
    _tidy(archive)
    rows: dict[str, list[PhotoNote]] = {}
    for row in notes.photos:
        rows.setdefault(row.photo, []).append(row)
    with _tried(archive.conn):  # what is wrong in the notes is told before anything is measured
        refuse_other_day(archive.conn, notes)
        if not really_new:
            ask_about_new(archive.conn, notes)
        by_photo = _by_photo(apply_notes(archive.conn, notes))
        jobs = _jobs(archive, by_photo, Path(), settings)
    for own, outcome in zip(rows.values(), measure_many(jobs, workers), strict=True):
        filing = Filing(outcome.job.path, None, error=outcome.error)
        if outcome.measurement is not None:
            filing = _made_and_filed(archive, replace(notes, photos=tuple(own)), outcome, relabel)
        yield filing


def _made_and_filed(archive: Archive, notes: Notes, outcome: Outcome, relabel: bool) -> Filing:
    """All that the notes tell of one photo, and the photo: both or neither."""
    try:
        with _tried(archive.conn) as keep:
            applied = apply_notes(archive.conn, notes)
            filing = _file(archive, applied.regions, outcome, relabel)
            if filing.filed is not None:
                keep.append(True)
    except SwatchvaultError as error:
        return _not_filed(outcome.job.path, error)
    return replace(filing, added=applied.added, changed=applied.changed)


class _TakenBackError(Exception):
    """Ends a transaction whose work is not to be kept."""


@contextmanager
def _tried(conn: sqlite3.Connection) -> Iterator[list[bool]]:
    """A transaction that is taken back, if nothing is put into the list it gives."""
    keep: list[bool] = []
    try:
        with transaction(conn):
            yield keep
            if not keep:
                raise _TakenBackError
    except _TakenBackError:
        return


def _tidy(archive: Archive) -> None:
    """Remove what a run that was stopped left half-written."""
    for place in (archive.photos, archive.thumbs):
        remove_abandoned(place)


def _by_photo(applied: Applied) -> dict[str, list[RegionNote]]:
    by_photo: dict[str, list[RegionNote]] = {}
    for region in applied.regions:
        by_photo.setdefault(region.photo, []).append(region)
    return by_photo


def _jobs(
    archive: Archive,
    by_photo: Mapping[str, Sequence[RegionNote]],
    folder: Path,
    settings: Settings | None,
) -> list[Job]:
    return [
        Job(
            folder / name,
            settings=_settings(archive, regions, settings or Settings()),
            measured=all(r.light != BLACK_LIGHT for r in regions),
        )
        for name, regions in by_photo.items()
    ]


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
        return _not_filed(path, error)


def _not_filed(path: Path, error: SwatchvaultError) -> Filing:
    line, name = clean_text(str(error), _LINE_SHOWN), clean_text(path.name, _NAME_SHOWN)
    return Filing(path, None, error=line if name in line else f"{name}: {line}")


def _resolve(region: RegionNote, found: PhotoMeasurement) -> RegionOf:
    names = [s.name for s in found.swatches]
    if region.region is not None and region.region not in names:
        raise ArchiveError(
            f"{region.where or Path(found.path).name}: no region {region.region!r} was measured; "
            f"there are {', '.join(map(repr, names)) or 'none'}"
        )
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
    """The settings for one photo: its light, else its set-up's, and the set-up's own reference."""
    lights = {r.light for r in regions if r.light is not None}
    if lights:
        light: Light = "daylight" if lights == {"daylight"} else "other"
        settings = replace(settings, light=light)
    setups = {r.setup_id for r in regions} - {None}
    setup_id = setups.pop() if len(setups) == 1 else None
    if settings.light is None:
        settings = replace(settings, light=light_of_setup(archive.conn, setup_id))
    owned = reference_of_setup(archive.conn, setup_id)
    return settings if owned is None else with_owned(settings, owned)


def with_owned(settings: Settings, owned: OwnedReference) -> Settings:
    """Settings with the values of a reference that the dyer owns.

    Raises ``ArchiveError`` where other values of such a reference were told with the photo.
    """
    kind = cast(ReferenceKind, owned.kind)
    settings = replace(settings, value_delta_e=owned.tolerance_delta_e, value_kind=kind)
    if owned.kind == "chart24":
        return replace(settings, chart_lab_d50=owned.lab_d50, chart_edition=owned.edition)
    if owned.y is None and owned.lab_d50 is None:
        return settings
    if owned.kind in settings.told:
        if not _says(settings, owned):
            has = values_words(owned.y, owned.lab_d50)
            raise ArchiveError(
                f"the set-up's {owned.kind} {owned.name!r} has {has}, "
                f"and told with the photo is {told_words(owned.kind, settings)}: leave one out"
            )
        return settings
    if owned.kind == "steps":
        settings = replace(settings, steps_y=owned.y)
    elif owned.lab_d50 is not None:
        settings = replace(settings, card_lab_d50=owned.lab_d50[0])
    elif owned.y is not None:
        settings = replace(settings, card_y=owned.y[0], card_lab_d50=None)
    return replace(settings, of_setup=settings.of_setup | {kind})


def _says(settings: Settings, owned: OwnedReference) -> bool:
    if owned.kind == "steps":
        return settings.steps_y == owned.y
    if owned.lab_d50 is not None:
        return settings.card_lab_d50 == owned.lab_d50[0]
    return settings.card_lab_d50 is None and (settings.card_y,) == owned.y


def _aside(labels: Sequence[str]) -> str:
    """What a photo showed and no longer shows, as the marks now are."""
    if not labels:
        return ""
    named = ", ".join(labels)
    return (
        f"; it no longer measures {named}: no mark of it is left. Its old figures are kept, and "
        "count again if you mark it too and add the photo again"
    )


def _set_aside(filed: FiledPhoto) -> str:
    """What of the photo had been set aside and counts again, and what still does not count."""
    said = ""
    if filed.again:
        said += f"; what was set aside and is told anew counts again: {', '.join(filed.again)}"
    if filed.still:
        said += f"; still set aside, and counted nowhere: {', '.join(filed.still)}"
    return said


def _swatches(count: int) -> str:
    return "one swatch" if count == 1 else f"{count} swatches"
