"""The corrected picture: patches come out at their stated codes, what cannot be held is marked."""

import io
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from ingest.colour import (
    DISPLAY_P3_TO_XYZ,
    SRGB_TO_XYZ,
    delta_e_2000,
    lab_to_xyz,
    srgb_to_linear,
    xyz_to_lab,
)
from ingest.decode import read_photo
from ingest.icc_write import display_profile
from ingest.pipeline import prepare_file
from ingest.raster import bounding_box
from ingest.rendition import render
from tests.ingest.builders import as_it_is, coded, photo_of

EXAMPLE = Path(str(files("example_archive")))
SPACES = {"srgb": SRGB_TO_XYZ, "display-p3": DISPLAY_P3_TO_XYZ}


@pytest.mark.parametrize("space", SPACES)
def test_neutral_steps_come_out_at_their_stated_lightness(space):
    ready = prepare_file(EXAMPLE / "furrow-1.jpg")
    rendition = render(ready.photo, ready.correction, space)
    reading = ready.correction.readings[0]
    for patch, polygon in zip(reading.patches, reading.reference.patches, strict=True):
        box = bounding_box(ready.photo, polygon)
        rows = slice((3 * box.y0 + box.y1) // 4, (box.y0 + 3 * box.y1) // 4)
        columns = slice((3 * box.x0 + box.x1) // 4, (box.x0 + 3 * box.x1) // 4)
        light = srgb_to_linear(rendition.pixels[rows, columns] / 255.0).mean(axis=(0, 1))
        found = xyz_to_lab(SPACES[space] @ light)
        assert delta_e_2000(found, patch["expected_lab"]) < 1.0, patch["name"]


def test_what_the_space_cannot_hold_is_a_chequer_and_is_counted():
    ready = prepare_file(EXAMPLE / "furrow-1.jpg")
    bright = render(ready.photo, ready.correction)
    over = type(ready.correction)(
        **{**ready.correction.__dict__, "curve": ready.correction.curve * 3.0}
    )
    marked = render(ready.photo, over)
    assert bright.outside < 0.05
    assert marked.outside > bright.outside + 0.1
    pixels = marked.pixels.reshape(-1, 3)
    grey = (pixels == pixels[:, :1]).all(axis=1) & np.isin(pixels[:, 0], (96, 160))
    assert grey.mean() >= marked.outside


@pytest.mark.parametrize("top", [255, 65535])
def test_what_the_photos_own_file_had_cut_is_counted_and_not_marked(top):
    light = np.full((40, 100, 3), 0.4)
    plain = coded(light, 8 if top == 255 else 16)
    plain[:10, :, 0], plain[10:14, :, 2] = 0, top
    photo = photo_of(plain)
    made = render(photo, as_it_is(photo))
    assert (made.outside, made.cut) == (0.0, 0.35)
    lit = as_it_is(photo)
    brighter = render(photo, replace(lit, curve=lit.curve * 1.2))
    assert (brighter.outside, brighter.cut) == (0.1, 0.25)


@pytest.mark.parametrize("space", SPACES)
def test_the_profile_written_is_read_as_that_space(tmp_path, space):
    path = tmp_path / "a.png"
    Image.fromarray(np.full((32, 32, 3), 128, np.uint8)).save(
        path, icc_profile=display_profile(space)
    )
    photo = read_photo(path)
    assert np.allclose(photo.encoding.to_xyz, SPACES[space], atol=2e-4)
    ImageCms.getOpenProfile(io.BytesIO(display_profile(space)))


def test_a_colour_survives_the_round_trip_through_the_file():
    lab = np.array([55.0, 20.0, -25.0])
    for to_xyz in SPACES.values():
        rgb = np.linalg.solve(to_xyz, lab_to_xyz(lab))
        assert rgb.min() > 0
        assert rgb.max() < 1
