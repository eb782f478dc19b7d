"""The command line as a whole: what it prints, how it leaves, and what the README says of it."""

import csv
import io
import json
import re
import shutil
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import click
import pytest

from swatchvault.cli import COMMANDS, group
from tests.swatchvault.running import run

EXAMPLE = Path(str(files("example_archive")))
README = Path(__file__).parents[2] / "README.md"
PAIR = EXAMPLE / "furrow-2.jpg"  # a master's snippet and a new lot, with steps


def test_every_command_has_help_and_stands_in_the_readme(capsys):
    text = README.read_text(encoding="utf-8")
    for name in COMMANDS:
        ran = run(capsys, name, "--help")
        assert ran.code == 0
        assert "Usage: swatchvault" in ran.out
        assert f"`{name}`" in text, f"{name} is missing from the README"


def test_the_readme_names_no_command_that_is_not_there():
    text = README.read_text(encoding="utf-8")
    named = set(re.findall(r"swatchvault ([a-z]+)", text))
    assert named <= set(COMMANDS)


@pytest.mark.parametrize("arguments", [["nonsense"], ["measure"], ["check"], ["measure", "--what"]])
def test_wrong_use_leaves_with_2(capsys, arguments):
    ran = run(capsys, *arguments)
    assert ran.code == 2
    assert "Usage:" in ran.err


def test_module_and_script_are_the_same():
    said = subprocess.run(
        [sys.executable, "-m", "swatchvault", "--version"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert said.stdout.startswith("swatchvault, version")


def test_help_imports_nothing_slow():
    code = (
        "import sys\nfrom swatchvault.cli import main\n"
        "try:\n main(['--help'])\nexcept SystemExit:\n pass\n"
        "slow = {'numpy', 'cv2', 'colour', 'scipy', 'sklearn', 'datasette', 'PIL', 'joblib'}\n"
        "print('SLOW', sorted(slow & set(sys.modules)))"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "SLOW []" in said.stdout


def test_a_line_of_help_names_every_kind_and_command_within():
    context, told = click.Context(group), 0
    for name, (_, line) in COMMANDS.items():
        command = group.get_command(context, name)
        within = command.list_commands(context) if isinstance(command, click.Group) else []
        for of in command.params:
            if isinstance(of, click.Argument) and isinstance(of.type, click.Choice):
                within = [*within, *of.type.choices]
        words = line.replace("set-up", "setup").removesuffix(".")
        if not words.endswith(" .."):  # which says that there are more
            missing = [w for w in within if not re.search(rf"\b{w}\b", words)]
            assert not missing, (name, missing)
            told += bool(within)
    assert told >= 4


TONALITY_KEYS = {
    *("unevenness", "u_unevenness", "range", "off_light_line", "cell_unevenness", "class"),
    *("strand_contrast", "patch_length", "palette", "dots_percent", "between", "mm_per_px"),
    "method",
}


def test_measure_json_is_one_object_a_line_with_the_contract_keys(capsys):
    ran = run(capsys, "measure", PAIR, EXAMPLE / "furrow-1.jpg", "--json")
    assert ran.code == 0
    records = [json.loads(line) for line in ran.out.splitlines()]
    assert len(records) == 2
    for record in records:
        keys = {"photo_sha256", "references", "swatches", "flags", "steps", "version"}
        assert keys <= set(record)
        for swatch in record["swatches"]:
            assert set(swatch["u_lab"]) == {"region", "frame", "setup", "profile"}
            assert len(swatch["lab"]) == 3
            assert set(swatch["tonality"]) >= TONALITY_KEYS
            for part, matrix in swatch["cov_lab"].items():
                roots = [matrix[i][i] ** 0.5 for i in range(3)]
                assert roots == pytest.approx(swatch["u_lab"][part])


def test_a_batch_goes_on_past_a_bad_photo(capsys, tmp_path):
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(b"not a picture at all")
    ran = run(capsys, "measure", bad, PAIR, "--json")
    assert ran.code == 1
    assert len(ran.out.splitlines()) == 1
    assert ran.err.count("\n") == 1
    assert "bad.jpg" in ran.err


def test_measure_says_that_a_light_not_told_widens_the_doubt(capsys):
    assert "since none was told" in run(capsys, "measure", PAIR).out
    assert "since none was told" not in run(capsys, "measure", PAIR, "--light", "daylight").out
    assert "since none was told" not in run(capsys, "measure", PAIR, "--json").out


def test_marks_go_with_one_photo_only(capsys):
    marks = EXAMPLE / "furrow-1.marks.json"
    assert run(capsys, "measure", PAIR, EXAMPLE / "furrow-1.jpg", "--marks", marks).code == 2


def test_compare_one_photo_is_the_same_frame(capsys):
    ran = run(capsys, "compare", PAIR, "--json", "--light", "daylight", "--same-dyes")
    assert ran.code == 0
    record = json.loads(ran.out)
    assert record["capture"] == "same frame"
    assert record["verdict"] in ("within", "outside", "cannot tell")
    assert record["k_l"] == record["tolerance"] == 2.0
    assert set(record["u"]) == {"reading", "at_tolerance", "d_lch"}


def test_a_number_may_have_a_decimal_comma(capsys):
    asked = ("compare", PAIR, "--json", "--light", "daylight", "--same-dyes", "--tolerance")
    told = [run(capsys, *asked, typed) for typed in ("2.5", "2,5")]
    assert told[0].out == told[1].out and json.loads(told[1].out)["tolerance"] == 2.5
    for wrong in ("2,5.0", "1,000,5", "two"):
        refused = run(capsys, *asked, wrong)
        assert refused.code == 2 and "write it as 2.5 (or 2,5)" in refused.err
    assert "write 1.000 or 1000" in run(capsys, *asked, "1,000").err


def test_compare_takes_the_swatch_named_master_as_the_master(capsys):
    one = json.loads(run(capsys, "compare", f"{PAIR}:master", f"{PAIR}:new", "--json").out)
    two = json.loads(run(capsys, "compare", f"{PAIR}:new", f"{PAIR}:master", "--json").out)
    assert one["d_lch"] == two["d_lch"]
    assert two["master"]["name"] == "master"


def test_compare_two_photos_is_other_unless_said(capsys):
    other = EXAMPLE / "furrow-1.jpg"
    ran = run(capsys, "compare", other, f"{PAIR}:new", "--json")
    assert json.loads(ran.out)["capture"] == "other"


@pytest.mark.parametrize(
    ("photos", "capture", "flag"),
    [
        (("pear-box-1.jpg", "pear-box-4.jpg"), "locked set-up", False),
        (("furrow-1.jpg", "furrow-2.jpg:new"), "same set-up", True),
    ],
)
def test_photos_said_to_be_locked_are_held_to_it_by_their_greys(capsys, photos, capture, flag):
    named = [f"{EXAMPLE}/{p}" for p in photos]
    ran = run(capsys, "compare", *named, "--json", "--capture", "locked set-up")
    record = json.loads(ran.out)
    assert record["capture"] == capture
    assert ("not locked" in record["flags"]) is flag


def test_compare_refuses_a_swatch_with_itself(capsys):
    ran = run(capsys, "compare", f"{PAIR}:new", f"{PAIR}:new")
    assert ran.code == 1
    assert "same photo" in ran.err


@pytest.fixture
def studio(tmp_path, capsys):
    """An archive of a few demo photos, added with notes of its own."""
    folder = tmp_path / "photos"
    folder.mkdir()
    wanted = [p for p in EXAMPLE.iterdir() if p.name.startswith("furrow-") and "knit" not in p.name]
    for path in wanted:
        (folder / path.name).write_bytes(path.read_bytes())
    (folder / "studio.toml").write_bytes((EXAMPLE / "studio.toml").read_bytes())
    rows = list(csv.reader(io.StringIO((EXAMPLE / "photos.csv").read_text(encoding="utf-8"))))
    kept = [rows[0], *(r for r in rows[1:] if (folder / r[0]).exists())]
    with (folder / "photos.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows(kept)
    text = (folder / "studio.toml").read_text(encoding="utf-8")
    swatches = {r[rows[0].index("swatch")] for r in kept[1:]}
    blocks = re.split(r"(?m)^(?=\[\[)", text)
    masters = [b for b in blocks if b.startswith("[[master]]")]
    dropped = [m for m in masters if not any(f'"{s}"' in m for s in swatches)]
    (folder / "studio.toml").write_text("".join(b for b in blocks if b not in dropped))
    archive = tmp_path / "archive"
    assert run(capsys, "new", archive).code == 0
    ran = run(capsys, "add", folder, "--archive", archive)
    assert ran.code == 0, ran.err
    return archive, folder


def test_adding_again_changes_nothing_and_says_so(capsys, studio):
    archive, folder = studio
    before = run(capsys, "export", "measurement", "--archive", archive).out
    ran = run(capsys, "add", folder, "--archive", archive)
    assert ran.code == 0
    assert ran.out.count("was there already, nothing changed") == len(list(folder.glob("*.jpg")))
    assert run(capsys, "export", "measurement", "--archive", archive).out == before


def test_check_lots_list_show_export_verify(capsys, studio, monkeypatch):
    archive, _ = studio
    monkeypatch.setenv("SWATCHVAULT_ARCHIVE", str(archive))
    lots = json.loads(run(capsys, "list", "lots", "--json").out)
    checked = run(capsys, "check", "NF-2", "--json")
    assert checked.code == 0
    record = json.loads(checked.out)[0]
    assert record["capture"] == "same frame"
    assert record["lot"] == "NF-2"
    said = run(capsys, "check", "NF-2", "--do-not-keep").out
    assert "ΔE00" in said and re.search(r"Judged on \S+\.jpg", said)
    assert any(row["lot"] == "NF-2" for row in lots)
    family = json.loads(run(capsys, "lots", record["colourway"], "--json").out)[0]
    assert len(family["pairs"]) == len(family["lots"]) * (len(family["lots"]) - 1) / 2
    assert family["course"]
    assert "w within" in run(capsys, "lots", record["colourway"]).out
    assert "NF-2" in run(capsys, "show", "lot", "NF-2").out
    rows = list(csv.DictReader(io.StringIO(run(capsys, "export", "lot_check").out)))
    assert len(rows) == 1
    assert rows[0]["verdict"] == record["verdict"]
    assert run(capsys, "verify").out == "everything fits\n"


def test_a_backup_is_put_back_as_it_is_told(capsys, studio, tmp_path):
    archive, _ = studio
    told = " ".join(run(capsys, "backup", "--help").out.split())
    assert "move archive.db, archive.db-wal and archive.db-shm out of" in told
    assert "as archive.db, beside photos and thumbs" in told
    readme = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    assert "Move `archive.db`, `archive.db-wal` and `archive.db-shm` out" in readme
    assert "under the name `archive.db`, beside `photos` and `thumbs`" in " ".join(readme.split())
    folder = Path(shutil.copytree(archive, tmp_path / "whole"))
    said = run(capsys, "backup", tmp_path / "copy.db", "--archive", folder).out
    assert "--help" in said
    before = run(capsys, "list", "swatches", "--json", "--archive", folder).out
    (folder / "archive.db").write_bytes(b"spoilt")
    for name in ("archive.db-wal", "archive.db-shm"):
        (folder / name).write_bytes(b"of the old one")
    for path in folder.glob("archive.db*"):
        path.rename(tmp_path / path.name)
    shutil.copy(tmp_path / "copy.db", folder / "archive.db")
    assert run(capsys, "verify", folder).out == "everything fits\n"
    assert run(capsys, "list", "swatches", "--json", "--archive", folder).out == before
    on_another = tmp_path / "new"
    on_another.mkdir()
    shutil.copy(tmp_path / "copy.db", on_another / "archive.db")
    for name in ("photos", "thumbs"):
        shutil.copytree(folder / name, on_another / name)
    assert run(capsys, "verify", on_another).out == "everything fits\n"


def test_backup_is_an_archive_database(capsys, studio, tmp_path):
    archive, _ = studio
    assert run(capsys, "backup", tmp_path / "copy.db", "--archive", archive).code == 0
    again = run(capsys, "backup", tmp_path / "copy.db", "--archive", archive)
    assert again.code == 1
    assert "is there already" in again.err


def test_master_can_be_set_and_is_told(capsys, studio):
    archive, _ = studio
    swatch = json.loads(
        run(capsys, "list", "colours", "--with", "NF-2", "--json", "--archive", archive).out
    )[0]["swatch"]
    said = run(capsys, "master", swatch, "--tolerance", "1.5", "--archive", archive)
    assert said.code == 0
    assert "tolerance 1.5 at kL = 2" in said.out
    checked = json.loads(run(capsys, "check", "NF-3", "--json", "--archive", archive).out)[0]
    assert checked["master"] == swatch
    assert checked["tolerance"] == 1.5


def test_add_one_photo_by_options(capsys, tmp_path):
    archive = tmp_path / "archive"
    run(capsys, "new", archive)
    told = ["--swatch", "s-1", "--base", "Plain", "--form", "wound card", "--archive", archive]
    refused = run(capsys, "add", EXAMPLE / "furrow-1.jpg", *told)
    assert refused.code == 1
    assert "unknown base 'Plain'" in refused.err
    ran = run(
        capsys,
        "add",
        EXAMPLE / "furrow-1.jpg",
        *told,
        "--colourway",
        "Rust",
        "--lot",
        "1",
        "--create",
    )
    assert ran.code == 0, ran.err
    assert "filed, one swatch" in ran.out
    there = ("--archive", archive)
    one = ("--region", "new", *there)
    ran = run(capsys, "add", EXAMPLE / "furrow-2.jpg", "--swatch", "S-1", *one)
    assert ran.code == 0, ran.err
    seen = json.loads(run(capsys, "list", "colours", "--json", *there).out)
    assert {(r["swatch"], r["lot"], r["form"]) for r in seen} == {("s-1", "1", "wound card")}
    photos = json.loads(run(capsys, "list", "photos", "--json", *there).out)
    assert [p["swatches"] for p in photos] == ["s-1", "s-1"]
    ran = run(capsys, "add", EXAMPLE / "furrow-3.jpg", "--swatch", "s-2", *one)
    assert ran.code == 1 and "give --base, --form (of a swatch that the archive has" in ran.err


@pytest.mark.parametrize(
    ("told", "light", "dry"),
    [
        (["--light", "black light", "--dry"], "black light", None),
        (["--light", "daylight", "--wet"], "daylight", 0),
        (["--light", "other", "--damp"], "other", 0),
        (["--dry"], None, 1),
    ],
)
def test_add_takes_the_lights_and_the_wet_that_notes_take(capsys, tmp_path, told, light, dry):
    archive = tmp_path / "archive"
    run(capsys, "new", archive)
    there = ["--archive", archive]
    what = ["--swatch", "s-1", "--base", "Plain", "--form", "wound card", "--create"]
    ran = run(capsys, "add", EXAMPLE / "furrow-1.jpg", *what, *told, *there)
    assert ran.code == 0, ran.err
    (photo,) = json.loads(run(capsys, "list", "photos", "--json", *there).out)
    assert photo["light"] == light
    seen = json.loads(run(capsys, "list", "colours", "--json", *there).out)
    assert [row["dry"] for row in seen] == ([] if light == "black light" else [dry])
    assert ("kept to be seen" in ran.out) is (light == "black light")


def test_options_are_told_in_an_order_to_read_and_by_one_word(capsys):
    told = run(capsys, "measure", "--help").out
    assert told.index("--card-y") < told.index("Or its L* a* b*")
    for name in ("add", "near"):
        told = run(capsys, name, "--help").out
        assert "--dry / --wet" in told and "--damp" not in told
