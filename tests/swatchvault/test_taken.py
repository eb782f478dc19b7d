"""A photo that `near` and `like` look for: its set-up, light and steps."""

import json
import shutil
from importlib.resources import files
from pathlib import Path

import pytest

from tests.swatchvault.running import run

EXAMPLE = Path(str(files("example_archive")))
STEPS = "0.9,0.59,0.36,0.195,0.09,0.032"
OTHERS = "0.85,0.495,0.27,0.15,0.08,0.045"
SHOWN = ("--base", "B", "--form", "wound card", "--create")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("taken")


@pytest.fixture
def photo(folder):
    return Path(shutil.copy(EXAMPLE / "harbour-1.jpg", folder))


@pytest.fixture
def archive(folder, photo, capsys, monkeypatch):
    """One swatch, photographed in a locked set-up with steps of its own."""
    made = folder / "archive"
    monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(made))
    if not made.exists():
        assert run(capsys, "new", made).code == 0
        assert run(capsys, "reference", "own", "--kind", "steps", "--y", STEPS).code == 0
        how = ("--light", "daylight", "--locked", "--reference", "own")
        assert run(capsys, "setup", "window", *how).code == 0
        light = ("--setup", "window", "--light", "daylight")
        assert run(capsys, "add", photo, "--swatch", "s", *SHOWN, *light).code == 0
    return made


def near(capsys, photo, *told):
    ran = run(capsys, "near", photo, "--json", *told)
    assert ran.code == 0, ran.err
    return json.loads(ran.out)


def test_steps_are_those_used_last_and_a_note_says_so(capsys, archive, photo):
    found = near(capsys, photo)
    (measured,) = json.loads(run(capsys, "measure", photo, "--steps", STEPS, "--json").out)[
        "swatches"
    ]
    assert found["lab"] == pytest.approx(measured["lab"])
    assert any("taken for your 'own'" in w for w in found["warnings"])
    assert found["hits"][0]["photos"] == "other"


def test_a_set_up_brings_light_lock_and_steps(capsys, archive, photo):
    bare, known = near(capsys, photo), near(capsys, photo, "--setup", "window")
    assert known["hits"][0]["photos"] == "locked set-up"
    assert known["hits"][0]["u"] < bare["hits"][0]["u"]
    assert max(known["u_lab"]) < max(bare["u_lab"])
    assert not any("taken for your" in w for w in known["warnings"])


def test_light_alone_and_the_line_where_none_is_told(capsys, archive, photo):
    line = "± is that of any light, since none was told"
    assert line in run(capsys, "near", photo).out
    assert line not in run(capsys, "near", photo, "--light", "daylight").out
    assert line not in run(capsys, "near", "s").out and line not in run(capsys, "like", photo).out


def test_steps_that_are_told_count_and_must_be_the_set_ups(capsys, archive, photo):
    (measured,) = json.loads(run(capsys, "measure", photo, "--steps", OTHERS, "--json").out)[
        "swatches"
    ]
    assert near(capsys, photo, "--steps", OTHERS)["lab"] == pytest.approx(measured["lab"])
    ran = run(capsys, "near", photo, "--steps", OTHERS, "--setup", "window")
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "'own' has 0.9" in ran.err and OTHERS in ran.err
    assert "unknown setup" in run(capsys, "like", photo, "--setup", "door").err


def test_what_is_told_of_a_photo_goes_with_one(capsys, archive):
    ran = run(capsys, "near", "45,20,-10", "--light", "daylight")
    assert (ran.code, "go with a photo" in ran.err) == (2, True)


@pytest.mark.parametrize("command", ["near", "like"])
def test_a_mirrored_photo_is_told_and_not_looked_for(capsys, demo, folder, command):
    from PIL import Image, ImageOps

    with Image.open(EXAMPLE / "pear-2.jpg") as whole:
        ImageOps.mirror(whole).save(folder / "turned.png")
    ran = run(capsys, command, folder / "turned.png", "--archive", demo)
    assert ran.code == 1
    assert "turned.png: the picture is mirrored: a chart in it can be read only" in ran.err
