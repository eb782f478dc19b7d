"""What must not change a measurement: how the file is turned and stored, and the exposure."""

import functools
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from ingest.colour import delta_e_2000, linear_to_srgb
from ingest.model import Layout, Reference, Scale, SwatchRegion
from ingest.pipeline import measure_photo
from tests.ingest.filebytes import make_tiff
from tests.ingest.photobytes import exif_bytes, png_16, saved

HEIGHT, WIDTH = 240, 320
STEPS = (0.9, 0.59, 0.36, 0.2, 0.09, 0.03)


def box(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


PATCHES = tuple(box(0.04 + 0.15 * i, 0.04, 0.17 + 0.15 * i, 0.24) for i in range(6))
LAYOUTS = {
    "steps": Layout(
        (Reference("steps", PATCHES, STEPS),),
        (SwatchRegion("yarn", box(0.3, 0.35, 0.9, 0.9)),),
        Scale((0.0, 0.5), (1.0, 0.5), 70.0),
    ),
    "card": Layout(
        (Reference("card", (PATCHES[3],), (STEPS[3],)),),
        (SwatchRegion("yarn", box(0.3, 0.35, 0.9, 0.9)),),
        Scale((0.0, 0.5), (1.0, 0.5), 70.0),
    ),
}


@functools.cache
def scene(red, green, blue):
    """(HEIGHT, WIDTH, 3) linear light: table, six steps, wound yarn of one colour, some noise."""
    rng = np.random.default_rng(8)
    light = np.full((HEIGHT, WIDTH, 3), (0.41, 0.4, 0.38))  # a picture without colour is refused
    for polygon, y in zip(PATCHES, STEPS, strict=True):
        (x0, y0), (x1, y1) = polygon[0], polygon[2]
        rows, columns = (
            slice(int(y0 * HEIGHT), int(y1 * HEIGHT)),
            slice(int(x0 * WIDTH), int(x1 * WIDTH)),
        )
        light[rows, columns] = y
    strand = 0.75 + 0.25 * np.abs(np.sin(np.pi * np.arange(150) / 7.0))
    light[78:228, 80:300] = np.array([red, green, blue]) * strand[:, None, None]
    return np.clip(light * np.exp(rng.normal(0, 0.01, (HEIGHT, WIDTH, 1))), 0, 1)


def eight_bits(light):
    return np.round(linear_to_srgb(light) * 255).astype(np.uint8)


def measured(data, reference):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photo"
        path.write_bytes(data)
        return measure_photo(path, layout=LAYOUTS[reference]).swatches[0]


colours = st.tuples(*(st.sampled_from([0.05, 0.15, 0.3, 0.5]) for _ in range(3)))
references = st.sampled_from(sorted(LAYOUTS))

FORMATS = {
    "PNG, hard": lambda p: saved(p, "PNG", compress_level=9),
    "PNG with opacity": lambda p: saved(Image.fromarray(p).convert("RGBA"), "PNG"),
    "TIFF": make_tiff,
    "TIFF, other byte order": lambda p: make_tiff(p, order=">"),
    "TIFF, LZW": lambda p: saved(p, "TIFF", compression="tiff_lzw"),
    "TIFF, deflate": lambda p: saved(p, "TIFF", compression="tiff_adobe_deflate"),
}


@settings(max_examples=12, deadline=None)
@given(colours, references, st.sampled_from(sorted(FORMATS)))
def test_equal_pixels_in_any_format_are_one_measurement(colour, reference, kind):
    pixels = eight_bits(scene(*colour))
    one = measured(saved(pixels, "PNG"), reference).record()
    assert measured(FORMATS[kind](pixels), reference).record() == one


def stored_as(pixels, orientation):
    """Pixels that Exif's ``orientation`` turns to the ones given (Exif 2.32, tag 274)."""
    turned = {
        1: pixels,
        2: pixels[:, ::-1],
        3: pixels[::-1, ::-1],
        4: pixels[::-1],
        5: pixels.swapaxes(0, 1),
        6: pixels[:, ::-1].swapaxes(0, 1),
        7: pixels[::-1, ::-1].swapaxes(0, 1),
        8: pixels[::-1].swapaxes(0, 1),
    }
    return np.ascontiguousarray(turned[orientation])


@settings(max_examples=12, deadline=None)
@given(colours, references, st.integers(2, 8), st.sampled_from(["PNG", "TIFF"]))
def test_an_orientation_tag_changes_nothing(colour, reference, orientation, kind):
    pixels = eight_bits(scene(*colour))
    upright = measured(saved(pixels, "PNG"), reference).record()
    turned = stored_as(pixels, orientation)
    if kind == "TIFF":
        data = make_tiff(turned, [(274, "H", [orientation])])
    else:
        data = saved(turned, "PNG", exif=exif_bytes(orientation=orientation))
    assert measured(data, reference).record() == upright


@settings(max_examples=15, deadline=None)
@given(colours, references, st.floats(0.25, 1.0))
def test_exposure_short_of_clipping_does_not_change_a_colour(colour, reference, exposure):
    light = scene(*colour)
    one, other = (
        measured(png_16(np.round(linear_to_srgb(light * k) * 65535).astype(np.uint16)), reference)
        for k in (1.0, exposure)
    )
    assert delta_e_2000(one.lab, other.lab) < 0.02
    assert np.allclose(one.covariance.region, other.covariance.region, rtol=0.02, atol=1e-4)
    assert one.shadow_sd == pytest.approx(other.shadow_sd, rel=0.01)
