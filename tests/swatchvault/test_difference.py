"""The covariance of a pair and the verdict: tables of cases, laws, and a simulation."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

import ingest.colour
from ingest.colour import difference_terms
from swatchvault import difference as d
from swatchvault.difference import Capture, Colour, Conditions, Verdict, decide, judge, pair_doubt
from swatchvault.pair import OwnFrame

LAB = np.array([55.0, 22.0, 30.0])
NEAR = LAB + np.array([0.6, 0.4, -0.5])
ZERO = np.zeros((3, 3))
SMALL = 0.01 * np.eye(3)


def colour(lab=LAB, reference="steps", cov=SMALL, **known):
    return Colour(np.asarray(lab, dtype=float), cov, reference, **known)


def u_of(capture, refs=("steps", "steps"), light="daylight", **conditions):
    pair = (colour(LAB, refs[0], ZERO), colour(NEAR, refs[1], ZERO))
    fields = {"k_l": 1.0, "light": light, "same_dyes": True, **conditions}
    return pair_doubt(*pair, Conditions(capture, **fields))


def test_delta_e_2000_is_offered_again():
    assert d.delta_e_2000 is ingest.colour.delta_e_2000


# --- The table of doubt ------------------------------------------------------------------------

# frame part per axis at kL = 1: card, six steps, chart; then p by daylight and by other lights
ROWS = [
    ("same frame", (0.05, 0.05, 0.05)),
    ("locked set-up", (0.55, 0.16, 0.18)),
    ("same set-up", (1.8, 0.48, 0.26)),
]
REFERENCES = ("card", "steps", "chart")


@pytest.mark.parametrize(("capture", "frames"), ROWS)
@pytest.mark.parametrize("light", ["daylight", "other", None])
def test_frame_part_and_share(capture, frames, light):
    for reference, frame in zip(REFERENCES, frames, strict=True):
        doubt = u_of(capture, (reference, reference), light)
        np.testing.assert_allclose(doubt.frame, frame**2 * np.eye(3))
        daylight, other = (0.25, 0.35) if reference == "card" else (0.11, 0.2)
        assert doubt.share == (daylight if light == "daylight" else other)


# Lab, then what it adds: a mid colour; dark, but no channel is; one channel dark, but not the
# colour; dark red under L* 37 and under 28; half way down the channel's slope.
@pytest.mark.parametrize(
    ("lab", "added"),
    [
        ((55.0, 22.0, 30.0), 0.0),
        ((36.0, 0.0, 0.0), 0.0),
        ((60.0, 60.0, 55.0), 0.0),
        ((35.0, 45.0, 30.0), 0.18),
        ((27.0, 35.0, 20.0), 0.30),
        ((39.5, 50.0, 35.0), 0.09),
        ((25.3, 0.0, 0.0), 0.30 * (0.05 - 0.04521) / 0.015),
    ],
)
def test_dark_colours_add_to_the_share(lab, added):
    lab = np.array(lab)
    assert d.dark_share(lab, lab) == pytest.approx(added, abs=0.002)
    # Either side counts, whichever is which, and arrays broadcast.
    for pair in ((lab, LAB), (LAB, lab)):
        assert d.dark_share(*pair) == pytest.approx(added, abs=0.002)
    assert d.dark_share(np.stack([lab, LAB])[:, None], np.stack([LAB, LAB])).shape == (2, 2)
    frame = Conditions(Capture.SAME_FRAME, light="daylight", same_dyes=True)
    doubt = pair_doubt(colour(lab), colour(lab), frame)
    assert doubt.share == pytest.approx(math.hypot(0.11, added), abs=0.002)
    assert doubt.stated_share == pytest.approx(math.hypot(0.25, added), abs=0.002)
    assert doubt.dark == pytest.approx(added, abs=0.002)


def test_a_dark_lot_at_the_edge_is_not_called_within():
    frame = Conditions(Capture.SAME_FRAME, tolerance=2.0, light="daylight", same_dyes=True)
    edge, verdicts = np.array([1.9, 2.2, 1.2]), []
    for lab in (np.array([27.0, 35.0, 20.0]), LAB):
        new = lab + edge * 1.5 / float(d.delta_e_2000(lab, lab + edge, k_l=2.0))
        found = judge(colour(lab, cov=ZERO), colour(new, cov=ZERO), frame)
        assert found.delta_e_00 == pytest.approx(1.5, abs=0.05)
        verdicts.append(found.verdict)
    assert verdicts == [Verdict.CANNOT_TELL, Verdict.WITHIN]


@pytest.mark.parametrize(
    ("light", "frames", "shares"),
    [
        ("daylight", (2.3, 1.4, 1.2), (0.25, 0.11, 0.11)),
        ("other", (4.0, 2.6, 1.6), (0.35, 0.25, 0.25)),
        (None, (4.0, 2.6, 1.6), (0.35, 0.25, 0.25)),
    ],
)
def test_other_class(light, frames, shares):
    for reference, frame, share in zip(REFERENCES, frames, shares, strict=True):
        doubt = u_of("other", (reference, reference), light)
        np.testing.assert_allclose(doubt.frame, frame**2 * np.eye(3))
        assert doubt.share == share


def test_both_photos_must_be_by_daylight():
    conditions = Conditions("other", light="daylight")
    day, lamp, unsaid = colour(light="daylight"), colour(light="other"), colour()
    assert pair_doubt(day, unsaid, conditions).daylight
    assert not pair_doubt(day, lamp, conditions).daylight  # a record outweighs what is said now
    assert not pair_doubt(day, unsaid, Conditions("other")).daylight


@pytest.mark.parametrize(
    ("refs", "capture", "frame"),
    [
        (("card", "chart"), "locked set-up", 0.55),
        (("steps", "chart"), "locked set-up", 0.18),
        (("steps", "chart"), "same set-up", 0.48),
        (("chart", "steps"), "same set-up", 0.48),
    ],
)
def test_different_references_take_the_worse_row(refs, capture, frame):
    doubt = u_of(capture, refs)
    assert math.sqrt(doubt.frame[1, 1]) == pytest.approx(frame)
    assert doubt.share == (0.25 if "card" in refs else 0.11)


def test_few_neutrals_count_as_a_card():
    few = colour(neutrals=3)
    conditions = Conditions("same set-up", k_l=1.0)
    assert pair_doubt(few, colour(), conditions).frame[0, 0] == pytest.approx(1.8**2)


def test_k_l_divides_the_lightness_axis_of_frame_and_region():
    one, two = (pair_doubt(colour(), colour(NEAR), Conditions("other", k_l=k)) for k in (1.0, 2.0))
    for part in ("frame", "region"):
        a, b = getattr(one, part), getattr(two, part)
        assert b[0, 0] == pytest.approx(a[0, 0] / 4)
        np.testing.assert_allclose(b[1:, 1:], a[1:, 1:])
    np.testing.assert_allclose(two.dyes, one.dyes)  # 0.5² I whatever kL


def test_uncertainty_by_hand():
    # 1.5 * sqrt((0.16²/4 + 0.16² + 0.16²) / 3 + (0.11 * 2)² / 3), locked, steps, kL = 2
    doubt = u_of("locked set-up", k_l=2.0)
    by_hand = 1.5 * math.sqrt((0.16**2 / 4 + 2 * 0.16**2) / 3 + 0.22**2 / 3)
    assert doubt.u(2.0) == pytest.approx(by_hand, rel=1e-12)
    assert doubt.u(0.0) == pytest.approx(1.5 * 0.16 * math.sqrt(0.75), rel=1e-12)


@pytest.mark.parametrize(("light", "share"), [("daylight", 0.25), ("other", 0.35)])
@pytest.mark.parametrize("column", ["card", "steps", "chart"])
def test_the_doubt_stated_of_a_reading_grows_by_one_share_for_all_references(light, share, column):
    doubt = u_of("same frame", refs=(column, column), light=light)
    grown = doubt.stated(4.0) - doubt.stated(0.0)
    np.testing.assert_allclose(grown, 2.25 * (4.0 * share) ** 2 / 3.0 * np.eye(3), atol=1e-12)
    np.testing.assert_allclose(doubt.stated(0.0), doubt.covariance(0.0))


@pytest.mark.parametrize(
    ("light", "same", "part"),
    [
        ("daylight", True, 0.0),
        ("daylight", False, 0.27),
        ("daylight", None, 0.27),
        ("other", None, 0.5),
    ],
)
def test_other_dyes_add_their_part(light, same, part):
    plain, doubt = u_of("same frame", light=light), u_of("same frame", light=light, same_dyes=same)
    assert doubt.u(2.0) ** 2 - plain.u(2.0) ** 2 == pytest.approx(2.25 * part**2)


@pytest.mark.parametrize(
    ("capture", "divided"),
    [("same frame", True), ("locked set-up", True), ("same set-up", True), ("other", False)],
)
@pytest.mark.parametrize("light", ["daylight", "other"])
def test_several_photos_divide_the_frame_part_where_they_should(capture, divided, light):
    conditions = Conditions(capture, light=light)
    one = pair_doubt(colour(), colour(NEAR), conditions)
    four = pair_doubt(colour(n_photos=4), colour(NEAR, n_photos=4), conditions)
    np.testing.assert_allclose(four.frame, one.frame / (4 if divided else 1))
    assert four.share == one.share
    mixed = pair_doubt(colour(n_photos=4), colour(NEAR), conditions)
    np.testing.assert_allclose(mixed.frame, one.frame * (0.625 if divided else 1))


def test_own_frame_part_never_lowers_the_default_and_stays_in_its_class():
    def frame(capture, cov, own_capture="locked set-up"):
        own = OwnFrame(np.asarray(cov), Capture(own_capture))
        return u_of(capture, own_frame=own).frame

    default = 0.16**2 * np.eye(3)
    np.testing.assert_allclose(frame("locked set-up", 0.001 * np.eye(3)), default)
    np.testing.assert_allclose(frame("locked set-up", 0.5 * np.eye(3)), 0.5 * np.eye(3))
    # learnt with locked settings, it says nothing of one frame, and more of looser set-ups
    np.testing.assert_allclose(frame("same frame", 0.5 * np.eye(3)), 0.05**2 * np.eye(3))
    np.testing.assert_allclose(frame("same set-up", 0.5 * np.eye(3)), 0.5 * np.eye(3))
    # correlated, one direction large: no direction falls under the default
    skew = np.array([[0.1, 0.09, 0], [0.09, 0.1, 0], [0, 0, 0.1]])
    values = np.linalg.eigvalsh(frame("locked set-up", skew))
    np.testing.assert_allclose(values, [0.16**2, 0.1, 0.19], atol=1e-12)


def test_without_reference_or_region_part_the_doubt_is_unknown():
    for pair in (
        (colour(reference="none"), colour()),
        (colour(cov=np.full((3, 3), np.nan)), colour()),
    ):
        diff = judge(*pair, Conditions("same frame", light="daylight", same_dyes=True))
        assert diff.verdict is Verdict.CANNOT_TELL
        assert math.isnan(diff.u_at_tolerance) and math.isnan(diff.p_within)


# --- The axes ----------------------------------------------------------------------------------


@pytest.mark.parametrize("lab", [[55, 22, 30], [30, -25, 8], [70, 3, -40], [45, 30, -1]])
@pytest.mark.parametrize("k_l", [1.0, 2.0])
def test_jacobian_against_finite_differences(lab, k_l):
    lab = np.array(lab, dtype=float)
    step = 1e-4
    columns = []
    for e in np.eye(3):
        t = difference_terms(lab, lab + step * e)
        columns.append(t.delta / (t.weights * [k_l, 1, 1]) / step)
    # a' = (1 + G) a with G frozen: G's own slope is second order here
    np.testing.assert_allclose(
        d.axes_jacobian(lab, lab, k_l), np.stack(columns, axis=1), atol=2e-4, rtol=1e-3
    )


@pytest.mark.parametrize("pair", [([50, 0, 0], [50, 0, 0]), ([50, 0, 0], [50, 0.3, -0.2]),
                                  ([50, 0.5, 0], [50, -0.5, 0])])  # fmt: skip
def test_jacobian_stays_finite_at_grey(pair):
    one, two = (np.array(p, dtype=float) for p in pair)
    j = d.axes_jacobian(one, two, 1.0)
    assert np.all(np.isfinite(j)) and np.abs(j).max() < 2.0


# --- The test at the boundary ------------------------------------------------------------------


@pytest.mark.parametrize("reading", [0.5, 1.2, 1.9, 2.0, 2.6, 3.2])
@pytest.mark.parametrize("sd", [0.3, 0.8])
def test_probabilities_against_the_noncentral_chi_square(reading, sd):
    # Equal variances and no rotation: (ΔE/sd)² is noncentral chi-square, 3 degrees of freedom.
    direction = np.array([2.0, -1.0, 2.0]) / 3.0
    within, outside = d.boundary_test(reading * direction, 0.0, sd**2 * np.eye(3), 2.0)
    exact = stats.ncx2.cdf((reading / sd) ** 2, 3, (2.0 / sd) ** 2)
    assert within == pytest.approx(exact, abs=0.012)  # three standard errors of the draws
    assert within + outside == pytest.approx(1.0, abs=1e-3)


def test_rotation_enters_the_score():
    w = np.array([0.0, 1.0, 1.0])
    terms = difference_terms([50, 5, -60], [50, 8, -62])
    score = d._score(terms.delta / terms.weights, float(terms.rotation))
    assert score == pytest.approx(float(d.delta_e_2000([50, 5, -60], [50, 8, -62])), rel=1e-12)
    assert d._score(w, -0.5) == pytest.approx(math.sqrt(1.5))


def test_a_reading_of_zero_has_no_direction_and_is_judged_all_the_same():
    # Whatever axis is taken, no draw scores 0 or less and every draw scores 0 or more.
    for rotation in (0.0, -1.2):
        assert d.boundary_test(np.zeros(3), rotation, np.diag([0.01, 0.01, 4.0]), 1.0) == (0.0, 1.0)
    assert judge(colour(), colour(), GOOD).verdict is W


LABS = st.tuples(st.floats(26, 95), st.floats(-60, 60), st.floats(-60, 60))


@settings(max_examples=40)
@given(LABS, st.tuples(*[st.floats(-4, 4)] * 3), st.sampled_from(list(Capture)))
def test_the_same_either_way_round_and_every_time(lab, step, capture):
    one, two = colour(lab), colour(np.add(lab, step))
    conditions = Conditions(capture, light="daylight")
    there, back, again = (judge(*p, conditions) for p in ((one, two), (two, one), (one, two)))
    assert there.p_within == again.p_within
    assert there.p_within == pytest.approx(back.p_within, abs=1e-3)
    assert there.u_at_tolerance == pytest.approx(back.u_at_tolerance, rel=1e-9)
    assert there.delta_e_00 == pytest.approx(
        float(d.delta_e_2000(lab, np.add(lab, step), k_l=2.0)), rel=1e-12
    )


# --- The decision ------------------------------------------------------------------------------

W, O, C = Verdict.WITHIN, Verdict.OUTSIDE, Verdict.CANNOT_TELL  # noqa: E741
DECISIONS = [
    # reading, T, u(T), p_within, p_outside, stopped, bar, verdict, gross
    (1.0, 2.0, 0.30, 0.01, 0.99, False, False, W, False),
    (1.0, 2.0, 2 / 3, 0.05, 0.95, False, False, W, False),
    (1.0, 2.0, 0.67, 0.05, 0.95, False, False, C, False),  # over T/3
    (1.0, 2.0, 0.30, 0.051, 0.949, False, False, C, False),
    (1.0, 2.0, 0.30, 0.01, 0.99, False, True, C, False),  # dark, or a channel at zero
    (1.0, 2.0, 0.30, 0.01, 0.99, True, False, C, False),
    (3.5, 2.0, 0.90, 0.98, 0.02, False, False, O, False),
    (3.5, 2.0, 0.90, 0.98, 0.02, False, True, O, False),  # outside may still be said
    (3.5, 2.0, 1.00, 0.95, 0.05, False, False, O, False),
    (3.5, 2.0, 1.01, 0.95, 0.05, False, False, C, False),  # over T/2
    (3.5, 2.0, 0.90, 0.94, 0.06, False, False, C, False),
    (12.0, 2.0, 2.0, 1.0, 0.0, False, False, O, True),  # 5 u over the tolerance
    (11.99, 2.0, 2.0, 1.0, 0.0, False, False, C, False),
    (12.0, 2.0, 2.0, 1.0, 0.0, False, True, O, True),
    (30.0, 2.0, 2.0, 1.0, 0.0, True, False, C, False),
    (1.0, 2.0, math.nan, math.nan, math.nan, False, False, C, False),
    (90.0, 2.0, math.nan, math.nan, math.nan, False, False, C, False),
]


@pytest.mark.parametrize("case", DECISIONS)
def test_decision_table(case):
    reading, tolerance, u, p_in, p_out, stopped, bar, verdict, gross = case
    found = decide(reading, tolerance, u, (p_in, p_out), stopped=stopped, bar=bar)
    assert found == (verdict, gross)


GOOD = Conditions("same frame", light="daylight", same_dyes=True)


@pytest.mark.parametrize(
    ("master", "new", "verdict"),
    [
        ({}, {}, W),
        ({"flags": frozenset({"clipped"})}, {}, W),
        ({"flags": frozenset({"clipped beyond use"})}, {}, C),
        ({}, {"flags": frozenset({"no reference"})}, C),
        ({}, {"flags": frozenset({"channel at zero"})}, C),
        ({"lab": [24.9, 5, 5]}, {"lab": [25.1, 5, 5]}, C),
        ({"lab": [25.0, 5, 5]}, {"lab": [25.1, 5, 5]}, W),
        ({"lab": [24.0, 5, 5]}, {"lab": [24.0, 25, 5]}, O),
        ({"flags": frozenset({"channel at zero"})}, {"lab": LAB + 12}, O),
        ({"flags": frozenset({"clipped beyond use"})}, {"lab": LAB + 12}, C),
    ],
)
def test_flags_and_darkness(master, new, verdict):
    diff = judge(colour(**master), colour(**new), GOOD)
    assert diff.verdict is verdict
    if verdict is C:
        assert diff.stops or diff.bars


@pytest.mark.parametrize(("capture", "verdict"), [("same frame", W), ("locked set-up", C)])
def test_a_reference_that_does_not_fit_lets_no_lot_pass_from_another_photo(capture, verdict):
    taken = Conditions(capture, 2.0, 2.0, "daylight", True)
    off = colour(flags=frozenset({"reference does not fit"}))
    diff = judge(off, colour(), taken)
    assert diff.verdict is verdict and bool(diff.bars) is (verdict is C)
    assert judge(colour(), colour(), taken).verdict is W
    assert judge(off, colour(LAB + 12), taken).verdict is O


def test_a_gross_difference_needs_no_good_photo():
    diff = judge(colour([80, 0, 60], "card"), colour([30, 40, -40], "card"), Conditions("other"))
    assert diff.verdict is O and diff.gross
    assert diff.u_at_tolerance > diff.conditions.tolerance
