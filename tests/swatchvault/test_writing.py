"""Text is written only where its ending says that it is text."""

import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from swatchvault.errors import SwatchvaultError
from swatchvault.writing import write_text_file
from tests.swatchvault.running import run

EXAMPLE = Path(__file__).resolve().parents[2] / "example_archive"


@pytest.mark.parametrize("name", ["photo.jpg", "archive.db", "noending", "a.svg.png"])
def test_other_endings_are_refused_and_what_is_there_stays(tmp_path, name):
    there = tmp_path / name
    there.write_bytes(b"kept")
    with pytest.raises(SwatchvaultError, match=r"name a file \.svg or \.txt"):
        write_text_file(there, "text", ".svg", ".txt")
    assert there.read_bytes() == b"kept"


def test_text_is_written_and_written_again(tmp_path):
    there = tmp_path / "Card.SVG"
    for text in ("one", "zwei \u00b1"):
        write_text_file(there, text, ".svg")
        assert there.read_text(encoding="utf-8") == text


def test_a_folder_that_is_not_there_is_told_in_one_line(tmp_path):
    with pytest.raises(SwatchvaultError, match="No such file or directory; name another file"):
        write_text_file(tmp_path / "none" / "a.svg", "text", ".svg")


@pytest.fixture
def photo(tmp_path):
    for name in ("awning-knit.jpg", "awning-knit.marks.json"):
        shutil.copy(EXAMPLE / name, tmp_path / name)
    return tmp_path / "awning-knit.jpg"


@pytest.mark.parametrize(
    "command",
    [
        ("tonal", "PHOTO", "--svg", "PHOTO"),
        ("calibration", "PHOTO", "--svg", "PHOTO"),
        ("measure", "PHOTO", "--show", "PHOTO"),
        ("picture", "PHOTO", "PHOTO"),
    ],
)
def test_no_command_writes_over_its_photo(photo, capsys, command):
    before = photo.read_bytes()
    told = [photo if word == "PHOTO" else word for word in command]
    result = run(capsys, *told)
    assert result.code == 1 and "name a" in result.err
    assert photo.read_bytes() == before


def test_a_picture_is_written_over_only_where_it_is_ours(photo, tmp_path, capsys):
    for name in ("seen.png", "seen.jpg"):
        shown = ("measure", photo, "--show", tmp_path / name)
        for _ in range(2):
            assert run(capsys, *shown).code == 0
        Image.fromarray(np.zeros((8, 8, 3), np.uint8)).save(tmp_path / name)
        refused = run(capsys, *shown)
        assert refused.code == 1 and "no picture that this program wrote" in refused.err
        (tmp_path / name).write_bytes(b"no picture at all")
        assert run(capsys, *shown).code == 1
        assert (tmp_path / name).read_bytes() == b"no picture at all"
