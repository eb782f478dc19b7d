"""A set-up's light and lock put right: what hangs on them is told first, photos go along."""

import json
import shutil
from importlib.resources import files
from pathlib import Path

import pytest

from tests.swatchvault.running import run

EXAMPLE = Path(str(files("example_archive")))
STEPS = "0.9,0.59,0.36,0.195,0.09,0.032"


@pytest.fixture
def archive(tmp_path, capsys, monkeypatch):
    folder = tmp_path / "archive"
    run(capsys, "new", folder)
    monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(folder))
    assert run(capsys, "setup", "bench", "--light", "other", "--free").code == 0
    return folder


def add(capsys, tmp_path, name, swatch, *more):
    photo = shutil.copy(EXAMPLE / f"{name}.jpg", tmp_path)
    what = ("--swatch", swatch, "--colourway", "Harbour", "--base", "B", "--form", "skein", "--dry")
    how = ("--setup", "bench", "--steps", STEPS, "--create", "--really-new", *more)
    ran = run(capsys, "add", photo, *what, "--lot", swatch, *how)
    assert ran.code == 0, ran.err


def rows(capsys, what):
    return json.loads(run(capsys, "list", what, "--json").out)


def doubts(capsys):
    return {row["swatch"]: row["variance_a"] for row in rows(capsys, "colours")}


def lights(capsys):
    return {row["photo"]: row["light"] for row in rows(capsys, "photos")}


def mend(capsys, *told):
    return run(capsys, "mend", "setup", "bench", *told)


def test_one_that_nothing_hangs_on_is_put_right_at_once(capsys, archive):
    ran = mend(capsys, "--light", "daylight", "--locked")
    assert (ran.code, ran.err) == (0, "")
    assert "set-up 'bench': light daylight, was other; camera locked, was free" in ran.out
    assert "remeasure" not in ran.out and "verdict" not in ran.out
    (found,) = rows(capsys, "setups")
    assert (found["light"], found["locked"]) == ("daylight", 1)
    assert "says so already" in mend(capsys, "--light", "daylight").out
    said = json.loads(mend(capsys, "--settings-free", "--json").out)
    assert said["changes"] == [{"field": "camera", "old": "locked", "new": "free"}]


def test_its_photos_go_along_and_one_of_another_light_keeps_its_own(capsys, archive, tmp_path):
    add(capsys, tmp_path, "harbour-1", "one")
    add(capsys, tmp_path, "harbour-2", "two", "--light", "daylight")
    before = doubts(capsys)
    asked = mend(capsys, "--light", "daylight")
    assert (asked.code, asked.err.count("\n")) == (1, 1)
    assert "lit by it so far: 1 photo (harbour-1.jpg)" in asked.err and "--yes" in asked.err
    assert "light daylight, was other" in asked.err
    assert sorted(lights(capsys).values()) == ["daylight", "other"]
    done = mend(capsys, "--light", "daylight", "--yes")
    assert done.code == 0 and 'swatchvault remeasure --setup "bench"' in done.out
    assert set(lights(capsys).values()) == {"daylight"} and doubts(capsys) == before
    ran = run(capsys, "remeasure", "--setup", "bench", "--workers", "1")
    assert ran.code == 0 and "harbour-1.jpg: measured anew, one swatch" in ran.out
    after = doubts(capsys)
    assert after["two"] == before["two"] and after["one"] < 0.8 * before["one"]
    assert run(capsys, "verify").out == "everything fits\n"
    assert mend(capsys, "--light", "other", "--yes").code == 0
    assert set(lights(capsys).values()) == {"other"}


def test_verdicts_that_rest_on_its_lock_are_told_and_keep_their_words(capsys, archive, tmp_path):
    add(capsys, tmp_path, "harbour-1", "one")
    add(capsys, tmp_path, "harbour-2", "two")
    run(capsys, "master", "one")
    assert run(capsys, "check", "two").code == 0
    before = rows(capsys, "checks")
    assert before[0]["capture"] == "same set-up"
    asked = mend(capsys, "--locked")
    assert asked.code == 1 and "lit by it" not in asked.err
    assert "a verdict rests on its photos and keeps its words (lot two)" in asked.err
    done = mend(capsys, "--locked", "--yes")
    assert done.code == 0 and "(lot two): check them again" in done.out
    assert "remeasure" not in done.out and rows(capsys, "checks") == before


def test_what_notes_say_otherwise_is_told_how_to_mend(capsys, archive):
    ran = run(capsys, "setup", "bench", "--light", "daylight")
    assert ran.code == 1 and "the archive's by `swatchvault mend`" in ran.err


@pytest.mark.parametrize("told", [(), ("--grams", "5"), ("--locked", "--remove")])
def test_what_cannot_be_mended(capsys, archive, told):
    ran = mend(capsys, *told)
    assert ran.code == 2
    assert "can be mended: --light, --locked, --settings-free" in ran.err
    assert run(capsys, "mend", "stock", "R", "--light", "other").code == 2
    assert "unknown setup" in run(capsys, "mend", "setup", "no", "--locked").err
