"""All that can hardly be right in what was told: of stocks, and of photos."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection

from swatchvault.archive.photo_doubts import PhotoDoubt, photo_doubts
from swatchvault.archive.stock_doubts import StockDoubt, stock_doubts

Doubt = StockDoubt | PhotoDoubt


def doubts(conn: sqlite3.Connection) -> list[Doubt]:
    """Of stocks first, then of photos."""
    return [*stock_doubts(conn), *photo_doubts(conn)]


def new_doubts(conn: sqlite3.Connection, before: Collection[Doubt]) -> list[str]:
    """Notes of what was not in doubt ``before``, a line each."""
    return [f"note: {doubt}" for doubt in doubts(conn) if doubt not in before]
