"""Two strengths of one dye on the shelf: which is meant is asked where it would be tenfold off."""

import pytest

from swatchvault.archive import Dye, DyePack, Stock, add_dye, add_dye_pack, add_stock, open_archive
from tests.swatchvault.running import run


@pytest.fixture
def weak(pot, folder):
    """The pot's commands, with stocks of 0.1 % beside S1 of 1 %; P1 plans 80 mL of Ember from it
    and 20 mL of Tarn."""
    with open_archive(folder) as archive:
        for dye in ("Ember", "Tarn"):
            add_stock(archive.conn, Stock(dye, "weak", 1.0, 1000.0, mixed_on="2026-02-20"))
    pot("start", "P1", "Low sun", "Lumme", "--version", 1, "--goods", "100 g")
    return pot


def test_ten_times_the_plan_names_the_weaker_stock_that_it_would_be_right_of(weak):
    told = ("did", "P1", "dye in", "--dye", "Ember=800 mL", "--dye", "Tarn=20 mL")
    said = weak(*told, code=1)
    assert "holds 8 g of dye, where 0.8 g are planned and so much of stock weak would hold" in said
    weak(*told, "--stock", "Ember=weak")
    assert "Ember 800 mL of stock weak: 0.8 % depth of shade" in weak("log", "P1")


@pytest.mark.parametrize(("poured", "asked"), [("80 mL", True), ("76", True), ("50 mL", False)])
def test_a_tenth_of_the_plan_is_asked_about_where_it_is_right_of_a_stronger_stock(
    pot, weak, poured, asked
):
    pot("start", "P2", "Low sun", "Lumme", "--version", 1, "--goods", "100 g",
        "--stock", "Ember=weak")  # fmt: skip
    told = ("did", "P2", "dye in", "--dye", f"Ember={poured}", "--dye", "Tarn=20 mL")
    if not asked:
        pot(*told)
        return
    said = pot(*told, code=1)
    assert "of stock weak holds 0.0" in said
    assert "where 0.8 g are planned and so much of stock S1 would hold that" in said
    assert '--stock "Ember=weak"' in said
    pot(*told, "--stock", "Ember=weak")
    assert "of stock weak: 0.0" in pot("log", "P2")


def test_a_dye_that_is_not_planned_is_asked_from_which_of_two_strengths_it_came(weak, folder):
    with open_archive(folder) as archive:
        add_dye(archive.conn, Dye("Peat"))
        add_dye_pack(archive.conn, DyePack("Peat", "P-1"))
        add_stock(archive.conn, Stock("Peat", "strong", 10.0, 1000.0, pack="P-1"))
    told = ("did", "P1", "dye in", "--dye", "Peat=5 mL")
    assert "5 mL of stock strong" in weak(*told)
    with open_archive(folder) as archive:
        add_stock(archive.conn, Stock("Peat", "thin", 1.0, 1000.0, pack="P-1"))
    said = weak(*told, code=1)
    assert "'strong' (1 %)" in said and "'thin' (0.1 %)" in said and '--stock "Peat=' in said
    assert "5 mL of stock thin" in weak(*told, "--stock", "Peat=thin")


def test_what_was_mixed_after_the_pot_is_planned_only_where_there_is_no_other(pot, folder):
    with open_archive(folder) as archive:
        add_stock(archive.conn, Stock("Ember", "later", 10.0, 1000.0, mixed_on="2026-05-01"))
        archive.conn.execute("DELETE FROM lot_dye")
    told = ("Low sun", "Lumme", "--version", 1, "--goods", "100 g", "--at")
    assert "Ember 0.8 %: 80 mL of stock S1" in pot("start", "P7", *told, "2026-04-30T09:00")
    assert "Ember 0.8 %: 80 mL of stock later" in pot("start", "P8", *told, "2026-05-01T09:00")
    with open_archive(folder) as archive:
        archive.conn.execute("UPDATE stock SET mixed_on = '2026-06-01' WHERE code = 'S1'")
    assert "Ember 0.8 %: 80 mL of stock" in pot("start", "P9", *told, "2026-04-30T09:00")


def planned_to_go_in(capsys, pot, steps):
    """P3, of a recipe whose dye goes in by so many steps."""
    told = [text for _ in range(steps) for text in ("--add-step", "2=dye in")]
    assert run(capsys, "revise", "Low sun", "Lumme", "--from", 1, *told).code == 0
    pot("start", "P3", "Low sun", "Lumme", "--goods", "100 g", "--stock", "Tarn=S1")


def test_planned_dyes_that_are_not_told_with_the_others_are_named(weak, capsys):
    planned_to_go_in(capsys, weak, 1)
    out = weak("did", "P3", "dye in", "--dye", "Ember=80 mL")
    assert "! planned here and not told: Tarn; none of it is in the log" in out
    assert '--dye "Tarn=20 mL"' in out  # as it is planned
    assert "planned here" not in weak("did", "P3", "dye in", "--dye", "Tarn=20 mL")


def test_no_dye_is_missed_where_dyes_go_in_by_and_by(weak, capsys):
    planned_to_go_in(capsys, weak, 2)
    assert "planned here" not in weak("did", "P3", "dye in", "--dye", "Ember=60 mL")
    told = ("did", "P1", "dye in", "--dye", "Ember=80 mL")
    assert "planned here" not in weak(*told)  # its recipe plans no such step
