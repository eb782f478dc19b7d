"""What can hardly be right of stocks and the lots that used them; all of it is kept as told."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from swatchvault.archive.names import NAMES_SHOWN
from swatchvault.archive.views import GONE_IN, POURED

_POURED = f"""SELECT stock.id AS stock_id, dye.name AS dye, stock.code, left_seen_on, unplaced,
left_ml IS NOT NULL AS looked, COALESCE(left_ml, made_up_to_ml) AS had, sum(ml) AS went,
json_group_array(poured.code) AS lots
FROM (SELECT stock_id, lot_id, code, day, unplaced, sum(ml) AS ml FROM ({POURED})
    GROUP BY stock_id, lot_id, unplaced ORDER BY day, lot_id) AS poured
JOIN stock ON stock.id = poured.stock_id JOIN dye ON dye.id = stock.dye_id
GROUP BY stock.id, unplaced HAVING CASE WHEN unplaced THEN went > 0 ELSE went > had + :slack END
ORDER BY dye.name, stock.code, unplaced"""

_MIXED_LATER = f"""SELECT DISTINCT stock.id, dye.name, stock.code, substr(stock.mixed_on, 1, 10),
lot.code, substr(lot.dyed_on, 1, 10)
FROM {GONE_IN} AS used JOIN stock ON stock.id = used.stock_id JOIN dye ON dye.id = stock.dye_id
JOIN lot ON lot.id = used.lot_id
WHERE substr(lot.dyed_on, 1, 10) < substr(stock.mixed_on, 1, 10)
AND (:lot IS NULL OR stock.id IN (SELECT stock_id FROM lot_dye WHERE lot_id = :lot))
ORDER BY dye.name, stock.code, lot.dyed_on, lot.id"""

#: mL that sums of many volumes may miss by; ours, for how numbers add up and not for how one pours.
_SLACK_ML = 1e-6
_UNTIL_THEN = "until then it counts as poured since"


@dataclass(frozen=True)
class StockDoubt:
    """Something of a stock that can hardly be: its kind, where, what, and what to do."""

    kind: str
    where: str
    what: str
    do: str
    stock_id: int

    def __str__(self) -> str:
        return f"{self.where}: {self.what}; {self.do}"


def stock_doubts(conn: sqlite3.Connection, lot_id: int | None = None) -> list[StockDoubt]:
    """Stocks from which more went in than there was, pours that may be from before what was left
    was seen, and lots dyed before their stock was mixed.

    ``lot_id``: of the last only those of stocks that went into this lot.
    """
    found = [_of_pours(row) for row in conn.execute(_POURED, {"slack": _SLACK_ML})]
    for stock_id, dye, code, mixed, lot, dyed in conn.execute(_MIXED_LATER, {"lot": lot_id}):
        found.append(
            StockDoubt(
                "stock mixed later",
                f"stock {code!r} of {dye!r}",
                f"lot {lot!r} was dyed with it on {dyed}, and it was mixed on {mixed}",
                "correct the day that is wrong, or name the stock that it really was",
                stock_id,
            )
        )
    return found


def _of_pours(row: sqlite3.Row) -> StockDoubt:
    seen, lots = row["left_seen_on"], _some(json.loads(row["lots"]))
    what, kind = f"{row['went']:.4g} mL of it went in", "stock poured, no day"
    there = f"{row['had']:.4g} mL were left on {seen or 'a day that is not told'}"
    if not row["unplaced"]:
        kind = "stock overdrawn"
        there = there if row["looked"] else f"{row['had']:.4g} mL were mixed"
        do = "correct what went in or the stock, or say what is left of it"
    elif seen is None:
        do = f"say on which day so much was left ({_UNTIL_THEN})"
    else:
        what += " on days that are not told"
        do = f"say on which day those lots were dyed ({_UNTIL_THEN})"
    where = f"stock {row['code']!r} of {row['dye']!r}"
    return StockDoubt(kind, where, f"{what} (lots {lots}), and {there}", do, row["stock_id"])


def _some(names: Sequence[str]) -> str:
    more = len(names) - NAMES_SHOWN
    return ", ".join(names[:NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")


def doubts_of_lot(conn: sqlite3.Connection, lot_id: int) -> list[StockDoubt]:
    """Those of the stocks that went into a lot."""
    sql = "SELECT DISTINCT stock_id FROM lot_dye WHERE lot_id = ? AND stock_id IS NOT NULL"
    used = {row[0] for row in conn.execute(sql, (lot_id,))}
    return [doubt for doubt in stock_doubts(conn, lot_id) if doubt.stock_id in used]
