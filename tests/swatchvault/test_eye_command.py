"""The dyer's words in an archive: kept, listed, fitted to, taken and undone."""

import json
import sqlite3
from dataclasses import replace

import numpy as np
import pytest

from swatchvault.archive import Swatch, add_swatch, create_archive, eye_rule, listing
from swatchvault.archive.eye import name_class, named_swatches
from swatchvault.archive.made import Filters, swatches_where
from tests.ingest.test_evenness_stored import PLAIN
from tests.swatchvault.factories import dump, studio
from tests.swatchvault.running import run
from tests.swatchvault.test_tonal_master import file_one
from tests.swatchvault.test_tonal_master import tonality as plain_record

COUNT = 34
THEIR_FLOOR = 0.7


def tonality(unevenness, *more, **keys):
    """A record with the figures that the rule reads."""
    rule = replace(PLAIN, unevenness=unevenness).record()
    return {**plain_record(unevenness, *more, **keys), "rule": rule}


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """Swatches from even to uneven, called as the program calls them."""
    folder = tmp_path_factory.mktemp("template") / "yarn"
    with create_archive(folder) as archive:
        studio(archive.conn)
        for i, value in enumerate(np.linspace(0.05, 1.2, COUNT)):
            swatch = add_swatch(archive.conn, Swatch(f"s{i:02}", "Lumme", "skein", "L2"))
            name = "semi-solid" if value >= 0.28 else "solid"
            record = tonality(round(float(value), 3), 0.1, name)
            file_one(archive, folder.parent, swatch.id, record, f"s{i:02}")
    return folder


def name_all(conn, count=COUNT):
    for i, value in enumerate(np.linspace(0.05, 1.2, COUNT)[:count]):
        name_class(conn, f"s{i:02}", "semi-solid" if value >= THEIR_FLOOR else "solid")


def test_a_word_is_kept_and_a_newer_one_supersedes_it(archive, capsys):
    where = ("--archive", archive.folder)
    assert run(capsys, "eye", "s20", "Tonal", *where).code == 0
    assert "as before" in run(capsys, "eye", "s20", "semi-solid", *where).out
    run(capsys, "eye", "s20", "solid", "--note", "to my eye", *where)
    rows = archive.conn.execute("SELECT class, superseded_by FROM named_class ORDER BY id")
    assert [tuple(r) for r in rows] == [("semi-solid", 2), ("solid", None)]
    (one,) = named_swatches(archive.conn)
    assert (one.word, one.by_program, one.note) == ("solid", "semi-solid", "to my eye")
    with pytest.raises(sqlite3.IntegrityError, match="kept as it was"):
        archive.conn.execute("UPDATE named_class SET class = 'solid'")
    run(capsys, "eye", "s20", "--forget", *where)
    assert named_swatches(archive.conn) == []


def test_words_that_are_none_are_refused_in_a_line(archive, capsys):
    where = ("--archive", archive.folder)
    ran = run(capsys, "eye", "s20", "stripy", *where)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "solid, semi-solid" in ran.err
    assert run(capsys, "eye", "nobody", "solid", *where).code == 1
    assert run(capsys, "eye", "s20", *where).code == 2
    assert run(capsys, "eye", "--take", *where).code == 2


def test_the_list_marks_what_differs(archive, capsys):
    where = ("--archive", archive.folder)
    name_class(archive.conn, "s00", "solid")
    name_class(archive.conn, "s15", "solid")  # 0.57: semi-solid to the program
    ran = run(capsys, "eye", *where)
    assert "2 named, 1 differ" in ran.out
    told = json.loads(run(capsys, "eye", "--json", *where).out)["named"]
    assert [(t["swatch"], t["differs"]) for t in told] == [("s00", False), ("s15", True)]


def test_too_few_words_are_no_rule(archive, capsys):
    name_all(archive.conn, 12)
    ran = run(capsys, "eye", "--refit", "--archive", archive.folder)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "12 named swatches can be used, 30 are needed" in ran.err


def test_a_refit_is_shown_taken_and_undone(archive, capsys):
    where = ("--archive", archive.folder)
    name_all(archive.conn)
    before = dump(archive.conn)
    shown = run(capsys, "eye", "--refit", *where)
    assert "semi-solid from: floor 0.26 -> 0.65" in shown.out
    assert dump(archive.conn) == before  # shown, not taken
    taken = run(capsys, "eye", "--refit", "--take", *where)
    assert f"{COUNT} measurements are classed" in taken.out
    rule = eye_rule(archive.conn)
    assert rule.right_after > rule.right_before
    even = {r["swatch"]: r for r in listing(archive.conn, "evenness").records()}
    assert (even["s15"]["class"], even["s15"]["by_your_eyes_rule"]) == ("solid", "solid")
    stored = archive.conn.execute("SELECT class FROM how_even WHERE swatch = 's15'")
    assert [tuple(row) for row in stored] == [("semi-solid",)]  # the program's own is kept
    assert len(swatches_where(archive.conn, Filters(tonality="semi-solid"))) < 17
    found = run(capsys, "near", "42,31,-8", "--tonality", "solid", *where)
    assert "by your eye's rule" in found.out
    assert "by your eye's rule" in run(capsys, "list", "swatches", *where).out
    undone = run(capsys, "eye", "--undo", *where)
    assert "the program's own rule" in undone.out
    assert eye_rule(archive.conn) is None
    assert len(swatches_where(archive.conn, Filters(tonality="semi-solid"))) == 27
    assert "nothing to undo" in run(capsys, "eye", "--undo", *where).out


def test_a_refit_that_moves_nothing_is_not_taken(archive, capsys):
    where = ("--archive", archive.folder)
    for i, value in enumerate(np.linspace(0.05, 1.2, COUNT)):  # as the program calls them
        name_class(archive.conn, f"s{i:02}", "semi-solid" if value >= 0.28 else "solid")
    shown = run(capsys, "eye", "--refit", *where).out
    assert "nothing moves" in shown and "takes it" not in shown
    before = dump(archive.conn)
    taken = run(capsys, "eye", "--refit", "--take", *where)
    assert (taken.code, taken.out, taken.err.count("\n")) == (1, "", 1)
    assert "nothing is taken, for no border moves" in taken.err and "--undo" not in taken.err
    assert dump(archive.conn) == before and eye_rule(archive.conn) is None

    name_all(archive.conn)
    run(capsys, "eye", "--refit", "--take", *where)
    rule = eye_rule(archive.conn)
    assert rule is not None
    for i, value in enumerate(np.linspace(0.05, 1.2, COUNT)):
        name_class(archive.conn, f"s{i:02}", "semi-solid" if value >= 0.28 else "solid")
    taken = run(capsys, "eye", "--refit", "--take", *where)
    assert taken.code == 1 and "`swatchvault eye --undo` goes back to it" in taken.err
    assert eye_rule(archive.conn).rule_id == rule.rule_id


def test_a_word_that_was_never_given_is_not_taken_back(archive, capsys):
    ran = run(capsys, "eye", "s20", "--forget", "--archive", archive.folder)
    assert ran.out == "s20: you have no word for it, so there is none to take back\n"


def test_undoing_goes_back_one_rule_at_a_time(archive, capsys):
    where = ("--archive", archive.folder)
    name_all(archive.conn)
    run(capsys, "eye", "--refit", "--take", *where)
    first = eye_rule(archive.conn)
    name_class(archive.conn, "s12", "semi-solid")
    run(capsys, "eye", "--refit", "--take", *where)
    assert eye_rule(archive.conn).rule_id != first.rule_id
    run(capsys, "eye", "--undo", *where)
    assert eye_rule(archive.conn).rule_id == first.rule_id
    with pytest.raises(sqlite3.IntegrityError):
        archive.conn.execute("UPDATE eye_rule SET thresholds = '{}'")


def test_what_is_measured_later_is_classed_by_the_rule_in_force(archive, tmp_path, capsys):
    name_all(archive.conn)
    run(capsys, "eye", "--refit", "--take", "--archive", archive.folder)
    new = add_swatch(archive.conn, Swatch("new", "Lumme", "skein", "L2")).id
    file_one(archive, tmp_path, new, tonality(0.45), "new")
    other = add_swatch(archive.conn, Swatch("other", "Lumme", "skein", "L2")).id
    file_one(archive, tmp_path, other, tonality(0.45, method="evenness 2"), "other")
    even = {
        r["swatch"]: r["by_your_eyes_rule"] for r in listing(archive.conn, "evenness").records()
    }
    assert even["new"] == "solid"
    assert even["other"] is None  # the rule was fitted to another version's figures
    said = run(capsys, "near", "42,31,-8", "--tonality", "solid", "--archive", archive.folder)
    assert "1 swatch that it cannot class" in said.out


def test_lists_sort_by_a_column_with_unknown_last(archive, capsys):
    where = ("--archive", archive.folder)
    white = add_swatch(archive.conn, Swatch("white", "Lumme", "skein")).id
    assert white
    rows = listing(archive.conn, "swatches", sort="unevenness", largest_first=True).records()
    known = [r["unevenness"] for r in rows if r["unevenness"] is not None]
    assert known == sorted(known, reverse=True)
    assert len(known) == COUNT
    assert all(r["unevenness"] is None for r in rows[COUNT:])
    assert rows[0]["evenness"] == "semi-solid"
    ran = run(capsys, "list", "colours", "--sort", "nothing", *where)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "unevenness" in ran.err
    assert run(capsys, "list", "evenness", "--sort", "unevenness", *where).code == 0


def test_what_is_set_aside_is_neither_fitted_to_nor_counted(archive, capsys):
    where = ("--archive", archive.folder)
    name_all(archive.conn)
    for swatch in ("s05", "s06"):
        run(capsys, "aside", swatch, f"{swatch}.jpg", "--because", "lamp on", *where)
    said = run(capsys, "eye", "--refit", "--take", *where).out
    assert f"from {COUNT - 2} named swatches" in said
    assert "2 more are not used: no measured photo of them counts" in said
    assert f"taken: {COUNT - 2} measurements are classed" in said
    assert len(listing(archive.conn, "evenness").rows) == COUNT - 2
    run(capsys, "aside", "s05", "s05.jpg", "--take-back", *where)
    rows = {r["swatch"]: r for r in listing(archive.conn, "evenness").records()}
    assert rows["s05"]["by_your_eyes_rule"] == "solid"  # classed meanwhile
