"""`share` and `import`: recipes and lots to a file and from one, nothing lost."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from swatchvault.commands.options import archive_option, need_archive
from swatchvault.errors import SwatchvaultError

if TYPE_CHECKING:
    from swatchvault.roundtrip import Form

FILE = click.Path(path_type=Path)


@click.command("share")
@click.argument("file", type=FILE)
@click.option("--colourway", "colourways", multiple=True, help="Only this one; can be repeated.")
@archive_option
def share_command(file: Path, colourways: tuple[str, ...], archive_folder: Path | None) -> None:
    """Write recipes and lots, with all that they name, to FILE (.csv or .json).

    `import` reads it into another archive, and nothing is lost. Photos, swatches, colours and
    verdicts stay here.
    """
    from swatchvault.archive import open_archive
    from swatchvault.archive.exchange import gather_making
    from swatchvault.making_records import making_records
    from swatchvault.roundtrip import write_records

    form = _form(file)
    with open_archive(need_archive(archive_folder)) as archive:
        making = gather_making(archive.conn, colourways)
    try:
        with file.open("x", encoding="utf-8", newline="") as out:
            out.write(write_records(making_records(making), form))
    except FileExistsError as error:
        raise SwatchvaultError(f"{file} is there already: name a new file") from error
    except OSError as error:
        raise SwatchvaultError(
            f"cannot write {file}: {error.strerror}; name another file"
        ) from error
    notes = making.notes
    click.echo(f"wrote {len(notes.recipes)} recipes and {len(notes.lots)} lots to {file}")


@click.command("import")
@click.argument("file", type=FILE)
@archive_option
def import_command(file: Path, archive_folder: Path | None) -> None:
    """Read recipes and lots from FILE (.csv or .json), as `share` writes it, into the archive.

    All or nothing; the same file again changes nothing.
    """
    from swatchvault.archive import open_archive
    from swatchvault.archive.doubts import doubts, new_doubts
    from swatchvault.archive.receive import receive_making
    from swatchvault.making_records import making_of
    from swatchvault.roundtrip import read_records

    form = _form(file)
    try:
        text = file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise SwatchvaultError(f"{file.name} is not UTF-8: save it again as UTF-8") from error
    except OSError as error:
        raise SwatchvaultError(f"cannot read {file}: {error.strerror}") from error
    try:
        making = making_of(read_records(text, form))
    except SwatchvaultError as error:
        raise SwatchvaultError(f"{file.name}: {error}") from error
    with open_archive(need_archive(archive_folder)) as archive:
        before = doubts(archive.conn)
        got = receive_making(archive.conn, making)
        notes = new_doubts(archive.conn, before)
    click.echo("\n".join(notes), nl=bool(notes))
    click.echo(f"{got.added} added, {got.changed} changed, {got.same} there already as they are")


def _form(file: Path) -> Form:
    ending = file.suffix.casefold()
    if ending == ".csv":
        return "csv"
    if ending == ".json":
        return "json"
    raise SwatchvaultError(f"{file.name!r} is neither .csv nor .json: name a file that is")
