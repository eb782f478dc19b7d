"""A shadow's edge across a chart, told from colours that err and from light that falls off."""

import numpy as np
import pytest

from ingest import charts
from ingest.colour import SRGB_TO_XYZ, lab_d50_to_d65, lab_to_xyz
from ingest.shadow import edge_across, kinked
from tests.ingest.builders import SIX_Y
from tests.render import spectra
from tests.render.camera import decode_plain, random_shot, simulate_frame

STATED = lab_to_xyz(lab_d50_to_d65(charts.CHART24_LAB_D50["after-2014-11"]))[:, 1]
ROW, COLUMN = np.arange(24) // 6, np.arange(24) % 6


def found(light, seed=0, sd=0.06):
    """Luminance of patches in a light, as a camera gives it whose colours err."""
    return STATED * light * np.exp(np.random.default_rng(seed).normal(0.0, sd, 24))


@pytest.mark.parametrize("shaded", [ROW >= 1, ROW >= 2, ROW >= 3, ROW < 2, COLUMN >= 3, COLUMN < 1])
@pytest.mark.parametrize("depth", [0.3, 0.5])
def test_an_edge_is_found_wherever_it_lies(shaded, depth):
    for seed in range(20):
        assert edge_across(found(np.where(shaded, 1.0 - depth, 1.0), seed), STATED)


def test_colours_that_err_and_light_that_falls_off_are_none():
    for seed in range(300):
        assert not edge_across(found(1.0, seed, 0.15), STATED)
        for place in (ROW / 3.0, COLUMN / 5.0):
            assert not edge_across(found(1.0 - 0.4 * place, seed, 0.02), STATED)


def test_patches_that_are_not_known_have_no_part():
    seen = found(np.where(ROW >= 2, 0.6, 1.0))
    seen[[0, 7, 18]] = np.nan
    assert edge_across(seen, STATED)
    assert not edge_across(np.full(24, np.nan), STATED)


def steps_seen(seed, shade=None):
    """Luminance of six steps in a row as a random camera's file has it; ``shade``: (6,) light."""
    rng = np.random.default_rng(seed)
    places = np.stack([np.linspace(0.3, 0.6, 6), np.full(6, 0.5)], axis=1)
    greys = spectra.neutral_steps(SIX_Y, 0.0) * (1.0 if shade is None else shade[:, None])
    coded = simulate_frame(rng, random_shot(rng), greys, places)
    return decode_plain(np.round(coded * 255.0) / 255.0) @ SRGB_TO_XYZ[1]


def test_no_cameras_curve_and_no_slope_of_light_is_a_kink():
    assert not any(kinked(steps_seen(seed), np.array(SIX_Y)) for seed in range(200))


@pytest.mark.parametrize("first", [1, 2, 3, 4])
@pytest.mark.parametrize("side", ["dark", "light"])
def test_a_shadow_over_some_of_the_steps_is_a_kink(first, side):
    beyond = np.arange(6) >= first
    shade = np.where(beyond if side == "dark" else ~beyond, 0.6, 1.0)
    assert all(kinked(steps_seen(seed, shade), np.array(SIX_Y)) for seed in range(40))


def test_five_steps_show_no_kink():
    assert not kinked(np.array([0.9, 0.59, 0.36, 0.05, 0.02]), np.array(SIX_Y[:5]))
