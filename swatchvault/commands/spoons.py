"""`spoons`: the sizes of spoon and cup in an archive."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from pathlib import Path

import click

from swatchvault.commands.options import NUMBER, archive_option, json_option, need_archive


@click.command("spoons")
@click.option("--tsp", type=NUMBER, help="A teaspoon in mL.")
@click.option("--tbsp", type=NUMBER, help="A tablespoon in mL.")
@click.option("--cup", type=NUMBER, help="A cup in mL.")
@archive_option
@json_option
def spoons_command(
    tsp: float | None,
    tbsp: float | None,
    cup: float | None,
    archive_folder: Path | None,
    as_json: bool,
) -> None:
    """Show the sizes of teaspoon, tablespoon and cup, or set them.

    Recipes are read with the sizes set now; what was done keeps its millilitres.
    """
    from swatchvault.archive import open_archive, set_spoons, spoons_of

    told = {"tsp_ml": tsp, "tbsp_ml": tbsp, "cup_ml": cup}
    new = {k: v for k, v in told.items() if v is not None}
    with open_archive(need_archive(archive_folder)) as archive:
        spoons = spoons_of(archive.conn)
        if new:
            spoons = replace(spoons, **new)
            set_spoons(archive.conn, spoons)
    if as_json:
        click.echo(json.dumps(asdict(spoons)))
        return
    click.echo(
        f"teaspoon {spoons.tsp_ml:g} mL, tablespoon {spoons.tbsp_ml:g} mL, cup {spoons.cup_ml:g} mL"
    )
