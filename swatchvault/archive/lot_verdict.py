"""Which check speaks for a lot: of each of its swatches the newest, and of these the worst.

One that is outside is not hidden by another that was checked later and is within. A swatch of which
nothing counts any more, since its photos are set aside, speaks only where there is no other.
Newest is what was given last, by its number: a clock that was wrong hides no verdict.
"""

from __future__ import annotations

_WORST_FIRST = "CASE {verdict} WHEN 'outside' THEN 0 WHEN 'cannot tell' THEN 1 ELSE 2 END"

_COUNTS = "EXISTS (SELECT 1 FROM current_measurement AS m WHERE m.swatch_id = given.swatch_id)"
_UNEVENNESS = "(SELECT verdict FROM evenness_check WHERE lot_check_id = given.id)"


def check_of(lot: str) -> str:
    """SQL: the number of the check that speaks for the lot of that id; NULL before the first.

    Of two swatches with one verdict that of the worse evenness speaks, then the newest check.
    """
    return (
        f"(SELECT given.id FROM lot_check AS given WHERE given.lot_id = {lot} "
        "AND NOT EXISTS (SELECT 1 FROM lot_check AS later WHERE later.lot_id = given.lot_id "
        "AND later.swatch_id = given.swatch_id AND later.id > given.id) "
        f"ORDER BY {_COUNTS} DESC, {_WORST_FIRST.format(verdict='given.verdict')}, "
        f"CASE WHEN {_UNEVENNESS} IN ('more tonal', 'less tonal') THEN 0 "
        f"WHEN {_UNEVENNESS} = 'cannot tell' THEN 1 ELSE 2 END, "
        "given.id DESC LIMIT 1)"
    )


def swatch_of(lot: str, check: str) -> str:
    """SQL: label of the swatch that the check is of, where the lot has checks of several; else
    NULL."""
    return (
        "(SELECT swatch.label FROM lot_check AS given JOIN swatch ON swatch.id = given.swatch_id "
        f"WHERE given.id = {check} AND EXISTS (SELECT 1 FROM lot_check AS of_other "
        f"WHERE of_other.lot_id = {lot} AND of_other.swatch_id <> given.swatch_id))"
    )
