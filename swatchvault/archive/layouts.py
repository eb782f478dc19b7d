"""A layout as the text that a row keeps, in the form of a marks file, and back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from ingest.model import Lab, Layout, Polygon, Reference, Scale, SwatchRegion
from swatchvault.archive.rows import to_json


def layout_to_marks(layout: Layout) -> dict[str, Any]:
    """The layout as a marks file says it, with how and how surely each thing was located."""
    marks: dict[str, Any] = {
        "located": layout.located,
        "references": [_reference_to(r) for r in layout.references],
        "swatches": [
            {
                "name": s.name,
                "polygon": [list(p) for p in s.polygon],
                "located": s.located,
                "confidence": s.confidence,
            }
            for s in layout.swatches
        ],
    }
    if layout.scale is not None:
        scale = layout.scale
        marks["scale"] = {"from": list(scale.start), "to": list(scale.end), "mm": scale.mm}
    if layout.surround:  # a mat's bare paper, for its light field
        marks["surround"] = [[list(p) for p in polygon] for polygon in layout.surround]
    if layout.flags:
        marks["flags"] = sorted(layout.flags)
    return marks


def layout_to_text(layout: Layout) -> str:
    """JSON text of :func:`layout_to_marks`: the same layout gives the same text."""
    return to_json(layout_to_marks(layout))


def layout_from_text(text: str) -> Layout:
    """The layout that :func:`layout_to_text` wrote."""
    marks = json.loads(text)
    scale = marks.get("scale")
    return Layout(
        references=tuple(_reference_from(r) for r in marks["references"]),
        swatches=tuple(
            SwatchRegion(s["name"], _polygon(s["polygon"]), s["located"], s["confidence"])
            for s in marks["swatches"]
        ),
        scale=None
        if scale is None
        else Scale(tuple(scale["from"]), tuple(scale["to"]), scale["mm"]),
        located=marks["located"],
        surround=tuple(_polygon(p) for p in marks.get("surround", ())),
        flags=frozenset(marks.get("flags", ())),
    )


def _reference_to(reference: Reference) -> dict[str, Any]:
    patches = [[list(p) for p in patch] for patch in reference.patches]
    marks: dict[str, Any] = {"kind": reference.kind}
    one = reference.kind == "card" and len(patches) == 1  # a marks file gives one value bare
    if one:
        marks["polygon"] = patches[0]
    else:
        marks["patches"] = patches
    if reference.corners is not None:
        marks["corners"] = [list(p) for p in reference.corners]
    if reference.y is not None:
        marks["y"] = reference.y[0] if one else list(reference.y)
    if reference.lab_d50 is not None:
        rows = [list(lab) for lab in reference.lab_d50]
        marks["lab_d50"] = rows[0] if one else rows
    if reference.edition is not None:
        marks["edition"] = reference.edition
    return {**marks, "located": reference.located, "confidence": reference.confidence}


def _reference_from(marks: Mapping[str, Any]) -> Reference:
    one = "polygon" in marks
    patches = [marks["polygon"]] if one else marks["patches"]
    y, labs, corners = marks.get("y"), marks.get("lab_d50"), marks.get("corners")
    if one:
        y, labs = None if y is None else [y], None if labs is None else [labs]
    return Reference(
        kind=marks["kind"],
        patches=tuple(_polygon(p) for p in patches),
        y=None if y is None else tuple(y),
        lab_d50=None if labs is None else tuple(_lab(lab) for lab in labs),
        edition=marks.get("edition"),
        located=marks["located"],
        confidence=marks["confidence"],
        corners=None if corners is None else _polygon(corners),
    )


def _polygon(points: list[list[float]]) -> Polygon:
    return tuple((float(x), float(y)) for x, y in points)


def _lab(values: list[float]) -> Lab:
    lightness, a, b = values
    return (float(lightness), float(a), float(b))
