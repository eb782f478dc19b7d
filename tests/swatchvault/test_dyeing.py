"""Sums of the dye kitchen against worked examples, their laws, and what they refuse.

Sources are named beside the assertions: a published page by its title, "common practice" where
there is no single source, "derived" where the formula is the source.
"""

import math
from dataclasses import FrozenInstanceError

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from swatchvault import cautions
from swatchvault.acids import ACIDS, AcidSolution, dilute_acid, swap_acid
from swatchvault.cautions import CAUTION_ACID
from swatchvault.costs import CostItem, cost_of_lot, to_cents
from swatchvault.dyeing import (
    DyeWanted,
    depth_from_stocks,
    depth_percent,
    dye_doses,
    dye_g,
    mix_stock,
    question_depth,
    stock_ml,
    stock_strength_percent,
    water_left,
)
from swatchvault.errors import AmountError

goods = st.floats(1, 1e5)
depths = st.floats(0.001, 99)
strengths = st.floats(0.01, 100)
NONSENSE = [-1, math.nan, math.inf, -math.inf, None, "2", True]


# Depth and stock ------------------------------------------------------------------------------


@pytest.mark.parametrize(("goods_g", "percent", "expected_g"), [(125, 2, 2.5), (300, 3, 9)])
def test_dye_mass(goods_g, percent, expected_g):
    assert dye_g(goods_g, percent) == pytest.approx(expected_g, rel=1e-12)  # derived: definition


@pytest.mark.parametrize(
    ("percent", "stock_percent", "expected_ml"),
    [(1, 1, 454), (2, 1, 908), (0.1, 1, 45.4), (0.1, 0.1, 454)],
)
def test_stock_volume(percent, stock_percent, expected_ml):
    # published: "Depth of Dye Shade", Dummies.com
    assert stock_ml(454, percent, stock_percent) == pytest.approx(expected_ml, rel=1e-12)


@pytest.mark.parametrize(("goods_g", "expected_ml"), [(1000, 1333), (1100, 1467), (100, 133)])
def test_stock_of_15_g_in_a_litre(goods_g, expected_ml):
    strength = stock_strength_percent(15, 1000)
    assert strength == pytest.approx(1.5)
    assert round(stock_ml(goods_g, 2, strength)) == expected_ml  # common practice, no source


def test_three_dyes_at_once():
    doses = dye_doses(200, [DyeWanted(n, p) for n, p in (("a", 0.85), ("b", 0.10), ("c", 0.05))])
    # common practice: dyers' question-and-answer pages, 2011
    assert [d.dye_g for d in doses.doses] == pytest.approx([1.7, 0.2, 0.1])
    assert doses.dye_g == pytest.approx(2.0)
    assert doses.depth_percent == pytest.approx(1.0)
    assert doses.stock_ml == 0 and doses.doses[0].stock_ml is None


def test_depth_of_two_stocks():
    found = depth_from_stocks(40, [(12, 1), (28, 1)])
    assert found.total_percent == pytest.approx(1.0)  # derived
    assert found.each_percent == pytest.approx((0.3, 0.7))  # derived
    assert depth_percent(2.5, 125) == pytest.approx(2.0)  # derived: the definition


def test_one_percent_stock_is_made_up_to_and_not_added_to():
    mix = mix_stock(100, 1)
    assert mix.powder_g == 1  # common practice: 1 g made up to 100 mL
    assert mix.words == (
        "Dissolve 1 g of powder in less water and make it up to 100 mL; do not add it to 100 mL."
    )
    assert mix_stock(250, 2).powder_g == 5  # derived


@pytest.mark.parametrize("bad", NONSENSE)
def test_nonsense_is_refused_everywhere(bad):
    for call in (
        lambda: dye_g(bad, 1),
        lambda: dye_g(100, bad),
        lambda: stock_ml(bad, 1, 1),
        lambda: stock_ml(100, bad, 1),
        lambda: stock_ml(100, 1, bad),
        lambda: depth_percent(bad, 100),
        lambda: depth_percent(1, bad),
        lambda: depth_from_stocks(100, [(bad, 1)]),
        lambda: depth_from_stocks(100, [(1, bad)]),
        lambda: question_depth(bad),
        lambda: dye_doses(100, [DyeWanted("a", bad)]),
        lambda: dye_doses(bad, []),
        lambda: mix_stock(bad, 1),
        lambda: mix_stock(100, bad),
        lambda: stock_strength_percent(bad, 100),
        lambda: stock_strength_percent(1, bad),
        lambda: water_left(bad, 10, []),
        lambda: water_left(100, bad, []),
        lambda: water_left(100, 10, [bad]),
        lambda: cost_of_lot([CostItem("powder", "a", bad, 1)], []),
        lambda: cost_of_lot([CostItem("powder", "a", 1, bad)], []),
        lambda: cost_of_lot([], [bad]),
        lambda: swap_acid(bad, VINEGAR, VINEGAR),
        lambda: dilute_acid(VINEGAR, bad, 100),
        lambda: dilute_acid(VINEGAR, 1, bad),
        lambda: AcidSolution("acetic", bad, "g/100 mL").mol_per_ml,
    ):
        with pytest.raises(AmountError) as caught:
            call()
        assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "call",
    [
        lambda: stock_ml(100, 1, 0),  # no strength
        lambda: dye_g(0, 1),  # no goods
        lambda: dye_g(100, 400),
        lambda: stock_ml(100, 400, 1),
        lambda: question_depth(400),
        lambda: depth_percent(400, 100),
        lambda: depth_from_stocks(100, [(6000, 1), (6000, 1)]),
        lambda: dye_doses(100, [DyeWanted("a", 60), DyeWanted("b", 60)]),
        lambda: stock_strength_percent(101, 100),
        lambda: stock_ml(100, 1, 1e-300),
    ],
)
def test_no_strength_no_goods_and_over_100_percent_are_refused(call):
    with pytest.raises(AmountError):
        call()


def test_unusual_depth_is_questioned_and_not_refused():
    assert dye_g(100, 40) == pytest.approx(40)
    asked = question_depth(40)
    assert "40 %" in asked and "more than the customary 0.1 to 6 %" in asked
    assert "less than the customary" in question_depth(0.01)
    assert [question_depth(d) for d in (0.1, 1, 6)] == [None, None, None]


@given(goods, depths, strengths, st.floats(0.1, 10))
def test_stock_is_proportional_to_goods_and_inverse_to_strength(g, depth, strength, k):
    base = stock_ml(g, depth, strength)
    assert stock_ml(k * g, depth, strength) == pytest.approx(k * base)
    assume(strength * k <= 100)
    assert stock_ml(g, depth, strength * k) == pytest.approx(base / k)


@given(goods, depths, strengths)
def test_depth_comes_back_from_what_went_in(g, depth, strength):
    assert depth_percent(dye_g(g, depth), g) == pytest.approx(depth)
    ml = stock_ml(g, depth, strength)
    assert depth_from_stocks(g, [(ml, strength)]).total_percent == pytest.approx(depth)
    assert mix_stock(ml, strength).powder_g == pytest.approx(dye_g(g, depth))


# The pot --------------------------------------------------------------------------------------


def test_laboratory_dip():
    # published: textilecalculation blog, "Lab dip calculations", 2015
    dye = stock_ml(5, 1.5, 1)
    assert dye == pytest.approx(7.5)
    pot = water_left(5, 10, [dye, 30])
    assert (pot.liquor_ml, pot.water_ml) == pytest.approx((50, 12.5))


def test_more_added_than_the_liquor_holds():
    with pytest.raises(AmountError, match=r"60 mL exceed the liquor of 50 mL.* 1:12 "):
        water_left(5, 10, [20, 40])
    assert water_left(5, 10, [20, 30]).water_ml == 0


# Acids ----------------------------------------------------------------------------------------

VINEGAR = AcidSolution("acetic", 5, "g/100 mL")
# 1.060 g/mL from memory, unverified
ACETIC_56_BY_MASS = AcidSolution("acetic", 56, "g/100 g", 1.060)


def test_strong_acetic_acid_in_vinegar():
    by_volume = swap_acid(1, AcidSolution("acetic", 56, "g/100 mL"), VINEGAR)
    assert by_volume.to_ml == pytest.approx(11.2)  # derived: 56 / 5
    by_mass = swap_acid(1, ACETIC_56_BY_MASS, VINEGAR)
    assert by_mass.to_ml == pytest.approx(56 * 1.060 / 5)  # derived
    assert round(by_mass.to_ml, 1) == 11.9


@pytest.mark.parametrize("basis", [None, "", "%", "by volume"])
def test_the_basis_is_asked_for_and_both_readings_named(basis):
    with pytest.raises(AmountError) as caught:
        swap_acid(1, AcidSolution("acetic", 56, basis, 1.06), VINEGAR)
    assert "g/100 g" in str(caught.value) and "g/100 mL" in str(caught.value)


def test_by_mass_needs_a_density_that_can_be():
    with pytest.raises(AmountError, match="density is needed"):
        _ = AcidSolution("acetic", 56, "g/100 g").g_per_100_ml
    for bad in (0, -1, math.nan, 1060):
        with pytest.raises(AmountError):
            _ = AcidSolution("acetic", 56, "g/100 g", bad).g_per_100_ml
    with pytest.raises(AmountError):
        _ = AcidSolution("acetic", 156, "g/100 g", 1.06).g_per_100_ml
    with pytest.raises(AmountError):
        _ = AcidSolution("acetic", 560, "g/100 mL").g_per_100_ml


def test_an_acid_not_known_names_those_that_are():
    with pytest.raises(AmountError, match="citric anhydrous, citric monohydrate"):
        _ = AcidSolution("citric", 5, "g/100 mL").mol_per_ml


@pytest.mark.parametrize(
    ("name", "molar_mass_g", "protons"),
    [
        # derived by hand from the IUPAC abridged standard atomic weights 2021
        ("acetic", 60.052, 1),
        ("citric anhydrous", 192.123, 3),
        ("citric monohydrate", 210.138, 3),
        ("formic", 46.025, 1),
    ],
)
def test_molar_masses(name, molar_mass_g, protons):
    assert ACIDS[name].molar_mass_g == pytest.approx(molar_mass_g, abs=5e-4)
    assert ACIDS[name].equivalent_g == pytest.approx(molar_mass_g / protons, abs=5e-4)


def test_vinegar_in_citric_crystals():
    swap = swap_acid(100, VINEGAR, AcidSolution("citric monohydrate", 10, "g/100 mL"))
    # derived: 5 g / 60.052 x 210.138 / 3
    assert swap.to_pure_g == pytest.approx(5.832, abs=5e-4)
    assert swap.to_ml == pytest.approx(58.32, abs=5e-3)
    assert swap.equivalents_mol == pytest.approx(0.08326, abs=5e-6)


@st.composite
def solutions(draw):
    name = draw(st.sampled_from(sorted(ACIDS)))
    if draw(st.booleans()):
        return AcidSolution(name, draw(st.floats(0.1, 100)), "g/100 mL")
    return AcidSolution(name, draw(st.floats(0.1, 100)), "g/100 g", draw(st.floats(0.9, 1.6)))


@given(st.floats(0.1, 1e4), solutions(), solutions(), solutions())
def test_equivalence_is_transitive_and_undoes_itself(ml, a, b, c):
    there = swap_acid(ml, a, b)
    assert swap_acid(there.to_ml, b, c).to_ml == pytest.approx(swap_acid(ml, a, c).to_ml)
    assert swap_acid(there.to_ml, b, a).to_ml == pytest.approx(ml)
    assert swap_acid(ml, a, a).to_ml == pytest.approx(ml)
    assert there.to_pure_g == pytest.approx(there.to_ml * b.g_per_100_ml / 100)


def test_dilution_of_an_acid_carries_its_caution():
    weak = dilute_acid(ACETIC_56_BY_MASS, 5, 1000)
    assert weak.acid_ml == pytest.approx(84.23, abs=5e-3)  # derived: 5 / 59.36 x 1000
    assert weak.caution == CAUTION_ACID
    assert weak.words.index("water in first") < weak.words.index("acid")
    with pytest.raises(AmountError):
        dilute_acid(VINEGAR, 6, 100)  # stronger cannot be made by diluting


# Cost and weight ------------------------------------------------------------------------------

ITEMS = [
    CostItem("powder", "a", 2, 100),
    CostItem("powder", "b", 1, 200),
    CostItem("base", "wool", 200, 60),
    CostItem("auxiliary", "acid", 50, 4),
]


def test_cost():
    cost = cost_of_lot(ITEMS, [120, 80], minutes=90, price_per_hour=20)
    # derived: 2 g at 100 and 1 g at 200 a kg; 200 g at 60; 50 mL at 4 a litre; 1.5 h at 20
    assert (cost.powder_cost, cost.base_cost) == pytest.approx((0.4, 12))
    assert (cost.auxiliary_cost, cost.time_cost) == pytest.approx((0.2, 30))
    assert cost.total_cost == pytest.approx(42.6)
    assert cost.skein_costs == pytest.approx((25.56, 17.04))
    without = cost_of_lot(ITEMS, [])
    assert (without.time_cost, without.skein_costs) == (None, ())
    assert without.total_cost == pytest.approx(12.6)


@given(st.lists(st.floats(0.0, 1e4), min_size=1, max_size=9))
def test_money_is_rounded_so_that_it_adds_up(parts):
    total, shown = to_cents(math.fsum(parts), parts)
    assert abs(total - math.fsum(parts)) <= 0.005 + 1e-6
    assert sum(round(100 * s) for s in shown) == round(100 * total)
    assert all(abs(s - p) < 0.01 + 1e-6 for s, p in zip(shown, parts, strict=True))


def test_cost_asks_for_both_halves_of_the_time():
    for half in ({"minutes": 30}, {"price_per_hour": 20}):
        with pytest.raises(AmountError, match="both"):
            cost_of_lot(ITEMS, [], **half)
    with pytest.raises(AmountError, match="powder, base or auxiliary"):
        cost_of_lot([CostItem("postage", "box", 1, 1)], [])


def test_results_are_frozen():
    with pytest.raises(FrozenInstanceError):
        mix_stock(100, 1).powder_g = 2


# Cautions -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "words",
    [
        ("respirator", "gloves", "eye protection"),
        ("never used for food",),
        ("acid into water",),
        ("hot liquor", "steam"),
        ("ventilate",),
        ("safety data sheet first",),
        ("dispose", "local rules"),
        ("local codes and licensed practice come first",),
        ("photo is no laboratory certificate",),
    ],
)
def test_the_card_says(words):
    assert any(all(w in line.lower() for w in words) for line in cautions.CAUTIONS.values())


def test_card_and_line_are_whole():
    lines = cautions.CAUTION_CARD.splitlines()
    assert lines[1:] == [f"- {line}" for line in cautions.CAUTIONS.values()]
    constants = {v for k, v in vars(cautions).items() if k.startswith("CAUTION_")}
    assert constants - {cautions.CAUTION_LINE, cautions.CAUTION_CARD} == set(
        cautions.CAUTIONS.values()
    )
    short = cautions.CAUTION_LINE.lower()
    assert "\n" not in short
    for word in ("data sheet", "respirator", "gloves", "acid into water", "hot", "ventilate"):
        assert word in short
    assert cautions.CAUTION_CARD.isascii() and short.isascii()
