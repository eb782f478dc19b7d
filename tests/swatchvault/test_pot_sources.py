"""Where a dye that went into a pot came from: the stock where none is said, and that put right."""

import json

import pytest

from swatchvault.archive import (
    Dye,
    DyePack,
    Notes,
    Stock,
    add_dye_pack,
    apply_notes,
    create_archive,
    get_pot,
    open_archive,
    verify,
)
from swatchvault.archive.stock_doubts import stock_doubts
from tests.swatchvault.factories import studio
from tests.swatchvault.running import run

#: A dye that the recipe of the pot does not plan, in two stocks; one that has none.
MORE = Notes(
    dyes=(Dye("Ostrel yellow"), Dye("Marl grey")),
    stocks=(
        Stock("Ostrel yellow", "O1", 20.0, 1000.0, mixed_on="2025-08-10"),
        Stock("Ostrel yellow", "O2", 1.0, 100.0, mixed_on="2026-02-10"),
    ),
)


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    with create_archive(tmp_path_factory.mktemp("sources") / "yarn") as made:
        studio(made.conn)
        apply_notes(made.conn, MORE)
        return made.folder


@pytest.fixture
def pot(pot):
    """The pot's commands; P1 has been started, of 100 g, Tarn as powder."""
    asked = ("--version", 1, "--goods", "100 g", "--at", "2026-03-01T09:00", "--powder", "Tarn")
    pot("start", "P1", "Low sun", "Lumme", *asked)
    return pot


def went_in(folder, lot="P1"):
    with open_archive(folder) as archive:
        dyes = get_pot(archive.conn, lot).dyes_in
    return [(d.dye, d.amount, d.stock, g and round(g, 6)) for d, g in dyes]


def did(pot, *dyes, more=(), code=0):
    told = [word for dye in dyes for word in ("--dye", dye)]
    return pot("did", "P1", "dye in", *told, *more, code=code)


def test_an_unplanned_volume_is_of_the_newest_stock_that_suffices(pot, folder):
    out = did(pot, "Ostrel yellow=50 mL")
    assert "Ostrel yellow: 50 mL of stock O2; about 50 mL of it left" in out
    assert "of stock O1; about 940 mL of it left" in did(pot, "ostrel yellow=60 mL")
    assert went_in(folder) == [
        ("Ostrel yellow", "50 mL", "O2", 0.5),
        ("Ostrel yellow", "60 mL", "O1", 1.2),
    ]
    assert "0.5 % depth of shade" in pot("log", "P1")
    with open_archive(folder) as archive:
        assert not verify(archive) and not stock_doubts(archive.conn)


def test_one_that_no_stock_suffices_for_is_of_the_newest_and_told(pot):
    out = did(pot, "Ostrel yellow=1100 mL")
    assert "1100 mL of stock O2" in out and "note: stock 'O2' of 'Ostrel yellow'" in out


def test_an_old_stock_that_was_not_planned_from_is_told(pot):
    then = ("--at", "2026-03-01T10:00")
    assert "six months" not in did(pot, "Ostrel yellow=10 mL", "Ember=5 mL", more=then)
    out = did(pot, "Ostrel yellow=900 mL", more=then)
    assert "six months ago, so it may have weakened: stock 'O1' of Ostrel yellow; test it" in out


def test_what_is_named_is_what_it_came_from(pot, folder):
    did(pot, "Ostrel yellow=50 mL", more=("--stock", "Ostrel yellow=O1"))
    did(pot, "Ostrel yellow=0.3 g", more=("--powder", "ostrel yellow"))
    assert [row[1:] for row in went_in(folder)] == [("50 mL", "O1", 1.0), ("0.3 g", None, 0.3)]


def test_an_unplanned_weight_is_asked_about_where_there_is_a_stock(pot, folder):
    said = did(pot, "Ostrel yellow=0.3 g", code=1)
    assert '--powder "Ostrel yellow"' in said and '--stock "Ostrel yellow=O2"' in said
    assert went_in(folder) == []
    assert "!" not in did(pot, "Marl grey=0.3 g")  # no stock: it can only be powder
    assert went_in(folder) == [("Marl grey", "0.3 g", None, 0.3)]


def test_a_volume_of_a_dye_planned_as_powder_is_of_a_stock(pot, folder):
    assert "Tarn: 20 mL of stock S1" in did(pot, "Tarn=20 mL")
    did(pot, "Tarn=0.2 g")
    assert [row[2:] for row in went_in(folder)] == [("S1", 0.2), (None, 0.2)]


def test_a_volume_without_any_stock_is_kept_and_how_to_mend_it_is_told(pot, folder):
    out = did(pot, "Marl grey=20 mL")
    assert "! Marl grey: 20 mL without a stock does not say how much dye that is" in out
    assert 'swatchvault pot edit "P1" 1 --stock "Marl grey=CODE"' in out
    with open_archive(folder) as archive:
        apply_notes(archive.conn, Notes(stocks=(Stock("Marl grey", "M1", 2.0, 200.0),)))
    out = pot("edit", "P1", "1", "--stock", "marl grey=M1")
    assert "Marl grey: 20 mL of stock M1, and not 20 mL without a stock; about 180 mL" in out
    assert went_in(folder) == [("Marl grey", "20 mL", "M1", 0.2)]


def test_a_correction_says_what_it_changed(pot, folder):
    did(pot, "Ostrel yellow=50 mL")
    out = pot("edit", "P1", "1", "--dye", "Ostrel yellow=55 mL", "--stock", "Ostrel yellow=O1")
    assert "55 mL of stock O1, and not 50 mL of stock O2; about 945 mL of it left" in out
    out = pot("edit", "P1", "1", "--dye", "Ostrel yellow=56 mL")
    assert "56 mL of stock O1, and not 55 mL; about 944 mL of it left" in out
    pot("edit", "P1", "1", "--dye", "Ostrel yellow=55 mL")
    out = pot("edit", "P1", "1", "--powder", "Ostrel yellow")
    assert "! Ostrel yellow: 55 mL without a stock" in out
    out = pot("edit", "P1", "1", "--dye", "Ostrel yellow=0.5 g")
    assert "Ostrel yellow: 0.5 g, and not 55 mL" in out and "!" not in out
    assert went_in(folder) == [("Ostrel yellow", "0.5 g", None, 0.5)]
    out = pot("edit", "P1", "1", "--stock", "Ostrel yellow=O9", code=1)
    assert "O9" in out and "O1" in out
    assert "no 'Ember' went into" in pot("edit", "P1", "1", "--stock", "Ember=S1", code=1)


def test_the_pack_of_powder_is_told_and_corrected(pot, folder):
    def packs():
        sql = "SELECT amount, code, stock_id FROM lot_dye JOIN dye_pack ON dye_pack.id = "
        sql += "dye_pack_id WHERE code LIKE 'Y_'"
        with open_archive(folder) as archive:
            return [tuple(r) for r in archive.conn.execute(sql)]

    with open_archive(folder) as archive:
        for code in ("Y1", "Y2"):
            add_dye_pack(archive.conn, DyePack("Ostrel yellow", code))
    out = did(pot, "Ostrel yellow=0.3 g", more=("--pack", "ostrel yellow=Y1"))
    assert "Ostrel yellow: 0.3 g of pack Y1" in out
    assert packs() == [("0.3 g", "Y1", None)]
    out = pot("edit", "P1", "1", "--pack", "Ostrel yellow=Y2")
    assert "0.3 g of pack Y2, and not 0.3 g of pack Y1" in out
    assert packs() == [("0.3 g", "Y2", None)]
    assert "Ostrel yellow 0.3 g of pack Y2" in pot("log", "P1")
    assert "which does not go in here" in did(
        pot, "Tarn=1 mL", more=("--pack", "Marl grey=Y1"), code=1
    )


def test_a_correction_is_of_what_its_step_put_in(pot, folder):
    did(pot, "Ostrel yellow=10 mL")
    pot("did", "P1", "1")
    did(pot, "Ostrel yellow=20 mL")
    pot("edit", "P1", "1", "--dye", "Ostrel yellow=11 mL")
    assert [row[1] for row in went_in(folder)] == ["11 mL", "20 mL"]
    pot("edit", "P1", "2", "--dye", "Ostrel yellow=21 mL")  # a soak, which put none in: the last
    assert [row[1] for row in went_in(folder)] == ["11 mL", "21 mL"]


def test_a_correction_that_overdraws_a_stock_is_told(pot):
    did(pot, "Ostrel yellow=50 mL")
    assert "note: stock 'O2'" in pot("edit", "P1", "1", "--dye", "Ostrel yellow=500 mL")


def test_a_next_version_says_how_to_mend_what_is_not_known(pot, folder, capsys):
    did(pot, "Ember=80 mL", "Marl grey=20 mL")
    ran = run(capsys, "revise", "Low sun", "Lumme", "--as-done", "P1", "--archive", folder)
    assert ran.code == 1
    assert 'swatchvault pot edit "P1" NUMBER --stock "Marl grey=CODE"' in ran.err
    pot("edit", "P1", "1", "--dye", "Marl grey=0.2 g")
    ran = run(capsys, "revise", "Low sun", "Lumme", "--as-done", "P1", "--archive", folder)
    assert ran.code == 0, ran.err
    assert json.loads(pot("log", "P1", "--json"))["done"]["dyes_in"][1][1] == pytest.approx(0.2)
