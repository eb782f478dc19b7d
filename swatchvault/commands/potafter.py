"""`pot edit`, `began`, `undo`, `log`, `skein`, `end`: a log put right, and how a pot ended."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from swatchvault.amounts import parse_amount
from swatchvault.commands.making import pair, sources
from swatchvault.commands.options import NUMBER, WHOLE, archive_option, json_option, need_archive
from swatchvault.commands.potsteps import edited_lines, log_lines, put_other_dyes, stock_lines
from swatchvault.commands.sums import say_caution
from swatchvault.days import when as when_words
from swatchvault.errors import ArchiveError
from swatchvault.potclock import latest_timed
from swatchvault.potsource import unknown_doses
from swatchvault.potwork import (
    doubtful_doses,
    local_now,
    noted,
    plan_of,
    step_words,
)
from swatchvault.typed_numbers import shown

if TYPE_CHECKING:
    from swatchvault.archive import DyeIn

at_option = click.option("--at", help="When, if not now: 10:05, or 2026-03-01T10:05.")


def step_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """What can be noted of a step."""
    for option in (
        click.option("--note", help="Anything."),
        click.option("--left", help="Colour left: none, trace, some, much, or 15 %."),
        click.option("--ph", type=NUMBER, help="pH measured."),
        click.option("--minutes", type=NUMBER, help="Minutes it takes or took."),
        click.option("--temperature", type=NUMBER, help="Temperature in °C."),
        click.option("--amount", help='What really went in, such as "20 mL".'),
        at_option,
    ):
        command = option(command)
    return command


@click.command("edit")
@click.argument("lot")
@click.argument("number", type=WHOLE)
@click.option("--kind", help="What it was.")
@click.option("--dye", "dyes", multiple=True, help='"DYE=80 mL": what really went in of it.')
@click.option("--instead", multiple=True, help='"DYE=OTHER": what went in was OTHER.')
@click.option("--stock", "stocks", multiple=True, help='"DYE=CODE": the stock it came from.')
@click.option("--powder", "powders", multiple=True, help="DYE: it was weighed as powder.")
@click.option("--pack", "packs", multiple=True, help='"DYE=CODE": it was powder of that pack.')
@step_options
@archive_option
def pot_edit(
    lot: str,
    number: int,
    kind: str | None,
    dyes: tuple[str, ...],
    instead: tuple[str, ...],
    stocks: tuple[str, ...],
    powders: tuple[str, ...],
    packs: tuple[str, ...],
    archive_folder: Path | None,
    **told: Any,
) -> None:
    """Correct step NUMBER of the log of LOT; what is not named stays.

    Of a dye that the step put in, that is corrected; of any other, what last went in of it. Which
    dye it was is corrected by --instead: its amount stays where --dye names none, and it came from
    what --stock or --powder says, else from the stock that `pot did` would take.
    """
    from swatchvault.archive import edit_dye_in, edit_step, get_pot, open_archive, transaction
    from swatchvault.archive.doubts import doubts, new_doubts

    source, amounts = sources(stocks, powders, packs), dict(map(pair, dyes))
    of_pack = dict(map(pair, packs))
    with open_archive(need_archive(archive_folder)) as archive:
        conn = archive.conn
        pot = get_pot(conn, lot)
        changes = {k: v for k, v in {"kind": kind, **noted(pot, told)}.items() if v is not None}
        if not changes and not amounts and not source and not instead:
            raise click.UsageError("say what to correct, such as --at or --amount")
        before = doubts(conn)
        changed: dict[str, tuple[DyeIn, DyeIn]] = {}
        with transaction(conn):
            edit_step(conn, lot, number, changes)
            for was, now in put_other_dyes(conn, pot, number, instead, amounts, source):
                changed[now.dye] = (was, now)
            for dye in dict.fromkeys((*amounts, *source)):
                was, now = edit_dye_in(
                    conn, lot, dye, amounts.get(dye), number=number, source=source, pack=of_pack
                )
                changed[now.dye] = (changed.get(now.dye, (was, now))[0], now)
        pot = get_pot(conn, lot)
        now_in = [now for _, now in changed.values()]
        lines = edited_lines(conn, changed.values())
        lines += new_doubts(conn, before)
        plan = plan_of(conn, pot, {})
        asked = doubtful_doses(conn, plan, pot, now_in) | unknown_doses(conn, now_in)
    done = next(d for d in pot.steps if d.number == number)
    lines += [f"! {said}: if that is not so, correct it again" for said in asked.values()]
    click.echo("\n".join([f"{number}. {step_words(done.step)}", *lines]))


@click.command("began")
@click.argument("lot")
@click.argument("at")
@archive_option
def pot_began(lot: str, at: str, archive_folder: Path | None) -> None:
    """Correct when LOT was started: AT is 10:05, or 2026-03-01T10:05.

    The lot's day follows where it was the day of the start.
    """
    from swatchvault.archive import edit_start, open_archive
    from swatchvault.potclock import check_time, read_time

    now = local_now()
    started = check_time(read_time(at, now), None, now)
    with open_archive(need_archive(archive_folder)) as archive:
        was, new = edit_start(archive.conn, lot, started)
    click.echo(f"lot {lot!r} began {when_words(new)}, was {when_words(was)}")


@click.command("undo")
@click.argument("lot")
@archive_option
def pot_undo(lot: str, archive_folder: Path | None) -> None:
    """Take back the end of LOT, else its step that was entered last, with the dyes that it put in.

    What it ended runs on. It is kept in the log as struck, and counted nowhere.
    """
    from swatchvault.archive import find, get_pot, open_archive, strike_last
    from swatchvault.archive.pages_pot import started_here
    from swatchvault.archive.struck import END

    with open_archive(need_archive(archive_folder)) as archive:
        before = get_pot(archive.conn, lot)
        struck = strike_last(archive.conn, lot)
        lines = stock_lines(archive.conn, struck.dyes, ", taken out again")
        from_notes = not started_here(archive.conn, find(archive.conn, "lot", lot))
        after = get_pot(archive.conn, lot)
    if struck.step.kind == END:
        click.echo(f"struck {step_words(struck.step)}; kept as struck, the pot is open again")
        return
    planned = next(d.plan_number for d in before.steps if d.number == struck.number)
    if planned is not None:
        lines.append(f"   planned step {planned} is open again")
    hold, was = (latest_timed((d.step for d in p.steps), local_now()) for p in (after, before))
    ran = was is not None and not was.ended_by and hold and was.started_at == hold.started_at
    if hold and not ran and not hold.ended_by and hold.left_s > 0:
        lines.append(f"   it had ended the {hold.kind}, which runs on: {hold.words}")
    if from_notes:
        lines.append("! the lot was written down in notes: take the step out of studio.toml too")
    said = f"struck {struck.number}. {step_words(struck.step)}; kept as struck, counted nowhere"
    click.echo("\n".join([said, *lines]))


@click.command("log")
@click.argument("lot")
@archive_option
@json_option
def pot_log(lot: str, archive_folder: Path | None, as_json: bool) -> None:
    """What was planned for LOT and what was done, apart."""
    from swatchvault.archive import get_pot, open_archive

    with open_archive(need_archive(archive_folder)) as archive:
        pot = get_pot(archive.conn, lot)
        plan = plan_of(archive.conn, pot, {})
    if as_json:
        record = {"plan": None if plan is None else asdict(plan), "done": asdict(pot)}
        click.echo(json.dumps(record, ensure_ascii=False))
        return
    click.echo("\n".join(log_lines(plan, pot)))
    say_caution()


@click.command("skein")
@click.argument("lot")
@click.argument("label")
@click.option("--in", "grams_in", help='Dry weight before, such as "100 g".')
@click.option("--out", "grams_out", help="Dry weight after.")
@click.option("--base", help="Its base, where the lot holds several.")
@click.option("--base-lot", help="The delivery of its base.")
@click.option("--from", "from_skein", help="The skein it was before, if broken or overdyed.")
@click.option("--from-lot", help="The lot of that skein, if another.")
@click.option("--note", help="Anything.")
@click.option("--really", is_flag=True, help="It weighed so, however odd that is.")
@archive_option
def pot_skein(
    lot: str,
    label: str,
    grams_in: str | None,
    grams_out: str | None,
    really: bool,
    archive_folder: Path | None,
    **told: str | None,
) -> None:
    """Record a skein of LOT, with its grams in and out. Can be said again with more.

    A skein that came out heavier than it can have gone in, or far lighter, and skeins that weigh
    more than the lot's goods are asked about first. Of one that broke each piece is a skein with
    --out and --from.
    """
    from swatchvault.archive import Skein, add_skein, open_archive, transaction
    from swatchvault.archive.lots import skein_doubts

    before, after = (
        None if g is None else parse_amount(g, bare="g").g for g in (grams_in, grams_out)
    )
    with open_archive(need_archive(archive_folder)) as archive, transaction(archive.conn):
        entry = add_skein(archive.conn, lot, Skein(label, before, after, **told))
        doubts = skein_doubts(archive.conn, lot, label)
        if doubts and not really:
            raise ArchiveError(
                f"skein {label!r} is not kept yet: {' And '.join(doubts)} Correct the weight, "
                "or add --really if it weighed so"
            )
    weights = "".join(
        f", {shown(g)} g {way}" for g, way in ((before, "in"), (after, "out")) if g is not None
    )
    click.echo(f"skein {label} of lot {lot}: {entry.change}{weights}")
    for line in doubts:
        click.echo(f"! {line}")


@click.command("end")
@click.argument("lot")
@click.option("--bled", help="What bled at the wash.")
@click.option("--handle", help="felted, matted, sticking, halo kept ...")
@click.option("--success", help="yes, no, or in your words.")
@click.option("--next-time", help="What to try next time.")
@at_option
@archive_option
def pot_end(lot: str, at: str | None, archive_folder: Path | None, **told: str | None) -> None:
    """End the log of LOT: how it came out, and what to try next time. Can be said again."""
    from swatchvault.archive import end_pot, get_pot, open_archive
    from swatchvault.potclock import check_end, read_time

    now = local_now()
    with open_archive(need_archive(archive_folder)) as archive:
        pot = get_pot(archive.conn, lot)
        when = now if at is None else read_time(at, now)
        ended = pot.ended_at if pot.ended_at and at is None else None
        ended = ended or check_end(when, pot.started_at, (d.step for d in pot.steps), now)
        end_pot(archive.conn, lot, ended, told)
        pot = get_pot(archive.conn, lot)
        plan = plan_of(archive.conn, pot, {})
    click.echo(f"lot {pot.lot} ended {when_words(pot.ended_at or '')}")
    click.echo("\n".join(log_lines(plan, pot)))
    say_caution()
