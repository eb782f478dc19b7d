"""A recipe typed into a form: read whole, or all that is wrong with it; and typed from one."""

from dataclasses import replace

import pytest

from swatchvault.archive import (
    Colourway,
    PlannedDye,
    PlannedStep,
    Recipe,
    RecipePart,
    add_colourway,
    add_recipe,
    create_archive,
    get_recipe,
)
from swatchvault.archive.new_recipe import add_next_version
from swatchvault.archive.rename import rename
from swatchvault.archive.rows import find
from swatchvault.errors import ArchiveError, NotFound
from swatchvault.recipe_typed import DYE_ROWS, TypedRecipe, read_recipe, typed_of
from tests.swatchvault.factories import studio

STEPS = "soak, 30 min\n\n  acid in, 2 %, white vinegar \nhold, 85 C, 40 min\n"
TYPED = TypedRecipe(
    "Low sun", "", "Lumme", (("Ember", "0,8"), ("", ""), ("Tarn", "0.25 %")), STEPS, "as it was"
)
PLAN = (
    PlannedStep("soak", minutes=30.0),
    PlannedStep("acid in", "2 %", note="white vinegar"),
    PlannedStep("hold", None, 85.0, 40.0),
)
PART = RecipePart(dyes=(PlannedDye("Ember", 0.8), PlannedDye("Tarn", 0.25)), steps=PLAN)
READ = Recipe("Low sun", "Lumme", parts=(PART,), note="as it was")


def test_what_is_typed_is_read():
    assert read_recipe(TYPED).recipe == READ
    new = replace(TYPED, colourway="", new_colourway="Fox")
    assert read_recipe(new).recipe == replace(READ, colourway="Fox")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"colourway": ""}, "Which colourway"),
        ({"new_colourway": "Fox"}, "The colourway is Low sun or the new Fox"),
        ({"base": ""}, "Which base"),
        ({"dyes": (("", ""),)}, "No dye"),
        ({"dyes": (("", "0.8"),)}, "Dye 1: 0.8 % of which dye"),
        ({"dyes": (("Ember", "1"), ("Tarn", ""))}, "Dye 2: the depth of Tarn is missing"),
        ({"dyes": (("Ember", "1"), ("Ember", "2"))}, "Dye 2: Ember is there twice"),
        ({"dyes": (("Ember", "much"),)}, "Dye 1: depth of Ember 'much' cannot be read"),
        ({"dyes": (("Ember", "0"),)}, "Dye 1: "),
        ({"dyes": (("Ember", "101"),)}, "Dye 1: "),
        ({"steps": "soak\n\nboil, 100 C"}, "Line 3 of the steps: unknown kind of step 'boil'"),
        ({"steps": "acid in, 5 pinches"}, "Line 1 of the steps: "),
    ],
)
def test_what_is_wrong_is_said(changes, words):
    read = read_recipe(replace(TYPED, **changes))
    assert read.recipe is None
    (said,) = read.problems
    assert said.startswith(words) and said.endswith((".", "it."))


def test_all_that_is_wrong_is_said_at_once():
    said = read_recipe(TypedRecipe(steps="boil", dyes=(("Ember", "x"),))).problems
    assert [s.split(":")[0] for s in said] == [
        *("Which colourway", "Which base", "Dye 1", "Line 1 of the steps"),
    ]


def test_a_recipe_is_typed_as_it_is_read_again():
    typed = typed_of(READ)
    assert typed is not None and typed.note == ""
    assert read_recipe(typed).recipe == replace(READ, note=None)
    assert len(typed.rows) == DYE_ROWS and typed.rows[2:] == (("", ""),) * (DYE_ROWS - 2)


@pytest.mark.parametrize(
    "parts",
    [
        (PART, RecipePart("dipped", 50.0)),
        (),
        (replace(PART, share_percent=50.0),),
        (replace(PART, name="dipped"),),
        (replace(PART, note="in the small pot"),),
        (replace(PART, dyes=tuple(PlannedDye(f"dye {n}", 0.1) for n in range(DYE_ROWS + 1))),),
        (replace(PART, steps=(PlannedStep("hold", None, 1 / 3),)),),
        (replace(PART, steps=(PlannedStep("hold", note="85 C"),)),),
    ],
)
def test_a_recipe_that_the_form_cannot_hold_whole_is_not_put_into_it(parts):
    assert typed_of(replace(READ, parts=parts)) is None


@pytest.fixture
def conn(tmp_path):
    with create_archive(tmp_path / "yarn") as made:
        studio(made.conn)
        yield made.conn


def test_it_becomes_the_newest_version(conn):
    add_colourway(conn, Colourway("Fox"))
    fox = replace(READ, colourway="Fox")
    add_next_version(conn, fox)
    assert get_recipe(conn, "Fox", "Lumme") == replace(fox, version=1, parent=None)
    deeper = replace(fox, parts=(replace(PART, dyes=(PlannedDye("Ember", 1.2),)),))
    add_recipe(conn, replace(fox, version=7, parent=1))
    add_next_version(conn, deeper)
    newest = get_recipe(conn, "Fox", "Lumme")
    assert (newest.version, newest.parent, newest.parts) == (8, 7, deeper.parts)
    assert get_recipe(conn, "Fox", "Lumme", 7).parts == fox.parts


def test_the_same_again_is_no_version(conn):
    add_next_version(conn, replace(READ, colourway="Fox"), new_colourway=True)
    with pytest.raises(ArchiveError, match="nothing differs from version 1 of 'Fox' on 'Lumme'"):
        add_next_version(conn, replace(READ, colourway="fox", note="another"))


def test_a_new_colourway_is_made_with_it_or_not_at_all(conn):
    def there():
        return [r[0] for r in conn.execute("SELECT name FROM colourway ORDER BY id")]

    before = there()
    with pytest.raises(NotFound, match="unknown base 'Nowhere'"):
        add_next_version(conn, replace(READ, colourway="Fox", base="Nowhere"), new_colourway=True)
    assert there() == before
    with pytest.raises(ArchiveError, match="is there already: choose it"):
        add_next_version(conn, replace(READ, colourway="low SUN"), new_colourway=True)
    rename(conn, "colourway", find(conn, "colourway", "Low sun"), "Late sun")
    with pytest.raises(ArchiveError, match="Late sun"):  # an old name is known again
        add_next_version(conn, READ, new_colourway=True)
    with pytest.raises(ArchiveError, match="120 is the most"):
        add_next_version(conn, replace(READ, colourway="x" * 121), new_colourway=True)
    add_next_version(conn, replace(READ, colourway="Fox"), new_colourway=True)
    assert there() == [*("Late sun" if n == "Low sun" else n for n in before), "Fox"]
