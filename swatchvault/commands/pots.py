"""`pot`: a lot recorded while it is made, each step stored as it is done."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Any

import click

from swatchvault.amounts import parse_amount
from swatchvault.commands.making import sources
from swatchvault.commands.options import RATIO, WHOLE, archive_option, json_option, need_archive
from swatchvault.commands.potafter import (
    at_option,
    pot_began,
    pot_edit,
    pot_end,
    pot_log,
    pot_skein,
    pot_undo,
    step_options,
)
from swatchvault.commands.potsteps import (
    ask_about,
    dyes_that_went_in,
    of_packs,
    planned_step,
    stock_lines,
)
from swatchvault.commands.sums import say_caution
from swatchvault.errors import ArchiveError
from swatchvault.potclock import ENDS_A_HOLD, TIMED, clock, still_running
from swatchvault.potsource import aged_stocks, unknown_doses
from swatchvault.potwork import (
    choose_stocks,
    doubtful_doses,
    local_now,
    make_step,
    not_told,
    plan_of,
    step_words,
)

#: Kinds of step that are told with their caution.
CAREFUL = ("dye in", "acid in", "heat", "hold")


@click.group("pot")
def pot_command() -> None:
    """A lot recorded while it is made: started, each step as it is done, ended.

    Every step is stored at once, so a log that was broken off is kept as far as it got.
    """


@pot_command.command("start")
@click.argument("lot")
@click.argument("colourway")
@click.argument("base")
@click.option("--goods", required=True, help='Dry weight of the goods, such as "200 g".')
@click.option("--version", type=WHOLE, help="The recipe's version; the newest if not said.")
@click.option("--ratio", type=RATIO, help="Liquor ratio, 30 or 1:30.")
@click.option("--also", multiple=True, help="Another base in the same pot.")
@click.option("--over", help="The lot that this one overdyes.")
@click.option("--water", help="Which water.")
@click.option("--stock", "stocks", multiple=True, help='"DYE=CODE": the stock to use.')
@click.option("--powder", "powders", multiple=True, help="DYE: weigh it as powder.")
@at_option
@archive_option
def pot_start(
    lot: str,
    colourway: str,
    base: str,
    goods: str,
    version: int | None,
    ratio: float | None,
    stocks: tuple[str, ...],
    powders: tuple[str, ...],
    at: str | None,
    archive_folder: Path | None,
    **told: Any,
) -> None:
    """Start LOT from the recipe of COLOURWAY on BASE, and show its amounts."""
    from swatchvault.archive import Lot, get_recipe, next_time, open_archive, spoons_of, start_pot
    from swatchvault.pot import plan_pot
    from swatchvault.potclock import check_time, read_time
    from swatchvault.recipe_sheet import plan_lines

    now = local_now()
    when = now if at is None else read_time(at, now)
    source = sources(stocks, powders)
    goods_g = parse_amount(goods, bare="g").g
    with open_archive(need_archive(archive_folder)) as archive:
        recipe = get_recipe(archive.conn, colourway, base, version)
        to_try = next_time(archive.conn, recipe.colourway, recipe.base)
        on = when.date()
        chosen = choose_stocks(archive.conn, recipe, goods_g, source, need=True, on=on)
        plan = plan_pot(
            recipe,
            goods_g,
            chosen,
            today=on,
            liquor_ratio=ratio,
            spoons=spoons_of(archive.conn),
        )
        begun = Lot(
            code=lot,
            bases=(recipe.base, *told["also"]),
            colourway=recipe.colourway,
            recipe_version=recipe.version,
            overdyes=told["over"],
            dyed_on=f"{when:%Y-%m-%d}",
            dry_g=goods_g,
            liquor_ml=plan.liquor_ml,
            water=told["water"],
        )
        planned_from = {
            d.dye: chosen[d.dye].code if d.dye in chosen else None
            for part in recipe.parts
            for d in part.dyes
        }
        start_pot(archive.conn, begun, check_time(when, None, now), planned_from)
    day = "" if when.date() == now.date() else f" on {when:%Y-%m-%d}"
    click.echo(
        f"started {lot}{day} at {when:%H:%M}: {recipe.colourway} on {recipe.base}, "
        f"version {recipe.version}"
    )
    click.echo("\n".join([*plan_lines(plan), *([f"note: {to_try}"] if to_try else [])]))
    say_caution()


@pot_command.command("did")
@click.argument("lot")
@click.argument("what")
@click.option("--dye", "dyes", multiple=True, help='"DYE=80 mL": what really went in.')
@click.option("--stock", "stocks", multiple=True, help='"DYE=CODE": from which stock.')
@click.option("--powder", "powders", multiple=True, help="DYE: weighed as powder.")
@click.option("--pack", "packs", multiple=True, help='"DYE=CODE": powder of that pack.')
@step_options
@archive_option
def pot_did(
    lot: str,
    what: str,
    dyes: tuple[str, ...],
    stocks: tuple[str, ...],
    powders: tuple[str, ...],
    packs: tuple[str, ...],
    archive_folder: Path | None,
    **told: Any,
) -> None:
    """Record a step of LOT as done. WHAT: a planned step's number, or a kind such as "acid in".

    A kind means the next planned step of that kind, if one is not done yet. Amounts come from
    the plan unless you say what really went in.
    """
    from swatchvault.archive import get_pot, open_archive, record_step
    from swatchvault.archive.doubts import doubts, new_doubts

    archive_at = need_archive(archive_folder)
    with open_archive(archive_at) as archive:
        pot = get_pot(archive.conn, lot)
        named = sources(stocks, powders, packs)
        plan = plan_of(archive.conn, pot, named)
        planned = planned_step(plan, pot, what)
        kind = planned.kind if planned else what
        went_in = dyes_that_went_in(archive.conn, plan, pot, planned, kind, dyes, named)
        went_in = of_packs(went_in, packs)
        left_out = not_told(plan, pot, planned, went_in) if dyes else []
        if dyes:
            ask_about(doubtful_doses(archive.conn, plan, pot, went_in), went_in, named)
        step = make_step(pot, kind, planned, told)
        ends = kind in ENDS_A_HOLD and not pot.ended_at
        cut = still_running((d.step for d in pot.steps), local_now()) if ends else None
        before = doubts(archive.conn)
        number = record_step(archive.conn, lot, step, planned.number if planned else None, went_in)
        lines = [*stock_lines(archive.conn, went_in), *new_doubts(archive.conn, before)]
        day = date.fromisoformat((step.at or local_now().isoformat())[:10])
        aged = aged_stocks(archive.conn, went_in, pot, day)
        lines += [f"note: {hint}" for hint in aged]
        lines += [
            f'! {said}: say which, with `swatchvault pot edit "{lot}" {number} --stock '
            f'"{dye}=CODE"`, or how many grams, with --dye "{dye}=5 g"'
            for dye, said in unknown_doses(archive.conn, went_in).items()
        ]
        if left_out:
            doses = (d for part in (plan.parts if plan else ()) for d in part.doses)
            amount = next((d.words for d in doses if d.dye == left_out[0]), "10 mL")
            lines.append(
                f"! planned here and not told: {', '.join(left_out)}; none of it is in the log. If "
                f'it went in: swatchvault pot did "{lot}" "dye in" --dye "{left_out[0]}={amount}"'
            )
    if pot.ended_at:
        ended = pot.ended_at[:16].replace("T", " ")
        lines = [*lines, f"! the lot had ended {ended}; the step is kept in its log all the same"]
    if cut:
        again = f'swatchvault pot undo "{lot}"'
        lines = [
            *lines,
            f"! this ends the hold that ran, {clock(cut.left_s)} to go; if it still runs: {again}",
        ]
    click.echo("\n".join([f"{number}. {step_words(step)}", *lines]))
    if step.kind in TIMED and step.minutes and not pot.ended_at:
        _say_time(lot, archive_folder, False)
    if kind in CAREFUL:
        say_caution()


@pot_command.command("look")
@click.argument("lot")
@step_options
@archive_option
def pot_look(lot: str, archive_folder: Path | None, **told: Any) -> None:
    """Record a look at the liquor: how much colour is left (--left), pH, temperature."""
    if told["left"] is None and told["ph"] is None and not told["note"]:
        raise click.UsageError("say what you saw: --left, --ph or --note")
    _record(lot, "look", archive_folder, told)


@pot_command.command("hold")
@click.argument("lot")
@step_options
@archive_option
def pot_hold(lot: str, archive_folder: Path | None, **told: Any) -> None:
    """Begin a hold: minutes and temperature from the plan unless said."""
    _record(lot, "hold", archive_folder, told)
    _say_time(lot, archive_folder, False)


@pot_command.command("time")
@click.argument("lot")
@archive_option
@json_option
def pot_time(lot: str, archive_folder: Path | None, as_json: bool) -> None:
    """How long the latest hold, soak or other timed step of LOT has left, from its stored start."""
    _say_time(lot, archive_folder, as_json)


def _record(lot: str, kind: str, archive_folder: Path | None, told: dict[str, Any]) -> None:
    from swatchvault.archive import get_pot, open_archive, record_step

    with open_archive(need_archive(archive_folder)) as archive:
        pot = get_pot(archive.conn, lot)
        planned = planned_step(plan_of(archive.conn, pot, {}), pot, kind)
        step = make_step(pot, kind, planned, told)
        if kind == "hold" and step.minutes is None:
            raise ArchiveError(f"the hold of {lot} has no planned minutes: say --minutes")
        number = record_step(archive.conn, lot, step, planned.number if planned else None)
    click.echo(f"{number}. {step_words(step)}")
    if kind in CAREFUL:
        say_caution()


def _say_time(lot: str, archive_folder: Path | None, as_json: bool) -> None:
    from swatchvault.archive import get_pot, open_archive
    from swatchvault.potclock import latest_timed

    with open_archive(need_archive(archive_folder)) as archive:
        pot = get_pot(archive.conn, lot)
    hold = latest_timed((d.step for d in pot.steps), local_now())
    if as_json:
        click.echo(json.dumps(None if hold is None else asdict(hold), default=str))
    else:
        click.echo("no step with minutes in this log yet" if hold is None else hold.words)


for _command in (pot_edit, pot_began, pot_undo, pot_log, pot_skein, pot_end):
    pot_command.add_command(_command)
