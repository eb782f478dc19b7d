"""A measurement set aside counts nowhere, as if it had never been made, and can be taken back."""

import json
import sqlite3
from dataclasses import replace

import pytest

from ingest.evenness_rule import Thresholds
from swatchvault.archive import (
    Master,
    PhotoFacts,
    RegionOf,
    colours,
    create_archive,
    file_photo,
    set_master,
    verify,
)
from swatchvault.archive.aside import LONGEST_REASON, aside_of, set_aside, take_back
from swatchvault.archive.evenness import evenness_methods_in_use, versions_in_use
from swatchvault.archive.eye import name_class, take_rule
from swatchvault.archive.pages_find import colourways_measured, newest_row
from swatchvault.archive.pages_photo import labels_of_regions, need_photo_row
from swatchvault.archive.publishing import publish
from swatchvault.archive.questions import QUESTIONS
from swatchvault.archive.views import VIEWS
from swatchvault.errors import ArchiveError, NotFound
from swatchvault.filing import Filing
from tests.swatchvault.factories import (
    ELSEWHERE,
    SQUARE,
    copy_of,
    layout,
    measured,
    photo_file,
    photo_of,
    studio,
)
from tests.swatchvault.running import run

#: A swatch's newest of two photos, a master's photo of four, a lot's only one, and a semi-solid.
TARGETS = (
    ("PS-4 card", "pear-box-4-again.jpg"),
    ("NF-1 card", "furrow-2.jpg"),
    ("NF-3 card", "furrow-3.jpg"),
    ("HF-4 skein a", "harbour-4.jpg"),
)
#: Views that tell what is there, counted or not.
LISTING = {"filed_measurement", "measurements_set_aside", "photos"}
ASKED = (
    "check PS-4 --do-not-keep",
    "check NF-2 --do-not-keep",
    "lots 'Ninth Furrow'",
    "lots 'Pear on the Sill'",
    "near 38,26,13",
    "near 'PS-4 card'",
    "like 'PS-4 card'",
    "groups NF-1 NF-2 NF-5 --form 'wound card'",
    "drift 'Ninth Furrow' --form 'wound card'",
    "bases 'Pear on the Sill'",
    "gaps 'Orrin four-ply'",
    "predict 'Orrin four-ply' 'Pellow red=0.3' 'Brackle brown=0.45'",
    "reach 38,26,13 --base 'Orrin four-ply' --form 'wound card'",
    "tonal 'PS-4 card' --json",
    "tonal 'HF-2 skein a' --json",
    "list colours",
    "list swatches",
    "list evenness",
    "show colourway 'Ninth Furrow'",
)


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """One photo of both swatches, where each is marked; and one of the first alone."""
    folder = tmp_path_factory.mktemp("template") / "yarn"
    with create_archive(folder) as archive:
        studio(archive.conn)
        source = photo_file(folder)
        file_photo(archive, of_two(source), source, [RegionOf("a", 1), RegionOf("b", 2)])
    return folder


def of_two(source, version="1", place=None):
    return photo_of(source, (measured("a"), measured("b")), version, layout=place or PLACE)


def moved(place, name, polygon):
    """The layout with one region elsewhere."""
    regions = (replace(s, polygon=polygon) if s.name == name else s for s in place.swatches)
    return replace(place, swatches=tuple(regions))


PLACE = layout(("a", "b"))


def sha_of(archive):
    return archive.conn.execute("SELECT sha256 FROM photo").fetchone()[0]


def counted(archive):
    return {c.swatch_id for c in colours(archive.conn)}


def told(folder, capsys):
    """What every command and every view that counts says of an archive."""
    import shlex

    said = {asked: run(capsys, *shlex.split(asked), "--archive", folder) for asked in ASKED}
    lot = json.loads(run(capsys, "show", "lot", "PS-4", "--json", "--archive", folder).out)
    for check in lot["checks"]:  # what became of a photo is said of one that was made
        del check["since_then"]
    said["show lot PS-4"] = lot
    with sqlite3.connect(folder / "archive.db") as conn:
        for view in VIEWS.keys() - LISTING:
            said[view] = sorted(map(repr, conn.execute(f"SELECT * FROM {view}")))
    return said


def never_made(folder, swatch, photo):
    """Take the rows of a measurement out of an archive, which no program of ours does."""
    with sqlite3.connect(folder / "archive.db") as conn:
        for (name,) in conn.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'"):
            conn.execute(f'DROP TRIGGER "{name}"')
        gone = conn.execute(
            "DELETE FROM measurement WHERE swatch_id = (SELECT id FROM swatch WHERE label = ?) "
            "AND layout_id IN (SELECT layout.id FROM layout JOIN photo ON photo.id = photo_id "
            "WHERE original_name = ?)",
            (swatch, photo),
        )
        assert gone.rowcount == 1


@pytest.mark.parametrize(("swatch", "photo"), TARGETS)
def test_it_counts_as_if_it_had_never_been_made(demo, tmp_path, capsys, swatch, photo):
    with copy_of(demo, tmp_path / "aside"), copy_of(demo, tmp_path / "never"):
        pass
    before = told(tmp_path / "aside", capsys)
    where = ("--archive", tmp_path / "aside")
    assert run(capsys, "aside", swatch, photo, "--because", "lamp on", *where).code == 0
    never_made(tmp_path / "never", swatch, photo)
    after, never = told(tmp_path / "aside", capsys), told(tmp_path / "never", capsys)
    without = {asked for asked in after if after[asked] != never[asked]}
    assert without == set()
    assert sum(after[asked] != before[asked] for asked in after) > 3  # it did count
    assert run(capsys, "verify", *where).code == 0
    assert run(capsys, "aside", swatch, photo, "--take-back", *where).code == 0
    assert told(tmp_path / "aside", capsys) == before


def test_it_is_kept_shown_with_the_reason_and_told_of(demo, tmp_path, capsys):
    copy_of(demo, tmp_path / "yarn").close()
    where = ("--archive", tmp_path / "yarn")
    said = []
    for number in (1, 2, 3, 5):
        because = ("--because", f" lamp  on {number}")
        said.append(run(capsys, "aside", "nf-1 CARD", f"x/furrow-{number}.jpg", *because, *where))
    assert "set aside (lamp on 1)" in said[0].out and "no photo of" not in said[0].out
    assert "the same photo shows NF-2 card too, which still counts" in said[1].out
    assert "check again NF-2, NF-4" in said[1].out
    assert (
        "no photo of 'NF-1 card' counts now; it is the master of Ninth Furrow on Orrin four-ply as "
        "wound card: photograph it again, make another swatch the master, or take this back"
    ) in said[3].out
    rows = json.loads(run(capsys, "list", "aside", "--json", *where).out)
    assert {(r["photo"], r["reason"]) for r in rows} == {
        (f"furrow-{n}.jpg", f"lamp on {n}") for n in (1, 2, 3, 5)
    }
    assert all(r["lab_l"] > 10 for r in rows)
    shown = json.loads(run(capsys, "show", "swatch", "NF-1 card", "--json", *where).out)
    assert len(shown["set aside"]) == 4 and "colours" not in shown
    photos = json.loads(run(capsys, "list", "photos", "--json", *where).out)
    by_name = {p["photo"]: (p["swatches"], p["set_aside"]) for p in photos}
    assert by_name["furrow-2.jpg"] == ("NF-2 card", "NF-1 card")
    ran = run(capsys, "check", "NF-2", *where)
    assert ran.code == 1 and ran.err.count("\n") == 1
    assert "the master 'NF-1 card' has no photo that counts: its 4 photos are all set" in ran.err
    assert "make another swatch the master with `swatchvault master SWATCH`" in ran.err
    for asked in (("near", "NF-1 card"), ("master", "NF-1 card", "--evenness")):
        assert "has no photo that counts" in run(capsys, *asked, *where).err, asked


def test_verdicts_keep_their_words(demo, tmp_path, capsys):
    sql = ("SELECT * FROM lot_check", "SELECT * FROM lot_check_measurement")
    with copy_of(demo, tmp_path / "yarn") as archive:
        before = [list(map(tuple, archive.conn.execute(s))) for s in sql]
        ran = run(
            capsys, *("aside", "NF-2 card", "furrow-2.jpg", "--because", "x"),
            *("--archive", tmp_path / "yarn"),
        )  # fmt: skip
        assert "verdicts given on it keep their words: check again NF-2" in ran.out
        assert [list(map(tuple, archive.conn.execute(s))) for s in sql] == before


def test_an_evenness_stated_from_it_judges_nothing(demo, tmp_path, capsys):
    copy_of(demo, tmp_path / "yarn").close()
    where = ("--archive", tmp_path / "yarn")
    assert run(capsys, "master", "HF-1 skein a", "--evenness", *where).code == 0
    even = json.loads(run(capsys, "check", "HF-2", "--json", *where).out)[0]["evenness"]
    assert "set aside" not in " ".join(even["reasons"])
    ran = run(capsys, "aside", "HF-1 skein a", "harbour-4.jpg", "--because", "lamp", *where)
    assert "evenness is stated from it: state it again" in ran.out
    even = json.loads(run(capsys, "check", "HF-2", "--json", *where).out)[0]["evenness"]
    assert even["verdict"] == "cannot tell"
    assert "stated from is set aside: state it again" in even["reasons"][0]
    assert run(capsys, "master", "HF-1 skein a", "--evenness", *where).code == 0
    even = json.loads(run(capsys, "check", "HF-2", "--json", *where).out)[0]["evenness"]
    assert "set aside" not in " ".join(even["reasons"])


@pytest.mark.parametrize(
    ("asked", "code", "words"),
    [
        (("sun 1", "IMG_1.JPG"), 2, "say why with --because"),
        (("sun 1", "IMG_1.JPG", "--because", "x", "--take-back"), 2, "say why with --because"),
        (("sun 9", "IMG_1.JPG", "--because", "x"), 1, "unknown swatch 'sun 9'"),
        (
            ("sun 1", "IMG_2.JPG", "--because", "x"),
            1,
            "not measured in 'IMG_2.JPG': it is in IMG_1",
        ),
        (("sun 1", "IMG_1.JPG", "--because", "  "), 1, "the reason is blank"),
        (("sun 1", "IMG_1.JPG", "--because", "x" * (LONGEST_REASON + 1)), 1, "is the most"),
    ],
)
def test_mistakes_are_told_and_change_nothing(archive, capsys, asked, code, words):
    ran = run(capsys, "aside", *asked, "--archive", archive.folder)
    assert ran.code == code and words in ran.err, ran.err
    assert archive.conn.execute("SELECT count(*) FROM set_aside").fetchone()[0] == 0


def test_a_photo_is_named_by_file_or_sha256_and_never_by_chance(archive, capsys, tmp_path):
    source = photo_file(tmp_path, content=b"another of that name")
    file_photo(archive, of_two(source), source, [RegionOf("a", 1)])
    where = ("--because", "x", "--archive", archive.folder)
    ran = run(capsys, "aside", "sun 1", "img_1.jpg", *where)
    assert ran.code == 1 and "2 photos of swatch 'sun 1' are called 'img_1.jpg'" in ran.err
    sha256 = of_two(source).sha256
    assert sha256[:12] in ran.err
    assert run(capsys, "aside", "sun 1", sha256[:7], *where).code == 1
    assert run(capsys, "aside", "sun 1", sha256[:8], *where).code == 0
    (row,) = archive.conn.execute("SELECT photo_sha256 FROM measurements_set_aside")
    assert row[0] == sha256


def test_the_same_again_changes_nothing_and_another_reason_is_kept_beside(archive):
    sha256, rows = sha_of(archive), "SELECT reason, taken_back_at IS NULL FROM set_aside"
    assert set_aside(archive.conn, 1, sha256, "lamp on").changed
    assert not set_aside(archive.conn, 1, sha256, "lamp  on").changed
    assert set_aside(archive.conn, 1, sha256, "wrong swatch").changed
    assert [tuple(r) for r in archive.conn.execute(rows)] == [("lamp on", 0), ("wrong swatch", 1)]
    assert counted(archive) == {2}
    assert take_back(archive.conn, 1, sha256).changed
    assert not take_back(archive.conn, 1, sha256).changed
    assert counted(archive) == {1, 2} and aside_of(archive.conn, 1, sha256).reason is None
    with pytest.raises(NotFound):
        set_aside(archive.conn, 3, sha256, "x")


def test_what_was_said_is_kept_as_it_was(archive):
    set_aside(archive.conn, 1, sha_of(archive), "lamp on")
    take_back(archive.conn, 1, sha_of(archive))
    for sql in (
        "UPDATE set_aside SET reason = 'x'",
        "UPDATE set_aside SET taken_back_at = '2026-01-01'",
        "DELETE FROM set_aside",
    ):
        with pytest.raises(sqlite3.IntegrityError):
            archive.conn.execute(sql)
    assert verify(archive) == []


def test_searches_that_are_kept_in_memory_notice(archive):
    stamps = [newest_row(archive.conn)]
    for step in (
        lambda: set_aside(archive.conn, 1, sha_of(archive), "lamp on"),
        lambda: take_back(archive.conn, 1, sha_of(archive)),
        lambda: set_aside(archive.conn, 1, sha_of(archive), "lamp on"),
    ):
        step()
        stamps.append(newest_row(archive.conn))
    assert len(set(stamps)) == 4


SHOWN = (RegionOf("a", 1), RegionOf("b", 2))
SEARCHED = replace(moved(PLACE, "a", ELSEWHERE), located="search")
OTHER_STEPS = replace(
    PLACE, references=(replace(PLACE.references[0], patches=(SQUARE, SQUARE, SQUARE)),)
)
SEEN_OTHERWISE = replace(
    moved(PLACE, "b", ELSEWHERE),
    references=(replace(PLACE.references[0], located="search", confidence=0.5),),
)
RENAMED = layout(("c", "b"))


@pytest.mark.parametrize(
    ("place", "version", "again"),
    [
        (PLACE, "1", ()),  # the same once more
        (PLACE, "2", ()),  # by another version of the method
        (SEARCHED, "2", ()),  # found elsewhere by the program
        (moved(PLACE, "b", ELSEWHERE), "1", ()),  # another swatch marked anew
        (SEEN_OTHERWISE, "1", ()),  # the same places, found in another way
        (moved(PLACE, "a", ELSEWHERE), "1", ("sun 1",)),  # marked anew by a person
        (OTHER_STEPS, "1", ("sun 1",)),  # the reference marked anew
        (replace(PLACE, scale=None), "1", ("sun 1",)),
    ],
)
def test_only_what_a_person_marked_anew_counts_again(archive, tmp_path, place, version, again):
    set_aside(archive.conn, 1, sha_of(archive), "lamp on")
    source = photo_file(tmp_path)
    filed = file_photo(archive, of_two(source, version, place), source, SHOWN)
    assert (filed.again, filed.still) == (again, () if again else ("sun 1",))
    assert counted(archive) == ({1, 2} if again else {2})
    words = Filing(source, filed).words
    assert ("told anew counts again: sun 1" in words) is bool(again)
    assert ("still set aside, and counted nowhere: sun 1" in words) is not bool(again)
    assert verify(archive) == []


def test_a_region_of_another_name_is_marked_anew(archive, tmp_path):
    set_aside(archive.conn, 1, sha_of(archive), "lamp on")
    source = photo_file(tmp_path)
    found = photo_of(source, (measured("c"), measured("b")), layout=RENAMED)
    filed = file_photo(archive, found, source, [RegionOf("c", 1), RegionOf("b", 2)])
    assert filed.again == ("sun 1",) and counted(archive) == {1, 2}


def test_moved_to_the_right_swatch_it_counts(archive, tmp_path):
    set_aside(archive.conn, 1, sha_of(archive), "wrong swatch")
    source, found = photo_file(tmp_path), of_two(photo_file(tmp_path))
    with pytest.raises(ArchiveError, match="is the swatch 'sun 1'"):  # as if it still counted
        file_photo(archive, found, source, [RegionOf("a", 2)])
    relabel = PhotoFacts(relabel=True)
    filed = file_photo(archive, found, source, [RegionOf("a", 2)], relabel)
    assert (filed.aside, filed.again, filed.still) == (("sun 1",), (), ())
    assert [(c.region, c.swatch_id) for c in colours(archive.conn)] == [("b", 2), ("a", 2)]
    filed = file_photo(archive, found, source, [RegionOf("a", 1)], relabel)
    assert filed.again == ("sun 1",) and counted(archive) == {1, 2}


def test_what_is_carried_along_with_a_new_mark_stays_set_aside(archive, tmp_path):
    """A region that a person did not name anew is filed again, and no more."""
    set_aside(archive.conn, 1, sha_of(archive), "lamp on")
    source, place = photo_file(tmp_path), moved(PLACE, "b", ELSEWHERE)
    found = of_two(source, place=place)
    filed = file_photo(archive, found, source, [RegionOf("b", 2)], PhotoFacts(carry=True))
    assert filed.measured == 2 and filed.still == ("sun 1",)
    every = colours(archive.conn, with_aside=True)
    assert {c.region for c in every} == {"a", "b"} and counted(archive) == {2}


def test_a_copy_for_others_counts_it_as_little_and_does_not_say_why(archive, tmp_path):
    set_aside(archive.conn, 1, sha_of(archive), "the petrel blue ran into it")
    for recipes in (False, True):
        publish(archive, tmp_path / f"{recipes}", recipes=recipes)
        database = tmp_path / f"{recipes}" / "archive.db"
        with sqlite3.connect(database) as conn:
            assert conn.execute("SELECT DISTINCT swatch FROM colours").fetchall() == [("sun 2",)]
            ((reason,),) = conn.execute("SELECT reason FROM measurements_set_aside")
        assert (reason is None) is not recipes
        assert (b"petrel" in database.read_bytes()) is recipes


def test_a_master_of_one_photo_that_is_set_aside(archive, capsys):
    set_master(archive.conn, Master("Low sun", "Lumme", "skein", "sun 1"))
    set_aside(archive.conn, 1, sha_of(archive), "lamp on")
    archive.close()
    ran = run(capsys, "check", "L2", "--archive", archive.folder)
    assert (ran.code, ran.err) == (
        1,
        "the master 'sun 1' has no photo that counts: its photo IMG_1.JPG is set aside (lamp on); "
        "photograph it again, or take that back with `swatchvault aside 'sun 1' 'IMG_1.JPG' "
        "--take-back`, or make another swatch the master with `swatchvault master SWATCH`\n",
    )


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (("groups", "sun 1", "sun 2"), "swatch 'sun 1' has no photo that counts"),
        (("groups", "L1", "L2"), "lot 'L1' has no photo that counts"),
        (("check", "L1"), "has no measured swatch: swatch 'sun 1' has no photo that counts"),
        (("near", "sun 1"), "swatch 'sun 1' has no photo that counts"),
        (("master", "sun 1", "--evenness"), "swatch 'sun 1' has no photo that counts"),
    ],
)
def test_who_asks_for_it_is_told_what_to_do(archive, capsys, asked, said):
    set_aside(archive.conn, 1, sha_of(archive), "lamp on")
    ran = run(capsys, *asked, "--archive", archive.folder)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert said in ran.err and "IMG_1.JPG is set aside (lamp on); photograph it again" in ran.err


def test_only_versions_of_what_counts_are_in_use(archive, tmp_path):
    source = photo_file(tmp_path, content=b"another")
    swatch = measured("a", tonality={"method": "evenness next"})
    file_photo(archive, photo_of(source, (swatch,), "2"), source, [RegionOf("a", 1)])
    assert versions_in_use(archive.conn) == ("1", "2")
    assert evenness_methods_in_use(archive.conn) == ("evenness next",)
    set_aside(archive.conn, 1, of_two(source).sha256, "lamp on")
    assert versions_in_use(archive.conn) == ("1",)
    assert evenness_methods_in_use(archive.conn) == ()


def test_what_is_asked_of_the_measured_leaves_it_out(archive):
    set_master(archive.conn, Master("Low sun", "Lumme", "skein", "sun 1"))
    asked = str(QUESTIONS["lots_never_checked"]["sql"])

    def found():
        lots = [row["lot"] for row in archive.conn.execute(asked)]
        return lots, [c.name for c in colourways_measured(archive.conn)]

    assert found() == (["L2"], ["Low sun"])
    set_aside(archive.conn, 2, sha_of(archive), "lamp on")
    assert found() == ([], ["Low sun"])
    set_aside(archive.conn, 1, sha_of(archive), "lamp on")
    assert found() == ([], [])


def test_its_picture_and_its_regions_stay_as_they_are(archive, tmp_path):
    source = photo_file(tmp_path, content=b"another")
    lit = measured("a", flags=frozenset({"light field corrected"}))
    sha256 = file_photo(archive, photo_of(source, (lit,)), source, [RegionOf("a", 1)]).photo_sha256
    before = need_photo_row(archive.conn, sha256), labels_of_regions(archive.conn, sha256)
    assert before[0].light_field and before[1] == {"a": {"swatch": "sun 1", "dry": None}}
    set_aside(archive.conn, 1, sha256, "lamp on")
    assert (need_photo_row(archive.conn, sha256), labels_of_regions(archive.conn, sha256)) == before


def test_a_rule_of_the_eye_that_was_fitted_to_it_is_told(archive):
    before = set_aside(archive.conn, 1, sha_of(archive), "lamp")
    name_class(archive.conn, "sun 1", "solid")
    take_rule(archive.conn, Thresholds(), "evenness 6", [(1, 1)], (1, 1), {})
    assert not before.eye
    assert (
        "your rule of evenness was fitted"
        in set_aside(archive.conn, 1, sha_of(archive), "lamp on").lines[-1]
    )
