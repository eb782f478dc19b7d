"""What an amount in words comes to, and which words are asked back: never multiplied."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swatchvault.amounts import SpoonSizes
from swatchvault.errors import AmountError
from swatchvault.planned_amounts import ReadAmount, done_amount, dye_amount, planned_amount

ACID = "56 % acetic acid"


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("2 %", {"percent_of_goods": 2.0}),
        ("2%", {"percent_of_goods": 2.0}),
        ("1,5% of goods", {"percent_of_goods": 1.5}),
        ("2 % of the dry goods", {"percent_of_goods": 2.0}),
        ("2 % owf", {"percent_of_goods": 2.0}),
        ("2 % o.w.g. citric acid", {"percent_of_goods": 2.0, "thing": "citric acid"}),
        ("2 % of goods, citric acid", {"percent_of_goods": 2.0, "thing": "citric acid"}),
        ("citric acid 2 % of the yarn", {"percent_of_goods": 2.0, "thing": "citric acid"}),
        ("5 mL per 100 g", {"ml_per_100_g": 5.0}),
        ("2 tsp/100 g of goods", {"ml_per_100_g": 10.0}),
        ("3 g / 100 g", {"percent_of_goods": 3.0}),
        ("20 mL of 5 % vinegar per 100 g", {"ml_per_100_g": 20.0, "thing": "5 % vinegar"}),
        (f"5 mL per 100 g of {ACID}", {"ml_per_100_g": 5.0, "thing": ACID}),
        (f"5 mL per 100 g, {ACID}", {"ml_per_100_g": 5.0, "thing": ACID}),
        (f"5 mL per 100 g {ACID}", {"ml_per_100_g": 5.0, "thing": ACID}),
        ("5 mL/100 g, acetic acid 56 %", {"ml_per_100_g": 5.0, "thing": "acetic acid 56 %"}),
        ("5 mL per 100 g of goods, vinegar", {"ml_per_100_g": 5.0, "thing": "vinegar"}),
        (f"3 g per 100 g of yarn of {ACID}", {"percent_of_goods": 3.0, "thing": ACID}),
        ("12 mL", {"ml": 12.0}),
        ("0.5 kg", {"g": 500.0}),
        ("½ tsp", {"ml": 2.5}),
        (f"20 mL of {ACID}", {"ml": 20.0, "thing": ACID}),
        (f"20 mL {ACID}", {"ml": 20.0, "thing": ACID}),
        (f"{ACID} 20 mL", {"ml": 20.0, "thing": ACID}),
        (f"{ACID}, 20 mL", {"ml": 20.0, "thing": ACID}),
        ("20mL acetic acid 56%", {"ml": 20.0, "thing": "acetic acid 56%"}),
        ("white vinegar (5 %) 1 1/2 cup", {"ml": 360.0, "thing": "white vinegar (5 %)"}),
        ("2 fl. oz. of vinegar", {"ml": 2 * 29.5735295625, "thing": "vinegar"}),
        ("3 g citric acid", {"g": 3.0, "thing": "citric acid"}),
        ("a handful", {}),
        (None, {}),
        ("  ", {"typed": None}),
    ],
)
def test_an_amount_is_read_in_one_way(typed, says):
    assert planned_amount(typed) == ReadAmount(**{"typed": typed, **says})


@pytest.mark.parametrize(
    "typed", ["5 % vinegar", "vinegar 5 %", "vinegar (5%)", "5 % vinegar, warm"]
)
def test_a_percentage_beside_a_name_is_asked_back_with_both_ways_to_write_it(typed):
    with pytest.raises(
        AmountError, match="two ways, as 5 % of the goods and as 5 % strong"
    ) as said:
        planned_amount(typed)
    assert "()" not in str(said.value)
    ways = str(said.value).split("write ")[1].split("'")[1::2]
    assert [planned_amount(way).percent_of_goods for way in ways] == [5.0, None]
    assert [planned_amount(way).ml for way in ways] == [None, 20.0]


@pytest.mark.parametrize(
    "typed",
    [
        f"2 % of goods of {ACID}",  # of the acid, or of what is in it
        f"{ACID} 20 mL or 4 g",
        "5 % 20 mL",
        "20 mL, 2 % of goods",
        "5 mL per 100 g of 2 % of goods",
        "5 mL per 100 g of 2 % owf acid",
        "5 mL per 100 g of wool",  # the goods, and not what goes in
        f"5 mL of vinegar per 100 g of {ACID}",
        f"5 mL per 100 g of 20 mL of {ACID}",
        "20 mL per skein",
        "20 mL a skein",
        "2 % per skein",
        "2 x 20 mL",
        "half of 20 mL",
        "about 20 mL",
        "20-30 mL",
        "20 to 30 mL",
        "1 g/L salt",
        "20 mL diluted 1:10",
        "20 mL + vinegar",
        "3 pots",
        "12",
    ],
)
def test_what_says_another_amount_or_none_is_refused(typed):
    with pytest.raises(AmountError, match=r"cannot be read.*'2 %' or '5 mL per 100 g'"):
        planned_amount(typed)
    with pytest.raises(AmountError, match="cannot be read"):
        done_amount(typed)


def test_thousands_are_asked_back_in_every_place():
    for typed in ("1,250 %", "1,250 mL", "1,250 mL of vinegar", "1,250 mL per 100 g"):
        with pytest.raises(AmountError, match=r"write 1\.250 or 1250"):
            planned_amount(typed)


def test_what_went_in_has_a_size_of_its_own_and_a_dye_nothing_beside_it():
    assert done_amount(f"20 mL of {ACID}").ml == dye_amount("20 mL").ml == 20.0
    assert done_amount("a splash") == dye_amount("a splash") == ReadAmount("a splash")
    for typed in ("2 %", "5 mL per 100 g", "5 % vinegar"):
        with pytest.raises(AmountError, match="units known"):
            done_amount(typed)
    with pytest.raises(AmountError, match="units known"):
        dye_amount("80 mL of 2 % stock")  # of another strength than its stock's


def test_spoons_are_the_archives():
    read = planned_amount("2 tsp of vinegar per 100 g", SpoonSizes(tsp_ml=4.0))
    assert (read.ml_per_100_g, read.thing) == (8.0, "vinegar")


@given(
    percent=st.integers(1, 100),
    ml=st.integers(1, 500),
    name=st.sampled_from(["acetic acid", "vinegar", "citric acid", "formic acid", "ammonia"]),
    form=st.sampled_from(
        [
            "{p} % {n} {m} mL",
            "{m} mL of {p} % {n}",
            "{n}, {p} %, {m} mL",
            "{p} % {n}",
            "{m} mL per 100 g of {p} % {n}",
            "{m} mL/100 g, {n} {p} %",
        ]
    ),
)
def test_a_strength_is_never_a_share_of_the_goods(percent, ml, name, form):
    typed = form.format(p=percent, n=name, m=ml)
    try:
        read = planned_amount(typed)
    except AmountError:
        return
    on_goods = (None, None, ml) if "100 g" in form else (ml, None, None)
    assert (read.ml, read.percent_of_goods, read.ml_per_100_g) == on_goods
