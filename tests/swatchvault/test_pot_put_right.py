"""A pot's log put right: what did not go in after all counts nowhere, and which dye it was."""

import re
from datetime import UTC, datetime

import pytest

from swatchvault.archive import Dye, PotStep, add_dye, get_pot, get_recipe, open_archive
from swatchvault.archive.colours import lot_dyes
from swatchvault.archive.dyed import pot_as_dyed
from swatchvault.archive.made import Filters, made_of, swatches_where
from swatchvault.archive.pages_shelf import dyes_on_shelf
from swatchvault.potclock import latest_timed
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


@pytest.fixture
def poured(pot):
    """The pot's commands; P1 of 100 g took 20 mL of Ember."""
    pot("start", "P1", "Low sun", "Lumme", "--version", 1, "--goods", "100 g")
    pot("did", "P1", "dye in", "--dye", "Ember=20 mL")
    return pot


def went_in(folder):
    with open_archive(folder) as archive:
        pot = get_pot(archive.conn, "P1")
    return [(d.dye, d.amount, d.stock, d.pack, grams) for d, grams in pot.dyes_in]


@pytest.mark.parametrize(
    ("told", "now"),
    [
        ((), ("Tarn", "20 mL", "S1", None, 0.2)),
        (("--dye", "Tarn=30 mL"), ("Tarn", "30 mL", "S1", None, 0.3)),
        (("--dye", "Ember=30 mL"), ("Tarn", "30 mL", "S1", None, 0.3)),
        (("--dye", "Tarn=0.2 g", "--powder", "Tarn"), ("Tarn", "0.2 g", None, None, 0.2)),
        (("--dye", "Tarn=0.2 g", "--pack", "Tarn=T1"), ("Tarn", "0.2 g", None, "T1", 0.2)),
    ],
)
def test_which_dye_went_in_is_put_right_in_place(poured, folder, told, now):
    assert went_in(folder) == [("Ember", "20 mL", "S1", None, 0.2)]
    poured("did", "P1", "soak")
    said = poured("edit", "P1", 1, "--instead", "ember=tarn", *told)
    assert "Tarn: " in said and "and not 20 mL of Ember of stock S1" in said
    assert went_in(folder) == [now]
    log = poured("log", "P1")
    assert f"dye in, with {now[1]} of Tarn" in log and "2. " in log


def test_another_dye_that_cannot_be_is_refused_and_nothing_is_changed(poured, folder):
    poured("did", "P1", "dye in", "--dye", "Ember=30 mL", "--dye", "Tarn=5 mL")
    before = went_in(folder)
    said = poured("edit", "P1", 2, "--instead", "Ember=Tarn", "--note", "slip", code=1)
    assert "Tarn went in with the same step already: correct how much of it" in said
    assert "unknown dye 'Nosuch'" in poured("edit", "P1", 2, "--instead", "Ember=Nosuch", code=1)
    assert went_in(folder) == before and "slip" not in poured("log", "P1")
    with open_archive(folder) as archive:
        add_dye(archive.conn, Dye("Moss"))
    said = poured("edit", "P1", 1, "--dye", "Moss=5 g", code=1)
    assert '--instead "OTHER=Moss"' in said


def test_a_number_is_ml_of_a_stock_and_of_powder_nothing(poured, folder):
    poured("edit", "P1", 1, "--dye", "Ember=30")
    assert went_in(folder) == [("Ember", "30 mL", "S1", None, 0.3)]
    assert "Ember: 25 mL of stock S1" in poured("did", "P1", "dye in", "--dye", "Ember=25")
    asked = ("--dye", "Tarn=0.5", "--powder", "Tarn")
    assert "it has no unit" in poured("did", "P1", "dye in", *asked, code=1)


def test_the_end_is_told_by_this_computers_clock(poured):
    said = poured("end", "P1").splitlines()[0]
    assert re.fullmatch(r"lot P1 ended \d{4}-\d\d-\d\d \d\d:\d\d", said)


def test_a_step_told_days_later_is_done_and_not_so_long_over():
    now = datetime(2026, 3, 9, 12, 0, tzinfo=UTC)

    def said(start):
        (step,) = [PotStep("soak", start, minutes=30.0)]
        hold = latest_timed([step], now)
        assert hold is not None
        return hold.words.split("to ")[1].split(": ")[1]

    assert said("2026-03-02T00:00:00+00:00") == "done"
    assert said("2026-03-09T11:00:00+00:00") == "done, 30 min 00 s over"


def test_the_start_of_a_pot_is_put_right_with_its_lots_day(measured_lot):
    ask = measured_lot
    with open_archive(ask.folder) as archive:
        (recipe,) = archive.conn.execute(
            "SELECT colourway.name, base.name FROM recipe JOIN colourway ON colourway.id = "
            "colourway_id JOIN base ON base.id = base_id LIMIT 1"
        ).fetchall()
    ask("pot", "start", "B-1", *recipe, "--goods", "100 g", "--at", "2026-03-02T10:50")
    ask("pot", "did", "B-1", "look", "--at", "2026-03-02T11:00")
    said = ask("pot", "began", "B-1", "2026-03-01T10:05")
    assert said == "lot 'B-1' began 2026-03-01 10:05, was 2026-03-02 10:50\n"
    with open_archive(ask.folder) as archive:
        sql = "SELECT dyed_on FROM lot WHERE code = 'B-1'"
        assert tuple(archive.conn.execute(sql).fetchone()) == ("2026-03-01",)
    refused = ask("pot", "began", "B-1", "2026-03-02T11:30", code=1)
    assert "step 1 was at 2026-03-02 11:00, before that" in refused
    assert "written down afterwards" in ask("pot", "began", "L1", "2026-03-01T10:05", code=1)
