"""The light field: found where paper shows it, refused where it does not."""

import numpy as np
import pytest

from ingest import lightfield
from ingest.colour import SRGB_TO_XYZ, linear_to_srgb, srgb_to_linear
from ingest.lightfield import Surround, fit_field, surround_field
from ingest.model import Encoding, Photo

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
    field = surround_field(picture, CURVE, SRGB_TO_XYZ, Surround((CHART,)), CHART)
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
    field = surround_field(
        photo_of(sheet(light, np.random.default_rng(2))),
        CURVE,
        SRGB_TO_XYZ,
        Surround((CHART,)),
        CHART,
    )
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
        assert surround_field(picture, CURVE, SRGB_TO_XYZ, Surround((CHART,)), CHART) is None


def test_centred_on_places_has_mean_one_there():
    points = np.random.default_rng(4).random((300, 2))
    field = fit_field(points, 0.3 * points[:, 0] - 0.1 * points[:, 1], 0.5, "grey")
    assert field is not None
    places = np.array([[0.2, 0.2], [0.8, 0.7], [0.5, 0.1]])
    centred = field.centred_on(places)
    assert np.log(centred.at(places)).mean() == pytest.approx(0.0, abs=1e-9)
    assert centred.spread(places) == pytest.approx(field.spread(places))


def test_outliers_do_not_bend_it():
    rng = np.random.default_rng(5)
    points = rng.random((500, 2))
    log_light = 0.2 * points[:, 0]
    log_light[:60] -= 1.0
    field = fit_field(points, log_light, 0.5, "surround")
    assert field is not None
    left, right = field.at(np.array([[0.0, 0.5], [1.0, 0.5]]))
    assert np.log(right / left) == pytest.approx(0.2, abs=0.005)


def test_rounds_end_where_none_would_change_the_fit():
    rng = np.random.default_rng(4)
    points = rng.random((500, 2))
    log_light = 0.1 * points[:, 0] + rng.normal(0, 0.01, 500)
    log_light[:40] -= 0.4

    def all_rounds(order):
        design, weight = lightfield._terms(points, order), np.ones(500)
        for _ in range(20):
            weighted = design * weight[:, None]
            found = np.linalg.solve(weighted.T @ design, weighted.T @ log_light)
            residual = log_light - design @ found
            scatter = 1.4826 * np.median(np.abs(residual)) + 1e-5
            weight = np.clip(1.0 - (residual / (4.685 * scatter)) ** 2, 0.0, None) ** 2
        return found, scatter

    for order in (3, 6):
        (found, scatter), (same, same_scatter) = (
            lightfield._robust(points, log_light, order),
            (all_rounds(order)),
        )
        assert np.array_equal(found, same) and scatter == same_scatter


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
    field = surround_field(photo_of(linear), CURVE, SRGB_TO_XYZ, Surround((steps, swatch)), steps)
    assert field is not None
    near, far = field.at(np.array([[0.125, 0.49], [0.8, 0.5]]))
    assert far / near == pytest.approx((1 + 0.2 * 0.3) / (1 - 0.2 * 0.375), rel=0.01)
