"""Two photos of one reference under unlike light and exposure: corrected, they agree."""

import io
from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms

from ingest.colour import SRGB_TO_XYZ, delta_e_2000, srgb_to_linear, xyz_to_lab
from ingest.decode import read_photo
from ingest.locate import read_marks
from ingest.model import Settings
from swatchvault.corrected import corrected_jpeg, preview_jpeg
from swatchvault.errors import NotFound

EXAMPLE = Path(str(files("example_archive")))
NAMES = ("harbour-1", "furrow-1")


def steps_seen(jpeg, name):
    """Lab of each neutral step's middle in a picture of the whole photo."""
    pixels = np.asarray(Image.open(io.BytesIO(jpeg)).convert("RGB"))
    height, width = pixels.shape[:2]
    out = []
    for patch in read_marks(EXAMPLE / f"{name}.marks.json").references[0].patches:
        x, y = (np.mean(patch, axis=0) * [width, height]).astype(int)
        part = pixels[y - 4 : y + 5, x - 4 : x + 5] / 255.0
        out.append(xyz_to_lab(SRGB_TO_XYZ @ srgb_to_linear(part).mean(axis=(0, 1))))
    return np.array(out)


def corrected(name, **named):
    path = EXAMPLE / f"{name}.jpg"
    return corrected_jpeg(
        path, read_marks(path.with_suffix(".marks.json")), Settings(), 800, **named
    )


def test_the_same_steps_look_the_same_when_corrected():
    as_taken = [steps_seen(preview_jpeg(EXAMPLE / f"{n}.jpg", 800), n) for n in NAMES]
    as_shown = [steps_seen(corrected(n), n) for n in NAMES]
    assert delta_e_2000(*as_taken).max() > 3.0
    assert delta_e_2000(*as_shown).max() < 1.2


def test_a_region_is_cut_out():
    whole, part = (
        Image.open(io.BytesIO(b))
        for b in (corrected("harbour-2"), corrected("harbour-2", region="new"))
    )
    assert whole.size == (800, 600)
    marked = read_marks(EXAMPLE / "harbour-2.marks.json").swatches
    (across, down) = np.ptp(np.array(next(s.polygon for s in marked if s.name == "new")), axis=0)
    share = part.size[0] / part.size[1]
    long, short = across * 1600, down * 1200
    assert share == pytest.approx(1.16 * long / (short + 0.16 * long), rel=0.03)


def test_an_unknown_region_is_told():
    with pytest.raises(NotFound, match="has no region 'nope'; it has 'new', 'master'"):
        corrected("harbour-2", region="nope")


def test_without_a_reference_it_is_the_cameras_own():
    path = EXAMPLE / "harbour-2.jpg"
    bare = replace(read_marks(EXAMPLE / "harbour-2.marks.json"), references=())
    steps = read_marks(EXAMPLE / "harbour-2.marks.json").references[0]
    found = corrected_jpeg(path, bare, Settings(steps_y=steps.y), 800)  # which a search would find
    truth = steps_seen(preview_jpeg(path, 800), "harbour-2")
    assert delta_e_2000(steps_seen(found, "harbour-2"), truth).max() < 1.0


def test_it_is_known_as_ours_when_it_comes_back(tmp_path):
    for made in (corrected("harbour-2"), preview_jpeg(EXAMPLE / "harbour-2.jpg", 800)):
        (tmp_path / "saved.jpg").write_bytes(made)
        assert "picture by this program" in read_photo(tmp_path / "saved.jpg").flags
    assert "picture by this program" not in read_photo(EXAMPLE / "harbour-2.jpg").flags


def test_it_carries_its_profile():
    profile = Image.open(io.BytesIO(corrected("harbour-2"))).info["icc_profile"]
    assert "sRGB" in ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(profile)))
