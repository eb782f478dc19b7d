"""The picture as the measurement sees it: same white, exposure and tone, in a stated RGB space.

Colours that the file cannot hold are marked, not bent: such pixels become a fine grey chequer,
and their share is returned. Colours that the photo's own file had cut already cannot be known: they
are shown as they are, and counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ingest.colour import DISPLAY_P3_TO_XYZ
from ingest.correction import Correction
from ingest.model import Array, Photo
from ingest.raster import STRIP_PIXELS, brightest, darkest
from ingest.reading import clip_code, zero_code
from ingest.screen import XYZ_TO_SRGB, coded_8

Space = Literal["srgb", "display-p3"]

#: Linear value by which a channel may leave 0..1 before its pixel counts as outside: less than
#: half an 8-bit code at either end of the sRGB curve. Derived.
SLACK = 1.0 / 255.0 / 12.92 / 2.0
#: Codes of the chequer that marks a pixel outside the space, and its side in pixels. Our choice.
CHEQUER, CHEQUER_SIDE = (96, 160), 2


@dataclass(frozen=True, eq=False)
class Rendition:
    """``pixels``: uint8 (h, w, 3), coded in ``space``. ``outside``: share of marked pixels.
    ``cut``: share of the others in which the photo has a channel at either end of its codes;
    ``None`` where that was not counted."""

    pixels: Array
    space: Space
    outside: float
    cut: float | None = None


def render(photo: Photo, correction: Correction, space: Space = "srgb") -> Rendition:
    """The whole picture corrected, strip by strip; the original is not touched.

    White of reflectance 1 becomes the space's white, so a surface keeps its lightness.
    """
    from_xyz = XYZ_TO_SRGB if space == "srgb" else np.linalg.inv(DISPLAY_P3_TO_XYZ)
    out = np.empty((photo.height, photo.width, 3), dtype=np.uint8)
    rows = max(STRIP_PIXELS // photo.width, 1)
    outside, cut, zero = 0, 0, zero_code(photo.encoding)
    for top in range(0, photo.height, rows):
        bottom = min(top + rows, photo.height)
        linear = correction.linear(photo.pixels[top:bottom])
        linear = linear / _light(correction, photo, top, bottom)
        rgb = correction.xyz(linear) @ from_xyz.T
        marked = beyond(rgb)
        out[top:bottom] = marked_codes(rgb, marked, top)
        outside += int(marked.sum())
        cut += int((_at_an_end(photo.pixels[top:bottom], zero) & ~marked).sum())
    whole = photo.height * photo.width
    return Rendition(out, space, outside / whole, cut / whole)


def _at_an_end(codes: Array, zero: int) -> Array:
    """(h, w) whether a channel of codes (h, w, 3) is clipped or, up to code ``zero``, at zero."""
    return np.asarray((brightest(codes) >= clip_code(codes)) | (darkest(codes) <= zero))


def beyond(rgb: Array) -> Array:
    """(...) whether linear RGB (..., 3) lies outside its space."""
    return np.asarray((darkest(rgb) < -SLACK) | (brightest(rgb) > 1.0 + 3.0 * SLACK))


def marked_codes(rgb: Array, marked: Array, top: int = 0) -> Array:
    """uint8 codes of linear RGB (h, w, 3) whose first row is row ``top``, a chequer where it is
    ``marked`` (h, w)."""
    coded = coded_8(rgb)
    coded[marked] = chequer(top, marked)[marked][:, None]
    return coded


def _light(correction: Correction, photo: Photo, top: int, bottom: int) -> Array:
    if correction.field is None:
        return np.ones((1, 1, 1))
    y = (np.arange(top, bottom) + 0.5) / photo.height
    x = (np.arange(photo.width) + 0.5) / photo.width
    points = np.stack(np.broadcast_arrays(x[None, :], y[:, None]), axis=-1)
    return np.asarray(correction.light_at(points)[..., None])


def chequer(top: int, like: Array) -> Array:
    """Codes (h, w) of the chequer under ``like`` (h, w), whose first row is row ``top``."""
    rows, columns = np.indices(like.shape)
    cell = ((rows + top) // CHEQUER_SIDE + columns // CHEQUER_SIDE) % 2
    return np.asarray(np.asarray(CHEQUER, dtype=np.uint8)[cell])
