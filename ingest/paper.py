"""The plain paper in a photo: its light about each thing that lies on it, beside a smooth field."""

from __future__ import annotations

from dataclasses import dataclass
from dataclasses import field as dataclass_field

import numpy as np
from numpy.typing import NDArray

from ingest.lightfield import LightField
from ingest.model import Array, Polygon
from ingest.raster import shrink_polygon

Floats = NDArray[np.float64]

#: Paper about a thing lies within its outline scaled by the first of these that shows so many
#: pixels of the small picture. Our choice.
ABOUT_A_THING, FEWEST_ABOUT = (1.9, 2.6, 3.5), 40
#: ln light by which a piece apart from the sheet is darker in a shadow. Our choice.
SHADED = 0.05


@dataclass(frozen=True, eq=False)
class Paper:
    """The plain surround in a small picture, beside the smooth field that was found on it.

    ``sheet``: (h, w) bool, the sheet itself; ``apart``: likewise, pale plain pieces that do not
    join it: paper beyond a shadow's edge, or something else. ``linear``: (h, w, 3) light, its tone
    curve undone. ``field``: None where none fits; then ``average``, (3,) ln of the sheet's light.
    """

    sheet: Array
    apart: Array
    linear: Array
    field: LightField | None
    average: Floats

    def about(self, outline: Polygon) -> Floats | None:
        """(3,) ln of each channel's light over the field's and its tint's on the paper about an
        outline, on average; ``None`` where there is none.

        What is apart from the sheet counts where it is darker, as in a shadow, or is most of what
        is there: the ends of a card that yarn is wound on are of another white.
        """
        for scale in ABOUT_A_THING:
            rows, columns, about = _cut(shrink_polygon(outline, scale), self.sheet)
            near, other = self.sheet[rows, columns] & about, self.apart[rows, columns] & about
            count, apart = int(near.sum()), int(other.sum())
            if count + apart < FEWEST_ABOUT:
                continue
            ys, xs = np.nonzero(near | other)
            off = self._off(ys + rows.start, xs + columns.start)
            if 0 < apart <= count:
                off = off[near[ys, xs] | (off.mean(axis=1) < -SHADED)]
            if len(off) >= FEWEST_ABOUT:
                return np.asarray(off.mean(axis=0))
        return None

    def beside(self, outline: Polygon) -> Floats:
        """(3,) median light of the sheet about an outline; of all of it where little is there."""
        for scale in ABOUT_A_THING:
            rows, columns, about = _cut(shrink_polygon(outline, scale), self.sheet)
            near = self.sheet[rows, columns] & about
            if near.sum() >= FEWEST_ABOUT:
                return np.asarray(np.median(self.linear[rows, columns][near], axis=0), dtype=float)
        return np.asarray(np.median(self.linear[self.sheet], axis=0), dtype=float)

    def luminance(self, to_xyz: Array) -> float:
        """Median Y of the sheet; ``to_xyz``: (3, 3)."""
        return float(np.median(self.linear[self.sheet] @ np.asarray(to_xyz, dtype=float)[1]))

    def _off(self, ys: Array, xs: Array) -> Floats:
        log = np.log(np.maximum(self.linear[ys, xs], 1e-4)).astype(float)
        if self.field is None:
            return np.asarray(log - self.average)
        height, width = self.sheet.shape
        points = np.stack([(xs + 0.5) / width, (ys + 0.5) / height], axis=-1)
        return np.asarray(log - np.log(self.field.at(points))[:, None] - self.field.tint_at(points))


@dataclass(frozen=True, eq=False)
class Light:
    """What a plain surround shows of the light: a smooth field, ``None`` where none fits, and the
    paper that it was found on, ``None`` where there is none. ``within``: (2, 2) what the
    reference's greys show instead, where there is no field
    (:func:`ingest.lightwithin.slopes_within`)."""

    field: LightField | None = None
    paper: Paper | None = None
    within: Floats = dataclass_field(default_factory=lambda: np.zeros((2, 2)))


def _cut(polygon: Polygon, picture: Array) -> tuple[slice, slice, Array]:
    """Rows and columns of a picture that a polygon lies in, and what of them it covers."""
    import cv2

    height, width = picture.shape[:2]
    points = np.round(np.asarray(polygon) * [width, height]).astype(np.int32)
    left, top = np.clip(points.min(axis=0), 0, [width - 1, height - 1])
    right, bottom = np.clip(points.max(axis=0) + 1, [left + 1, top + 1], [width, height])
    mask = np.zeros((bottom - top, right - left), dtype=np.uint8)
    cv2.fillPoly(mask, [points - [left, top]], 1)
    return slice(int(top), int(bottom)), slice(int(left), int(right)), mask > 0
