"""What a prediction, a search for recipes and a correction are asked of an archive, answered.

For commands and pages alike, so that both give the same figures with the same notes.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from swatchvault.days import when
from swatchvault.dyeing import question_depth
from swatchvault.errors import ArchiveError, CompareError, NotFound
from swatchvault.measuring import SMALLEST_ML
from swatchvault.packs_learned import packs_noted
from swatchvault.pair import Conditions

if TYPE_CHECKING:
    from swatchvault.archive import Recipe
    from swatchvault.archive.dyed import PotAsDyed
    from swatchvault.foretell import Correction, Foretold, Ways
    from swatchvault.knownbase import KnownBase
    from swatchvault.pot import Dose, PotPlan, StockChoice
    from swatchvault.queries import Query

#: Most dyes of a recipe that is looked for, and how many recipes are told; our choice.
MOST_DYES, MOST_WAYS = 3, 8


@dataclass(frozen=True)
class LearnFrom:
    """Which of a base's lots are learned from: one form of them (``None``: of the target, else the
    commonest), those that overdye too or not. ``k_l``: of every ΔE00, ``None``: the usual one."""

    form: str | None = None
    overdyed: bool = False
    k_l: float | None = None


@dataclass(frozen=True)
class AtHand:
    """Dyes by name: only ``dyes`` where any are named, and none of ``without``."""

    dyes: Sequence[str] = ()
    without: Sequence[str] = ()


# -- what a recipe gives --------------------------------------------------------------------------


def depths_of(recipe: Recipe, times: float = 1.0) -> dict[str, float]:
    """The dyes of a recipe in % DOS, each ``times`` its depth. Raises ``CompareError`` for one that
    is dyed in parts, which have no one colour."""
    if len(recipe.parts) != 1 or recipe.parts[0].share_percent < 100.0:
        raise CompareError(
            f"the recipe of {recipe.colourway!r} on {recipe.base!r} is dyed in "
            f"{len(recipe.parts)} part(s) of the goods, which have no one colour: give the dyes of "
            "one part instead"
        )
    return {d.dye: d.depth_percent * times for d in recipe.parts[0].dyes}


def foretold_on(
    conn: sqlite3.Connection,
    base: str,
    depths: Mapping[str, float],
    learn: LearnFrom,
    against: Query | None = None,
) -> tuple[Foretold, list[str]]:
    """What a recipe in % DOS gives on a base, held ``against`` a colour if one is named; notes."""
    from swatchvault.foretell import foretell
    from swatchvault.potreading import doubt_of_target

    known, notes = _base_known(conn, base, learn, against)
    target = None if against is None else against.target
    doubt = None if against is None else doubt_of_target(against, known.setup_id)
    found = foretell(known, depths, target, doubt)
    question = question_depth(sum(depths.values())) if depths else None
    notes += [question] if question else []
    return found, notes + packs_noted(conn, known.lots, depths)


# -- which dyes get there -------------------------------------------------------------------------


def ways_on(
    conn: sqlite3.Connection,
    base: str,
    query: Query,
    learn: LearnFrom,
    at_hand: AtHand,
    *,
    most_dyes: int = MOST_DYES,
    count: int = MOST_WAYS,
) -> tuple[Ways, list[str]]:
    """The recipes that come nearest to a colour on a base, few dyes before many; notes."""
    from swatchvault.archive.dyed import dyes_without_lots
    from swatchvault.archive.made import made_of
    from swatchvault.foretell import ways_to
    from swatchvault.potreading import doubt_of_target

    known, notes = _base_known(conn, base, learn, query)
    made = made_of(conn, [query.swatch_id]) if query.swatch_id else {}
    found = ways_to(
        known,
        query.target,
        _dyes_at_hand(conn, known, at_hand),
        used=frozenset(d.dye for m in made.values() for d in m.dyes),
        untried=dyes_without_lots(conn, known.model.dyes),
        most_dyes=most_dyes,
        count=count,
        target_doubt=doubt_of_target(query, known.setup_id),
    )
    return found, notes


def _base_known(
    conn: sqlite3.Connection, base: str, learn: LearnFrom, query: Query | None
) -> tuple[KnownBase, list[str]]:
    """The base's model, in the target's form where enough lots have it, with a note if not."""
    from swatchvault.archive.dyed import dyed_on_base
    from swatchvault.knownbase import know_base
    from swatchvault.predict import FEWEST_LOTS

    dyed = dyed_on_base(conn, base, learn.form)
    wanted = query.photos[0].form if query is not None and query.photos else None
    if learn.form is None and wanted and wanted != dyed.form:
        in_form = dyed_on_base(conn, base, wanted)
        dyed = in_form if len(in_form.lots) >= FEWEST_LOTS else dyed
    notes = []
    if wanted and wanted != dyed.form:
        notes.append(
            f"The target is a {wanted}, the lots are each a {dyed.form}: form alone changes the "
            "colour."
        )
    notes += [] if query is None else query.target.warnings
    k_l = Conditions.k_l if learn.k_l is None else learn.k_l
    return know_base(dyed, include_overdyed=learn.overdyed, k_l=k_l), notes


def _dyes_at_hand(conn: sqlite3.Connection, known: KnownBase, at_hand: AtHand) -> list[str]:
    """Dyes of the model that were asked for; unknown names are an error."""
    from swatchvault.archive import get_dye

    wanted = {get_dye(conn, d).name for d in at_hand.dyes} or set(known.model.dyes)
    wanted -= {get_dye(conn, d).name for d in at_hand.without}
    return [d for d in known.model.dyes if d in wanted]


# -- what to add to a pot -------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Corrected:
    """A pot's correction; ``plan``: what to add in what can be measured, ``None`` where nothing is
    to be added, with the ``stocks`` it comes from, by dye; ``notes``: what puts it in doubt."""

    found: Correction
    plan: PotPlan | None
    stocks: Mapping[str, StockChoice]
    notes: tuple[str, ...]

    @property
    def doses(self) -> list[Dose]:
        """Each dye to add."""
        return [d for part in self.plan.parts for d in part.doses] if self.plan else []

    def record(self) -> dict[str, Any]:
        """Plain JSON data."""
        amounts = [
            {"dye": d.dye, "depth_percent": d.depth_percent, "dye_g": d.dye_g}
            | {"stock": d.stock, "stock_ml": d.stock_ml, "measure": d.words}
            for d in self.doses
        ]
        warnings = [*self.notes, *(self.plan.hints if self.plan else ())]
        return {**self.found.record(), "amounts": amounts, "warnings": warnings}


def corrected(
    conn: sqlite3.Connection,
    lot: str,
    query: Query | None,
    learn: LearnFrom,
    at_hand: AtHand,
    smallest: float = SMALLEST_ML,
) -> Corrected:
    """What to add to the pot of a lot so that it comes nearer to ``query``, ``None``: its master.

    ``smallest``: mL that can be measured well. Raises ``SwatchvaultError`` where it cannot be told.
    """
    from swatchvault.archive.dyed import base_and_form, dyed_on_base
    from swatchvault.foretell import correct
    from swatchvault.knownbase import know_base
    from swatchvault.potreading import read_pot

    pot, query, notes = _pot_and_target(conn, lot, query, learn.form)
    if pot.lot.overdyes and not learn.overdyed:
        raise ArchiveError(
            f"lot {pot.lot.name!r} was dyed over an earlier lot: say --overdyed to reckon with "
            "the dye under it"
        )
    refuse_dyed_after_photo(conn, pot)
    dyed = dyed_on_base(conn, *base_and_form(conn, pot.swatch))
    k_l = _usual_k_l(conn, pot, query) if learn.k_l is None else learn.k_l
    known = know_base(dyed, include_overdyed=learn.overdyed, without=[pot.lot.name], k_l=k_l)
    dyes = _dyes_at_hand(conn, known, at_hand)
    reading = read_pot(conn, pot, query, known.k_l, known.setup_id)
    found = correct(known, pot, reading, dyes)
    plan, stocks = _additions_plan(conn, found, smallest)
    notes += reading.warnings
    of_pot = {**pot.lot.depths, **found.additions.add}
    notes += packs_noted(conn, [*known.lots, pot.lot.name], of_pot)
    return Corrected(found, plan, stocks, tuple(notes))


def _pot_and_target(
    conn: sqlite3.Connection, lot: str, query: Query | None, form: str | None
) -> tuple[PotAsDyed, Query, list[str]]:
    """The pot in the target's form where it has one, the target, and a note where forms differ."""
    from swatchvault.archive import current_master, get_lot
    from swatchvault.archive.dyed import base_and_form, pot_as_dyed
    from swatchvault.queries import query_of_swatch

    get_lot(conn, lot)
    if query is None:
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


def _usual_k_l(conn: sqlite3.Connection, pot: PotAsDyed, query: Query) -> float:
    """kL as a check has it where the target is the lot's master, else as a search has it."""
    from swatchvault.archive import current_master
    from swatchvault.archive.dyed import base_and_form

    if pot.colourway is None or query.spoken is None:
        return Conditions.k_l
    held = current_master(conn, pot.colourway, *base_and_form(conn, pot.swatch))
    return held.k_l if held and held.swatch == query.spoken.swatch else Conditions.k_l


def refuse_dyed_after_photo(conn: sqlite3.Connection, pot: PotAsDyed) -> None:
    """Raise ``ArchiveError`` where dye went in later than the photo that speaks for the pot was
    taken: what it does not show would be added once more."""
    from swatchvault.archive import get_pot
    from swatchvault.potclock import DAY, read_time
    from swatchvault.potwork import local_now

    if not pot.colour.before_last_dye:
        return
    steps = (d.step for d in get_pot(conn, pot.lot.name).steps)
    times = [s.at for s in steps if s.kind == "dye in" and s.at and len(s.at) > DAY]
    now = local_now()
    late = f" at {when(max(times, key=lambda told: read_time(told, now)))}" if times else ""
    raise ArchiveError(
        f"dye went into lot {pot.lot.name!r}{late}, after the photo of {pot.swatch} "
        f"({when(pot.taken_at)}), which does not show it: no amounts are told from that photo. "
        "Photograph the yarn as it is now, dry, and add the photo"
    )


def _additions_plan(
    conn: sqlite3.Connection, found: Correction, smallest: float
) -> tuple[PotPlan | None, Mapping[str, StockChoice]]:
    """The additions in grams and in millilitres of the stocks that the archive holds."""
    from swatchvault.archive import PlannedDye, Recipe, RecipePart
    from swatchvault.pot import plan_pot
    from swatchvault.potwork import choose_stocks, local_now

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
