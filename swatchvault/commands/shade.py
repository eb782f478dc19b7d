"""`predict`, `correct` and `reach`: shades from recipes, learned from the archive's own lots."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from swatchvault.commands.find import FORMS, K_L, print_json, query_of
from swatchvault.commands.options import NUMBER, WHOLE, archive_option, json_option, need_archive
from swatchvault.commands.shade_asked import read_recipe
from swatchvault.commands.sums import say_caution, smallest_option
from swatchvault.foretell_asked import (
    MOST_DYES,
    MOST_WAYS,
    AtHand,
    LearnFrom,
    corrected,
    foretold_on,
    ways_on,
)

overdyed_option = click.option(
    "--overdyed", is_flag=True, help="Learn from lots that overdye an earlier one too."
)
form_option = click.option(
    "--form", type=FORMS, help="Learn from this form; else the one most lots were measured in."
)
dyes_option = click.option(
    "--dye", "dyes", multiple=True, help="Only this dye; may be said several times."
)
without_option = click.option("--without", multiple=True, help="Not this dye, several times too.")


@click.command("predict")
@click.argument("base")
@click.argument("recipe", nargs=-1)
@click.option("--colourway", help="Or the recipe of this colourway.")
@click.option("--from-base", help="That recipe as it is for another base.")
@click.option("--version", type=WHOLE, help="Its version; the newest if not said.")
@click.option("--times", type=NUMBER, default=1.0, help="Every depth times this: 0.5 is half.")
@click.option("--against", help="How far from this: 45,20,-10, '#7a4b90', a swatch, a photo.")
@K_L
@form_option
@overdyed_option
@archive_option
@json_option
def predict_command(
    base: str,
    recipe: tuple[str, ...],
    against: str | None,
    k_l: float,
    form: str | None,
    overdyed: bool,
    archive_folder: Path | None,
    as_json: bool,
    **told: Any,
) -> None:
    """What RECIPE will give on BASE, and how sure that is: "Ember=0.8" "Tarn=0.2", in % depth.

    Learned from the lots of that base in the archive; outside the depths and mixtures they have
    seen nothing is said.
    """
    from swatchvault.archive import open_archive
    from swatchvault.foretell_words import foretold_lines

    with open_archive(need_archive(archive_folder)) as archive:
        depths = read_recipe(archive.conn, base, recipe, told)
        query = None if against is None else query_of(archive.conn, against, None)
        learn = LearnFrom(form, overdyed, k_l)
        found, notes = foretold_on(archive.conn, base, depths, learn, query)
    if as_json:
        print_json({**found.record(), "warnings": notes})
        return
    _say(notes, foretold_lines(found))


@click.command("correct")
@click.argument("lot")
@click.option("--to", "target", help="The colour wanted, as --against of predict; else its master.")
@dyes_option
@without_option
@click.option("--k-l", type=NUMBER, help="kL of ΔE00; the master's where it is the target, else 2.")
@form_option
@overdyed_option
@smallest_option
@archive_option
@json_option
def correct_command(
    lot: str,
    target: str | None,
    dyes: tuple[str, ...],
    without: tuple[str, ...],
    k_l: float | None,
    form: str | None,
    overdyed: bool,
    smallest: float,
    archive_folder: Path | None,
    as_json: bool,
) -> None:
    """What to add to the pot of LOT so that it comes nearer to its master or a colour.

    Dye can be added, not taken out. The lot needs a measured swatch: dry a snippet first.
    """
    from swatchvault.archive import open_archive
    from swatchvault.foretell_words import correction_lines

    with open_archive(need_archive(archive_folder)) as archive:
        query = None if target is None else query_of(archive.conn, target, None)
        learn, at_hand = LearnFrom(form, overdyed, k_l), AtHand(dyes, without)
        put = corrected(archive.conn, lot, query, learn, at_hand, smallest)
    if as_json:
        print_json(put.record())
        return
    _say(put.notes, correction_lines(put.found, put.plan, put.stocks))
    say_caution()


@click.command("reach")
@click.argument("target")
@click.option("--base", required=True, help="The base to dye on.")
@dyes_option
@without_option
@click.option("--most-dyes", type=click.IntRange(1, 4), default=MOST_DYES, show_default=True)
@click.option("-n", "count", type=click.IntRange(1), default=MOST_WAYS, show_default=True)
@K_L
@form_option
@overdyed_option
@archive_option
@json_option
def reach_command(
    target: str,
    base: str,
    dyes: tuple[str, ...],
    without: tuple[str, ...],
    most_dyes: int,
    count: int,
    k_l: float,
    form: str | None,
    overdyed: bool,
    archive_folder: Path | None,
    as_json: bool,
) -> None:
    """Which dyes of yours get nearest to TARGET on a base, predicted: few dyes before many.

    TARGET: a Lab triple (45,20,-10), a hex (#7a4b90), a swatch, a photo. For a swatch it also
    says whether another set of dyes could have given it. `near` finds what was really dyed.
    """
    from swatchvault.archive import open_archive
    from swatchvault.foretell_words import ways_lines

    with open_archive(need_archive(archive_folder)) as archive:
        query = query_of(archive.conn, target, None)
        found, notes = ways_on(
            archive.conn,
            base,
            query,
            LearnFrom(form, overdyed, k_l),
            AtHand(dyes, without),
            most_dyes=most_dyes,
            count=count,
        )
    if as_json:
        print_json({**found.record(), "warnings": notes})
        return
    _say(notes, ways_lines(found))


def _say(notes: Sequence[str], lines: Sequence[str]) -> None:
    click.echo("\n".join([*(f"! {note}" for note in notes), *lines]))
