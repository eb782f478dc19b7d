"""Between a pot's recipe, its log and whoever records it: which stocks, which plan, which step."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from swatchvault.days import when
from swatchvault.errors import AmountError, NotFound
from swatchvault.measuring import pour_words, weigh_words
from swatchvault.planned_amounts import done_amount, is_measure, same_thing

if TYPE_CHECKING:
    from swatchvault.archive import DyeIn, Pot, PotStep, Recipe
    from swatchvault.archive.entities import StruckStep
    from swatchvault.archive.pots import DoneStep
    from swatchvault.pot import PartPlan, PotPlan, StepPlan, StockChoice


#: Times the planned dose from which, up or down, an amount is asked about; our choice.
FAR_OFF = 3.0

#: Share of a planned dose that is nothing to add, as far as a depth may depart untold.
LITTLE = 0.01

#: Share of a planned dose within which an amount of another stock is taken for it; our choice.
ABOUT = 0.1


def choose_stocks(
    conn: sqlite3.Connection,
    recipe: Recipe,
    goods_g: float,
    planned_from: Mapping[str, str | None],
    need: bool,
    on: date | None = None,
) -> dict[str, StockChoice]:
    """The stock of each dye: the one that ``planned_from`` names, else as ``choose_stock``.

    What was mixed after the day ``on`` is chosen only where none is known to have been there. A dye
    named with ``None`` is weighed as powder. With ``need``, a dye that no stock holds and
    that is not weighed raises ``NotFound``.
    """
    from swatchvault.archive import get_stock
    from swatchvault.pot import choose_stock
    from swatchvault.potsource import held_of

    wanted: dict[str, float] = {}
    for part in recipe.parts:
        for planned in part.dyes:
            grams = goods_g * part.share_percent / 100 * planned.depth_percent / 100
            wanted[planned.dye] = wanted.get(planned.dye, 0.0) + grams
    told = {_known(dye, wanted): code for dye, code in planned_from.items()}
    weighed = {dye for dye, code in told.items() if code is None}
    chosen = {}
    for dye, grams in wanted.items():
        held = held_of(conn, dye)
        if (named := told.get(dye)) is not None:
            code = get_stock(conn, dye, named).code
            held = [s for s in held if s.code == code]
        elif on is not None:
            there = [s for s in held if (s.mixed_on or "")[:10] <= f"{on:%Y-%m-%d}"]
            held = there if any(s.mixed_on for s in there) else held
        stock = None if dye in weighed else choose_stock(held, grams)
        if stock is not None:
            chosen[dye] = stock
        elif need and dye not in weighed:
            raise NotFound(
                f"no stock of {dye!r} in the archive: add the one you mixed, or say "
                f'--powder "{dye}" to weigh it'
            )
    return chosen


def plan_of(conn: sqlite3.Connection, pot: Pot, source: Mapping[str, str | None]) -> PotPlan | None:
    """The plan of a lot from its recipe and goods; ``None`` where it follows none."""
    from swatchvault.archive import spoons_of
    from swatchvault.pot import plan_pot

    if pot.recipe is None or pot.goods_g is None:
        return None
    in_recipe = {d.dye.casefold() for part in pot.recipe.parts for d in part.dyes}
    told = {d: s for d, s in source.items() if d.casefold() in in_recipe}
    known = {d: s for d, s in pot.planned_from.items() if d.casefold() in in_recipe}
    folded = {d.casefold() for d in told}
    told |= {d: s for d, s in known.items() if d.casefold() not in folded}
    chosen = choose_stocks(conn, pot.recipe, pot.goods_g, told, need=False, on=_begun_on(pot))
    ratio = None if pot.liquor_ml is None else pot.liquor_ml / pot.goods_g
    return plan_pot(
        pot.recipe,
        pot.goods_g,
        chosen,
        today=_begun_on(pot),
        liquor_ratio=ratio,
        spoons=spoons_of(conn),
        gone_g=_gone_g(pot),
    )


def _gone_g(pot: Pot) -> dict[str, float]:
    """Grams in the pot of each dye, by its name in small letters: infinite where it is not known
    how much, and of an ended pot, to which nothing is to come."""
    gone: dict[str, float] = {}
    for dye, grams in pot.dyes_in:
        name = dye.dye.casefold()
        gone[name] = gone.get(name, 0.0) + (math.inf if grams is None else grams)
    if pot.ended_at and pot.recipe is not None:
        gone |= {d.dye.casefold(): math.inf for part in pot.recipe.parts for d in part.dyes}
    return gone


def _begun_on(pot: Pot) -> date:
    """The day on which a pot was begun, today where that is not known: stocks age up to it."""
    try:
        return date.fromisoformat((pot.started_at or "")[:10])
    except ValueError:
        return local_now().date()


def doubtful_doses(
    conn: sqlite3.Connection, plan: PotPlan | None, pot: Pot, dyes: Iterable[DyeIn]
) -> dict[str, str]:
    """Dyes from a stock whose amount is hardly what went in, each with a sentence that says why.

    Several times the planned dose is, and more than the pot holds; so is a weight of stock that
    makes a small part of it, for powder is weighed as well, and so is a volume that does where as
    much of another stock of the dye would be the planned dose.
    """
    from swatchvault.archive.lots import dye_columns

    planned: dict[str, float] = {}
    for dose in (d for part in (plan.parts if plan else ()) for d in part.doses):
        name = dose.dye.casefold()
        planned[name] = planned.get(name, 0.0) + dose.dye_g
    found = {}
    for dye in dyes:
        columns = dye_columns(conn, dye)
        weighed, grams = columns["amount_g"] is not None, columns["dye_g"]
        taken = columns["amount_g"] if weighed else columns["amount_ml"]
        if columns["stock_id"] is None or grams is None or not taken:
            continue
        said = f"{dye.dye}: {dye.amount} of stock {dye.stock} holds {grams:.3g} g of dye"
        wanted = planned.get(dye.dye.casefold())
        other = None if weighed or not wanted else _stock_meant(conn, dye, taken, wanted)
        little = (weighed or other) and wanted and wanted >= FAR_OFF * grams
        if wanted and (little or grams >= FAR_OFF * wanted):
            found[dye.dye] = f"{said}, where {wanted:.3g} g are planned"
            if other:
                found[dye.dye] += f" and so much of stock {other} would hold that"
        elif pot.liquor_ml is not None and taken > pot.liquor_ml:
            found[dye.dye] = f"{said}, and is more than the pot's {pot.liquor_ml:.4g} mL of liquor"
    return found


def _stock_meant(
    conn: sqlite3.Connection, dye: DyeIn, taken_ml: float, wanted_g: float
) -> str | None:
    """Another stock of a dye of which a volume would hold the planned dose, within a tenth."""
    from swatchvault.potsource import held_of

    its = (dye.stock or "").casefold()
    held = (s for s in held_of(conn, dye.dye) if s.code.casefold() != its)
    near = (s for s in held if abs(taken_ml * s.strength_percent / 100 / wanted_g - 1) <= ABOUT)
    return next((s.code for s in near), None)


def not_told(
    plan: PotPlan | None, pot: Pot, planned: StepPlan | None, dyes: Iterable[DyeIn]
) -> list[str]:
    """Dyes that a planned step puts in, all at once, and of which nothing was told so far."""
    part = next((p for p in (plan.parts if plan else ()) if planned in p.steps), None)
    if part is None or sum(s.kind == "dye in" for s in part.steps) > 1:
        return []
    told = {d.dye.casefold() for d in (*dyes, *(d for d, _ in pot.dyes_in))}
    return [d.dye for d in part.doses if d.dye.casefold() not in told]


def rest_to_go_in(pot: Pot, part: PartPlan) -> list[tuple[str, str]]:
    """The dyes of a part that goes in by and by, each with what is open of its dose; none where
    nothing is open, or what went in before is not known in grams."""
    gone: dict[str, float] = {}
    for dye, grams in pot.dyes_in:
        if grams is None:
            return []
        gone[dye.dye.casefold()] = gone.get(dye.dye.casefold(), 0.0) + grams
    rest = []
    for dose in part.doses:
        left = 1.0 - gone.get(dose.dye.casefold(), 0.0) / dose.dye_g if dose.dye_g else 0.0
        if left > LITTLE:
            ml, grams = dose.stock_ml, dose.dye_g * left
            words = weigh_words(grams)[0] if ml is None else pour_words(ml * left)[0]
            rest.append((dose.dye, words))
    return rest


def noted(pot: Pot, told: Mapping[str, Any]) -> dict[str, Any]:
    """What the options of a step say, as fields of ``PotStep``, checked; unsaid is ``None``."""
    from swatchvault.potclock import check_left, check_minutes, check_time, read_time

    now = local_now()
    at, left = told["at"], told["left"]
    return {
        "at": None if at is None else check_time(read_time(at, now), pot.started_at, now),
        "amount": told["amount"],
        "temperature_c": told["temperature"],
        "minutes": check_minutes(told["minutes"]),
        "ph": told["ph"],
        "colour_left": None if left is None else check_left(left),
        "note": told["note"],
    }


def make_step(pot: Pot, kind: str, planned: StepPlan | None, told: Mapping[str, Any]) -> PotStep:
    """The step as it is stored: what was said, else as planned; the time is now if not said."""
    from swatchvault.archive import PotStep
    from swatchvault.pot import AUXILIARIES
    from swatchvault.potclock import check_minutes

    said = noted(pot, told)
    said["at"] = said["at"] or local_now().isoformat(timespec="seconds")
    if planned is not None:
        if kind in AUXILIARIES:
            said |= _which(planned, said["amount"], said["note"])
        for name, value in (
            ("amount", planned.amount_alone),
            ("temperature_c", planned.temperature_c),
            ("minutes", planned.minutes),
        ):
            said[name] = value if said[name] is None else said[name]
        check_minutes(said["minutes"])
    return PotStep(kind=kind, **said)


def _which(planned: StepPlan, amount: str | None, note: str | None) -> dict[str, str | None]:
    """Amount and note of what went in besides dye: they say which acid or salt, and how strong.

    That is the planned one where only how much was told. A note, or an amount with words of its
    own, may name another: then the planned one is told as planned.
    """
    wanted = planned.amount_alone
    try:
        thing, unread = done_amount(wanted).thing, None
    except AmountError:
        thing, unread = None, wanted
    named = amount is not None and not is_measure(amount)
    unsure = [planned.note] if named or note is not None else []
    unsure += [thing if named else None, None if amount is None else unread]
    if amount is not None:
        amount = same_thing(amount, wanted)
    if note is None and not named:
        note = planned.note
    told = f"{amount or wanted} {note}".casefold()
    said = ", ".join(words for words in unsure if words and words.casefold() not in told)
    if said:
        note = f"{note} (planned: {said})" if note else f"planned: {said}"
    return {"amount": amount, "note": note}


def step_words(step: PotStep) -> str:
    """A step that was done, on one line."""
    facts = [
        step.amount,
        None if step.temperature_c is None else f"{step.temperature_c:g} °C",
        None if step.minutes is None else f"{step.minutes:g} min",
        None if step.ph is None else f"pH {step.ph:g}",
        step.colour_left and f"colour left: {step.colour_left}",
        step.note,
    ]
    at = when(step.at) + "  " if step.at else ""
    return f"{at}{step.kind}" + "".join(f", {f}" for f in facts if f)


def done_words(pot: Pot, done: DoneStep) -> str:
    """A step of a pot's log, on one line, with the dyes that it put in."""
    return _with_dyes(done.step, pot.dyes_of(done.number))


def struck_words(struck: StruckStep) -> str:
    """A step that was taken back, on one line, with the dyes that it had put in and when."""
    said = _with_dyes(struck.step, struck.dyes)
    return f"{struck.number}. {said} (struck {when(struck.struck_at)})"


def source_words(dye: DyeIn) -> str:
    """What a dye that went in came from, with a space before it; blank where it is not told."""
    if dye.stock:
        return f" of stock {dye.stock}"
    return f" of pack {dye.pack}" if dye.pack else ""


def _with_dyes(step: PotStep, dyes: Sequence[DyeIn]) -> str:
    told = [f"{d.amount or 'an unknown amount'} of {d.dye}" for d in dyes]
    return f"{step_words(step)}{', with ' if told else ''}{', '.join(told)}"


def _known(dye: str, wanted: dict[str, float]) -> str:
    for name in wanted:
        if name.casefold() == dye.casefold():
            return name
    raise NotFound(f"no dye {dye!r} in this recipe: it has {', '.join(wanted) or 'none'}")


def local_now() -> datetime:
    """Now, with the zone of this computer."""
    return datetime.now().astimezone()
