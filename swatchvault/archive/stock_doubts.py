"""What can hardly be right of stocks and the lots that used them; all of it is kept as told."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass

from swatchvault.archive.rows import NAMES_SHOWN

_OVERDRAWN = """SELECT stocks.stock_id, dye, stock, COALESCE(left_seen_ml, made_up_to_ml) AS had,
left_seen_on, left_ml, json_group_array(code) AS lots
FROM stocks JOIN (SELECT DISTINCT stock_id, lot.code, lot.dyed_on FROM lot_dye
    JOIN lot ON lot.id = lot_dye.lot_id ORDER BY lot.dyed_on, lot.id) AS used
ON used.stock_id = stocks.stock_id AND (left_seen_ml IS NULL OR used.dyed_on > left_seen_on)
WHERE left_ml < -:slack GROUP BY stocks.stock_id ORDER BY dye, stock"""

_MIXED_LATER = """SELECT DISTINCT stock.id, dye.name, stock.code, substr(stock.mixed_on, 1, 10),
lot.code, substr(lot.dyed_on, 1, 10)
FROM lot_dye JOIN stock ON stock.id = lot_dye.stock_id JOIN dye ON dye.id = stock.dye_id
JOIN lot ON lot.id = lot_dye.lot_id
WHERE substr(lot.dyed_on, 1, 10) < substr(stock.mixed_on, 1, 10)
AND (:lot IS NULL OR stock.id IN (SELECT stock_id FROM lot_dye WHERE lot_id = :lot))
ORDER BY dye.name, stock.code, lot.dyed_on, lot.id"""

#: mL that sums of many volumes may miss by; ours, for how numbers add up and not for how one pours.
_SLACK_ML = 1e-6


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
    """Stocks from which more went in than there was, and lots dyed before their stock was mixed.

    ``lot_id``: of the latter only those of stocks that went into this lot.
    """
    found = []
    for stock_id, dye, code, had, seen, left, lots in conn.execute(
        _OVERDRAWN, {"slack": _SLACK_ML}
    ):
        there = f"were left on {seen}" if seen else "were mixed"
        found.append(
            StockDoubt(
                "stock overdrawn",
                f"stock {code!r} of {dye!r}",
                f"{had - left:.4g} mL of it went in (lots {_some(json.loads(lots))}), and "
                f"{had:.4g} mL {there}",
                "correct what went in or the stock, or say what is left of it",
                stock_id,
            )
        )
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


def _some(names: Sequence[str]) -> str:
    more = len(names) - NAMES_SHOWN
    return ", ".join(names[:NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")


def doubts_of_lot(conn: sqlite3.Connection, lot_id: int) -> list[StockDoubt]:
    """Those of the stocks that went into a lot."""
    sql = "SELECT DISTINCT stock_id FROM lot_dye WHERE lot_id = ? AND stock_id IS NOT NULL"
    used = {row[0] for row in conn.execute(sql, (lot_id,))}
    return [doubt for doubt in stock_doubts(conn, lot_id) if doubt.stock_id in used]
