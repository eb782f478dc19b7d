"""The parts of a recipe in words: on text, sheet and log, each by itself and all together."""

import re
from dataclasses import replace
from datetime import date

import pytest

from swatchvault.archive import (
    PlannedDye,
    PlannedStep,
    Recipe,
    RecipePart,
    apply_notes,
    create_archive,
    get_recipe,
    open_archive,
)
from swatchvault.archive.entities import DyeIn, Lot, Notes
from swatchvault.pot import StockChoice, plan_pot
from swatchvault.recipe_parts import part_words, together_lines, without_step
from swatchvault.recipe_sheet import RecipeSheet, sheet_html, sheet_lines
from tests.swatchvault.factories import dump, studio
from tests.swatchvault.running import run

DYE_IN = PlannedStep("dye in")
WHOLE = RecipePart(dyes=(PlannedDye("Ember", 0.8), PlannedDye("Tarn", 0.2)), steps=(DYE_IN,))
DIPPED = RecipePart("dipped <end>", 25.0, (PlannedDye("Ember", 2.0),), (DYE_IN,))
SPRINKLED = RecipePart("sprinkled", 3.0, (PlannedDye("Tarn", 1.0),))
STOCKS = {"Ember": StockChoice("S1", 1.0)}
ONE = Recipe("Low sun", "Lumme", 3, parts=(WHOLE,))
SEVERAL = replace(ONE, parts=(WHOLE, DIPPED, SPRINKLED))


def planned(*parts):
    return plan_pot(replace(ONE, parts=parts), 200.0, STOCKS, today=date(2026, 3, 1))


def shares(*percents):
    return planned(*(RecipePart(f"end {n}", p) for n, p in enumerate(percents)))


def test_a_part_says_its_share_unless_it_is_the_whole():
    plan = planned(WHOLE, DIPPED)
    assert [part_words(plan, part) for part in plan.parts] == [
        "whole, 100 % of the goods: 200 g",
        "dipped <end>, 25 % of the goods: 50 g",
    ]
    for part, words in ((WHOLE, "whole: 200 g"), (DIPPED, "dipped <end>, 25 % of the goods: 50 g")):
        plan = planned(part)
        assert part_words(plan, plan.parts[0]) == words


def test_a_dye_of_several_parts_is_summed():
    assert together_lines(planned(WHOLE)) == []
    # Ember: 0.8 % of 200 g and 2 % of 50 g; Tarn: 0.2 % of 200 g and 1 % of 6 g
    assert together_lines(planned(WHOLE, DIPPED, SPRINKLED))[:2] == [
        "in all parts together: Ember 260 mL of stock S1 (2.6 g of dye)",
        "in all parts together: Tarn 0.46 g of powder",
    ]


@pytest.mark.parametrize(
    ("percents", "said"),
    [
        ((100.0,), None),
        ((34.0, 33.0, 33.0), None),
        ((33.3, 33.3, 33.3), None),
        (
            (100.0, 25.0),
            "the parts come to 125 % of the goods together: some of the goods is in mo",
        ),
        ((60.0, 20.0), "the parts come to 80 % of the goods together: the rest is in none"),
        ((50.0,), "the parts come to 50 % of the goods together: the rest is in none"),
    ],
)
def test_shares_that_are_not_the_whole_are_told(percents, said):
    lines = together_lines(shares(*percents))
    assert (said is None) == (lines == [])
    assert said is None or lines[0].startswith(said)


def test_no_parts_are_nothing_to_tell():
    assert together_lines(planned()) == [] and without_step(None) == ()


def test_dyes_that_no_step_puts_in_are_named_with_their_part():
    assert without_step(planned(WHOLE, DIPPED)) == ()
    assert without_step(planned(WHOLE, SPRINKLED)) == (
        ("sprinkled, 3 % of the goods: 6 g", ("Tarn 1 %: 0.06 g of powder",)),
    )


def test_text_and_sheet_have_each_part_and_the_sums():
    sheet = RecipeSheet(SEVERAL, planned(*SEVERAL.parts))
    lines, html = sheet_lines(sheet), sheet_html(sheet)
    assert "dipped <end>, 25 % of the goods: 50 g" in lines
    assert "<h2>dipped &lt;end&gt;, 25 % of the goods: 50 g</h2>" in html
    assert "<p>In all parts together: Tarn 0.46 g of powder.</p>" in html
    assert "in all parts together: Tarn 0.46 g of powder" in lines
    assert "<p>The parts come to 128 % of the goods together: some of the goods is in" in html


# --- commands ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    with create_archive(tmp_path_factory.mktemp("parts") / "yarn") as made:
        studio(made.conn)
        dyed = Lot("D", ("Lumme",), "Low sun", 3, dry_g=100.0, dyes_in=(DyeIn("Ember", "0.9 g"),))
        half = replace(ONE, version=4, parts=(replace(DIPPED, name="half", share_percent=50.0),))
        apply_notes(made.conn, Notes(recipes=(SEVERAL, half), lots=(dyed,)))
        return made.folder


def test_revise_changes_the_part_that_is_named(folder, capsys):
    asked = ("revise", "Low sun", "Lumme", "--from", 3)
    change = ("--part", "Dipped <END>", "--dye", "Ember=2.5", "--share", 30, "--drop-step", 2)
    ran = run(capsys, *asked, *change)
    assert ran.out.splitlines()[1:4] == [
        "  part dipped <end>: share 25 -> 30 % of the goods",
        "  part dipped <end>: Ember 2 -> 2.5 %",
        "  part dipped <end>: - step: dye in",
    ]
    with open_archive(folder) as archive:
        new = get_recipe(archive.conn, "Low sun", "Lumme")
    assert new.parts == (
        WHOLE,
        RecipePart("dipped <end>", 30.0, (PlannedDye("Ember", 2.5),)),
        SPRINKLED,
    )
    assert "say which with --part" in run(capsys, *asked, "--dye", "Ember=2.5").err


def test_what_went_into_a_lot_is_of_no_one_part(folder, capsys):
    asked = ("revise", "Low sun", "Lumme", "--as-done", "D", "--from")
    with open_archive(folder) as archive:
        before = dump(archive.conn)
    ran = run(capsys, *asked, 3, "--part", "whole")
    assert (ran.code, "does not say which of the recipe's 3 parts" in ran.err) == (1, True)
    with open_archive(folder) as archive:
        assert dump(archive.conn) == before
    assert "part half: Ember 2 -> 1.8 %" in run(capsys, *asked, 4).out  # 0.9 g on 50 g


def test_the_log_says_which_part_a_step_is_of(folder, capsys):
    run(capsys, "pot", "start", "P", "Low sun", "Lumme", "--version", 3, "--goods", "200 g")
    out = run(capsys, "pot", "log", "P").out
    assert re.sub(r"\(.*\)", "(...)", out).splitlines()[1:8] == [
        "planned",
        "  whole, 100 % of the goods: 200 g",
        "  [ ] 1. dye in",
        "  dipped <end>, 25 % of the goods: 50 g",
        "  [ ] 2. dye in",
        "  sprinkled, 3 % of the goods: 6 g",
        "  without a step: Tarn 1 %: 6 mL of stock S1 (...)",
    ]
