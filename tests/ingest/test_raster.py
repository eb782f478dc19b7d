"""Regions cut out of a photo: masks, strips, thinned pixels, small copies."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest import raster
from ingest.raster import (
    bounding_box,
    brightest,
    darkest,
    polygon_mask,
    region_pixels,
    shrink_polygon,
    small_copy,
    strips,
    to_pixels,
)
from tests.ingest.builders import photo_of, polygon

DIAMOND = ((0.5, 0.1), (0.9, 0.5), (0.5, 0.9), (0.1, 0.5))
SLANTED = ((0.1, 0.12), (0.83, 0.2), (0.91, 0.77), (0.33, 0.93), (0.05, 0.5))


def smooth_picture(height, width, channels=3):
    """A picture with slopes and a few waves, so that a shift of a pixel shows."""
    y, x = np.mgrid[0:height, 0:width]
    waves = [np.sin(x / 23.0 + k) + np.cos(y / 17.0 - k) + (x - y) / width for k in range(channels)]
    v = np.stack(waves, axis=-1)
    return (255 * (v - v.min()) / np.ptp(v)).astype(np.uint8)


def views(picture):
    """The eight turned and mirrored views."""
    for base in (picture, picture.swapaxes(0, 1)):
        for down in (1, -1):
            for across in (1, -1):
                yield base[::down, ::across]


def area(points):
    x, y = points.T
    return 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


# --- masks -------------------------------------------------------------------------------------


@pytest.mark.parametrize("outline", [DIAMOND, SLANTED])
def test_a_mask_has_the_polygons_area(outline):
    photo = photo_of(np.zeros((400, 600, 3), np.uint8))
    points = to_pixels(outline, 600, 400)
    around = np.hypot(*(points - np.roll(points, 1, axis=0)).T).sum()
    mask = polygon_mask(photo, outline, bounding_box(photo, outline))
    # The pixels that the outline itself crosses belong to it: at most half a pixel all around.
    assert 0.0 <= mask.sum() - area(points) <= 0.5 * around


def test_a_mask_lies_where_its_polygon_lies():
    photo = photo_of(np.zeros((400, 600, 3), np.uint8))
    box = bounding_box(photo, DIAMOND)
    rows, columns = np.nonzero(polygon_mask(photo, DIAMOND, box))
    # The middle of the diamond is that of the picture; a centre lies half a pixel in. The outline's
    # own pixels are not quite even on both sides: measured 0.14 and 0.38 px.
    assert columns.mean() + 0.5 + box.x0 == pytest.approx(300.0, abs=0.45)
    assert rows.mean() + 0.5 + box.y0 == pytest.approx(200.0, abs=0.45)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 40), st.integers(0, 40), st.integers(1, 20), st.integers(1, 20))
def test_a_box_of_whole_pixels_is_exactly_those_pixels(x0, y0, w, h):
    photo = photo_of(np.zeros((64, 64, 3), np.uint8))
    outline = polygon((x0, y0, x0 + w, y0 + h), photo.pixels)
    mask = polygon_mask(photo, outline, bounding_box(photo, outline))
    assert mask.shape == (h, w) and mask.all()


def test_the_whole_picture_can_be_a_region():
    photo = photo_of(np.zeros((20, 30, 3), np.uint8))
    whole = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))
    assert tuple(bounding_box(photo, whole)) == (0, 20, 0, 30)
    assert polygon_mask(photo, whole, bounding_box(photo, whole)).all()


# --- strips ------------------------------------------------------------------------------------


@pytest.mark.parametrize("most", [1, 700, 5_000, 10**9])
@pytest.mark.parametrize("multiple", [1, 7, 64])
def test_strips_cover_the_region_exactly_once(monkeypatch, most, multiple):
    monkeypatch.setattr(raster, "STRIP_PIXELS", most)
    picture = smooth_picture(211, 307)
    photo = photo_of(picture)
    box = bounding_box(photo, SLANTED)
    seen = np.zeros(picture.shape[:2], int)
    tops = []
    for strip in strips(photo, SLANTED, rows_multiple=multiple):
        h, w = strip.mask.shape
        seen[strip.y0 : strip.y0 + h, strip.x0 : strip.x0 + w] += strip.mask
        assert (strip.pixels == picture[strip.y0 : strip.y0 + h, strip.x0 : strip.x0 + w]).all()
        tops.append(strip.y0 - box.y0)
    want = np.zeros_like(seen)
    want[box.y0 : box.y1, box.x0 : box.x1] = polygon_mask(photo, SLANTED, box)
    assert (seen == want).all()
    assert all(top % multiple == 0 for top in tops)


# --- pixels ------------------------------------------------------------------------------------


def test_all_pixels_of_a_small_region_and_an_even_share_of_a_large_one():
    picture = smooth_picture(211, 307)
    photo = photo_of(picture)
    box = bounding_box(photo, SLANTED)
    crop = picture[box.y0 : box.y1, box.x0 : box.x1]
    inside = crop[polygon_mask(photo, SLANTED, box)]
    assert (region_pixels(photo, SLANTED) == inside).all()
    few = region_pixels(photo, SLANTED, most=2_000)
    assert 500 < len(few) <= 2_000
    assert np.allclose(few.mean(axis=0), inside.mean(axis=0), atol=2.0)


@pytest.mark.parametrize("kind", [np.uint8, np.uint16, np.float32])
def test_brightest_and_darkest_channel(kind):
    rng = np.random.default_rng(1)
    pixels = (rng.random((9, 8, 3)) * 200).astype(kind)
    assert (brightest(pixels) == pixels.max(axis=-1)).all()
    assert (darkest(pixels) == pixels.min(axis=-1)).all()


def test_a_shrunk_polygon_has_the_factors_square_of_area():
    assert area(np.array(shrink_polygon(SLANTED, 0.8))) == pytest.approx(
        0.64 * area(np.array(SLANTED))
    )


# --- small copies ------------------------------------------------------------------------------


@pytest.mark.parametrize(("height", "width"), [(603, 901), (600, 900), (127, 900)])
def test_a_small_copy_of_any_view_equals_that_of_an_upright_copy(height, width):
    for view in views(smooth_picture(height, width)):
        found = small_copy(view, 100)
        want = small_copy(np.ascontiguousarray(view), 100)
        assert found.shape == want.shape
        assert np.abs(found.astype(int) - want).max() <= 1


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_a_small_copy_keeps_places_and_the_mean(kind):
    picture = smooth_picture(604, 905).astype(kind) * (257 if kind is np.uint16 else 1)
    small = small_copy(picture, 100)
    assert small.dtype == kind and small.shape == (67, 100, 3)
    # Each pixel of the copy shows the light of its own place, to half a pixel of the copy.
    y, x = (np.arange(n) + 0.5 for n in small.shape[:2])
    there = picture[
        np.round(y * 604 / 67).astype(int)[:, None], np.round(x * 905 / 100).astype(int)[None]
    ]
    scale = 257 if kind is np.uint16 else 1
    assert np.abs(small.astype(float) - there).max() / scale < 14
    assert np.abs(small.mean((0, 1)) - picture.mean((0, 1))).max() / scale < 0.5


def test_a_grey_files_view_and_a_small_picture_are_copied():
    plane = smooth_picture(300, 200, 1)
    grey = np.broadcast_to(plane, (300, 200, 3))
    assert (small_copy(grey, 50) == small_copy(np.repeat(plane, 3, axis=2), 50)).all()
    tiny = smooth_picture(20, 30)
    assert (small_copy(tiny[:, ::-1], 640) == tiny[:, ::-1]).all()
