"""Stocks that gave more than they held, or before they were mixed: noted, and never refused."""

import json
from dataclasses import replace

import pytest

from swatchvault.archive import (
    DyeIn,
    Lot,
    PotStep,
    RegionOf,
    Stock,
    Swatch,
    add_lot,
    add_stock,
    add_swatch,
    file_photo,
    open_archive,
    record_step,
    stocks_held,
    verify,
)
from swatchvault.archive.stock_doubts import doubts_of_lot, stock_doubts
from tests.swatchvault.factories import measured, photo_file, photo_of
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


def poured(conn, amount, day=None):
    add_lot(conn, Lot("L9", ("Lumme",), dyed_on=day, dyes_in=(
        DyeIn("Ember", amount, stock="S1"),)))  # fmt: skip


def left_of(conn):
    """mL of S1 that should be left, by the list, and what is doubted of it."""
    (held,) = (s for s in stocks_held(conn, "Ember") if s.code == "S1")
    return held.left_ml, [d.what for d in stock_doubts(conn)]


def test_what_was_left_on_no_day_counts_every_pour_and_says_so(folder):
    with open_archive(folder) as archive:
        conn = archive.conn
        seen = Stock("Ember", "S1", 2.0, 200.0, left_ml=100.0)
        add_stock(conn, seen)
        words = "{} mL of it went in (lots {}), and 100 mL were left on a day that is not told"
        assert left_of(conn) == (20, [words.format(80, "L1")])  # of before, or of since
        poured(conn, "120 mL", "2026-05-01")
        assert left_of(conn) == (-100, [words.format(200, "L1, L9")])
        assert stock_doubts(conn)[0].do.startswith("say on which day so much was left")
        add_stock(conn, replace(seen, left_seen_on="2026-04-30"))
        overdrawn = "120 mL of it went in (lots L9), and 100 mL were left on 2026-04-30"
        assert left_of(conn) == (-20, [overdrawn])
        add_stock(conn, replace(seen, left_seen_on="2026-05-01"))
        assert left_of(conn) == (100, [])


def test_a_pour_of_no_day_counts_and_says_so(folder, tmp_path):
    with open_archive(folder) as archive:
        conn = archive.conn
        add_stock(conn, Stock("Ember", "S1", 2.0, 200.0, left_ml=100.0, left_seen_on="2026-04-01"))
        poured(conn, "60 mL")
        words = (
            "60 mL of it went in on days that are not told (lots L9), and 100 mL were left on "
            "2026-04-01"
        )
        assert left_of(conn) == (40, [words])
        assert stock_doubts(conn)[0].do.startswith("say on which day those lots were dyed")
        record_step(conn, "L9", PotStep("dye in", "2026-05-02T10:00"), dyes=[
            DyeIn("Ember", "45 mL", stock="S1")])  # fmt: skip
        assert left_of(conn) == (-5, [words])  # 45 mL for sure, which there were
        # The day of the lot's first photo stands for its own.
        swatch = add_swatch(conn, Swatch("nine", "Lumme", "skein", "L9")).id
        path = photo_file(tmp_path, "nine.jpg", b"nine")
        photo = photo_of(path, [measured()], taken_at="2026-03-31T10:00:00")
        file_photo(archive, photo, path, [RegionOf("new", swatch)])
        assert left_of(conn) == (55, [])
        conn.execute("UPDATE photo SET taken_at = '2026-04-02T10:00:00'")
        assert left_of(conn)[0] == -5 and "105 mL of it went in (lots L9)" in left_of(conn)[1][0]


def test_a_stock_never_looked_at_needs_no_day(folder):
    with open_archive(folder) as archive:
        poured(archive.conn, "60 mL")
        assert left_of(archive.conn) == (60, [])


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
