"""The chart's colour models: what they undo, what they leave alone, what they do not overfit."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ingest.camera_colours import UNCHANGED, fit_chart, fit_colours, terms
from ingest.charts import CHART24_LAB_D50, CHART24_NEUTRALS
from ingest.colour import SRGB_TO_XYZ, delta_e_2000, lab_d50_to_d65, lab_to_xyz, xyz_to_lab

EXPECTED = (
    lab_to_xyz(lab_d50_to_d65(CHART24_LAB_D50["after-2014-11"])) @ np.linalg.inv(SRGB_TO_XYZ).T
)
ALL = list(range(24))
JUDGED = [i for i in ALL if i not in CHART24_NEUTRALS]
#: A made-up camera: rows sum to 1, so neutrals stay.
MIXED = np.array([[0.8, 0.15, 0.05], [0.1, 0.8, 0.1], [0.02, 0.18, 0.8]])


def mean_error(rgb):
    found, stated = xyz_to_lab(rgb @ SRGB_TO_XYZ.T), xyz_to_lab(EXPECTED @ SRGB_TO_XYZ.T)
    return float(delta_e_2000(found, stated)[JUDGED].mean())


def test_a_linear_mix_of_channels_is_undone_by_the_matrix():
    seen = np.maximum(EXPECTED, 0.0) @ MIXED.T
    found = fit_colours(seen, EXPECTED, "matrix")(seen)
    assert mean_error(seen) > 5.0
    assert mean_error(found) < 0.5


def test_a_chart_that_is_right_already_is_left_alone():
    fit = fit_chart(EXPECTED, EXPECTED, SRGB_TO_XYZ, ALL, JUDGED)
    assert fit.colours.model == "none"
    assert fit.colours(EXPECTED) is not None
    assert np.array_equal(fit.colours(EXPECTED), EXPECTED)


def test_never_worse_than_without_on_patches_left_out():
    rng = np.random.default_rng(5)
    for _ in range(10):
        seen = np.maximum(EXPECTED * np.exp(rng.normal(0, 0.08, EXPECTED.shape)), 1e-3)
        fit = fit_chart(seen, EXPECTED, SRGB_TO_XYZ, ALL, JUDGED)
        chosen = min(fit.trials.values()) if fit.colours.model != "none" else fit.trials["none"]
        assert chosen <= fit.trials["none"]
        errors = delta_e_2000(xyz_to_lab(fit.left_out), xyz_to_lab(EXPECTED @ SRGB_TO_XYZ.T))
        assert errors[JUDGED].mean() == pytest.approx(chosen)


def test_a_patch_left_out_is_not_in_its_own_fit():
    seen = np.maximum(EXPECTED, 0.0) @ MIXED.T
    spoiled = seen.copy()
    spoiled[14] *= [0.2, 3.0, 3.0]
    clean = fit_chart(seen, EXPECTED, SRGB_TO_XYZ, [i for i in ALL if i != 14], JUDGED)
    fit = fit_chart(spoiled, EXPECTED, SRGB_TO_XYZ, ALL, JUDGED)
    if fit.colours.model == clean.colours.model != "none":
        guess = fit_colours(
            spoiled[[i for i in ALL if i != 14]],
            EXPECTED[[i for i in ALL if i != 14]],
            fit.colours.model,
        )(spoiled[14])
        assert np.allclose(guess @ SRGB_TO_XYZ.T, fit.left_out[14])


@given(st.floats(0.3, 3.0))
def test_root_polynomials_do_not_change_with_exposure(scale):
    """Finlayson, Mackiewicz, Hurlbert, IEEE TIP 24 (2015): the terms are of degree one in light."""
    rgb = np.array([[0.2, 0.5, 0.1], [0.4, 0.4, 0.4]])
    model = fit_colours(np.maximum(EXPECTED, 0.0) @ MIXED.T, EXPECTED, "root-polynomial")
    assert np.allclose(model(scale * rgb), scale * model(rgb), rtol=1e-9)
    assert terms(rgb, "root-polynomial").shape == (2, 6)


def test_nothing_fitted_changes_nothing():
    assert np.array_equal(UNCHANGED(EXPECTED), EXPECTED)
