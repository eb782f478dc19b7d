"""The verdict on a pair: the test at the boundary, tables of decisions, and laws."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

import ingest.colour
from ingest.colour import difference_terms
from swatchvault import difference as d
from swatchvault.difference import Verdict, decide, judge
from swatchvault.pair import Capture, Colour, Conditions
from swatchvault.pairdoubt import pair_doubt

LAB = np.array([55.0, 22.0, 30.0])
NEAR = LAB + np.array([0.6, 0.4, -0.5])
ZERO = np.zeros((3, 3))
SMALL = 0.01 * np.eye(3)


def colour(lab=LAB, reference="steps", cov=SMALL, **known):
    return Colour(np.asarray(lab, dtype=float), cov, reference, **known)


def test_delta_e_2000_is_offered_again():
    assert d.delta_e_2000 is ingest.colour.delta_e_2000


def test_without_reference_or_region_part_the_doubt_is_unknown():
    for pair in (
        (colour(reference="none"), colour()),
        (colour(cov=np.full((3, 3), np.nan)), colour()),
    ):
        diff = judge(*pair, Conditions("same frame", light="daylight", same_dyes=True))
        assert diff.verdict is Verdict.CANNOT_TELL
        assert math.isnan(diff.u_at_tolerance) and math.isnan(diff.p_within)


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


@pytest.mark.parametrize("flag", ["card in shadow", "reference does not fit"])
@pytest.mark.parametrize("capture", ["same frame", "locked set-up"])
def test_no_two_photos_are_held_together_where_a_reference_is_shaded_or_does_not_fit(capture, flag):
    taken = Conditions(capture, 2.0, 2.0, "daylight", True)
    off, apart = colour(LAB, "card", flags=frozenset({flag})), capture != "same frame"
    for one, other in ((off, colour(LAB + 12)), (colour(LAB + 12), off)):
        diff = judge(one, other, taken)
        assert diff.verdict is (C if apart else O) and bool(diff.stops) is apart
    assert judge(off, colour(), taken).verdict is (C if apart else W)
    assert judge(colour(), colour(), taken).verdict is W


def test_a_shadow_that_nothing_shows_the_end_of_stops_within_one_frame_too():
    taken = Conditions("same frame", 2.0, 2.0, "daylight", True)
    both = frozenset({"card in shadow", "light not seen"})
    diff = judge(colour(LAB, "card", flags=both), colour(LAB + 12, "card", flags=both), taken)
    assert diff.verdict is C and any("shadow edge" in stop for stop in diff.stops)
    for alone in both:
        one, other = (colour(lab, "card", flags=frozenset({alone})) for lab in (LAB, LAB + 12))
        assert judge(one, other, taken).verdict is O


@pytest.mark.parametrize("reference", ["card", "steps", "chart24"])
def test_a_shadow_across_steps_or_a_chart_stops_within_one_frame(reference):
    """The curve through its greys is bent: a true 2.7 had read 1.6, and was called within."""
    taken = Conditions("same frame", 2.0, 2.0, "daylight", True)
    shaded = {"flags": frozenset({"card in shadow"}), "reference": reference}
    diff = judge(colour(**shaded), colour(LAB + 12, **shaded), taken)
    assert diff.verdict is (O if reference == "card" else C)
    assert bool(diff.stops) is (reference != "card")


def test_a_reference_that_does_not_fit_tells_distances_as_one_card_does():
    taken = Conditions("same frame", 2.0, 2.0, "daylight", True)
    misfit = frozenset({"reference does not fit"})
    steps, off = (colour(reference="steps", flags=f) for f in (frozenset(), misfit))
    card = colour(reference="card")
    doubts = [pair_doubt(c, c, taken).share for c in (steps, off, card)]
    assert doubts[0] < doubts[1] == doubts[2]


@pytest.mark.parametrize("capture", ["same frame", "locked set-up"])
def test_a_region_that_may_hold_two_things_is_judged_only_where_both_do(capture):
    taken = Conditions(capture, 2.0, 2.0, "daylight", True)
    two, off = frozenset({"perhaps two swatches"}), colour(LAB + 12)
    for one, other in ((colour(flags=two), off), (off, colour(flags=two))):
        diff = judge(one, other, taken)
        assert diff.verdict is C and len(diff.stops) == 1
    assert judge(colour(flags=two), colour(LAB + 12, flags=two), taken).verdict is O
    assert judge(colour(flags=two), colour(flags=two), taken).verdict is W


def test_a_gross_difference_needs_no_good_photo():
    diff = judge(colour([80, 0, 60], "card"), colour([30, 40, -40], "card"), Conditions("other"))
    assert diff.verdict is O and diff.gross
    assert diff.u_at_tolerance > diff.conditions.tolerance
