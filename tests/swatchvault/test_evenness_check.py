"""A lot's evenness against its master's, as a table, and what holds at the boundaries."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swatchvault.evenness_check import (
    AT_BOUNDARY,
    LEAST_TOLERANCE,
    ONE_SIDED,
    PAIR,
    TOO_WIDE,
    Chances,
    Tonal,
    compare_evenness,
    decide,
    tolerance_for,
)
from swatchvault.evenness_read import STOPS, Evenness


def even(unevenness, u=0.1, form="skein", method="1", **more):
    return Evenness(unevenness, u, form, method, **more)


@pytest.mark.parametrize(
    ("difference", "as_tonal", "more", "less", "verdict"),
    [
        (0.1, 0.01, 0.3, 0.7, Tonal.AS),
        (0.1, 0.05, 0.3, 0.7, Tonal.AS),
        (0.1, 0.06, 0.3, 0.7, Tonal.CANNOT_TELL),
        (0.9, 0.80, 0.05, 0.95, Tonal.MORE),
        (0.9, 0.80, 0.06, 0.94, Tonal.CANNOT_TELL),
        (0.5, 0.50, 0.01, 0.99, Tonal.CANNOT_TELL),  # at the tolerance and no more
        (-0.9, 0.80, 0.95, 0.05, Tonal.LESS),
        (-0.5, 0.50, 0.99, 0.01, Tonal.CANNOT_TELL),
        (0.4, 0.05, 0.01, 0.99, Tonal.AS),  # certainly a little more, and within the tolerance
    ],
)
def test_the_decision(difference, as_tonal, more, less, verdict):
    assert decide(difference, 0.5, Chances(as_tonal, more, less)) is verdict


@pytest.mark.parametrize(
    ("master", "new", "verdict"),
    [
        (0.5, 0.5, Tonal.AS),
        (0.5, 1.6, Tonal.MORE),
        (1.6, 0.5, Tonal.LESS),
        (0.5, 0.95, Tonal.CANNOT_TELL),
        (0.0, 0.0, Tonal.AS),
        (0.1, 0.0, Tonal.AS),  # nothing is a tolerance more even than a solid
    ],
)
def test_readings_become_verdicts(master, new, verdict):
    assert compare_evenness(even(master), even(new), 0.5).verdict is verdict


@pytest.mark.parametrize(
    ("kind", "new", "verdict"),
    [
        ("semi-solid", 0.04, Tonal.CANNOT_TELL),
        ("semi-solid", 0.40, Tonal.AS),
        ("solid", 0.04, Tonal.AS),
    ],
)
def test_a_tolerance_wider_than_the_master_is_uneven_lets_no_solid_pass(kind, new, verdict):
    found = compare_evenness(even(0.5, 0.1, kind=kind), even(new, 0.02, kind="solid"), 0.65)
    assert found.verdict is verdict
    assert (TOO_WIDE in found.sentences) is (verdict is Tonal.CANNOT_TELL)
    assert (ONE_SIDED in found.sentences) is (verdict is Tonal.AS and kind == "semi-solid")
    assert "Were it a tolerance more tonal, a reading this low" in found.sentences[-1]


def test_a_tolerance_that_ends_above_none_is_tested_on_both_sides():
    found = compare_evenness(even(0.5, kind="semi-solid"), even(0.5, kind="semi-solid"), 0.4)
    assert found.verdict is Tonal.AS and found.reasons == ()
    assert "Were it a tolerance away, a reading this near" in found.sentences[-1]


@pytest.mark.parametrize(
    ("new", "verdict", "said", "unsaid"),
    [
        (0.5, Tonal.AS, ("a tolerance away", "this near"), ("as even as the master",)),
        (1.6, Tonal.MORE, ("as even as the master", "this high", "under 1 %"), ("near", "low")),
        (0.1, Tonal.LESS, ("as even as the master", "this low"), ("near", "high")),
        (0.95, Tonal.CANNOT_TELL, ("this near", "this high", "this low"), ()),
    ],
)
def test_a_verdict_comes_with_the_chance_that_it_rests_on(new, verdict, said, unsaid):
    master = even(1.6 if verdict is Tonal.LESS else 0.5)
    found = compare_evenness(master, even(new), 0.45)
    assert found.verdict is verdict
    (told,) = [s for s in found.sentences if s.startswith("Were it")]
    assert all(words in told for words in said) and not [w for w in unsaid if w in told]
    assert verdict is Tonal.CANNOT_TELL or "over 99 %" not in told


def test_doubt_takes_the_verdict_away():
    assert compare_evenness(even(0.5, 0.8), even(1.6, 0.8), 0.5).verdict is Tonal.CANNOT_TELL
    assert compare_evenness(even(0.5, 0.5), even(0.5, 0.5), 0.5).verdict is Tonal.CANNOT_TELL


@pytest.mark.parametrize(
    ("master", "new", "said"),
    [
        (even(0.5), even(0.5, form="knit"), "within one form"),
        (even(0.5), even(0.5, method="2"), "swatchvault remeasure"),
        (even(0.5), even(math.nan, math.nan), "not measured"),
        (even(0.5), even(0.5, flags=frozenset({"out of focus"})), "out of focus"),
        (even(0.5), even(5.0, between=("semi-solid", "variegated")), "semi-solid from variegated"),
        (even(0.5), even(5.0, between=("variegated", "gradient")), "variegated from gradient"),
        (even(0.5, flags=frozenset({"scale estimated"})), even(0.5), "Of the master"),
    ],
)
def test_what_is_not_alike_is_not_compared_and_says_why(master, new, said):
    found = compare_evenness(master, new, 0.5)
    assert found.verdict is Tonal.CANNOT_TELL
    assert any(said in reason for reason in found.reasons)
    assert found.record()["p_as"] is None


def test_a_class_between_solid_and_semi_solid_can_be_compared():
    between = even(0.4, kind=None, between=("solid", "semi-solid"))
    assert compare_evenness(even(0.4), between, 0.5).verdict is Tonal.AS


def test_every_flag_that_stops_stands_in_the_registry():
    from ingest.flags import FLAGS

    assert set(STOPS) <= set(FLAGS)


def test_the_tolerance_follows_the_masters_doubt_and_never_falls_under_the_least():
    assert tolerance_for(even(0.1, 0.01)) == LEAST_TOLERANCE
    assert tolerance_for(even(2.0, 0.5)) == pytest.approx(2 * math.sqrt(2) * PAIR * 0.5)


VALUES = st.floats(0.0, 6.0)
DOUBTS = st.floats(0.02, 1.0)


@given(VALUES, VALUES, DOUBTS, DOUBTS, st.floats(0.3, 3.0))
def test_more_of_one_is_less_of_the_other_and_no_word_errs_at_its_boundary(a, b, u, v, tolerance):
    one, other = even(a, u), even(b, v)
    there = compare_evenness(one, other, tolerance)
    back = compare_evenness(other, one, tolerance)
    assert {there.verdict, back.verdict} != {Tonal.MORE}
    assert {there.verdict, back.verdict} != {Tonal.LESS}
    if there.verdict is Tonal.AS:
        assert there.chances.as_tonal <= AT_BOUNDARY
        assert abs(b - a) <= tolerance
    if there.verdict is Tonal.MORE:
        assert there.chances.more <= AT_BOUNDARY
        assert b - a > tolerance


def test_the_record_reads_as_the_measurement_wrote_it():
    record = {
        "unevenness": 1.2,
        "u_unevenness": 0.2,
        "class": "semi-solid",
        "between": None,
        "method": "evenness 1",
        "reasons": ["not for a semi-solid"],
    }
    found = Evenness.of_record(record, "knit", frozenset({"glare"}))
    want = Evenness(1.2, 0.2, "knit", "evenness 1", "semi-solid", (), frozenset({"glare"}))
    assert found == want
    assert Evenness.of_record(None, "knit").why_not is not None
    solid = Evenness.of_record({**record, "class": "solid", "reasons": ["a note"]}, "knit")
    assert solid.notes == ("a note",)


def test_the_words_name_both_figures_and_the_tolerance():
    found = compare_evenness(even(0.5, kind="solid"), even(1.6, kind="semi-solid"), 0.5)
    assert found.words == (
        "Evenness: more tonal than the master; semi-solid, 1.60 ± 0.10 against solid, "
        "0.50 ± 0.10, tolerance 0.5."
    )
    assert found.record()["verdict"] == "more tonal"


def test_a_lot_without_a_class_is_told_by_its_range_alone():
    vague = even(0.4, 0.3, kind=None, between=("solid", "semi-solid"), span=(0.0, 1.1))
    found = compare_evenness(even(0.4, kind="semi-solid"), vague, 0.5)
    assert "; somewhere between 0.0 and 1.1 against semi-solid, 0.40" in found.words
    assert even(0.4, span=(0.2, 0.6), kind="solid").span_alone == ""
