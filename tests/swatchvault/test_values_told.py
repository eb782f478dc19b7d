"""Values of a reference that are told, by command, set-up and marks: none goes unsaid."""

import json
import shutil
from importlib.resources import files
from pathlib import Path

import pytest

from tests.swatchvault.running import run

EXAMPLE = Path(str(files("example_archive")))
STEPS = [0.9, 0.59, 0.36, 0.195, 0.09, 0.032]
OTHERS = "0.85,0.495,0.27,0.15,0.08,0.045"
SHOWN = ("--swatch", "s", "--base", "B", "--form", "knit", "--create")


@pytest.fixture
def card(tmp_path):
    """A photo with a card marked as 18 %."""
    return marked(tmp_path, "ember-knit", {"kind": "card", "y": 0.18, "polygon": place("card")})


@pytest.fixture
def steps(tmp_path):
    """A photo with six steps marked as what they are."""
    shutil.copy(EXAMPLE / "harbour-1.marks.json", tmp_path / "harbour-1.marks.json")
    return Path(shutil.copy(EXAMPLE / "harbour-1.jpg", tmp_path))


def place(kind):
    from ingest.pipeline import locate_file

    _, layout = locate_file(EXAMPLE / "ember-knit.jpg")
    (found,) = layout.references
    assert found.kind == kind
    return [list(p) for p in found.patches[0]]


def marked(tmp_path, name, reference):
    swatch = {"name": "swatch", "polygon": [[0.55, 0.3], [0.8, 0.3], [0.8, 0.6], [0.55, 0.6]]}
    marks = {"references": [reference], "swatches": [swatch]}
    (tmp_path / f"{name}.marks.json").write_text(json.dumps(marks))
    return Path(shutil.copy(EXAMPLE / f"{name}.jpg", tmp_path))


@pytest.mark.parametrize("command", [("measure",), ("calibration",), ("tonal",)])
def test_a_card_that_the_marks_call_another_is_an_error_in_one_line(capsys, card, command):
    ran = run(capsys, *command, card, "--card-y", "0.25")
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "the marks say 0.18" in ran.err and "--card-y 0.25" in ran.err
    assert run(capsys, *command, card, "--card-y", "0.18").out == run(capsys, *command, card).out


def test_so_are_steps_and_a_cards_lab(capsys, card, steps):
    ran = run(capsys, "measure", steps, "--steps", OTHERS)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "the marks say 0.9, 0.59" in ran.err and OTHERS in ran.err
    ran = run(capsys, "measure", card, "--card-lab", "60", "0", "0")
    assert (ran.code, "--card-lab 60 0 0" in ran.err) == (1, True)
    ran = run(capsys, "measure", card, "--card-lab", "60", "30", "0")
    assert (ran.code, "of a grey card both lie near 0" in ran.err) == (1, True)
    ran = run(capsys, "measure", card, "--card-lab", "60", "0", "0", "--card-y", "0.3")
    assert (ran.code, "give one of them" in ran.err) == (2, True)


def test_per_cent_are_told_as_a_share(capsys, card):
    for option, value in (("--card-y", "18"), ("--steps", "90,18,3")):
        ran = run(capsys, "measure", card, option, value)
        first = float(value.split(",")[0])
        assert (ran.code, f"up to 1: {first:g} % is {first / 100:g}" in ran.err) == (1, True)


def test_what_is_told_of_no_reference_in_the_photo_is_flagged(capsys, card, steps):
    other = (
        *((card, "--steps", OTHERS), (card, "--bar-mm", "97")),
        *((steps, "--card-y", "0.5"), (steps, "--card-lab", "60", "0", "0")),
    )
    for told in other:
        ran = run(capsys, "measure", *told, "--json")
        assert ran.code == 0, ran.err
        measured = json.loads(ran.out)
        assert "told and not found" in measured["flags"]
        assert all("told and not found" in s["flags"] for s in measured["swatches"])
    for told in ((card, "--card-y", "0.18"), (card, "--bar-mm", "100"), (steps,)):
        assert "told and not found" not in run(capsys, "measure", *told).out
    assert "it was used for nothing" in run(capsys, "calibration", card, "--steps", OTHERS).out


@pytest.fixture
def archive(tmp_path, capsys, monkeypatch):
    folder = tmp_path / "archive"
    run(capsys, "new", folder)
    monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(folder))
    assert run(capsys, "reference", "quarter", "--kind", "card", "--y", "0.25").code == 0
    assert run(capsys, "setup", "bench", "--reference", "quarter").code == 0
    return folder


def test_a_set_up_and_what_is_told_with_the_photo_must_agree(capsys, archive, card):
    card.with_name("ember-knit.marks.json").unlink()
    ran = run(capsys, "add", card, *SHOWN, "--setup", "bench", "--card-y", "0.3")
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "'quarter' has 0.25" in ran.err and "--card-y 0.3" in ran.err
    assert json.loads(run(capsys, "list", "photos", "--json").out) == []
    assert run(capsys, "add", card, *SHOWN, "--setup", "bench", "--card-y", "0.25").code == 0


def test_marks_go_before_a_set_up_and_are_said_to_differ(capsys, archive, card):
    assert run(capsys, "add", card, *SHOWN, "--setup", "bench").code == 0
    (row,) = json.loads(run(capsys, "list", "colours", "--json").out)
    alone = json.loads(run(capsys, "measure", card, "--json").out)["swatches"][0]
    assert row["lab_l"] == pytest.approx(alone["lab"][0], abs=0.01)
    assert "values differ" in row["flags"] and "values differ" not in alone["flags"]
