"""The mat's own bare paper tells how the light changes over it, however small it lies."""

from __future__ import annotations

import numpy as np
import pytest

from ingest.mat import mat
from ingest.model import Settings
from ingest.pipeline import measure_decoded
from ingest.surround import Surround, surround_light
from tests.render import mat as renders

Y = tuple(0.9 * 0.55**j for j in range(6))


def on_the_mat(kind, light=None, fill=0.6):
    """A photo of one yarn on every place; ``light``: a factor of it, from 0 to 1 across."""
    sheet = mat("A4")
    paper = renders.draw_sheet(sheet)
    for name, place in sheet.places.items():
        if name == "reference":
            renders.lay_reference(paper, place, kind, np.random.default_rng(5))
            continue
        look = renders.yarn(
            round(place.height * 6.8),
            round(place.width * 6.8),
            np.array([0.13, 0.19, 0.33]),
            np.random.default_rng(8),
        )
        renders._lay(paper, place.grown(-0.05 * place.height), look)
    if light is not None:
        paper = paper * light(np.linspace(0, 1, paper.shape[1])[None, :, None]).astype(np.float32)
    rng = np.random.default_rng(11)
    at = renders.pose(sheet, rng, long_side=1600, tilt_deg=8, fill=(fill, fill))
    return renders.as_photo(renders.view_of(paper, at, rng, 0.0))


def measured(photo):
    found = measure_decoded(photo, None, Settings(steps_y=Y))
    labs = np.array([s.lab for s in found.swatches])
    assert len(labs) == 5
    return found.flags, float(np.ptp(labs[:, 0]))


@pytest.mark.parametrize("kind", ["card", "steps"])
def test_light_that_falls_off_is_divided_out(kind):
    flags, apart = measured(on_the_mat(kind, lambda x: 1.0 - 0.5 * x))
    assert "light field corrected" in flags
    assert apart < 2.0  # 9 to 10 where it is not


def test_light_of_two_colours_is_told():
    def lamp(x):
        return 0.8 * np.concatenate([1 + 0.3 * x, 1 + 0 * x, 1 - 0.4 * x], axis=2)

    assert "light of two colours" in measured(on_the_mat("card", lamp))[0]
    assert "light of two colours" not in measured(on_the_mat("card"))[0]


def square(x, y, half):
    return ((x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half))


def test_pieces_of_paper_too_small_or_to_one_side_tell_nothing():
    pixels = np.full((480, 640, 3), 180, np.uint8)
    photo = renders.as_photo(pixels)
    places = tuple(square(x, y, 0.02) for x in (0.3, 0.7) for y in (0.3, 0.7))

    def field(*sheets):
        around = Surround(places, sheets)
        to_xyz = photo.encoding.to_xyz
        return surround_light(photo, photo.encoding.curve, to_xyz, around, places[0]).field

    corners = [(x, y) for x in (0.2, 0.8) for y in (0.2, 0.8)]
    assert field(*(square(x, y, 0.04) for x, y in corners)) is not None
    assert field(*(square(x, y, 0.006) for x, y in corners)) is None
    assert field(square(0.9, 0.9, 0.08)) is None
