"""A pot's log put right: what did not go in after all counts nowhere."""

import pytest

from swatchvault.archive import get_pot, get_recipe, open_archive
from swatchvault.archive.colours import lot_dyes
from swatchvault.archive.dyed import pot_as_dyed
from swatchvault.archive.made import Filters, made_of, swatches_where
from swatchvault.archive.pages_shelf import dyes_on_shelf
from tests.swatchvault.running import run
from tests.swatchvault.test_archive_speaking import photographed


@pytest.fixture
def measured_lot(tmp_path, monkeypatch, capsys):
    """Runs commands on an archive whose lot L1 has a measured swatch."""
    with photographed(tmp_path, (41, {})) as archive:
        monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(archive.folder))

    def asked(*arguments, code=0):
        ran = run(capsys, *arguments)
        assert ran.code == code, ran.err or ran.out
        return ran.out if code == 0 else ran.err

    asked.folder = archive.folder
    return asked


@pytest.mark.parametrize("nothing", ["0 mL", "0", "0 g"])
def test_a_dye_put_right_to_nothing_went_into_no_lot(measured_lot, nothing):
    ask = measured_lot
    with open_archive(ask.folder) as archive:
        assert swatches_where(archive.conn, Filters(dye="Tarn")) == {1}
    ask("pot", "edit", "L1", "1", "--dye", f"Tarn={nothing}")
    with open_archive(ask.folder) as archive:
        conn = archive.conn
        assert swatches_where(conn, Filters(dye="Tarn")) == set()
        assert swatches_where(conn, Filters(dye="Ember")) == {1}
        assert [d.dye for d in lot_dyes(conn, 1)] == ["Ember"]
        assert [d.dye for d in made_of(conn, [1])[1].dyes] == ["Ember"]
        assert {d.name: d.lots for d in dyes_on_shelf(conn)} == {"Ember": 1, "Tarn": 0}
        assert dict(pot_as_dyed(conn, "L1").lot.depths) == pytest.approx({"Ember": 0.8})
        pot = get_pot(conn, "L1")
        assert [dye.dye for dye, _ in pot.dyes_in] == ["Ember"] and pot.put_in_by == (1,)

    assert "Tarn" not in ask("show", "lot", "L1").split("dyes that went in")[1].split("\n\n")[0]
    assert "Tarn" not in ask("pot", "log", "L1").split("went in")[1].split("departs")[0]
    ask("revise", "Low sun", "Lumme", "--from", 1, "--as-done", "L1")
    with open_archive(ask.folder) as archive:
        (part,) = get_recipe(archive.conn, "Low sun", "Lumme").parts
    assert [(d.dye, d.depth_percent) for d in part.dyes] == [("Ember", 0.8)]


def test_nothing_can_be_put_right_again(measured_lot):
    measured_lot("pot", "edit", "L1", "1", "--dye", "Tarn=0 mL")
    said = measured_lot("pot", "edit", "L1", "1", "--dye", "Tarn=30 mL")
    assert "30 mL of stock S1" in said
    with open_archive(measured_lot.folder) as archive:
        dyes = get_pot(archive.conn, "L1").dyes_in
    assert [(dye.dye, grams) for dye, grams in dyes] == [("Ember", 0.8), ("Tarn", 0.3)]
