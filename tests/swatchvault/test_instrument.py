"""`mat`, `picture`, `calibration`, `repeat` and `measure --show`: the photo as an instrument."""

import json
import math
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from ingest.charts import CHART24_NAMES
from ingest.model import (
    LabCovariance,
    Measurement,
    PhotoMeasurement,
    Reference,
    ReferenceReading,
)
from ingest.pipeline import prepare_file
from swatchvault.calibration import CORNER_WORDS, Page, errors_of, page_lines, page_svg
from swatchvault.errors import CompareError
from swatchvault.pair import Capture
from swatchvault.repeat_shots import shot_of
from swatchvault.repeats import learn, words
from tests.swatchvault.running import run

EXAMPLE = Path(str(files("example_archive")))
CHART, STEPS, CARD = (EXAMPLE / f"{n}.jpg" for n in ("pear-2", "furrow-1", "furrow-4"))


# --- calibration -------------------------------------------------------------------------------


def page_of(path):
    ready = prepare_file(path)
    return Page(path.name, ready.correction, ready.photo.encoding)


def test_every_patch_stands_in_the_report_with_its_own_error():
    page = page_of(CHART)
    lines = page_lines(page)
    left = errors_of(page.main, "left_out_lab")
    for name, error in zip(CHART24_NAMES, left, strict=True):
        row = next(line for line in lines if line[4:20].strip() == name)
        assert float(row.split()[-1]) == pytest.approx(error, abs=0.006)
    assert errors_of(page.main, "corrected_lab").mean() <= left.mean()


def test_a_clipped_patch_is_told_and_counts_in_no_mean():
    page = page_of(STEPS)
    main, plain = page.main, page_lines(page)
    patches = [dict(p) for p in main.patches]
    patches[0] |= {"clipped": 0.42, "corrected_lab": [80.0, 0.0, 0.0], "left_out_lab": [80, 0, 0]}
    seen = replace(main, patches=tuple(patches))
    one = Page(page.photo, replace(page.correction, readings=(seen,)), page.encoding)
    (row,) = (line for line in page_lines(one) if "clipped, not used" in line)
    assert row.split()[:2] == main.patches[0]["name"].split() and "42% clipped" in row
    rest = errors_of(main, "left_out_lab")[1:].mean()
    (mean,) = (line for line in page_lines(one) if line.startswith("    mean"))
    assert f"mean of 5: 0.00 / {rest:.2f};" in mean
    assert f"by ΔE00 {rest:.1f} " in page_lines(one)[-1]
    assert "clipped  " in page_svg(one) and not any("not used" in line for line in plain)


@pytest.mark.parametrize("path", [CHART, STEPS, CARD], ids=["chart", "steps", "card"])
def test_the_page_is_well_formed_and_says_what_limits_it(path):
    page = page_of(path)
    root = ElementTree.fromstring(page_svg(page))
    text = " ".join(e.text or "" for e in root.iter() if e.text)
    assert path.name in text
    assert "What limits it" in text
    assert ("cannot show how the camera bends" in text) is (path == CARD)
    height = float(root.get("viewBox").split()[3])
    assert all(float(e.get("y", 0)) <= height for e in root.iter())


def test_patches_are_outlined_and_what_srgb_cannot_hold_loses_a_corner():
    page = page_of(CHART)
    held, beyond = [50.0, 10.0, 10.0], [50.0, -30.0, -40.0]
    sides = [(held, held), (beyond, held), (held, beyond), (beyond, beyond)]
    patches = tuple(
        {**patch, "expected_lab": stated, "corrected_lab": found}
        for patch, (stated, found) in zip(page.main.patches[:4], sides, strict=True)
    )
    seen = replace(page.main, patches=patches)
    root = ElementTree.fromstring(
        page_svg(Page("a", replace(page.correction, readings=(seen,)), page.encoding))
    )
    named = {kind: root.findall(f"{{*}}{kind}") for kind in ("rect", "polygon", "text")}
    outlines = [r for r in named["rect"] if r.get("fill") == "none" and r.get("stroke")]
    assert len(outlines) == 4
    places = [tuple(map(float, p.get("points").split()[0].split(","))) for p in named["polygon"]]
    at = [(float(r.get("x")), float(r.get("width"))) for r in outlines]
    left, right = [x for x, _ in at], [x + width for x, width in at]
    assert [x for x, _ in places] == [left[1], right[2], left[3], right[3]]
    assert CORNER_WORDS in [e.text for e in named["text"]]
    assert CORNER_WORDS not in page_svg(page_of(STEPS))


def test_calibration_command_writes_the_page(capsys, tmp_path):
    ran = run(capsys, "calibration", CHART, "--svg", tmp_path / "page.svg")
    assert ran.code == 0
    assert "mean" in ran.out
    assert (tmp_path / "page.svg").read_text(encoding="utf-8").startswith("<svg")


def test_a_name_with_markup_is_text_in_the_page():
    page = page_of(CARD)
    svg = page_svg(Page("<script>&.jpg", page.correction, page.encoding))
    assert "<script>" not in svg
    ElementTree.fromstring(svg)


# --- picture, show, mat ------------------------------------------------------------------------


def test_the_corrected_picture_is_written_beside_the_untouched_original(capsys, tmp_path):
    before = CHART.read_bytes()
    ran = run(capsys, "picture", CHART, tmp_path / "out.png", "--space", "display-p3")
    assert ran.code == 0
    assert CHART.read_bytes() == before
    picture = Image.open(tmp_path / "out.png")
    assert picture.size == Image.open(CHART).size
    assert picture.info["icc_profile"]


@pytest.mark.parametrize("name", ["out.jpg", "out.png"])
def test_a_picture_of_ours_is_known_when_it_is_measured_and_no_lot_is_judged(
    capsys, tmp_path, name
):
    pair, marks = EXAMPLE / "harbour-2.jpg", EXAMPLE / "harbour-2.marks.json"
    assert run(capsys, "picture", pair, tmp_path / name).code == 0
    (tmp_path / "out.marks.json").write_bytes(marks.read_bytes())
    told = ("--light", "daylight", "--same-dyes")
    before, after = (
        run(capsys, "compare", pair, *told),
        run(capsys, "compare", tmp_path / name, *told),
    )
    assert "picture by this program" not in before.out
    assert "cannot tell" not in before.out.splitlines()[0]
    assert "cannot tell" in after.out.splitlines()[0]
    assert "picture by this program" in after.out
    for path, judged in ((pair, True), (tmp_path / name, False)):
        swatch = json.loads(run(capsys, "measure", path, "--json").out)["swatches"][0]
        assert ("evenness not judged" not in swatch["flags"]) is judged


def test_so_is_what_show_draws(capsys, tmp_path):
    assert run(capsys, "measure", STEPS, "--show", tmp_path / "seen.png").code == 0
    ran = run(capsys, "measure", tmp_path / "seen.png", "--no-card", "--json")
    assert "picture by this program" in json.loads(ran.out)["flags"]


def test_the_original_is_never_written_over(capsys, tmp_path):
    copy = tmp_path / "a.jpg"
    copy.write_bytes(CHART.read_bytes())
    marks = (EXAMPLE / "pear-2.marks.json").read_bytes()
    (tmp_path / "a.marks.json").write_bytes(marks)
    ran = run(capsys, "picture", copy, copy)
    assert (ran.code, ran.err.count("\n")) == (1, 1)
    assert copy.read_bytes() == CHART.read_bytes()


def test_show_draws_the_outlines(capsys, tmp_path):
    assert run(capsys, "measure", CHART, "--show", tmp_path / "show.png").code == 0
    drawn = np.asarray(Image.open(tmp_path / "show.png").convert("RGB"), dtype=int)
    plain = np.asarray(Image.open(CHART).convert("RGB"), dtype=int)
    assert drawn.shape == plain.shape
    changed = np.abs(drawn - plain).max(axis=2) > 60
    assert 0.002 < changed.mean() < 0.2
    assert run(capsys, "measure", CHART, STEPS, "--show", tmp_path / "x.png").code == 2


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_mat_is_a_pdf(capsys, tmp_path, paper):
    ran = run(capsys, "mat", tmp_path / "mat.pdf", "--paper", paper)
    assert ran.code == 0
    assert (tmp_path / "mat.pdf").read_bytes().startswith(b"%PDF")
    assert "measure the bar" in ran.out


# --- repeats -----------------------------------------------------------------------------------

HUES = {"red": (45, 50, 25), "yellow": (75, 5, 60), "green": (50, -40, 20), "blue": (40, 5, -40)}


def swatch(name, lab):
    zero = np.zeros((3, 3))
    return Measurement(
        name=name,
        lab=np.array(lab, dtype=float),
        covariance=LabCovariance(0.01 * np.eye(3), zero, zero, zero),
        flags=frozenset(),
        polygon=((0, 0), (1, 0), (1, 1)),
        reference="steps",
        pixels=1000,
        left_out={},
        clipped_share=0.0,
        shadow_sd=0.1,
        mm_per_px=0.1,
    )


def picture(rng):
    """A small picture of which no other is a copy."""
    return rng.integers(0, 255, (48, 64, 3), dtype=np.uint8)


def photos(sd, count=12, names=tuple(HUES), seed=0):
    rng = np.random.default_rng(seed)
    made = []
    for i in range(count):
        shift = rng.normal(0, sd, 3)
        swatches = tuple(swatch(n, np.array(HUES[n]) + shift) for n in names)
        made.append(
            PhotoMeasurement(
                *(f"{i}.jpg", f"{i:064x}", 10, 10, "JPEG", "sRGB", None, None),
                layout=None,
                references=(),
                swatches=swatches,
                flags=frozenset(),
                steps=(),
                version="1",
                preview=picture(rng),
            )
        )
    return made


def learned_from(taken, capture=Capture.LOCKED):
    return learn([shot_of(photo, "daylight") for photo in taken], capture)


def test_what_repeats_scatter_is_what_is_learned():
    """Two frames differ by the square root of two times one frame's scatter, in the pair's axes."""
    learned = learned_from(photos(1.0, count=400), Capture.SAME_SETUP)
    one = learned_from(photos(2.0, count=400), Capture.SAME_SETUP)
    assert one.frame_sd / learned.frame_sd == pytest.approx(2.0, rel=0.02)
    assert 0.5 < learned.frame_sd < 1.5
    assert learned.smallest_tolerance > learned.default_tolerance


def test_quiet_repeats_do_not_go_below_the_default():
    learned = learned_from(photos(0.01))
    assert learned.smallest_tolerance == learned.default_tolerance
    assert any("within a tolerance of" in line for line in words(learned))
    json.dumps(learned.record())


def with_greys(taken, scatter, seconds=None):
    """The photos as taken with a grey card whose linear RGB scatters so, at these times."""
    rng = np.random.default_rng(3)
    out = []
    for i, photo in enumerate(taken):
        grey = 0.18 * np.exp(rng.uniform(-scatter / 2, scatter / 2, 3))
        card = ReferenceReading(Reference("card", ()), frozenset(), neutral=tuple(grey))
        when = None if seconds is None else f"2026-05-01T10:00:{seconds[i]:02d}"
        out.append(replace(photo, references=(card,), taken_at=when))
    return out


@pytest.mark.parametrize(
    ("scatter", "seconds", "reasons"),
    [
        (0.02, range(12), []),
        (0.0008, range(12), ["greys agree to a thousandth"]),
        (0.02, [*range(9), 0, 1, 2], [f"{i}.jpg, {i + 9}.jpg were taken in" for i in range(3)]),
        (0.0, [7] * 12, ["and 9 more were taken in the same second (2026-05-01T10:00:07)"]),
    ],
)
def test_copies_of_one_shot_certify_nothing(scatter, seconds, reasons):
    learned = learned_from(with_greys(photos(0.01), scatter, seconds))
    assert len(learned.one_shot) == len(reasons)
    assert all(r in said for r, said in zip(reasons, learned.one_shot, strict=True))
    text = " ".join(words(learned))
    assert ("within a tolerance of" in text) == (not reasons)
    assert ("nothing is certified: set everything up anew" in text) == bool(reasons)
    record = learned.record()
    assert (record["smallest_tolerance"] is None) == bool(reasons)
    assert record["one_shot"] == list(learned.one_shot)


def test_what_copies_of_one_shot_say_is_kept_for_no_set_up(capsys, tmp_path, monkeypatch):
    from swatchvault import batch

    shots = iter(with_greys(photos(0.01), 0.0))
    measured = [batch.Outcome(batch.Job(Path("a.jpg")), shot) for shot in shots]
    monkeypatch.setattr(batch, "measure_many", lambda jobs: measured)
    told = ("repeat", "a.jpg", "--capture", "locked set-up", "--light", "daylight")
    ran = run(capsys, *told)
    assert ran.code == 0 and "They look like copies of one shot" in ran.out
    ran = run(capsys, *told, "--setup", "sill", "--archive", tmp_path / "none")
    assert ran.code == 1 and "nothing is kept for the set-up 'sill'" in ran.err


@pytest.mark.parametrize(
    ("made", "capture", "said"),
    [
        (photos(1.0, count=9), Capture.LOCKED, "needed 10"),
        (photos(1.0, names=("red", "blue")), Capture.LOCKED, "needed 4"),
        (photos(1.0), Capture.SAME_FRAME, "repeats teach"),
        (photos(1.0) + photos(1.0)[:1], Capture.LOCKED, "given twice"),
        ([], Capture.LOCKED, "same names"),
    ],
)
def test_too_little_is_refused_in_one_line(made, capture, said):
    with pytest.raises(CompareError, match=said):
        learned_from(made, capture)


def changed(taken, number, name, /, **changes):
    """The photos, one swatch of one of them changed; without ``changes`` it is not marked there."""
    photo = taken[number]
    kept = [s for s in photo.swatches if changes or s.name != name]
    seen = tuple(replace(s, **changes) if s.name == name else s for s in kept)
    return [*taken[:number], replace(photo, swatches=seen), *taken[number + 1 :]]


def test_a_reading_far_from_what_the_others_show_is_named():
    taken = photos(0.5)
    swapped = changed(changed(taken, 3, "red", name="held"), 3, "blue", name="red")
    swapped = changed(swapped, 3, "held", name="blue")
    learned = learned_from(swapped)
    told = [line for line in learned.to_be_said if "marked and named rightly" in line]
    assert len(told) == 2
    assert all(any(f"In 3.jpg '{name}' lies" in line for line in told) for name in ("red", "blue"))
    assert math.isnan(learned.smallest_tolerance) and learned.default_tolerance > 0
    text = " ".join(words(learned))
    assert "see why the photos differ so much" in text and "better reference" not in text
    for quiet in (taken, photos(3.0)):
        assert not any("lies" in line for line in learned_from(quiet).to_be_said)
    every = taken
    for number in range(5):
        every = changed(every, number, "red", lab=np.array([85.0 + number, 50.0, 25.0]))
    assert "So do 2 more." in learned_from(every).to_be_said


def test_a_photo_in_which_a_swatch_is_missing_is_named():
    with pytest.raises(CompareError, match=r"'red' is in 9 \(not in 3.jpg\) of the photos"):
        learned_from(changed(photos(1.0, count=10), 3, "red"))
    bare = photos(1.0, count=10)
    bare[4] = replace(bare[4], swatches=())
    with pytest.raises(CompareError, match=r"'blue' is in 9 \(not in 4.jpg\), 'green' is in 9"):
        learned_from(bare)
    enough = photos(1.0)
    enough[4] = replace(enough[4], swatches=())
    learned = learned_from(enough)
    assert len(learned.photos) == 11
    assert "Not counted, for it shows none of these swatches: 4.jpg." in learned.to_be_said


def test_what_no_lot_is_judged_on_teaches_nothing_and_other_flags_are_told(
    capsys, tmp_path, monkeypatch
):
    from swatchvault import batch

    stops = {"flags": frozenset({"clipped beyond use", "glare"})}
    two = changed(changed(photos(0.5), 1, "red", **stops), 2, "red", **stops)
    learned = learned_from(changed(two, 5, "blue", flags=frozenset({"glare", "no profile"})))
    line = "Left out, for no lot is judged on it, in so many photos: clipped beyond use (2)."
    assert line in learned.to_be_said
    assert learned.flags == {"glare", "no profile"}
    all_of_it = photos(0.5)
    for number, photo in enumerate(all_of_it):
        for seen in photo.swatches:
            all_of_it = changed(all_of_it, number, seen.name, **stops)
    with pytest.raises(CompareError, match=r"judged on stands in .*: clipped beyond use \(12\)"):
        learned_from(all_of_it)
    few = photos(0.5)
    for number in range(3):
        few = changed(few, number, "red", **stops)
    with pytest.raises(CompareError, match=r"'red' is in 9 \(not in .*beyond use \(3\)$"):
        learned_from(few)
    told = changed(photos(0.5), 5, "blue", flags=frozenset({"glare", "no profile"}))
    measured = [batch.Outcome(batch.Job(Path("a.jpg")), photo) for photo in told]
    monkeypatch.setattr(batch, "measure_many", lambda jobs: measured)
    ran = run(capsys, "repeat", "a.jpg", "--capture", "locked set-up", "--light", "daylight")
    assert "! glare: " in ran.out and "no profile" not in ran.out


def test_repeat_command_refuses_one_photo(capsys):
    ran = run(capsys, "repeat", STEPS, "--capture", "locked set-up")
    assert (ran.code, ran.err.count("\n")) == (1, 1)
