"""The next version of a recipe, and the sizes of spoon and cup."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from swatchvault.amounts import SpoonSizes
from swatchvault.archive import (
    DyeIn,
    Lot,
    Notes,
    PlannedDye,
    PlannedStep,
    PotStep,
    Recipe,
    RecipePart,
    add_lot,
    apply_notes,
    edit_step,
    get_recipe,
    open_archive,
    record_step,
    set_spoons,
    spoons_of,
)
from swatchvault.errors import SwatchvaultError
from swatchvault.recipe_sheet import recipe_changes
from swatchvault.revision import Changes, read_step, revise
from tests.swatchvault.factories import dump
from tests.swatchvault.running import run

SOAK, HOLD, RINSE = PlannedStep("soak"), PlannedStep("hold", None, 85.0, 30.0), PlannedStep("rinse")
ONE = Recipe(
    "Low sun",
    "Lumme",
    parts=(
        RecipePart(dyes=(PlannedDye("Ember", 0.8), PlannedDye("Tarn", 0.2)), steps=(SOAK, HOLD)),
    ),
)
TWO = replace(ONE, parts=(*ONE.parts, RecipePart("dipped end", 25.0, steps=(RINSE,))))


def only(recipe):
    (part,) = recipe.parts
    return part


# --- the step as text -------------------------------------------------------------------------


@given(
    kind=st.sampled_from(["acid in", "hold", "soak"]),
    amount=st.sampled_from([None, "2 %", "12.5 g", "0,5 g", "5 mL per 100 g", "1/2 tsp"]),
    temperature=st.none() | st.integers(-5, 110).map(float),
    minutes=st.none() | st.integers(0, 500).map(float),
    note=st.sampled_from([None, "white vinegar", "white vinegar, 5 %", "stir, then wait"]),
)
def test_a_step_is_read_as_it_is_shown(kind, amount, temperature, minutes, note):
    step = PlannedStep(kind, amount, temperature, minutes, note)
    shown = recipe_changes(ONE, replace(ONE, parts=(replace(ONE.parts[0], steps=(step,)),)))
    (added,) = [c.partition("+ step: ")[2] for c in shown if "+ step" in c] or [None]
    if added is not None:
        assert read_step(added) == step


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("soak 30 min", PlannedStep("soak", None, None, 30.0)),
        ("Hold 85 C 40 min", PlannedStep("hold", None, 85.0, 40.0)),
        ("hold at 85 °C for 40 minutes", PlannedStep("hold", None, 85.0, 40.0)),
        ("heat to 82,5 C, slowly", PlannedStep("heat", None, 82.5, None, "slowly")),
        ("acid 2 %", PlannedStep("acid in", "2 %")),
        ("salt in 20 mL per 100 g", PlannedStep("salt in", "20 mL per 100 g")),
        ("levelling agent 1/2 tsp", PlannedStep("levelling agent in", "1/2 tsp")),
        ("rinse until clear", PlannedStep("rinse", note="until clear")),
        ("dye", PlannedStep("dye in")),
        ("other auxiliary 3 g, first", PlannedStep("other auxiliary in", "3 g", note="first")),
    ],
)
def test_commas_after_the_kind_may_be_left_out(typed, meant):
    assert read_step(typed) == meant


ACID = "56 % acetic acid"


@pytest.mark.parametrize(
    ("typed", "amount", "note"),
    [
        ("acid in, 2 %, white vinegar", "2 %", "white vinegar"),
        ("acid in, 2 %, 5 % vinegar", "2 %", "5 % vinegar"),
        ("acid in 2 % of goods white vinegar", "2 % of goods", "white vinegar"),
        (f"acid in, {ACID} 20 mL", f"{ACID} 20 mL", None),
        (f"acid in {ACID} 20 mL", f"{ACID} 20 mL", None),
        (f"acid in, 20 mL of {ACID}", f"20 mL of {ACID}", None),
        (f"acid in 20 mL of {ACID}, slowly", f"20 mL of {ACID}", "slowly"),
        (f"acid in 20 mL {ACID}", "20 mL", ACID),
        ("acid in, 5 % vinegar, 60 mL", "60 mL", "5 % vinegar"),
        ("acid in, white vinegar, 60 mL", "60 mL", "white vinegar"),
        ("acid in, white vinegar, 5 %", None, "white vinegar, 5 %"),
        ("acid in, 2 %, then 5 mL if dull", "2 %", "then 5 mL if dull"),
    ],
)
def test_a_strength_is_told_from_an_amount(typed, amount, note):
    assert read_step(typed) == PlannedStep("acid in", amount, note=note)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("stir, 3 min", "unknown kind"),
        ("acid in, 3 pots", "units known"),
        ("acid in, 5 % vinegar", "two ways, .*'5 % of goods, vinegar'.*'20 mL of 5 % vinegar'"),
        ("acid in 2,5 % white vinegar", "two ways"),
        ("acid in, 56 %, 20 mL", "56 % and 20 mL are two amounts"),
        ("acid in, 20 mL, acid, 3 g", "20 mL and 3 g are two amounts"),
        ("soaking 30 min", "unknown kind"),
        ("hold until 85 C is reached", "cannot be read"),
        ("heat, 85", "85 of what.* 85 C, 85 min, 85 %"),
        ("heat 85", "85 of what"),
    ],
)
def test_a_step_that_cannot_be_read(text, said):
    with pytest.raises(SwatchvaultError, match=said):
        read_step(text)


# --- the change -------------------------------------------------------------------------------


def test_dyes_are_set_added_and_dropped_and_the_rest_stays():
    new = revise(ONE, Changes(depths={"ember": 1.0, "Tarn": None, "Rill": 0.1}, note="redder"), 4)
    assert (new.version, new.parent, new.note) == (4, 1, "redder")
    assert only(new).dyes == (PlannedDye("Ember", 1.0), PlannedDye("Rill", 0.1))
    assert only(new).steps == ONE.parts[0].steps


def test_only_these_dyes_leaves_the_others_out():
    new = revise(ONE, Changes(depths={"Tarn": 0.2}, only_these=True), 2)
    assert only(new).dyes == (PlannedDye("Tarn", 0.2),)


def test_steps_are_replaced_dropped_and_put_in_by_number():
    changes = Changes(steps={1: None, 2: replace(HOLD, minutes=40.0)}, added=((2, RINSE),))
    assert only(revise(ONE, changes, 2)).steps == (RINSE, replace(HOLD, minutes=40.0))
    last = Changes(added=((None, RINSE),))
    assert only(revise(ONE, last, 2)).steps == (SOAK, HOLD, RINSE)


def test_steps_count_through_all_parts():
    new = revise(TWO, Changes(part="DIPPED end", steps={3: SOAK}, share_percent=30.0), 2)
    assert new.parts[0] == TWO.parts[0]
    assert new.parts[1] == RecipePart("dipped end", 30.0, steps=(SOAK,))


@pytest.mark.parametrize(
    ("recipe", "changes", "said"),
    [
        (ONE, Changes(), "nothing would change"),
        (ONE, Changes(depths={"Ember": 0.8}), "nothing would change"),
        (ONE, Changes(depths={"Rill": None}), "no dye 'Rill' to drop"),
        (ONE, Changes(steps={3: SOAK}), "no step 3: the recipe has 2"),
        (ONE, Changes(added=((0, SOAK),)), "no step 0"),
        (ONE, Changes(part="end"), "no part 'end': the recipe has whole"),
        (TWO, Changes(depths={"Ember": 1.0}), "say which with --part"),
    ],
)
def test_what_cannot_be_changed_is_told(recipe, changes, said):
    with pytest.raises(SwatchvaultError, match=said):
        revise(recipe, changes, 2)


# --- the commands -----------------------------------------------------------------------------


def test_revise_makes_the_next_version_and_says_what_changed(folder, capsys):
    asked = ("--from", 1, "--dye", "Ember=1,1", "--step", "4=hold, 90 C, 40 min", "--note", "try")
    ran = run(capsys, "revise", "low sun", "lumme", *asked)
    assert "swatchvault cautions" in ran.out
    assert ran.out.splitlines()[:4] == [
        "Low sun on Lumme, version 3, from version 1:",
        "  part whole: Ember 0.8 -> 1.1 %",
        "  part whole: - step: hold, 85 °C, 30 min",
        "  part whole: + step: hold, 90 °C, 40 min",
    ]
    with open_archive(folder) as archive:
        assert get_recipe(archive.conn, "Low sun", "Lumme").parent == 1
        assert get_recipe(archive.conn, "Low sun", "Lumme", 1).parts[0].dyes[0].depth_percent == 0.8


def test_a_lot_that_departed_becomes_the_next_version(folder, capsys):
    with open_archive(folder) as archive:
        dyes = (DyeIn("Ember", "40 mL", stock="S1"), DyeIn("Ember", "45 mL", stock="S2"))
        add_lot(archive.conn, Lot("D", ("Lumme",), "Low sun", dry_g=100.0, dyes_in=dyes))
        add_lot(archive.conn, Lot("E", ("Lumme",), dry_g=100.0, dyes_in=(DyeIn("Ember", "some"),)))
    ran = run(capsys, "revise", "Low sun", "Lumme", "--from", 1, "--as-done", "D")
    assert "part whole: Ember 0.8 -> 0.85 %" in ran.out
    assert "- Tarn (was 0.2 %)" in ran.out
    again = run(capsys, "revise", "Low sun", "Lumme", "--as-done", "D")
    assert "nothing would change" in again.err
    said = run(capsys, "revise", "Low sun", "Lumme", "--as-done", "E").err
    assert "does not say how much Ember" in said
    assert (
        "does not say the weight"
        in run(capsys, "revise", "Low sun", "Lumme", "--as-done", "W1").err
    )


def test_a_version_that_plans_what_an_earlier_one_did_is_filed_and_told(folder, capsys):
    with open_archive(folder) as archive:  # as version 1 plans, in another order
        dyes = (DyeIn("Tarn", "20 mL", stock="S1"), DyeIn("Ember", "80 mL", stock="S1"))
        add_lot(archive.conn, Lot("D", ("Lumme",), "Low sun", dry_g=100.0, dyes_in=dyes))
    asked = ("revise", "Low sun", "Lumme", "--from", 1)
    other = run(capsys, *asked, "--dye", "Ember=0.9").out
    assert "version 3, from version 1" in other and "again" not in other
    told = "this is version 1 again: the same dyes and steps"
    back = run(capsys, "revise", "Low sun", "Lumme", "--from", 3, "--as-done", "D", "--note", "so")
    assert "version 4, from version 3" in back.out and f"note: {told}" in back.out
    shown = run(capsys, "recipe", "Low sun", "Lumme")
    assert shown.out.splitlines()[1] == told
    assert json.loads(run(capsys, "recipe", "Low sun", "Lumme", "--json").out)["again"] == 1
    steps = run(capsys, "revise", "Low sun", "Lumme", "--drop-step", 1).out
    assert "version 5" in steps and "again" not in steps
    assert "again" not in run(capsys, "recipe", "Low sun", "Lumme", "--version", 1).out


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("--dye", "Ember=400"), "at most 100 %"),
        (("--dye", "Ember=0"), "more than 0 %"),
        (("--dye", "Ember=much"), "cannot be read"),
        (("--dye", "Rill=1"), "unknown dye"),
        (("--step", "hold, 90 C"), "write it as 3=hold"),
        (("--add-step", "hold, 900 C"), "the temperature in °C must be"),
        (("--from", 9), "no version 9"),
        (("--share", 140), "share_percent must be"),
        (("--as-done", "X9"), "unknown lot"),
    ],
)
def test_a_mistake_is_one_line_and_nothing_is_stored(folder, capsys, more, said):
    with open_archive(folder) as archive:
        before = dump(archive.conn)
    ran = run(capsys, "revise", "Low sun", "Lumme", *more)
    assert (ran.code, said in ran.err, len(ran.err.splitlines())) == (1, True, 1), ran.err
    with open_archive(folder) as archive:
        assert dump(archive.conn) == before


def test_forty_percent_is_asked_about(folder, capsys):
    ran = run(capsys, "revise", "Low sun", "Lumme", "--dye", "Ember=40")
    assert ran.code == 0
    assert "check the weights and the decimal point" in ran.err


# --- spoons -----------------------------------------------------------------------------------


def test_spoons_are_the_usual_until_set(folder, capsys):
    assert run(capsys, "spoons").out == "teaspoon 5 mL, tablespoon 15 mL, cup 240 mL\n"
    run(capsys, "spoons", "--tsp", 4, "--cup", 250)
    spoons = json.loads(run(capsys, "spoons", "--json").out)
    assert spoons == {"tsp_ml": 4, "tbsp_ml": 15, "cup_ml": 250}
    assert "more than 0 mL" in run(capsys, "spoons", "--tbsp", 0).err
    out = run(capsys, "sums", "stock", "100 g", "2 tsp of 1").out
    assert "2 tsp of 1: 0.08 %" in out


def test_what_was_done_keeps_its_millilitres_and_plans_follow(folder, capsys):
    with open_archive(folder) as archive:
        conn = archive.conn
        part = RecipePart(steps=(PlannedStep("acid in", "2 tsp per 100 g"),))
        lot = Lot(
            "T", ("Lumme",), "Low sun", 3, dry_g=100.0,
            dyes_in=(DyeIn("Ember", "2 tsp", stock="S1"),), steps=(PotStep("look", None, "1 tsp"),),
        )  # fmt: skip
        notes = Notes(recipes=(Recipe("Low sun", "Lumme", 3, parts=(part,)),), lots=(lot,))
        apply_notes(conn, notes)
        set_spoons(conn, SpoonSizes(tsp_ml=4.0))
        assert spoons_of(conn).tsp_ml == 4.0
        sql = "SELECT ml_per_100_g FROM recipe_step WHERE amount = '2 tsp per 100 g'"
        assert conn.execute(sql).fetchone()[0] == 8.0
        done = "SELECT amount_ml, dye_g FROM lot_dye WHERE amount = '2 tsp'"
        assert tuple(conn.execute(done).fetchone()) == (10.0, 0.1)
        assert apply_notes(conn, notes).changed == 0  # told again: kept as it was worked out
        edit_step(conn, "T", 1, {"note": "level spoon"})
        record_step(conn, "T", PotStep("look", None, "1 tsp"))
        steps = conn.execute(
            "SELECT amount_ml FROM pot_step JOIN lot ON lot.id = lot_id WHERE code = 'T' "
            "ORDER BY position"
        )
        assert [r[0] for r in steps] == [5.0, 4.0]
        edit_step(conn, "T", 1, {"amount": "2 tsp"})
        assert (
            conn.execute("SELECT amount_ml FROM pot_step WHERE note = 'level spoon'").fetchone()[0]
            == 8
        )
    out = run(capsys, "recipe", "Low sun", "Lumme", "--version", 3, "--goods", "200 g").out
    assert "1. acid in, 16 mL" in out
