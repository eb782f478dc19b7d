"""Pictures without hue or chroma: black and white refused, toned ones flagged."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageOps

import example_archive
from ingest.colourless import colour_flag
from ingest.decode import read_photo
from ingest.flags import FLAGS_THAT_STOP_A_VERDICT
from ingest.pipeline import measure_photo
from tests.render.camera import Shot
from tests.render.dye import Dyeing
from tests.render.objects import Card, Place, Swatch
from tests.render.scene import FileStyle, Scene, render, save
from tests.render.strands import Yarn
from tests.render.yarn import Lamp

DEMO = Path(example_archive.__file__).parent
TONED = "hardly any colour"


def saved(picture: Image.Image, folder: Path, quality: int = 90) -> Path:
    path = folder / "pear-3.jpg"
    picture.save(path, "JPEG", quality=quality)
    path.with_name("pear-3.marks.json").write_bytes((DEMO / "pear-3.marks.json").read_bytes())
    return path


def grey() -> Image.Image:
    return Image.open(DEMO / "pear-3.jpg").convert("L")


@pytest.mark.parametrize("quality", [85, 95])
@pytest.mark.parametrize("paper", [(255, 240, 200), (225, 235, 255)])
def test_a_toned_picture_is_flagged_and_stops_a_verdict(quality, paper, tmp_path):
    toned = ImageOps.colorize(grey(), (15, 10, 5), paper, mid=(140, 115, 85))
    found = measure_photo(saved(toned, tmp_path, quality))
    assert TONED in found.flags and TONED in FLAGS_THAT_STOP_A_VERDICT
    assert all(TONED in s.flags for s in found.swatches)


def test_one_coloured_pixel_does_not_make_a_colour_picture(tmp_path):
    pixels = np.array(grey().convert("RGB"))
    pixels[10, 10] = (255, 0, 0)
    path = tmp_path / "pear-3.png"
    Image.fromarray(pixels).save(path)
    assert colour_flag(read_photo(path)) == {TONED}


def test_16_bits_are_read_as_8(tmp_path):
    import cv2

    toned = np.asarray(ImageOps.colorize(grey(), (15, 10, 5), (255, 240, 200)))
    for name, pixels in (("eight.png", toned), ("sixteen.png", toned.astype(np.uint16) * 257)):
        ok, coded = cv2.imencode(".png", pixels[..., ::-1])
        assert ok
        (tmp_path / name).write_bytes(io.BytesIO(coded.tobytes()).getvalue())
        assert colour_flag(read_photo(tmp_path / name)) == {TONED}


@pytest.mark.parametrize("name", ["slate-1", "undyed-1", "undyed-2", "chalk", "pear-3"])
def test_quiet_colours_are_colours(name):
    assert not colour_flag(read_photo(DEMO / f"{name}.jpg"))


@pytest.mark.parametrize(
    "dyes",
    [{"Brackle brown": 0.5}, {"Marn blue": 0.4, "Brackle brown": 0.2}],
    ids=["brown", "slate"],
)
def test_dull_yarn_beside_one_card_is_no_toned_picture(dyes, tmp_path):
    """One hue at one lightness and greys at others, as in a toning that is not smooth."""
    yarn = Dyeing("wool", (tuple(dyes.items()),), "solid", 0.012)
    things = [Swatch("lot", Place(0, -30), "wound card", (60, 44), Yarn(), yarn, 5)]
    things.append(Card(Place(0, 44), (58.0, 40.0)))
    shot = Shot(tone="soft s", veil=0.006, read_noise=0.0025, full_well=9000.0)
    scene = Scene(tuple(things), shot, Lamp(215, 50, 0.55), "paper", 210.0, seed=5)
    save(tmp_path / "lot.jpg", render(scene), "srgb", FileStyle(92))
    assert not colour_flag(read_photo(tmp_path / "lot.jpg"))
