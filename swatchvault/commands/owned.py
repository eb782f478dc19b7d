"""`reference` and `setup`: what the dyer photographs with, told once."""

from __future__ import annotations

from pathlib import Path

import click

from swatchvault import kinds
from swatchvault.commands.options import NUMBER, archive_option, need_archive
from swatchvault.typed_numbers import Triple, lightest_first, read_values, reflectances


@click.command("reference")
@click.argument("name")
@click.option("--kind", type=click.Choice(["card", "steps", "chart24"]), required=True)
@click.option("--y", help="Reflectance of a card, or of steps, lightest first: 0.9 0.59 0.36 0.2.")
@click.option("--lab", type=NUMBER, nargs=3, help="A card's L* a* b* under D50, instead of --y.")
@click.option(
    "--values",
    type=click.Path(path_type=Path),
    help="A CSV of L*,a*,b* under D50, a row for each of the chart's 24 patches, dark skin first.",
)
@click.option("--edition", type=click.Choice(kinds.EDITIONS))
@click.option("--tolerance", type=NUMBER, help="Tolerance of the values in ΔE00, of its maker.")
@click.option("--source", help="Where the values are from.")
@archive_option
def reference_command(
    name: str,
    kind: str,
    y: str | None,
    lab: Triple | None,
    values: Path | None,
    edition: str | None,
    tolerance: float | None,
    source: str | None,
    archive_folder: Path | None,
) -> None:
    """Keep a grey card, neutral steps or a chart that you own, as NAME, with its values.

    Give it to a set-up with `swatchvault setup`; photos of that set-up then use its values.
    """
    from swatchvault.archive import OwnedReference, add_reference, open_archive

    found = None if y is None else reflectances(y, kind)
    told = OwnedReference(
        name=name,
        kind=kind,
        y=lightest_first(found) if found and kind == "steps" else found,
        lab_d50=(lab,) if lab else None if values is None else read_values(values),
        edition=edition,
        tolerance_delta_e=tolerance,
        source=source,
    )
    with open_archive(need_archive(archive_folder)) as archive:
        entry = add_reference(archive.conn, told)
    click.echo(f"reference {name!r}: {entry.change}")
    if found != told.y:
        click.echo("its steps were turned round: they are kept lightest first, as marks have them")


@click.command("setup")
@click.argument("name")
@click.option("--phone", help="The phone or camera.")
@click.option("--light", type=click.Choice(kinds.LIGHTS), help="Its light.")
@click.option("--locked/--free", default=None, help="Whether the camera's settings are locked.")
@click.option("--reference", help="The card, steps or chart that belongs to it.")
@archive_option
def setup_command(
    name: str,
    phone: str | None,
    light: str | None,
    locked: bool | None,
    reference: str | None,
    archive_folder: Path | None,
) -> None:
    """Keep a set-up as NAME: phone, light and reference together."""
    from swatchvault.archive import Setup, add_setup, open_archive

    told = Setup(name=name, phone=phone, light=light, locked=locked, reference=reference)
    with open_archive(need_archive(archive_folder)) as archive:
        entry = add_setup(archive.conn, told)
    click.echo(f"set-up {name!r}: {entry.change}")
