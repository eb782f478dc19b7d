"""What is left to do with a pot that has ended: photo, skeins out, check, next version."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from swatchvault.web.checkable import cannot_yet
from swatchvault.web.newrecipe import next_as_done

if TYPE_CHECKING:
    from swatchvault.archive import Pot
    from swatchvault.pot import StepPlan


@dataclass(frozen=True)
class LeftToDo:
    """``photo``: whether no swatch of it is measured yet; ``skeins``: those not weighed out, by
    label; ``check``: whether it can be held to a master and never was; ``cannot``: else why not and
    where to go on; ``next_version``: whether what went in departs from the recipe; ``not_done``:
    planned steps that were not logged."""

    photo: bool
    skeins: tuple[str, ...]
    check: bool
    cannot: tuple[str, list[tuple[str, str]]] | None
    next_version: bool
    not_done: tuple[str, ...]

    @property
    def nothing(self) -> bool:
        """Whether it is photographed, weighed and checked."""
        return not (self.photo or self.skeins or self.check or (self.cannot and self.cannot[1]))


def left_to_do(
    conn: sqlite3.Connection,
    lot_id: int,
    pot: Pot,
    skeins: Collection[Any],
    not_done: Collection[StepPlan],
) -> LeftToDo | None:
    """What is left of a pot that has ended; ``None`` of one that is open."""
    from swatchvault.archive import pages_check
    from swatchvault.archive import pages_yarn as pages
    from swatchvault.recipe_sheet import step_plan_words

    if not pot.ended_at:
        return None
    measured = any(s["lab"] for s in pages.swatches_of_lot_id(conn, lot_id))
    checked = bool(pages_check.checks_of_lot(conn, lot_id))
    cannot = cannot_yet(conn, lot_id) if measured and not checked else None
    return LeftToDo(
        photo=not measured,
        skeins=tuple(s.label for s in skeins if s.grams_out is None),
        check=measured and not checked and cannot is None,
        cannot=cannot,
        next_version=next_as_done(conn, pages.one(conn, "lot", lot_id)),
        not_done=tuple(step_plan_words(step) for step in not_done),
    )
