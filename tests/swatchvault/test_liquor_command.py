"""`liquor`: photos of a glass before white paper, rendered from a known liquor, through the CLI."""

import json

import numpy as np
import pytest

from ingest.liquor import LiquorReading
from swatchvault.archive import (
    Base,
    Lot,
    PotStep,
    add_base,
    add_lot,
    create_archive,
    get_pot,
    open_archive,
    record_step,
)
from swatchvault.liquor_looks import LiquorLook, stored_left, stored_note
from tests.swatchvault.liquorphotos import photograph, views
from tests.swatchvault.running import run


@pytest.fixture
def answer(capsys):
    def asked(*arguments):
        ran = run(capsys, "liquor", *arguments, "--json")
        assert ran.code == 0, ran.err
        return json.loads(ran.out)

    return asked


def test_one_photo_of_several_looks(tmp_path, answer, capsys):
    shares = {"start": 1.0, "hold 1": 0.5, "hold 2": 0.12}
    photo = photograph(tmp_path / "pot.png", views(shares))
    readings = answer(photo, "--light", "daylight")["readings"]
    assert [r["name"] for r in readings] == list(shares)
    assert [r["share"] for r in readings] == pytest.approx([1.0, 0.5, 0.12], abs=0.05)
    assert [r["word"] for r in readings] == ["much", "much", "some"]
    assert readings[1]["channels"]["green"] == pytest.approx(0.5, abs=0.06)
    said = run(capsys, "liquor", photo).out
    assert "start: what the others are measured against" in said
    assert "by channel: " in said
    assert "caution:" in said


def test_more_than_the_start_had_is_told_to_be_wrong(tmp_path, answer, capsys):
    photo = photograph(tmp_path / "pot.png", views({"start": 0.6, "hold 1": 0.8, "hold 2": 0.6}))
    found = answer(photo, "--light", "daylight")
    (remark,) = found["warnings"]
    assert found["readings"][1]["share"] > 1.2 and remark.startswith("hold 1: more colour than")
    assert f"! {remark}" in run(capsys, "liquor", photo).out.splitlines()
    assert (
        answer(photograph(tmp_path / "b.png", views({"start": 1, "hold 1": 1})))["warnings"] == []
    )


def test_a_hold_alone_is_told_nothing_and_not_stored(tmp_path, answer, capsys, pot):
    lot = ("--lot", "L1", "--archive", pot)
    hold = photograph(tmp_path / "hold.png", views({"hold 1": 0.5}))
    said = run(capsys, "liquor", hold)
    assert "measured against" not in said.out
    assert "! hold 1 stands alone, and tells nothing: photograph the start too" in said.out
    kept = run(capsys, "liquor", hold, *lot)
    assert kept.code == 1 and "nothing is stored in lot L1: hold 1 stands alone" in kept.err
    start = photograph(tmp_path / "start.png", views({"start": 1.0}))
    assert "start: what the others are measured against" in run(capsys, "liquor", start).out


def test_several_photos_the_start_first_wherever_it_is(tmp_path, answer):
    later = photograph(tmp_path / "b.png", views({"hold 1": 0.3}))
    first = photograph(tmp_path / "a.png", views({"start": 1.0}), seed=1)
    readings = answer(later, first)["readings"]
    assert [(r["name"], r["photo"]) for r in readings] == [("start", "a.png"), ("hold 1", "b.png")]
    assert readings[1]["share"] == pytest.approx(0.3, abs=0.05)


def test_the_start_again_is_no_look_and_makes_it_surer(tmp_path, answer, capsys):
    shares, dilutions = {"start": 1.0, "hold 1": 0.4}, {"again": 2.0, "again 2": 4.0}
    without = photograph(tmp_path / "a.png", views(shares))
    more = views(shares | {"again": 1.0}, dilutions=dilutions)
    with_it = photograph(tmp_path / "b.png", more)
    plain, surer = answer(without), answer(with_it)
    assert [r["name"] for r in surer["readings"]] == list(shares)
    assert surer["start_again"] == [2.0] and plain["start_again"] == []
    assert surer["readings"][1]["u_share"] < 0.8 * plain["readings"][1]["u_share"]
    assert 'mark it "again"' in run(capsys, "liquor", without).out
    assert 'mark it "again"' not in run(capsys, "liquor", with_it).out
    thin = photograph(
        tmp_path / "c.png", views({"start": 1.0, "again 2": 1.0}, dilutions=dilutions)
    )
    assert answer(thin, "--dilution", "again 2=4")["start_again"] == [4.0]


def test_the_start_again_needs_the_start_and_its_true_dilution(tmp_path, answer, capsys):
    seen = views({"again": 1.0, "hold 1": 0.4}, dilutions={"again": 2.0})
    ran = run(capsys, "liquor", photograph(tmp_path / "a.png", seen))
    assert ran.code == 1 and 'no region is named "start"' in ran.err
    shares = {"start": 1.0, "again": 1.0, "hold 1": 0.4}
    photo = photograph(tmp_path / "b.png", views(shares, dilutions={"again": 2.0}))
    assert answer(photo)["words"] == ""
    assert "diluted otherwise" in answer(photo, "--dilution", "again=1")["words"]


def test_the_start_again_is_counted_from_a_diluted_start(tmp_path, answer, capsys):
    shares = {"start": 1.0, "again": 1.0, "hold 1": 0.05}
    thin = {"start": 10.0, "again": 20.0}
    photo = photograph(tmp_path / "a.png", views(shares, 2.0, thin, "Sallow black"))
    found = answer(photo, "--dilution", "start=10")
    assert (found["start_again"], found["start_again_read"]) == ([20.0], [True])
    assert found["words"] == ""  # the channels agree
    assert found["readings"][1]["share"] == pytest.approx(0.05, abs=0.03)
    said = run(capsys, "liquor", photo, "--dilution", "start=10").out
    assert "again (diluted to 20 parts): the start once more, counted" in said
    told = answer(photo, "--dilution", "start=10", "--dilution", "again=2")
    assert told["start_again"] == [2.0]


def test_a_start_again_that_is_too_deep_is_said_not_to_be_counted(tmp_path, answer, capsys):
    seen = views({"start": 1.0, "hold 1": 0.4}) | {"again": np.array([0.004, 0.004, 0.004])}
    photo = photograph(tmp_path / "a.png", seen)
    assert answer(photo)["start_again_read"] == [False]
    said = run(capsys, "liquor", photo).out
    assert "again (diluted to 2 parts): too deep to read, not counted" in said


def test_two_photos_of_the_start_are_refused(tmp_path, capsys):
    one = photograph(tmp_path / "a.png", views({"start": 1.0}))
    two = photograph(tmp_path / "b.png", views({"start": 1.0, "hold 1": 0.4}))
    ran = run(capsys, "liquor", one, two)
    assert ran.code == 1 and ran.err.count("\n") == 1
    assert "2 starts, in a.png and b.png: one start is needed" in ran.err


def test_a_clear_glass_makes_it_surer(tmp_path, answer):
    shares = {"start": 1.0, "hold 1": 0.4}
    more = {**shares, "hold 2": 0.0}  # as many glasses in as many places
    without = answer(photograph(tmp_path / "a.png", views(more, 0.08, name="Sallow black")))
    shares["clear"] = 0.0
    given = answer(photograph(tmp_path / "b.png", views(shares, 0.08, name="Sallow black")))
    assert (without["clear_glass"], given["clear_glass"]) == (False, True)
    assert given["readings"][1]["u_share"] < without["readings"][1]["u_share"]
    # and it stands for the white where none is marked
    alone = photograph(tmp_path / "c.png", views(shares, 0.08, name="Sallow black"), white=False)
    assert answer(alone)["readings"][1]["share"] == pytest.approx(0.4, abs=0.06)


def test_too_deep_a_start_asks_for_a_dilution_and_takes_it(tmp_path, answer, capsys):
    shares = {"start": 1.0, "hold 1": 0.05}
    deep = photograph(tmp_path / "deep.png", views(shares, 4.0, name="Sallow black"))
    found = answer(deep)
    assert found["readings"][0]["too_deep"]
    assert found["readings"][0]["share"] is None
    parts = found["readings"][0]["dilute_to_parts"]
    assert f'--dilution "start={parts}"' in run(capsys, "liquor", deep).out
    thin = {"start": 20.0}
    thinner = photograph(tmp_path / "thin.png", views(shares, 4.0, thin, "Sallow black"))
    readings = answer(thinner, "--dilution", "start=20")["readings"]
    assert readings[1]["share"] == pytest.approx(0.05, abs=0.03)


def test_without_a_card_it_still_reads_and_says_so(tmp_path, answer):
    shares = {"start": 1.0, "hold 1": 0.5}
    found = answer(photograph(tmp_path / "bare.png", views(shares), steps=False))
    assert "bare.png: no card" in found["warnings"][0]
    assert found["readings"][1]["share"] == pytest.approx(0.5, abs=0.06)


@pytest.fixture
def pot(tmp_path):
    folder = tmp_path / "yarn"
    with create_archive(folder) as archive:
        add_base(archive.conn, Base("Lumme"))
        add_lot(archive.conn, Lot("L1", ("Lumme",), dry_g=100.0, dyed_on="2026-03-01"))
    return folder


def test_readings_are_looks_of_the_pot_and_stored_once(tmp_path, pot, answer, capsys):
    shares = {"start": 1.0, "hold 1": 0.5}
    photo = photograph(tmp_path / "pot.png", views(shares))
    stored = answer(photo, "--lot", "L1", "--archive", pot)["stored"]
    assert len(stored) == 2
    with open_archive(pot) as archive:
        steps = get_pot(archive.conn, "L1").steps
        kept = archive.conn.execute("SELECT colour_left_percent FROM pot_step").fetchall()
    assert [s.step.kind for s in steps] == ["look", "look"]
    assert steps[0].step.colour_left == "100 %"
    assert [r[0] for r in kept] == pytest.approx([100.0, 50.0], abs=5.0)
    assert steps[1].step.note.startswith("photo pot.png, hold 1: much, ± ")
    again = answer(photo, "--lot", "L1", "--archive", pot)["stored"]
    assert all("corrected" in line for line in again)
    with open_archive(pot) as archive:
        assert len(get_pot(archive.conn, "L1").steps) == 2
        record_step(archive.conn, "L1", PotStep("rinse"))
    assert "hold 1: " in run(capsys, "liquor", photo, "--lot", "L1", "--archive", pot).out


def test_a_look_with_a_colon_in_its_name_is_stored_once_too(tmp_path, pot, answer):
    photo = photograph(tmp_path / "pot.png", views({"start": 1.0, "hold 1: jar": 0.5}))
    answer(photo, "--lot", "L1", "--archive", pot)
    again = answer(photo, "--lot", "L1", "--archive", pot)["stored"]
    assert [line.split(" of ")[0] for line in again] == ["start: step 1", "hold 1: jar: step 2"]


def test_looks_behind_a_rinse_are_said_to_be(tmp_path, pot, answer, capsys):
    photo = photograph(tmp_path / "pot.png", views({"start": 1.0, "hold 1": 0.5}))
    with open_archive(pot) as archive:
        record_step(archive.conn, "L1", PotStep("hold", "2026-03-01T10:05:00"))
        record_step(archive.conn, "L1", PotStep("rinse", "2026-03-01T11:05:00"))
    found = answer(photo, "--lot", "L1", "--archive", pot)
    with open_archive(pot) as archive:
        at = get_pot(archive.conn, "L1").steps[-1].step.at[:16].replace("T", " ")
    first, second = found["stored"]
    assert f"step 3 of L1's log, 100 % left, at {at} (the time now: the photo has none)" in first
    assert "step 4 of L1's log" in second
    (said,) = (w for w in found["warnings"] if "rinse" in w)
    assert said.startswith("L1's log goes on to rinse (step 2, 2026-03-01 11:05): the new looks")
    again = run(capsys, "liquor", photo, "--lot", "L1", "--archive", pot).out
    assert "corrected" in again and "goes on to" not in again  # nothing new at its end


def test_looks_before_a_rinse_are_stored_without_a_word(tmp_path, pot, answer):
    photo = photograph(tmp_path / "pot.png", views({"start": 1.0}))
    with open_archive(pot) as archive:
        record_step(archive.conn, "L1", PotStep("hold"))
    assert answer(photo, "--lot", "L1", "--archive", pot)["warnings"] == []


def test_what_could_not_be_read_is_not_stored(tmp_path, pot, answer):
    deep = photograph(tmp_path / "deep.png", views({"start": 1.0}, 4.0, name="Sallow black"))
    (line,) = answer(deep, "--lot", "L1", "--archive", pot)["stored"]
    assert "not stored" in line
    with open_archive(pot) as archive:
        assert get_pot(archive.conn, "L1").steps == ()


def test_a_share_is_stored_within_its_bounds():
    reading = LiquorReading("x", 1.04, 0.03, "much", False, None, "")
    assert stored_left(reading) == "100 %"
    look = LiquorLook(None, "a.jpg", "start", None)
    assert stored_note(look, reading) == "photo a.jpg, start: much, ± 3 points"
    assert stored_left(LiquorReading("x", float("nan"), 0.0, "", True, 5, "")) is None


@pytest.mark.parametrize(
    ("change", "extra", "what"),
    [
        ({"white": False}, (), "marks no white"),
        ({}, ("--dilution", "hold 9=10"), "which is no look: there is start, hold 1"),
        ({}, ("--dilution", "start=much"), "cannot be read"),
        ({}, ("--dilution", "start=1,250"), "write 1.250 or 1250"),
        ({}, ("--dilution", "start=0.5"), "1 or more is needed"),
        ({}, ("--dilution", "start"), "write the look, ="),
        ({}, ("--lot", "L9"), "unknown lot"),
    ],
)
def test_a_mistake_is_one_plain_line(tmp_path, pot, capsys, change, extra, what):
    shares = {"start": 1.0, "hold 1": 0.5}
    photo = photograph(tmp_path / "pot.png", views(shares), **change)
    ran = run(capsys, "liquor", photo, *extra, "--archive", pot)
    assert ran.code == 1
    assert what in ran.err
    assert len(ran.err.strip().splitlines()) == 1


def test_a_photo_of_no_liquor_and_a_clipped_white_are_refused(tmp_path, capsys):
    empty = photograph(tmp_path / "empty.png", views({"start": 1.0}) | {"start": 0.8})
    marks = tmp_path / "empty.marks.json"
    told = json.loads(marks.read_text())
    marks.write_text(json.dumps({**told, "swatches": told["swatches"][1:]}))
    assert "marks no liquor" in run(capsys, "liquor", empty).err
    bright = {k: 1.6 * v for k, v in views({"start": 1.0}).items()}
    clipped = photograph(tmp_path / "bright.png", bright)
    assert "darker" in run(capsys, "liquor", clipped).err
