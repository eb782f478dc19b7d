"""`mend`: a fact that was typed wrong, put right."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from swatchvault.commands.options import NUMBER, archive_option, json_option, need_archive


@click.command("mend")
@click.argument("kind", type=click.Choice(["stock", "swatch", "lot"]))
@click.argument("name")
@click.option("--grams", type=NUMBER, help="Of a stock: powder in it, g.")
@click.option("--made-up-to-ml", type=NUMBER, help="Of a stock: what it was made up to, mL.")
@click.option("--mixed-on", help="Of a stock: the day it was mixed, as 2026-03-01.")
@click.option(
    "--form", type=click.Choice(["skein", "wound card", "knit"]), help="Of a swatch: its form."
)
@click.option("--dyed-on", help="Of a lot: the day it was dyed, as 2026-03-01.")
@click.option("--dry-g", type=NUMBER, help="Of a lot: dry weight of the goods, g.")
@click.option("--of", "owner", help="Of which dye a stock is, where several have its name.")
@archive_option
@json_option
def mend_command(
    kind: str,
    name: str,
    owner: str | None,
    archive_folder: Path | None,
    as_json: bool,
    **facts: Any,
) -> None:
    """Put right what was typed wrong of the stock, swatch or lot NAME.

    Dye that went into lots from a stock is worked out anew from its strength. A swatch that is a
    master or was checked keeps its form. For names there is `swatchvault rename`; what went into a
    pot is mended by `swatchvault pot edit`, all else by telling the notes again.
    """
    from swatchvault.archive import open_archive
    from swatchvault.archive.mend import FIELDS, mend
    from swatchvault.archive.rename import id_of

    told = {field: value for field, value in facts.items() if value is not None}
    strange = [field for field in told if field not in FIELDS[kind]]
    if strange or not told:
        options = ", ".join("--" + field.replace("_", "-") for field in FIELDS[kind])
        raise click.UsageError(f"of a {kind} can be mended: {options}")
    if owner is not None and kind != "stock":
        raise click.UsageError(f"--of goes with stock: a {kind}'s name is the only one")
    with open_archive(need_archive(archive_folder)) as archive:
        done = mend(archive.conn, kind, id_of(archive.conn, kind, name, owner), told)
    if as_json:
        changes = [{"field": f, "old": old, "new": new} for f, old, new in done.changes]
        click.echo(json.dumps({**asdict(done), "changes": changes}, ensure_ascii=False))
        return
    click.echo("\n".join(done.lines))
