"""Strengths that were kept as shares of the goods, as migration 9 puts them right."""

from __future__ import annotations

import re
import sqlite3

# "56 % acetic acid 20 mL" had been worked out as 56 % of the goods. What such a text says is read
# anew wherever it is planned; here only the wrong figure goes.
_OF_GOODS = r"(?:of|on)\b.* (?:goods|yarn|fibre|fiber)\b.*|o\.?w\.?[fg]\b.*"
_SHARE = re.compile(rf"[0-9]+(?:[.,][0-9]+)? ?%(?: (?:{_OF_GOODS}))?", re.IGNORECASE)


def forget_wrong_shares(conn: sqlite3.Connection) -> None:
    """Take the share of the goods out of each planned step whose percentage is none."""
    sql = (
        "SELECT id, amount FROM recipe_step "
        "WHERE percent_of_goods IS NOT NULL AND instr(amount, '%') > 0"
    )
    wrong = [(row[0],) for row in conn.execute(sql) if not _SHARE.fullmatch(row[1])]
    conn.executemany("UPDATE recipe_step SET percent_of_goods = NULL WHERE id = ?", wrong)
