"""The dyes in the forms at the pot, read: what went in, from which stock, and that put right."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING

from swatchvault.amounts import with_unit
from swatchvault.web.visit import Form, RefusedError

if TYPE_CHECKING:
    from swatchvault.archive import DyeIn, Pot
    from swatchvault.archive.pages_pot import DyeSource
    from swatchvault.pot import PotPlan, StepPlan

#: Label of the tick box that answers what is asked back of an amount.
REALLY = "So much really went in"
#: Most dyes that one form can say went in.
DYE_ROWS = 6


def dyes_in_form(
    conn: sqlite3.Connection,
    plan: PotPlan | None,
    pot: Pot,
    planned: StepPlan | None,
    kind: str,
    form: Form,
) -> list[DyeIn]:
    """The dyes of a step "dye in": those typed, else the doses planned for its part."""
    from swatchvault.archive import DyeIn
    from swatchvault.potwork import rest_to_go_in

    typed = [
        (form.text(f"dye{n}"), form.text(f"amount{n}"))
        for n in range(1, DYE_ROWS + 1)
        if form.text(f"amount{n}")
    ]
    if kind != "dye in":
        if typed:
            raise RefusedError(f"dyes go in with a step “dye in”, not with “{kind}”")
        return []
    if typed:
        known = _known_sources(conn)
        for source, _ in typed:
            if source not in known:
                raise RefusedError("choose which dye went in, and from which stock, for each")
        told = [(known[source], amount) for source, amount in typed]
        return [DyeIn(s.dye, _measured(amount, s), s.pack, s.stock) for s, amount in told]
    part = next((p for p in (plan.parts if plan else ()) if planned in p.steps), None)
    if part is None:
        raise RefusedError("say which dye went in and how much: nothing is planned for this step")
    if sum(s.kind == "dye in" for s in part.steps) > 1:
        rest = rest_to_go_in(pot, part) if plan and len(plan.parts) == 1 else []
        open_now = ", ".join(f"{amount} of {dye}" for dye, amount in rest)
        raise RefusedError(
            f"the dye of part {part.name!r} goes in more than once: say how much went in now"
            + (f", of {open_now} that are open" if rest else "")
        )
    return [DyeIn(d.dye, d.words, stock=d.stock) for d in part.doses]


def _measured(amount: str, source: DyeSource) -> str:
    """An amount as typed; a number without a unit is mL of a stock, and g of powder."""
    return with_unit(amount, "g" if source.stock is None else "mL")


def _known_sources(conn: sqlite3.Connection) -> dict[str, DyeSource]:
    """Each stock of each dye, and each dye as powder, by its value in the forms."""
    from swatchvault.archive.pages_pot import packed_sources

    return {source.key: source for source in packed_sources(conn)}


def filled_in(text: Callable[[str], str]) -> dict[str, str]:
    """What the form of a step begins with where an address says which dyes go in; else nothing."""
    names = [f"{what}{n}" for n in range(1, DYE_ROWS + 1) for what in ("dye", "amount")]
    dyes = {name: said for name in names if (said := text(name).strip())}
    return {"do": "step", "kind": "dye in", **dyes} if "dye1" in dyes else {}


def correct_dyes(conn: sqlite3.Connection, code: str, number: int, form: Form) -> list[DyeIn]:
    """Correct the dyes of a step as its form says: those that were corrected, as they now are.

    A source of another dye says that it was that one which went in.
    """
    from swatchvault.archive import DyeIn, another_dye, dyes_of_step, edit_dye_in

    corrected, known = [], _known_sources(conn)
    for index, dye in enumerate(dyes_of_step(conn, code, number), 1):
        if form.text(f"dye{index}") != dye.dye:
            continue
        typed, chosen = form.text(f"amount{index}"), known.get(form.text(f"source{index}"))
        amount = None if typed in ("", dye.amount or "") else typed
        amount = _measured(amount, chosen) if amount and chosen else amount
        source: dict[str, str | None] = {}
        pack: dict[str, str | None] = {}
        if chosen is not None and chosen.dye != dye.dye:
            other = DyeIn(chosen.dye, amount or dye.amount, chosen.pack, chosen.stock)
            corrected.append(another_dye(conn, code, dye.dye, other, number=number)[1])
            continue
        if chosen is not None:
            source = {dye.dye: chosen.stock} if chosen.stock != dye.stock else {}
            pack = {dye.dye: chosen.pack} if not chosen.stock and chosen.pack != dye.pack else {}
        if amount or source or pack:
            _, now = edit_dye_in(
                conn, code, dye.dye, amount, number=number, source=source, pack=pack
            )
            corrected.append(now)
    return corrected


def ask_doses(
    conn: sqlite3.Connection, doubts: Mapping[str, str], dyes: Iterable[DyeIn], form: Form
) -> None:
    """Refuse amounts that are in doubt, and volumes of powder, unless they are said to be so."""
    from swatchvault.potsource import unknown_doses

    if form.text("really"):
        return
    if doubts:
        raise RefusedError(
            f"{'; '.join(doubts.values())}. If it was powder, or another stock, log it under "
            "“Something else” and choose that; if so much of this one really went in, say "
            f"“{REALLY}”"
        )
    unknown = unknown_doses(conn, dyes)
    if unknown:
        raise RefusedError(
            f"{'; '.join(unknown.values())}. Choose the stock that it was, or say how many grams; "
            f"if that is all that is known, say “{REALLY}”"
        )
