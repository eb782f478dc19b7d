"""Functions for queries, NULL-safe: ``delta_e_00(L1, a1, b1, L2, a2, b2)`` at kL = 1, and
``same_name(a, b)``."""

from __future__ import annotations

import math
import sqlite3


def delta_e_00(*values: object) -> float | None:
    """ΔE00 (ISO/CIE 11664-6, kL = kC = kH = 1) of two Lab colours; NULL where anything is not
    a finite number."""
    from swatchvault.difference import delta_e_2000

    try:
        numbers = [float(v) for v in values]  # type: ignore[arg-type]
    except (TypeError, ValueError):
        return None
    if len(numbers) != 6 or not all(math.isfinite(n) for n in numbers):
        return None
    found = float(delta_e_2000(numbers[:3], numbers[3:]))
    return found if math.isfinite(found) else None


def same_name(one: object, other: object) -> bool:
    """Whether two names are one: neither case nor Unicode's form of a letter matters."""
    from swatchvault.archive.names import folded
    from swatchvault.archive.values import clean

    if not isinstance(one, str) or not isinstance(other, str):
        return False
    return folded(one) == folded(clean(other, "name") or "")


def add_functions(conn: sqlite3.Connection) -> None:
    """Make the functions known to a connection."""
    conn.create_function("delta_e_00", 6, delta_e_00, deterministic=True)
    conn.create_function("same_name", 2, same_name, deterministic=True)
