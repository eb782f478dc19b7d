"""Facts that were typed wrong, put right, and what was worked out from them."""

import json

import pytest

from swatchvault.archive import (
    DyeIn,
    Lot,
    Master,
    Notes,
    Swatch,
    add_swatch,
    apply_notes,
    create_archive,
    open_archive,
    set_master,
)
from tests.swatchvault.factories import studio
from tests.swatchvault.running import run

STOCK = "SELECT stock.* FROM stock JOIN dye ON dye.id = dye_id WHERE code = 'S1' AND name = 'Ember'"
LOT, SWATCH = "SELECT * FROM lot WHERE code = 'T'", "SELECT * FROM swatch WHERE label = 'sun 9'"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """An archive with a lot whose dye came from stock S1 of Ember; another dye has an S1 too."""
    place = tmp_path / "yarn"
    with create_archive(place) as made:
        studio(made.conn)
        dyes = (DyeIn("Ember", "10 mL", stock="S1"), DyeIn("Ember", "0.2 g"))
        lot = Lot("T", ("Lumme",), "Low sun", dry_g=100.0, dyes_in=dyes)
        apply_notes(made.conn, Notes(lots=(lot,)))
        add_swatch(made.conn, Swatch("sun 9", "Lumme", "skein", "T"))
    monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(place))
    return place


def row_of(folder, sql):
    with open_archive(folder) as archive:
        return dict(archive.conn.execute(sql).fetchone())


def dye_of(folder):
    with open_archive(folder) as archive:
        sql = "SELECT dye_g FROM lot_dye JOIN lot ON lot.id = lot_id WHERE code = 'T'"
        return [row[0] for row in archive.conn.execute(f"{sql} ORDER BY position")]


def test_a_stock_put_right_is_worked_out_anew_in_every_lot(folder, capsys):
    was, before = row_of(folder, STOCK), dye_of(folder)
    asked = ("mend", "stock", "S1", "--of", "Ember", "--grams", 3 * was["grams"])
    ran = run(capsys, *asked, "--mixed-on", "2026-02-01")
    assert ran.code == 0, ran.err
    assert f"grams {3 * was['grams']:g}, was {was['grams']:g}" in ran.out
    assert "worked out anew" in ran.out
    now = row_of(folder, STOCK)
    assert (now["grams"], now["mixed_on"]) == (3 * was["grams"], "2026-02-01")
    assert now["made_up_to_ml"] == was["made_up_to_ml"]
    assert dye_of(folder) == pytest.approx([3 * before[0], before[1]])  # powder stays
    assert run(capsys, "verify").code == 0
    again = json.loads(run(capsys, *asked, "--json").out)
    assert again["changes"] == [] and again["amounts"] == 0


def test_a_swatch_and_a_lot_are_put_right(folder, capsys):
    out = run(capsys, "mend", "swatch", "sun 9", "--form", "knit").out
    assert "swatch 'sun 9': form knit, was skein" in out
    out = run(capsys, "mend", "lot", "T", "--dyed-on", "2026-04-02", "--dry-g", 110).out
    assert "dry_g 110, was 100" in out and "dyed_on 2026-04-02, was not known" in out
    assert row_of(folder, SWATCH)["form"] == "knit"
    lot = row_of(folder, LOT)
    assert (lot["dyed_on"], lot["dry_g"]) == ("2026-04-02", 110)


def test_a_master_keeps_its_form(folder, capsys):
    with open_archive(folder) as archive:
        set_master(archive.conn, Master("Low sun", "Lumme", "skein", "sun 9"))
    ran = run(capsys, "mend", "swatch", "sun 9", "--form", "knit")
    assert ran.code == 1 and "is a master or was held to one" in ran.err


@pytest.mark.parametrize(
    ("asked", "code", "words"),
    [
        (("stock", "S1", "--form", "knit"), 2, "of a stock can be mended: --grams"),
        (("lot", "T"), 2, "--dyed-on, --dry-g"),
        (("lot", "T", "--dry-g", 5, "--of", "Ember"), 2, "--of goes with stock"),
        (("lot", "nine", "--dry-g", 5), 1, "unknown lot 'nine'"),
        (("stock", "S1", "--grams", 3), 1, "say which dye with --of"),
        (("stock", "S1", "--of", "Ember", "--grams", 0), 1, "refused: grams"),
        (("lot", "T", "--dyed-on", "2.4.2026"), 1, "refused: dyed_on"),
    ],
)
def test_what_cannot_be_is_refused_in_a_line(folder, capsys, asked, code, words):
    before = (row_of(folder, STOCK), dye_of(folder), row_of(folder, LOT))
    ran = run(capsys, "mend", *asked)
    assert ran.code == code and words in ran.err, ran.err
    assert (row_of(folder, STOCK), dye_of(folder), row_of(folder, LOT)) == before
