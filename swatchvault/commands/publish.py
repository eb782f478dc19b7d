"""`publish`: a copy for others to look at, with the configuration that serves it."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import Any

import click

from swatchvault.commands.options import archive_option, need_archive
from swatchvault.errors import ArchiveError

CONFIG = "datasette.json"
PLACES = (
    "! The originals are in it with all that the camera wrote into them. Phones write where a "
    "photo was taken, unless that is switched off: look at one before you give the copy away."
)


@click.command("publish")
@click.argument("to", type=click.Path(path_type=Path))
@click.option("--recipes", is_flag=True, help="With dyes, recipes, pot logs and notes.")
@click.option(
    "--photos",
    is_flag=True,
    help="With the original photos as the camera wrote them, which may tell where you were.",
)
@archive_option
def publish_command(to: Path, recipes: bool, photos: bool, archive_folder: Path | None) -> None:
    """Write a read-only copy of the archive into the new folder TO, for anyone to look at.

    It has colours, checks, evenness and small pictures, the names and days of lots, what they and
    their skeins weighed, and when and with which camera photos were taken. How colours were made
    stays with you unless you ask for --recipes. Nobody can write to the copy, run SQL of their own
    on it or download it whole.
    """
    from swatchvault.archive import open_archive
    from swatchvault.archive.publishing import publish

    _refuse_unservable(to)
    with open_archive(need_archive(archive_folder)) as archive:
        publish(archive, to, recipes=recipes, photos=photos)
    (to / CONFIG).write_text(json.dumps(config(recipes), indent=1), encoding="utf-8")
    said = "with recipes, dyes and notes" if recipes else "without recipes, dyes and notes"
    click.echo(f"{to}: a read-only copy, {said}. On a machine that has swatchvault installed,")
    database, told = (shlex.quote(str(to / name)) for name in ("archive.db", CONFIG))
    click.echo(f"  datasette --immutable {database} --config {told}")
    click.echo("shows it to anyone who reaches that machine; its --host and --port say where.")
    if photos:
        click.echo(PLACES)


def _refuse_unservable(to: Path) -> None:
    """Raise ``ArchiveError`` for a path that Datasette takes for another one."""
    strange = sorted(set("#?%") & set(str(to)))
    if strange:
        raise ArchiveError(
            f"{to}: Datasette opens no database in a path with {' or '.join(strange)}: name a "
            "folder without"
        )


def config(recipes: bool = False) -> dict[str, Any]:
    """What Datasette is told, so that anyone may look and nobody may do more.

    ``recipes``: whether the copy says how colours were made.
    """
    from swatchvault.web.settings import metadata

    return {
        **metadata(making=recipes),
        "settings": {
            "default_allow_sql": False,
            "allow_download": False,
            "allow_signed_tokens": False,
        },
        "plugins": {"swatchvault": {"public": True}},
    }
