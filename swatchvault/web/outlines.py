"""What was located in a photo, as shapes to be drawn over its picture."""

from __future__ import annotations

from typing import Any

from ingest.model import Layout

_NAMES = {"card": "grey card", "steps": "steps", "chart24": "chart"}


def shapes(layout: Layout, width: float, height: float) -> list[dict[str, Any]]:
    """What was located, in units of the picture: points for SVG, words, and where they stand."""
    out = []

    def shape(points: Any, words: str, kind: str) -> dict[str, Any]:
        xy = [(x * width, y * height) for x, y in points]
        left, top = min(x for x, _ in xy), min(y for _, y in xy) - height / 60
        if kind == "scale":  # under it, where the steps' own words are above
            top = min(max(y for _, y in xy) + height / 22, height - height / 60)
        text = " ".join(f"{x:.1f},{y:.1f}" for x, y in xy)
        return {"points": text, "words": words, "kind": kind, "x": left, "y": top}

    for reference in layout.references:
        if reference.corners:
            out.append(shape(reference.corners, _NAMES[reference.kind], "reference"))
            continue
        for i, patch in enumerate(reference.patches):
            out.append(shape(patch, "" if i else _NAMES[reference.kind], "reference"))
    out += [shape(s.polygon, s.name, "swatch") for s in layout.swatches]
    if layout.scale is not None:
        ends = (layout.scale.start, layout.scale.end)
        out.append(shape(ends, f"{layout.scale.mm:g} mm", "scale"))
    return out
