"""kL: one for a pair in every command, and told wherever a ΔE00 is."""

import json
import shlex
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest

from ingest.colour import delta_e_2000
from swatchvault.archive import Master, open_archive, set_master
from swatchvault.bands import metric
from tests.swatchvault.running import run

EXAMPLE = Path(str(files("example_archive")))
#: Each prints a ΔE00 of the demo, or a distance that is one.
PRINTED = (
    "predict 'Orrin four-ply' 'Pellow red=0.3' 'Brackle brown=0.45' --against 'NF-1 card'",
    "correct NF-4",
    "correct NF-4 --to 'NF-3 card'",
    "correct NF-3",
    "reach 'NF-1 card' --base 'Orrin four-ply'",
    "gaps 'Orrin four-ply' -n 2",
    "recipe 'Ninth Furrow' 'Orrin four-ply'",
    "near 'NF-4 card'",
    "near 90,0,0 --tolerance 3",
    "near 'NF-4 card' --tolerance 0.01",
    "near 'NF-4 card' --other-dyes --tolerance 30",
    "near 'NF-4 card' --other-dyes --tolerance 3",
    "near 'NF-4 card' --other-dyes --tolerance 0.01",
    "groups --colourway 'Ninth Furrow' --form 'wound card'",
    "drift 'Harbour at Four'",
    "check NF-4",
    "lots 'Ninth Furrow'",
    "tonal 'NF-2 card'",
)
PREDICT = ("predict", "Orrin four-ply", "Pellow red=0.3", "Brackle brown=0.45")


@pytest.mark.parametrize("command", PRINTED)
def test_each_output_with_a_colour_difference_tells_its_k_l(ask, command):
    said = ask(*shlex.split(command))
    assert "kL = " in said or ("ΔE00" not in said and " off" not in said and "within" not in said)
    assert len({line.split("kL = ")[1][0] for line in said.splitlines() if "kL = " in line}) <= 1


@pytest.mark.parametrize("photo", ["furrow-1.jpg", "hedge.jpg"])
def test_each_figure_of_a_calibration_tells_it(capsys, tmp_path, photo):
    page = tmp_path / "page.svg"
    said = run(capsys, "calibration", EXAMPLE / photo, "--svg", page).out
    for text in (said, page.read_text("utf-8")):
        told = [line for line in text.splitlines() if "ΔE00" in line]
        assert told and all("kL = 1" in line for line in told)


def test_the_card_of_evenness_tells_it(ask, tmp_path):
    said = ask("tonal", "NF-2 card", "--svg", tmp_path / "card.svg")
    assert "  ΔE00 (kL = 1) of its patches from the mean" in said
    assert "ΔE00 with kL = 1.</text>" in (tmp_path / "card.svg").read_text("utf-8")


def test_predictions_use_the_k_l_that_is_asked_for_and_2_if_none_is(ask):
    asked = (*PREDICT, "--against", "NF-3 card", "--json")
    usual, full = json.loads(ask(*asked)), json.loads(ask(*asked, "--k-l", "1"))
    assert (usual["k_l"], full["k_l"]) == (2, 1)
    for found in (usual, full):
        away = delta_e_2000(found["lab"], found["target_lab"], found["k_l"])
        assert found["delta_e_00"] == pytest.approx(float(away))
    assert full["lab"] == usual["lab"]  # the fit is one and the same
    for figure in ("within_95", "target_within_95", "photos_share_delta_e_00"):
        assert usual[figure] < full[figure]
    quarter = json.loads(ask(*asked, "--k-l", "0.25"))
    assert usual["why"] != quarter["why"]  # how far lots are missed


def test_gaps_have_one_for_the_gap_and_for_its_recipe(ask):
    one, two = (
        json.loads(ask("gaps", "Orrin four-ply", "-n", "1", "--k-l", k, "--json"))["gaps"][0]
        for k in ("1", "1.0001")  # the same gap and recipe
    )
    assert one["within_95"] == pytest.approx(two["within_95"], rel=1e-3)
    assert one["within_95"] != two["within_95"]


def test_a_correction_uses_the_master_s_own(demo, ask):
    def k_l(*more):
        return json.loads(ask("correct", "NF-4", *more, "--json"))["k_l"]

    assert (k_l(), k_l("--to", "NF-1 card"), k_l("--k-l", "1.2")) == (2, 2, 1.2)
    names = ("Ninth Furrow", "Orrin four-ply", "wound card", "NF-1 card")
    with open_archive(demo) as archive:
        set_master(archive.conn, Master(*names, k_l=1.5))
    try:
        assert (k_l(), k_l("--to", "NF-1 card"), k_l("--to", "NF-3 card")) == (1.5, 1.5, 2)
        (check,) = json.loads(ask("check", "NF-4", "--json"))
        assert check["k_l"] == 1.5
    finally:
        with open_archive(demo) as archive:
            set_master(archive.conn, Master(*names, k_l=2.0))


@pytest.mark.parametrize("command", [PREDICT, ("reach", "40,20,10", "--base", "Orrin four-ply")])
def test_a_k_l_of_nothing_is_refused(demo, capsys, command):
    ran = run(capsys, *command, "--k-l", "0", "--archive", demo)
    assert (ran.code, ran.err) == (1, "kL is 0, needed a number above 0: such as 2\n")


@pytest.mark.parametrize("k_l", [1.0, 2.0])
def test_the_metric_follows_small_differences(k_l):
    lab, step = np.array([40.0, 25.0, 10.0]), np.array([0.1, -0.05, 0.08])
    near = float(step @ metric(lab, k_l) @ step) ** 0.5
    assert near == pytest.approx(float(delta_e_2000(lab, lab + step, k_l)), rel=0.02)
