"""`tonal`: how tonal a swatch came out, as text, JSON and a card to print or send."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from swatchvault import kinds
from swatchvault.commands.options import archive_option, json_option, reference_options
from swatchvault.commands.photos import FILE, make_settings, one_layout, split_name
from swatchvault.errors import ArchiveError, CompareError
from swatchvault.writing import write_text_file

if TYPE_CHECKING:
    from ingest.model import Layout, Settings
    from swatchvault.tonal_card import Card

FORMS = click.Choice(kinds.FORMS)


@click.command("tonal")
@click.argument("what")
@click.option("--svg", type=FILE, help="Write the card as a picture to this file.")
@click.option(
    "--paper",
    type=click.Choice(["A6", "A4", "Letter"]),
    default="A6",
    show_default=True,
    help="Size at which the card is printed.",
)
@click.option("--form", type=FORMS, help="How the yarn lies in the photo, to compare it.")
@click.option("--marks", type=FILE, help="Where things are in a photo; see the README.")
@click.option("--no-card", is_flag=True, help="Read even where no reference is found.")
@reference_options
@archive_option
@json_option
def tonal_command(
    what: str,
    svg: Path | None,
    paper: str,
    form: str | None,
    marks: Path | None,
    no_card: bool,
    archive_folder: Path | None,
    as_json: bool,
    **known: Any,
) -> None:
    """Say how tonal WHAT came out: a swatch of the archive, or PHOTO or PHOTO:NAME.

    Solid, semi-solid, variegated, speckled or gradient, or that the photo cannot tell; where the
    yarn leaves its mean, and how it compares with earlier lots of the colourway and your other
    semi-solids of the same form.
    """
    from swatchvault.tonal_card import card_lines, card_record

    path, name = split_name(what)
    if path.is_file():
        settings = make_settings(known, no_card=no_card)
        card = photo_card(path, name, one_layout(marks, [path]), settings, form, archive_folder)
    elif archive_folder is None:
        raise ArchiveError(
            f"{what}: no such photo, and no archive named to look for a swatch in: name a photo, "
            "or give --archive FOLDER"
        )
    elif form is not None or marks is not None:
        raise click.UsageError("--form and --marks go with a photo: a stored swatch has its own")
    else:
        card = swatch_card(archive_folder, what)
    if svg is not None:
        from swatchvault.tonal_drawing import card_svg

        write_text_file(svg, card_svg(card, paper), ".svg")
    if as_json:
        click.echo(json.dumps(card_record(card), ensure_ascii=False))
        return
    click.echo("\n".join(card_lines(card)))
    if svg is not None:
        click.echo(f"wrote {svg}")


def photo_card(
    path: Path,
    name: str | None,
    layout: Layout | None,
    settings: Settings,
    form: str | None,
    archive_folder: Path | None,
) -> Card:
    """The card of a swatch in a photo that need not be in an archive."""
    from ingest.pipeline import prepare_file
    from swatchvault.archive import eye_rule, open_archive
    from swatchvault.by_eye import as_told
    from swatchvault.tonal_card import Card
    from swatchvault.tonal_of import beside_archive, shown

    ready = prepare_file(path, layout=layout, settings=settings)
    names = [s.name for s in ready.layout.swatches]
    if name is None and len(names) != 1:
        have = ", ".join(names) or "none"
        raise CompareError(
            f"{path.name}: has {len(names)} swatches ({have}); pick one as {path.name}:NAME"
        )
    if name is not None and name not in names:
        raise CompareError(f"{path.name}: has no swatch named {name!r}; it has {', '.join(names)}")
    index = names.index(name) if name is not None else 0
    look = shown(ready, index, settings)
    title = path.stem if name is None else f"{path.stem}: {name}"
    of = tuple(t[:10] for t in (ready.photo.taken_at,) if t)
    card = Card(title, of, form, look.record, look.flags, look.map, look.picture)
    if archive_folder is None:
        return card
    with open_archive(archive_folder) as archive:
        record = as_told(look.record, look.flags, eye_rule(archive.conn))
        card = replace(card, record=record)
        if form is None and (record or {}).get("class") != "semi-solid":
            return card
        if form is None:
            said = "Not compared with your other semi-solids: say how the yarn lies, with --form."
            return replace(card, notes=(said,))
        return replace(card, peers=beside_archive(archive.conn, look.record, look.flags, form))


def swatch_card(folder: Path, label: str) -> Card:
    """The card of a swatch in the archive, by the photo that tells how even it is."""
    from swatchvault.archive import open_archive
    from swatchvault.tonal_of import card_of_swatch

    with open_archive(folder) as archive:
        return card_of_swatch(archive, label)
