"""A layout as the text that a row keeps, in the form of a marks file, and back."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from ingest.locate import chart_patches
from ingest.model import Lab, Layout, LocatedBy, Polygon, Reference, Scale, SwatchRegion
from swatchvault.archive.values import to_json

#: Decimals of a place as a share of the picture: a hundredth of a pixel in the largest pictures,
#: where a region's outline is drawn to a sixteenth.
PLACE_DECIMALS = 6


def layout_to_marks(layout: Layout) -> dict[str, Any]:
    """The layout as a marks file says it, with how and how surely each thing was located.

    Marks that say neither were made by hand, with a confidence of 1; an item that says neither
    was located as the layout was. Places are rounded to :data:`PLACE_DECIMALS`.
    """
    marks: dict[str, Any] = {} if layout.located == "marks" else {"located": layout.located}
    marks["references"] = [{**_reference_to(r), **_how(r, layout)} for r in layout.references]
    marks["swatches"] = [
        {"name": s.name, "polygon": _points(s.polygon), **_own_scale(s), **_how(s, layout)}
        for s in layout.swatches
    ]
    if layout.scale is not None:
        start, end = _points((layout.scale.start, layout.scale.end))
        marks["scale"] = {"from": start, "to": end, "mm": layout.scale.mm}
    if layout.surround:  # a mat's bare paper, for its light field
        marks["surround"] = [_points(polygon) for polygon in layout.surround]
    if layout.flags:
        marks["flags"] = sorted(layout.flags)
    return marks


def _own_scale(swatch: SwatchRegion) -> dict[str, float]:
    return {} if swatch.across_mm is None else {"across_mm": round(swatch.across_mm, 3)}


def layout_to_text(layout: Layout) -> str:
    """JSON text of :func:`layout_to_marks`: the same layout gives the same text."""
    return to_json(layout_to_marks(layout))


def layout_from_text(text: str) -> Layout:
    """The layout that :func:`layout_to_text` wrote."""
    marks = json.loads(text)
    scale, located = marks.get("scale"), marks.get("located", "marks")
    return Layout(
        references=tuple(_reference_from(r, located) for r in marks["references"]),
        swatches=tuple(
            SwatchRegion(
                s["name"],
                _polygon(s["polygon"]),
                s.get("located", located),
                s.get("confidence", 1.0),
                s.get("across_mm"),
            )
            for s in marks["swatches"]
        ),
        scale=None
        if scale is None
        else Scale(tuple(scale["from"]), tuple(scale["to"]), scale["mm"]),
        located=located,
        surround=tuple(_polygon(p) for p in marks.get("surround", ())),
        flags=frozenset(marks.get("flags", ())),
    )


def _reference_to(reference: Reference) -> dict[str, Any]:
    patches = [_points(patch) for patch in reference.patches]
    marks: dict[str, Any] = {"kind": reference.kind}
    one = reference.kind == "card" and len(patches) == 1  # a marks file gives one value bare
    if one:
        marks["polygon"] = patches[0]
    elif reference.corners is None or reference.patches != chart_patches(reference.corners):
        marks["patches"] = patches
    if reference.corners is not None:
        marks["corners"] = _points(reference.corners)
    if reference.y is not None:
        marks["y"] = reference.y[0] if one else list(reference.y)
    if reference.lab_d50 is not None:
        rows = [list(lab) for lab in reference.lab_d50]
        marks["lab_d50"] = rows[0] if one else rows
    if reference.edition is not None:
        marks["edition"] = reference.edition
    return marks


def _how(item: Reference | SwatchRegion, layout: Layout) -> dict[str, Any]:
    """How an item was located, where it was not as the whole layout was and without doubt."""
    told: dict[str, Any] = {}
    if item.located != layout.located:
        told["located"] = item.located
    if item.confidence != 1.0:
        told["confidence"] = item.confidence
    return told


def _reference_from(marks: Mapping[str, Any], located: LocatedBy) -> Reference:
    one = "polygon" in marks
    y, labs, corners = marks.get("y"), marks.get("lab_d50"), marks.get("corners")
    if one or "patches" in marks:
        patches = tuple(_polygon(p) for p in ([marks["polygon"]] if one else marks["patches"]))
    else:  # a chart whose patches follow from its corners
        patches = chart_patches(_polygon(marks["corners"]))
    if one:
        y, labs = None if y is None else [y], None if labs is None else [labs]
    return Reference(
        kind=marks["kind"],
        patches=patches,
        y=None if y is None else tuple(y),
        lab_d50=None if labs is None else tuple(_lab(lab) for lab in labs),
        edition=marks.get("edition"),
        located=marks.get("located", located),
        confidence=marks.get("confidence", 1.0),
        corners=None if corners is None else _polygon(corners),
    )


def _points(polygon: Polygon) -> list[list[float]]:
    return [[round(float(v), PLACE_DECIMALS) for v in point] for point in polygon]


def _polygon(points: list[list[float]]) -> Polygon:
    return tuple((float(x), float(y)) for x, y in points)


def _lab(values: list[float]) -> Lab:
    lightness, a, b = values
    return (float(lightness), float(a), float(b))
