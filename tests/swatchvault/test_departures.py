"""Where what was done in a pot departs from its plan: dyes, amounts, temperatures and minutes."""

import pytest

from swatchvault.amounts import SpoonSizes
from swatchvault.archive import (
    PlannedDye,
    PlannedStep,
    Recipe,
    RecipePart,
    add_recipe,
    create_archive,
    get_pot,
    open_archive,
    set_spoons,
)
from swatchvault.departures import departures
from swatchvault.potwork import plan_of
from tests.swatchvault.factories import studio

#: On 100 g: 20 mL of acid, 2 g of salt, a tablespoon of something; hold 90 °C for 25 min.
STEPS = (
    PlannedStep("dye in"),
    PlannedStep("acid in", "20 mL per 100 g"),
    PlannedStep("salt in", "2 %"),
    PlannedStep("levelling agent in", "1 tbsp"),
    PlannedStep("other auxiliary in", "a glug"),
    PlannedStep("hold", None, 90.0, 25.0),
    PlannedStep("acid in", "10 mL"),
    PlannedStep("rinse", None, None, 3.0),
)


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    with create_archive(tmp_path_factory.mktemp("departures") / "yarn") as made:
        studio(made.conn)
        part = RecipePart(dyes=(PlannedDye("Ember", 0.8),), steps=STEPS)
        add_recipe(made.conn, Recipe("Low sun", "Lumme", 3, 1, (part,)))
        return made.folder


@pytest.fixture
def pot(pot):
    """The pot's commands; P1 has been started, of 100 g."""
    asked = ("--goods", "100 g", "--at", "2026-03-01T09:00")
    pot("start", "P1", "Low sun", "Lumme", *asked)
    return pot


def told(folder, lot="P1"):
    with open_archive(folder) as archive:
        pot = get_pot(archive.conn, lot)
        return departures(plan_of(archive.conn, pot, {}), pot)


def test_all_as_planned_is_no_departure(pot, folder):
    for number in range(1, len(STEPS) + 1):
        pot("did", "P1", number, "--at", f"2026-03-01T{number + 9:02d}:00")
    assert told(folder) == []


def test_what_the_plan_itself_rounds_is_no_departure(pot, folder):
    asked = ("--goods", "4.3125 g", "--at", "2026-03-01T09:00")  # 3.45 mL of S1, told as 3.5
    pot("start", "P2", "Low sun", "Lumme", *asked)
    pot("did", "P2", 1, "--at", "2026-03-01T10:00")
    assert "Ember 3.5 mL" in pot("log", "P2") and told(folder, "P2") == []
    pot("edit", "P2", 1, "--dye", "Ember=3.6 mL")
    assert told(folder, "P2") == ["Ember 0.835 % instead of 0.8 %"]


@pytest.mark.parametrize(
    ("number", "done", "said"),
    [
        (2, ("--amount", "60 mL"), ["step 2, acid in: 60 mL instead of 20 mL"]),
        (2, ("--amount", "17.9 mL"), ["step 2, acid in: 17.9 mL instead of 20 mL"]),
        (2, ("--amount", "22 mL"), []),
        (2, ("--amount", "18 mL"), []),
        (2, ("--amount", "2 g"), ["step 2, acid in: 2 g instead of 20 mL"]),
        (2, ("--amount", "a splash"), []),  # of no known size
        (2, ("--amount", "4 tsp"), []),
        (3, ("--amount", "3 g"), ["step 3, salt in: 3 g instead of 2 g"]),
        (3, ("--amount", "2.2 g"), []),
        (4, ("--amount", "15 mL"), []),
        (4, ("--amount", "2 tbsp"), ["step 4, levelling agent in: 2 tbsp instead of 1 tbsp"]),
        (5, ("--amount", "5 mL"), []),  # nothing to hold it to
        (
            6,
            ("--temperature", "50", "--minutes", "5"),
            ["step 6, hold: 50 °C instead of 90 °C, 5 min instead of 25 min"],
        ),
        (6, ("--temperature", "85", "--minutes", "27.5"), []),
        (6, ("--temperature", "95.5"), ["step 6, hold: 95.5 °C instead of 90 °C"]),
        (6, ("--minutes", "60"), ["step 6, hold: 60 min instead of 25 min"]),
        (8, ("--minutes", "4"), []),  # a minute is none
        (8, ("--minutes", "1"), ["step 8, rinse: 1 min instead of 3 min"]),
    ],
)
def test_a_step_is_held_to_the_planned_one(pot, folder, number, done, said):
    pot("did", "P1", number, *done)
    assert told(folder) == said
    assert ("departs from the plan: step" in pot("log", "P1")) is bool(said)
    assert all(f"departs from the plan: {words}" in pot("end", "P1") for words in said)


def test_what_was_added_in_two_portions_counts_together(pot, folder):
    pot("did", "P1", "2", "--amount", "10 mL")
    assert told(folder) == ["step 2, acid in: 10 mL instead of 20 mL"]
    pot("did", "P1", "7")
    pot("did", "P1", "acid in", "--amount", "12 mL")  # after the second, and so more of that
    assert told(folder) == [
        "step 2, acid in: 10 mL instead of 20 mL",
        "step 7, acid in: 10 mL + 12 mL instead of 10 mL",
    ]
    pot("undo", "P1")
    pot("undo", "P1")
    with open_archive(folder) as archive:
        archive.conn.execute(
            "INSERT INTO pot_step (lot_id, position, kind, amount, amount_ml) "
            "SELECT lot_id, 2, 'acid in', '10 mL', 10 FROM pot_step WHERE kind = 'acid in'"
        )
    assert told(folder) == []


def test_what_was_done_keeps_the_spoon_it_was_done_with(pot, folder):
    pot("did", "P1", "4", "--amount", "3 tsp")
    with open_archive(folder) as archive:
        set_spoons(archive.conn, SpoonSizes(tsp_ml=2.0, tbsp_ml=15.0))
    assert told(folder) == []


def test_a_dye_of_unknown_depth_is_told(pot, folder):
    pot("did", "P1", "dye in", "--dye", "Ember=80 mL", "--dye", "Tarn=a pinch")
    assert told(folder) == ["Tarn a pinch of unknown depth instead of 0 %"]
    pot("did", "P1", "dye in", "--dye", "Tarn=20 mL")
    assert told(folder) == ["Tarn 0.2 % and a pinch of unknown depth instead of 0 %"]
    pot("edit", "P1", "1", "--powder", "Ember")
    assert told(folder)[0] == "Ember 80 mL of unknown depth instead of 0.8 %"
