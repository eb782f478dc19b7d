"""A master that states its evenness, and lots checked against it, from the command line."""

import json
import sqlite3

import pytest

from swatchvault.archive import (
    Master,
    RegionOf,
    Swatch,
    add_swatch,
    create_archive,
    current_master,
    file_photo,
    listing,
    no_longer_held,
    set_master,
    state_evenness,
    stated_evenness,
)
from swatchvault.tonal_master import stated_words
from tests.swatchvault.factories import measured, photo_file, photo_of, studio
from tests.swatchvault.running import run

HELD = ("Low sun", "Lumme", "skein")


def tonality(unevenness=1.0, u=0.1, name="semi-solid", between=None, method="evenness 1"):
    """A record as the measure writes it, as far as it is read here."""
    return {
        "unevenness": unevenness,
        "u_unevenness": u,
        "class": name,
        "between": between,
        "method": method,
        "reasons": [],
        "strand_contrast": 0.2,
        "depth_off": 0.3,
        "palette": [],
    }


def file_one(archive, folder, swatch_id, tonal, name, flags=()):
    """File a photo of one swatch, as if it had been measured so."""
    path = photo_file(folder, f"{name}.jpg", name.encode())
    seen = measured("new", tonality=tonal, flags=frozenset(flags), clipped_share=0.0)
    return file_photo(archive, photo_of(path, [seen]), path, [RegionOf("new", swatch_id)])


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    folder = tmp_path_factory.mktemp("template") / "yarn"
    with create_archive(folder) as archive:
        one, two = studio(archive.conn)
        set_master(archive.conn, Master(*HELD, "sun 1", 1.5))
        file_one(archive, folder.parent, one, tonality(), "one")
        file_one(archive, folder.parent, two, tonality(2.4, 0.2), "two")
    return folder


def test_a_master_states_its_own_photos_figure_and_a_lot_is_held_to_it(archive, capsys):
    ran = run(capsys, "master", "sun 1", "--evenness", "--archive", archive.folder)
    assert ran.code == 0
    assert "unevenness 1.00 ± 0.10" in ran.out
    assert "tolerance 1.5" in ran.out  # the colour's stays as it was
    ran = run(capsys, "check", "L2", "--archive", archive.folder)
    assert "Evenness: more tonal than the master; semi-solid, 2.40 ± 0.20" in ran.out
    (given,) = listing_of(archive, "evenness_checks_given")
    assert (given["verdict"], given["unevenness"]) == ("more tonal", 2.4)
    assert given["master_unevenness"] == 1.0
    (lot,) = listing_of(archive, "lots_against_master")
    assert lot["last_evenness"] == "more tonal"
    for asked in (("list", "checks"), ("show", "lot", "L2"), ("show", "swatch", "sun 2")):
        said = json.loads(run(capsys, *asked, "--json", "--archive", archive.folder).out)
        (check,) = said if asked[0] == "list" else said["checks"]
        assert check["evenness_verdict"] == "more tonal"
    (master,) = listing(archive.conn, "masters").records()
    assert (master["unevenness"], master["evenness_tolerance"]) == (1.0, 0.5)


def listing_of(archive, view):
    cursor = archive.conn.execute(f"SELECT * FROM {view}")
    names = [d[0] for d in cursor.description]
    return [dict(zip(names, row, strict=True)) for row in cursor]


def test_a_photo_that_cannot_be_judged_is_between_no_classes(archive, tmp_path, capsys):
    assert add_swatch(archive.conn, Swatch("sun 3", "Lumme", "skein", "L2")).id == 3
    between = tonality(5.37, name=None, between=["solid", "semi-solid"])
    file_one(archive, tmp_path, 3, between, "later", ("too little yarn for evenness",))
    for asked in (("list", "evenness"), ("show", "swatch", "sun 3")):
        said = run(capsys, *asked, "--json", "--archive", archive.folder).out
        rows = json.loads(said) if asked[0] == "list" else json.loads(said)["how even it is"]
        told = {row["swatch"]: row["cannot_tell"] for row in rows}
        assert told["sun 3"] == "cannot be judged in this photo"
        assert told.get("sun 1") is None
    (held,) = [r for r in listing_of(archive, "how_even") if r["swatch"] == "sun 3"]
    assert held["cannot_tell"] == "cannot be judged in this photo"


def test_a_tolerance_wider_than_its_own_unevenness_is_told_at_once(archive, tmp_path, capsys):
    said = run(capsys, "master", "sun 1", "--evenness", "--archive", archive.folder).out
    assert "no lot can be called less tonal" not in said
    file_one(archive, tmp_path, 1, tonality(0.49, 0.03), "later")
    said = run(capsys, "master", "sun 1", "--evenness", "--archive", archive.folder).out
    assert "no lot can be called less tonal" in said and "narrower" in said
    master = current_master(archive.conn, *HELD)
    figures, wider = stated_words(archive.conn, master.master_id)
    assert figures.startswith("unevenness 0.49 ± 0.03, tolerance ")
    assert "no lot can be called less tonal" in wider
    by_hand = ["master", "sun 1", "--evenness-tolerance", "0.8", "--archive", archive.folder]
    assert "less tonal: state one under 0.49" in run(capsys, *by_hand).out


def test_a_check_names_the_photo_that_tells_evenness_where_it_is_another(archive, tmp_path, capsys):
    run(capsys, "master", "sun 1", "--evenness", "--archive", archive.folder)
    check = ["check", "L2", "--archive", archive.folder]
    assert "Its evenness is told by" not in run(capsys, *check).out
    unread = ("reference far off",)  # no colour is judged on it
    file_one(archive, tmp_path, 2, tonality(2.4, 0.05), "sharper", unread)
    said = run(capsys, *check).out
    assert "Judged on two.jpg, the master on one.jpg." in said
    assert "Its evenness is told by sharper.jpg." in said


def test_a_check_in_json_keeps_the_two_verdicts_apart(archive, capsys):
    run(capsys, "master", "sun 1", "--evenness", "--archive", archive.folder)
    ran = run(capsys, "check", "L2", "--json", "--do-not-keep", "--archive", archive.folder)
    (found,) = json.loads(ran.out)
    assert found["verdict"] in ("within", "outside", "cannot tell")
    assert found["evenness"]["verdict"] == "more tonal"
    assert found["evenness"]["p_more"] < 0.05
    assert listing_of(archive, "evenness_checks_given") == []


def test_a_master_that_states_none_is_checked_on_its_colour_alone(archive, capsys):
    ran = run(capsys, "check", "L2", "--archive", archive.folder)
    assert "Evenness" not in ran.out
    ran = run(capsys, "check", "L2", "--json", "--archive", archive.folder)
    assert json.loads(ran.out)[0]["evenness"] is None


@pytest.mark.parametrize(
    ("tonal", "flags", "said"),
    [
        (tonality(0.4, name=None, between=["solid", "semi-solid"]), (), "solid from semi-solid"),
        (tonality(), ("out of focus",), "out of focus"),
        (tonality(), ("scale estimated",), "scale is only a guess"),
        (None, (), "not measured"),
    ],
)
def test_what_cannot_be_told_is_not_stated(archive, tmp_path, capsys, tonal, flags, said):
    white = archive.conn.execute("SELECT id FROM swatch WHERE label = 'sun 2'").fetchone()[0]
    archive.conn.execute("INSERT INTO swatch (label, base_id, lot_id, form) SELECT 'sun 3', "
                         "base_id, lot_id, form FROM swatch WHERE id = ?", (white,))  # fmt: skip
    (third,) = archive.conn.execute("SELECT id FROM swatch WHERE label = 'sun 3'").fetchone()
    file_one(archive, tmp_path, third, tonal, "three", flags)
    ran = run(capsys, "master", "sun 3", "--evenness", "--archive", archive.folder)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert said in ran.err
    # and the master is as it was: both or neither
    assert current_master(archive.conn, *HELD).swatch == "sun 1"


def test_another_method_cannot_be_compared_and_says_what_to_do(archive, tmp_path, capsys):
    run(capsys, "master", "sun 1", "--evenness", "--archive", archive.folder)
    (two,) = archive.conn.execute("SELECT id FROM swatch WHERE label = 'sun 2'").fetchone()
    path = tmp_path / "two.jpg"
    path.write_bytes(b"two")
    seen = measured("new", tonality=tonality(2.4, method="evenness 2"), clipped_share=0.0)
    file_photo(archive, photo_of(path, [seen]), path, [RegionOf("new", two)])
    ran = run(capsys, "check", "L2", "--archive", archive.folder)
    assert "Evenness: cannot tell" in ran.out
    assert "remeasure" in ran.out


def test_evenness_can_be_held_no_longer_and_its_history_stays(archive, capsys):
    where = ("--archive", archive.folder)
    run(capsys, "master", "sun 1", "--evenness-tolerance", 0.9, *where)
    held = current_master(archive.conn, *HELD)
    assert stated_evenness(archive.conn, held.master_id).tolerance == 0.9
    assert "no longer" in run(capsys, "master", "sun 1", "--no-evenness", *where).out
    assert stated_evenness(archive.conn, held.master_id) is None
    assert no_longer_held(archive.conn, held.master_id) is False
    assert archive.conn.execute("SELECT count(*) FROM master_evenness").fetchone()[0] == 2
    with pytest.raises(sqlite3.IntegrityError, match="kept as it was"):
        archive.conn.execute("UPDATE master_evenness SET tolerance = 3")


def test_a_master_told_again_with_another_tolerance_keeps_its_evenness(archive, capsys):
    where = ("--archive", archive.folder)
    run(capsys, "master", "sun 1", "--evenness", *where)
    first = current_master(archive.conn, *HELD).master_id
    run(capsys, "master", "sun 1", "--tolerance", 1.0, *where)
    held = current_master(archive.conn, *HELD)
    assert (held.master_id != first, held.tolerance) == (True, 1.0)
    assert stated_evenness(archive.conn, held.master_id).unevenness == 1.0


def test_stating_the_same_again_adds_nothing(archive):
    held = current_master(archive.conn, *HELD)
    told = {"unevenness": 1.0, "u_unevenness": 0.1, "tolerance": 0.5, "method": "evenness 1"}
    assert state_evenness(archive.conn, held.master_id, **told) == state_evenness(
        archive.conn, held.master_id, **told
    )


def test_lots_show_the_verdict_on_evenness_beside_the_colours(archive, capsys):
    asked = ("lots", "Low sun", "--archive", archive.folder)
    said = run(capsys, *asked).out
    assert "tonal" not in said
    (point,) = json.loads(run(capsys, *asked, "--json").out)[0]["course"]
    assert point["evenness"] is None
    run(capsys, "master", "sun 1", "--evenness", "--archive", archive.folder)
    said = run(capsys, *asked).out
    assert "more tonal, " in next(line for line in said.splitlines() if "2026-04-01" in line)
    assert "verdicts on evenness, apart" in said
    (point,) = json.loads(run(capsys, *asked, "--json").out)[0]["course"]
    (check,) = json.loads(run(capsys, "check", "L2", "--json", "--archive", archive.folder).out)
    assert point["evenness"] == check["evenness"] and check["evenness"]["verdict"] == "more tonal"


def test_another_master_keeps_the_tolerance_and_is_held_to_its_evenness_too(archive, capsys):
    assert run(capsys, "master", "sun 1", "--evenness", "--archive", archive.folder).code == 0
    ran = run(capsys, "master", "sun 2", "--archive", archive.folder)
    assert "tolerance 1.5 at" in ran.out
    assert "its evenness: semi-solid, unevenness 2.40 ± 0.20" in ran.out
    assert "it was sun 1" in ran.out and 'swatchvault lots "Low sun"' in ran.out
    assert stated_evenness(archive.conn, held_now(archive)) is not None
    ended = run(capsys, "master", "sun 2", "--no-evenness", "--archive", archive.folder)
    assert ended.code == 0
    back = run(capsys, "master", "sun 1", "--archive", archive.folder)
    assert "its evenness, as it was stated before: unevenness 1.00 ± 0.10" in back.out
    assert stated_evenness(archive.conn, held_now(archive)) is not None


def test_a_tolerance_that_was_stated_by_hand_goes_over_to_another_master(archive, capsys):
    by_hand = ("--evenness", "--evenness-tolerance", 0.7)
    assert run(capsys, "master", "sun 1", *by_hand, "--archive", archive.folder).code == 0
    ran = run(capsys, "master", "sun 2", "--archive", archive.folder)
    assert "are held to it within 0.7 (stated by hand)" in ran.out
    assert stated_evenness(archive.conn, held_now(archive)).tolerance == 0.7


def test_a_master_whose_evenness_cannot_be_told_says_that_lots_are_held_to_none(
    archive, capsys, tmp_path
):
    assert run(capsys, "master", "sun 1", "--evenness", "--archive", archive.folder).code == 0
    (two,) = archive.conn.execute("SELECT id FROM swatch WHERE label = 'sun 2'").fetchone()
    blind = tonality(2.4, 0.05, name=None, between=["solid", "semi-solid"])
    file_one(archive, tmp_path, two, blind, "three")
    ran = run(capsys, "master", "sun 2", "--archive", archive.folder)
    assert ran.code == 0
    assert "lots were held to how even sun 1 is, and are to nothing now: the evenness of" in ran.out
    assert stated_evenness(archive.conn, held_now(archive)) is None


def test_a_master_after_one_that_states_no_evenness_states_none(archive, capsys):
    ran = run(capsys, "master", "sun 2", "--archive", archive.folder)
    assert "evenness" not in ran.out
    assert stated_evenness(archive.conn, held_now(archive)) is None


def held_now(archive):
    held = current_master(archive.conn, *HELD)
    assert held is not None
    return held.master_id


def test_a_tolerance_whose_point_may_have_slipped_is_asked_about(archive, capsys):
    where = ("--archive", archive.folder)
    said = run(capsys, "master", "sun 1", "--tolerance", 20, *where).out
    assert "A tolerance of 20 passes lots that anyone sees to be of another colour" in said
    assert "decimal point" not in run(capsys, "master", "sun 1", "--tolerance", 2, *where).out
