"""`recipe`: a recipe on a weight of goods, what changed in it, and a page to print."""

from __future__ import annotations

import json
import unicodedata
from dataclasses import asdict
from pathlib import Path

import click

from swatchvault.amounts import parse_amount
from swatchvault.cautions import CAUTION_LINE
from swatchvault.commands.options import RATIO, WHOLE, archive_option, json_option, need_archive
from swatchvault.commands.sums import say_caution, smallest_option
from swatchvault.errors import ArchiveError

PATH = click.Path(path_type=Path)


@click.command("recipe")
@click.argument("colourway")
@click.argument("base")
@click.option("--version", type=WHOLE, help="The version; the newest if not said.")
@click.option("--goods", help='Dry weight of the goods, such as "250 g"; 100 g if not said.')
@click.option("--ratio", type=RATIO, help="Liquor ratio, 30 or 1:30: says the water too.")
@click.option("--stock", "stocks", multiple=True, help='"DYE=CODE": the stock to use.')
@click.option("--powder", "powders", multiple=True, help="DYE: weigh it as powder.")
@click.option(
    "--against",
    type=WHOLE,
    help="Version to say what changed since; the one it came from if not said.",
)
@click.option("--print", "to", type=PATH, help="Write a page to print (.html or .txt).")
@smallest_option
@archive_option
@json_option
def recipe_command(
    colourway: str,
    base: str,
    version: int | None,
    goods: str | None,
    ratio: float | None,
    stocks: tuple[str, ...],
    powders: tuple[str, ...],
    against: int | None,
    to: Path | None,
    smallest: float,
    archive_folder: Path | None,
    as_json: bool,
) -> None:
    """The recipe of COLOURWAY on BASE, for a weight of goods, in grams and millilitres."""
    from swatchvault.archive import get_recipe, open_archive
    from swatchvault.recipe_asked import SheetAsked, sheet_of
    from swatchvault.recipe_sheet import sheet_lines, write_sheet

    goods_g = parse_amount(goods or "100 g", bare="g").g
    asked = SheetAsked(goods_g, ratio, against, sources(stocks, powders), smallest)
    with open_archive(need_archive(archive_folder)) as archive:
        recipe = get_recipe(archive.conn, colourway, base, version)
        sheet = sheet_of(archive.conn, archive.thumbs, recipe, asked)
    if to is not None:
        write_sheet(to, sheet)
        click.echo(f"wrote {to}")
    elif as_json:
        record = {**asdict(sheet), "thumb": None, "caution": CAUTION_LINE}
        click.echo(json.dumps(record, ensure_ascii=False))
    else:
        click.echo("\n".join(sheet_lines(sheet)))
        say_caution()


def sources(
    stocks: tuple[str, ...], powders: tuple[str, ...], packs: tuple[str, ...] = ()
) -> dict[str, str | None]:
    """Where each dye named in the options comes from: a stock's code, or ``None`` for powder, such
    as that of a pack."""
    weighed = (*powders, *(pair(text)[0] for text in packs))
    return {**dict(pair(text) for text in stocks), **dict.fromkeys(weighed)}


def pair(text: str) -> tuple[str, str]:
    """``DYE=WHAT`` in two."""
    dye, sign, what = text.partition("=")
    if not sign or not dye.strip() or not what.strip():
        raise ArchiveError(f"{text!r} cannot be read: write the dye, = and the rest, as Ember=S1")
    return unicodedata.normalize("NFC", dye.strip()), unicodedata.normalize("NFC", what.strip())
