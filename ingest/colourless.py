"""Pictures that say nothing of hue or chroma: black and white ones, and toned ones."""

from __future__ import annotations

import numpy as np

from ingest.errors import PhotoError
from ingest.model import Photo
from ingest.raster import small_picture

#: Of a photo's pixels each of so many, both ways, is looked at first for any colour. Our choice.
COLOUR_EVERY = 16
#: Long side of the copy in which a toned picture is told, and how many of its pixels are used. Our
#: choice.
COPY_SIDE, PIXELS = 400, 20_000
#: Codes of 8 bits between the knots of a toning, which is a smooth one. Finer ones follow one yarn
#: of one hue beside greys: at 16, five of ten rendered pairs of dull yarn by a card seemed toned.
KNOT_CODES = 48
#: A picture is toned where this share of its pixels lies within so many codes of the one colour
#: that its lightness has. Outside photos and the project's rendered ones have 5.9 codes and more,
#: the least of a slate yarn beside greys; copies toned from black to a tint, at JPEG quality 85 and
#: 95, at most 4.0. Yarn that is nearly grey (C* 3), alone with a card, has 3.4 and is told too.
WITHIN_SHARE, WITHIN_CODES = 0.99, 5.0


def refuse_black_and_white(photo: Photo) -> None:
    """Raise :class:`PhotoError` where no pixel has a colour: a black and white picture says nothing
    of hue or chroma, and no camera's noise leaves every pixel of a coloured one grey."""
    for every in (COLOUR_EVERY, 1):
        some = photo.pixels[::every, ::every]
        grey = some[..., 1]
        if (some[..., 0] != grey).any() or (some[..., 2] != grey).any():
            return
    raise PhotoError(
        "the picture is black and white, so it says nothing of a colour; switch the camera's "
        "black and white off, and photograph it again"
    )


def colour_flag(photo: Photo) -> frozenset[str]:
    """The flag of a picture whose colours all follow from their lightness."""
    small = small_picture(photo, COPY_SIDE)
    coded = small.reshape(-1, 3).astype(np.float64) / (1.0 if small.dtype == np.uint8 else 257.0)
    coded = coded[:: max(len(coded) // PIXELS, 1)]
    green = coded[:, 1]
    knots = np.arange(0.0, 256.0 + KNOT_CODES, KNOT_CODES)
    near = 1.0 - np.abs(green[:, None] - knots[None, :]) / KNOT_CODES
    hats = np.maximum(near, 0.0)
    chroma = coded[:, [0, 2]] - green[:, None]
    toning, *_ = np.linalg.lstsq(hats, chroma, rcond=None)
    off = np.abs(chroma - hats @ toning).max(axis=1)
    toned = float(np.quantile(off, WITHIN_SHARE)) < WITHIN_CODES
    return frozenset({"hardly any colour"} if toned else ())
