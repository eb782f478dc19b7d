"""`repeat` with an archive: what was learned is kept for a set-up, and taken back."""

import json

import pytest

from swatchvault.archive import (
    Setup,
    add_repeat_set,
    add_setup,
    find,
    learned_of_setup,
    open_archive,
    repeat_sets_in_force,
    show,
    take_back_repeat_set,
)
from swatchvault.errors import ArchiveError
from swatchvault.repeats import from_record, kept_words, words
from tests.swatchvault.running import run
from tests.swatchvault.test_instrument import learned_from, photos


def learned(scatter):
    return learned_from(photos(scatter))


@pytest.fixture
def sill(folder):
    """The archive with the set-up `sill`, for which two sets of repeats are kept."""
    with open_archive(folder) as archive:
        add_setup(archive.conn, Setup("sill", light="daylight"))
        for scatter in (0.5, 1.5):
            found = learned(scatter)
            setup_id = find(archive.conn, "setup", "sill")
            add_repeat_set(archive.conn, setup_id, (), found.frame_sd**2, found.record())
    return folder


def test_what_was_kept_is_read_back_in_the_same_words():
    for scatter in (0.5, 1.5, 20.0):
        found = learned(scatter)
        assert words(from_record(json.loads(json.dumps(found.record())))) == words(found)
        assert kept_words(found.record()) == words(found)
    old = {"cov": [[0.09, 0, 0], [0, 0.09, 0], [0, 0, 0.09]], "capture": "locked set-up"}
    assert kept_words(old) == ["locked set-up: two frames differ by 0.30 per axis (kL = 1)."]


def test_taken_back_the_former_state_comes_again(sill, capsys):
    with open_archive(sill) as archive:
        newest, before = repeat_sets_in_force(archive.conn, 1)
        assert learned_of_setup(archive.conn, 1) == newest.learned != before.learned
    ran = run(capsys, "repeat", "--setup", "sill", "--take-back")
    assert ran.code == 0
    assert ran.out.splitlines()[1:] == words(learned(0.5))
    with open_archive(sill) as archive:
        assert learned_of_setup(archive.conn, 1) == before.learned
        (there,) = [
            rows for title, rows in show(archive.conn, "setup", "sill") if title == "learned"
        ]
        assert [bool(r["taken_back_at"]) for r in there.records()] == [False, True]
    ran = run(capsys, "repeat", "--setup", "sill", "--take-back", "--json")
    assert (ran.code, json.loads(ran.out)) == (0, None)
    with open_archive(sill) as archive:
        assert learned_of_setup(archive.conn, 1) is None
    ran = run(capsys, "repeat", "--setup", "sill", "--take-back")
    assert (ran.code, ran.err.count("\n")) == (1, 1) and "nothing to take back" in ran.err


def test_what_another_kept_meanwhile_is_not_taken_back_for_it(sill):
    with open_archive(sill) as archive:
        newest, before = repeat_sets_in_force(archive.conn, 1)
        with pytest.raises(ArchiveError, match="changed since"):
            take_back_repeat_set(archive.conn, 1, before.id)
        assert take_back_repeat_set(archive.conn, 1, newest.id) == before


@pytest.mark.parametrize(
    "told",
    [
        ("--take-back",),
        ("--take-back", "--setup", "sill", "--capture", "locked set-up"),
        ("a.jpg", "--take-back", "--setup", "sill"),
        ("a.jpg",),
        ("--capture", "locked set-up"),
    ],
)
def test_what_does_not_go_together_is_wrong_use(told, folder, capsys):
    assert run(capsys, "repeat", *told).code == 2
