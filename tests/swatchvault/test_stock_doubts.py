"""Stocks that gave more than they held, or before they were mixed: noted, and never refused."""

import json

import pytest

from swatchvault.archive import (
    DyeIn,
    Lot,
    add_lot,
    open_archive,
    verify,
)
from swatchvault.archive.stock_doubts import doubts_of_lot, stock_doubts
from tests.swatchvault.running import run

# Of the factories' studio: stock S1 of Ember is 200 mL, of which 80 went into L1.
NOTES = """
[[lot]]
code = "L9"
base = "Lumme"
dyed_on = "{day}"
dry_g = 100.0
dyes_in = [{{dye = "Ember", stock = "S1", amount = "{amount}"}}]
"""


def noted(tmp_path, day="2026-05-01", amount="50 mL"):
    notes = tmp_path / "studio.toml"
    notes.write_text(NOTES.format(day=day, amount=amount), encoding="utf-8")
    return notes


@pytest.mark.parametrize(
    ("day", "amount", "words"),
    [
        ("2026-05-01", "120 mL", []),  # to the last drop
        ("2026-05-01", "121 mL", ["201 mL of it went in (lots L1, L9), and 200 mL were mixed"]),
        ("2026-05-01", "0.3 L", ["380 mL of it went in (lots L1, L9), and 200 mL were mixed"]),
        ("2026-02-01", "50 mL", []),  # the day it was mixed
        (
            "2026-01-31",
            "50 mL",
            ["lot 'L9' was dyed with it on 2026-01-31, and it was mixed on 2026-02-01"],
        ),
        ("2026-01-31", "121 mL", ["201 mL of it went in", "lot 'L9' was dyed with it"]),
    ],
)
def test_a_note_is_told_when_filed_and_by_verify(folder, tmp_path, capsys, day, amount, words):
    notes = noted(tmp_path, day, amount)
    said = [line for line in run(capsys, "add", notes).out.splitlines() if "note: " in line]
    assert len(said) == len(words)
    for line, word in zip(said, words, strict=True):
        assert line.startswith("note: stock 'S1' of 'Ember': ") and word in line
    assert "note: " not in run(capsys, "add", notes).out  # nothing new in it
    ran = run(capsys, "verify")
    assert ran.code == 0 and ran.out.splitlines() == [*said, "everything fits"]
    items = json.loads(run(capsys, "verify", "--json").out)
    assert [item["note"] for item in items] == [True] * len(words)
    with open_archive(folder) as archive:
        assert verify(archive) == []


def test_what_is_said_to_be_left_settles_it(folder, capsys):
    with open_archive(folder) as archive:
        conn = archive.conn
        add_lot(conn, Lot("L9", ("Lumme",), dyed_on="2026-05-01", dyes_in=(
            DyeIn("Ember", "300 mL", stock="S1"),)))  # fmt: skip
        assert [d.kind for d in stock_doubts(conn)] == ["stock overdrawn"]
        (lot_id,) = conn.execute("SELECT id FROM lot WHERE code = 'L9'").fetchone()
        assert doubts_of_lot(conn, lot_id) == stock_doubts(conn)
        assert doubts_of_lot(conn, lot_id + 1) == []
        conn.execute("UPDATE stock SET left_ml = 10, left_seen_on = '2026-05-01' WHERE id = 1")
        assert stock_doubts(conn) == []
        add_lot(conn, Lot("L10", ("Lumme",), dyed_on="2026-05-02", dyes_in=(
            DyeIn("Ember", "30 mL", stock="S1"),)))  # fmt: skip
        (doubt,) = stock_doubts(conn)
        assert "30 mL of it went in (lots L10), and 10 mL were left on 2026-05-01" in doubt.what


def test_mend_tells_what_it_makes_doubtful(folder, capsys):
    out = run(capsys, "mend", "stock", "S1", "--of", "Ember", "--mixed-on", "2026-04-01").out
    assert "note: stock 'S1' of 'Ember': lot 'L1' was dyed with it on 2026-03-01" in out
    assert "note: " not in run(capsys, "verify", folder).err
    assert run(capsys, "verify", folder).code == 0


def test_a_damaged_archive_still_leaves_with_1(folder, capsys, tmp_path):
    run(capsys, "add", noted(tmp_path, amount="300 mL"))
    with open_archive(folder) as archive:
        archive.conn.execute("UPDATE base_fibre SET percent = 60 WHERE base_id = 1")
    ran = run(capsys, "verify")
    assert ran.code == 1 and "note: stock" in ran.out and "do not fit" in ran.out
    notes = [item["note"] for item in json.loads(run(capsys, "verify", "--json").out)]
    assert notes == sorted(notes) and set(notes) == {False, True}
