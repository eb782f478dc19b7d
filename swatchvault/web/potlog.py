"""One pot: the hold that runs, the next planned step, the log, skeins, and the end."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from datasette import Response

from swatchvault.cautions import CAUTION_LINE
from swatchvault.errors import NotFound, SwatchvaultError
from swatchvault.web import potforms
from swatchvault.web.potclocks import OpenPot, open_pots, shown_hold
from swatchvault.web.potdyes import filled_in
from swatchvault.web.potleft import LeftToDo, left_to_do
from swatchvault.web.typed import row_id, whole
from swatchvault.web.visit import Form, RefusedError, Visit

if TYPE_CHECKING:
    from swatchvault.archive import Pot
    from swatchvault.pot import Dose, PartPlan, PotPlan, StepPlan
    from swatchvault.potclock import Hold

WORK: Mapping[str, Callable[[sqlite3.Connection, str, Form], None]] = {
    "step": potforms.log_step,
    "edit": potforms.correct_step,
    "start": potforms.correct_start,
    "undo": potforms.undo_step,
    "skein": potforms.log_skein,
    "end": potforms.log_end,
}


async def pot_page(visit: Visit) -> Response:
    """A lot at the pot; a form of it that is refused comes back with what was typed.

    The address may say which dyes go in: the form of a step begins with them.
    """
    lot_id = row_id(visit)
    if visit.request.method != "POST":
        return await _shown(visit, lot_id, filled_in(visit.asked), "")
    form = await visit.form()
    work = WORK.get(form.text("do"))
    if work is None:
        raise RefusedError("the form does not say what it is for: load the page again")
    try:
        return await visit.change(form, lambda conn: _do(conn, lot_id, work, form))
    except SwatchvaultError as error:
        if visit.wants_json:
            raise
        typed = {n: form.text(n) for n in form.said if isinstance(n, str) and n != "once"}
        if await visit.read(_gone, lot_id):
            shown = {k: v for k, v in typed.items() if v}
            return await visit.page("sv_pot_gone.html", {"words": str(error), "typed": shown}, 404)
        return await _shown(visit, lot_id, typed, str(error))


def _do(
    conn: sqlite3.Connection,
    lot_id: int,
    work: Callable[[sqlite3.Connection, str, Form], None],
    form: Form,
) -> str:
    from swatchvault.archive.pages_pot import lot_code

    work(conn, lot_code(conn, lot_id), form)
    return f"/pot/{lot_id}"


def _gone(conn: sqlite3.Connection, lot_id: int) -> bool:
    from swatchvault.archive.pages_pot import lot_code

    try:
        lot_code(conn, lot_id)
    except NotFound:
        return True
    return False


async def _shown(visit: Visit, lot_id: int, typed: Mapping[str, str], words: str) -> Response:
    edited = typed.get("number") if typed.get("do") == "edit" else None
    number = edited or visit.asked("edit")
    step = typed.get("what") or visit.asked("step")
    view = await visit.read(_view, lot_id, step, number)
    if view.editing is not None and typed.get("do") != "edit":
        typed = view.editing
    values = {
        "pot": view,
        "typed": typed,
        "doing": typed.get("do", ""),
        "words": words,
        "caution_line": CAUTION_LINE,
        "all_ticks": list(potforms.TICKS.items()),
        "ticks": [(name, label) for name, label in potforms.TICKS.items() if label in words],
    }
    return await visit.page("sv_pot.html", values, 400 if words else 200)


@dataclass(frozen=True)
class LogLine:
    """A step of the log as the page shows it, and as its forms name it."""

    number: int
    words: str
    was: str
    plan_number: int | None


@dataclass(frozen=True, eq=False)
class PotView:
    """All that a pot's page shows."""

    lot_id: int
    pot: Pot
    plan: PotPlan | None
    afterwards: bool
    next: StepPlan | None
    next_words: str
    next_timed: bool
    next_part: str
    doses: tuple[tuple[str, Dose], ...]
    doses_asked: bool
    waiting: tuple[tuple[StepPlan, str], ...]
    without_step: tuple[tuple[str, tuple[str, ...]], ...]
    log: tuple[LogLine, ...]
    struck: tuple[str, ...]
    went_in: tuple[tuple[str, str], ...]
    departures: list[str]
    stock_doubts: list[str]
    hold: Hold | None
    holding: bool
    others: list[OpenPot]
    water: str
    now: str
    skeins: list[Any]
    bases: list[str]
    sources: list[Any]
    kinds: tuple[str, ...]
    editing: dict[str, str] | None
    dyes_put_in: list[Any]
    to_try: str | None
    left: LeftToDo | None
    can_go: bool


def _view(conn: sqlite3.Connection, lot_id: int, step: str, number: str) -> PotView:
    from swatchvault.archive import dyes_of_step, get_pot
    from swatchvault.archive import pages_pot as pages
    from swatchvault.archive.let_go import what_belongs
    from swatchvault.archive.schema_studio import STEP_KINDS
    from swatchvault.archive.stock_doubts import doubts_of_lot
    from swatchvault.departures import departures
    from swatchvault.potclock import TIMED, still_running
    from swatchvault.potwork import done_words, local_now, plan_of, step_words, struck_words
    from swatchvault.recipe_parts import without_step
    from swatchvault.recipe_sheet import step_plan_words

    pot = get_pot(conn, pages.lot_code(conn, lot_id))
    plan = plan_of(conn, pot, {})
    afterwards = bool(pot.steps) and not pages.started_here(conn, lot_id)
    left = [] if afterwards else potforms.left_of(plan, pot)
    first = left[0] if left and not pot.ended_at else None
    chosen = next((s for s in left if str(s.number) == step), first)
    skeins = pages.skeins_of(conn, pot.lot)
    sources = pages.packed_sources(conn)
    now = local_now()
    doses, asked = _doses(plan, chosen, sources)
    editing = _editing(pot, number)
    return PotView(
        lot_id=lot_id,
        pot=pot,
        plan=plan,
        afterwards=afterwards,
        next=chosen,
        next_words=step_plan_words(chosen) if chosen else "",
        next_timed=bool(chosen and chosen.kind in TIMED and chosen.minutes),
        next_part=_part_words(plan, chosen),
        doses=doses,
        doses_asked=asked,
        waiting=tuple((s, _waiting_words(plan, s)) for s in left if s is not chosen),
        without_step=() if pot.ended_at or afterwards else without_step(plan),
        log=tuple(
            LogLine(d.number, done_words(pot, d), step_words(d.step), d.plan_number)
            for d in pot.steps
        ),
        struck=tuple(struck_words(s) for s in pot.struck),
        went_in=_went_in(pot),
        departures=departures(plan, pot),
        stock_doubts=[str(d) for d in doubts_of_lot(conn, lot_id)],
        hold=shown_hold(pot, now),
        holding=still_running((d.step for d in pot.steps), now) is not None,
        others=[] if pot.ended_at else open_pots(conn, now, without=lot_id),
        water="" if pot.ended_at or afterwards else _water(plan),
        now=now.isoformat(timespec="milliseconds"),
        skeins=skeins,
        bases=pages.bases_in_lot(conn, lot_id),
        sources=sources,
        kinds=STEP_KINDS,
        editing=editing,
        dyes_put_in=[] if editing is None else dyes_of_step(conn, pot.lot, int(editing["number"])),
        to_try=_to_try(conn, pot),
        left=left_to_do(conn, lot_id, pot, skeins, left),
        can_go=not what_belongs(conn, "lot", lot_id),
    )


def _part_of(plan: PotPlan | None, step: StepPlan | None) -> PartPlan | None:
    """The part that a planned step is of, where the recipe has several."""
    if plan is None or len(plan.parts) < 2:
        return None
    return next((part for part in plan.parts if step in part.steps), None)


def _part_words(plan: PotPlan | None, step: StepPlan | None) -> str:
    from swatchvault.recipe_parts import part_words

    part = _part_of(plan, step)
    return part_words(plan, part) if plan and part else ""


def _waiting_words(plan: PotPlan | None, step: StepPlan) -> str:
    from swatchvault.recipe_sheet import step_plan_words

    part = _part_of(plan, step)
    return step_plan_words(step) + (f" ({part.name})" if part else "")


def _water(plan: PotPlan | None) -> str:
    """How much liquor the pot is to hold, and what of it is plain water."""
    from swatchvault.measuring import pour_words

    if plan is None or plan.liquor_ml is None or plan.water_ml is None:
        return ""
    liquor, water = (pour_words(ml)[0] for ml in (plan.liquor_ml, plan.water_ml))
    return f"Liquor {liquor}; water besides all that is added {water}."


def _doses(
    plan: PotPlan | None, step: StepPlan | None, sources: list[Any]
) -> tuple[tuple[tuple[str, Dose], ...], bool]:
    """The doses of a planned "dye in" with their values in the form, and whether to be typed."""
    part = next((p for p in (plan.parts if plan else ()) if step in p.steps), None)
    if step is None or part is None or step.kind != "dye in":
        return (), False
    keys = {(s.dye, s.stock): s.key for s in sources if s.pack is None}
    doses = tuple((keys.get((d.dye, d.stock), ""), d) for d in part.doses)
    return doses, sum(s.kind == "dye in" for s in part.steps) > 1


def _went_in(pot: Pot) -> tuple[tuple[str, str], ...]:
    from swatchvault.potwork import source_words

    found = []
    parts = pot.recipe.parts if pot.recipe else ()
    of = " on all the goods" if any(part.share_percent != 100 for part in parts) else ""
    for (dye, grams), number in zip(pot.dyes_in, pot.put_in_by, strict=True):
        depth = ""
        if grams is not None and pot.goods_g:
            depth = f", {grams / pot.goods_g * 100:.3g} % depth of shade{of}"
        by = "" if number is None else f"; step {number}"
        found.append((dye.dye, f"{dye.amount or 'amount unknown'}{source_words(dye)}{depth}{by}"))
    return tuple(found)


def _editing(pot: Pot, number: str) -> dict[str, str] | None:
    """The fields of the step that is to be corrected, if one is."""
    from swatchvault.potwork import done_words

    if not number:
        return None
    wanted = whole(number, "the step")
    done = next((d for d in pot.steps if d.number == wanted), None)
    if done is None:
        raise NotFound(f"the log of lot {pot.lot!r} has no step {wanted}")
    fields = potforms.typed_step(done.step)
    return {**fields, "number": str(wanted), "was": done_words(pot, done), "do": "edit"}


def _to_try(conn: sqlite3.Connection, pot: Pot) -> str | None:
    from swatchvault.archive import next_time

    if pot.recipe is None:
        return None
    return next_time(conn, pot.recipe.colourway, pot.recipe.base)
