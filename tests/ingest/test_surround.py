"""The light as paper shows it: found where it does, refused where it does not."""

import numpy as np
import pytest

from ingest.colour import SRGB_TO_XYZ, linear_to_srgb, srgb_to_linear
from ingest.model import Encoding, Photo
from ingest.surround import Surround, surround_light

CURVE = np.repeat(srgb_to_linear(np.arange(256) / 255.0)[:, None], 3, axis=1).astype(np.float32)
CHART = ((0.35, 0.35), (0.65, 0.35), (0.65, 0.65), (0.35, 0.65))


def photo_of(linear):
    pixels = np.round(linear_to_srgb(np.clip(linear, 0, 1)) * 255).astype(np.uint8)
    return Photo("made", "0" * 64, pixels, Encoding("sRGB", CURVE, SRGB_TO_XYZ), "PNG")


def sheet(light, rng, colour=(0.8, 0.8, 0.8)):
    """A sheet of paper in a given light (h, w), with a dark chart in its middle."""
    height, width = light.shape
    linear = light[..., None] * np.array(colour) * np.exp(rng.normal(0, 0.005, (height, width, 1)))
    y0, y1 = int(0.35 * height), int(0.65 * height)
    x0, x1 = int(0.35 * width), int(0.65 * width)
    linear[y0:y1, x0:x1] = 0.05
    return linear


def ramp(height, width, across, down=0.0):
    y, x = np.mgrid[0:height, 0:width]
    return 1.0 + across * (x / width - 0.5) + down * (y / height - 0.5)


@pytest.mark.parametrize("across", [0.0, 0.1, 0.3])
def test_a_ramp_is_found_on_paper(across):
    light = ramp(400, 500, across, 0.1)
    picture = photo_of(sheet(light, np.random.default_rng(1)))
    field = surround_light(picture, CURVE, SRGB_TO_XYZ, Surround((CHART,)), CHART).field
    assert field is not None
    corners = np.array(CHART)
    found = field.at(corners)
    rows = np.minimum((corners[:, 1] * 400).astype(int), 399)
    columns = np.minimum((corners[:, 0] * 500).astype(int), 499)
    true = light[rows, columns]
    assert np.allclose(found / found.mean(), true / true.mean(), atol=0.01)
    assert field.scatter < 0.02


def test_a_lamp_needs_a_quadratic():
    y, x = np.mgrid[0:400, 0:500]
    light = 1.0 - 0.5 * ((x / 500 - 0.5) ** 2 + (y / 400 - 0.4) ** 2)
    field = surround_light(
        photo_of(sheet(light, np.random.default_rng(2))),
        CURVE,
        SRGB_TO_XYZ,
        Surround((CHART,)),
        CHART,
    ).field
    assert field is not None
    assert len(field.coefficients) == 6
    middle, edge = field.at(np.array([[0.5, 0.4], [0.9, 0.4]]))
    assert edge / middle == pytest.approx((1 - 0.5 * 0.16) / 1.0, abs=0.01)


def test_no_field_from_a_coloured_dark_or_patterned_surround():
    rng = np.random.default_rng(3)
    light = ramp(400, 500, 0.2)
    brown = photo_of(sheet(light, rng, (0.5, 0.3, 0.15)))
    dark = photo_of(sheet(light, rng, (0.1, 0.1, 0.1)))
    noisy = sheet(light, rng)
    noisy *= np.exp(rng.normal(0, 0.4, (400, 500, 1)))
    for picture in (brown, dark, photo_of(noisy)):
        found = surround_light(picture, CURVE, SRGB_TO_XYZ, Surround((CHART,)), CHART)
        assert found.field is None


def test_one_sheet_is_followed_from_the_reference_to_a_swatch_far_from_it():
    steps = ((0.05, 0.45), (0.20, 0.45), (0.20, 0.53), (0.05, 0.53))
    swatch = ((0.70, 0.30), (0.90, 0.30), (0.90, 0.70), (0.70, 0.70))
    light = ramp(400, 500, 0.2)
    rng = np.random.default_rng(6)
    linear = light[..., None] * 0.8 * np.exp(rng.normal(0, 0.005, (400, 500, 1)))
    linear = np.repeat(linear, 3, axis=2)
    for left, top, right, bottom in ((25, 180, 100, 212), (350, 120, 450, 280)):
        linear[top:bottom, left:right] = 0.05
    linear[:, 480:] *= 0.55  # the table beside the sheet
    field = surround_light(
        photo_of(linear), CURVE, SRGB_TO_XYZ, Surround((steps, swatch)), steps
    ).field
    assert field is not None
    near, far = field.at(np.array([[0.125, 0.49], [0.8, 0.5]]))
    assert far / near == pytest.approx((1 + 0.2 * 0.3) / (1 - 0.2 * 0.375), rel=0.01)


def outline(box, height=400, width=500):
    x0, y0, x1, y1 = (v / n for v, n in zip(box, (width, height, width, height), strict=True))
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


CARD, YARN = (60, 280, 130, 340), (200, 60, 320, 150)


def laid_out(light=1.0, ends=None, rng=None):
    """Paper with a card below and yarn above it, on a board whose ends show, if told."""
    rng = rng or np.random.default_rng(8)
    linear = np.full((400, 500, 3), 0.6)
    if ends is not None:
        linear[60:150, 170:350] = ends
    for x0, y0, x1, y1 in (CARD, YARN):
        linear[y0:y1, x0:x1] = 0.1
    linear = linear * light * np.exp(rng.normal(0, 0.005, (400, 500, 1)))
    taken = Surround((outline(CARD), outline(YARN)))
    return surround_light(photo_of(linear), CURVE, SRGB_TO_XYZ, taken, outline(CARD))


def test_the_ends_of_a_board_are_another_white_and_no_light():
    for ends in (0.75, None):
        found = laid_out(ends=ends)
        assert found.field is not None and found.paper is not None
        assert np.abs(found.paper.about(outline(YARN))).max() < 0.01


@pytest.mark.parametrize("hard", [False, True])
def test_paper_about_a_swatch_shows_the_shadow_on_it(hard):
    y, x = np.mgrid[0:400, 0:500]
    away = np.hypot((x - 260) / 150.0, (y - 105) / 105.0)
    over = (away < 1.0) if hard else np.clip(4.0 * (1.2 - away), 0.0, 1.0)
    found = laid_out(light=(1.0 - 0.25 * over)[..., None])
    lost = [found.paper.about(outline(box)).mean() for box in (YARN, CARD)]
    if found.field is not None:  # a soft one bends it a little
        lost += np.log(found.field.at([np.mean(outline(box), axis=0) for box in (YARN, CARD)]))
    assert np.log(0.75) * 1.1 < lost[0] - lost[1] < np.log(0.75) * 0.5


@pytest.mark.parametrize("x", [200, 260, 60])
def test_a_swatch_above_a_card_on_paper_that_fills_the_picture_is_surrounded(x):
    """The paper between them is narrow, and the hull of both hardly wider than they."""
    linear = np.full((300, 400, 3), 0.8)
    boxes = ((150, 210, 214, 254), (x, 40, x + 140, 150))
    for x0, y0, x1, y1 in boxes:
        linear[y0:y1, x0:x1] = 0.1
    linear *= np.exp(np.random.default_rng(9).normal(0, 0.005, (300, 400, 1)))
    taken = tuple(outline(box, 300, 400) for box in boxes)
    found = surround_light(photo_of(linear), CURVE, SRGB_TO_XYZ, Surround(taken), taken[0])
    assert found.field is not None


@pytest.mark.parametrize("tint", [0.42, 0.5])
def test_a_sheet_in_light_of_two_colours_is_followed_as_its_colour_drifts(tint):
    """Paper from a window's side to a lamp's: each end of another colour than the middle."""
    rng = np.random.default_rng(12)
    light = sheet(ramp(400, 500, 0.1), rng, colour=(0.62, 0.62, 0.62))
    x = np.mgrid[0:400, 0:500][1] / 500 - 0.5
    light *= np.exp(tint * x[..., None] * np.array([0.5, 0.0, -0.5]))
    ends = tuple(
        tuple((a + u, 0.4 + v) for u, v in ((0, 0), (0.12, 0), (0.12, 0.2), (0, 0.2)))
        for a in (0.06, 0.82)
    )
    for (x0, y0), _, (x1, y1), _ in ends:
        light[int(y0 * 400) : int(y1 * 400), int(x0 * 500) : int(x1 * 500)] = 0.05
    around = Surround((CHART, *ends))
    field = surround_light(photo_of(light), CURVE, SRGB_TO_XYZ, around, CHART).field
    assert field is not None
    middles = np.array([np.mean(end, axis=0) for end in ends])
    assert field.tint_spread(middles) == pytest.approx(0.76 * tint, rel=0.15)
