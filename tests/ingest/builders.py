"""Small pictures of known light for the tests: flat areas, noise, neutral steps, cards.

A scene is linear light (height, width, 3) in sRGB's primaries; :func:`photo_of_light` codes it as
a camera file would and wraps it as a decoded photo. Boxes are (x0, y0, x1, y1) in pixels.
"""

from __future__ import annotations

import numpy as np

from ingest.colour import D65, SRGB_TO_XYZ, lab_to_xyz, linear_to_srgb, srgb_to_linear
from ingest.correction import Correction
from ingest.model import Encoding, Photo, Reference, Settings, SwatchRegion

#: Reflectances of six neutral steps, lightest first.
SIX_Y = (0.90, 0.59, 0.36, 0.19, 0.09, 0.031)
QUIET = Settings(search=False)


def srgb_encoding(levels=256):
    """sRGB as IEC 61966-2-1 has it, for 256 or 65536 codes."""
    column = srgb_to_linear(np.arange(levels) / (levels - 1.0)).astype(np.float32)
    return Encoding("sRGB", np.repeat(column[:, None], 3, axis=1), SRGB_TO_XYZ)


def coded(light, bits=8, bend=None):
    """Codes of linear light (..., 3); ``bend`` is a tone curve over coded 0..1, by channel."""
    v = linear_to_srgb(np.clip(light, 0.0, 1.0))
    if bend is not None:
        v = np.clip(bend(v), 0.0, 1.0)
    top = 2**bits - 1
    return np.round(v * top).astype(np.uint8 if bits == 8 else np.uint16)


def photo_of(pixels, flags=(), path="made.png"):
    levels = 256 if pixels.dtype == np.uint8 else 65536
    return Photo(path, "0" * 64, pixels, srgb_encoding(levels), "PNG", flags=frozenset(flags))


def photo_of_light(light, bits=8, bend=None):
    return photo_of(coded(light, bits, bend))


def rgb_of_lab(lab):
    """Linear sRGB (..., 3) of CIELAB under D65."""
    return np.linalg.solve(SRGB_TO_XYZ, np.atleast_2d(lab_to_xyz(lab)).T).T.reshape(np.shape(lab))


def grey(y):
    """Linear sRGB of a neutral of luminous reflectance ``y``."""
    return np.linalg.solve(SRGB_TO_XYZ, y * D65)


def scene(height=240, width=360, light=(0.4, 0.4, 0.4)):
    return np.ones((height, width, 3)) * np.asarray(light, dtype=float)


def paint(light, box, rgb):
    x0, y0, x1, y1 = box
    light[y0:y1, x0:x1] = rgb


def polygon(box, picture):
    """The box's corners as fractions of a picture's (height, width, ...)."""
    height, width = picture.shape[:2]
    x0, y0, x1, y1 = box
    corners = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    return tuple((x / width, y / height) for x, y in corners)


def card_at(box, picture, **values):
    return Reference("card", (polygon(box, picture),), **values)


def swatch_at(box, picture, name="new"):
    return SwatchRegion(name, polygon(box, picture))


def step_boxes(count=6, top=10, side=40):
    return [
        (10 + i * (side + 10), top, 10 + i * (side + 10) + side, top + side) for i in range(count)
    ]


def steps_scene(y=SIX_Y, height=240, width=360):
    """A scene with a row of neutral steps, and their boxes."""
    light = scene(height, width)
    boxes = step_boxes(len(y))
    for box, value in zip(boxes, y, strict=True):
        paint(light, box, grey(value))
    return light, boxes


def steps_at(boxes, picture, y=SIX_Y):
    return Reference("steps", tuple(polygon(b, picture) for b in boxes), y=tuple(y))


def as_it_is(photo):
    """A correction that changes nothing: the encoding undone and no more."""
    from ingest.correct import correct

    made = correct(photo, [], Settings(allow_uncorrected=True))
    assert isinstance(made, Correction)
    return made


def box_blurred_noise(rng, height, width, side, sd, mean):
    """Noise (height, width) averaged over side x side, scaled to ``sd`` about ``mean``."""
    raw = rng.normal(size=(height + side - 1, width + side - 1))
    total = np.cumsum(np.cumsum(np.pad(raw, ((1, 0), (1, 0))), axis=0), axis=1)
    box = total[side:, side:] - total[:-side, side:] - total[side:, :-side] + total[:-side, :-side]
    return mean + sd * box / side
