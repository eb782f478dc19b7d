"""A recipe taken over to another base: kept parent, told doubt, files and notes with it."""

import json

import pytest

from swatchvault.archive import (
    Base,
    Lot,
    Notes,
    PlannedDye,
    Recipe,
    RecipePart,
    add_recipe,
    apply_notes,
    create_archive,
    get_recipe,
    open_archive,
)
from swatchvault.archive.exchange import gather_making
from swatchvault.archive.receive import receive_making
from swatchvault.errors import ArchiveError
from swatchvault.notes import read_notes
from swatchvault.other_base import silk_words
from swatchvault.recipe_sheet import RecipeSheet, sheet_html, sheet_lines
from tests.swatchvault.factories import dump
from tests.swatchvault.running import run

ONTO = ("revise", "Low sun", "Lumme", "--onto", "torva")
DOUBT = "from version 2 on Lumme; no lot of Low sun on Torva yet: dye a trial"
FIBRES = "Torva is 100 % mohair, Lumme 80 % wool, 20 % silk: other fibres take dye differently"


def recipe_of(folder, base, version=None):
    with open_archive(folder) as archive:
        return get_recipe(archive.conn, "Low sun", base, version)


def test_none_yet_names_where_it_is_and_how_it_is_taken_over(folder, capsys):
    for command in ("recipe", "revise"):
        ran = run(capsys, command, "low sun", "torva")
        assert ran.code == 1 and "there is none yet; it is there on 'Lumme'" in ran.err
        assert '`swatchvault revise "Low sun" "Lumme" --onto "Torva"`' in ran.err
    ran = run(capsys, "recipe", "Wet slate", "Lumme")
    assert ran.err.rstrip().endswith("there is none yet")


def test_it_is_the_first_version_there_with_its_parent_and_its_doubt(folder, capsys):
    ran = run(capsys, *ONTO)
    assert ran.code == 0, ran.err
    lines = [line.strip() for line in ran.out.splitlines()]
    assert lines[0] == "Low sun on Torva, version 1:"
    assert lines[1:3] == [DOUBT, FIBRES]
    new, old = recipe_of(folder, "Torva"), recipe_of(folder, "Lumme", 2)
    assert (new.version, new.parent, new.parent_base, new.parts) == (1, 2, "Lumme", old.parts)
    assert run(capsys, "verify").out == "everything fits\n"


def test_changes_can_be_made_on_the_way_and_the_doubt_stays_until_a_lot_is_dyed(folder, capsys):
    ran = run(capsys, *ONTO, "--from", 1, "--dye", "Ember=0.5", "--note", "from Lumme")
    assert "part whole: Ember 0.8 -> 0.5 %" in ran.out
    ran = run(capsys, "revise", "Low sun", "Torva", "--dye", "Ember=0.6")
    said = DOUBT.replace("version 2", "version 1")
    assert said in ran.out and ran.out.startswith("Low sun on Torva, version 2, from version 1:")
    assert recipe_of(folder, "Torva").parent_base is None
    sheet = json.loads(run(capsys, "recipe", "Low sun", "Torva", "--json").out)
    assert sheet["other_base"] == [said, FIBRES]
    assert sheet["recipe"]["parent_base"] is None and sheet["recipe"]["parent"] == 1
    with open_archive(folder) as archive:
        apply_notes(archive.conn, Notes(lots=(Lot("T1", ("Torva",), "Low sun"),)))
    sheet = json.loads(run(capsys, "recipe", "Low sun", "Torva", "--json").out)
    assert sheet["other_base"] == ["from version 1 on Lumme"]
    sheet = json.loads(run(capsys, "recipe", "Low sun", "Lumme", "--json").out)
    assert sheet["other_base"] == []


def test_it_is_set_against_the_version_on_the_base_it_came_from(folder, capsys, tmp_path):
    run(capsys, *ONTO, "--dye", "Ember=0.5")
    out = run(capsys, "recipe", "Low sun", "Torva").out
    assert "against version 2 on Lumme:\n  part whole: Ember 1 -> 0.5 %" in out
    sheet = json.loads(run(capsys, "recipe", "Low sun", "Torva", "--json").out)
    assert (sheet["against"], sheet["against_base"]) == (2, "Lumme")
    page = tmp_path / "sheet.html"
    run(capsys, "recipe", "Low sun", "Torva", "--print", page)
    assert "<h2>Against version 2 on Lumme</h2><ul><li>part whole:" in page.read_text("utf-8")
    run(capsys, "revise", "Low sun", "Torva", "--dye", "Ember=0.6")
    sheet = json.loads(run(capsys, "recipe", "Low sun", "Torva", "--json").out)
    assert (sheet["against"], sheet["against_base"]) == (1, None)
    assert sheet["changes"] == ["part whole: Ember 0.5 -> 0.6 %"]


def test_a_base_of_unknown_fibres_is_doubted_too(folder, capsys):
    with open_archive(folder) as archive:
        apply_notes(archive.conn, Notes(bases=(Base("Plain"),)))
    ran = run(capsys, *ONTO[:-1], "Plain")
    assert "another base takes dye differently" in ran.out


@pytest.mark.parametrize(
    ("onto", "said"),
    [("Lumme", "is on 'Lumme' already, in versions 1, 2"), ("Tova", "unknown base 'Tova'")],
)
def test_a_base_that_has_it_or_is_not_there_is_refused(folder, capsys, onto, said):
    with open_archive(folder) as archive:
        before = dump(archive.conn)
    ran = run(capsys, *ONTO[:-1], onto)
    assert (ran.code, said in ran.err, ran.err.count("\n")) == (1, True, 1), ran.err
    with open_archive(folder) as archive:
        assert dump(archive.conn) == before


def test_of_several_parts_all_go_along(folder, capsys):
    parts = (RecipePart("whole", 75.0), RecipePart("end", 25.0, dyes=(PlannedDye("Tarn", 1.0),)))
    with open_archive(folder) as archive:
        apply_notes(archive.conn, Notes(recipes=(Recipe("Low sun", "Lumme", 3, 2, parts),)))
    assert "say which with --part" in run(capsys, *ONTO, "--dye", "Tarn=2").err
    assert run(capsys, *ONTO).code == 0
    assert recipe_of(folder, "Torva").parts == parts


def test_it_is_printed_and_its_note_is_no_warning(folder, capsys, tmp_path):
    run(capsys, *ONTO, "--note", "from Lumme")
    page = tmp_path / "sheet.html"
    run(capsys, "recipe", "Low sun", "Torva", "--print", page)
    html = page.read_text("utf-8")
    assert (
        f"<p>F{DOUBT[1:]}.</p>" in html
        and f"<p>{FIBRES}.</p>" in html
        and "<p>Note: from Lumme</p>" in html
    )
    assert "<li>from Lumme" not in html
    out = run(capsys, "recipe", "Low sun", "Torva").out
    assert "\nits note: from Lumme\n" in out and DOUBT in out


def test_what_to_try_next_time_is_still_to_look_at(folder):
    from datetime import date

    from swatchvault.pot import plan_pot

    recipe = Recipe("Low sun", "Lumme", parts=(RecipePart(),), note="warm")
    plan = plan_pot(recipe, 100.0, {}, today=date(2026, 3, 1))
    sheet = RecipeSheet(recipe, plan, to_try="less brown")
    assert "<h2>To look at</h2><ul><li>less brown</li></ul>" in sheet_html(sheet)
    assert "note: less brown" in sheet_lines(sheet) and "its note: warm" in sheet_lines(sheet)


def test_a_file_and_notes_carry_the_base_it_came_from(folder, capsys, tmp_path):
    run(capsys, *ONTO)
    for form in ("json", "csv"):
        file, place = tmp_path / f"all.{form}", tmp_path / form
        assert run(capsys, "share", file).code == 0
        run(capsys, "new", place)
        ran = run(capsys, "import", file, "--archive", place)
        assert ran.code == 0, ran.err
        assert recipe_of(place, "Torva") == recipe_of(folder, "Torva")
        with open_archive(place) as archive:
            before = dump(archive.conn)
        assert run(capsys, "import", file, "--archive", place).code == 0
        with open_archive(place) as archive:
            assert dump(archive.conn) == before
    toml = tmp_path / "studio.toml"
    toml.write_text(
        "[[recipe]]\ncolourway = 'Wet slate'\nbase = 'Torva'\nversion = 1\nparent = 1\n"
        "parent_base = 'Lumme'\n[[recipe]]\ncolourway = 'Wet slate'\nbase = 'Lumme'\nversion = 1\n"
    )
    with open_archive(folder) as archive:
        notes = read_notes(toml)
        assert apply_notes(archive.conn, notes).added == 2
        assert apply_notes(archive.conn, notes).same == 2
        stored = get_recipe(archive.conn, "Wet slate", "Torva")
    assert (stored.parent, stored.parent_base) == (1, "Lumme")


def test_a_lot_brings_the_recipe_on_the_other_base_along(folder, capsys, tmp_path):
    run(capsys, *ONTO)
    run(capsys, "rename", "colourway", "Wet slate", "Slate")
    with open_archive(folder) as archive:
        lots = (
            Lot("T1", ("Torva",), "Low sun", recipe_version=1),
            Lot("T2", ("Torva",), "Slate", overdyes="T1"),
        )
        apply_notes(archive.conn, Notes(lots=lots))
        making = gather_making(archive.conn, ["Slate"])
    assert [(r.base, r.version) for r in making.notes.recipes if r.colourway == "Low sun"] == [
        ("Lumme", 1), ("Lumme", 2), ("Torva", 1),
    ]  # fmt: skip
    with create_archive(tmp_path / "other") as other:
        receive_making(other.conn, making)
        assert get_recipe(other.conn, "Low sun", "Torva").parent_base == "Lumme"


@pytest.mark.parametrize(
    ("recipe", "said"),
    [
        (Recipe("Low sun", "Torva", parent_base="Lumme"), "give its parent too"),
        (Recipe("Low sun", "Torva", parent=7, parent_base="Lumme"), "no version 7 of 'Low sun' on"),
        (Recipe("Low sun", "Torva", parent=1, parent_base="Torva"), "would come from itself"),
    ],
)
def test_a_parent_that_cannot_be(folder, recipe, said):
    with open_archive(folder) as archive, pytest.raises(ArchiveError, match=said):
        add_recipe(archive.conn, recipe)


def test_a_loop_in_a_damaged_archive_ends(folder, capsys):
    with open_archive(folder) as archive:
        sql = "UPDATE recipe SET parent_id = (SELECT max(id) FROM recipe) WHERE version = 1"
        archive.conn.execute(sql)
    sheet = json.loads(run(capsys, "recipe", "Low sun", "Lumme", "--json").out)
    assert sheet["other_base"] == []


@pytest.mark.parametrize(
    ("there", "here", "hottest", "said"),
    [
        ({"wool": 100.0}, {"wool": 70.0, "Mulberry silk": 30.0}, 90.0, True),
        ({"wool": 100.0}, {"wool": 70.0, "silk": 30.0}, 85.0, False),
        ({"wool": 80.0, "silk": 20.0}, {"silk": 100.0}, 95.0, False),  # it was so before
        ({"wool": 100.0}, {"mohair": 100.0}, 95.0, False),
        ({}, {"silk": 100.0}, 95.0, True),
    ],
)
def test_heat_is_asked_about_where_silk_is_new(there, here, hottest, said):
    assert (silk_words(there, here, hottest) is not None) is said
