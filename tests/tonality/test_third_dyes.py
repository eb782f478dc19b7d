"""The third renderer: what its dye, its truth and its camera hold to."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from scipy.special import ndtr

from ingest.colour import D65, SRGB_TO_XYZ, delta_e_2000, lab_to_xyz, xyz_to_lab
from tests.tonality.photos import Seen, block_unevenness
from tests.tonality.third_camera import bands_to_raw, photograph, raw_to_rgb
from tests.tonality.third_draws import FORMS, draw
from tests.tonality.third_dyeing import SOLID_LEFT, Dyeing, Vat, dots, dye, dye_unevenness, patches
from tests.tonality.third_dyes import (
    DYES,
    absorption,
    bands_to_rgb,
    bands_to_xyz,
    colours,
    lab_of,
    reflect,
)
from tests.tonality.third_lay import lay
from tests.tonality.third_noise import smooth
from tests.tonality.third_recipes import sample
from tests.tonality.third_small import WOOL, drawn, only


def vat(recipes, cover_mm=(40.0, 30.0)):
    """A wound card to be dyed."""
    shape = tuple(int(n * 6.0) for n in cover_mm)
    rng = np.random.default_rng(1)
    laid = lay(rng, "wound card", shape, 6.0, 2.0, True)
    (table,) = colours(WOOL, recipes, [bands_to_xyz()])
    return Vat(rng, laid, 6.0, table, Dyeing(WOOL, "speckled", recipes))


def test_light_by_kubelka_and_munk():
    assert reflect(np.array(0.0)) == 1.0
    assert reflect(np.array(2.0)) == pytest.approx(3.0 - np.sqrt(8.0))
    for back in (0.05, 0.4, 0.9):
        assert reflect(np.array((1.0 - back) ** 2 / (2.0 * back))) == pytest.approx(back)
    assert (np.diff(reflect(np.linspace(0.0, 40.0, 200))) < 0.0).all()


@pytest.mark.parametrize("name", DYES)
def test_deeper_is_darker(name):
    lab = lab_of(WOOL, tuple(only(name, a) for a in (0.0, 0.1, 0.5, 2.0, 8.0)))
    assert (np.diff(lab[:, 0]) < 0.0).all()


def test_the_table_of_colours_says_what_the_bands_say():
    recipes = (only("blue"), only("lemon", 3.0))
    (table,) = colours(WOOL, recipes, [bands_to_xyz()])
    for first, second, share, depth in ((0, 0, 0.7, 0.0), (0, 1, 0.25, -0.8), (1, 0, 1.0, 1.2)):
        mixed = (1.0 - share) * absorption(recipes[first]) + share * absorption(recipes[second])
        want = reflect(WOOL.k_over_s() + np.exp(depth) * mixed) @ bands_to_xyz()
        at = [np.full((1, 1), n) for n in (first, second, share, depth)]
        assert delta_e_2000(xyz_to_lab(want), xyz_to_lab(table.at(*at)[0, 0])) < 0.05


def test_unevenness_of_two_halves_is_what_a_hand_works_out():
    """Two colours 2.0425 apart (the first pair of Sharma, Wu and Dalal 2005), half of the photo
    each: blocks beside the border take a little of the other, all others are as they were."""
    two = lab_to_xyz(np.array([[50.0, 2.6772, -79.7751], [50.0, 0.0, -82.7485]]))
    px = 16.0
    xyz = np.empty((640, 960, 3), np.float32)
    xyz[:, :480], xyz[:, 480:] = two
    other = ndtr((2.5 + 5.0 * np.arange(6)) / -(0.29 * 5.0))  # beyond the border, by distance
    blocks = np.concatenate(
        [(1.0 - other)[:, None] * a + other[:, None] * b for a, b in (two, two[::-1])]
    )
    want = delta_e_2000(xyz_to_lab(two.mean(axis=0)), xyz_to_lab(blocks)).mean()
    assert want == pytest.approx(2.0425 / 2.0, rel=0.03)
    yarn = np.ones(xyz.shape[:2], bool)
    assert dye_unevenness(xyz, yarn, px) == pytest.approx(want, rel=0.003)
    yarn[::7], yarn[:, ::9] = False, False
    xyz[~yarn] = 0.0  # gaps are no dye
    assert dye_unevenness(xyz, yarn, px) == pytest.approx(want, rel=0.003)


def test_squares_make_no_difference_to_unevenness():
    made = drawn("skein", hard=True)
    whole = block_unevenness(made.dyed.xyz, made.laid.yarn.astype(np.float32), made.px_per_mm)
    assert made.dyed.unevenness == pytest.approx(whole, rel=0.01)


@pytest.mark.parametrize("form", FORMS)
def test_a_solid_is_nearly_even_and_a_semi_solid_as_uneven_as_asked(form):
    assert drawn(form, "solid").dyed.unevenness < 0.25
    assert drawn(form).dyed.unevenness == pytest.approx(1.0, rel=0.1)


def test_a_solid_that_comes_out_uneven_is_evened_out():
    rng = np.random.default_rng(3)
    laid = lay(rng, "wound card", (180, 240), 6.0, 2.0, True)
    cloudy = 6.0 * smooth(rng, (180, 240), (12.0, 12.0), 6.0)
    made = dye(rng, Dyeing(WOOL, "solid", (only("plum"),)), laid, 6.0, cloudy, bands_to_rgb())
    assert made.unevenness == pytest.approx(SOLID_LEFT, rel=0.1)


def test_patches_meet_in_the_middle_and_no_recipe_follows_itself():
    run = np.linspace(0.0, 3000.0, 300_001)
    first, second, share = patches(np.random.default_rng(1), run, 3, (8.0, 30.0), 4.0)
    ends = np.flatnonzero(np.diff(first))
    assert set(np.unique(first)) == {0, 1, 2}
    lengths = np.diff(run[ends])
    assert lengths.min() > 7.9 and lengths.max() < 30.1  # none is two of the same
    assert np.allclose(share[ends], 0.5, atol=0.01) and (second[ends] == first[ends + 1]).all()
    assert all(share[(a + b) // 2] == 0.0 for a, b in pairwise(ends))


def test_dots_cover_what_is_asked():
    for cover in (0.05, 0.15):
        made = dots(vat((only("lemon"), only("navy"))), cover)
        assert made.min() >= 0.0 and made.max() <= 1.0
        assert (made > 90.0 / 255.0).mean() == pytest.approx(cover, abs=0.3 * cover)


def test_a_gradient_goes_one_way():
    made = drawn("wound card", "gradient")
    h, w = made.laid.yarn.shape
    light = np.log(made.dyed.xyz[..., 0] / made.dyed.xyz[..., 2])
    x, y = np.meshgrid(np.linspace(-1.0, 1.0, w), np.linspace(-1.0, 1.0, h))
    to = np.stack([x.ravel(), y.ravel(), np.ones(h * w)], axis=-1)
    plane = to @ np.linalg.lstsq(to, light.ravel(), rcond=None)[0]
    assert np.corrcoef(plane, light.ravel())[0, 1] > 0.85


def test_all_bands_together_are_white_to_eye_and_camera():
    assert np.allclose(bands_to_xyz().sum(axis=0), D65)
    assert np.allclose(bands_to_rgb().sum(axis=0), 1.0, atol=1e-3)
    for seed in range(12):
        raw = bands_to_raw(draw(seed, False).camera)
        assert np.allclose(raw.sum(axis=0), 1.0)
        assert np.allclose(raw_to_rgb(raw) @ np.ones(3), 1.0)


def test_the_camera_sees_most_colours_nearly_as_an_eye_does():
    back = sample()
    want = xyz_to_lab(back @ bands_to_xyz())
    for seed in range(6):
        raw = bands_to_raw(draw(seed, False).camera)
        rgb = np.maximum(back @ raw @ raw_to_rgb(raw).T, 0.0)
        found = xyz_to_lab(rgb @ SRGB_TO_XYZ.T)
        assert np.median(delta_e_2000(want, found)) < 3.0


def test_a_photo_of_a_flat_grey_reads_as_it_is():
    camera = replace(draw(1, False).camera, balance=(0.0, 0.0, 0.0), veil=0.0, bend=0.0, quality=95)
    matrix = raw_to_rgb(bands_to_raw(camera))
    grey = np.full((64, 64, 3), 0.3, np.float32)
    seen = Seen(*_photo(grey, matrix, camera))
    assert np.allclose(seen.linear.mean(axis=(0, 1)), 0.3, rtol=0.02)
    warm = replace(camera, balance=(0.1, 0.0, -0.1))
    red, _, blue = Seen(*_photo(grey, matrix, warm)).linear.mean(axis=(0, 1))
    assert red > 1.1 * blue


def _photo(signal_, matrix, camera):
    jpeg, exposure = photograph(np.random.default_rng(1), signal_, matrix, camera)
    return jpeg, 0.1, exposure, {}


def test_light_too_bright_for_the_sensor_is_held_back():
    camera = replace(draw(1, False).camera, exposure=1.0, lift=1.0)
    _, _, exposure, _ = _photo(np.full((64, 64, 3), 1.6, np.float32), np.eye(3), camera)
    assert 1.5 * exposure < 1.0
