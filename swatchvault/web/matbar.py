"""The mat's bar as measured on a print: how it is typed, and what it does to lengths found."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from ingest.errors import MarksError
from ingest.matsheet import BAR_MM, LEAST_BAR_MM, MOST_BAR_MM
from swatchvault.typed_numbers import millimetres

PRINTED_MM = BAR_MM
#: Share of the picture by which a page may have rounded a point. Our choice.
_SAME_POINT = 1e-4


def bar_of_text(text: str) -> float:
    """The bar in mm, typed in mm or with a unit; blank is as printed. Raises ``MarksError``."""
    if not text.strip():
        return PRINTED_MM
    try:
        value = millimetres(text)
    except ValueError:
        value = math.nan
    if not LEAST_BAR_MM <= value <= MOST_BAR_MM:
        raise MarksError(
            f"The mat's bar is {text!r}, and must be {LEAST_BAR_MM:g} to {MOST_BAR_MM:g} mm: "
            "measure it again on your print, and write it as 97, 97 mm or 3.8 in"
        )
    return value


def bar_of_layout(found: Mapping[str, Any]) -> float | None:
    """The bar by which the lengths of a mat were found, mm; ``None`` where none was."""
    scale = found["marks"].get("scale") if found.get("located") == "mat" else None
    return None if scale is None else float(scale["mm"])


def by_bar(
    marks: Mapping[str, Any], found: Mapping[str, Any], bar_mm: float
) -> tuple[dict[str, Any], dict[str, Any]]:
    """The marks that were posted, and what was found, for a bar of ``bar_mm``.

    Lengths that the mat gave follow the bar; a length of the person's own stays.
    """
    was = bar_of_layout(found) if found else None
    if was is None or was == bar_mm:
        return dict(marks), dict(found)
    times, of_mat = bar_mm / was, found["marks"]
    widths = {s["across_mm"] for s in of_mat["swatches"] if "across_mm" in s}

    def longer(one: Mapping[str, Any]) -> dict[str, Any]:
        out = dict(one)
        if isinstance(one.get("scale"), Mapping) and _same(one["scale"], of_mat["scale"]):
            out["scale"] = {**one["scale"], "mm": bar_mm}
        out["swatches"] = [
            {**s, "across_mm": s["across_mm"] * times} if s.get("across_mm") in widths else s
            for s in one["swatches"]
        ]
        return out

    return longer(marks), {**found, "marks": longer(of_mat)}


def _same(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    ends = zip([*one["from"], *one["to"]], [*other["from"], *other["to"]], strict=True)
    return bool(one["mm"] == other["mm"]) and all(abs(a - b) < _SAME_POINT for a, b in ends)
