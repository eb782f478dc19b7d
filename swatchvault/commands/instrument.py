"""`mat`, `picture` and `calibration`: the photo as an instrument, without an archive."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from swatchvault.commands.options import reference_options
from swatchvault.commands.photos import FILE, make_settings, one_layout
from swatchvault.writing import write_text_file


@click.command("mat")
@click.argument("to", type=FILE)
@click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"]),
    default="A4",
    show_default=True,
    help="Paper in the printer.",
)
def mat_command(to: Path, paper: str) -> None:
    """Write the capture mat to the file TO (.pdf), to be printed at actual size.

    A photo of the mat gives every place and the scale with no mark by hand. Measure the bar on
    your print: if it is not 100 mm, say how long it is with --bar-mm when you measure photos.
    """
    from swatchvault.matprint import write_mat

    write_mat(to, "Letter" if paper == "Letter" else "A4")
    click.echo(f"wrote {to}: print it on {paper} at actual size, and measure the bar")


@click.command("picture")
@click.argument("photo", type=FILE)
@click.argument("to", type=FILE)
@click.option("--marks", type=FILE, help="Where things are; see the README.")
@click.option(
    "--space",
    type=click.Choice(["srgb", "display-p3"]),
    default="srgb",
    show_default=True,
    help="Colour space of the file; its profile is put in.",
)
@reference_options
def picture_command(photo: Path, to: Path, marks: Path | None, space: str, **known: Any) -> None:
    """Write PHOTO as the measurement sees it to TO (.jpg or .png).

    White, exposure, tone and, with a chart, colours are corrected. Colours that the file cannot
    hold are shown as a fine grey chequer, not bent; of colours that PHOTO's own file had cut it is
    told how much of the picture they are. The original is not touched. A screen is no reference.
    """
    from ingest.pipeline import prepare_file
    from ingest.rendition import render
    from swatchvault.pictures import not_as_it_was, save_rendition

    settings = make_settings(known)
    ready = prepare_file(photo, layout=one_layout(marks, [photo]), settings=settings)
    rendition = render(ready.photo, ready.correction, space)  # type: ignore[arg-type]
    save_rendition(to, rendition, str(photo))
    click.echo("; ".join([f"wrote {to} in {space}", *not_as_it_was(rendition)]))


@click.command("calibration")
@click.argument("photo", type=FILE)
@click.option("--marks", type=FILE, help="Where things are; see the README.")
@click.option("--svg", type=FILE, help="Write the report as a picture to this file.")
@reference_options
def calibration_command(photo: Path, marks: Path | None, svg: Path | None, **known: Any) -> None:
    """Report how PHOTO was corrected, patch by patch, and what limits it."""
    from ingest.pipeline import prepare_file
    from swatchvault.calibration import Page, page_lines, page_svg

    settings = make_settings(known)
    ready = prepare_file(photo, layout=one_layout(marks, [photo]), settings=settings)
    page = Page(photo.name, ready.correction, ready.photo.encoding)
    click.echo("\n".join(page_lines(page)))
    if svg is not None:
        write_text_file(svg, page_svg(page), ".svg")
        click.echo(f"wrote {svg}")
