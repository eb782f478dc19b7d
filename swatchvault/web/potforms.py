"""The forms at the pot, read: a step done, a step corrected, a skein, the end of the pot."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from swatchvault.days import when
from swatchvault.web.potdyes import REALLY, ask_doses, correct_dyes, dyes_in_form
from swatchvault.web.typed import celsius_or_none, minutes_or_none, number_or_none, whole
from swatchvault.web.visit import Form, RefusedError

if TYPE_CHECKING:
    from swatchvault.archive import Pot, PotStep
    from swatchvault.pot import PotPlan, StepPlan

#: Labels of the tick boxes that answer what a step's form is asked back.
END_HOLD = "End the hold"
WEIGHED = "It really weighed so"
TICKS = {"ends_hold": END_HOLD, "really": REALLY, "weighed": WEIGHED}


def read_at(text: str, now: datetime) -> str | None:
    """A time as typed or as the page stamped it, in this computer's zone; blank is ``None``."""
    from swatchvault.potclock import read_time

    if not text:
        return None
    return read_time(text, now).astimezone().isoformat(timespec="seconds")


def told_of(form: Form, now: datetime) -> dict[str, Any]:
    """What a step's form says, as the options of the pot's commands do."""
    percent = form.text("left_percent")
    return {
        "at": read_at(form.text("at") or form.text("tapped"), now),
        "amount": form.text("amount") or None,
        "temperature": celsius_or_none(form.text("temperature"), "the temperature"),
        "minutes": minutes_or_none(form.text("minutes"), "the minutes"),
        "ph": number_or_none(form.text("ph"), "the pH"),
        "left": f"{percent.removesuffix('%').strip()} %" if percent else form.text("left") or None,
        "note": form.text("note") or None,
    }


def log_step(conn: sqlite3.Connection, code: str, form: Form) -> None:
    """Store a step as `pot did`, `pot look` and `pot hold` do."""
    from swatchvault.archive import get_pot, record_step
    from swatchvault.potclock import ENDS_A_HOLD, clock, still_running
    from swatchvault.potwork import doubtful_doses, local_now, make_step, plan_of

    pot = get_pot(conn, code)
    plan = plan_of(conn, pot, {})
    planned = _planned(plan, pot, form.text("what"))
    kind = planned.kind if planned else form.need("kind", "What was done")
    if planned is None and kind == "look":
        planned = _look_that_is_due(conn, plan, pot)
    told = told_of(form, local_now())
    step = make_step(pot, kind, planned, told)
    if form.text("already") and not form.text("at"):
        step = replace(step, at=_begun(step, pot, local_now()))
    if kind == "look" and not (step.colour_left or step.ph is not None or step.note):
        raise RefusedError("a look needs what was seen: colour left, pH or a note")
    if kind == "hold" and step.minutes is None:
        raise RefusedError("a hold needs its minutes: type how long it is to last")
    ends = kind in ENDS_A_HOLD and not pot.ended_at
    hold = still_running((d.step for d in pot.steps), local_now()) if ends else None
    if hold and not form.text("ends_hold"):
        raise RefusedError(
            f"a hold is still running, {clock(hold.left_s)} to go, and “{kind}” would end it: say "
            f"“{END_HOLD}”, or wait"
        )
    dyes = dyes_in_form(conn, plan, pot, planned, kind, form)
    ask_doses(conn, doubtful_doses(conn, plan, pot, dyes), dyes, form)
    record_step(conn, code, step, planned.number if planned else None, dyes)


def _begun(step: PotStep, pot: Pot, now: datetime) -> str:
    """When a step that is over now began: its minutes ago, though not before what was done last.

    The first may have begun before the pot was started: goods are soaked ahead.
    """
    from swatchvault.potclock import DAY, read_time

    over = read_time(step.at or now.isoformat(), now)
    begun = over - timedelta(minutes=step.minutes or 0.0)
    times = [d.step.at for d in pot.steps if d.step.at and len(d.step.at) > DAY]
    if times:
        begun = min(max(begun, read_time(times[-1], now)), over)
    return begun.astimezone().isoformat(timespec="seconds")


def _planned(plan: PotPlan | None, pot: Pot, what: str) -> StepPlan | None:
    if not what:
        return None
    number = whole(what, "the planned step")
    for done in pot.steps:
        if done.plan_number == number:
            raise RefusedError(
                f"planned step {number} ({done.step.kind}) is in the log already, as its step "
                f"{done.number}, perhaps from another tab or phone: correct that one if it is "
                "wrong, or log this one under “Something else”"
            )
    found = next((s for s in (plan.steps if plan else ()) if s.number == number), None)
    if found is None:
        raise RefusedError(f"the recipe of this lot has no step {number}: load the page again")
    return found


def _look_that_is_due(conn: sqlite3.Connection, plan: PotPlan | None, pot: Pot) -> StepPlan | None:
    """The planned look that comes next: a look that is told among other things is that one."""
    from swatchvault.archive import find
    from swatchvault.archive.pages_pot import started_here

    left = left_of(plan, pot)
    open_here = not pot.ended_at and started_here(conn, find(conn, "lot", pot.lot))
    return left[0] if left and left[0].kind == "look" and open_here else None


def left_of(plan: PotPlan | None, pot: Pot) -> list[StepPlan]:
    """The planned steps that are not done yet."""
    done = {d.plan_number for d in pot.steps}
    return [s for s in (plan.steps if plan else ()) if s.number not in done]


def minute_words(at: str | None) -> str:
    """A stored time as the log shows it, to the minute."""
    return "" if at is None else when(at)


def correct_step(conn: sqlite3.Connection, code: str, form: Form) -> None:
    """Correct a step as `pot edit` does; a step that changed meanwhile is refused."""
    from swatchvault.archive import edit_step, get_pot
    from swatchvault.potwork import done_words, doubtful_doses, local_now, noted, plan_of

    number = whole(form.text("number"), "the step")
    pot = get_pot(conn, code)
    done = next((d for d in pot.steps if d.number == number), None)
    if done is None:
        raise RefusedError(f"the log of this lot has no step {number}: load the page again")
    step, is_now = done.step, done_words(pot, done)
    if form.text("was") != is_now:
        raise RefusedError(
            f"step {number} was changed meanwhile, by another tab or phone. It now says: "
            f"{is_now}. Look at it, and send your correction again if it still holds"
        )
    told = told_of(form, local_now())
    told["at"] = None if form.text("at") == minute_words(step.at) else told["at"]
    if told["at"] is None and not form.text("at") and step.at:
        raise RefusedError("the time is missing: write when it was done, such as 10:05")
    new = noted(pot, told)
    new["kind"] = form.text("kind", step.kind)
    new["at"] = new["at"] or step.at
    changes = {k: v for k, v in new.items() if v != getattr(step, k)}
    if changes:
        edit_step(conn, code, number, changes)
    asked_again = correct_dyes(conn, code, number, form)
    doubts = doubtful_doses(conn, plan_of(conn, pot, {}), pot, asked_again)
    if doubts and not form.text("really"):  # what was written above is taken back by the refusal
        raise RefusedError(
            f"{'; '.join(doubts.values())}. Correct the amount, or say “{REALLY}” if it did"
        )
    ask_doses(conn, {}, asked_again, form)


def correct_start(conn: sqlite3.Connection, code: str, form: Form) -> None:
    """Correct the start as `pot began` does; one that changed meanwhile is refused."""
    from swatchvault.archive import edit_start, get_pot
    from swatchvault.potclock import check_time, read_time
    from swatchvault.potwork import local_now

    at, now, started = form.need("at", "The time"), local_now(), get_pot(conn, code).started_at
    if form.text("was") != started:
        raise RefusedError(
            "the start was changed meanwhile, by another tab or phone: it is "
            f"{minute_words(started)} now. Look at it, and send yours again if it still holds"
        )
    if at != minute_words(started):
        edit_start(conn, code, check_time(read_time(at, now).astimezone(), None, now))


def undo_step(conn: sqlite3.Connection, code: str, form: Form) -> None:
    """Strike the end or the last step as `pot undo` does, if it still is what the page showed."""
    from swatchvault.archive import get_pot, strike_last
    from swatchvault.archive.struck import END
    from swatchvault.potwork import step_words

    pot = get_pot(conn, code)
    of_end = form.text("was") if form.text("number") == END else None
    if of_end != pot.ended_at:
        now = f"ended {minute_words(pot.ended_at)}" if pot.ended_at else "not ended"
        raise RefusedError(
            f"the pot was changed meanwhile, by another tab or phone: it is {now} now. Look at it, "
            "and take back what is wrong"
        )
    if of_end is not None:
        strike_last(conn, code)
        return
    shown = (whole(form.text("number"), "the step"), form.text("was"))
    last = pot.steps[-1] if pot.steps else None
    if last is None or shown != (last.number, step_words(last.step)):
        now = f"step {last.number}: {step_words(last.step)}" if last else "none: the log is empty"
        raise RefusedError(
            f"the log was changed meanwhile, by another tab or phone. Its last step is now {now}. "
            "Look at it, and strike that one if it is wrong"
        )
    strike_last(conn, code)


def log_skein(conn: sqlite3.Connection, code: str, form: Form) -> None:
    """Store a skein with its weights as `pot skein` does."""
    from swatchvault.amounts import parse_amount
    from swatchvault.archive import Skein, add_skein
    from swatchvault.archive.lots import skein_doubts

    label = form.need("label", "The skein's label")
    weights = [form.text(n) for n in ("grams_in", "grams_out")]
    before, after = (parse_amount(w, bare="g").g if w else None for w in weights)
    told = {n: form.text(n) or None for n in ("base", "base_lot", "from_skein", "from_lot")}
    add_skein(conn, code, Skein(label, before, after, note=form.text("note") or None, **told))
    doubts = skein_doubts(conn, code, label)
    if doubts and not form.text("weighed"):  # what was written above is taken back by the refusal
        raise RefusedError(
            f"Skein {label}: {' And '.join(doubts)} Correct the weight, or say “{WEIGHED}”"
        )


def log_end(conn: sqlite3.Connection, code: str, form: Form) -> None:
    """Store how the pot ended as `pot end` does."""
    from swatchvault.archive import end_pot, get_pot
    from swatchvault.potclock import check_end, clock, read_time, still_running
    from swatchvault.potwork import local_now

    now = local_now()
    pot = get_pot(conn, code)
    hold = None if pot.ended_at else still_running((d.step for d in pot.steps), now)
    if hold and not form.text("all_the_same"):
        raise RefusedError(
            f"a hold is still running, {clock(hold.left_s)} to go: tick “End it all the same”, or "
            "wait"
        )
    at = read_at(form.text("at") or form.text("tapped"), now)
    ended = pot.ended_at if pot.ended_at and not form.text("at") else None
    when = now if at is None else read_time(at, now)
    ended = ended or check_end(when, pot.started_at, (d.step for d in pot.steps), now)
    told = {n: form.text(n) or None for n in ("bled", "handle", "success", "next_time")}
    end_pot(conn, code, ended, told)


def typed_step(step: PotStep) -> dict[str, str]:
    """A stored step as the fields of its form."""
    left = step.colour_left or ""
    percent = left.removesuffix("%").strip() if left.endswith("%") else ""

    def plain(value: float | None) -> str:
        return "" if value is None else f"{value:g}"

    return {
        "kind": step.kind,
        "at": minute_words(step.at),
        "amount": step.amount or "",
        "temperature": plain(step.temperature_c),
        "minutes": plain(step.minutes),
        "ph": plain(step.ph),
        "left": "" if percent else left,
        "left_percent": percent,
        "note": step.note or "",
    }
