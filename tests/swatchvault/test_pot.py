"""A recipe on a weight of goods, hold timers from stored times, and a lot made at the pot."""

import json
import math
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swatchvault.archive import (
    DyeIn,
    Lot,
    Notes,
    PlannedDye,
    PlannedStep,
    PotStep,
    Recipe,
    RecipePart,
    add_recipe,
    add_stock,
    apply_notes,
    get_lot,
    get_pot,
    get_stock,
    next_time,
    open_archive,
    record_step,
    start_pot,
    transaction,
    verify,
)
from swatchvault.errors import AmountError, ArchiveError, NotFound, SwatchvaultError
from swatchvault.pot import StockChoice, choose_stock, plan_pot
from swatchvault.potclock import (
    check_left,
    check_time,
    clock,
    cut_short,
    latest_hold,
    latest_timed,
    read_time,
)
from swatchvault.potwork import doubtful_doses, plan_of, step_words
from swatchvault.web.potforms import read_at
from tests.swatchvault.running import run

TODAY = date(2026, 3, 1)
NOW = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
DIPPED = Recipe(
    "Low sun",
    "Lumme",
    parts=(
        RecipePart(
            dyes=(PlannedDye("Ember", 0.8), PlannedDye("Tarn", 0.001)),
            steps=(PlannedStep("acid in", "2 %"), PlannedStep("salt in", "5 mL per 100 g")),
        ),
        RecipePart(
            "dipped end",
            25.0,
            dyes=(PlannedDye("Ember", 2.0),),
            steps=(PlannedStep("dye in", "12 mL"), PlannedStep("hold", None, 85.0, 30.0)),
        ),
    ),
)
STOCKS = {"Ember": StockChoice("S1", 1.0, 500.0, "2026-02-01"), "Tarn": StockChoice("S1", 1.0)}


@pytest.fixture(autouse=True)
def clock_of_now(clock_in):
    clock_in("UTC0")


# --- the plan ---------------------------------------------------------------------------------


def test_each_part_is_dosed_on_its_own_goods():
    plan = plan_pot(DIPPED, 200.0, STOCKS, today=TODAY)
    whole, dipped = plan.parts
    assert [d.words for d in whole.doses] == ["160 mL", "0.2 mL"]
    assert dipped.goods_g == 50.0
    assert dipped.doses[0].dye_g == pytest.approx(1.0)
    assert dipped.doses[0].stock_ml == pytest.approx(100.0)
    assert [s.number for s in plan.steps] == [1, 2, 3, 4]


def test_planned_amounts_follow_the_goods_unless_written_as_they_are():
    plan = plan_pot(DIPPED, 250.0, STOCKS, today=TODAY)
    assert [s.amount for s in plan.steps] == [
        "5 g",
        "12.5 mL",
        "12 mL (as written, whatever the goods)",
        None,
    ]


def acid_steps(*amounts, goods_g=200.0):
    """The plan of acids on goods at 1:30, with no dye."""
    steps = tuple(PlannedStep("acid in", amount) for amount in amounts)
    recipe = Recipe("Low sun", "Lumme", parts=(RecipePart(steps=steps),))
    return plan_pot(recipe, goods_g, {}, today=TODAY, liquor_ratio=30.0)


def test_what_goes_in_is_named_with_the_planned_amount_and_its_strength_never_counted():
    plan = acid_steps(
        "20 mL of 56 % acetic acid", "10 mL of 5 % vinegar per 100 g", "2 % of goods, citric acid"
    )
    assert [(s.amount, s.amount_alone, s.amount_ml) for s in plan.steps] == [
        (
            "20 mL of 56 % acetic acid (as written, whatever the goods)",
            "20 mL of 56 % acetic acid",
            20.0,
        ),
        ("20 mL of 5 % vinegar", "20 mL of 5 % vinegar", 20.0),
        ("4 g of citric acid", "4 g of citric acid", None),
    ]
    assert plan.water_ml == 6000.0 - 40.0 and plan.hints == ()


def test_a_kept_amount_that_can_be_read_in_two_ways_is_told_and_not_reckoned():
    plan = acid_steps("5 % vinegar", "2 %")
    first, second = plan.steps
    assert first.amount == "5 % vinegar (not reckoned: it cannot be read)"
    assert (first.amount_alone, first.amount_ml, second.amount) == ("5 % vinegar", None, "4 g")
    (hint,) = plan.hints
    assert hint.startswith("step 1, acid in: amount '5 % vinegar' can be read in two ways")
    assert hint.endswith("the water does not count it") and plan.water_ml == 6000.0


@given(goods=st.floats(1.0, 5000.0), factor=st.floats(0.1, 10.0))
def test_a_plan_grows_with_its_goods(goods, factor):
    one = plan_pot(DIPPED, goods, STOCKS, today=TODAY)
    other = plan_pot(DIPPED, goods * factor, STOCKS, today=TODAY)
    for a, b in zip(one.parts, other.parts, strict=True):
        for x, y in zip(a.doses, b.doses, strict=True):
            assert y.dye_g == pytest.approx(x.dye_g * factor)
            assert y.stock_ml == pytest.approx(x.stock_ml * factor)


def test_too_small_to_measure_is_hinted_with_its_dilution():
    plan = plan_pot(DIPPED, 200.0, STOCKS, today=TODAY)
    assert any("Tarn: 0.2 mL" in h and "dilute 1:10" in h for h in plan.hints)


def test_water_is_what_all_that_is_added_leaves_of_the_liquor():
    plan = plan_pot(DIPPED, 200.0, STOCKS, today=TODAY, liquor_ratio=20)
    assert plan.liquor_ml == 4000
    assert plan.water_ml == pytest.approx(4000 - 160 - 0.2 - 100 - 10)  # 10 mL of dissolved salt


def test_a_stock_must_suffice_for_all_parts_together():
    short = {**STOCKS, "Ember": StockChoice("S1", 1.0, 259.0, "2026-02-01")}  # needs 160 + 100
    assert any("does not suffice: 260 mL" in h for h in plan_pot(
        DIPPED, 200.0, short, today=TODAY).hints)  # fmt: skip
    enough = {**STOCKS, "Ember": StockChoice("S1", 1.0, 261.0, "2026-02-01")}
    assert not any("suffice" in h for h in plan_pot(DIPPED, 200.0, enough, today=TODAY).hints)


@pytest.mark.parametrize(("mixed", "old"), [("2025-08-25", True), ("2025-09-05", False)])
def test_a_stock_over_six_months_is_a_hint(mixed, old):
    stocks = {**STOCKS, "Ember": StockChoice("S7", 1.0, None, mixed)}
    hints = plan_pot(DIPPED, 200.0, stocks, today=TODAY).hints
    assert any("six months" in h and "'S7' of Ember" in h for h in hints) is old


def test_deep_recipes_are_questioned_and_absurd_ones_refused():
    deep = Recipe("x", "y", parts=(RecipePart(dyes=(PlannedDye("Ember", 40.0),)),))
    assert any("check the weights" in h for h in plan_pot(deep, 100.0, {}, today=TODAY).hints)
    absurd = Recipe("x", "y", parts=(RecipePart(dyes=(PlannedDye("Ember", 400.0),)),))
    with pytest.raises(AmountError, match="at most 100"):
        plan_pot(absurd, 100.0, {}, today=TODAY)
    with pytest.raises(AmountError, match="strength"):
        plan_pot(deep, 100.0, {"Ember": StockChoice("S", 0.0)}, today=TODAY)


def test_of_a_stock_only_what_is_still_to_come_must_suffice():
    few = {"Ember": StockChoice("S1", 1.0, 20.0)}

    def short(**gone):
        hints = plan_pot(DIPPED, 200.0, few, today=TODAY, gone_g=gone).hints
        return [h.partition(": ")[2].split(" mL")[0] for h in hints if "suffice" in h]

    assert short() == ["260"]
    assert short(ember=2.0) == ["60"]
    assert short(ember=2.6) == short(ember=math.inf) == []


def test_the_newest_stock_that_suffices_is_chosen():
    new, old = StockChoice("new", 1.0, 50.0), StockChoice("old", 1.0, 500.0)
    assert choose_stock([new, old], 0.4) == new
    assert choose_stock([new, old], 1.0) == old
    assert choose_stock([new, old], 9.0) == new
    assert choose_stock([], 1.0) is None


def test_of_two_strengths_the_stronger_is_chosen_that_can_be_poured_well():
    """0.5 g are 50 mL of 1 %, 500 mL of 0.1 %; 0.04 g are 4 mL, which a syringe rounds by 1 %."""
    weak, strong = StockChoice("0.1 %", 0.1, 500.0), StockChoice("1 %", 1.0, 500.0)
    again = StockChoice("0.96 %", 0.96, 250.0)
    for stocks in ([weak, strong], [strong, weak]):
        assert choose_stock(stocks, 0.5) == strong
        assert choose_stock(stocks, 0.05) == strong
        assert choose_stock(stocks, 0.04) == weak
        assert choose_stock(stocks, 0.0004) == weak
        assert choose_stock(stocks, 7.5) == strong  # neither suffices
    assert choose_stock([again, strong, weak], 0.5) == again  # the newest of about that strength
    assert choose_stock([again, strong, weak], 3.0) == strong
    assert choose_stock([weak, StockChoice("1 %", 1.0, 10.0)], 0.3) == weak  # 30 mL are needed


# --- times ------------------------------------------------------------------------------------


def test_a_time_of_another_season_is_by_the_rule_of_its_own_day(clock_in):
    clock_in("CET-1CEST,M3.5.0,M10.5.0/3")
    summer = datetime(2026, 7, 1, 9, 0).astimezone()
    assert read_time("2026-07-01T08:00", summer).isoformat() == "2026-07-01T08:00:00+02:00"
    assert read_time("8:00", summer).isoformat() == "2026-07-01T08:00:00+02:00"
    assert read_time("2026-03-01T00:30", summer).isoformat() == "2026-03-01T00:30:00+01:00"
    assert read_at("2026-03-01T00:30", summer) == "2026-03-01T00:30:00+01:00"
    assert read_at("2026-02-28T23:30:00Z", summer) == "2026-03-01T00:30:00+01:00"


@pytest.mark.parametrize(
    ("minutes_later", "words"),
    [
        (0, "30 min 00 s left"),
        (29.5, "0 min 30 s left"),
        (30, "done, 0 min 00 s over"),
        (95, "1 h"),
    ],
)
def test_a_hold_is_worked_out_from_its_stored_start(minutes_later, words):
    steps = [PotStep("hold", "2026-03-01T12:00:00+00:00", minutes=30.0)]
    hold = latest_hold(steps, NOW + timedelta(minutes=minutes_later))
    assert words in hold.words
    assert hold.left_s == pytest.approx((30 - minutes_later) * 60)


def test_a_hold_started_before_the_clocks_changed_is_as_long():
    summer = timezone(timedelta(hours=2))
    steps = [PotStep("hold", "2026-03-29T01:50:00+01:00", minutes=30.0)]
    hold = latest_hold(steps, datetime(2026, 3, 29, 3, 0, tzinfo=summer))
    assert hold.left_s == pytest.approx(20 * 60)


def test_a_time_in_utc_is_told_by_this_clock(clock_in):
    clock_in("EIGHT8")
    hold = PotStep("hold", "2026-03-01T18:05:00+00:00", minutes=30.0)
    assert step_words(hold) == "2026-03-01 10:05  hold, 30 min"
    now = datetime(2026, 3, 1, 10, 15, tzinfo=timezone(timedelta(hours=-8)))
    assert latest_hold([hold], now).until == "to 10:35"


@pytest.mark.parametrize(
    ("kinds", "words"),
    [
        (["soak"], "soak of 30 min since 12:00, to 12:30: 20 min 00 s left"),
        (["soak", "acid in", "look"], "soak of 30 min since 12:00, to 12:30: 20 min 00 s left"),
        (["soak", "dye in"], "ended by dye in"),
        (["heat", "dye in"], "heat of 30 min"),
        (["soak", "heat"], "heat of 30 min"),
        (["hold", "soak -"], "hold of 30 min since 12:00, to 12:30: 20 min 00 s left"),
        (["heat", "hold -"], "heat of 30 min since 12:00, to 12:30: ended by hold"),
        (["hold", "cool"], "cool of 30 min"),
        (["hold", "cool -"], "ended by cool"),
        (["acid in", "look", "other"], None),
    ],
)
def test_whatever_takes_time_is_timed(kinds, words):
    steps = [
        PotStep(k.rstrip(" -"), NOW.isoformat(), minutes=None if "-" in k else 30.0) for k in kinds
    ]
    timed = latest_timed(steps, NOW + timedelta(minutes=10))
    assert (timed is None) if words is None else words in timed.words


def test_a_soak_that_is_begun_says_its_time(pot):
    started(pot)
    out = pot("did", "P1", "1")
    assert "soak of 30 min since" in out and " left" in out
    assert "soak of 30 min" in pot("time", "P1")
    assert json.loads(pot("time", "P1", "--json"))["kind"] == "soak"
    assert "left" not in pot("did", "P1", "2", "--amount", "2 g")
    pot("undo", "P1")
    assert "it had ended" not in pot("undo", "P1")
    assert "no step with minutes" in pot("time", "P1")


def test_the_latest_hold_counts_and_a_rinse_ends_it():
    steps = [
        PotStep("hold", "2026-03-01T11:00", minutes=30.0),
        PotStep("hold", "2026-03-01T11:50", minutes=20.0),
        PotStep("look", "2026-03-01T11:55", colour_left="some"),
    ]
    assert latest_hold(steps, NOW).left_s == pytest.approx(600)
    assert "ended by rinse" in latest_hold([*steps, PotStep("rinse")], NOW).words
    assert latest_hold([PotStep("hold", "2026-03-01T11:50"), PotStep("soak")], NOW) is None


def test_clock_words():
    assert [clock(s) for s in (0, 59.2, 750, 3900)] == [
        "0 min 00 s",
        "1 min 00 s",
        "12 min 30 s",
        "1 h 05 min",
    ]


def test_times_as_typed():
    assert read_time("9:05", NOW) == NOW.replace(hour=9, minute=5)
    assert read_time("2026-02-01T10:05Z", NOW) == datetime(2026, 2, 1, 10, 5, tzinfo=UTC)
    with pytest.raises(SwatchvaultError, match="cannot be read"):
        read_time("25:00", NOW)
    with pytest.raises(SwatchvaultError, match="has not come yet"):
        check_time(NOW + timedelta(hours=1), None, NOW)
    with pytest.raises(SwatchvaultError, match="or write 2026-02-28T23:45 if it was the day befor"):
        check_time(read_time("23:45", NOW), None, NOW)
    with pytest.raises(SwatchvaultError, match=r"when it is done$"):
        check_time(NOW + timedelta(days=2), None, NOW)
    with pytest.raises(SwatchvaultError, match="before the lot began"):
        check_time(NOW - timedelta(hours=1), "2026-03-01T11:30", NOW)
    began = "2026-03-01T11:30:41+00:00"  # what is typed in that minute is at the start, not before
    assert read_time(check_time(read_time("2026-03-01T11:30", NOW), began, NOW), NOW) == read_time(
        began, NOW
    )
    with pytest.raises(SwatchvaultError, match="before the lot began"):
        check_time(read_time("2026-03-01T11:29", NOW), began, NOW)


@pytest.mark.parametrize(
    ("typed", "kept"), [("Trace", "trace"), ("15%", "15 %"), ("2,5 %", "2.5 %")]
)
def test_colour_left(typed, kept):
    assert check_left(typed) == kept


@pytest.mark.parametrize("typed", ["lots", "101 %", "-1 %", "15", "nan %"])
def test_colour_left_refuses(typed):
    with pytest.raises(AmountError, match="say none, trace"):
        check_left(typed)


# --- the archive's side -----------------------------------------------------------------------


def test_a_step_and_its_dyes_are_stored_together_or_not_at_all(folder):
    with open_archive(folder) as archive:
        lot = Lot("P", ("Lumme",), "Low sun", recipe_version=1, dry_g=100.0)
        start_pot(archive.conn, lot, "2026-03-01T10:00", {})
        with pytest.raises(NotFound):
            record_step(archive.conn, "P", PotStep("dye in"), None, [DyeIn("Nothing", "1 mL")])
        assert get_pot(archive.conn, "P").steps == ()
        with pytest.raises(NotFound, match="no planned step 9"):
            record_step(archive.conn, "P", PotStep("dye in"), 9)
        with pytest.raises(ArchiveError, match="there already"):
            start_pot(archive.conn, lot, "2026-03-01T10:00", {})


# --- the commands -----------------------------------------------------------------------------


def started(pot, *more):
    asked = ("--version", 1, "--goods", "100 g", "--at", "2026-03-01T09:00", *more)
    return pot("start", "P1", "Low sun", "Lumme", *asked)


def test_start_shows_the_amounts(pot):
    out = started(pot, "--ratio", 30)
    assert "Ember 0.8 %: 80 mL of stock S1 (0.8 g of dye)" in out
    assert "liquor 3000 mL; water besides all that is added 2895 mL" in out
    assert "started P1 on 2026-03-01 at 09:00: Low sun on Lumme" in out
    assert "swatchvault cautions" in out


def test_a_stock_is_as_old_as_it_was_when_the_pot_was_started(pot, folder):
    assert "six months ago" not in started(pot)  # S1 was mixed in February 2026
    asked = ("--version", 1, "--goods", "100 g", "--at", "2020-01-01T10:00")
    assert "six months ago" not in pot("start", "P2", "Low sun", "Lumme", *asked)
    with open_archive(folder) as archive:
        archive.conn.execute("UPDATE stock SET mixed_on = '2019-05-01' WHERE code = 'S1'")
        plan = plan_of(archive.conn, get_pot(archive.conn, "P2"), {})
        archive.conn.execute("UPDATE stock SET mixed_on = '2019-12-01' WHERE code = 'S1'")
        fresh = plan_of(archive.conn, get_pot(archive.conn, "P2"), {})
        archive.conn.execute("UPDATE stock SET mixed_on = '2019-05-01' WHERE code = 'S1'")
    assert not any("six months" in hint for hint in fresh.hints)
    said = "mixed more than six months ago, so it may have weakened: stock 'S1' of Ember"
    assert any(said in hint for hint in plan.hints)
    assert said in pot("start", "P3", "Low sun", "Lumme", *asked)


def test_a_start_now_is_told_by_its_hour(pot):
    out = pot("start", "P4", "Low sun", "Lumme", "--goods", "100 g")
    assert re.match(r"started P4 at \d\d:\d\d: ", out)


def test_dye_and_what_is_poured_of_its_stock_agree(pot):
    out = pot("start", "P5", "Low sun", "Lumme", "--goods", "908 g", "--version", 2)
    assert "Ember 1 %: 910 mL of stock S1 (9.1 g of dye)" in out  # of 908 mL, which hold 9.08 g


def test_planned_and_done_are_kept_apart_and_depth_is_from_what_went_in(pot):
    started(pot)
    pot("did", "P1", "dye in", "--dye", "Ember=85 mL", "--dye", "tarn=1 tsp")
    pot("did", "P1", "2", "--amount", "1.5 g", "--ph", 5.1)
    log = json.loads(pot("log", "P1", "--json"))
    assert log["plan"]["parts"][0]["doses"][0]["words"] == "80 mL"
    assert log["plan"]["parts"][0]["steps"][1]["amount"] == "2 g"
    assert log["done"]["steps"][1]["step"]["amount"] == "1.5 g"
    assert log["done"]["steps"][1]["plan_number"] == 2
    out = pot("log", "P1")
    assert "Ember 85 mL of stock S1: 0.85 % depth of shade" in out
    assert "Tarn 1 tsp of stock S1: 0.05 % depth of shade" in out
    assert "[x] 2. acid in, 2 g" in out
    assert "[ ] 1. soak" in out


def test_what_goes_in_lowers_what_is_left(pot):
    started(pot)
    out = pot("did", "P1", "dye in", "--dye", "Ember=50 mL")
    assert "about 70 mL of it left" in out  # 200 mL made, 80 in an earlier lot, 50 now
    out = pot("did", "P1", "dye in", "--dye", "Ember=30 g")
    assert "about 40 mL of it left" in out and "seen on" not in out


def test_what_is_poured_on_the_day_of_a_look_is_taken_as_before_it_and_that_is_told(pot, folder):
    started(pot)
    today = f"{date.today():%Y-%m-%d}"
    with open_archive(folder) as archive:
        add_stock(archive.conn, replace(
            get_stock(archive.conn, "Ember", "S1"), left_ml=100.0, left_seen_on=today
        ))  # fmt: skip
    out = pot("did", "P1", "dye in", "--dye", "Ember=50 mL")
    assert f"about 100 mL of it left, by what was seen on {today} and poured on days after" in out


def test_the_stock_chosen_at_the_start_is_the_one_used(pot):
    started(pot, "--stock", "ember=S2", "--powder", "Tarn")
    pot("did", "P1", "dye in", "--dye", "Ember=50 mL", "--dye", "Tarn=0.2 g")
    out = pot("log", "P1")
    assert "Ember 50 mL of stock S2: 0.5 %" in out
    assert "Tarn 0.2 g: 0.2 %" in out


def test_a_hold_is_timed_by_what_is_stored(pot):
    started(pot)
    out = pot("hold", "P1", "--at", "2026-03-01T10:00")
    assert "hold, 85 °C, 30 min" in out
    assert "to 10:30: done" in out
    pot("edit", "P1", "1", "--minutes", 45)
    assert "to 10:45: done" in pot("time", "P1")
    assert json.loads(pot("time", "P1", "--json"))["minutes"] == 45


def test_minutes_that_no_clock_can_tell_are_refused_and_break_nothing(pot, folder):
    started(pot)
    refused = pot("hold", "P1", "--minutes", "1e308", code=1)
    assert "a step of 1e+308 min cannot be timed: 144000 (a hundred days) is the most" in refused
    for minutes in (1e308, 1e12):  # as notes may tell them
        with open_archive(folder) as archive:
            record_step(
                archive.conn, "P1", PotStep("hold", f"{NOW:%Y-%m-%dT%H:%M}", minutes=minutes)
            )
        assert "hold of 144000 min since" in pot("time", "P1")


@pytest.mark.parametrize("said", ["9" * 25, "²"])
def test_numbers_that_no_step_or_version_has(said, pot):
    started(pot)
    assert "no whole number" in pot("edit", "P1", said, "--note", "x", code=2)
    assert "no whole number" in pot("start", "P9", "Low sun", "Lumme", "--version", said, code=2)
    assert "unknown kind of step" in pot("did", "P1", said, code=1)


def test_a_step_can_be_edited_and_the_rest_of_it_stays(pot):
    started(pot)
    pot("did", "P1", "1", "--at", "2026-03-01T09:10", "--temperature", 30)
    pot("edit", "P1", "1", "--note", "cold tap", "--temperature", 18)
    assert "2026-03-01 09:10  soak, 18 °C, 30 min, cold tap" in pot("log", "P1")
    assert "has no step 7" in pot("edit", "P1", "7", "--note", "x", code=1)


def test_a_dye_typed_wrong_is_corrected_and_the_depth_follows(pot):
    started(pot)
    pot("did", "P1", "dye in", "--dye", "Ember=800 mL", "--stock", "Ember=S1")
    pot("edit", "P1", "1", "--dye", "ember=80 mL")
    out = pot("log", "P1")
    assert "Ember 80 mL of stock S1: 0.8 % depth of shade" in out
    assert "800" not in out
    assert "no 'Tarn' went into" in pot("edit", "P1", "1", "--dye", "Tarn=1 mL", code=1)


# 80 mL of S1 (1 %) are planned, 0.8 g of dye, in 3 L: the grams of the powder taken for stock, ten
# times the plan, more than the pot holds; and amounts that a dyer may well mean.
@pytest.mark.parametrize(
    ("amount", "words"),
    [
        ("0.8 g", "0.8 g of stock S1 holds 0.008 g of dye, where 0.8 g are planned"),
        ("800 mL", "holds 8 g of dye, where 0.8 g are planned"),
        ("250 mL", "holds 2.5 g of dye, where 0.8 g are planned"),
        ("230 mL", None),
        ("20 mL", None),
        ("70 g", None),
        ("a splash", None),
    ],
)
def test_an_amount_far_from_the_plan_is_asked_about(pot, amount, words):
    started(pot, "--ratio", "1:30")
    told = ("did", "P1", "dye in", "--dye", f"Ember={amount}")
    if words is None:
        pot(*told)
        return
    said = pot(*told, code=1)
    assert words in said and '--powder "Ember"' in said and '--stock "Ember=S1"' in said
    assert "Ember" not in pot("log", "P1").partition("nothing done yet")[2]
    assert words in pot("did", "P1", "dye in", "--dye", f"ember={amount}", code=1)
    pot(*told, "--stock", "ember=S1")
    assert f"Ember {amount} of stock S1" in pot("log", "P1")


def test_a_correction_far_from_the_plan_is_told(pot):
    started(pot)
    pot("did", "P1", "dye in", "--dye", "Ember=80 mL", "--dye", "Tarn=1 tsp")
    assert "!" not in pot("edit", "P1", "1", "--dye", "Ember=85 mL")
    out = pot("edit", "P1", "1", "--dye", "ember=0.8 g")
    assert "! Ember: 0.8 g of stock S1 holds 0.008 g of dye, where 0.8 g are planned" in out
    assert "Tarn" not in out


def test_powder_that_is_named_is_powder(pot):
    started(pot)
    pot("did", "P1", "dye in", "--dye", "Ember=0.8 g", "--powder", "Ember")
    assert "Ember 0.8 g: 0.8 % depth of shade" in pot("log", "P1")


def test_more_than_the_pot_holds_is_asked_about_without_a_plan_too(folder):
    with open_archive(folder) as archive:
        lot = Lot("P", ("Lumme",), "Low sun", recipe_version=1, dry_g=100.0, liquor_ml=3000.0)
        start_pot(archive.conn, lot, "2026-03-01T10:00", {})
        told = [DyeIn("Ember", "3001 mL", stock="S1"), DyeIn("Tarn", "3000 mL", stock="S1")]
        found = doubtful_doses(archive.conn, None, get_pot(archive.conn, "P"), told)
    assert list(found) == ["Ember"] and "more than the pot's 3000 mL of liquor" in found["Ember"]


def test_a_step_that_ends_a_hold_says_so(pot):
    started(pot)
    pot("hold", "P1", "--minutes", 500)
    out = pot("did", "P1", "cool")
    assert "this ends the hold that ran" in out and 'pot undo "P1"' in out
    pot("undo", "P1")
    assert "ended by" not in pot("time", "P1")
    assert "runs on" not in pot("undo", "P1")  # the hold itself, which ended nothing
    pot("hold", "P1", "--minutes", 500)
    pot("look", "P1", "--left", "some")
    assert "runs on" not in pot("undo", "P1")  # a look ended nothing
    pot("did", "P1", "cool")
    pot("edit", "P1", "2", "--kind", "look")
    assert "ended by" not in pot("time", "P1")


@pytest.mark.parametrize("typed", ["0", "0,0", "0 mL"])
def test_a_dye_that_did_not_go_in_is_nothing_in_any_unit(pot, typed):
    started(pot, "--powder", "Tarn")
    pot("did", "P1", "dye in", "--dye", "Ember=80 mL", "--dye", "Tarn=0.2 g")
    assert "went in" in pot("log", "P1")
    out = pot("edit", "P1", "1", "--dye", f"Ember={typed}", "--dye", "Tarn=0")
    assert "Ember: 0 mL of stock S1" in out and "Tarn: 0 g, and not 0.2 g" in out
    out = pot("log", "P1")
    assert "  dye in\n" in out and "went in" not in out
    pot("end", "P1")
    assert "Ember 0 % instead of 0.8 %" in pot("log", "P1")


def test_a_step_that_was_another_leaves_the_planned_one_open(pot):
    started(pot)
    pot("did", "P1", "1", "--at", "2026-03-01T09:10")
    assert "[x] 1. soak" in pot("log", "P1")
    pot("edit", "P1", "1", "--kind", "soak")
    assert "[x] 1. soak" in pot("log", "P1")
    pot("edit", "P1", "1", "--kind", "other", "--note", "tapped by mistake")
    assert "[ ] 1. soak" in pot("log", "P1")


def test_the_last_step_is_struck_and_what_it_ended_runs_on(pot, folder):
    started(pot, "--ratio", 30)
    begun = f"{datetime.now().astimezone() - timedelta(minutes=5):%Y-%m-%dT%H:%M:%S}"
    pot("hold", "P1", "--minutes", 500, "--at", begun)
    pot("did", "P1", "cool")
    assert "ended by cool" in pot("time", "P1")
    out = pot("undo", "P1")
    assert "struck 2. " in out and "cool; kept as struck, counted nowhere" in out
    assert "the hold, which runs on: hold of 500 min" in out
    assert "ended by" not in pot("time", "P1")
    log = pot("log", "P1")
    assert "struck, and counted nowhere" in log
    assert "cool (struck 20" in log.split("struck, and counted nowhere")[1]
    assert "cool" not in log.split("struck, and counted nowhere")[0].split("done")[1]
    with open_archive(folder) as archive:
        assert [s.kind for s in get_lot(archive.conn, "P1").steps] == ["hold"]
        assert not verify(archive)


def test_a_struck_dye_is_back_in_its_stock_and_its_planned_step_open(pot, folder):
    with_dye_steps(folder, "dye in", "rinse")
    pot("start", "P3", "Low sun", "Lumme", "--goods", "100 g")
    pot("did", "P3", "dye in", "--dye", "Ember=30 mL")
    pot("did", "P3", "dye in", "--dye", "Ember=50 mL", "--dye", "Tarn=20 mL")
    pot("did", "P3", "look", "--left", "some")
    pot("undo", "P3")  # the look, which put nothing in
    assert "Ember 50 mL" in pot("log", "P3")
    out = pot("undo", "P3")
    assert "Ember: 50 mL of stock S1, taken out again; about 90 mL of it left" in out
    assert "planned step" not in out  # that was the first
    log = json.loads(pot("log", "P3", "--json"))["done"]
    assert [(d["dye"], d["amount"]) for d, _ in log["dyes_in"]] == [("Ember", "30 mL")]
    assert [(s["number"], s["step"]["kind"]) for s in log["struck"]] == [(3, "look"), (2, "dye in")]
    assert [d["amount"] for d in log["struck"][1]["dyes"]] == ["50 mL", "20 mL"]
    assert "planned step 1 is open again" in pot("undo", "P3")
    assert "[ ] 1. dye in" in pot("log", "P3")
    assert "has no step: there is nothing to take back" in pot("undo", "P3", code=1)
    assert "1. " in pot("did", "P3", "1")  # and is done anew


def test_an_end_is_taken_back_first_with_what_was_told_of_it(pot, folder):
    started(pot)
    pot("did", "P1", "look", "--left", "trace", "--at", "2026-03-02T09:30")
    pot("end", "P1", "--bled", "none", "--next-time", "less brown", "--at", "2026-03-02T10:00")
    out = pot("undo", "P1")
    assert "end, bled: none; next time: less brown; kept as struck, the pot is open again" in out
    log = pot("log", "P1")
    assert "ended 20" not in log and "\n  next time: less brown" not in log
    struck = log.split("struck, and counted nowhere")[1]
    assert "2. 2026-03-02 10:00  end, bled: none; next time: less brown (struck 20" in struck
    done = json.loads(pot("log", "P1", "--json"))["done"]
    assert done["ended_at"] is None and set(done["end"].values()) == {None}
    assert [s["step"]["kind"] for s in done["steps"]] == ["look"]
    with open_archive(folder) as archive:
        assert not verify(archive)
        assert next_time(archive.conn, "Low sun", "Lumme") is None
    pot("end", "P1", "--next-time", "more red")
    assert "more red; kept as struck" in pot("undo", "P1")
    assert "struck 1. " in pot("undo", "P1")  # then the look


def test_a_pot_of_which_nothing_is_told_can_be_let_go(pot, folder, capsys):
    started(pot)
    pot("did", "P1", "dye in", "--dye", "Ember=30 mL")
    pot("end", "P1", "--bled", "a little")
    gone = ("mend", "lot", "P1", "--remove", "--archive", folder)
    said = run(capsys, *gone).err
    assert "1 dye that went in, 1 step of its log, 1 end of its pot. Only" in said
    pot("undo", "P1")
    pot("undo", "P1")
    out = run(capsys, *gone).out
    assert "is gone: nothing belonged to it" in out
    assert "with it went 2 struck steps of its log" in out
    assert "no lot" in pot("log", "P1", code=1) or "unknown lot" in pot("log", "P1", code=1)
    with open_archive(folder) as archive:
        assert verify(archive) == []


def test_dye_of_before_steps_were_noted_with_it_goes_only_where_it_is_plain(pot, folder):
    started(pot)
    pot("did", "P1", "dye in", "--dye", "Ember=30 mL")
    with open_archive(folder) as archive:
        archive.conn.execute("UPDATE lot_dye SET pot_step_id = NULL")
    assert "dye in, with 30 mL of Ember" in pot("log", "P1")
    pot("undo", "P1")
    assert "went in" not in pot("log", "P1")
    for amount in (30, 40):
        pot("did", "P1", "dye in", "--dye", f"Ember={amount} mL")
    log = pot("log", "P1")
    assert "dye in, with 40 mL of Ember" in log and "depth of shade (step 2)" in log
    with open_archive(folder) as archive:
        archive.conn.execute("UPDATE lot_dye SET pot_step_id = NULL")
    log = pot("log", "P1")  # by which step what went in is not known any more
    assert "dye in, with" not in log.partition("struck, and")[0] and "(step" not in log
    assert "in 2 steps" in pot("undo", "P1", code=1)
    assert "Ember 40 mL" in pot("log", "P1") and "2. " in pot("log", "P1")


def test_notes_do_not_bring_a_struck_step_back(pot, folder):
    assert "take the step out of studio.toml too" in pot("undo", "L1")
    with open_archive(folder) as archive:
        (struck,) = get_pot(archive.conn, "L1").struck
        assert struck.step.kind == "look"
        lot = get_lot(archive.conn, "L1")
        again = replace(lot, steps=(*lot.steps, struck.step))
        with pytest.raises(ArchiveError, match=r"'look' \(2026-03-01T10:45\) was struck on 20"):
            apply_notes(archive.conn, Notes(lots=(again,)))
        other = replace(struck.step, colour_left="20 %")
        assert apply_notes(archive.conn, Notes(lots=(replace(lot, steps=(*lot.steps, other)),)))
        with pytest.raises(ArchiveError, match="kept as it was"), transaction(archive.conn):
            archive.conn.execute("UPDATE struck_step SET position = 9")


def with_dye_steps(folder, *kinds):
    dyes = (PlannedDye("Ember", 0.8), PlannedDye("Tarn", 0.2))
    part = RecipePart(dyes=dyes, steps=tuple(PlannedStep(k) for k in kinds))
    with open_archive(folder) as archive:
        add_recipe(archive.conn, Recipe("Low sun", "Lumme", 3, 1, (part,)))


def test_a_planned_dye_step_counts_the_planned_amounts_once(pot, folder):
    with_dye_steps(folder, "dye in", "rinse")
    pot("start", "P3", "Low sun", "Lumme", "--goods", "100 g", "--also", "Torva", "--over", "L1")
    assert "Ember: 80 mL of stock S1; about 40 mL of it left" in pot("did", "P3", "dye in")
    assert "is done already, as step 1" in pot("did", "P3", "1", code=1)
    assert "say what went in" in pot("did", "P3", "dye in", code=1)
    log = json.loads(pot("log", "P3", "--json"))
    assert [round(g, 6) for _, g in log["done"]["dyes_in"]] == [0.8, 0.2]
    with open_archive(folder) as archive:
        lot = get_lot(archive.conn, "P3")
    assert (lot.bases, lot.overdyes, lot.recipe_version) == (("Lumme", "Torva"), "L1", 3)


def test_dye_that_goes_in_twice_must_be_said(pot, folder):
    with_dye_steps(folder, "dye in", "heat", "dye in")
    pot("start", "P3", "Low sun", "Lumme", "--goods", "100 g")
    said = pot("did", "P3", "1", code=1)
    assert "goes in more than once" in said
    assert 'of what is open: --dye "Ember=80 mL" --dye "Tarn=20 mL"' in said
    pot("did", "P3", "1", "--dye", "Ember=40 mL", "--dye", "Tarn=20 mL")
    said = pot("did", "P3", "3", code=1)
    assert 'of what is open: --dye "Ember=40 mL"' in said and "Tarn" not in said
    pot("did", "P3", "dye in", "--dye", "Ember=40 mL")
    assert "[x] 3. dye in" in pot("log", "P3")


def test_where_a_lot_departs_from_its_plan_is_said(pot):
    started(pot)
    pot("did", "P1", "dye in", "--dye", "Ember=40 mL")
    pot("did", "P1", "dye in", "--dye", "Ember=40.2 mL")
    assert "departs from the plan: Ember" not in pot("end", "P1")
    assert "departs from the plan: Tarn 0 % instead of 0.2 %" in pot("log", "P1")
    pot("did", "P1", "dye in", "--dye", "Ember=5 mL")
    assert "departs from the plan: Ember 0.852 % instead of 0.8 %" in pot("log", "P1")


@pytest.mark.parametrize(
    ("later", "ended", "said"),
    [
        (("cool", "12:00:39"), None, ["hold of 30 min ended after 0 min 39 s, by cool"]),
        (("cool", "12:26:00"), None, ["hold of 30 min ended after 26 min 00 s, by cool"]),
        (("cool", "12:27:30"), None, []),  # a tenth early is as planned
        (("rinse", "13:00:00"), None, []),
        (("hold", "12:10:00"), None, ["hold of 30 min ended after 10 min 00 s, by hold"]),
        (("heat", "12:01:00"), None, []),  # one may heat through a hold
        (
            ("look", "12:01:00"),
            "12:05:00",
            ["hold of 30 min ended after 5 min 00 s, by the end"],
        ),
        (("look", "12:01:00"), None, []),
    ],
)
def test_a_hold_cut_short_is_said(later, ended, said):
    def at(hour):
        return f"2026-03-01T{hour}+00:00"

    steps = [PotStep("hold", at("12:00:00"), minutes=30.0), PotStep(later[0], at(later[1]))]
    found = cut_short(steps, ended and at(ended))
    assert len(found) == len(said) and all(map(str.startswith, found, said))


@pytest.mark.parametrize(
    ("kind", "later", "said"),
    [
        ("soak", ("dye in", "12:10:00"), ["soak of 30 min ended after 10 min 00 s, by dye in"]),
        ("soak", ("heat", "12:10:00"), ["soak of 30 min ended after 10 min 00 s, by heat"]),
        ("soak", ("dye in", "12:27:30"), []),  # a tenth early is as planned
        ("soak", ("acid in", "12:10:00"), []),  # yarn soaks on
        ("heat", ("hold", "12:10:00"), ["heat of 30 min ended after 10 min 00 s, by hold"]),
        ("heat", ("dye in", "12:10:00"), []),
        ("rinse", ("dry", "12:10:00"), []),
        ("heat", ("look", "12:10:00"), ["heat of 30 min ended after 15 min 00 s, by the end"]),
    ],
)
def test_a_soak_and_a_heat_cut_short_are_said(kind, later, said):
    def at(hour):
        return f"2026-03-01T{hour}+00:00"

    steps = [PotStep(kind, at("12:00:00"), minutes=30.0), PotStep(later[0], at(later[1]))]
    found = cut_short(steps, at("12:15:00") if later[0] == "look" else at("13:00:00"))
    assert len(found) == len(said) and all(map(str.startswith, found, said))
    assert cut_short([PotStep(kind, at("12:00:00")), steps[1]], at("12:15:00")) == []


def test_a_hold_of_a_day_without_a_time_is_not_said_to_be_cut():
    steps = [PotStep("hold", "2026-03-01", minutes=30.0), PotStep("cool", "2026-03-01")]
    assert cut_short(steps, "2026-03-01T12:00") == []


def test_a_hold_that_was_cut_stands_in_the_log_as_a_departure(pot):
    started(pot)
    pot("did", "P1", "hold", "--minutes", 25, "--at", "2026-03-01T10:00")
    pot("did", "P1", "cool", "--at", "2026-03-01T10:02")
    assert "departs from the plan: hold of 25 min ended after 2 min 00 s" in pot("log", "P1")


def test_what_goes_in_is_recorded_as_planned_with_its_name_or_asked_for(pot, folder):
    amounts = ("20 mL of 56 % acetic acid", "2 % of goods, citric acid", "5 % vinegar")
    steps = tuple(PlannedStep("acid in", amount) for amount in amounts)
    with open_archive(folder) as archive, transaction(archive.conn):
        recipe = Recipe("Low sun", "Lumme", 3, 1, (RecipePart(steps=steps),))
        add_recipe(archive.conn, recipe, as_kept=True)
    said = pot("start", "P4", "Low sun", "Lumme", "--goods", "200 g")
    assert "3. acid in, 5 % vinegar (not reckoned" in said and "two ways" in said
    assert "acid in, 20 mL of 56 % acetic acid" in pot("did", "P4", "1")
    assert "acid in, 4 g of citric acid" in pot("did", "P4", "2")
    assert "'5 % vinegar' cannot be read" in pot("did", "P4", "3", code=1)
    assert "acid in, vinegar (5 %) 60 mL" in pot(
        "did", "P4", "3", "--amount", "vinegar (5 %) 60 mL"
    )
    pot("edit", "P4", "1", "--amount", "30 mL of 56 % acetic acid")
    with open_archive(folder) as archive:
        done = [(d.amount_ml, d.amount_g) for d in get_pot(archive.conn, "P4").steps]
    assert done == [(30.0, None), (None, 4.0), (60.0, None)]
    departs = [line for line in pot("log", "P4").splitlines() if "departs" in line]
    assert departs == [
        "  departs from the plan: step 1, acid in: 30 mL of 56 % acetic acid instead of 20 mL of "
        "56 % acetic acid"
    ]


@pytest.fixture
def acids(pot, folder):
    """Pot P4 of 100 g: an acid named in the note, one in the amount, one that cannot be read."""
    steps = (
        PlannedStep("acid in", "20 mL per 100 g", note="56 % acetic acid"),
        PlannedStep("acid in", "5 mL per 100 g of 56 % acetic acid"),
        PlannedStep("acid in", "5 % vinegar"),
    )
    with open_archive(folder) as archive, transaction(archive.conn):
        recipe = Recipe("Low sun", "Lumme", 3, 1, (RecipePart(steps=steps),))
        add_recipe(archive.conn, recipe, as_kept=True)
    pot("start", "P4", "Low sun", "Lumme", "--goods", "100 g")
    return pot


@pytest.mark.parametrize(
    ("number", "told", "said"),
    [
        (1, (), "acid in, 20 mL, 56 % acetic acid"),
        (1, ("--ph", "5"), "acid in, 20 mL, pH 5, 56 % acetic acid"),
        (1, ("--amount", "6 mL"), "acid in, 6 mL, 56 % acetic acid"),
        (1, ("--note", "slowly"), "acid in, 20 mL, slowly (planned: 56 % acetic acid)"),
        (
            1,
            ("--amount", "6 mL", "--note", "citric acid"),  # it may be another one
            "acid in, 6 mL, citric acid (planned: 56 % acetic acid)",
        ),
        (1, ("--note", "the 56 % acetic acid"), "acid in, 20 mL, the 56 % acetic acid"),
        (
            1,
            ("--amount", "60 mL of 5 % vinegar"),
            "acid in, 60 mL of 5 % vinegar, planned: 56 % acetic acid",
        ),
        (1, ("--amount", "a splash"), "acid in, a splash, planned: 56 % acetic acid"),
        (2, (), "acid in, 5 mL of 56 % acetic acid"),
        (2, ("--amount", "12 mL"), "acid in, 12 mL of 56 % acetic acid"),
        (2, ("--amount", "2 tsp", "--note", "slowly"), "2 tsp of 56 % acetic acid, slowly"),
        (2, ("--amount", "12 mL vinegar"), "12 mL vinegar, planned: 56 % acetic acid"),
        (3, ("--amount", "60 mL"), "acid in, 60 mL, planned: 5 % vinegar"),
    ],
)
def test_which_acid_it_was_stays_with_another_amount(acids, number, told, said):
    assert acids("did", "P4", number, *told).splitlines()[0].endswith(said)
    assert said in acids("log", "P4")


def test_a_corrected_amount_keeps_which_acid_it_was(acids, folder):
    acids("did", "P4", 2)
    said = acids("edit", "P4", 1, "--amount", "12 mL")
    assert said.splitlines()[0].endswith("acid in, 12 mL of 56 % acetic acid")
    with open_archive(folder) as archive:
        assert get_pot(archive.conn, "P4").steps[0].amount_ml == 12.0
    assert "12 mL of 5 % vinegar" in acids("edit", "P4", 1, "--amount", "12 mL of 5 % vinegar")
    said = acids("edit", "P4", 1, "--kind", "salt in", "--amount", "2 g")
    assert "vinegar" not in said


def test_skeins_with_grams_in_and_out_and_one_that_broke(pot, folder):
    started(pot)
    pot("skein", "P1", "a", "--in", "100 g")
    pot("skein", "P1", "a", "--out", "3.5 oz")
    pot("skein", "P1", "a2", "--from", "a", "--out", "20 g", "--note", "broke")
    assert "unknown skein 'z'" in pot("skein", "P1", "b", "--from", "z", code=1)
    assert "no mass" in pot("skein", "P1", "b", "--in", "3 mL", code=1)
    with open_archive(folder) as archive:
        skeins = get_lot(archive.conn, "P1").skeins
    assert [(s.label, s.grams_in, s.from_skein) for s in skeins] == [
        ("a", 100.0, None),
        ("a2", None, "a"),
    ]
    assert skeins[0].grams_out == pytest.approx(99.22, abs=0.01)


def test_a_weight_without_a_unit_is_in_grams_and_told_so(pot):
    assert "goods 150 g, dry" in pot("start", "P1", "Low sun", "Lumme", "--goods", "150")
    assert "added, 100 g in, 98.5 g out" in pot("skein", "P1", "a", "--in", "100", "--out", "98,5")
    assert "100.65 g out" in pot("skein", "P1", "b", "--out", "100.65")


@pytest.mark.parametrize(
    ("weights", "asked"),
    [
        (("--in", "62 g", "--out", "71 g"), "is it damp still"),
        (("--in", "62 g", "--out", "40 g"), "is a piece of it missing"),
        (("--in", "500 g"), "of dry goods: is one of them wrong?"),
    ],
)
def test_a_skein_that_can_hardly_weigh_so_is_asked_about_before_it_is_kept(
    pot, folder, capsys, weights, asked
):
    started(pot)
    assert "!" not in pot("skein", "P1", "a", "--in", "20 g", "--out", "19 g")
    assert "!" not in pot("skein", "P1", "b", "--in", "10 g", "--out", "10.5 g")  # damp of the air
    told = ("pot", "skein", "P1", "s", *weights, "--archive", folder)
    ran = run(capsys, *told)
    assert ran.code == 1 and "not kept yet" in ran.err and asked in ran.err
    assert "add --really" in ran.err and ran.err.count("\n") == 1
    with open_archive(folder) as archive:
        assert [s.label for s in get_lot(archive.conn, "P1").skeins] == ["a", "b"]
    ran = run(capsys, *told, "--really")
    assert ran.code == 0 and f"{weights[1]} in" in ran.out
    assert asked in ran.out and "! " in ran.out
    with open_archive(folder) as archive:
        assert [s.label for s in get_lot(archive.conn, "P1").skeins] == ["a", "b", "s"]


def test_the_end_is_kept_and_can_be_added_to(pot, folder, capsys):
    started(pot)
    assert "how it ended" not in run(capsys, "show", "lot", "P1", "--archive", folder).out
    pot("look", "P1", "--left", "15%", "--ph", 4.8)
    pot("end", "P1", "--bled", "a little red", "--handle", "halo kept")
    pot("end", "P1", "--success", "yes", "--next-time", "less acid")
    out = pot("log", "P1")
    for said in ("bled: a little red", "handle: halo kept", "success: yes", "next time: less acid"):
        assert said in out
    with open_archive(folder) as archive:
        assert not verify(archive)
    shown = run(capsys, "show", "lot", "P1", "--archive", folder).out
    ended = [line.split() for line in shown.partition("how it ended\n")[2].splitlines()[:5]]
    assert ended[1:] == [
        ["bled", "a", "little", "red"],
        ["handle", "halo", "kept"],
        ["success", "yes"],
        ["next_time", "less", "acid"],
    ]
    next_one = pot("start", "P2", "Low sun", "Lumme", "--goods", "100 g")
    assert "to try, from lot P1: less acid" in next_one


def test_what_to_try_is_told_until_a_version_is_made_after_that_lot(pot, folder, capsys):
    def told():
        return "to try, from lot P1: less acid" in run(
            capsys, "recipe", "Low sun", "Lumme", "--archive", folder
        ).out  # fmt: skip

    def made(at):
        with open_archive(folder) as archive:
            archive.conn.execute("UPDATE recipe SET added_at = ? WHERE version = 2", (at,))

    made("2026-03-01T09:00:00Z")
    started(pot)
    with open_archive(folder) as archive:
        archive.conn.execute("UPDATE recipe SET added_at = '2026-01-01T00:00:00Z'")
    pot("end", "P1", "--next-time", "less acid", "--at", "2026-03-01T11:30:00+01:00")
    made("2026-03-01T10:30:00Z")  # the very moment, in another zone
    assert told()
    made("2026-03-01T10:31:00Z")
    assert not told()
    with open_archive(folder) as archive:  # no time of the end: the day it was dyed on counts whole
        archive.conn.execute("UPDATE pot SET ended_at = NULL")
    assert told()
    made("2026-03-02T00:00:01Z")
    assert not told()
    assert "next time: less acid" in pot("log", "P1")


def test_a_step_after_the_end_is_kept_and_told(pot):
    started(pot)
    assert "had ended" not in pot("did", "P1", "rinse")
    pot("end", "P1")
    assert "! the lot had ended" in pot("did", "P1", "dry")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("did", "P1", "acid in", "--at", "2026-03-01T08:00"), "before the lot began"),
        (("did", "P1", "9"), "no planned step 9"),
        (("did", "P1", "stir"), "unknown kind of step"),
        (("did", "P1", "acid in", "--amount", "2 spoonfuls"), "units known"),
        (("did", "P1", "acid in", "--ph", "19"), "pH must be between 0 and 14"),
        (("did", "P1", "dye in", "--dye", "Nought=2 mL"), "unknown dye"),
        (("did", "P1", "dye in"), "say what went in"),
        (("look", "P1", "--left", "lots"), "say none, trace"),
        (("hold", "P9"), "unknown lot"),
        (("start", "P2", "Low sun", "Lumme", "--goods", "0 g"), "more than 0 g"),
        (("start", "P1", "Low sun", "Lumme", "--goods", "100 g"), "there already"),
        (("start", "P2", "Low sun", "Lumme", "--goods", "9 g", "--stock", "X=S1"), "no dye 'X'"),
    ],
)
def test_a_mistake_is_one_line_and_the_log_stays(pot, arguments, said):
    started(pot)
    pot("did", "P1", "1")
    before = pot("log", "P1")
    err = pot(*arguments, code=1)
    assert said in err
    assert len(err.splitlines()) == 1
    assert pot("log", "P1") == before


def test_a_dye_that_no_stock_holds_is_told_at_the_start(pot, folder):
    with open_archive(folder) as archive:
        archive.conn.execute("DELETE FROM lot_dye WHERE dye_id = (SELECT id FROM dye "
                             "WHERE name = 'Tarn')")  # fmt: skip
        archive.conn.execute("DELETE FROM stock WHERE dye_id = (SELECT id FROM dye "
                             "WHERE name = 'Tarn')")  # fmt: skip
    asked = ("start", "P1", "Low sun", "Lumme", "--version", 1, "--goods", "100 g")
    assert "no stock of 'Tarn'" in pot(*asked, code=1)
    assert "Tarn 0.2 %: 0.2 g of powder" in pot(*asked, "--powder", "Tarn")


def test_a_pot_cannot_have_ended_before_a_step_of_its_log(pot):
    started(pot, "--at", "2026-03-01T09:00")
    pot("did", "P1", "hold", "--at", "2026-03-01T10:00:30", "--minutes", "5")
    said = pot("end", "P1", "--at", "2026-03-01T09:30", code=1)
    assert "its log has a step at 2026-03-01 10:00" in said
    assert "ended 2026-03-01 10:00" in pot("end", "P1", "--at", "2026-03-01T10:00")
