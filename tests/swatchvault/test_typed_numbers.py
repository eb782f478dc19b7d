"""Numbers as people type them, and what a card or steps reflect."""

import pytest

from swatchvault.errors import AmountError, ArchiveError
from swatchvault.typed_numbers import (
    ambiguous_words,
    lightest_first,
    numbers,
    plain_number,
    read_values,
    reflectances,
)


@pytest.mark.parametrize(
    "typed",
    [
        "0.9,0.59,0.36",
        "0.9, 0.59, 0.36",
        "0.9 0.59 0.36",
        "0,9 0,59 0,36",
        "0,9;0,59;0,36",
        "0,9; 0,59; 0,36",
        " 0.9 ; 0.59 ; 0.36 ",
        "0,9, 0,59, 0,36",
    ],
)
def test_numbers_are_read_with_points_and_with_commas(typed):
    assert numbers(typed) == (0.9, 0.59, 0.36)


@pytest.mark.parametrize("typed", ["", "0.9 x", "0.9,,0.5", "%"])
def test_what_is_no_list_of_numbers_is_refused(typed):
    with pytest.raises(ValueError, match=r"float|number"):
        numbers(typed)


def test_one_number_and_what_may_be_thousands():
    assert plain_number("2,5") == plain_number(" 2.5 ") == 2.5
    assert ambiguous_words("1,250") == "write 1.250 or 1250"
    assert ambiguous_words("0,125") is None


@pytest.mark.parametrize(
    ("typed", "kind", "want"),
    [
        ("0,18", "card", (0.18,)),
        ("18 %", "card", (0.18,)),
        ("90% 59% 36%", "steps", (0.9, 0.59, 0.36)),
        ("0.03 0.2 0.9", "steps", (0.03, 0.2, 0.9)),
    ],
)
def test_reflectances(typed, kind, want):
    assert reflectances(typed, kind) == pytest.approx(want)


@pytest.mark.parametrize(
    ("typed", "kind", "words"),
    [
        ("18", "card", "up to 1: 18 % is 0.18"),
        ("0.9 0.95 0.1", "steps", "0.9 and 0.95 out of order"),
        ("0.9 0.9 0.1", "steps", "out of order"),
        ("0", "card", "above 0"),
        ("nan", "card", "above 0"),
        ("0.9,0.1", "card", "one reflectance"),
        ("0.9", "steps", "a reflectance for each step"),
    ],
)
def test_reflectances_that_cannot_be(typed, kind, words):
    with pytest.raises(AmountError) as stop:
        reflectances(typed, kind)
    assert words in str(stop.value)


def test_steps_are_turned_to_begin_with_the_lightest():
    assert lightest_first((0.03, 0.2, 0.9)) == lightest_first((0.9, 0.2, 0.03)) == (0.9, 0.2, 0.03)


def test_a_charts_values_may_have_decimal_commas(tmp_path):
    table = tmp_path / "chart.csv"
    table.write_text("37,5;13,2;14,1\n" * 24)
    assert read_values(table)[0] == (37.5, 13.2, 14.1)
    table.write_text("37.5,13.2,14.1\n" * 24)
    assert read_values(table)[0] == (37.5, 13.2, 14.1)
    table.write_text("37.5,13.2\n" * 24)
    with pytest.raises(ArchiveError, match="three numbers"):
        read_values(table)
