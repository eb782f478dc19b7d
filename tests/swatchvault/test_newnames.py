"""Names that are about to be made: which are asked about, and which are not."""

import json

import pytest

from swatchvault.archive import (
    Colourway,
    Lot,
    Notes,
    Setup,
    Swatch,
    add_setup,
    add_swatch,
    apply_notes,
    create_archive,
    open_archive,
)
from swatchvault.newnames import could_be, slips_between
from tests.swatchvault.factories import dump, studio
from tests.swatchvault.running import run
from tests.swatchvault.test_bad_input import grey_picture


@pytest.mark.parametrize(
    ("name", "other", "slips"),
    [("moss", "moss", 0), ("mos", "moss", 1), ("omss", "moss", 1), ("mist", "moss", 2)],
)
def test_slips_are_counted(name, other, slips):
    assert slips_between(name, other) == slips_between(other, name) == slips


@pytest.mark.parametrize(
    ("name", "known", "meant"),
    [
        ("Merrin Sok", ["Dale DK", "Merrin Sock"], ["Merrin Sock"]),
        ("Mrerin Sokc", ["Merrin Sock"], ["Merrin Sock"]),
        ("Merrin Socken", ["Merrin Sock"], ["Merrin Sock"]),
        ("Merrin Lace", ["Merrin Sock"], []),
        ("low  SUN", ["Low sun"], ["Low sun"]),
        ("LowSun", ["Low sun"], ["Low sun"]),
        ("Rose", ["Rust"], []),
        ("Blé", ["Ble"], ["Ble"]),
        ("Bleu d'Ete", ["Bleu d'Été", "Bleu nuit"], ["Bleu d'Été"]),
        ("Ash", ["Ask"], []),
        ("RW-8", ["RW-7", "RW-9", "RS-8", "RW-88"], []),
        ("RW8", ["RW-7", "RW-8"], ["RW-8"]),
        ("Sock 2", ["Sock 1", "Sock"], []),
    ],
)
def test_what_a_name_could_be_a_slip_for(name, known, meant):
    assert could_be(name, known) == meant


@pytest.fixture
def folder(tmp_path, monkeypatch):
    with create_archive(tmp_path / "yarn") as made:
        studio(made.conn)
        lot = Lot("RW-7", ("Lumme",), "Low sun")
        apply_notes(made.conn, Notes(colourways=(Colourway("Wet stone"),), lots=(lot,)))
    monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(tmp_path / "yarn"))
    return tmp_path / "yarn"


def content(folder):
    with open_archive(folder) as archive:
        return dump(archive.conn)


def add(capsys, tmp_path, **told):
    told = {"swatch": "s", "form": "knit", "base": "Lumme", **told}
    options = [text for k, v in told.items() if k != "more" for text in (f"--{k}", v)]
    photo = grey_picture(tmp_path / "a.png")
    return run(capsys, "add", photo, *options, "--create", *told.get("more", ()))


@pytest.mark.parametrize(
    ("told", "asked"),
    [
        ({"base": "Lume"}, "base 'Lume' is new: is it the base 'Lumme'?"),
        (
            {"colourway": "Low snu", "lot": "N"},
            "colourway 'Low snu' is new: is it the colourway 'Low sun'?",
        ),
        ({"lot": "RW 7"}, "lot 'RW 7' is new: is it the lot 'RW-7'?"),
        ({"lot": "RW-7", "base": "Torva"}, "lot 'RW-7' is on 'Lumme': did 'Torva' go into it too?"),
        ({"lot": "L1", "base": "Wholly other"}, "is on 'Lumme': did 'Wholly other' go"),
    ],
)
def test_a_slip_is_asked_about_and_made_where_it_is_meant(folder, capsys, tmp_path, told, asked):
    before = content(folder)
    ran = add(capsys, tmp_path, **told)
    assert ran.code == 1 and asked in ran.err and "--really-new" in ran.err
    assert ran.err.count("\n") == 1 and content(folder) == before
    ran = add(capsys, tmp_path, **told, more=["--really-new"])
    assert ran.code == 0, ran.err
    assert content(folder) != before and run(capsys, "verify").code == 0


def test_a_slip_in_a_set_up_is_asked_about_without_create_too(folder, capsys, tmp_path):
    """The photo lost its light, its lock and its reference's values by it."""
    with open_archive(folder) as archive:
        add_setup(archive.conn, Setup("north window", light="daylight", locked=True))
        add_swatch(archive.conn, Swatch("s", "Lumme", "knit"))
    before = content(folder)
    wrong = ("add", grey_picture(tmp_path / "a.png"), "--swatch", "s", "--setup", "north windw")
    ran = run(capsys, *wrong)
    asked = "set-up 'north windw' is new: is it the set-up 'north window'?"
    assert ran.code == 1 and asked in ran.err and content(folder) == before
    assert run(capsys, *wrong, "--really-new").code == 0
    other = ("--swatch", "s", "--setup", "cellar lamp")
    assert run(capsys, "add", grey_picture(tmp_path / "b.png", 120), *other).code == 0


def test_what_is_there_and_what_is_like_nothing_is_not_asked_about(folder, capsys, tmp_path):
    told = {"colourway": "Low sun", "lot": "RW-8", "base": "lumme"}
    assert add(capsys, tmp_path, **told).code == 0
    told = {"colourway": "Bracken", "lot": "BR-1", "base": "Orrin", "swatch": "t"}
    ran = run(
        capsys, "add", grey_picture(tmp_path / "b.png", 120), "--form", "knit", "--create",
        *[text for k, v in told.items() for text in (f"--{k}", v)],
    )  # fmt: skip
    assert ran.code == 0, ran.err
    names = {row["lot"] for row in json.loads(run(capsys, "list", "lots", "--json").out)}
    assert {"RW-8", "BR-1"} <= names


def test_a_lot_of_two_bases_takes_photos_of_both(folder, capsys, tmp_path):
    assert add(capsys, tmp_path, lot="W1", base="Torva").code == 0


def test_it_goes_with_create_alone(folder, capsys, tmp_path):
    told = ("--swatch", "s", "--base", "Lumme", "--form", "knit", "--really-new")
    ran = run(capsys, "add", grey_picture(tmp_path / "a.png"), *told)
    assert ran.code == 2 and "goes with --create" in ran.err
