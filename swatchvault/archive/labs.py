"""Lab with its doubt, as columns of a query and as what a page takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from swatchvault.archive.speaking import variance_total

#: Of the measurement ``m``: variances over all four parts, NULL where a part is unknown.
VARIANCES = ", ".join(f"{variance_total(i)} AS variance_{n}" for i, n in enumerate("lab"))
#: Its colour and these.
LAB = f"m.lab_l, m.lab_a, m.lab_b, {VARIANCES}"

_LAB = ("lab_l", "lab_a", "lab_b")
_VARIANCES = ("variance_l", "variance_a", "variance_b")


def roots_of(variances: Sequence[float | None]) -> tuple[float, float, float] | None:
    """Standard uncertainties of three variances; ``None`` where one is unknown."""
    known = [math.sqrt(max(v, 0.0)) for v in variances if v is not None and math.isfinite(v)]
    return (known[0], known[1], known[2]) if len(known) == 3 else None


def with_lab(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows of :data:`LAB` with ``lab``, ``None`` where nothing is measured, and ``u_lab``: its
    standard uncertainties, three NaN where they are unknown."""
    for row in rows:
        parts = tuple(row.pop(name) for name in _LAB)
        u = roots_of([row.pop(name, None) for name in _VARIANCES])
        row["lab"] = None if None in parts else parts
        row["u_lab"] = u or (math.nan, math.nan, math.nan)
    return rows
