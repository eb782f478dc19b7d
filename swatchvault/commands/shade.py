"""`predict`, `correct` and `reach`: shades from recipes, learned from the archive's own lots."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from swatchvault.commands.find import FORMS, K_L, print_json, query_of
from swatchvault.commands.options import NUMBER, WHOLE, archive_option, json_option, need_archive
from swatchvault.commands.shade_asked import (
    additions_plan,
    base_known,
    dyed_after_photo,
    dyes_at_hand,
    pot_and_target,
    read_recipe,
    usual_k_l,
)
from swatchvault.commands.sums import say_caution, smallest_option
from swatchvault.errors import ArchiveError

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
    from swatchvault.dyeing import question_depth
    from swatchvault.foretell import foretell
    from swatchvault.foretell_words import foretold_lines
    from swatchvault.potreading import doubt_of_target

    with open_archive(need_archive(archive_folder)) as archive:
        depths = read_recipe(archive.conn, base, recipe, told)
        query = None if against is None else query_of(archive.conn, against, None)
        known, notes = base_known(archive.conn, base, form, overdyed, query, k_l)
    found = foretell(
        known,
        depths,
        None if query is None else query.target,
        None if query is None else doubt_of_target(query, known.setup_id),
    )
    question = question_depth(sum(depths.values())) if depths else None
    notes += [question] if question else []
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
    from swatchvault.archive.dyed import base_and_form, dyed_on_base
    from swatchvault.foretell import correct
    from swatchvault.foretell_words import correction_lines
    from swatchvault.knownbase import know_base
    from swatchvault.potreading import read_pot

    with open_archive(need_archive(archive_folder)) as archive:
        conn = archive.conn
        pot, query, notes = pot_and_target(conn, lot, target, form)
        if pot.lot.overdyes and not overdyed:
            raise ArchiveError(
                f"lot {pot.lot.name!r} was dyed over an earlier lot: say --overdyed to reckon with "
                "the dye under it"
            )
        dyed = dyed_on_base(conn, *base_and_form(conn, pot.swatch))
        k_l = usual_k_l(conn, pot, query) if k_l is None else k_l
        known = know_base(dyed, include_overdyed=overdyed, without=[pot.lot.name], k_l=k_l)
        at_hand = dyes_at_hand(conn, known, dyes, without)
        reading = read_pot(conn, pot, query, known.k_l, known.setup_id)
        found = correct(known, pot, reading, at_hand)
        plan, stocks = additions_plan(conn, found, smallest)
        notes += [*dyed_after_photo(conn, pot), *reading.warnings]
    if as_json:
        doses = [d for part in plan.parts for d in part.doses] if plan else []
        amounts = [
            {"dye": d.dye, "depth_percent": d.depth_percent, "dye_g": d.dye_g}
            | {"stock": d.stock, "stock_ml": d.stock_ml, "measure": d.words}
            for d in doses
        ]
        hints = list(plan.hints) if plan else []
        print_json({**found.record(), "amounts": amounts, "warnings": notes + hints})
        return
    _say(notes, correction_lines(found, plan, stocks))
    say_caution()


@click.command("reach")
@click.argument("target")
@click.option("--base", required=True, help="The base to dye on.")
@dyes_option
@without_option
@click.option("--most-dyes", type=click.IntRange(1, 4), default=3, show_default=True)
@click.option("-n", "count", type=click.IntRange(1), default=8, show_default=True)
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
    from swatchvault.archive.dyed import dyes_without_lots
    from swatchvault.archive.made import made_of
    from swatchvault.foretell import ways_to
    from swatchvault.foretell_words import ways_lines
    from swatchvault.potreading import doubt_of_target

    with open_archive(need_archive(archive_folder)) as archive:
        conn = archive.conn
        query = query_of(conn, target, None)
        known, notes = base_known(conn, base, form, overdyed, query, k_l)
        at_hand = dyes_at_hand(conn, known, dyes, without)
        made = made_of(conn, [query.swatch_id]) if query.swatch_id else {}
        untried = dyes_without_lots(conn, known.model.dyes)
    used = frozenset(d.dye for m in made.values() for d in m.dyes)
    found = ways_to(
        known,
        query.target,
        at_hand,
        used=used,
        untried=untried,
        most_dyes=most_dyes,
        count=count,
        target_doubt=doubt_of_target(query, known.setup_id),
    )
    notes += list(query.target.warnings)
    if as_json:
        print_json({**found.record(), "warnings": notes})
        return
    _say(notes, ways_lines(found))


def _say(notes: Sequence[str], lines: Sequence[str]) -> None:
    click.echo("\n".join([*(f"! {note}" for note in notes), *lines]))
