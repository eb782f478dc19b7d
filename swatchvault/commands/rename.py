"""`rename`: a name that was typed wrong, mended."""

from __future__ import annotations

import json
from pathlib import Path

import click

from swatchvault.commands.options import archive_option, json_option, need_archive

#: Kinds as they are typed, and their tables.
KINDS = {
    "colourway": "colourway",
    "lot": "lot",
    "skein": "skein",
    "swatch": "swatch",
    "base": "base",
    "base-lot": "base_lot",
    "dye": "dye",
    "pack": "dye_pack",
    "stock": "stock",
    "setup": "setup",
    "reference": "reference",
}


@click.command("rename")
@click.argument("kind", type=click.Choice(list(KINDS)))
@click.argument("old")
@click.argument("new")
@click.option(
    "--of", "owner", help="Of which dye a pack or stock is, of which base a base lot, ..."
)
@archive_option
@json_option
def rename_command(
    kind: str, old: str, new: str, owner: str | None, archive_folder: Path | None, as_json: bool
) -> None:
    """Mend a name: what was called OLD is called NEW, with all that belongs to it.

    A name that is taken is refused: two things are never made one. A recipe has no name of its
    own but its colourway's and base's: rename those. The words of verdicts given stay as they
    were given. `swatchvault list renamed` has the names that were mended.
    """
    from swatchvault.archive import open_archive
    from swatchvault.archive.names import NAMED_WITHIN
    from swatchvault.archive.rename import id_of, rename

    table = KINDS[kind]
    if owner is not None and table not in NAMED_WITHIN:
        within = ", ".join(k for k, t in KINDS.items() if t in NAMED_WITHIN)
        raise click.UsageError(f"--of goes with {within}: a {kind}'s name is the only one")
    with open_archive(need_archive(archive_folder)) as archive:
        done = rename(archive.conn, table, id_of(archive.conn, table, old, owner), new)
    if as_json:
        said = {"kind": kind, "old": done.old, "new": done.new, "changed": done.changed}
        click.echo(json.dumps(said, ensure_ascii=False))
        return
    click.echo("\n".join(done.lines))
