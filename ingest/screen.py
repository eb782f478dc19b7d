"""Colours as a screen shows them: sRGB of 8 bits, and as text. Pure arrays."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ingest.colour import SRGB_TO_XYZ, Floats, lab_to_xyz, linear_to_srgb

#: The inverse of the matrix that IEC 61966-2-1 prints, not rounded as the one printed beside it.
XYZ_TO_SRGB = np.linalg.inv(SRGB_TO_XYZ)


def linear_of_lab(lab: ArrayLike) -> Floats:
    """Linear sRGB (..., 3) of Lab under D65 (..., 3); outside 0..1 where sRGB cannot hold it."""
    return np.asarray(lab_to_xyz(lab) @ XYZ_TO_SRGB.T)


def coded_8(linear: ArrayLike) -> NDArray[np.uint8]:
    """8-bit sRGB of linear sRGB, any shape, cut at the edge of what a screen can show."""
    shown = linear_to_srgb(np.clip(np.asarray(linear), 0.0, 1.0))
    return np.asarray(np.round(shown * 255.0).astype(np.uint8))


def hexes_of_labs(labs: ArrayLike) -> list[str]:
    """``#rrggbb`` of each Lab under D65, (n, 3), cut at the edge of what a screen can show."""
    rows = coded_8(linear_of_lab(np.asarray(labs, dtype=float).reshape(-1, 3))).tolist()
    return [f"#{r:02x}{g:02x}{b:02x}" for r, g, b in rows]


def hex_of_lab(lab: ArrayLike) -> str:
    """The same of one Lab, (3,).

    >>> hex_of_lab([53.24, 80.09, 67.20])
    '#ff0000'
    """
    (found,) = hexes_of_labs(lab)
    return found
