"""The small corrected picture: means of light, not of codes; the region asked for, and no other."""

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from ingest.colour import srgb_to_linear
from ingest.pipeline import prepare_file
from ingest.raster import Box
from ingest.rendition import CHEQUER, render
from ingest.rendition_small import box_around, render_small

EXAMPLE = Path(str(files("example_archive")))


@pytest.fixture(scope="module")
def ready():
    return prepare_file(EXAMPLE / "furrow-1.jpg")


def light(pixels):
    return srgb_to_linear(pixels / 255.0)


@pytest.mark.parametrize("side", [240, 800, 1200, 1600, 5000])
def test_its_longer_side_is_as_asked(ready, side):
    small = render_small(ready.photo, ready.correction, side)
    assert max(small.pixels.shape[:2]) == min(side, max(ready.photo.width, ready.photo.height))
    share = small.pixels.shape[1] / small.pixels.shape[0]
    assert share == pytest.approx(ready.photo.width / ready.photo.height, rel=0.01)


def test_at_full_size_it_is_the_rendition(ready):
    whole = render(ready.photo, ready.correction).pixels.astype(int)
    small = render_small(ready.photo, ready.correction, 1600).pixels.astype(int)
    assert np.abs(whole - small).max() <= 1


def test_what_is_made_small_keeps_its_light(ready):
    strands = np.empty_like(ready.photo.pixels)
    strands[0::2], strands[1::2] = 40, 150  # lit strands and deep gaps, a pixel each
    photo = replace(ready.photo, pixels=strands)
    whole = render(photo, ready.correction).pixels
    small = render_small(photo, ready.correction, 400).pixels
    truth, found = (light(p).mean(axis=(0, 1)) for p in (whole, small))
    assert found == pytest.approx(truth, rel=0.01)
    coded = light(whole.mean(axis=(0, 1)))
    assert np.all(coded < 0.9 * truth), "means of codes would have shown it darker"


def test_a_region_has_its_margin_and_stays_in_the_picture(ready):
    photo = ready.photo
    polygon = ((0.0, 0.0), (0.1, 0.0), (0.1, 0.2), (0.0, 0.2))
    near, wide = (box_around(photo, polygon, m) for m in (0.0, 0.5))
    assert near == Box(0, round(0.2 * photo.height), 0, round(0.1 * photo.width))
    more = round(0.5 * (near.y1 - near.y0))
    assert wide == Box(0, near.y1 + more, 0, near.x1 + more)


def test_what_it_cannot_hold_is_a_chequer_at_its_own_size(ready):
    bright = replace(ready.correction, curve=ready.correction.curve * 3.0)
    small = render_small(ready.photo, bright, 400)
    pixels = small.pixels.reshape(-1, 3)
    grey = (pixels == pixels[:, :1]).all(axis=1) & np.isin(pixels[:, 0], CHEQUER)
    assert small.outside > 0.1
    assert grey.mean() >= small.outside
