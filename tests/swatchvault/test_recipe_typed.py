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
    apply_notes,
    create_archive,
    get_recipe,
)
from swatchvault.archive.exchange import gather_making
from swatchvault.archive.names import find
from swatchvault.archive.new_recipe import add_next_version
from swatchvault.archive.rename import rename
from swatchvault.errors import ArchiveError, NotFound
from swatchvault.making_records import making_records
from swatchvault.notes import read_notes
from swatchvault.recipe_typed import (
    DYE_ROWS,
    MOST_PARTS,
    TypedPart,
    TypedRecipe,
    read_recipe,
    typed_of,
)
from swatchvault.roundtrip import write_records
from tests.swatchvault.factories import studio

STEPS = "soak, 30 min\n\n  acid in, 2 %, white vinegar \nhold, 85 C, 40 min\n"
FIRST = TypedPart(dyes=(("Ember", "0,8"), ("", ""), ("Tarn", "0.25 %")), steps=STEPS)
TYPED = TypedRecipe("Low sun", "", "Lumme", (FIRST,), "as it was")
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
        ({"name": "x" * 121}, "Its name has 121 characters"),
        ({"name": "a\u0007b"}, "Its name holds invisible control characters"),
        ({"share": "some"}, "Its share cannot be read from 'some'"),
        ({"share": "0"}, "Its share of the goods is 0 %"),
        ({"share": "100.1"}, "Its share of the goods is 100.1 %"),
        ({"dyes": (("", ""),)}, "No dye"),
        ({"dyes": (("", "0.8"),)}, "Dye 1: 0.8 % of which dye"),
        ({"dyes": (("Ember", "1"), ("Tarn", ""))}, "Dye 2: the depth of Tarn is missing"),
        ({"dyes": (("Ember", "1"), ("Ember", "2"))}, "Dye 2: Ember is there twice"),
        ({"dyes": (("Ember", "much"),)}, "Dye 1: the depth of Ember cannot be read from 'much'"),
        ({"dyes": (("Ember", "0"),)}, "Dye 1: "),
        ({"dyes": (("Ember", "101"),)}, "Dye 1: "),
        ({"steps": "soak\n\nboil, 100 C"}, "Line 3 of the steps: unknown kind of step 'boil'"),
        ({"steps": "acid in, 5 pinches"}, "Line 1 of the steps: "),
    ],
)
def test_what_is_wrong_is_said(changes, words):
    of_part = {name: changes.pop(name) for name in list(changes) if hasattr(FIRST, name)}
    read = read_recipe(replace(TYPED, parts=(replace(FIRST, **of_part),), **changes))
    assert read.recipe is None
    (said,) = read.problems
    assert said.startswith(words) and said.endswith((".", "it."))


def test_all_that_is_wrong_is_said_at_once():
    said = read_recipe(
        TypedRecipe(parts=(TypedPart(steps="boil", dyes=(("Ember", "x"),)),))
    ).problems
    assert [s.split(":")[0] for s in said] == [
        *("Which colourway", "Which base", "Dye 1", "Line 1 of the steps"),
    ]


def test_a_recipe_is_typed_as_it_is_read_again():
    typed = typed_of(READ)
    assert typed is not None and typed.note == ""
    assert read_recipe(typed).recipe == replace(READ, note=None)
    (part,) = typed.parts
    assert len(part.rows) == DYE_ROWS and part.rows[2:] == (("", ""),) * (DYE_ROWS - 2)
    assert typed.simple and part.filled == 2


@pytest.mark.parametrize(
    "parts",
    [
        (),
        tuple(replace(PART, name=f"end {n}") for n in range(MOST_PARTS + 1)),
        (replace(PART, dyes=tuple(PlannedDye(f"dye {n}", 0.1) for n in range(DYE_ROWS + 1))),),
        (replace(PART, steps=(PlannedStep("hold", None, 1 / 3),)),),
        (replace(PART, steps=(PlannedStep("hold", note="85 C"),)),),
    ],
)
def test_a_recipe_that_the_form_cannot_hold_whole_is_not_put_into_it(parts):
    assert typed_of(replace(READ, parts=parts)) is None


# --- several parts ----------------------------------------------------------------------------

DIPPED = RecipePart(
    "dipped end",
    33.3,
    (PlannedDye("Ember", 1.5),),
    (PlannedStep("dye in", "20 mL"), PlannedStep("heat", "5 mL per 100 g", 90.0)),
    "upside down, by the wire",
)
WHITE = RecipePart("kept white", 12.5)
SEVERAL = (PART, DIPPED, WHITE)
TYPED_SEVERAL = TypedRecipe(
    "Low sun",
    "",
    "Lumme",
    (
        replace(FIRST, name="whole", share="100"),
        TypedPart(
            "dipped  end",
            "33,3 %",
            (("", ""), ("Ember", "1.5")),
            "dye in, 20 mL\nheat, 5 mL per 100 g, 90 C",
            "upside down, by the wire",
        ),
        TypedPart("kept white", "12.5"),
    ),
    "as it was",
)


def test_several_parts_are_read():
    read = read_recipe(TYPED_SEVERAL)
    assert read.problems == ()
    assert read.recipe == replace(READ, parts=SEVERAL)
    assert not TYPED_SEVERAL.simple


@pytest.mark.parametrize(
    "parts",
    [
        SEVERAL,
        (replace(PART, share_percent=50.0),),
        (replace(PART, name="dipped"),),
        (replace(PART, note="in the small pot"),),
        tuple(replace(PART, name=f"end {n}", share_percent=1e-5 * n) for n in range(1, 7)),
    ],
)
def test_parts_are_typed_as_they_are_read_again(parts):
    typed = typed_of(replace(READ, parts=parts))
    assert typed is not None and not typed.simple
    assert read_recipe(typed).recipe == replace(READ, parts=parts, note=None)


def test_all_that_is_wrong_in_parts_is_said_at_once_and_where():
    parts = (
        TypedPart("", "", (("Ember", "x"),)),
        TypedPart(" Ends", "200", (("", "1"),), "boil"),
        TypedPart(),
        TypedPart("ends", "much", (("Tarn", "1"), ("Tarn", "2"))),
    )
    read = read_recipe(replace(TYPED, parts=parts))
    assert read.recipe is None
    assert [" ".join(s.split()[:5]) for s in read.problems] == [
        "Part 1: its name is",
        "Part 1: its share is",
        "Part 1, dye 1: the",
        "Part 2: its share of",
        "Part 2, dye 1: 1",
        "Part 2, line 1 of",
        "Part 3 is blank: fill",
        "Part 4: its share cannot",
        "Part 4, dye 2: Tarn",
        "Part 4 is called ends,",
    ]


def test_a_dye_in_one_part_is_enough_and_in_none_is_not():
    undyed = (WHITE, replace(DIPPED, dyes=()))
    typed = typed_of(replace(READ, parts=(PART, *undyed)))
    assert read_recipe(typed).problems == ()
    none = replace(typed, parts=typed.parts[1:])
    assert [s.split(":")[0] for s in read_recipe(none).problems] == ["No dye"]


def test_more_parts_than_the_form_has_are_refused():
    parts = tuple(replace(FIRST, name=f"end {n}", share="10") for n in range(MOST_PARTS + 1))
    assert read_recipe(replace(TYPED, parts=parts)).problems == (
        "There are 7 parts: 6 is the most here.",
    )


def test_a_part_more_keeps_all_and_a_first_one_gets_its_name_and_share():
    two = TYPED.with_another()
    assert two.parts == (replace(FIRST, name="whole", share="100"), TypedPart())
    assert two.without(2).simple and read_recipe(two.without(2)).recipe == READ
    three = replace(two, parts=(replace(FIRST, name="ends"), TypedPart("b"))).with_another()
    assert [part.name for part in three.parts] == ["ends", "b", ""]
    assert [part.name for part in three.without(1).parts] == ["b", ""]
    assert TYPED.without(1) == TYPED and three.without(9) == three


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


# --- typed, and written in studio.toml --------------------------------------------------------

TOML = """
[[recipe]]
colourway = "Wet slate"
base = "Lumme"
version = 1
note = "as it was"

[[recipe.parts]]
name = "whole"
share_percent = 100.0
dyes = [{dye = "Ember", depth_percent = 0.8}, {dye = "Tarn", depth_percent = 0.25}]
steps = [
  {kind = "soak", minutes = 30},
  {kind = "acid in", amount = "2 %", note = "white vinegar"},
  {kind = "hold", temperature_c = 85, minutes = 40},
]

[[recipe.parts]]
name = "dipped end"
share_percent = 33.3
note = "upside down, by the wire"
dyes = [{dye = "Ember", depth_percent = 1.5}]
steps = [
  {kind = "dye in", amount = "20 mL"},
  {kind = "heat", amount = "5 mL per 100 g", temperature_c = 90},
]

[[recipe.parts]]
name = "kept white"
share_percent = 12.5
"""


def _rows(conn):
    """Every row of the recipes, without the time at which it was written."""
    found = {}
    for table in ("recipe", "recipe_part", "recipe_dye", "recipe_step"):
        names = [r[1] for r in conn.execute(f"PRAGMA table_info({table})") if r[1] != "added_at"]
        rows = conn.execute(f"SELECT {', '.join(names)} FROM {table} ORDER BY id").fetchall()
        found[table] = [tuple(row) for row in rows]
    return found


def _written(conn, form):
    """Its recipes as a file holds them, without that time."""
    records = making_records(gather_making(conn, ["Wet slate"]))
    kept = (
        replace(r, facts={k: v for k, v in r.facts.items() if k != "added_at"}) for r in records
    )
    return write_records(tuple(kept), form)


def test_what_is_typed_is_stored_as_studio_toml_would(conn, tmp_path):
    (tmp_path / "studio.toml").write_text(TOML, encoding="utf-8")
    told = read_notes(tmp_path / "studio.toml")
    read = read_recipe(replace(TYPED_SEVERAL, colourway="Wet slate"))
    add_next_version(conn, read.recipe)
    with create_archive(tmp_path / "other") as other:
        studio(other.conn)
        apply_notes(other.conn, told)
        assert _rows(conn) == _rows(other.conn)
        for form in ("csv", "json"):
            assert _written(conn, form) == _written(other.conn, form)
            assert "dipped end" in _written(conn, form)
    assert apply_notes(conn, told).changed == 0  # read in as well, it is the same recipe
    (newest,) = told.recipes
    assert typed_of(get_recipe(conn, "Wet slate", "Lumme")) == typed_of(newest)
