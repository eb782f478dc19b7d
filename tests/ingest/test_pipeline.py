"""The whole walk from files on disk: what comes out, and what is said when it cannot."""

import json
import math

import cv2
import numpy as np
import pytest

from ingest.colour import SRGB_TO_XYZ, srgb_to_linear
from ingest.errors import IngestError, MarksError, PhotoError, ReferenceMissing, SwatchError
from ingest.flags import FLAGS
from ingest.locate import as_marks
from ingest.model import Encoding, Layout, Settings, SwatchRegion
from ingest.pipeline import measure_decoded, measure_photo, preview, to_srgb
from tests.ingest.builders import (
    card_at,
    coded,
    paint,
    photo_of,
    photo_of_light,
    polygon,
    rgb_of_lab,
    scene,
    steps_at,
    steps_scene,
    swatch_at,
)

CARD = (20, 20, 120, 120)
NEW, MASTER = (150, 70, 240, 220), (250, 70, 340, 220)
LABS = {"new": (55.0, 40.0, 20.0), "master": (53.0, 42.0, 18.0)}


def picture(bits=8):
    """Steps along the top, a swatch and its master below; coded pixels and the layout."""
    light, boxes = steps_scene()
    paint(light, NEW, rgb_of_lab(LABS["new"]))
    paint(light, MASTER, rgb_of_lab(LABS["master"]))
    rng = np.random.default_rng(0)
    pixels = coded(light * (1.0 + 0.02 * rng.normal(size=light.shape)), bits)
    inner = [(x0 + 5, y0 + 5, x1 - 5, y1 - 5) for x0, y0, x1, y1 in (NEW, MASTER)]
    layout = Layout(
        (steps_at(boxes, pixels),),
        (swatch_at(inner[0], pixels, "new"), swatch_at(inner[1], pixels, "master")),
    )
    return pixels, layout


def save(folder, pixels, layout=None, name="lot.png"):
    path = folder / name
    assert cv2.imwrite(str(path), pixels[..., ::-1])
    if layout is not None:
        marks = as_marks(layout) if isinstance(layout, Layout) else layout
        (folder / "lot.marks.json").write_text(json.dumps(marks), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    return measure_photo(save(tmp_path_factory.mktemp("photos"), *picture()))


# --- what comes out ----------------------------------------------------------------------------


def test_two_swatches_of_one_photo_have_their_colours(measured):
    assert [s.name for s in measured.swatches] == ["new", "master"]
    for swatch in measured.swatches:
        assert np.allclose(swatch.lab, LABS[swatch.name], atol=0.3)
        assert swatch.reference == "steps"


def test_the_record_is_json_with_the_keys_that_others_rely_on(measured):
    record = json.loads(json.dumps(measured.record(), allow_nan=False))
    assert {"photo_sha256", "references", "swatches", "flags", "steps", "version"} <= set(record)
    (steps,) = record["references"]
    assert {"kind", "located", "patches"} <= set(steps)
    assert steps["kind"] == "steps" and steps["located"] == "marks"
    for patch in steps["patches"]:
        assert {"expected_lab", "corrected_lab", "left_out_lab"} <= set(patch)
        assert all(len(patch[k]) == 3 for k in ("expected_lab", "corrected_lab", "left_out_lab"))
    for swatch in record["swatches"]:
        assert {"name", "lab", "u_lab", "cov_lab", "tonality", "flags"} <= set(swatch)
        assert set(swatch["u_lab"]) == {"region", "frame", "setup", "profile"}
        for part, u in swatch["u_lab"].items():
            assert np.allclose(np.square(u), np.diag(swatch["cov_lab"][part]))
        assert swatch["mm_per_px"] is None and "scale unknown" in swatch["flags"]
        assert swatch["flags"] == sorted(swatch["flags"])


def test_the_record_names_the_file_by_its_own_hash(measured):
    from hashlib import sha256
    from pathlib import Path

    assert measured.sha256 == sha256(Path(measured.path).read_bytes()).hexdigest()


def test_every_flag_that_comes_out_is_in_the_registry(measured):
    found = set(measured.flags)
    for part in (*measured.swatches, *measured.references):
        found |= part.flags
    assert found and found <= set(FLAGS)


def test_the_files_own_flags_reach_every_swatch(measured):
    assert "no profile" in measured.flags
    assert all("no profile" in s.flags for s in measured.swatches)


def test_a_photo_whose_marks_name_no_swatch_measures_none(tmp_path):
    pixels, layout = picture()
    found = measure_photo(save(tmp_path, pixels, Layout(layout.references)))
    assert found.swatches == () and len(found.references) == 1
    assert json.loads(json.dumps(found.record(), allow_nan=False))["swatches"] == []


def test_a_layout_given_in_the_call_goes_before_the_file_beside(tmp_path):
    pixels, layout = picture()
    path = save(tmp_path, pixels, Layout(layout.references))
    found = measure_photo(path, layout=Layout(layout.references, layout.swatches[:1]))
    assert [s.name for s in found.swatches] == ["new"]


def test_the_scale_in_the_marks_reaches_the_swatch(tmp_path):
    pixels, layout = picture()
    marks = as_marks(layout) | {"scale": {"from": [0.0, 0.5], "to": [1.0, 0.5], "mm": 72.0}}
    found = measure_photo(save(tmp_path, pixels, marks))
    assert found.swatches[0].mm_per_px == pytest.approx(72.0 / 360)
    assert not any("scale unknown" in s.flags for s in found.swatches)
    marks["swatches"][0]["across_mm"] = 90.0
    found = measure_photo(save(tmp_path, pixels, marks))
    scales = [s.mm_per_px for s in found.swatches]
    assert scales == pytest.approx([90.0 / 360, *[72.0 / 360] * (len(scales) - 1)])


def test_measuring_twice_gives_the_same_figures(measured):
    assert measure_photo(measured.path).record() == measured.record()


def test_without_a_reference_only_on_purpose():
    pixels, layout = picture()
    photo = photo_of(pixels)
    bare = Layout((), layout.swatches)
    with pytest.raises(ReferenceMissing):
        measure_decoded(photo, bare, Settings(search=False))
    found = measure_decoded(photo, bare, Settings(search=False, allow_uncorrected=True))
    assert all("no reference" in s.flags for s in found.swatches)
    assert (
        measure_decoded(photo, None, Settings(search=False, allow_uncorrected=True)).swatches == ()
    )


# --- what is said ------------------------------------------------------------------------------


def one_line(caught, name):
    message = str(caught.value)
    assert message.startswith(f"{name}: ") and "\n" not in message
    return message


def test_marks_that_cannot_be_right_name_the_photo_first(tmp_path):
    pixels, _ = picture()
    path = save(tmp_path, pixels, {"swatches": [{"name": "a", "polygon": []}]})
    with pytest.raises(MarksError) as caught:
        measure_photo(path)
    assert "lot.marks.json: swatch 1: found 0 corners" in one_line(caught, "lot.png")


def test_a_card_that_says_nothing_names_the_photo_first(tmp_path):
    light = scene()
    paint(light, CARD, (1.5, 1.5, 1.5))
    paint(light, NEW, rgb_of_lab(LABS["new"]))
    pixels = coded(light)
    path = save(tmp_path, pixels, Layout((card_at(CARD, pixels),)))
    with pytest.raises(ReferenceMissing) as caught:
        measure_photo(path)
    assert "clipped" in one_line(caught, "lot.png")


def test_a_swatch_too_small_names_the_photo_first(tmp_path):
    pixels, layout = picture()
    small = SwatchRegion("dot", polygon((200, 100, 210, 110), pixels))
    path = save(tmp_path, pixels, Layout(layout.references, (small,)))
    with pytest.raises(SwatchError) as caught:
        measure_photo(path)
    assert "'dot' is 10 x 10 pixels" in one_line(caught, "lot.png")


@pytest.mark.parametrize(("card", "far"), [(0.18, False), (0.15, False), (0.05, True)])
def test_yarn_lighter_than_any_tells_that_no_card_was_marked(tmp_path, card, far):
    light = scene()
    paint(light, CARD, (card,) * 3)
    paint(light, NEW, (0.7, 0.6, 0.5))
    pixels = coded(light)
    layout = Layout((card_at(CARD, pixels),), (swatch_at(NEW, pixels, "new"),))
    (found,) = measure_photo(save(tmp_path, pixels, layout)).swatches
    assert ("reference far off" in found.flags) is far
    assert not far or not {"fluorescent", "perhaps fluorescent"} & found.flags


@pytest.mark.parametrize("bits", [8, 16])
def test_a_black_and_white_picture_is_refused_and_one_grey_pixel_short_of_it_is_not(tmp_path, bits):
    pixels, layout = picture(bits)
    grey = np.repeat(pixels[..., 1:2], 3, axis=2)
    with pytest.raises(PhotoError) as caught:
        measure_photo(save(tmp_path, grey, layout))
    assert "black and white" in one_line(caught, "lot.png")
    grey[5, 7, 2] -= 1  # off the pixels that are looked at first
    assert measure_photo(save(tmp_path, grey, layout)).swatches


@pytest.mark.parametrize("content", [b"", b"not a picture", b"\x89PNG\r\n\x1a\n" + b"\0" * 40])
def test_a_file_that_is_no_photo_names_itself_first(tmp_path, content):
    path = tmp_path / "lot.png"
    path.write_bytes(content)
    with pytest.raises(PhotoError) as caught:
        measure_photo(path)
    one_line(caught, "lot.png")


def test_a_file_that_is_not_there_names_itself_first(tmp_path):
    with pytest.raises(PhotoError) as caught:
        measure_photo(tmp_path / "gone.jpg")
    one_line(caught, "gone.jpg")


def test_a_name_with_a_line_break_is_still_one_line(tmp_path):
    pixels, _ = picture()
    path = save(tmp_path, pixels, name="lot\n2.png")
    (tmp_path / "lot\n2.marks.json").write_text("[]", encoding="utf-8")
    with pytest.raises(IngestError) as caught:
        measure_photo(path)
    assert "\n" not in str(caught.value)


# --- the preview -------------------------------------------------------------------------------


@pytest.mark.parametrize("bits", [8, 16])
def test_the_preview_is_8_bit_srgb_of_640_at_most(bits):
    light = np.linspace(0.02, 0.9, 900)[None, :, None] * np.ones((600, 1, 3))
    small = preview(photo_of_light(light, bits))
    assert small.dtype == np.uint8 and small.shape == (427, 640, 3)
    assert abs(int(small[200, 320, 0]) - int(coded(light)[300, 450, 0])) <= 1
    tiny = preview(photo_of_light(scene(50, 60), bits))
    assert tiny.shape == (50, 60, 3) and tiny.dtype == np.uint8


def test_the_preview_of_another_encoding_is_converted():
    # Twice as steep a code: linear light of v**2, in primaries with red and green changed over.
    codes = np.arange(256) / 255.0
    swapped = Encoding(
        "made",
        np.repeat((codes**2)[:, None], 3, axis=1).astype(np.float32),
        SRGB_TO_XYZ[:, [1, 0, 2]],
    )
    pixels = np.full((20, 30, 3), (200, 100, 50), np.uint8)
    found = srgb_to_linear(to_srgb(pixels, swapped)[0, 0] / 255.0)
    assert np.allclose(found, (np.array([100, 200, 50]) / 255.0) ** 2, atol=0.004)
    assert not math.isnan(found.sum())
