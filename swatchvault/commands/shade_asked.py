"""What `predict`, `correct` and `reach` were asked, from words to the archive's own."""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

from swatchvault.commands.find import query_of
from swatchvault.days import when
from swatchvault.errors import AmountError, CompareError, NotFound
from swatchvault.potwork import choose_stocks, local_now
from swatchvault.typed_numbers import read_percent

if TYPE_CHECKING:
    from swatchvault.archive.dyed import PotAsDyed
    from swatchvault.foretell import Correction
    from swatchvault.knownbase import KnownBase
    from swatchvault.pot import PotPlan, StockChoice
    from swatchvault.queries import Query


def read_recipe(
    conn: sqlite3.Connection, base: str, typed: Sequence[str], told: Mapping[str, Any]
) -> dict[str, float]:
    """The recipe in % DOS by the archive's names of its dyes."""
    from swatchvault.amounts import check_number
    from swatchvault.archive import get_dye

    times = check_number("--times", told["times"], unit="times the depth", above=0.0)
    if bool(typed) == (told["colourway"] is not None):
        raise click.UsageError('say the dyes, such as "Ember=0.8", or --colourway, one of the two')
    if not typed:
        return _planned(conn, told["colourway"], told["from_base"] or base, told["version"], times)
    depths: dict[str, float] = {}
    for text in typed:
        name, _, number = text.partition("=")
        depth = read_percent(
            number,
            f"the depth of {name.strip()}",
            "write the dye, = and its depth in % of the dry goods, as Ember=0.8",
        )
        dye = get_dye(conn, name).name
        if dye in depths:
            raise AmountError(f"{dye} is named twice: give its depth once")
        depths[dye] = depth * times
    return depths


def _planned(
    conn: sqlite3.Connection, colourway: str, base: str, version: int | None, times: float
) -> dict[str, float]:
    from swatchvault.archive import get_recipe

    recipe = get_recipe(conn, colourway, base, version)
    if len(recipe.parts) != 1 or recipe.parts[0].share_percent < 100.0:
        raise CompareError(
            f"the recipe of {recipe.colourway!r} on {recipe.base!r} is dyed in "
            f"{len(recipe.parts)} part(s) of the goods, which have no one colour: give the dyes of "
            "one part instead"
        )
    return {d.dye: d.depth_percent * times for d in recipe.parts[0].dyes}


def base_known(
    conn: sqlite3.Connection,
    base: str,
    form: str | None,
    overdyed: bool,
    query: Query | None,
    k_l: float,
) -> tuple[KnownBase, list[str]]:
    """The base's model, in the target's form where enough lots have it, with a note if not."""
    from swatchvault.archive.dyed import dyed_on_base
    from swatchvault.knownbase import know_base
    from swatchvault.predict import FEWEST_LOTS

    dyed = dyed_on_base(conn, base, form)
    wanted = query.photos[0].form if query is not None and query.photos else None
    if form is None and wanted and dyed.forms.get(wanted, 0) >= FEWEST_LOTS:
        dyed = dyed_on_base(conn, base, wanted)
    notes = []
    if wanted and wanted != dyed.form:
        notes.append(
            f"The target is a {wanted}, the lots are each a {dyed.form}: form alone changes the "
            "colour."
        )
    return know_base(dyed, include_overdyed=overdyed, k_l=k_l), notes


def dyes_at_hand(
    conn: sqlite3.Connection, known: KnownBase, dyes: Sequence[str], without: Sequence[str]
) -> list[str]:
    """Dyes of the model that were asked for; unknown names are an error."""
    from swatchvault.archive import get_dye

    wanted = {get_dye(conn, d).name for d in dyes} or set(known.model.dyes)
    wanted -= {get_dye(conn, d).name for d in without}
    return [d for d in known.model.dyes if d in wanted]


def pot_and_target(
    conn: sqlite3.Connection, lot: str, target: str | None, form: str | None
) -> tuple[PotAsDyed, Query, list[str]]:
    """The pot in the target's form where it has one, the target, and a note where forms differ."""
    from swatchvault.archive import current_master, get_lot
    from swatchvault.archive.dyed import base_and_form, pot_as_dyed
    from swatchvault.queries import query_of_swatch

    get_lot(conn, lot)
    if target is not None:
        query = query_of(conn, target, None)
    else:
        pot = pot_as_dyed(conn, lot, form)
        base, its_form = base_and_form(conn, pot.swatch)
        held = pot.colourway and current_master(conn, pot.colourway, base, its_form)
        if not held:
            raise NotFound(
                f"lot {lot!r} has no master as {its_form}: say the colour wanted with --to"
            )
        query = query_of_swatch(conn, held.swatch)
    wanted = query.photos[0].form if query.photos else None
    try:
        pot = pot_as_dyed(conn, lot, form or wanted)
    except NotFound:
        if form or not wanted:
            raise
        pot = pot_as_dyed(conn, lot)
    notes = list(query.target.warnings)
    its_form = base_and_form(conn, pot.swatch)[1]
    if wanted and wanted != its_form:
        notes.append(
            f"The target is a {wanted}, the lot's swatch a {its_form}: form alone changes the "
            "colour."
        )
    return pot, query, notes


def usual_k_l(conn: sqlite3.Connection, pot: PotAsDyed, query: Query) -> float:
    """kL as a check has it where the target is the lot's master, else as a search has it."""
    from swatchvault.archive import current_master
    from swatchvault.archive.dyed import base_and_form
    from swatchvault.pair import Conditions

    if pot.colourway is None or query.spoken is None:
        return Conditions.k_l
    held = current_master(conn, pot.colourway, *base_and_form(conn, pot.swatch))
    return held.k_l if held and held.swatch == query.spoken.swatch else Conditions.k_l


def dyed_after_photo(conn: sqlite3.Connection, pot: PotAsDyed) -> list[str]:
    """A note where dye went in later than the photo that speaks for the pot was taken."""
    from swatchvault.archive import get_pot
    from swatchvault.potclock import DAY, read_time

    if not pot.colour.before_last_dye:
        return []
    steps = (d.step for d in get_pot(conn, pot.lot.name).steps)
    times = [s.at for s in steps if s.kind == "dye in" and s.at and len(s.at) > DAY]
    now = local_now()
    late = max(times, key=lambda told: read_time(told, now))
    return [
        f"Dye went in at {when(late)}, after the photo of {pot.swatch} ({when(pot.taken_at)}): "
        "photograph it again, dry."
    ]


def additions_plan(
    conn: sqlite3.Connection, found: Correction, smallest: float
) -> tuple[PotPlan | None, Mapping[str, StockChoice]]:
    """The additions in grams and in millilitres of the stocks that the archive holds."""
    from swatchvault.archive import PlannedDye, Recipe, RecipePart
    from swatchvault.pot import plan_pot

    if not found.additions.add:
        return None, {}
    part = RecipePart(
        "addition", dyes=tuple(PlannedDye(d, c) for d, c in found.additions.add.items())
    )
    recipe = Recipe(found.target.name, found.known.base, parts=(part,))
    stocks = choose_stocks(conn, recipe, found.pot.goods_g, {}, need=False)
    plan = plan_pot(
        recipe, found.pot.goods_g, stocks, today=local_now().date(), smallest_ml=smallest
    )
    return plan, stocks
