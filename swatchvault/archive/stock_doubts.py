"""What can hardly be right of stocks and the lots that used them; all of it is kept as told."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from swatchvault.archive.names import NAMES_SHOWN
from swatchvault.archive.views import ALL_POURED, GONE_IN, POURED

#: Of all stocks those that may be overdrawn or need a day: of the others no pour is looked at.
_MAYBE = f"""SELECT stock.id FROM stock WHERE (left_ml IS NOT NULL
OR {ALL_POURED} > made_up_to_ml + :slack)"""

_POURED = f"""SELECT stock.id AS stock_id, dye.name AS dye, stock.code, left_seen_on, unplaced,
left_ml IS NOT NULL AS looked, COALESCE(left_ml, made_up_to_ml) AS had, sum(ml) AS went,
json_group_array(poured.code) AS lots
FROM (SELECT stock_id, lot_id, code, day, unplaced, sum(ml) AS ml FROM ({POURED})
    WHERE stock_id IN (SELECT value FROM json_each(:stocks))
    GROUP BY stock_id, lot_id, unplaced ORDER BY day, lot_id) AS poured
JOIN stock ON stock.id = poured.stock_id JOIN dye ON dye.id = stock.dye_id
GROUP BY stock.id, unplaced HAVING CASE WHEN unplaced THEN went > 0 ELSE went > had + :slack END
ORDER BY dye.name, stock.code, unplaced"""

_MIXED_LATER = f"""SELECT DISTINCT stock.id, dye.name, stock.code, substr(stock.mixed_on, 1, 10),
lot.code, substr(lot.dyed_on, 1, 10)
FROM stock JOIN dye ON dye.id = stock.dye_id CROSS JOIN {GONE_IN} AS used
ON used.stock_id = stock.id CROSS JOIN lot ON lot.id = used.lot_id
WHERE substr(lot.dyed_on, 1, 10) < substr(stock.mixed_on, 1, 10) AND {{of_them}}
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


def stock_doubts(
    conn: sqlite3.Connection, stock_ids: Collection[int] | None = None
) -> list[StockDoubt]:
    """Stocks from which more went in than there was, pours that may be from before what was left
    was seen, and lots dyed before their stock was mixed.

    ``stock_ids``: only of these; else of all.
    """
    of_them, asked = "1", {"slack": _SLACK_ML, "stocks": "[]"}
    if stock_ids is not None:
        of_them = "stock.id IN (SELECT value FROM json_each(:stocks))"
        asked["stocks"] = json.dumps(sorted(stock_ids))
    maybe = [row[0] for row in conn.execute(f"{_MAYBE} AND {of_them}", asked)]
    poured = {**asked, "stocks": json.dumps(maybe)}
    found = [_of_pours(row) for row in conn.execute(_POURED, poured)] if maybe else []
    later = conn.execute(_MIXED_LATER.format(of_them=of_them), asked)
    for stock_id, dye, code, mixed, lot, dyed in later:
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
    return stock_doubts(conn, {int(row[0]) for row in conn.execute(sql, (lot_id,))})
