"""The printed capture mat: every length of it, in millimetres.

One sheet with eight fiducial markers says where reference and swatches lie, where bare paper
is, and how long a millimetre is. Millimetres count from the sheet's top left corner, x to the
right, y down. The sheet lies landscape: so the master lies beside every swatch place and under
the reference, as close as can be; on an upright sheet two of the four lie at the far end. All
sizes are our choice, made for what dyers own: a grey card of credit-card size (86 x 54 mm),
neutral steps, or a small 24-patch chart (about 65 x 108 mm).
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Literal

import numpy as np

from ingest.model import Array

Paper = Literal["A4", "Letter"]

# ISO 216 (A4) and ANSI/ASME Y14.1 (Letter, 11 x 8.5 inch), landscape, millimetres.
PAPER_MM: Mapping[Paper, tuple[float, float]] = {"A4": (297.0, 210.0), "Letter": (279.4, 215.9)}
# Markers 0-7 say A4, 10-17 Letter; of cv2.aruco's DICT_5X5_50.
FIRST_ID: Mapping[Paper, int] = {"A4": 0, "Letter": 10}
BAR_MM = 100.0
MARGIN_MM = 10.0  # more than most printers leave white: our choice
MARKER_MM = 14.0
QUIET_MM = 4.0  # two marker modules of white all round
GAP_MM = 5.0
GUTTER_MM = 12.0
REFERENCE_MM = (116.0, 72.0)  # the small chart with 4 mm to spare


@dataclass(frozen=True)
class Rect:
    """An upright rectangle on the sheet, millimetres."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.x + self.width

    @property
    def bottom(self) -> float:
        return self.y + self.height

    @property
    def corners(self) -> Array:
        """(4, 2): top left, top right, bottom right, bottom left."""
        r, b = self.right, self.bottom
        return np.array([[self.x, self.y], [r, self.y], [r, b], [self.x, b]])

    def grown(self, mm: float) -> Rect:
        """The rectangle with ``mm`` more on each side (less if negative)."""
        return Rect(self.x - mm, self.y - mm, self.width + 2 * mm, self.height + 2 * mm)


@dataclass(frozen=True)
class Mat:
    """One sheet. ``places``: where things are laid, the names that swatches get in a layout
    (``master``, ``1`` to ``4``) and ``reference``. ``surround``: paper that stays bare.
    ``labels``: text above each place. ``notes``: boxes of the lines of text. ``bar``: 100 mm.
    """

    paper: Paper
    width: float
    height: float
    markers: Mapping[int, Rect]
    places: Mapping[str, Rect]
    surround: Mapping[str, Rect]
    labels: Mapping[str, Rect]
    notes: Mapping[str, Rect]
    bar: Rect


@functools.cache
def mat(paper: Paper) -> Mat:
    """The mat for a paper size: every length that print and photo share stands here."""
    w, h = PAPER_MM[paper]
    m = MARKER_MM
    top, bottom = MARGIN_MM + m + GAP_MM, h - MARGIN_MM - m - GAP_MM
    x_left, x_mid, x_right = MARGIN_MM, (w - m) / 2, w - MARGIN_MM - m
    y_top, y_mid, y_bottom = MARGIN_MM, (h - m) / 2, h - MARGIN_MM - m
    at = [(x, y_top) for x in (x_left, x_mid, x_right)]
    at += [(x_left, y_mid), (x_right, y_mid)]
    at += [(x, y_bottom) for x in (x_left, x_mid, x_right)]
    markers = {FIRST_ID[paper] + i: Rect(x, y, m, m) for i, (x, y) in enumerate(at)}

    ref_w, ref_h = REFERENCE_MM
    column = (w - ref_w) / 2 - GUTTER_MM - MARGIN_MM
    row = (bottom - top - m) / 2 - QUIET_MM
    x1, xc, x2 = MARGIN_MM, (w - ref_w) / 2, w - MARGIN_MM - column
    master_y = top + ref_h + 2 * GAP_MM
    places = {
        "reference": Rect(xc, top, ref_w, ref_h),
        "master": Rect(xc, master_y, ref_w, bottom - master_y),
        "1": Rect(x1, top, column, row),
        "2": Rect(x1, bottom - row, column, row),
        "3": Rect(x2, top, column, row),
        "4": Rect(x2, bottom - row, column, row),
    }
    label_x = dict.fromkeys(("1", "2"), x1 + m + QUIET_MM)  # clear of the markers
    labels = {k: Rect(label_x.get(k, p.x), p.y - 4.5, 20.0, 4.0) for k, p in places.items()}
    labels["reference"] = Rect(xc, top - 4.5, 46.0, 4.0)

    strip, half = GUTTER_MM - 4.0, (bottom - top) / 2 - 2.0
    mid_y, mid_h = top + row + 2.0, m + 2 * QUIET_MM - 8.0
    clear = m + QUIET_MM
    surround = {
        "paper left top": Rect(x1 + column + 2, top, strip, half),
        "paper left bottom": Rect(x1 + column + 2, bottom - half, strip, half),
        "paper right top": Rect(x2 - 2 - strip, top, strip, half),
        "paper right bottom": Rect(x2 - 2 - strip, bottom - half, strip, half),
        "paper left": Rect(x1 + clear, mid_y, column - clear - 2, mid_h),
        "paper right": Rect(x2 + 2, mid_y, column - clear - 2, mid_h),
        "paper middle": Rect(xc + 24, top + ref_h + 2, ref_w - 26, 6.0),
    }
    box_w = x_mid - x_left - m - 2 * QUIET_MM
    left, right = x_left + m + QUIET_MM, x_mid + m + QUIET_MM
    notes = {
        "title": Rect(left, y_top, box_w, m - 1),
        "use": Rect(right, y_top, box_w, m - 1),
        "check": Rect(left, y_bottom + 6, box_w, m - 6),
        "neutral": Rect(right, y_bottom, box_w, m),
    }
    bar = Rect(left + (box_w - BAR_MM) / 2, y_bottom + 1, BAR_MM, 4.0)
    return Mat(
        paper,
        w,
        h,
        markers=MappingProxyType(markers),
        places=MappingProxyType(places),
        surround=MappingProxyType(surround),
        labels=MappingProxyType(labels),
        notes=MappingProxyType(notes),
        bar=bar,
    )


def dictionary() -> Any:
    """The fiducial markers' dictionary, as ``cv2.aruco`` takes it."""
    import cv2

    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50)


def marker_bits(marker: int) -> Array:
    """(7, 7) bool, True where a marker's module is white; its black border is part of it."""
    import cv2

    return np.asarray(cv2.aruco.generateImageMarker(dictionary(), marker, 7) > 0)
