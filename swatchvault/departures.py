"""Where what was done in a pot departs from its plan: pure."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from swatchvault.errors import AmountError
from swatchvault.planned_amounts import done_amount
from swatchvault.potclock import CUT_SHARE, cut_short

if TYPE_CHECKING:
    from swatchvault.archive import DyeIn, Pot
    from swatchvault.archive.pots import DoneStep
    from swatchvault.pot import Dose, PotPlan, StepPlan

#: Share by which a depth of shade may differ from the planned one without a word, beside what the
#: plan itself rounds a dose by: a measure is read no nearer. Our choice.
DEPTH_SHARE = 0.01
#: Share by which what goes in besides dye may differ without a word: spoons and the marks of a
#: cup are read no nearer. Our choice.
AMOUNT_SHARE = 0.1
#: °C by which a pot may be warmer or cooler than planned without a word: a pot on a hob is kept
#: no nearer. Our choice.
TEMPERATURE_C = 5.0


def departures(plan: PotPlan | None, pot: Pot) -> list[str]:
    """Where depths of shade, and amounts, temperatures and minutes of steps, are not the planned
    ones; and soaks, heats and holds that were cut short."""
    short = cut_short((d.step for d in pot.steps), pot.ended_at)
    return short if plan is None else [*_dyes(plan, pot), *step_departures(plan, pot), *short]


def step_departures(plan: PotPlan, pot: Pot) -> list[str]:
    """Steps that carried out a planned one otherwise than it was planned, a sentence each."""
    planned = {step.number: step for step in plan.steps}
    said = []
    for done in (d for d in pot.steps if d.plan_number in planned):
        step = planned[done.plan_number or 0]
        differs = [*_amount(step, _with_more(pot, done)), *_heat_and_time(step, done)]
        if differs:
            said.append(f"step {step.number}, {step.kind}: {', '.join(differs)}")
    return said


def _with_more(pot: Pot, done: DoneStep) -> list[DoneStep]:
    """A step, and what was added of its kind, unplanned, before the next planned one of it."""
    from swatchvault.pot import AUXILIARIES

    later = [d for d in pot.steps if d.number > done.number and d.step.kind == done.step.kind]
    found = [done]
    for step in later if done.step.kind in AUXILIARIES else ():
        if step.plan_number is not None:
            break
        found.append(step)
    return found


def _amount(planned: StepPlan, done: list[DoneStep]) -> Iterator[str]:
    wanted = _size(planned)
    known = [d for d in done if d.amount_ml is not None or d.amount_g is not None]
    if wanted is None or not known:
        return
    value, in_ml = wanted
    alike = [d.amount_ml if in_ml else d.amount_g for d in known]
    total = sum(v for v in alike if v is not None)
    slack = AMOUNT_SHARE * value + 1e-9  # as numbers are kept, not as one measures
    if None in alike or abs(total - value) > slack:
        said = " + ".join(d.step.amount or "" for d in known)
        yield f"{said} instead of {planned.amount_alone}"


def _size(planned: StepPlan) -> tuple[float, bool] | None:
    """How much was planned, and whether that is in mL and not in g; ``None`` if not known."""
    if planned.amount_ml is not None:
        return planned.amount_ml, True
    try:
        grams = done_amount(planned.amount_alone).g
    except AmountError:
        return None
    return None if grams is None else (grams, False)


def _heat_and_time(planned: StepPlan, done: DoneStep) -> Iterator[str]:
    was, wanted = done.step.temperature_c, planned.temperature_c
    if was is not None and wanted is not None and abs(was - wanted) > TEMPERATURE_C:
        yield f"{was:g} °C instead of {wanted:g} °C"
    lasted, minutes = done.step.minutes, planned.minutes
    if lasted is None or minutes is None:
        return
    if abs(lasted - minutes) > max(1.0, CUT_SHARE * minutes):
        yield f"{lasted:g} min instead of {minutes:g} min"


def _rounding_g(dose: Dose) -> float:
    """Grams of dye by which a dose as the plan tells it is more or less than what it means."""
    exact = dose.dye_g if dose.stock_ml is None else dose.stock_ml
    told = done_amount(dose.words)
    shown = told.g if dose.stock_ml is None else told.ml
    return abs(shown / exact - 1.0) * dose.dye_g if shown is not None and exact else 0.0


def _dyes(plan: PotPlan, pot: Pot) -> Iterator[str]:
    """Dyes whose depth of shade is not the planned one, or not known.

    Of a dye that is planned in several parts less is none as long as the pot is open.
    """
    planned: dict[str, float] = {}
    rounded: dict[str, float] = {}
    to_come: set[str] = set()
    for dose in (d for part in plan.parts for d in part.doses):
        slack = _rounding_g(dose) / plan.goods_g * 100
        rounded[dose.dye] = rounded.get(dose.dye, 0.0) + slack
        to_come |= {dose.dye} & planned.keys() if pot.ended_at is None else set()
        planned[dose.dye] = planned.get(dose.dye, 0.0) + dose.dye_g / plan.goods_g * 100
    done: dict[str, float] = dict.fromkeys(planned, 0.0) if pot.ended_at else {}
    unknown: dict[str, list[DyeIn]] = {}
    for dye, grams in pot.dyes_in:
        if grams is None:
            unknown.setdefault(dye.dye, []).append(dye)
        done[dye.dye] = done.get(dye.dye, 0.0) + (grams or 0.0) / plan.goods_g * 100
    for name, depth in done.items():
        wanted = planned.get(name, 0.0)
        if name in unknown:
            amounts = " + ".join(d.amount or "an amount" for d in unknown[name])
            known = f"{depth:.3g} % and " if depth else ""
            yield f"{name} {known}{amounts} of unknown depth instead of {wanted:.3g} %"
            continue
        slack = DEPTH_SHARE * max(depth, wanted) + rounded.get(name, 0.0) + 1e-9
        as_planned = abs(depth - wanted) <= slack
        if not as_planned and not (name in to_come and depth < wanted):
            yield f"{name} {depth:.3g} % instead of {wanted:.3g} %"
