"""`remeasure`: stored photos measured anew after the method changed."""

from __future__ import annotations

from pathlib import Path

import click

from swatchvault.commands.options import archive_option, need_archive, show_progress
from swatchvault.commands.photos import leave_with_failures


@click.command("remeasure")
@click.argument("names", nargs=-1)
@click.option("--all", "every", is_flag=True, help="Every photo that needs it.")
@click.option("--again", is_flag=True, help="Those too that this version has measured already.")
@click.option(
    "--reference",
    help="Photos of the set-ups with this card, steps or chart, after it was mended.",
)
@click.option("--setup", help="Photos lit by this set-up, after its light was mended.")
@click.option("--dry-run", is_flag=True, help="Count them only.")
@click.option("--workers", type=click.IntRange(1, 256), help="Processes; all cores by default.")
@archive_option
def remeasure_command(
    names: tuple[str, ...],
    every: bool,
    again: bool,
    reference: str | None,
    setup: str | None,
    dry_run: bool,
    workers: int | None,
    archive_folder: Path | None,
) -> None:
    """Measure stored photos anew where another version of the method measured them.

    NAMES are swatches or photos (file name, or the beginning of the sha256); or --all. The old
    figures are kept, superseded. It may be stopped and run again: what is done is done. Figures
    of two versions are never compared with each other.
    """
    from swatchvault.archive import open_archive
    from swatchvault.archive.mend_reference import photos_read_by
    from swatchvault.archive.mend_setup import photos_lit_by
    from swatchvault.remeasure import measure_anew, out_of_date

    if [bool(names), every, reference is not None, setup is not None].count(True) != 1:
        raise click.UsageError("name swatches or photos, a --reference or a --setup, or give --all")
    failed: list[str | None] = []
    with open_archive(need_archive(archive_folder)) as archive:
        if reference is not None:
            read = photos_read_by(archive.conn, reference)
            names, again = tuple(sha256 for sha256, _ in read.by_it + read.by_marks), True
        if setup is not None:
            names, again = tuple(sha256 for sha256, _ in photos_lit_by(archive.conn, setup)), True
        photos = out_of_date(archive, names, again=again) if names or every else []
        old = sum(p.old for p in photos)
        asked = f"{len(photos)} photos to measure anew; {old} measurements by another version"
        if dry_run or not photos:
            click.echo(asked if photos else "every measurement asked for is by this version")
            return
        done = 0
        anew = measure_anew(archive, photos, workers=workers)
        for one in show_progress(anew, len(photos), "measuring anew"):
            if one.error is not None:
                failed.append(one.error)
            else:
                click.echo(one.words)
                done += one.measured
    if not done:
        click.echo("nothing new: the figures are as they were")
    elif done == 1:
        click.echo("1 new measurement; the old one is kept, superseded")
    else:
        click.echo(f"{done} new measurements; the old ones are kept, superseded")
    leave_with_failures(failed)
