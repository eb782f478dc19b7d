"""What can be measured: rounding, dilutions, and words for what is poured and weighed."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swatchvault.amounts import parse_amount
from swatchvault.errors import AmountError
from swatchvault.measuring import (
    ROUND_STEPS_ML,
    check_measurable,
    held_words,
    pour_words,
    round_measure,
    weigh_words,
)

# Common practice, no source: the steps and the 0.5 mL are our settings.


@pytest.mark.parametrize(
    ("exact", "rounded"),
    [
        (0, 0), (0.123, 0.12), (0.125, 0.13), (1.337, 1.35), (7.04, 7), (7.46, 7.5), (45.4, 45.5),
        (133.33, 133), (454, 454), (1333.3, 1335),
    ],
)  # fmt: skip
def test_round_measure(exact, rounded):
    result = round_measure(exact)
    assert result.rounded_ml == rounded
    assert result.exact_ml == exact


@given(st.floats(0, 1e5))
def test_rounding_moves_by_half_a_step_at_most_and_settles(exact):
    result = round_measure(exact)
    assert result.exact_ml == exact
    assert abs(result.rounded_ml - exact) <= result.step_ml / 2 * (1 + 1e-6)
    assert result.step_ml in {step for _, step in ROUND_STEPS_ML}
    assert round_measure(result.rounded_ml).rounded_ml == result.rounded_ml


def test_too_small_to_measure_offers_a_dilution():
    small = check_measurable(0.12)
    assert (small.measurable, small.dilute_to_parts) == (False, 10)
    assert (small.take_ml, small.make_up_to_ml) == (1, 10)
    assert small.measure_ml == pytest.approx(1.2)  # derived: 0.12 mL x 10
    assert small.words == (
        "0.12 mL is under the 0.5 mL that you can measure: dilute 1:10 (1 mL made up to 10 mL "
        "with water), then measure 1.2 mL."
    )
    assert check_measurable(0.02).dilute_to_parts == 100
    assert check_measurable(0.5).measurable
    assert check_measurable(0.12, smallest_ml=0.1).measurable
    assert check_measurable(0).measurable


def test_far_too_small_asks_for_a_weaker_stock():
    hopeless = check_measurable(1e-5)
    assert not hopeless.measurable
    assert hopeless.dilute_to_parts is None and hopeless.measure_ml is None
    assert "weaker stock" in hopeless.words


@given(st.floats(1e-4, 10), st.floats(0.01, 10))
def test_a_dilution_holds_the_same_dye_and_there_is_enough_of_it(exact, smallest):
    offer = check_measurable(exact, smallest)
    if offer.measure_ml is not None:
        assert not offer.measurable and exact < smallest
        assert offer.measure_ml / offer.dilute_to_parts == pytest.approx(exact)
        assert smallest <= offer.measure_ml <= offer.make_up_to_ml
        assert offer.make_up_to_ml == pytest.approx(offer.take_ml * offer.dilute_to_parts)


@pytest.mark.parametrize("bad", [-1, math.nan, math.inf, None])
def test_measuring_refuses_nonsense(bad):
    with pytest.raises(AmountError):
        round_measure(bad)
    with pytest.raises(AmountError):
        check_measurable(bad)
    with pytest.raises(AmountError):
        check_measurable(1, smallest_ml=bad)


@given(ml=st.floats(0.5, 1e5))
def test_poured_volumes_are_near_and_read_back(ml):
    words, hint = pour_words(ml)
    assert hint is None
    assert parse_amount(words).ml == pytest.approx(ml, rel=0.03)


def test_what_is_weighed_is_told_as_a_scale_shows_it():
    assert weigh_words(0.05)[1] is not None
    assert weigh_words(2.504) == ("2.5 g", None)


def test_the_dye_in_what_is_poured_is_that_of_the_rounded_volume():
    assert held_words(9.08, 908.0, "910 mL") == "9.1 g"
    assert held_words(0.0, 0.0, "0 mL") == "0 g"
