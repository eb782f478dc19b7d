"""`repeat`: what repeat photos teach of a set-up, kept and taken back."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

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

if TYPE_CHECKING:
    from swatchvault.pair import Capture
    from swatchvault.repeats import Learned


@click.command("repeat")
@click.argument("photos", nargs=-1, type=FILE)
@click.option(
    "--capture",
    type=click.Choice(["locked set-up", "same set-up"]),
    help="Whether the camera's settings were locked (needed).",
)
@light_option
@click.option("--setup", help="Keep what was learned for this set-up of the archive.")
@click.option("--filed", is_flag=True, help="Learn from the photos that are filed with --setup.")
@click.option("--without", multiple=True, help="One of them to leave out: file name or sha256.")
@click.option("--dry-run", is_flag=True, help="Say what they teach, and keep nothing.")
@click.option("--take-back", is_flag=True, help="Let what was kept last for --setup count no more.")
@reference_options
@archive_option
@json_option
def repeat_command(
    photos: tuple[Path, ...],
    capture: str | None,
    light: Light | None,
    setup: str | None,
    filed: bool,
    without: tuple[str, ...],
    dry_run: bool,
    take_back: bool,
    archive_folder: Path | None,
    as_json: bool,
    **known: Any,
) -> None:
    """Learn from repeat PHOTOS how well this phone and light tell two lots apart.

    Take ten or more photos of at least four swatches of different hue, in the places where lots
    are measured, and set everything up anew before each. Swatches go together by their names; one
    that stands in fewer than ten photos is left out. Photos of one shot, known by their picture or
    their time, count as one; where too few are left, nothing is certified.

    With --filed the photos are those of the archive that are filed with --setup and whose swatches
    stand in several of them, taken one by one over days. What was kept is taken back by
    --take-back: what was kept before it counts again.
    """
    from swatchvault.pair import Capture

    if take_back:
        if photos or filed or dry_run or capture is not None or setup is None:
            raise click.UsageError("--take-back goes with --setup alone: name the set-up")
        _take_back(need_archive(archive_folder), setup, as_json)
        return
    if filed and (photos or setup is None):
        raise click.UsageError("--filed goes with --setup and without photos: name the set-up")
    if without and not filed:
        raise click.UsageError("--without leaves out a photo of the archive: it goes with --filed")
    if capture is None or not (photos or filed):
        raise click.UsageError("name the photos, and say with --capture how they were taken")
    if filed:
        _refuse_told(light, known)
        learned = _from_archive(need_archive(archive_folder), str(setup), Capture(capture), without)
    else:
        learned = _from_files(photos, Capture(capture), light, known)
    kept = () if setup is None or dry_run else _keep(archive_folder, setup, learned)
    _print(learned, kept, as_json)


def _refuse_told(light: Light | None, known: dict[str, Any]) -> None:
    told = [known[name] for name in ("card_y", "card_lab", "steps_y")]
    if light is not None or any(t is not None for t in told) or known["bar_mm"] != 100.0:
        raise click.UsageError(
            "photos of the archive were measured with their light and reference: with --filed "
            "neither is told"
        )


def _from_files(
    photos: Sequence[Path], capture: Capture, light: Light | None, known: dict[str, Any]
) -> Learned:
    from swatchvault.batch import Job, measure_many
    from swatchvault.repeat_shots import shot_of
    from swatchvault.repeats import learn

    settings = make_settings(known, light)
    outcomes = list(measure_many([Job(p, None, settings) for p in photos]))
    leave_with_failures([o.error for o in outcomes if o.measurement is None])
    shots = [shot_of(o.measurement, light) for o in outcomes if o.measurement is not None]
    return learn(shots, capture)


def _from_archive(folder: Path, setup: str, capture: Capture, without: Sequence[str]) -> Learned:
    from swatchvault.archive import find, open_archive
    from swatchvault.archive.again import photos_named
    from swatchvault.filed_repeats import filed_repeats, learn_filed, lesson_of

    with open_archive(folder) as archive:
        there = filed_repeats(archive.conn, find(archive.conn, "setup", setup))
        if there.left_out_words:
            click.echo(there.left_out_words, err=True)
        out = {sha256 for name in without for sha256 in photos_named(archive.conn, name)}
        lesson = lesson_of(archive, there.chosen({s.sha256 for s in there.shots} - out))
    return learn_filed(lesson, capture)


def _keep(folder: Path | None, setup: str, learned: Learned) -> Sequence[str]:
    """Keep it for the set-up; what is to be said of that."""
    from swatchvault.archive import get_setup, open_archive
    from swatchvault.filed_repeats import keep_for_setup, lock_words, refuse_copies

    refuse_copies(setup, learned)
    with open_archive(need_archive(folder)) as archive:
        keep_for_setup(archive.conn, setup, learned)
        told = lock_words(get_setup(archive.conn, setup), learned.own.capture)
    return (f"kept for the set-up {setup!r}: lot checks in it use this from now on", *told)


def _print(learned: Learned, kept: Sequence[str], as_json: bool) -> None:
    from swatchvault.repeats import words
    from swatchvault.report import STANDING_FLAGS, flag_lines

    if as_json:
        click.echo(json.dumps(learned.record()))
        return
    weak = flag_lines(learned.flags - STANDING_FLAGS)
    click.echo("\n".join([*words(learned), *learned.to_be_said, *weak, *kept]))


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
