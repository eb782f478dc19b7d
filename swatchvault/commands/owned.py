"""`reference` and `setup`: what the dyer photographs with, told once."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import click

from swatchvault.commands.options import NUMBER, archive_option, need_archive
from swatchvault.errors import AmountError, ArchiveError

Triple = tuple[float, float, float]


@click.command("reference")
@click.argument("name")
@click.option("--kind", type=click.Choice(["card", "steps", "chart24"]), required=True)
@click.option("--y", help="Reflectance of a card, or of steps with commas: 0.9,0.59,0.36,0.2,0.09.")
@click.option("--lab", type=NUMBER, nargs=3, help="A card's L* a* b* under D50, instead of --y.")
@click.option(
    "--values",
    type=click.Path(path_type=Path),
    help="A CSV of L*,a*,b* under D50, a row for each of the chart's 24 patches, dark skin first.",
)
@click.option("--edition", type=click.Choice(["before-2014-11", "after-2014-11"]))
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

    told = OwnedReference(
        name=name,
        kind=kind,
        y=None if y is None else reflectances(y, kind),
        lab_d50=(lab,) if lab else None if values is None else read_values(values),
        edition=edition,
        tolerance_delta_e=tolerance,
        source=source,
    )
    with open_archive(need_archive(archive_folder)) as archive:
        entry = add_reference(archive.conn, told)
    click.echo(f"reference {name!r}: {entry.change}")


@click.command("setup")
@click.argument("name")
@click.option("--phone", help="The phone or camera.")
@click.option("--light", type=click.Choice(["daylight", "other"]), help="Its light.")
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


def reflectances(text: str, kind: str) -> tuple[float, ...]:
    """Reflectances from text; impossible ones are one line."""
    try:
        found = tuple(float(v) for v in text.split(","))
    except ValueError as error:
        raise AmountError(f"--y is {text!r}; give numbers such as 0.18, with commas") from error
    if not all(math.isfinite(v) and 0.0 < v <= 1.0 for v in found):
        raise AmountError(f"--y is {text!r}; a reflectance lies above 0 and up to 1")
    if (kind == "card") != (len(found) == 1):
        need = "one reflectance" if kind == "card" else "a reflectance for each step"
        raise AmountError(f"--y has {len(found)} values; a {kind} needs {need}")
    return found


def read_values(path: Path) -> tuple[Triple, ...]:
    """24 rows of L*, a*, b* from a CSV without header (or JSON)."""
    try:
        text = path.read_text(encoding="utf-8-sig")
        rows = json.loads(text) if path.suffix.lower() == ".json" else csv.reader(text.splitlines())
        found = tuple((float(r[0]), float(r[1]), float(r[2])) for r in rows)
    except OSError as error:
        raise ArchiveError(f"{path.name}: cannot be read ({error.strerror})") from error
    except (ValueError, IndexError, TypeError) as error:
        raise ArchiveError(f"{path.name}: each row needs three numbers L*,a*,b*") from error
    if len(found) != 24 or not all(0.0 < lab[0] <= 100.0 for lab in found):
        raise ArchiveError(f"{path.name}: found {len(found)} rows; needed 24 colours, L* 0 to 100")
    return found
