"""`add`: photos filed in the archive, with what they are of."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from ingest.model import Light
from swatchvault import kinds
from swatchvault.commands.options import (
    WORKERS,
    archive_option,
    need_archive,
    reference_options,
    show_progress,
)
from swatchvault.commands.photos import leave_with_failures, make_settings
from swatchvault.errors import ArchiveError

FORMS = click.Choice(kinds.FORMS)
#: Lights that a photo is measured in; one under black light is kept beside its swatch.
LIGHTS: Mapping[str, Light] = {"daylight": "daylight", "other": "other"}


@click.command("add")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--swatch", help="The swatch's label; the same label is the same piece of yarn.")
@click.option("--region", help="Which region of the photo, where it has several.")
@click.option("--base", help="The base it is on.")
@click.option("--colourway", help="Its colourway; none for undyed yarn.")
@click.option("--lot", help="Its lot.")
@click.option("--dyed-on", help="With --create: the day the lot was dyed, as 2026-03-01.")
@click.option("--form", type=FORMS, help="skein, wound card or knit.")
@click.option("--dry/--wet", default=None, help="Whether the yarn was dry; unknown if not said.")
@click.option("--damp", is_flag=True, hidden=True)  # what --wet was called before
@click.option("--setup", help="Phone, light and reference together, by a name of yours.")
@click.option("--locked/--free", default=None, help="Camera settings locked in that set-up.")
@click.option("--create", is_flag=True, help="Make base, colourway and lot if they are new.")
@click.option(
    "--really-new", is_flag=True, help="What is made is new, however like another its name."
)
@click.option("--relabel", is_flag=True, help="The photo's earlier label was wrong: move it.")
@click.option(
    "--light",
    type=click.Choice([*LIGHTS, "black light"]),
    help="The light the photo was taken in; other if not said. Black light is kept, not measured.",
)
@reference_options
@click.option(
    "--no-card", is_flag=True, help="File even where no reference is found; no lot is judged on it."
)
@click.option(
    "--workers",
    type=WORKERS,
    help="Processes, all cores by default; or dask://HOST:PORT, a cluster that sees the files.",
)
@archive_option
def add_command(
    paths: tuple[Path, ...],
    archive_folder: Path | None,
    dyed_on: str | None,
    light: str | None,
    workers: int | str | None,
    create: bool,
    really_new: bool,
    relabel: bool,
    damp: bool,
    no_card: bool,
    card_y: float | None,
    card_lab: tuple[float, float, float] | None,
    steps_y: str | None,
    bar_mm: float,
    **told: str | bool | None,
) -> None:
    """File photos in the archive.

    PATHS are folders (or single .csv or .toml files) with notes: photos.csv says what each photo
    shows, studio.toml says what there is of bases, dyes, recipes and lots. Or PATHS are photos,
    and the options say what they show. Adding a photo again as the same changes nothing;
    with another mark it is measured anew, what is still marked stays, and what is not is named.
    A swatch that the archive has needs only its label.
    With --create a name that is nearly one of the archive's is asked about, and so is a second
    base of a lot; and so is --setup.
    """
    from swatchvault.archive import apply_notes, open_archive
    from swatchvault.archive.doubts import doubts, new_doubts
    from swatchvault.archive.swatches import swatch_there
    from swatchvault.days import past_day
    from swatchvault.filing import file_photos, file_told

    if really_new and not (create or told["setup"]):
        raise click.UsageError("--really-new goes with --create or --setup")
    if dyed_on is not None:
        if not (create and told["lot"]):
            raise click.UsageError("--dyed-on goes with --create and --lot")
        dyed_on = past_day(dyed_on, "--dyed-on")
    if damp:
        told["dry"] = False
    known = {"card_y": card_y, "card_lab": card_lab, "steps_y": steps_y, "bar_mm": bar_mm}
    settings = make_settings(known, LIGHTS.get(light or ""), no_card)
    failed: list[str | None] = []
    with open_archive(need_archive(archive_folder)) as archive:
        label = told.get("swatch")
        there = bool(label) and not create and swatch_there(archive.conn, str(label))
        for notes, folder in gather(paths, told, light, create, dyed_on, there):
            how: dict[str, Any] = {"settings": settings, "workers": workers, "relabel": relabel}
            added, changed, measured = 0, 0, 0
            before = doubts(archive.conn)
            if folder is None:
                filings = file_told(archive, notes, really_new=really_new, **how)
            else:
                applied = apply_notes(archive.conn, notes)
                added, changed = applied.added, applied.changed
                filings = file_photos(archive, applied, folder, **how)
            total = len({row.photo for row in notes.photos})
            for filing in show_progress(filings, total, "measuring and filing"):
                if filing.filed is None:
                    failed.append(filing.words)
                else:
                    click.echo(filing.words)
                    added, changed = added + filing.added, changed + filing.changed
                    measured += filing.filed.measured
            for line in new_doubts(archive.conn, before):
                click.echo(line)
            click.echo(f"in the archive: {sum_of(added, changed, measured)}")
    leave_with_failures(failed)


def sum_of(added: int, changed: int, measured: int) -> str:
    """What was made, changed and measured, in words.

    >>> sum_of(0, 0, 1)
    'one swatch measured, nothing else new, 0 changed'
    """
    none = "nothing else" if measured else "nothing"
    things = {0: none, 1: "one thing"}.get(added, f"{added} things")
    seen = {0: "", 1: "one swatch measured, "}.get(measured, f"{measured} swatches measured, ")
    return f"{seen}{things} new, {changed} changed"


def gather(
    paths: tuple[Path, ...],
    told: dict[str, str | bool | None],
    light: str | None,
    create: bool,
    dyed_on: str | None = None,
    there: bool = False,
) -> list[tuple[Any, Path | None]]:
    """Notes with the folder their photos' names are relative to; none for what options tell.
    ``there``: the archive has the swatch that they name."""
    from swatchvault.notes import PHOTOS_CSV, STUDIO_TOML, read_notes

    for path in paths:
        if not path.exists():
            raise ArchiveError(f"{path}: there is no such file or folder; check the name")
        if path.is_dir() and not any((path / n).is_file() for n in (PHOTOS_CSV, STUDIO_TOML)):
            raise ArchiveError(
                f"{path}: has neither {PHOTOS_CSV} nor {STUDIO_TOML}; write one, or name the "
                "photos and say what they show"
            )
    noted = [p for p in paths if p.is_dir() or p.suffix.lower() in (".csv", ".toml")]
    photos = [p for p in paths if p not in noted]
    if noted and any(told.get(k) for k in ("swatch", "base", "lot")):
        raise click.UsageError("options that say what a photo shows go with photos, not with notes")
    found: list[tuple[Any, Path | None]] = [
        (read_notes(p), p if p.is_dir() else p.parent) for p in noted
    ]
    if photos:
        found.append((notes_from_options(photos, told, light, create, dyed_on, there), None))
    return found


def notes_from_options(
    photos: list[Path],
    told: dict[str, str | bool | None],
    light: str | None,
    create: bool,
    dyed_on: str | None = None,
    there: bool = False,
) -> Any:
    """Notes for photos whose content the options tell; a swatch that is ``there`` needs only its
    label."""
    from swatchvault.archive import Base, Colourway, Lot, Notes, PhotoNote

    missing = [k for k in ("swatch", "base", "form") if not (there or told.get(k))]
    if missing:
        names = ", ".join(f"--{m}" for m in missing)
        raise ArchiveError(
            f"{photos[0].name}: what it shows is not said; give {names} (of a swatch that the "
            "archive has the label alone; or name a folder with photos.csv)"
        )
    rows = tuple(
        PhotoNote(photo=str(p.absolute()), light=light, where=p.name, **told)  # type: ignore[arg-type]
        for p in photos
    )
    if not create:
        return Notes(photos=rows)
    base, colourway, lot = (str(told[k]) if told[k] else None for k in ("base", "colourway", "lot"))
    assert base is not None
    return Notes(
        bases=(Base(base),),
        colourways=(Colourway(colourway),) if colourway else (),
        lots=(Lot(lot, (base,), colourway, dyed_on=dyed_on),) if lot else (),
        photos=rows,
    )
