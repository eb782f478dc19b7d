"""The four parts of a colour's covariance: their axes, their laws and their published sums."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from ingest.colour import D65, difference_terms, lab_to_xyz, xyz_to_lab, xyz_to_lab_jacobian
from ingest.doubt import (
    PART_SD,
    axes_jacobian,
    axes_to_lab,
    frame_of_its_own,
    lab_covariance,
)
from swatchvault.pairdoubt import FRAME

REFERENCES = ("none", "card", "steps", "chart")
PARTS = ("region", "frame", "setup", "profile")

colours = st.tuples(st.floats(3.0, 97.0), st.floats(-80.0, 80.0), st.floats(-80.0, 80.0))
relative = st.floats(0.0, 0.2)


def covariance(lab, reference="steps", light="daylight", reading=0.01, value=0.01, region=None):
    xyz = lab_to_xyz(lab)
    if region is None:
        region = np.diag((0.004 * xyz) ** 2)
    return lab_covariance(
        lab, region, xyz, reference=reference, light=light, reading_sd=reading, value_sd=value
    )


# --- axes --------------------------------------------------------------------------------------


@settings(max_examples=150, deadline=None)
@given(colours)
def test_the_jacobian_is_that_of_the_published_terms(lab):
    lab = np.array(lab)
    assume(math.hypot(lab[1], lab[2]) > 1.0)
    columns = []
    for axis in np.eye(3) * 1e-4:
        ends = [difference_terms(lab, lab + s * axis) for s in (1.0, -1.0)]
        scaled = [e.delta / e.weights for e in ends]
        columns.append((scaled[0] - scaled[1]) / 2e-4)
    assert np.allclose(axes_jacobian(lab, lab), np.array(columns).T, atol=2e-5)


def test_at_a_neutral_the_chroma_axis_is_a_and_the_hue_axis_b():
    jacobian = axes_jacobian(*([50.0, 0.0, 0.0],) * 2)
    # SL, SC and SH are 1 there; a* is scaled by 1.5, equation (5) of Sharma et al. 2005.
    assert np.allclose(jacobian, np.diag([1.0, 1.5, 1.0]))


@given(colours)
def test_one_unit_in_the_axes_comes_back_as_one_unit(lab):
    back = axes_jacobian(lab, lab)
    assert np.allclose(back @ axes_to_lab(np.eye(3), lab) @ back.T, np.eye(3), atol=1e-9)


@given(colours)
def test_the_jacobian_of_lab_is_that_of_its_formula(lab):
    xyz = lab_to_xyz(lab)
    assume((xyz > 1e-3).all() and (np.abs(xyz / D65 - 216 / 24389) > 1e-3).all())
    columns = []
    for axis in np.eye(3) * 1e-6:
        columns.append((xyz_to_lab(xyz + axis) - xyz_to_lab(xyz - axis)) / 2e-6)
    assert np.allclose(xyz_to_lab_jacobian(xyz), np.array(columns).T, rtol=1e-3, atol=1e-4)


# --- parts -------------------------------------------------------------------------------------


@settings(max_examples=100, deadline=None)
@given(colours, st.sampled_from(REFERENCES), st.sampled_from(["daylight", "other", None]), relative,
       relative)  # fmt: skip
def test_every_part_is_a_covariance_and_they_sum_to_the_total(
    lab, reference, light, reading, value
):
    found = covariance(lab, reference, light, reading, value)
    parts = [getattr(found, name) for name in PARTS]
    for part in (*parts, found.total):
        assert np.allclose(part, part.T, atol=1e-10)
        assert np.linalg.eigvalsh(part).min() > -1e-9 * max(np.trace(part), 1e-9)
    assert np.allclose(found.total, sum(parts))
    squares = np.square([found.standard()[name] for name in PARTS]).sum(axis=0)
    assert np.allclose(squares, np.diag(found.total), rtol=1e-9)


def test_exposure_moves_lightness_as_the_cube_root_says():
    # A neutral of L* 50, exposure doubtful by 2 %: dL* = (L* + 16) / 3 x 2 %.
    still, moved = (covariance((50.0, 0.0, 0.0), reading=r) for r in (0.0, 0.02))
    added = moved.frame - still.frame
    assert math.sqrt(added[0, 0]) == pytest.approx(66.0 / 3.0 * 0.02, rel=1e-6)
    assert np.allclose(added[1:, 1:], 0.0, atol=1e-12)  # a neutral stays neutral
    assert np.allclose(moved.setup, still.setup) and np.allclose(moved.region, still.region)


def test_a_cards_value_counts_to_the_set_up_and_its_reading_to_the_frame():
    still, stated = (covariance((40.0, 20.0, 10.0), value=v) for v in (0.0, 0.03))
    assert np.trace(stated.setup) > np.trace(still.setup)
    assert np.allclose(stated.frame, still.frame)


def test_the_regions_part_is_carried_by_the_jacobian_of_lab():
    # Draws of XYZ about its mean, carried to Lab by the formula itself.
    rng = np.random.default_rng(0)
    lab = np.array([45.0, 25.0, -15.0])
    xyz = lab_to_xyz(lab)
    root = np.diag(0.004 * xyz) @ np.array([[1.0, 0, 0], [0.6, 0.8, 0], [0.5, 0.2, 0.7]])
    draws = xyz_to_lab(xyz + rng.normal(size=(200_000, 3)) @ root.T)
    found = covariance(lab, region=root @ root.T).region
    assert np.allclose(found, np.cov(draws.T), rtol=0.03, atol=1e-3)


def test_light_that_is_not_stated_counts_as_other():
    lab = (40.0, 20.0, 10.0)
    assert np.allclose(covariance(lab, light=None).total, covariance(lab, light="other").total)
    assert (
        np.trace(covariance(lab, light="daylight").total) < np.trace(covariance(lab).total) * 1.01
    )


@pytest.mark.parametrize("light", ["daylight", "other"])
def test_a_better_reference_never_leaves_more_doubt(light):
    for lab in ((50.0, 0.0, 0.0), (30.0, 40.0, 20.0), (70.0, -30.0, 50.0)):
        whole = [np.trace(covariance(lab, r, light).total) for r in REFERENCES]
        assert whole == sorted(whole, reverse=True)


# --- the table of parts ------------------------------------------------------------------------

# 95 % of ΔE00 to the truth by the spectral simulation, and the standard deviation per axis of a
# difference between two frames with settings free, as the difference's own table has it.
SIMULATED = {
    ("card", "daylight"): (7.2, "card"),
    ("card", "other"): (11.5, "card"),
    ("steps", "daylight"): (3.1, "steps"),
    ("steps", "other"): (9.8, "steps"),
    ("chart", "daylight"): (2.9, "chart"),
    ("chart", "other"): (4.5, "chart"),
}


@pytest.mark.parametrize("row", SIMULATED)
def test_the_parts_belong_together(row):
    """No whole is smaller than the errors need; the frame is the one that differences use."""
    errors, column = SIMULATED[row]
    frame, setup, profile = PART_SD[row]
    # 2.795 is the 95 % point of the length of a three-axis normal (chi, 3 degrees of freedom).
    assert math.sqrt(frame**2 + setup**2 + profile**2) >= errors / 2.795
    assert frame * math.sqrt(2) == pytest.approx(FRAME["same set-up"][column], abs=0.01)
    assert min(frame, setup, profile) > 0


@pytest.mark.parametrize(("reference", "light"), PART_SD)
def test_a_photos_own_part_of_the_frame_is_what_the_table_does_not_have(reference, light):
    lab, xyz = np.array([45.0, 25.0, 15.0]), lab_to_xyz(np.array([45.0, 25.0, 15.0]))
    known = {"reference": reference, "light": light, "value_sd": 0.01}

    def own(reading_sd, placed, flags=frozenset({"light not seen"})):
        made = lab_covariance(
            lab, np.zeros((3, 3)), xyz, reading_sd=reading_sd, frame_xyz=placed, **known
        )
        return frame_of_its_own(made.frame, lab, reference, light, flags)

    np.testing.assert_allclose(own(0.0, np.zeros((3, 3))), 0.0, atol=1e-9)
    moved = 0.08 * xyz
    found = own(0.0, np.outer(moved, moved))
    step = xyz_to_lab(xyz * 1.0001) - xyz_to_lab(xyz)
    np.testing.assert_allclose(found, np.outer(step, step) * 800.0**2, rtol=0.01, atol=1e-3)
    assert np.array_equal(own(0.0, np.outer(moved, moved), {"glare"}), np.zeros((3, 3)))
    unknown = frame_of_its_own(np.full((3, 3), np.nan), lab, reference, light, {"light not seen"})
    assert np.array_equal(unknown, np.zeros((3, 3)))
