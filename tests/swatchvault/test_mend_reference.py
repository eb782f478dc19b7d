"""A reference's values put right, and the photos that were read by it measured anew."""

import json
import shutil
from importlib.resources import files
from pathlib import Path

import pytest

from tests.swatchvault.running import run

EXAMPLE = Path(str(files("example_archive")))
STEPS = "0.9,0.59,0.36,0.195,0.09,0.032"
WRONG = "0.85,0.495,0.27,0.15,0.08,0.045"
SHOWN = ("--base", "B", "--form", "wound card", "--create", "--setup", "window")


@pytest.fixture
def archive(tmp_path, capsys, monkeypatch):
    folder = tmp_path / "archive"
    run(capsys, "new", folder)
    monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(folder))
    assert run(capsys, "reference", "strip", "--kind", "steps", "--y", WRONG).code == 0
    assert run(capsys, "setup", "window", "--reference", "strip").code == 0
    return folder


def photo(tmp_path, name, steps=None):
    if steps is not None:
        marks = json.loads((EXAMPLE / f"{name}.marks.json").read_text())
        marks["references"] = [{**r, "y": steps} for r in marks["references"]]
        marks["swatches"] = marks["swatches"][:1]
        (tmp_path / f"{name}.marks.json").write_text(json.dumps(marks))
    return Path(shutil.copy(EXAMPLE / f"{name}.jpg", tmp_path))


def lightness(capsys):
    rows = json.loads(run(capsys, "list", "colours", "--json").out)
    return {row["swatch"]: row["lab_l"] for row in rows}


def differing(capsys):
    """Swatches of which marks and set-up are said to differ."""
    rows = json.loads(run(capsys, "list", "colours", "--json").out)
    return {row["swatch"] for row in rows if "values differ" in row["flags"]}


def values(capsys):
    (row,) = json.loads(run(capsys, "list", "references", "--json").out)
    return json.loads(row["known_values"])["y"]


def test_values_that_no_photo_was_read_by_are_put_right_at_once(capsys, archive):
    ran = run(capsys, "mend", "reference", "strip", "--y", STEPS.replace(",", " "))
    assert (ran.code, ran.err) == (0, "")
    assert "0.9, 0.59, 0.36, 0.195, 0.09, 0.032, was 0.85, 0.495" in ran.out
    assert "remeasure" not in ran.out
    assert values(capsys) == [float(v) for v in STEPS.split(",")]
    assert "says so already" in run(capsys, "mend", "reference", "strip", "--y", STEPS).out
    said = json.loads(run(capsys, "mend", "reference", "strip", "--y", WRONG, "--json").out)
    assert said["changes"][0]["new"].startswith("0.85") and said["removed"] is False


def test_photos_keep_their_figures_until_they_are_measured_anew(capsys, archive, tmp_path):
    found = photo(tmp_path, "harbour-1")
    assert run(capsys, "add", found, "--swatch", "found", *SHOWN).code == 0
    own = photo(tmp_path, "harbour-2", [float(v) for v in STEPS.split(",")])
    ran = run(capsys, "add", own, "--swatch", "own", *SHOWN)
    assert ran.code == 0, ran.err
    assert differing(capsys) == {"own"}
    before = lightness(capsys)
    asked = run(capsys, "mend", "reference", "strip", "--y", STEPS)
    assert (asked.code, asked.err.count("\n")) == (1, 1)
    assert "read by it so far: 1 photo (harbour-1.jpg)" in asked.err and "--yes" in asked.err
    assert values(capsys)[0] == 0.85
    done = run(capsys, "mend", "reference", "strip", "--y", STEPS, "--yes")
    assert (
        'remeasure --reference "strip"' in done.out
        and "own marks, which stay: 1 photo (harbour-2.jpg)" in done.out
    )
    assert lightness(capsys) == before
    assert run(capsys, "remeasure", "--reference", "strip", "--workers", "1").code == 0
    after = lightness(capsys)
    assert after["own"] == before["own"] and differing(capsys) == set()
    (truth,) = json.loads(run(capsys, "measure", found, "--steps", STEPS, "--json").out)["swatches"]
    assert after["found"] == pytest.approx(truth["lab"][0], abs=0.02)
    assert abs(after["found"] - before["found"]) > 1.0
    assert run(capsys, "verify").out == "everything fits\n"


def test_a_cards_value_put_right_reaches_its_photos_too(capsys, archive, tmp_path):
    assert run(capsys, "reference", "grey", "--kind", "card", "--y", "0.36").code == 0
    assert run(capsys, "setup", "bench", "--reference", "grey").code == 0
    card = photo(tmp_path, "ember-knit")
    how = ("--base", "B", "--form", "knit", "--create", "--setup", "bench")
    assert run(capsys, "add", card, "--swatch", "card", *how).code == 0
    before = lightness(capsys)["card"]
    assert run(capsys, "mend", "reference", "grey", "--y", "18 %", "--yes").code == 0
    assert run(capsys, "remeasure", "--reference", "grey", "--workers", "1").code == 0
    # Half the light: (L* + 16) shrinks by the cube root of 2 (CIE 15).
    after = lightness(capsys)["card"]
    assert (before + 16) / (after + 16) == pytest.approx(2 ** (1 / 3), abs=0.003)


def test_other_values_of_one_name_are_told_without_json_and_how_to_mend_them(capsys, archive):
    ran = run(capsys, "reference", "strip", "--kind", "steps", "--y", STEPS)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert "{" not in ran.err and "has 0.85, 0.495" in ran.err and "not 0.9, 0.59" in ran.err
    assert 'swatchvault mend reference "strip"' in ran.err
    assert "is a steps, not a card" in run(capsys, "reference", "strip", "--kind", "card").err


def test_steps_typed_darkest_first_are_turned_round_and_that_is_said(capsys, archive):
    dark = ",".join(STEPS.split(",")[::-1])
    ran = run(capsys, "reference", "turned", "--kind", "steps", "--y", dark)
    assert (ran.code, "turned round" in ran.out) == (0, True)
    rows = json.loads(run(capsys, "list", "references", "--json").out)
    assert json.loads(rows[1]["known_values"])["y"] == [float(v) for v in STEPS.split(",")]


def test_a_list_tells_values_in_words_and_its_json_has_them_as_they_are_kept(
    capsys, archive, tmp_path
):
    own = tmp_path / "own.csv"
    own.write_text("37.5,13,14\n" * 24)
    for name, told in (
        ("grey", ("card", "--y", "0.18")),
        ("plain", ("card",)),
        ("lab", ("card", "--lab", "49.5", "0.1", "-0.3")),
        ("chart", ("chart24", "--edition", "before-2014-11")),
        ("bare", ("chart24",)),
        ("mine", ("chart24", "--values", own)),
    ):
        assert run(capsys, "reference", name, "--kind", *told).code == 0
    out = run(capsys, "list", "references").out
    assert "{" not in out and "null" not in out
    said = {line.split()[0]: " ".join(line.split()[2:]) for line in out.splitlines()[2:]}
    assert said == {
        "strip": f"Y {WRONG.replace(',', ', ')}",
        "grey": "Y 0.18",
        "plain": "no values of its own: taken as Y 0.18",
        "lab": "L* 49.5 a* 0.1 b* -0.3",
        "chart": "edition before-2014-11",
        "bare": "no values of its own: taken as edition after-2014-11",
        "mine": "24 colours of its own",
    }
    assert "Y 0.85, 0.495" in run(capsys, "show", "reference", "strip").out
    kept = {r["name"]: r for r in json.loads(run(capsys, "list", "references", "--json").out)}
    assert json.loads(kept["grey"]["known_values"]) == {"y": [0.18]}
    assert kept["plain"]["known_values"] is None and kept["bare"]["known_values"] is None
    assert "taken as edition after-2014-11" in run(capsys, "show", "reference", "bare").out


@pytest.mark.parametrize(
    ("told", "code", "words"),
    [
        ((), 2, "of a reference can be mended"),
        (("--grams", "5"), 2, "of a reference can be mended"),
        (("--y", STEPS, "--remove"), 2, "of a reference can be mended"),
        (("--lab", "50", "0", "0"), 1, "one L* a* b* is a card's"),
        (("--edition", "before-2014-11"), 1, "are a chart's"),
        (("--y", "0.9,0.95,0.1"), 1, "out of order"),
    ],
)
def test_what_cannot_be_mended(capsys, archive, told, code, words):
    ran = run(capsys, "mend", "reference", "strip", *told)
    assert (ran.code, words in ran.err) == (code, True), ran.err
    assert "unknown reference" in run(capsys, "mend", "reference", "no", "--y", "0.2").err
