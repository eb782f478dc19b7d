"""A shadow's edge across a chart, told from colours that err and from light that falls off."""

import numpy as np
import pytest

from ingest import charts
from ingest.colour import lab_d50_to_d65, lab_to_xyz
from ingest.shadow import edge_across

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
