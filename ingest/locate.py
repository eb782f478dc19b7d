"""Where references and swatches are: the marks file, checked, turned into a :class:`Layout`.

The marks file is JSON of our own (README, "Marks"): points are fractions of width and height.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from ingest.charts import CHART24_COLUMNS, CHART24_ROWS
from ingest.errors import MarksError
from ingest.marks_values import (
    colour,
    grey,
    is_convex,
    known_keys_only,
    listed,
    number,
    point,
    polygon,
    reflectance,
)
from ingest.model import Lab, Layout, Polygon, Reference, Scale, SwatchRegion
from ingest.overlap import lie_over
from ingest.raster import inside_quad

#: Share of a chart's cell, in width and height, that is read: patches fill 72 to 87 % of a cell.
#: Our choice.
CHART_SAMPLE = 0.4
EDITIONS = ("before-2014-11", "after-2014-11")

_TOP = {"references", "swatches", "scale", "note"}
_REFERENCE = {"kind", "polygon", "patches", "corners", "y", "lab_d50", "edition"}


def marks_path(photo_path: str | Path) -> Path:
    """Where the marks of a photo are looked for: ``NAME.marks.json`` beside it."""
    path = Path(photo_path)
    return path.with_name(f"{path.stem}.marks.json")


def read_marks(path: str | Path) -> Layout:
    """Read and check a marks file. Raises :class:`MarksError` in one line."""
    name = Path(path).name
    try:
        data = json.loads(Path(path).read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise MarksError(f"{name}: cannot be read ({error.strerror}); check the path") from error
    except (ValueError, RecursionError) as error:
        raise MarksError(f"{name}: is not JSON ({error}); mend or delete it") from error
    return parse_marks(data, name)


def parse_marks(data: Any, where: str = "marks") -> Layout:
    """Turn marks (decoded JSON) into a layout. ``where`` names the source in errors."""
    if not isinstance(data, Mapping):
        raise MarksError(f"{where}: expected an object with references and swatches")
    known_keys_only(data, _TOP, where)
    references = tuple(
        _reference(item, f"{where}: reference {i + 1}")
        for i, item in enumerate(listed(data.get("references"), f"{where}: references"))
    )
    swatches = tuple(
        _swatch(item, f"{where}: swatch {i + 1}")
        for i, item in enumerate(listed(data.get("swatches"), f"{where}: swatches"))
    )
    names = [s.name for s in swatches]
    doubled = sorted({n for n in names if names.count(n) > 1})
    if doubled:
        raise MarksError(f"{where}: two swatches are named {doubled[0]!r}; give each its own name")
    _apart(references, swatches, where)
    scale = data.get("scale")
    return Layout(references, swatches, None if scale is None else _scale(scale, where), "marks")


def _apart(references: Sequence[Reference], swatches: Sequence[SwatchRegion], where: str) -> None:
    for swatch in swatches:
        for i, reference in enumerate(references):
            if lie_over(swatch.polygon, reference.patches):
                raise MarksError(
                    f"{where}: swatch {swatch.name!r} and reference {i + 1} ({reference.kind}) "
                    "lie over each other; mark bare yarn, and a reference with nothing over it"
                )


def chart_patches(corners: Polygon) -> tuple[Polygon, ...]:
    """The middles of the 24 patches of a chart whose outer corners are given, row by row."""
    half = CHART_SAMPLE / 2.0
    patches = []
    for row in range(CHART24_ROWS):
        for column in range(CHART24_COLUMNS):
            u = (column + 0.5 + np.array([-half, half, half, -half])) / CHART24_COLUMNS
            v = (row + 0.5 + np.array([-half, -half, half, half])) / CHART24_ROWS
            patches.append(tuple((float(x), float(y)) for x, y in inside_quad(corners, u, v)))
    return tuple(patches)


def chart_reference(
    corners: Polygon,
    *,
    lab_d50: tuple[Lab, ...] | None = None,
    edition: str | None = None,
) -> Reference:
    """A 24-patch chart at four corners, with measured or published values."""
    return Reference(
        kind="chart24",
        patches=chart_patches(corners),
        lab_d50=lab_d50,
        edition=None if lab_d50 else edition,
        corners=corners,
    )


def as_marks(layout: Layout) -> dict[str, Any]:
    """The layout as a marks file's content; :func:`parse_marks` gives the same layout back."""
    marks: dict[str, Any] = {"references": [_reference_marks(r) for r in layout.references]}
    marks["swatches"] = [
        {"name": s.name, "polygon": [list(p) for p in s.polygon]}
        | ({} if s.across_mm is None else {"across_mm": s.across_mm})
        for s in layout.swatches
    ]
    if layout.scale is not None:
        s = layout.scale
        marks["scale"] = {"from": list(s.start), "to": list(s.end), "mm": s.mm}
    return marks


def mm_per_px(layout: Layout, swatch: SwatchRegion, width: int, height: int) -> float:
    """Millimetres per pixel of a picture at a swatch: its own, or else between the two points of
    the layout's scale; NaN where there is neither."""
    if swatch.across_mm is not None:
        return swatch.across_mm / width
    scale = layout.scale
    if scale is None:
        return math.nan
    dx = (scale.end[0] - scale.start[0]) * width
    dy = (scale.end[1] - scale.start[1]) * height
    return scale.mm / math.hypot(dx, dy)


def _reference_marks(reference: Reference) -> dict[str, Any]:
    out: dict[str, Any] = {"kind": reference.kind}
    if reference.kind == "chart24":
        out["corners"] = [list(p) for p in reference.corners or ()]
        if reference.edition:
            out["edition"] = reference.edition
    elif reference.kind == "steps":
        out["patches"] = [[list(p) for p in patch] for patch in reference.patches]
    else:
        out["polygon"] = [list(p) for p in reference.patches[0]]
    if reference.y is not None:
        out["y"] = reference.y[0] if reference.kind == "card" else list(reference.y)
    if reference.lab_d50 is not None:
        rows = [list(v) for v in reference.lab_d50]
        out["lab_d50"] = rows[0] if reference.kind == "card" else rows
    return out


def _reference(item: Any, where: str) -> Reference:
    if not isinstance(item, Mapping):
        raise MarksError(f"{where}: expected an object with kind and place")
    known_keys_only(item, _REFERENCE, where)
    kind = item.get("kind")
    if kind == "card":
        return _card(item, where)
    if kind == "steps":
        return _steps(item, where)
    if kind == "chart24":
        return _chart(item, where)
    raise MarksError(f"{where}: kind is {kind!r}; it can be card, steps or chart24")


def _card(item: Mapping[str, Any], where: str) -> Reference:
    lab, y = _one_value(item, where)
    return Reference(
        kind="card",
        patches=(polygon(item.get("polygon"), where),),
        y=None if y is None else (reflectance(y, where),),
        lab_d50=None if lab is None else (grey(lab, where),),
    )


def _steps(item: Mapping[str, Any], where: str) -> Reference:
    patches = tuple(
        polygon(p, f"{where}, step {i + 1}")
        for i, p in enumerate(listed(item.get("patches"), f"{where}: patches"))
    )
    lab, y = _one_value(item, where)
    if len(patches) < 2:
        raise MarksError(f"{where}: found {len(patches)} steps; needed at least 2, lightest first")
    if lab is None and y is None:
        return Reference(kind="steps", patches=patches)  # the values of the steps the dyer owns
    values = listed(y if lab is None else lab, where)
    if len(values) != len(patches):
        raise MarksError(f"{where}: {len(patches)} steps but {len(values)} values; give one each")
    return Reference(
        kind="steps",
        patches=patches,
        y=None if lab is not None else tuple(reflectance(v, where) for v in values),
        lab_d50=None if lab is None else tuple(grey(v, where) for v in values),
    )


def _one_value(item: Mapping[str, Any], where: str) -> tuple[Any, Any]:
    """``lab_d50`` and ``y``, one of which is enough."""
    lab, y = item.get("lab_d50"), item.get("y")
    if lab is not None and y is not None:
        raise MarksError(f"{where}: has both y and lab_d50; give the one that was measured")
    return lab, y


def _chart(item: Mapping[str, Any], where: str) -> Reference:
    corners = polygon(item.get("corners"), where)
    if len(corners) != 4 or not is_convex(corners):
        raise MarksError(f"{where}: a chart needs its four outer corners, running around it")
    lab = item.get("lab_d50")
    edition = item.get("edition")
    if edition is not None and edition not in EDITIONS:
        raise MarksError(f"{where}: edition is {edition!r}; it can be {' or '.join(EDITIONS)}")
    if lab is None:
        return chart_reference(corners, edition=edition)
    rows = listed(lab, where)
    if len(rows) != CHART24_COLUMNS * CHART24_ROWS:
        raise MarksError(f"{where}: found {len(rows)} rows of lab_d50; needed 24, dark skin first")
    return chart_reference(corners, lab_d50=tuple(colour(v, where) for v in rows))


def _swatch(item: Any, where: str) -> SwatchRegion:
    if not isinstance(item, Mapping):
        raise MarksError(f"{where}: expected an object with name and polygon")
    known_keys_only(item, {"name", "polygon", "across_mm"}, where)
    name = item.get("name", "swatch")
    if not isinstance(name, str) or not name.strip() or len(name) > 200:
        raise MarksError(f"{where}: the name must be text of 1 to 200 characters")
    across = item.get("across_mm")
    if across is not None:
        across = number(across, f"{where}: across_mm")
        if not 0.1 <= across <= 100_000:
            raise MarksError(f"{where}: across_mm is {across:g}; needed 0.1 to 100000 millimetres")
    return SwatchRegion(name, polygon(item.get("polygon"), where), across_mm=across)


def _scale(item: Any, where: str) -> Scale:
    if not isinstance(item, Mapping):
        raise MarksError(f"{where}: scale needs from, to and mm")
    known_keys_only(item, {"from", "to", "mm"}, f"{where}: scale")
    start, end = point(item.get("from"), f"{where}: scale"), point(item.get("to"), where)
    if item.get("mm") is None:
        raise MarksError(f"{where}: a known length is marked, but not how many mm it is: say it")
    mm = number(item["mm"], f"{where}: scale mm")
    if not 0.1 <= mm <= 100_000 or start == end:
        raise MarksError(f"{where}: scale needs two different points and a length in millimetres")
    return Scale(start, end, mm)
