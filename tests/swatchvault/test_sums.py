"""`sums` and `cautions`: what the command line says of the sums."""

import json
from decimal import Decimal

import pytest

from swatchvault.cautions import CAUTION_CARD, CAUTION_LINE
from swatchvault.costs import CostItem
from swatchvault.errors import AmountError
from swatchvault.sums_typed import read_used
from tests.swatchvault.running import run


def test_one_dye_of_a_stock_is_told_in_grams_and_millilitres(capsys):
    ran = run(capsys, "sums", "dye", "454 g", "Ember 2 from 1")
    assert ran.code == 0
    assert "Ember, 2 % depth of shade: 910 mL of stock 1 % (9.1 g of dye)" in ran.out


def test_several_dyes_at_once_and_powder(capsys):
    ran = run(capsys, "sums", "dye", "100 g", "Ember 0.8 from 1", "Tarn 0.2")
    assert "Ember, 0.8 % depth of shade: 80 mL" in ran.out
    assert "Tarn, 0.2 % depth of shade: 0.2 g of powder" in ran.out
    assert "together 1 % on 100 g" in ran.out


def test_json_keeps_full_precision_where_words_round(capsys):
    ran = run(capsys, "sums", "dye", "100 g", "Ember 0.12345 from 1", "--json")
    dose = json.loads(ran.out)["doses"][0]
    assert dose["stock_ml"] == pytest.approx(12.345, abs=1e-12)
    assert "12.5 mL of stock" in run(capsys, "sums", "dye", "100 g", "Ember 0.12345 from 1").out


def test_a_volume_too_small_to_measure_offers_its_dilution(capsys):
    ran = run(capsys, "sums", "dye", "100 g", "Ember 0.002 from 1")
    assert "dilute 1:10 (1 mL made up to 10 mL with water), then measure 2 mL" in ran.out
    assert "dilute" not in run(
        capsys, "sums", "dye", "100 g", "Ember 0.002 from 1", "--smallest", "0.1"
    ).out  # fmt: skip


def test_depth_from_stocks_is_the_way_back(capsys):
    ran = run(capsys, "sums", "stock", "100 g", "80 mL of 1", "4 tsp of 1 %")
    assert "80 mL of 1: 0.8 % depth of shade" in ran.out
    assert "together 1 %" in ran.out


@pytest.mark.parametrize(
    "arguments", [("1 L", "1.5"), ("1000 mL", "--powder", "15 g"), ("1 l", "--powder", "0.015 kg")]
)
def test_a_stock_is_made_up_to_its_volume(capsys, arguments):
    ran = run(capsys, "sums", "mix", *arguments)
    assert "a stock of 1.5 %: 15 g of powder made up to 1000 mL" in ran.out
    assert "do not add it to 1000 mL" in ran.out


def test_acid_in_terms_of_another(capsys):
    asked = ("--amount", "20 mL", "--as", "citric anhydrous 50 g/100 mL")
    ran = run(capsys, "sums", "acid", "acetic 5 g/100 mL", *asked)
    # 1 g of acetic acid is 1/60.052 mol, citric 192.123/3 g a mole of protons: 1.0664 g.
    assert "2.15 mL of citric anhydrous 50 g/100 mL, or 1.07 g" in ran.out
    assert "not equal pH" in ran.out


def test_acid_diluted_is_poured_into_water(capsys):
    asked = ("--dilute-to", "5", "--make-up-to", "500 mL")
    ran = run(capsys, "sums", "acid", "acetic 60 g/100 mL", *asked)
    assert "41.5 mL of acetic 60 g/100 mL, made up to 500 mL" in ran.out
    assert "pour 41.67 mL of acid into it" in ran.out
    by_mass = run(capsys, "sums", "acid", "acetic 60 g/100 g density 1.06", *asked, "--json")
    assert json.loads(by_mass.out)["acid_ml"] == pytest.approx(500 * 5 / (60 * 1.06))


DILUTED = ("--dilute-to", "5", "--make-up-to", "1 L")
IN_100_ML, BY_MASS = '"acetic 56 g/100 mL"', '"acetic 56 g/100 g density 1.06"'


@pytest.mark.parametrize(
    ("typed", "forms"),
    [
        ("acetic 56 %", (IN_100_ML, BY_MASS)),
        ("acetic 56", (IN_100_ML, BY_MASS)),
        ("acetic 56 g/100 g", (BY_MASS,)),
        ("acetic 56 % by mass", (BY_MASS,)),
        ("acetic 56 % by weight", (BY_MASS,)),
        ("acetic of 56 percent", ('"acetic 5 g/100 mL"', BY_MASS)),
        ("citric 50 g/100 mL", ('"citric anhydrous 50 g/100 mL"',)),
    ],
)
def test_an_acid_that_is_not_told_in_full_is_answered_with_what_to_type(capsys, typed, forms):
    said = run(capsys, "sums", "acid", typed, *DILUTED)
    assert said.code == 1 and len(said.err.splitlines()) == 1
    for form in forms:
        assert form in said.err
        assert run(capsys, "sums", "acid", form.strip('"'), *DILUTED).code == 0


def test_by_mass_can_be_said_in_words(capsys):
    plain = run(capsys, "sums", "acid", "acetic 56 g/100 g density 1.06", *DILUTED, "--json").out
    for typed in ("acetic 56 % by mass density 1.06", "acetic 56 by weight, density 1,06 g/mL"):
        assert run(capsys, "sums", "acid", typed, *DILUTED, "--json").out == plain


def test_water_is_what_the_stocks_leave(capsys):
    ran = run(capsys, "sums", "water", "100 g", "30", "80 mL", "20 mL")
    assert "liquor 3000 mL" in ran.out
    assert "water to put in 2900 mL" in ran.out


def test_cost_of_lot_and_skeins(capsys):
    powder, base = "Ember 2.5 g at 90", "Lumme 200 g at 58"
    skeins = ("--skein", "50 g", "--skein", "150 g")
    ran = run(capsys, "sums", "cost", "--powder", powder, "--base", base, *skeins, "--json")
    cost = json.loads(ran.out)
    assert cost["total_cost"] == pytest.approx(0.225 + 11.6)
    assert cost["skein_costs"] == pytest.approx([11.825 / 4, 11.825 * 3 / 4])
    said = run(capsys, "sums", "cost", "--powder", powder, "--base", base, *skeins).out
    assert "shared by weight over 200 g, the skeins named" in said
    assert "over the skeins" not in run(capsys, "sums", "cost", "--base", base).out
    assert cost["time_cost"] is None
    some = run(capsys, "sums", "cost", "--powder", powder, "--base", base, "--skein", "50 g").out
    told = some.partition("the lot 11.83\n")[2].splitlines()
    assert told == [
        "skein of 50 g 2.96",
        "the other 150 g of base, no skein named 8.87",
        "shared by weight over 200 g, the skeins and that rest",
    ]


def test_powder_and_base_of_a_cost_are_in_grams_where_no_unit_is_said(capsys):
    asked = ("sums", "cost", "--powder", "Ember 2.5 at 90", "--base", "Lumme 200 at 58", "--json")
    assert json.loads(run(capsys, *asked).out)["total_cost"] == pytest.approx(0.225 + 11.6)
    ran = run(capsys, "sums", "cost", "--auxiliary", "vinegar 40 at 1.2")
    assert ran.code == 1 and "has no unit" in ran.err  # of weight or volume


def test_an_auxiliary_is_priced_by_the_kilogram_or_the_litre(capsys):
    ran = run(capsys, "sums", "cost", "--auxiliary", "vinegar 8 tsp at 1.2", "--json")
    assert json.loads(ran.out)["auxiliary_cost"] == pytest.approx(40 * 1.2 / 1000)
    ran = run(capsys, "sums", "cost", "--auxiliary", "salt 40 g at 1.2", "--json")
    assert json.loads(ran.out)["auxiliary_cost"] == pytest.approx(40 * 1.2 / 1000)


def figures(lines):
    """The money at the end of each line."""
    return [Decimal(line.rsplit(" ", 1)[1]) for line in lines]


@pytest.mark.parametrize(
    "skeins", [("150", "100"), ("100", "100", "100"), ("50",), ("200",), ("33.3", "66.6", "100.1")]
)
@pytest.mark.parametrize("powder", ["Ember 1.6 g at 90.6", "Ember 1.55 g at 91", "Ember 1 g at 5"])
def test_what_is_shown_of_a_cost_adds_up(capsys, powder, skeins):
    asked = ("--powder", powder, "--base", "Lumme 200 g at 58", "--auxiliary", "salt 7 g at 1.9")
    told = [word for weight in skeins for word in ("--skein", weight)]
    lines = run(capsys, "sums", "cost", *asked, *told).out.splitlines()
    end = next(i for i, line in enumerate(lines) if line.startswith("the lot"))
    (total,) = figures([lines[end]])
    assert sum(figures(line for line in lines[:end] if "not counted" not in line)) == total
    shares = [x for x in lines[end + 1 :] if x.startswith(("skein of", "the other"))]
    assert len(shares) >= len(skeins)
    assert sum(figures(shares)) == total


def test_shares_that_were_rounded_to_add_up_say_so(capsys):
    asked = ("--powder", "Ember 1.6 g at 90.6", "--base", "Lumme 200 g at 58")
    ran = run(capsys, "sums", "cost", *asked, "--skein", "120", "--skein", "80")
    # 11.74496 in all: 7.04698 and 4.69798 would be told as 7.05 and 4.70, 11.75 together
    assert "the lot 11.74\nskein of 120 g 7.04\nskein of 80 g 4.70\n" in ran.out
    assert "rounded so that they add up to the lot" in ran.out
    even = run(capsys, "sums", "cost", "--base", "L 200 g at 50", "--skein", "80", "--skein", "120")
    assert "the lot 10.00" in even.out and "rounded" not in even.out


@pytest.mark.parametrize(
    ("skeins", "noted"), [(("150", "100"), True), (("100", "105"), False), (("100", "99"), False)]
)
def test_skeins_that_weigh_more_than_their_base_are_noted(capsys, skeins, noted):
    told = [word for weight in skeins for word in ("--skein", weight)]
    asked = ("sums", "cost", "--powder", "Ember 2 g at 90", "--base", "Lumme 200 g at 58", *told)
    said = "note: the skeins weigh 250 g and the base 200 g: dye adds only a little"
    assert (said in run(capsys, *asked).out) is noted
    cost = json.loads(run(capsys, *asked, "--json").out)
    assert cost["over_g"] == (50.0 if noted else 0.0) and len(cost["hints"]) == noted
    powder_alone = run(capsys, "sums", "cost", "--powder", "Ember 2 g at 90", *told).out
    assert "note" not in powder_alone  # no base is named to hold them to


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("dye", "150", "x 1"), "together 1 % on 150 g of goods"),
        (("stock", "150", "10 mL of 1"), "together 0.06667 % on 150 g of goods"),
        (("water", "150", "30"), "liquor 4500 mL for 150 g of goods at 1:30"),
        (("mix", "100 mL", "--powder", "2"), "a stock of 2 %: 2 g of powder"),
        (("cost", "--base", "Lumme 200 g at 58", "--skein", "150"), "skein of 150 g 8.70"),
    ],
)
def test_a_weight_without_a_unit_is_in_grams_and_told_so(capsys, arguments, said):
    assert said in run(capsys, "sums", *arguments).out


@pytest.mark.parametrize(
    "arguments",
    [
        ("dye", "100 g", "x 1"),
        ("stock", "100 g", "10 mL of 1"),
        ("mix", "100 mL", "1"),
        ("water", "100 g", "30"),
        ("acid", "acetic 60 g/100 mL", "--dilute-to", "5", "--make-up-to", "1 L"),
    ],
)
def test_what_handles_powder_acid_or_heat_carries_its_caution(capsys, arguments):
    ran = run(capsys, "sums", *arguments)
    assert CAUTION_LINE in ran.out
    assert "swatchvault cautions" in ran.out
    assert json.loads(run(capsys, "sums", *arguments, "--json").out)["caution"] == CAUTION_LINE


def test_the_card_is_printed_whole(capsys):
    assert run(capsys, "cautions").out.strip() == CAUTION_CARD


def test_forty_percent_is_questioned_and_four_hundred_refused(capsys):
    ran = run(capsys, "sums", "dye", "100 g", "x 40")
    assert ran.code == 0
    assert "check the weights and the decimal point" in ran.out
    assert run(capsys, "sums", "dye", "100 g", "x 400").code == 1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("dye", "100 g", "x 400"), "at most 100 %"),
        (("dye", "100 g", "x -1"), "at least 0 %"),
        (("dye", "-100 g", "x 1"), "is negative"),
        (("mix", "1 L", "-1"), "is negative"),
        (("acid", "acetic 60 g/100 mL", "--dilute-to", "-5"), "is negative"),
        (("dye", "100 stone", "x 1"), "no unit known"),
        (("mix", "100", "1"), "it has no unit"),
        (("dye", "0 g", "x 1"), "more than 0 g"),
        (("dye", "100 mL", "x 1"), "no mass"),
        (("dye", "100 g", "x 1 from 0"), "strength of the stock is 0"),
        (("dye", "100 g", "nonsense"), "cannot be read"),
        (("stock", "100 g", "2 g of 1"), "no volume"),
        (("water", "10 g", "10", "200 mL"), "exceed the liquor"),
        (
            ("acid", "acetic 60 %", "--dilute-to", "5", "--make-up-to", "1 L"),
            "its label says which",
        ),
        (("acid", "sour 60 g/100 mL", "--dilute-to", "5", "--make-up-to", "1 L"), "not known"),
        (("cost", "--powder", "x 1 g at 2", "--minutes", "5"), "both"),
        (("cost", "--powder", "Ember 2 tsp at 90"), "'2 tsp' is no mass"),
        (("cost", "--base", "Lumme 200 mL at 58"), "'200 mL' is no mass"),
    ],
)
def test_a_mistake_is_one_line(capsys, arguments, said):
    ran = run(capsys, "sums", *arguments)
    assert ran.code == 1
    assert said in ran.err
    assert len(ran.err.splitlines()) == 1
    assert not ran.out


def test_a_number_in_a_dyes_name_is_not_of_its_amount():
    assert read_used("powder", "Red 40 1.6 g at 90", None) == CostItem("powder", "Red 40", 1.6, 90)
    assert read_used("powder", "Red 40 2.5 at 90", None).amount == 2.5
    with pytest.raises(AmountError, match="may mean 40 and a fraction"):
        read_used("powder", "Red 40 1/2 oz at 90", None)
