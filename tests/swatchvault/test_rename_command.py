"""`rename` as it is typed, and the commands that are asked for the old name afterwards."""

import json

import pytest

from swatchvault.archive import create_archive
from swatchvault.archive.schema_renamed import TABLES
from swatchvault.commands.rename import KINDS
from tests.swatchvault.factories import studio
from tests.swatchvault.running import run


@pytest.fixture
def archive(tmp_path):
    with create_archive(tmp_path / "yarn") as made:
        studio(made.conn)
    return tmp_path / "yarn"


def test_every_kind_can_be_typed():
    assert set(KINDS.values()) == set(TABLES)


def test_a_name_is_mended_and_says_what_else_to_mend(archive, capsys):
    ran = run(capsys, "rename", "colourway", "low SUN", "Low Sun", "--archive", archive)
    assert (ran.code, ran.out) == (0, "colourway 'Low sun' is 'Low Sun' now\n")
    ran = run(capsys, "rename", "colourway", "low sun", "Noon", "--archive", archive)
    assert ran.out == (
        "colourway 'Low Sun' is 'Noon' now\n"
        "write 'Noon' in photos.csv and studio.toml too: notes that still say 'Low Sun' are "
        "refused\n"
    )
    ran = run(capsys, "rename", "colourway", "noon", "Noon", "--archive", archive)
    assert (ran.code, ran.out) == (
        0, "colourway 'Noon' is called that already: nothing changed\n"
    )  # fmt: skip
    assert "Noon" in run(capsys, "list", "lots", "--archive", archive).out
    assert "Low Sun" in run(capsys, "list", "renamed", "--archive", archive).out


def test_what_is_within_another_says_of_what(archive, capsys):
    ran = run(capsys, "rename", "stock", "S1", "S0", "--archive", archive)
    assert ran.err == (
        "stock 'S1' could be that of dye Ember, that of dye Tarn: say which dye with --of\n"
    )
    ran = run(capsys, "rename", "stock", "S1", "S0", "--of", "tarn", "--json", "--archive", archive)
    assert json.loads(ran.out) == {"kind": "stock", "old": "S1", "new": "S0", "changed": True}
    ran = run(capsys, "rename", "lot", "L1", "L0", "--of", "tarn", "--archive", archive)
    assert ran.code == 2 and "--of goes with skein, base-lot, pack, stock" in ran.err


def test_a_name_once_anothers_is_pointed_out(archive, capsys):
    run(capsys, "rename", "lot", "L1", "L0", "--archive", archive)
    ran = run(capsys, "rename", "lot", "L2", "L1", "--archive", archive)
    assert "'L1' was once the name of what is 'L0' now" in ran.out


def test_a_file_shared_before_is_told_the_new_name(archive, capsys, tmp_path):
    assert run(capsys, "share", tmp_path / "all.json", "--archive", archive).code == 0
    run(capsys, "rename", "dye", "Ember", "Embers", "--archive", archive)
    before = (archive / "archive.db").read_bytes()
    ran = run(capsys, "import", tmp_path / "all.json", "--archive", archive)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "dye 'Ember' was renamed to 'Embers' on 20" in ran.err
    assert (archive / "archive.db").read_bytes() == before


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("lot", "L11", "x"), "unknown lot 'L11': the archive has 'L1', 'L2', 'W1'"),
        (("lot", "L1", "L2"), "the name 'L2' is taken by the lot 'L2' of colourway Low sun"),
        (("swatch", "L1", "x"), "unknown swatch 'L1': the archive has 'sun 1', 'sun 2'"),
    ],
)
def test_mistakes_are_one_line(archive, capsys, arguments, said):
    ran = run(capsys, "rename", *arguments, "--archive", archive)
    assert (ran.code, ran.out, ran.err.count("\n")) == (1, "", 1)
    assert said in ran.err


@pytest.mark.parametrize(
    ("kind", "old", "asked"),
    [
        ("lot", "L1", ("groups", "L1", "sun 2")),
        ("lot", "L1", ("show", "lot", "L1")),
        ("lot", "L1", ("pot", "log", "L1")),
        ("swatch", "sun 1", ("near", "sun 1")),
        ("swatch", "sun 1", ("tonal", "sun 1")),
        ("swatch", "sun 1", ("master", "sun 1")),
        ("colourway", "Low sun", ("lots", "Low sun")),
    ],
)
def test_commands_asked_for_an_old_name_tell_the_new_one(archive, capsys, kind, old, asked):
    run(capsys, "rename", kind, old, "Another", "--archive", archive)
    ran = run(capsys, *asked, "--archive", archive)
    assert ran.code == 1
    assert f"{kind} {old!r} was renamed to 'Another' on 20" in ran.err
