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
# The layout is our choice.
BAR_MM = 100.0
LEAST_BAR_MM, MOST_BAR_MM = 70.0, 130.0  # of a print; what is beyond is a slip
MARGIN_MM = 10.0  # more than most printers leave white
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
    """The mat for a paper size; print, photo and tests all take their lengths from here."""
    w, h = PAPER_MM[paper]
    places = _places(w, h)
    clear = MARGIN_MM + MARKER_MM + QUIET_MM  # labels keep off the markers at the left
    label_x = {name: max(p.x, clear) for name, p in places.items()}
    labels = {k: Rect(label_x[k], p.y - 4.5, 20.0, 4.0) for k, p in places.items()}
    labels["reference"] = Rect(label_x["reference"], places["reference"].y - 4.5, 46.0, 4.0)
    notes = _notes(w, h)
    check = notes["check"]
    return Mat(
        paper,
        w,
        h,
        markers=MappingProxyType(_markers(paper)),
        places=MappingProxyType(places),
        surround=MappingProxyType(_surround(places)),
        labels=MappingProxyType(labels),
        notes=MappingProxyType(notes),
        bar=Rect(check.x + (check.width - BAR_MM) / 2, check.y - 5.0, BAR_MM, 4.0),
    )


def _markers(paper: Paper) -> dict[int, Rect]:
    """Row by row: corners, the middles of the long sides, the middles of the short ones."""
    w, h = PAPER_MM[paper]
    m = MARKER_MM
    left, middle, right = MARGIN_MM, (w - m) / 2, w - MARGIN_MM - m
    top, centre, bottom = MARGIN_MM, (h - m) / 2, h - MARGIN_MM - m
    at = [(x, top) for x in (left, middle, right)]
    at += [(left, centre), (right, centre)]
    at += [(x, bottom) for x in (left, middle, right)]
    return {FIRST_ID[paper] + i: Rect(x, y, m, m) for i, (x, y) in enumerate(at)}


def _places(w: float, h: float) -> dict[str, Rect]:
    """Reference over master in the middle, two swatches on either side of them."""
    top = MARGIN_MM + MARKER_MM + GAP_MM
    bottom = h - top
    ref_w, ref_h = REFERENCE_MM
    column = (w - ref_w) / 2 - GUTTER_MM - MARGIN_MM
    row = (bottom - top - MARKER_MM) / 2 - QUIET_MM
    left, middle, right = MARGIN_MM, (w - ref_w) / 2, w - MARGIN_MM - column
    master_y = top + ref_h + 2 * GAP_MM
    return {
        "reference": Rect(middle, top, ref_w, ref_h),
        "master": Rect(middle, master_y, ref_w, bottom - master_y),
        "1": Rect(left, top, column, row),
        "2": Rect(left, bottom - row, column, row),
        "3": Rect(right, top, column, row),
        "4": Rect(right, bottom - row, column, row),
    }


def _surround(places: Mapping[str, Rect]) -> dict[str, Rect]:
    """Bare paper 2 mm clear of outlines, labels and markers' white."""
    reference, one, two, three = (places[k] for k in ("reference", "1", "2", "3"))
    top, bottom = reference.y, places["master"].bottom
    strip, half = GUTTER_MM - 4.0, (bottom - top) / 2 - 2.0
    left, right = one.right + 2.0, three.x - 2.0 - strip
    clear, y = MARKER_MM + QUIET_MM, one.bottom + 2.0
    long, high = one.width - clear - 2.0, two.y - one.bottom - 8.0
    return {
        "paper left top": Rect(left, top, strip, half),
        "paper left bottom": Rect(left, bottom - half, strip, half),
        "paper right top": Rect(right, top, strip, half),
        "paper right bottom": Rect(right, bottom - half, strip, half),
        "paper left": Rect(one.x + clear, y, long, high),
        "paper right": Rect(three.x + 2.0, y, long, high),
        "paper middle": Rect(reference.x + 24.0, reference.bottom + 2.0, reference.width - 26, 6),
    }


def _notes(w: float, h: float) -> dict[str, Rect]:
    """Boxes of text between the markers above and below; the bar lies over ``check``."""
    m, above, below = MARKER_MM, MARGIN_MM, h - MARGIN_MM - MARKER_MM
    left, right = MARGIN_MM + m + QUIET_MM, (w + m) / 2 + QUIET_MM
    width = (w - m) / 2 - QUIET_MM - left
    return {
        "title": Rect(left, above, width, m - 1.0),
        "use": Rect(right, above, width, m - 1.0),
        "check": Rect(left, below + 6.0, width, m - 6.0),
        "neutral": Rect(right, below, width, m),
    }


def dictionary() -> Any:
    """The fiducial markers' dictionary, as ``cv2.aruco`` takes it."""
    import cv2

    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_50)


def marker_bits(marker: int) -> Array:
    """(7, 7) bool, True where a marker's module is white; its black border is part of it."""
    import cv2

    return np.asarray(cv2.aruco.generateImageMarker(dictionary(), marker, 7) > 0)
