"""References and set-ups that are told once, and photos that are kept without being measured."""

import json
import shutil
from importlib.resources import files
from pathlib import Path

import pytest

from ingest.charts import CHART24_LAB_D50
from ingest.model import Settings
from swatchvault.archive import OwnedReference
from swatchvault.filing import with_owned
from tests.swatchvault.running import run

EXAMPLE = Path(str(files("example_archive")))


@pytest.fixture
def archive(tmp_path, capsys, monkeypatch):
    folder = tmp_path / "archive"
    run(capsys, "new", folder)
    monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(folder))
    return folder


def notes(tmp_path, rows, photo="ember-knit.jpg"):
    folder = tmp_path / "notes"
    folder.mkdir(exist_ok=True)
    shutil.copy(EXAMPLE / photo, folder / "a.jpg")
    (folder / "studio.toml").write_text('[[base]]\nname = "B"\nfibres = {wool = 100}\n')
    (folder / "photos.csv").write_text("photo,swatch,base,form,light,setup\n" + rows)
    return folder


def lab_of(capsys):
    return [
        (row["lab_l"], row["lab_a"], row["lab_b"])
        for row in json.loads(run(capsys, "list", "colours", "--json").out)
    ]


def test_a_set_up_brings_the_values_of_its_own_card(capsys, archive, tmp_path):
    folder = notes(tmp_path, "a.jpg,s,B,knit,other,bench\n")
    assert run(capsys, "add", folder).code == 0
    (eighteen,) = lab_of(capsys)
    assert run(capsys, "reference", "grey", "--kind", "card", "--y", "0.36").code == 0
    assert run(capsys, "setup", "bench", "--reference", "grey").code == 0
    again = run(capsys, "add", folder)
    assert "measured anew" in again.out
    (thirty_six,) = lab_of(capsys)
    # Twice the light: (L* + 16) grows by the cube root of 2 (CIE 15).
    assert (thirty_six[0] + 16) / (eighteen[0] + 16) == pytest.approx(2 ** (1 / 3), abs=0.003)


def test_owned_values_become_settings():
    chart = OwnedReference("c", "chart24", edition="before-2014-11", tolerance_delta_e=0.7)
    assert with_owned(Settings(), chart) == Settings(
        chart_edition="before-2014-11", value_delta_e=0.7, value_kind="chart24"
    )
    measured = OwnedReference("c", "chart24", lab_d50=CHART24_LAB_D50["after-2014-11"])
    assert with_owned(Settings(), measured).chart_lab_d50 == CHART24_LAB_D50["after-2014-11"]
    steps = OwnedReference("s", "steps", y=(0.9, 0.2, 0.05))
    assert with_owned(Settings(), steps).steps_y == (0.9, 0.2, 0.05)
    card = OwnedReference("k", "card", lab_d50=((50.0, 0.0, 0.1),))
    assert with_owned(Settings(), card).card_lab_d50 == (50.0, 0.0, 0.1)


def test_measured_chart_values_come_from_a_csv(capsys, archive, tmp_path):
    table = tmp_path / "chart.csv"
    table.write_text("".join(f"{a},{b},{c}\n" for a, b, c in CHART24_LAB_D50["after-2014-11"]))
    assert run(capsys, "reference", "mine", "--kind", "chart24", "--values", table).code == 0
    table.write_text("1,2\n")
    ran = run(capsys, "reference", "other", "--kind", "chart24", "--values", table)
    assert (ran.code, ran.err.count("\n")) == (1, 1)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--kind", "card", "--y", "1.2"], "above 0 and up to 1"),
        (["--kind", "card", "--y", "x"], "numbers such as 0.18"),
        (["--kind", "card", "--y", "0.9,0.1"], "one reflectance"),
        (["--kind", "steps", "--y", "0.9"], "a reflectance for each step"),
    ],
)
def test_values_that_cannot_be_are_one_line(capsys, archive, options, words):
    ran = run(capsys, "reference", "r", *options)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert words in ran.err


def test_a_photo_under_black_light_is_kept_shown_and_never_measured(capsys, archive, tmp_path):
    folder = notes(tmp_path, "a.jpg,s,B,knit,black light,\n")
    ran = run(capsys, "add", folder)
    assert (ran.code, "kept to be seen" in ran.out) == (0, True)
    assert json.loads(run(capsys, "list", "colours", "--json").out) == []
    (photo,) = json.loads(run(capsys, "list", "photos", "--json").out)
    assert photo["light"] == "black light"
    assert "photo_sha256,swatch_id" in run(capsys, "export", "photo_swatch").out
    assert len(run(capsys, "export", "photo_swatch").out.splitlines()) == 2
    assert "was there already" in run(capsys, "add", folder).out
    assert run(capsys, "verify").out == "everything fits\n"


@pytest.mark.parametrize(
    ("kind", "told", "said"),
    [
        ("card", ("--lab", "150", "0", "0"), "no surface colour"),
        ("card", ("--lab", "50", "40", "30"), "is no grey"),
        ("card", ("--lab", "50", "0", "0", "--y", "0.18"), "give one of them"),
        ("card", ("--y", "0.18", "--edition", "after-2014-11"), "a card is told by"),
        ("card", ("--y", "0.18", "--tolerance", "500"), "from 0 to 20"),
        ("steps", (), "steps are told by"),
        ("steps", ("--lab", "50", "0", "0"), "steps are told by"),
        ("chart24", ("--y", "0.18"), "a chart is told by"),
    ],
)
def test_values_that_cannot_be_are_refused_where_they_are_told(capsys, archive, kind, told, said):
    ran = run(capsys, "reference", "mine", "--kind", kind, *told)
    assert ran.code != 0 and said in ran.err
    assert json.loads(run(capsys, "list", "references", "--json").out) == []


def test_values_that_cannot_be_are_refused_where_they_are_put_right(capsys, archive):
    assert run(capsys, "reference", "mine", "--kind", "card", "--y", "0.18").code == 0
    ran = run(capsys, "mend", "reference", "mine", "--tolerance", "-1", "--yes")
    assert ran.code != 0 and "from 0 to 20" in ran.err
