"""`repeat`: what repeat photos teach of a set-up, kept and taken back."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from ingest.model import Light
from swatchvault.commands.options import (
    archive_option,
    json_option,
    light_option,
    need_archive,
    reference_options,
)
from swatchvault.commands.photos import FILE, leave_with_failures, make_settings
from swatchvault.errors import CompareError


@click.command("repeat")
@click.argument("photos", nargs=-1, type=FILE)
@click.option(
    "--capture",
    type=click.Choice(["locked set-up", "same set-up"]),
    help="Whether the camera's settings were locked (needed).",
)
@light_option
@click.option("--setup", help="Keep what was learned for this set-up of the archive.")
@click.option("--take-back", is_flag=True, help="Let what was kept last for --setup count no more.")
@reference_options
@archive_option
@json_option
def repeat_command(
    photos: tuple[Path, ...],
    capture: str | None,
    light: Light | None,
    setup: str | None,
    take_back: bool,
    archive_folder: Path | None,
    as_json: bool,
    **known: Any,
) -> None:
    """Learn from repeat PHOTOS how well this phone and light tell two lots apart.

    Take ten or more photos of at least four swatches of different hue, in the places where lots
    are measured, and set everything up anew before each. Swatches go together by their names.
    Copies of one shot are told by their time and their greys, and certify nothing. What was kept is
    taken back by --take-back: what was kept before it counts again.
    """
    from swatchvault.batch import Job, measure_many
    from swatchvault.pair import Capture
    from swatchvault.repeats import learn, words

    if take_back:
        if photos or capture is not None or setup is None:
            raise click.UsageError("--take-back goes with --setup alone: name the set-up")
        _take_back(need_archive(archive_folder), setup, as_json)
        return
    if not photos or capture is None:
        raise click.UsageError("name the photos, and say with --capture how they were taken")
    settings = make_settings(known, light)
    outcomes = list(measure_many([Job(p, None, settings) for p in photos]))
    leave_with_failures([o.error for o in outcomes if o.measurement is None])
    measured = [o.measurement for o in outcomes if o.measurement is not None]
    learned = learn(measured, Capture(capture), light)
    if setup is not None and learned.one_shot:
        raise CompareError(
            f"nothing is kept for the set-up {setup!r}: the photos look like copies of one shot "
            f"({'; '.join(learned.one_shot)}); set everything up anew before each photo"
        )
    if setup is not None:
        from swatchvault.archive import add_repeat_set, find, open_archive

        with open_archive(need_archive(archive_folder)) as archive:
            setup_id = find(archive.conn, "setup", setup)
            variance = learned.frame_sd**2
            add_repeat_set(archive.conn, setup_id, (), variance, learned.record())
    if as_json:
        click.echo(json.dumps(learned.record()))
        return
    click.echo("\n".join(words(learned)))
    if setup is not None:
        click.echo(f"kept for the set-up {setup!r}: lot checks in it use this from now on")


def _take_back(folder: Path, setup: str, as_json: bool) -> None:
    from swatchvault.archive import find, open_archive, take_back_repeat_set
    from swatchvault.repeats import kept_words

    with open_archive(folder) as archive:
        before = take_back_repeat_set(archive.conn, find(archive.conn, "setup", setup))
    record = None if before is None else before.learned
    if as_json:
        click.echo(json.dumps(record))
        return
    click.echo(f"taken back for the set-up {setup!r}; verdicts given keep their words. Now counts:")
    click.echo("\n".join(kept_words(record)))
