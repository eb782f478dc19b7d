"""How coded values of one photo become XYZ: the correction as data, and how it is applied.

Made by :func:`ingest.correct.correct`. Nothing is averaged in coded values: a table from code to
linear light for each channel comes first, then the field, a colour model and a matrix to XYZ.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.camera_colours import UNCHANGED, CameraColours
from ingest.lightfield import LightField
from ingest.lightleft import LightLeft
from ingest.model import Array, ReferenceReading, Step

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Correction:
    """How coded values of one photo become XYZ relative to D65.

    ``curve``: float32 (levels, 3), coded to linear RGB of the encoding's primaries, corrected.
    ``field``: divided out by place; ``left``: light that differs by place all the same.
    ``colours``: applied to mean RGB. ``to_xyz``: (3, 3). ``reference``: "chart", "steps", "card" or
    "none", as the tables of doubt count it.
    ``reading_sd``, ``value_sd``: relative standard uncertainties of the exposure, from reading
    the reference and from its stated value. ``misfit_sd``: in ΔE00 along each axis, where the
    reference does not fit its values.
    """

    curve: Array
    to_xyz: Array
    reference: str
    reading_sd: float
    value_sd: float
    steps: tuple[Step, ...]
    readings: tuple[ReferenceReading, ...]
    flags: frozenset[str]
    field: LightField | None = None
    colours: CameraColours = UNCHANGED
    left: LightLeft | None = None
    misfit_sd: float = 0.0

    def linear(self, pixels: Array) -> Array:
        """Corrected linear RGB, float32 (..., 3), of coded pixels (..., 3), before the field."""
        return apply_curve(self.curve, pixels)

    def light_at(self, points: Array) -> Floats:
        """Relative light (...) at points (..., 2), fractions of the picture."""
        points = np.asarray(points, dtype=float)
        return np.ones(points.shape[:-1]) if self.field is None else self.field.at(points)

    def xyz(self, rgb: Array) -> Floats:
        """XYZ relative to D65 of mean corrected RGB (..., 3), the field divided out."""
        return np.asarray(self.colours(np.asarray(rgb, dtype=float)) @ self.to_xyz.T)


def apply_curve(curve: Array, pixels: Array) -> Array:
    """Look every code of (..., 3) pixels up in a (levels, 3) table; float32."""
    if pixels.dtype == np.uint8 and pixels.ndim == 3:
        import cv2

        table = np.ascontiguousarray(curve, dtype=np.float32).reshape(1, 256, 3)
        return np.asarray(cv2.LUT(np.ascontiguousarray(pixels), table))
    out = np.empty(pixels.shape, dtype=np.float32)
    for channel in range(3):
        out[..., channel] = curve[:, channel][pixels[..., channel]]
    return out
