"""Mistakes a person can make: each one line that says what, where and what to do, and exit 1."""

import json
import re
import shutil
import sqlite3
import zlib
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from swatchvault.archive import open_archive
from tests.swatchvault.factories import dump
from tests.swatchvault.running import run

EXAMPLE = Path(str(files("example_archive")))
PHOTO = EXAMPLE / "furrow-1.jpg"


def grey_picture(path: Path, card: int = 118) -> Path:
    """A plain table with a card of one code value and a textured red swatch, with marks."""
    rng = np.random.default_rng(7)
    pixels = np.full((300, 400, 3), 170.0) + rng.normal(0, 2, (300, 400, 1))
    pixels[40:120, 40:140] = card + (rng.normal(0, 1.5, (80, 100, 1)) if 5 < card < 250 else 0)
    pixels[140:280, 200:380] = np.array([150, 60, 60]) + rng.normal(0, 12, (140, 180, 1))
    Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8)).save(path)
    marks = {
        "references": [{"kind": "card", "polygon": box(40, 40, 140, 120)}],
        "swatches": [{"name": "new", "polygon": box(205, 145, 375, 275)}],
    }
    path.with_name(path.stem + ".marks.json").write_text(json.dumps(marks))
    return path


def box(x0, y0, x1, y1, width=400, height=300):
    return [[x / width, y / height] for x, y in ((x0, y0), (x1, y0), (x1, y1), (x0, y1))]


def with_marks(path: Path, change, card: int = 118) -> Path:
    grey_picture(path, card)
    marks_file = path.with_name(path.stem + ".marks.json")
    marks = json.loads(marks_file.read_text())
    change(marks)
    marks_file.write_text(json.dumps(marks))
    return path


def not_a_picture(folder: Path) -> Path:
    path = folder / "bad.jpg"
    path.write_text("this is a letter")
    return path


def empty(folder: Path) -> Path:
    path = folder / "bad.jpg"
    path.touch()
    return path


def truncated(folder: Path) -> Path:
    path = folder / "bad.jpg"
    path.write_bytes(PHOTO.read_bytes()[:60_000])
    return path


def huge(folder: Path) -> Path:
    """A PNG that says it is 30,000 x 30,000 pixels."""
    path = folder / "bad.png"

    def chunk(kind: bytes, data: bytes) -> bytes:
        body = kind + data
        return len(data).to_bytes(4, "big") + body + zlib.crc32(body).to_bytes(4, "big")

    size = (30_000).to_bytes(4, "big") * 2
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", size + b"\x08\x02\x00\x00\x00")
        + chunk(b"IDAT", zlib.compress(b"\0" * 1000))
        + chunk(b"IEND", b"")
    )
    return path


def cmyk(folder: Path) -> Path:
    path = folder / "bad.jpg"
    Image.new("CMYK", (200, 200), (10, 20, 30, 40)).save(path)
    return path


def marks_outside(folder: Path) -> Path:
    def change(marks):
        marks["swatches"][0]["polygon"][0] = [1.2, 0.1]

    return with_marks(folder / "bad.png", change)


def marks_crossing(folder: Path) -> Path:
    def change(marks):
        a, b, c, d = marks["swatches"][0]["polygon"]
        marks["swatches"][0]["polygon"] = [a, c, b, d]

    return with_marks(folder / "bad.png", change)


def card_clipped(folder: Path) -> Path:
    return grey_picture(folder / "bad.png", card=255)


def card_black(folder: Path) -> Path:
    return grey_picture(folder / "bad.png", card=2)


def no_card(folder: Path) -> Path:
    rng = np.random.default_rng(3)
    pixels = rng.integers(0, 255, (300, 400, 3)).astype(np.uint8)
    path = folder / "bad.png"
    Image.fromarray(pixels).save(path)
    return path


BAD_PHOTOS = [
    (not_a_picture, "picture"),
    (empty, "empty"),
    (truncated, "cut off"),
    (huge, "30000 x 30000"),
    (cmyk, "CMYK"),
    (marks_outside, "outside the picture"),
    (marks_crossing, "crosses itself"),
    (card_clipped, "clipped"),
    (card_black, "black"),
    (no_card, "no grey card"),
]


@pytest.mark.parametrize(("make", "words"), BAD_PHOTOS, ids=lambda v: getattr(v, "__name__", ""))
def test_a_bad_photo_is_one_line_and_leaves_nothing(capsys, tmp_path, make, words):
    path = make(tmp_path)
    ran = run(capsys, "measure", path)
    assert ran.code == 1
    assert ran.out == ""
    assert ran.err.count("\n") == 1
    assert ran.err.startswith("bad.")
    assert words in ran.err
    archive = tmp_path / "archive"
    run(capsys, "new", archive)
    told = ["--swatch", "s", "--base", "B", "--form", "knit", "--create", "--archive", archive]
    added = run(capsys, "add", path, *told)
    assert added.code == 1
    assert words in added.err
    assert list((archive / "photos").iterdir()) == []
    for kind in ("swatches", "bases"):
        assert json.loads(run(capsys, "list", kind, "--json", "--archive", archive).out) == []
    assert run(capsys, "verify", archive).out == "everything fits\n"


def test_a_photo_without_a_reference_is_filed_only_on_purpose(capsys, tmp_path):
    path = with_marks(tmp_path / "none.png", lambda marks: marks.pop("references"), 170)
    archive = tmp_path / "archive"
    run(capsys, "new", archive)
    told = ["--swatch", "s", "--base", "B", "--form", "knit", "--create", "--archive", archive]
    refused = run(capsys, "add", path, *told)
    assert refused.code == 1
    named = re.search(r"\((--no-card) of ([a-z]+), ([a-z]+) and ([a-z]+)\)", refused.err)
    assert named
    for command in named.groups()[1:]:  # what it advises is there
        assert named[1] in run(capsys, command, "--help").out, command
    assert run(capsys, "add", path, *told, named[1]).code == 0
    (seen,) = json.loads(run(capsys, "list", "colours", "--json", "--archive", archive).out)
    assert seen["reference"] == "none" and "no reference" in seen["flags"]


def two_regions(folder: Path) -> Path:
    def change(marks: dict) -> None:
        first = marks["swatches"][0]
        marks["swatches"] = [first | {"name": "one"}, first | {"name": "two"}]

    return with_marks(folder / "two.png", change, card=121)


@pytest.mark.parametrize(
    ("make", "more", "words"),
    [
        (two_regions, (), "has 2 swatches"),
        (two_regions, ("--region", "three"), "no region 'three' was measured"),
        (lambda folder: folder / "good.png", (), "filed already"),
    ],
    ids=["two regions", "a region that is not there", "a second name"],
)
def test_what_is_made_for_a_photo_is_taken_back_with_it(capsys, tmp_path, make, more, words):
    archive = tmp_path / "archive"
    run(capsys, "new", archive)
    there = ("--archive", archive)
    first = ("--swatch", "s", "--base", "B", "--form", "knit", "--create")
    assert run(capsys, "add", grey_picture(tmp_path / "good.png"), *first, *there).code == 0
    before = content(archive)
    told = ("--swatch", "t", "--base", "New", "--colourway", "Way", "--lot", "L", "--form", "knit")
    bad = make(tmp_path)
    failed = run(capsys, "add", bad, *told, "--setup", "sill", "--create", *more, *there)
    assert (failed.code, failed.out) == (1, "in the archive: nothing new, 0 changed\n")
    assert words in failed.err and failed.err.count("\n") == 1
    assert content(archive) == before
    assert run(capsys, "verify", archive).out == "everything fits\n"


def test_a_second_region_that_is_measured_is_counted(capsys, tmp_path):
    archive = tmp_path / "archive"
    run(capsys, "new", archive)
    path = two_regions(tmp_path)
    told = ["--base", "B", "--form", "knit", "--create", "--archive", archive]
    good = grey_picture(tmp_path / "good.png")
    run(capsys, "add", good, "--swatch", "s", *told)
    run(capsys, "add", path, "--region", "one", "--swatch", "t", *told)
    ran = run(capsys, "add", path, "--region", "two", "--swatch", "s", *told)
    assert ran.code == 0 and "measured anew, one swatch" in ran.out
    last = "in the archive: one swatch measured, nothing else new, 0 changed"
    assert ran.out.splitlines()[-1] == last
    again = run(capsys, "add", path, "--region", "two", "--swatch", "s", *told)
    assert again.out.splitlines()[-1] == "in the archive: nothing new, 0 changed"


def test_what_is_made_for_two_photos_stays_where_one_of_them_is_filed(capsys, tmp_path):
    archive = tmp_path / "archive"
    run(capsys, "new", archive)
    told = ("--swatch", "s", "--base", "B", "--form", "knit", "--create", "--archive", archive)
    ran = run(capsys, "add", two_regions(tmp_path), grey_picture(tmp_path / "good.png"), *told)
    assert (ran.code, "one swatch measured, 2 things new" in ran.out) == (1, True)
    assert [(len(content(archive)[t])) for t in ("base", "swatch", "photo")] == [1, 1, 1]


def test_the_day_of_a_lot_goes_with_a_new_lot(capsys, tmp_path):
    archive = tmp_path / "archive"
    run(capsys, "new", archive)
    path = grey_picture(tmp_path / "good.png")
    told = ("--swatch", "s", "--base", "B", "--form", "knit", "--archive", archive)
    day = ("--lot", "L", "--dyed-on", "2026-03-02")
    assert "--dyed-on goes with --create and --lot" in run(capsys, "add", path, *told, *day).err
    late = ("--lot", "L", "--dyed-on", "2199-01-01", "--create")
    assert (
        "--dyed-on is 2199-01-01, which has not come" in run(capsys, "add", path, *told, *late).err
    )
    assert run(capsys, "add", path, *told, *day, "--create").code == 0
    other = ("--lot", "L", "--dyed-on", "2026-03-05", "--create", "--really-new")
    ran = run(capsys, "add", path, *told, *other)
    assert ran.code == 1 and "lot 'L' was dyed on 2026-03-02, not on 2026-03-05" in ran.err
    assert run(capsys, "add", path, *told, *day, "--create").code == 0
    with open_archive(archive) as opened:
        assert opened.conn.execute("SELECT code, dyed_on FROM lot").fetchall()[0][1] == "2026-03-02"


def content(archive: Path) -> dict:
    with open_archive(archive) as opened:
        return dump(opened.conn)


def test_a_swatch_that_was_there_stays_when_a_photo_of_it_fails(capsys, tmp_path):
    archive, good = tmp_path / "archive", tmp_path / "good.png"
    run(capsys, "new", archive)
    told = ["--swatch", "s", "--base", "B", "--form", "knit", "--create", "--archive", archive]
    assert run(capsys, "add", grey_picture(good), *told).code == 0
    bad = card_clipped(tmp_path)
    failed = run(capsys, "add", bad, "--swatch", "t", *told[2:])
    assert (failed.code, "nothing new" in failed.out) == (1, True)
    again = run(capsys, "add", bad, *told)
    assert again.code == 1
    kept = json.loads(run(capsys, "list", "swatches", "--json", "--archive", archive).out)
    assert [row["swatch"] for row in kept] == ["s"]


@pytest.fixture
def archive(tmp_path, capsys):
    folder = tmp_path / "archive"
    run(capsys, "new", folder)
    return folder


def test_a_folder_that_is_no_archive(capsys, tmp_path):
    ran = run(capsys, "list", "--archive", tmp_path)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "create one there" in ran.err


def test_no_archive_named(capsys, monkeypatch):
    monkeypatch.delenv("SWATCHVAULT_ARCHIVE", raising=False)
    ran = run(capsys, "list")
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "--archive" in ran.err


def test_an_archive_of_a_newer_version_is_left_untouched(capsys, archive):
    database = archive / "archive.db"
    conn = sqlite3.connect(database)
    conn.execute("PRAGMA user_version = 9999")
    conn.close()
    before = database.read_bytes()
    ran = run(capsys, "list", "--archive", archive)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "newer" in ran.err
    assert database.read_bytes() == before


def test_a_folder_without_permission(capsys, tmp_path, monkeypatch):
    """Root may write anywhere, so the refusal is the system's, put in by hand."""
    locked = tmp_path / "locked"

    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied", str(locked))

    monkeypatch.setattr(Path, "mkdir", refuse)
    ran = run(capsys, "new", locked / "archive")
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "ermission" in ran.err


def test_a_lot_with_no_master(capsys, archive):
    shutil.copy(PHOTO, archive.parent / "a.jpg")
    shutil.copy(EXAMPLE / "furrow-1.marks.json", archive.parent / "a.marks.json")
    told = ["--swatch", "s", "--base", "B", "--form", "knit", "--lot", "L1", "--colourway", "C"]
    ran = run(capsys, "add", archive.parent / "a.jpg", *told, "--create", "--archive", archive)
    assert ran.code == 0, ran.err
    ran = run(capsys, "check", "L1", "--archive", archive)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "has no master" in ran.err
    assert "swatchvault master" in ran.err


def test_a_csv_with_a_wrong_column(capsys, archive, tmp_path):
    notes = tmp_path / "notes"
    notes.mkdir()
    (notes / "photos.csv").write_text("photo,swatch,base,form,colur\na.jpg,s,B,knit,x\n")
    ran = run(capsys, "add", notes, "--archive", archive)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "colur" in ran.err
    assert "photos.csv" in ran.err


def test_an_unknown_base_in_notes_changes_nothing(capsys, archive, tmp_path):
    notes = tmp_path / "notes"
    notes.mkdir()
    (notes / "studio.toml").write_text('[[base]]\nname = "B"\nfibres = {wool = 100}\n')
    (notes / "photos.csv").write_text("photo,swatch,base,form\na.jpg,s,Wrong,knit\n")
    ran = run(capsys, "add", notes, "--archive", archive)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "Wrong" in ran.err
    assert "'B'" in ran.err
    assert json.loads(run(capsys, "list", "bases", "--json", "--archive", archive).out) == []


@pytest.mark.parametrize(
    "arguments",
    [
        ["measure", PHOTO, "--card-y", "1.5"],
        ["compare", PHOTO, PHOTO],
        ["compare", f"{PHOTO}:nobody", PHOTO],
    ],
)
def test_values_that_cannot_be(capsys, arguments):
    ran = run(capsys, *arguments)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
