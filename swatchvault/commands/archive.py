"""`new`, `verify` and `backup`: the archive as a whole."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click

from swatchvault.commands.options import archive_option, json_option, need_archive

FOLDER = click.Path(path_type=Path)


@click.command("new")
@click.argument("folder", type=FOLDER)
def new_command(folder: Path) -> None:
    """Make an archive in FOLDER: an SQLite file, and folders for photos and small pictures."""
    from swatchvault.archive import create_archive

    create_archive(folder).close()
    click.echo(f"made an archive in {folder}")


@click.command("verify")
@click.argument("folder", type=FOLDER, required=False)
@archive_option
@click.option(
    "--sweep", is_flag=True, help="Remove files that no row names and that are over an hour old."
)
@json_option
def verify_command(
    folder: Path | None, archive_folder: Path | None, sweep: bool, as_json: bool
) -> None:
    """Look for any photo, small picture or row that does not fit the others.

    Leaves with exit code 1 if anything does not fit. What can hardly be right in what you
    told, such as more taken of a stock than was mixed, is a note and leaves with 0.
    """
    from swatchvault.archive import open_archive
    from swatchvault.archive.doubts import doubts
    from swatchvault.archive.verify import sweep as sweep_files
    from swatchvault.archive.verify import verify

    with open_archive(need_archive(folder or archive_folder)) as archive:
        removed = sweep_files(archive) if sweep else []
        problems = verify(archive)
        notes = [] if any(p.kind == "database damaged" for p in problems) else doubts(archive.conn)
    if as_json:
        items = [{**asdict(p), "note": False} for p in problems]
        facts = ("kind", "where", "what", "do")
        items += [{**{k: getattr(n, k) for k in facts}, "note": True} for n in notes]
        click.echo(json.dumps(items, ensure_ascii=False))
    else:
        for path in removed:
            click.echo(f"removed {path.name}")
        for problem in problems:
            click.echo(f"{problem.where}: {problem.what}; {problem.do}")
        for note in notes:
            click.echo(f"note: {note}")
        click.echo(f"{len(problems)} things do not fit" if problems else "everything fits")
    if problems:
        raise click.exceptions.Exit(1)


@click.command("backup")
@click.argument("to", type=FOLDER)
@archive_option
def backup_command(to: Path, archive_folder: Path | None) -> None:
    """Copy the archive's database to the file TO while others may go on working.

    The photos are plain files beside it, named by their content: copy the folders photos and
    thumbs as they are.

    To put it back, close all that has the archive open, move archive.db, archive.db-wal and
    archive.db-shm out of the archive's folder (those that are there), and copy the backup into it
    as archive.db, beside photos and thumbs. Then `swatchvault verify` says whether all fits.
    """
    from swatchvault.archive import backup, open_archive

    with open_archive(need_archive(archive_folder)) as archive:
        backup(archive.conn, to)
    click.echo(f"copied the database to {to} (how to put it back: swatchvault backup --help)")
