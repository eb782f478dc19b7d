"""What can be done next with yarn whose photo is filed: a check of its lot, or what lacks."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Any

from swatchvault.web.checkable import cannot_yet


def next_of_photo(
    conn: sqlite3.Connection, shown: Sequence[tuple[int, str, int]]
) -> list[dict[str, Any]]:
    """Of each lot, by number and code, whether a swatch of it that is ``shown``, the third of each,
    can be held to a master; else why not, and where that is mended.

    A lot of which only the master itself is shown has nothing to do next.
    """
    swatches: dict[tuple[int, str], set[int]] = {}
    for lot_id, code, swatch_id in shown:
        swatches.setdefault((lot_id, code), set()).add(swatch_id)
    found: list[dict[str, Any]] = []
    for (lot_id, code), only in swatches.items():
        cannot = cannot_yet(conn, lot_id, only)
        if cannot is None or cannot[1]:
            found.append({"id": lot_id, "code": code, "cannot": cannot})
    return found
