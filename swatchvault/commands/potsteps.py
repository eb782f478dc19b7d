"""Between the pot's commands and its log: which planned step is meant, and what it is told as."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from swatchvault.commands.making import pair
from swatchvault.departures import departures
from swatchvault.errors import ArchiveError, NotFound
from swatchvault.potsource import sourced
from swatchvault.potwork import (
    done_words,
    plan_of,
    rest_to_go_in,
    source_words,
    struck_words,
)
from swatchvault.typed_numbers import row_number

if TYPE_CHECKING:
    from swatchvault.archive import DyeIn, Pot
    from swatchvault.pot import PotPlan, StepPlan


def planned_step(plan: PotPlan | None, pot: Pot, what: str) -> StepPlan | None:
    """The planned step that a number names, or the next one of a kind that is not done yet."""
    steps = () if plan is None else plan.steps
    number = row_number(what)
    if number is not None:
        for done in pot.steps:
            if done.plan_number == number:
                raise ArchiveError(
                    f"planned step {what} is done already, as step {done.number} of the log: "
                    "correct that with `swatchvault pot edit`, or say the kind to record another"
                )
        for step in steps:
            if step.number == number:
                return step
        raise NotFound(f"no planned step {what}: the recipe of lot {pot.lot!r} has {len(steps)}")
    gone = {d.plan_number for d in pot.steps}
    kind = " ".join(what.casefold().split())
    return next((s for s in steps if s.kind == kind and s.number not in gone), None)


def dyes_that_went_in(
    conn: sqlite3.Connection,
    plan: PotPlan | None,
    pot: Pot,
    planned: StepPlan | None,
    kind: str,
    dyes: Iterable[str],
    source: Mapping[str, str | None],
) -> list[DyeIn]:
    """The dyes of a "dye in" step: those said, else the doses planned for its part."""
    from swatchvault.archive import DyeIn

    told = [pair(text) for text in dyes]
    if kind.casefold() != "dye in":
        if told:
            raise ArchiveError(f'--dye goes with a step "dye in", not with {kind!r}')
        return []
    if told:
        return sourced(conn, plan, pot, told, source)
    part = next((p for p in (plan.parts if plan else ()) if planned in p.steps), None)
    if part is None:
        raise ArchiveError('no planned dye is left to go in: say what went in, --dye "Ember=80 mL"')
    if sum(s.kind == "dye in" for s in part.steps) > 1:
        rest = rest_to_go_in(pot, part) if plan and len(plan.parts) == 1 else []
        open_now = " ".join(f'--dye "{dye}={amount}"' for dye, amount in rest)
        raise ArchiveError(
            f"the dye of part {part.name!r} goes in more than once: say how much went in now, "
            + (f"of what is open: {open_now}" if rest else '--dye "Ember=80 mL"')
        )
    return [DyeIn(d.dye, d.words, stock=d.stock) for d in part.doses]


def of_packs(went_in: Sequence[DyeIn], packs: Iterable[str]) -> list[DyeIn]:
    """The dyes that went in, each of the pack that is said of it. Raises ``ArchiveError`` where a
    pack is said of a dye that did not go in."""
    told = {dye.casefold(): code for dye, code in map(pair, packs)}
    strange = told.keys() - {dye.dye.casefold() for dye in went_in}
    if strange:
        raise ArchiveError(f"--pack names {', '.join(sorted(strange))}, which does not go in here")
    return [replace(dye, pack=told.get(dye.dye.casefold(), dye.pack)) for dye in went_in]


def ask_about(doubts: Mapping[str, str], went_in: Iterable[DyeIn], named: Iterable[str]) -> None:
    """Refuse amounts in doubt whose source was not ``named``: to name it says that they are right.

    Raises ``ArchiveError``.
    """
    known = {dye.casefold() for dye in named}
    asked = [d for d in went_in if d.dye in doubts and d.dye.casefold() not in known]
    if asked:
        said = "; ".join(doubts[d.dye] for d in asked)
        one = asked[0]
        raise ArchiveError(
            f'{said}. If it was powder, add --powder "{one.dye}"; if so much of that stock really '
            f'went in, add --stock "{one.dye}={one.stock}", of another its code; else correct the '
            "amount"
        )


def stock_lines(conn: sqlite3.Connection, dyes: Iterable[DyeIn], verb: str = "") -> list[str]:
    """What went in, and what should be left of each stock; ``verb`` is said of each dye."""
    from swatchvault.archive import stocks_held

    lines = []
    for dye in dyes:
        line = f"   {dye.dye}: {dye.amount}{source_words(dye)}{verb}"
        for held in stocks_held(conn, dye.dye) if dye.stock else ():
            if held.code.casefold() == (dye.stock or "").casefold() and held.left_ml is not None:
                line += f"; about {max(held.left_ml, 0.0):.4g} mL of it left"
                if held.left_seen_on:
                    line += f", by what was seen on {held.left_seen_on} and poured on days after"
        lines.append(line)
    return lines


def put_other_dyes(
    conn: sqlite3.Connection,
    pot: Pot,
    number: int,
    instead: Iterable[str],
    amounts: dict[str, str],
    named: Mapping[str, str | None],
) -> Iterator[tuple[DyeIn, DyeIn]]:
    """Correct which dye a step put in, of each ``DYE=OTHER``: what it was and what it is.

    An amount told of the other one, or of the one it was, is its amount, and is taken out of
    ``amounts``; else that stays. It came from what is ``named``, else as `pot did` has it.
    """
    from swatchvault.archive import another_dye, dye_put_in

    plan = plan_of(conn, pot, named)
    for dye, other in map(pair, instead):
        was = dye_put_in(conn, pot.lot, dye, number)
        told = [amounts.pop(key) for key in [*amounts] if key.casefold() in _either(dye, other)]
        amount = told[0] if told else was.amount
        if amount is None:
            raise ArchiveError(f'how much {other} went in is not known: say --dye "{other}=80 mL"')
        (source,) = sourced(conn, plan, pot, [(other, amount)], named)
        yield another_dye(conn, pot.lot, dye, source, number=number)


def _either(*names: str) -> set[str]:
    return {name.casefold() for name in names}


def edited_lines(conn: sqlite3.Connection, changed: Iterable[tuple[DyeIn, DyeIn]]) -> list[str]:
    """What went in as it is now corrected, what it was before, and what is left of its stock."""
    lines = []
    for was, now in changed:
        amount = was.amount or "an unknown amount"
        source = source_words(was) or (
            " without a stock" if now.stock else " of no pack that is told"
        )
        same = (was.dye, was.stock, was.pack) == (now.dye, now.stock, now.pack)
        source = "" if same else source
        of = "" if was.dye == now.dye else f" of {was.dye}"
        verb = f", and not {amount}{of}{source}" if was != now else ", as it was"
        lines += stock_lines(conn, [now], verb)
    return lines


def log_lines(plan: PotPlan | None, pot: Pot) -> list[str]:
    """Planned and done, apart; then what went in, as depth of shade, and how it ended."""
    from swatchvault.recipe_parts import doses_without_step, part_words
    from swatchvault.recipe_sheet import step_plan_words

    lines = [f"lot {pot.lot}" + (f", {pot.goods_g:g} g dry" if pot.goods_g else "")]
    done = {d.plan_number for d in pot.steps}
    if plan is not None:
        lines.append("planned")
        for part in plan.parts:
            lines += [f"  {part_words(plan, part)}"] if len(plan.parts) > 1 else []
            for step in part.steps:
                lines.append(f"  [{'x' if step.number in done else ' '}] {step_plan_words(step)}")
            lines += [f"  without a step: {dose}" for dose in doses_without_step(part)]
    lines.append("done" if pot.steps else "nothing done yet")
    lines += [f"  {d.number}. {done_words(pot, d)}" for d in pot.steps]
    lines += ["struck, and counted nowhere"] if pot.struck else []
    lines += [f"  {struck_words(s)}" for s in pot.struck]
    if pot.dyes_in:
        lines.append("went in")
    for (dye, grams), number in zip(pot.dyes_in, pot.put_in_by, strict=True):
        depth = ""
        if grams is not None and pot.goods_g:
            depth = f": {grams / pot.goods_g * 100:.3g} % depth of shade"
        by = "" if number is None else f" (step {number})"
        lines.append(f"  {dye.dye} {dye.amount or 'amount unknown'}{source_words(dye)}{depth}{by}")
    lines += [f"  departs from the plan: {words}" for words in departures(plan, pot)]
    if pot.ended_at:
        lines.append(f"ended {pot.ended_at[:16].replace('T', ' ')}")
    lines += [f"  {k.replace('_', ' ')}: {v}" for k, v in pot.end.items() if v]
    return lines
