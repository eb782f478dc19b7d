"""Amounts: what can be typed, what it is in mL or g, and what is refused in one line."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swatchvault.amounts import (
    UNITS,
    SpoonSizes,
    check_number,
    format_quantity,
    parse_amount,
)
from swatchvault.errors import AmountError, SwatchvaultError


@pytest.mark.parametrize(
    ("text", "value", "unit", "si_value", "si_unit"),
    [
        ("12 mL", 12, "mL", 12, "mL"),
        ("12ml", 12, "mL", 12, "mL"),
        ("12 ML", 12, "mL", 12, "mL"),
        ("0.5 Litres", 0.5, "L", 500, "mL"),
        (".5 l", 0.5, "L", 500, "mL"),
        ("2,5 g", 2.5, "g", 2.5, "g"),
        ("0,125 L", 0.125, "L", 125, "mL"),
        ("1,2345 g", 1.2345, "g", 1.2345, "g"),
        ("1.250 kg", 1.25, "kg", 1250, "g"),
        # common practice, no single source: 5, 15 and 240 mL
        ("1/2 tsp", 0.5, "tsp", 2.5, "mL"),
        ("½ tsp.", 0.5, "tsp", 2.5, "mL"),
        ("1½ cups", 1.5, "cup", 360, "mL"),
        ("1 1/2 cup", 1.5, "cup", 360, "mL"),
        ("1-1/2 CUP", 1.5, "cup", 360, "mL"),
        ("2 Tablespoons", 2, "tbsp", 30, "mL"),
        ("  3   tbsp ", 3, "tbsp", 45, "mL"),
        # NIST Handbook 44, appendix C, exact values
        ("1 fl oz", 1, "fl oz", 29.5735295625, "mL"),
        ("2 Fl. Oz.", 2, "fl oz", 59.147059125, "mL"),
        ("1 fluid ounce", 1, "fl oz", 29.5735295625, "mL"),
        ("1 oz", 1, "oz", 28.349523125, "g"),
        ("1 lb", 1, "lb", 453.59237, "g"),
        ("3 pounds", 3, "lb", 1360.77711, "g"),
        ("0 mL", 0, "mL", 0, "mL"),
    ],
)
def test_reads(text, value, unit, si_value, si_unit):
    amount = parse_amount(text)
    assert amount.typed == text
    assert (amount.value, amount.unit, amount.si_unit) == (value, unit, si_unit)
    assert amount.si_value == pytest.approx(si_value, rel=1e-15)
    assert parse_amount(text, bare="g") == amount  # what was typed is meant


@pytest.mark.parametrize(("text", "typed", "g"), [("150", "150 g", 150), (" 2,5 ", "2,5 g", 2.5)])
def test_a_bare_number_is_what_only_can_be_meant(text, typed, g):
    amount = parse_amount(text, bare="g")
    assert (amount.typed, amount.g) == (typed, g)
    assert parse_amount(text, bare="mL").ml == g
    with pytest.raises(AmountError, match="it has no unit"):
        parse_amount(text)
    with pytest.raises(AmountError, match=r"write 1\.500 or 1500"):
        parse_amount("1,500", bare="g")


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "mL", "12", "-3 g", "+3 g", "nan g", "inf mL", "1e3 mL", "1 000 g", "1,000.5 g",
        "1.000,5 g", "1/0 cup", "1.5/2 cup", "1 1.5 cup", "12 drops", "3 gr", "1 T", "5 % g", "--",
        "12 mL 3 g", "1..5 g", "1. g", "٣ g", "12 mL\n; g", "9" * 400 + " g", "9999999999 kg",
    ],
)  # fmt: skip
def test_refuses_in_one_line_that_says_what_was_found_and_the_units(text):
    with pytest.raises(AmountError) as caught:
        parse_amount(text)
    said = str(caught.value)
    assert "\n" not in said
    assert repr(text[:40])[1:-1] in said
    assert all(unit in said for unit in UNITS)
    assert isinstance(caught.value, SwatchvaultError) and isinstance(caught.value, ValueError)


def test_a_comma_that_may_be_thousands_is_asked_about():
    with pytest.raises(AmountError, match=r"write 1\.000 or 1000"):
        parse_amount("1,000 g")
    with pytest.raises(AmountError, match="decimal or thousands"):
        parse_amount("12,500 mL")


def test_text_only():
    with pytest.raises(AmountError):
        parse_amount(12)


def test_spoon_sizes_are_a_setting():
    metric = SpoonSizes(tsp_ml=5, tbsp_ml=20, cup_ml=250)
    assert parse_amount("2 tbsp", metric).ml == 40
    assert parse_amount("1 cup", metric).ml == 250
    for nonsense in (0, -5, math.nan, math.inf, None):
        with pytest.raises(AmountError):
            SpoonSizes(tsp_ml=nonsense)


def test_a_volume_is_never_a_mass():
    spoon = parse_amount("1 tsp")
    assert spoon.ml == 5
    with pytest.raises(AmountError, match="never turned into a mass"):
        _ = spoon.g
    with pytest.raises(AmountError):
        _ = parse_amount("1 oz").ml
    assert parse_amount("2 g").g == 2


@given(st.floats(0, 1e8), st.sampled_from(UNITS))
def test_what_is_printed_reads_back_the_same(value, unit):
    again = parse_amount(format_quantity(value, unit))
    assert (again.value, again.unit) == (value, unit)


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused(text):
    try:
        amount = parse_amount(text)
    except AmountError as error:
        assert len(str(error).splitlines()) == 1
    else:
        assert math.isfinite(amount.si_value) and amount.si_value >= 0


@given(st.integers(0, 99), st.integers(1, 99), st.integers(1, 99))
def test_fractions(whole, top, bottom):
    read = parse_amount(f"{whole} {top}/{bottom} g").value
    assert read == pytest.approx(whole + top / bottom, rel=1e-14)


def test_format_has_no_exponent():
    assert format_quantity(1e-7, "g") == "0.0000001 g"
    assert format_quantity(123456.0, "mL", 3) == "123000 mL"
    assert format_quantity(-0.0, "mL") == "0 mL"


def test_check_number_bounds():
    assert check_number("x", 1, unit="g", low=1, high=1) == 1.0
    for bad in (math.nan, math.inf, -math.inf, 1e13, 10**400, None, "3", True, 1j):
        with pytest.raises(AmountError, match="x is"):
            check_number("x", bad, unit="g")
    with pytest.raises(AmountError, match="more than 0"):
        check_number("x", 0, unit="g", above=0)
