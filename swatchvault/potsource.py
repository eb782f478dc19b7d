"""Where a dye that went into a pot came from, as far as nobody said: which stock, or powder."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Mapping
from datetime import date
from typing import TYPE_CHECKING

from swatchvault.amounts import with_unit
from swatchvault.errors import ArchiveError
from swatchvault.planned_amounts import dye_amount

if TYPE_CHECKING:
    from swatchvault.archive import DyeIn, Pot
    from swatchvault.pot import PotPlan, StockChoice


def held_of(conn: sqlite3.Connection, dye: str) -> list[StockChoice]:
    """The stocks of a dye, the newest first."""
    from swatchvault.archive import stocks_held
    from swatchvault.pot import StockChoice

    return [
        StockChoice(s.code, s.strength_percent, s.left_ml, s.mixed_on)
        for s in stocks_held(conn, dye)
    ]


def sourced(
    conn: sqlite3.Connection,
    plan: PotPlan | None,
    pot: Pot,
    told: Iterable[tuple[str, str]],
    named: Mapping[str, str | None],
) -> list[DyeIn]:
    """Dyes and amounts as they were told, each with its stock or as powder.

    That is what ``named`` says, else what the dye is planned from. A volume of any other dye, or of
    one planned as powder, is of the newest stock that suffices, for powder is weighed; without a
    stock its dye is not known. A weight of a dye that is not planned is powder where there is no
    stock of it. Raises ``ArchiveError`` where there is one: it may be either; and of a volume where
    stocks differ in strength by ``FAR_OFF``: it may be of any. A number without a unit is mL of a
    stock.
    """
    from swatchvault.archive import DyeIn

    doses = {d.dye: d.stock for part in (plan.parts if plan else ()) for d in part.doses}
    known = {d.casefold(): s for d, s in {**doses, **pot.planned_from}.items()}
    said = {d.casefold(): s for d, s in named.items()}
    found = []
    for dye, amount in told:
        key = dye.casefold()
        if key in said:
            stock = said[key]
        else:
            stock = known.get(key) or _unsaid(conn, dye, amount, key in known)
        amount = amount if stock is None else with_unit(amount, "mL")
        found.append(DyeIn(dye, amount, stock=stock))
    return found


def _unsaid(conn: sqlite3.Connection, dye: str, amount: str, as_powder: bool) -> str | None:
    """The stock of a dye that is planned from none; ``as_powder``: it is planned as powder."""
    from swatchvault.archive import spoons_of
    from swatchvault.pot import stock_with
    from swatchvault.potwork import FAR_OFF

    read, held = dye_amount(amount, spoons_of(conn)), held_of(conn, dye)
    if read.ml is not None:
        stock = stock_with(held, read.ml)
        strengths = [s.strength_percent for s in held]
        if stock and max(strengths) >= FAR_OFF * min(strengths):
            of = " or ".join(f"{s.code!r} ({s.strength_percent:.3g} %)" for s in held[:4])
            raise ArchiveError(
                f"{amount} of {dye!r}, which is planned from no stock, may be of {of}: say which, "
                f'--stock "{dye}={stock.code}"'
            )
        return None if stock is None else stock.code
    if read.g is not None and held and not as_powder:
        raise ArchiveError(
            f"{amount} of {dye!r}, which is not planned: if it was powder, add "
            f'--powder "{dye}"; if so much stock was weighed, add --stock "{dye}={held[0].code}"'
        )
    return None


def unknown_doses(conn: sqlite3.Connection, dyes: Iterable[DyeIn]) -> dict[str, str]:
    """Dyes of which a volume went in and no stock is named, each with a sentence that says so."""
    from swatchvault.archive import spoons_of

    spoons = spoons_of(conn)
    return {
        dye.dye: f"{dye.dye}: {dye.amount} without a stock does not say how much dye that is, for "
        "powder is weighed"
        for dye in dyes
        if dye.stock is None and dye_amount(dye.amount, spoons).ml
    }


def aged_stocks(conn: sqlite3.Connection, dyes: Iterable[DyeIn], pot: Pot, day: date) -> list[str]:
    """A sentence on the stocks that the pot was not planned from and that were old on a day."""
    from swatchvault.pot import aged_hint, is_aged

    planned = {d.casefold(): s for d, s in pot.planned_from.items()}
    old = [
        f"{stock.code!r} of {dye.dye}"
        for dye in dyes
        if dye.stock and planned.get(dye.dye.casefold()) != dye.stock
        for stock in held_of(conn, dye.dye)
        if stock.code.casefold() == dye.stock.casefold() and is_aged(stock, day)
    ]
    return [aged_hint(old)] if old else []
