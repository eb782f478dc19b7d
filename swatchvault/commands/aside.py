"""`aside`: a measurement that should not count, and one that should again."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path

import click

from swatchvault.commands.options import archive_option, json_option, need_archive


@click.command("aside")
@click.argument("swatch")
@click.argument("photo")
@click.option("--because", help="Why it should not count: lamp on, wrong swatch, out of focus ...")
@click.option("--take-back", is_flag=True, help="Let it count again.")
@archive_option
@json_option
def aside_command(
    swatch: str,
    photo: str,
    because: str | None,
    take_back: bool,
    archive_folder: Path | None,
    as_json: bool,
) -> None:
    """Let what PHOTO says of SWATCH count nowhere, or count again.

    Nothing is deleted: photo and figures are kept and shown with the reason, and left out of
    everything else. PHOTO is its file's name, in whichever folder, or the beginning of its sha256.
    Measured anew by `swatchvault remeasure` it stays set aside; marked anew, or relabelled, it
    counts again and says so. Verdicts given keep their words. `swatchvault list aside` shows all
    that is set aside.
    """
    from swatchvault.archive import open_archive, swatch_id_of
    from swatchvault.archive.aside import photo_named, set_aside
    from swatchvault.archive.aside import take_back as take_it_back

    if (because is None) != take_back:
        raise click.UsageError("say why with --because, or let it count again with --take-back")
    with open_archive(need_archive(archive_folder)) as archive:
        swatch_id = swatch_id_of(archive.conn, swatch)
        sha256 = photo_named(archive.conn, swatch_id, Path(photo).name)
        if because is None:
            done = take_it_back(archive.conn, swatch_id, sha256)
        else:
            done = set_aside(archive.conn, swatch_id, sha256, because)
    if as_json:
        click.echo(json.dumps(asdict(done), ensure_ascii=False))
        return
    click.echo("\n".join(done.lines))
