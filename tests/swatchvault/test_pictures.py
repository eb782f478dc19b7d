"""What was located, drawn over the photo: labels that can be read wherever they lie."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from ingest.model import Layout, Reference, SwatchRegion
from ingest.rendition import Rendition
from swatchvault.pictures import draw_layout, not_as_it_was, save_rendition
from tests.ingest.builders import photo_of

SHAPES = {"a phone's": (900, 1200), "a web page's": (200, 300), "upright": (300, 90)}


def box(x0, y0, x1, y1):
    return ((x0, y0), (x1, y0), (x1, y1), (x0, y1))


def changed(shape, layout, without):
    """Rows and columns where a label changes the drawing of a white photo, and the drawing."""
    photo = photo_of(np.full((*shape, 3), 255, np.uint8))
    drawn = draw_layout(photo, layout)
    rows, columns = np.nonzero((drawn != draw_layout(photo, without)).any(axis=2))
    return rows, columns, drawn


@pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)
@pytest.mark.parametrize("at", [(0.0, 0.0), (0.85, 0.45), (0.6, 0.85)])
def test_a_label_lies_whole_in_the_picture_white_on_black(shape, at):
    x, y = at
    place = box(x, y, x + 0.14, y + 0.14)
    layouts = (Layout((), (SwatchRegion(name, place),)) for name in ("new lot", ""))
    rows, columns, drawn = changed(shape, *layouts)
    label = drawn[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1]
    assert label.shape[1] > 2 * label.shape[0] > 16
    assert (label == 0).all(axis=2).mean() > 0.4 and (label == 255).all(axis=2).mean() > 0.05
    assert not label[:, [0, 1, -2, -1]].any()  # no letter is cut at either side


def test_a_charts_label_stands_above_its_corners_and_over_no_patch():
    corners = box(0.3, 0.3, 0.7, 0.6)
    patches = tuple(box(0.32 + 0.06 * i, 0.32, 0.36 + 0.06 * i, 0.38) for i in range(6))
    chart = Reference("chart24", patches, corners=corners)
    rows, _, drawn = changed((900, 1200), Layout((chart,), ()), Layout((), ()))
    label = drawn[rows.min() : int(0.3 * 900) - 4]
    assert (label == 0).all(axis=2).sum() > 1000
    inside = drawn[int(0.33 * 900) : int(0.37 * 900), int(0.325 * 1200) : int(0.355 * 1200)]
    assert (inside == 255).all()


@pytest.mark.parametrize("name", ["out.jpg", "out.png"])
@pytest.mark.parametrize(
    ("outside", "cut", "said"),
    [
        (0.0, 0.0, []),
        (0.0, 0.0005, []),
        (
            0.00002,
            0.0,
            ["under 0.01% of the picture is outside srgb, shown as a fine grey chequer"],
        ),
        (
            0.0833,
            0.0337,
            ["8.33% of the picture is outside srgb", "in 3.37% of the picture the photo"],
        ),
        (0.0, 0.5, ["in 50.00% of the picture the photo's own file has a channel at the end"]),
    ],
)
def test_what_is_not_as_it_was_stands_in_the_picture_itself(tmp_path, name, outside, cut, said):
    picture = Rendition(np.zeros((8, 8, 3), np.uint8), "srgb", outside, cut)
    save_rendition(tmp_path / name, picture, "photo.jpg")
    described = Image.open(tmp_path / name).getexif().get(270, "")
    assert len(not_as_it_was(picture)) == len(said)
    assert described == "; ".join(not_as_it_was(picture))
    assert all(words in described for words in said)
    assert not_as_it_was(replace(picture, cut=None)) == not_as_it_was(replace(picture, cut=0.0))
