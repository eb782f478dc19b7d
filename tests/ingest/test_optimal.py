"""The optimal-colour solid against published limits and published reflectances."""

import numpy as np
import pytest

from ingest.charts import CHART24_LAB_D50
from ingest.colour import D65, lab_d50_to_d65, lab_to_xyz, xyz_to_lab
from ingest.observer import TABLE
from ingest.optimal import band_colours, fluorescence_flags, light_ratio, limit_ratio


def test_observer_and_illuminant_are_the_published_tables():
    import colour

    shape = colour.SpectralShape(380, 780, 5)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    d65 = colour.SDS_ILLUMINANTS["D65"].copy().align(shape)
    table = np.array(TABLE)
    assert np.array_equal(table[:, 0], observer.wavelengths)
    assert np.allclose(table[:, 1:4], observer.values, atol=1e-6)
    assert np.allclose(table[:, 4], d65.values, atol=1e-3)


def published_limits():
    """MacAdam limits for D65 as colour-science carries them: chromaticity to four decimals."""
    import colour
    from colour.volume.datasets.optimal_colour_stimuli import OPTIMAL_COLOUR_STIMULI_ILLUMINANTS

    xyy = np.array(OPTIMAL_COLOUR_STIMULI_ILLUMINANTS["D65"], dtype=float)
    return xyy[:, 2] / 100.0, colour.xyY_to_XYZ(xyy * [1, 1, 0.01])


def test_published_limits_lie_on_the_solid():
    """All within 0.3 % but one point at Y = 80, which is 1.1 % off its neighbours' line."""
    _, xyz = published_limits()
    ratio = limit_ratio(xyz)
    assert len(ratio) > 150
    off = np.abs(ratio - 1.0)
    assert np.sort(off)[-2] < 0.003
    assert off.max() < 0.012


def test_all_levels_of_light_are_checked_also_the_dark_ones():
    y, xyz = published_limits()
    for level in np.unique(np.round(y, 2)):
        at = np.isclose(y, level, atol=0.006)
        assert np.median(np.abs(limit_ratio(xyz[at]) - 1.0)) < 0.002, level


def test_white_and_black_are_on_the_limit_and_grey_is_inside():
    assert limit_ratio(D65) == pytest.approx(1.0, abs=1e-6)
    assert limit_ratio(np.zeros(3)) == pytest.approx(1.0, abs=1e-6)
    assert limit_ratio(0.18 * D65) < 1.0
    assert light_ratio(0.18 * D65) == pytest.approx(0.18, abs=1e-6)
    assert np.allclose(band_colours().max(axis=0), D65)


def test_no_published_surface_is_beyond_the_limit():
    xyz = lab_to_xyz(lab_d50_to_d65(CHART24_LAB_D50["after-2014-11"]))
    assert limit_ratio(xyz).max() < 1.0
    assert light_ratio(xyz).max() < 0.95


@pytest.mark.parametrize(
    ("scale", "flags"),
    [(0.6, set()), (0.97, {"perhaps fluorescent"}), (1.25, {"fluorescent"})],
)
def test_flags_by_light_at_the_chromaticity_of_a_yellow(scale, flags):
    yellow = lab_to_xyz(np.array([80.0, 5.0, 85.0]))
    at_limit = yellow / light_ratio(yellow)
    assert fluorescence_flags(xyz_to_lab(scale * at_limit), np.eye(3)) == flags


def test_a_large_doubt_proves_nothing():
    yellow = lab_to_xyz(np.array([80.0, 5.0, 85.0]))
    lab = xyz_to_lab(1.1 * yellow / light_ratio(yellow))
    assert fluorescence_flags(lab, 400.0 * np.eye(3)) == {"perhaps fluorescent"}


def test_dark_saturated_colours_are_not_accused():
    for lab in ([12.0, 30.0, -40.0], [20.0, 45.0, 30.0], [15.0, -25.0, 10.0]):
        assert not fluorescence_flags(np.array(lab), 4.0 * np.eye(3)) & {"fluorescent"}
