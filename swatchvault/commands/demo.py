"""`demo`: the archive of an invented studio, built, measured and checked."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import click

from swatchvault.commands.options import show_progress
from swatchvault.commands.photos import leave_with_failures


@click.command("demo")
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path),
    default=Path("demo_archive"),
    show_default=True,
    help="Where to build it.",
)
def demo_command(folder: Path) -> None:
    """Build the demo archive, measure its photos and check its lots.

    The studio, its yarns, dyes and colourways are invented, and its photos are rendered by a
    program. Run again, it changes nothing.
    """
    from swatchvault.archive import DATABASE, apply_notes, create_archive, open_archive
    from swatchvault.filing import file_photos
    from swatchvault.notes import read_notes

    there = (folder / DATABASE).exists()
    archive = open_archive(folder) if there else create_archive(folder)
    failed: list[str | None] = []
    with archive, as_file(files("example_archive")) as example:
        applied = apply_notes(archive.conn, read_notes(example))
        total = len({r.photo for r in applied.regions})
        click.echo(
            f"An invented studio: {total} rendered photos, measured into the archive {folder}"
        )
        for filing in show_progress(
            file_photos(archive, applied, example), total, "measuring and filing"
        ):
            if filing.filed is None:
                failed.append(filing.words)
            else:
                click.echo(f"  {filing.words}")
        click.echo("")
        echo_checks(archive.conn)
    click.echo("")
    click.echo(f"Look on: swatchvault list colours --archive {folder}")
    click.echo(f"         swatchvault serve {folder}")
    leave_with_failures(failed)


def echo_checks(conn: Any) -> None:
    """Check every lot that has a master, keep the verdicts, and print them as a table."""
    from swatchvault.checking import Ask, check_every_lot, keep_checks
    from swatchvault.report import check_table

    checks = check_every_lot(conn, Ask())
    keep_checks(conn, checks.given)
    click.echo("Lots held to their masters:")
    click.echo("\n".join(f"  {line}" for line in check_table(checks)))
