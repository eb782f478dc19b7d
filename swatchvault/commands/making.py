"""`recipe`: a recipe on a weight of goods, what changed in it, and a page to print."""

from __future__ import annotations

import json
import unicodedata
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from swatchvault.amounts import parse_amount
from swatchvault.cautions import CAUTION_LINE
from swatchvault.commands.options import RATIO, WHOLE, archive_option, json_option, need_archive
from swatchvault.commands.sums import say_caution, smallest_option
from swatchvault.errors import ArchiveError
from swatchvault.potwork import choose_stocks, local_now

if TYPE_CHECKING:
    pass

PATH = click.Path(path_type=Path)


@click.command("recipe")
@click.argument("colourway")
@click.argument("base")
@click.option("--version", type=WHOLE, help="The version; the newest if not said.")
@click.option("--goods", help='Dry weight of the goods, such as "250 g"; 100 g if not said.')
@click.option("--ratio", type=RATIO, help="Liquor ratio, 30 or 1:30: says the water too.")
@click.option("--stock", "stocks", multiple=True, help='"DYE=CODE": the stock to use.')
@click.option("--powder", "powders", multiple=True, help="DYE: weigh it as powder.")
@click.option("--against", type=WHOLE, help="Another version: says what changed since.")
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
    from swatchvault.archive import get_recipe, next_time, open_archive, recipe_colour, spoons_of
    from swatchvault.archive.new_recipe import repeats
    from swatchvault.other_base import other_base_lines
    from swatchvault.pot import plan_pot
    from swatchvault.recipe_sheet import RecipeSheet, recipe_changes, sheet_lines, write_sheet

    goods_g = parse_amount(goods or "100 g", bare="g").g
    with open_archive(need_archive(archive_folder)) as archive:
        conn = archive.conn
        recipe = get_recipe(conn, colourway, base, version)
        older = None if against is None else get_recipe(conn, colourway, base, against)
        chosen = choose_stocks(conn, recipe, goods_g, sources(stocks, powders), need=False)
        colour = recipe_colour(conn, recipe.colourway, recipe.base, recipe.version)
        to_try = next_time(conn, recipe.colourway, recipe.base)
        spoons = spoons_of(conn)
        elsewhere, again = other_base_lines(conn, recipe), repeats(conn, recipe)
        thumb = None if colour is None else archive.thumbs / f"{colour.photo_sha256}.jpg"
    plan = plan_pot(
        recipe,
        goods_g,
        chosen,
        today=local_now().date(),
        liquor_ratio=ratio,
        smallest_ml=smallest,
        spoons=spoons,
    )
    sheet = RecipeSheet(
        recipe=recipe,
        plan=plan,
        changes=None if older is None else tuple(recipe_changes(older, recipe)),
        against=against,
        lab=None if colour is None else colour.lab,
        lab_of=None if colour is None else f"swatch {colour.swatch} of lot {colour.lot}",
        u_lab=None if colour is None else colour.u_lab,
        thumb=thumb.read_bytes() if thumb is not None and thumb.is_file() else None,
        to_try=to_try,
        other_base=elsewhere,
        again=again,
    )
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
