"""Numbers as people type them, and what a card or steps reflect."""

import click
import pytest

from swatchvault.archive.mend_base import read_fibres
from swatchvault.commands.options import NUMBER
from swatchvault.errors import AmountError, ArchiveError, SwatchvaultError
from swatchvault.potclock import check_left
from swatchvault.recipe_typed import TypedPart, TypedRecipe, read_recipe
from swatchvault.revision import read_depth, read_step
from swatchvault.shades import parse_target
from swatchvault.typed_numbers import (
    ambiguous_words,
    lightest_first,
    numbers,
    plain_number,
    read_number,
    read_percent,
    read_values,
    reflectances,
)
from swatchvault.web.typed import number, percent
from tests.swatchvault.running import run


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
    assert read_number(" 2,5 ", "the price") == read_percent("2,5 %") == 2.5
    for typed in ("much", "", "nan", "inf", "1,250,000"):
        with pytest.raises(AmountError, match=f"the price cannot be read from '{typed}': wr"):
            read_number(typed, "the price")


def part_of(share):
    """A recipe of two parts, the first of that share, and what is wrong with it."""
    parts = (TypedPart("tip", share, (("Ember", "1"),)), TypedPart("rest", "50", steps="rinse"))
    return read_recipe(TypedRecipe("Low sun", base="Lumme", parts=parts))


def share(typed):
    """The share of a part; raises what the form says of it."""
    read = part_of(typed)
    if read.recipe is None:
        raise SwatchvaultError(" ".join(read.problems))
    return read.recipe.parts[0].share_percent


#: Every reader of a number that a person types alone: what it reads it as.
ALONE = {
    "an option": lambda typed: NUMBER.convert(typed, None, None),
    "a field of a page": lambda typed: number(typed, "the price"),
    "per cent on a page": lambda typed: percent(f"{typed} %", "the depth"),
    "a depth of shade": lambda typed: read_depth("Ember", typed),
    "a temperature": lambda typed: read_step(f"hold, {typed} C").temperature_c,
    "minutes": lambda typed: read_step(f"hold {typed} min").minutes,
    "a part's share": share,
    "colour left": lambda typed: float(check_left(f"{typed} %").removesuffix(" %")),
    "fibres": lambda typed: read_fibres(f"{typed} % wool; {100 - 12.5:g} % silk")["wool"],
}


@pytest.mark.parametrize("reader", ALONE)
def test_a_comma_before_three_digits_is_asked_back_wherever_a_number_is_typed(reader):
    assert ALONE[reader]("12,5") == ALONE[reader]("12.5") == ALONE[reader]("12.500") == 12.5
    with pytest.raises((ValueError, click.UsageError)) as refused:
        ALONE[reader]("12,500")
    assert "'12,500': the comma may be decimal or thousands: write 12.500 or 12500" in str(
        getattr(refused.value, "message", refused.value)
    )


@pytest.mark.parametrize(
    "command",
    [
        ("sums", "cost", "--powder", "Ember 250 g at {}"),
        ("sums", "dye", "100 g", "Ember {} from 3"),
        ("sums", "dye", "100 g", "Ember 1 from {}"),
        ("sums", "stock", "100 g", "80 mL of {}"),
        ("sums", "acid", "acetic {} g/100 mL", "--dilute-to", "1", "--make-up-to", "1 L"),
        ("sums", "acid", "acetic 5 g/100 g density {}", "--dilute-to", "1", "--make-up-to", "1 L"),
    ],
)
def test_a_comma_before_three_digits_is_asked_back_within_a_sum(capsys, command):
    def said(typed):
        return run(capsys, *(word.format(typed) for word in command))

    assert said("1,25").code == 0
    assert said("1,25").out.replace("1,25", "1.25") == said("1.25").out
    refused = said("1,250")
    assert refused.code == 1 and len(refused.err.splitlines()) == 1
    assert "'1,250': the comma may be decimal or thousands: write 1.250 or 1250" in refused.err


def test_a_colour_has_no_thousands():
    for typed in ("42,125 -5,250 18,125", "L* 42,125 a* -5,250 b* 18,125"):
        assert list(parse_target(typed).lab) == [42.125, -5.25, 18.125]


@pytest.mark.parametrize(
    ("typed", "kind", "want"),
    [
        ("0,18", "card", (0.18,)),
        ("18 %", "card", (0.18,)),
        ("90% 59% 36%", "steps", (0.9, 0.59, 0.36)),
        ("90%, 59%, 36%", "steps", (0.9, 0.59, 0.36)),
        ("90 %; 59 %; 36 %", "steps", (0.9, 0.59, 0.36)),
        ("0.03 0.2 0.9", "steps", (0.03, 0.2, 0.9)),
    ],
)
def test_reflectances(typed, kind, want):
    assert reflectances(typed, kind) == pytest.approx(want)


@pytest.mark.parametrize(
    ("typed", "kind", "words"),
    [
        ("18", "card", "up to 1: 18 % is 0.18"),
        ("0.05 0.2 1.05", "steps", "a density of 1.05 is 0.0891"),
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
