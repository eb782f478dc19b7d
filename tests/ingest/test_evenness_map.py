"""The map of deviation and of the palette, the picture beside it, focus, and seams."""

from dataclasses import replace

import numpy as np
import pytest

from ingest.colour import SRGB_TO_XYZ, delta_e_2000, linear_to_srgb, xyz_to_lab
from ingest.evenness_axes import mcdm
from ingest.evenness_cells import as_cells, blocks, sum_to_cells, weighed
from ingest.evenness_doubt import Ends
from ingest.evenness_figures import about_strands, figures, sharpness, strands_alike
from ingest.evenness_light import light_and_shade
from ingest.evenness_map import STEPS, EvennessMap, look_closely, map_of, region_picture, tenths_of
from ingest.evenness_seam import has_seam
from ingest.measure import measure_region
from ingest.model import Settings
from ingest.tonality import measure_tonality
from tests.ingest.builders import as_it_is, photo_of_light, polygon, swatch_at
from tests.render.dye import Dyeing
from tests.tonality.draws import draw
from tests.tonality.photos import render

ONE, OTHER = np.array([0.30, 0.12, 0.08]), np.array([0.10, 0.20, 0.30])
MM = 0.125


def to_xyz(rgb):
    return np.asarray(rgb, dtype=float) @ SRGB_TO_XYZ.T


def examined(light, mask=None, mm=MM):
    mask = np.ones(light.shape[:2], bool) if mask is None else mask
    cells = as_cells(*sum_to_cells(light.astype(np.float32), mask, 1), mm, 1)
    return cells, figures(cells, to_xyz)


def mapped(light, mask=None):
    return map_of(*examined(light, mask))


def grain(shape, sd=0.01, seed=2):
    return np.exp(np.random.default_rng(seed).normal(0.0, sd, (*shape, 1)))


def halves(share=0.5):
    """Two colours side by side, 48 x 32 mm."""
    light = np.tile(ONE, (256, 384, 1))
    light[:, round(384 * share) :] = OTHER
    return light * grain(light.shape[:2])


def patches():
    """A smooth field of more and less dye."""
    import cv2

    noise = np.random.default_rng(5).normal(size=(256, 384)).astype(np.float32)
    noise = cv2.GaussianBlur(noise, (0, 0), 40.0)
    return ONE * np.exp(0.08 * (noise / noise.std())[..., None] * [0.2, 1.0, 0.8])


# --- the map -----------------------------------------------------------------------------------


def test_map_and_tenths_stand_on_the_mean_of_all_yarn():
    # Strands 2 mm wide in deep shade, so that crests and all yarn are not the same.
    strands = np.abs(np.sin(np.pi * np.arange(384) * MM / 2.0))[None, :, None]
    cells, found = examined(patches() * (0.3 + 0.7 * strands))
    assert found.shade.contrast > 0.2
    shown = map_of(cells, found)
    assert shown.mean == pytest.approx(found.plain.mcdm, abs=1e-6)
    assert np.isfinite(shown.deviation).sum() == len(found.plain.lab)
    own = found.plain.mean_lab[0]  # the swatch's own colour is the mean of all yarn
    assert found.crest.lab[:, 0].min() > own + 1.0
    assert shown.tenths[0, 0] > own > shown.tenths[2, 0]
    assert shown.tenths[1, 0] == pytest.approx(own, abs=0.5)


def test_a_block_is_its_difference_from_the_mean_worked_out_elsewhere():
    light = patches()
    cells, found = examined(light)
    shown = map_of(cells, found)
    # The block in the middle, summed here with the same Gaussian weight.
    row, column = (n // 2 for n in shown.deviation.shape)
    x, y = (shown.first_mm[k] + (column, row)[k] * shown.step_mm for k in (0, 1))
    ys, xs = ((np.arange(n) + 0.5) * MM for n in light.shape[:2])
    weight = np.exp(-0.5 * (((ys - y) / 1.45)[:, None] ** 2 + ((xs - x) / 1.45)[None] ** 2))
    block = (light * weight[..., None]).sum(axis=(0, 1)) / weight.sum()
    mean = blocks(cells, (weighed(cells, np.ones(light.shape[:2], np.float32)),))[0].light.mean(
        axis=0
    )
    want = float(delta_e_2000(xyz_to_lab(to_xyz(mean)), xyz_to_lab(to_xyz(block))))
    assert shown.deviation[row, column] == pytest.approx(want, abs=0.02)


def test_two_colours_lie_where_they_were_put():
    shown = mapped(halves(0.7))
    assert len(shown.shares) == 2
    assert shown.shares == pytest.approx([0.7, 0.3], abs=0.02)
    width = shown.which.shape[1]
    assert (shown.which[:, : round(0.68 * width)] == 0).all()
    assert (shown.which[:, round(0.72 * width) :] == 1).all()
    for lab, light in zip(shown.colours, (ONE, OTHER), strict=True):
        assert float(delta_e_2000(lab, xyz_to_lab(to_xyz(light)))) < 0.5


def test_beside_the_yarn_the_map_is_empty():
    light = patches()
    mask = np.ones(light.shape[:2], bool)
    mask[:128, 192:] = False
    light[~mask] = (5.0, 0.0, 5.0)
    shown = mapped(light, mask)
    rows, columns = shown.deviation.shape
    assert np.isnan(shown.deviation[: rows // 2 - 1, columns // 2 + 1 :]).all()
    assert np.isfinite(shown.deviation[rows // 2 + 1 :]).all()
    assert (shown.which[: shown.which.shape[0] // 2 - 1, shown.which.shape[1] // 2 + 1 :] < 0).all()


def test_a_turned_swatch_has_a_turned_map():
    light = patches()
    one, turned = mapped(light), mapped(np.ascontiguousarray(np.rot90(light)))
    assert np.allclose(np.rot90(one.deviation), turned.deviation, atol=1e-3)
    assert turned.size_mm == pytest.approx(one.size_mm[::-1])


def test_steps_and_their_shares():
    made = np.array([[0.0, 0.49, 0.5, np.nan], [1.99, 2.0, 7.9, 80.0]])
    shown = EvennessMap(
        *(made, (0.0, 0.0), 2.5, (10.0, 5.0), np.zeros((5, 10), int), 1.0),
        *(np.zeros((1, 3)), np.ones(1)),
    )
    assert shown.steps().tolist() == [[0, 0, 1, -1], [2, 3, 4, 5]]
    assert shown.step_shares() == pytest.approx([2 / 7, 1 / 7, 1 / 7, 1 / 7, 1 / 7, 1 / 7])
    assert len(shown.step_shares()) == len(STEPS) + 1


def test_tenths_are_means_of_the_lightest_middle_and_darkest_blocks():
    rng = np.random.default_rng(4)
    labs = np.stack([np.arange(40.0, 80.0), rng.normal(size=40), rng.normal(size=40)], axis=-1)
    light, middle, dark = tenths_of(labs[rng.permutation(40)])
    assert light == pytest.approx(labs[36:].mean(axis=0))
    assert middle == pytest.approx(labs[18:22].mean(axis=0))
    assert dark == pytest.approx(labs[:4].mean(axis=0))
    assert tenths_of(labs[:9]) is None
    shown = mapped(patches())
    assert shown.tenths[0, 0] > shown.tenths[1, 0] > shown.tenths[2, 0]


def test_a_close_look_says_what_the_measure_says():
    photo = photo_of_light(patches(), 16)
    region = swatch_at((4, 4, 380, 250), photo.pixels)
    correction = as_it_is(photo)
    measured = measure_region(photo, region, correction, Settings(), MM)
    look = look_closely(photo, region, correction, MM, measured.clipped_share)
    assert look.examined.tonality.record() == measured.tonality
    assert look.map is not None


def test_a_region_too_small_for_a_class_has_no_map():
    photo = photo_of_light(patches()[:40, :40], 16)
    region = swatch_at((0, 0, 40, 40), photo.pixels)
    look = look_closely(photo, region, as_it_is(photo), MM)
    assert look.map is None
    assert look.examined.tonality.name is None


# --- the picture -------------------------------------------------------------------------------


@pytest.mark.parametrize("side", [900, 100, 37])
def test_the_picture_is_the_region_summed_as_light(side):
    light = np.ones((300, 400, 3)) * [0.5, 0.4, 0.3]
    light *= np.linspace(0.2, 1.0, 300)[:, None, None] * np.linspace(0.5, 1.0, 400)[None, :, None]
    photo = photo_of_light(light, 16)
    picture = region_picture(photo, polygon((40, 60, 340, 260), light), as_it_is(photo), side)
    assert picture.shape[:2] == (round(min(side, 300) / 1.5), min(side, 300))
    middle, corner = light[159:161, 189:191].mean(axis=(0, 1)), light[60, 40]
    half = [n // 2 for n in picture.shape[:2]]
    assert picture[half[0], half[1]] == pytest.approx(linear_to_srgb(middle) * 255.0, abs=2.0)
    assert picture[0, 0] == pytest.approx(linear_to_srgb(corner) * 255.0, abs=400.0 / side + 0.6)


def test_fine_stripes_come_out_as_light_and_not_as_codes():
    light = np.zeros((200, 200, 3))
    light[:, ::2] = 0.8
    photo = photo_of_light(light, 16)
    whole = polygon((0, 0, 200, 200), photo.pixels)
    picture = region_picture(photo, whole, as_it_is(photo), 50)
    assert picture.mean() == pytest.approx(255.0 * float(linear_to_srgb(0.4)), abs=1.0)


# --- focus -------------------------------------------------------------------------------------

SOLID = Dyeing("wool", ((("Pellow red", 0.5), ("Brackle brown", 0.15)),), "solid", 0.008, 20.0)


def in_focus(seed, form, blur_mm, px_per_mm=10.0):
    """A flat, softly lit solid, blurred before the sensor's noise as a lens blurs it."""
    case = draw(seed, False, "solid")
    blur = float(np.hypot(case.blur_px, blur_mm * px_per_mm))
    case = replace(case, form=form, px_per_mm=px_per_mm, blur_px=blur, size_mm=(48.0, 36.0))
    seen = render(case)
    return measure_tonality(
        seen.linear, np.ones(seen.linear.shape[:2], bool), seen.mm_per_px, to_xyz
    )


@pytest.mark.parametrize("form", ["skein", "knit"])
def test_a_blur_of_a_third_of_a_millimetre_is_out_of_focus(form):
    sharp, blurred = (in_focus(8_000_003, form, mm) for mm in (0.0, 0.4))
    assert "out of focus" not in sharp.flags and sharp.name == "solid"
    assert "out of focus" in blurred.flags and blurred.name is None


def test_paper_that_a_blur_smears_over_the_edge_does_not_make_it_sharp():
    import cv2

    seen = render(replace(draw(8_000_003, False, "solid"), form="knit"))
    border, blur = round(4.0 / seen.mm_per_px), 1.5 / seen.mm_per_px
    paper = {"borderType": cv2.BORDER_CONSTANT, "value": [0.86] * 3}
    on_paper = cv2.copyMakeBorder(seen.linear, *(border,) * 4, **paper)
    edge = border + round(1.0 / seen.mm_per_px)
    for picture, stopped in ((on_paper, False), (cv2.GaussianBlur(on_paper, (0, 0), blur), True)):
        yarn = picture[edge:-edge, edge:-edge]
        whole = np.ones(yarn.shape[:2], bool)
        found = measure_tonality(yarn, whole, seen.mm_per_px, to_xyz)
        assert ("out of focus" in found.flags) is stopped


def test_noise_does_not_make_a_blurred_photo_sharp():
    import cv2

    rng = np.random.default_rng(3)
    ln = cv2.GaussianBlur(rng.normal(size=(300, 400)).astype(np.float32), (0, 0), 3.0)
    ln = 0.3 * ln / ln.std()
    for sd in (0.0, 0.05, 0.15):
        light = ONE * np.exp((ln + rng.normal(0.0, sd, ln.shape))[..., None])
        cells = as_cells(light.astype(np.float32), np.ones(ln.shape, np.float32), 0.15, 1)
        alike = strands_alike(about_strands(cells, light_and_shade(cells, to_xyz)))
        assert sharpness(alike, 0.15) < 1.0
    only = ONE * np.exp(rng.normal(0.0, 0.1, (*ln.shape, 1)))
    cells = as_cells(only.astype(np.float32), np.ones(ln.shape, np.float32), 0.15, 1)
    assert np.isnan(
        sharpness(strands_alike(about_strands(cells, light_and_shade(cells, to_xyz))), 0.15)
    )


# --- seams -------------------------------------------------------------------------------------


def lab_field(step, sd=1.0, along=0):
    """Cells (36, 48) of one colour with noise, and a step in a* from column 30 on."""
    rng = np.random.default_rng(11)
    lab = np.array([50.0, 20.0, 5.0]) + rng.normal(0.0, sd, (36, 48, 3))
    lab[along:, 30:, 1] += step
    return lab


@pytest.mark.parametrize(("step", "seam"), [(0.0, False), (1.0, False), (4.0, True), (12.0, True)])
def test_a_step_all_along_a_line_is_a_seam(step, seam):
    assert has_seam(lab_field(step)) is seam
    assert has_seam(lab_field(step).transpose(1, 0, 2)) is seam


def test_a_patch_or_a_slope_is_no_seam():
    assert not has_seam(lab_field(8.0, along=15))
    slope = lab_field(0.0)
    slope[..., 1] += np.linspace(0.0, 30.0, 48)
    assert not has_seam(slope)


def test_a_seam_between_patchy_readings_is_one():
    lab = lab_field(6.0)
    lab[np.random.default_rng(5).random(lab.shape[:2]) < 0.3] = np.nan
    assert has_seam(lab) and has_seam(lab.transpose(1, 0, 2))


def test_unread_cells_do_not_make_a_seam():
    lab = lab_field(0.0)
    lab[:, 30:34] = np.nan
    lab[::3] = np.nan
    assert not has_seam(lab)


def test_two_swatches_a_few_units_apart_are_no_semi_solid():
    def solid(seed):
        case = replace(draw(seed, False, "solid"), form="wound card", dyeing=SOLID, px_per_mm=8.0)
        return render(replace(case, size_mm=(48.0, 36.0)))

    one, other = solid(8_100_001), solid(8_100_001)
    both = one.linear.copy()
    both[:, 192:] = other.linear[:, 192:] * np.float32([0.92, 1.08, 1.0])
    mask = np.ones(both.shape[:2], bool)
    found = measure_tonality(both, mask, one.mm_per_px, to_xyz)
    assert "perhaps two swatches" in found.flags and found.name is None
    alone = measure_tonality(one.linear, mask, one.mm_per_px, to_xyz)
    assert alone.name == "solid"


def test_clipped_highlights_are_not_called_speckles():
    case = replace(draw(8_200_001, False, "solid"), form="wound card", dyeing=SOLID, px_per_mm=8.0)
    seen = render(replace(case, size_mm=(48.0, 36.0)))
    light = seen.linear.copy()
    rng = np.random.default_rng(6)
    for y, x in zip(rng.integers(0, 280, 70), rng.integers(0, 376, 70), strict=True):
        light[y : y + 7, x : x + 7] = 1.0
    mask = np.ones(light.shape[:2], bool)
    spots = measure_tonality(light, mask, seen.mm_per_px, to_xyz)
    clipped = measure_tonality(light, mask, seen.mm_per_px, to_xyz, Ends(0.02))
    assert spots.name == "speckled"
    assert clipped.name is None and "evenness not judged" in clipped.flags


# --- MCDM --------------------------------------------------------------------------------------


def test_mcdm_of_three_samples_worked_by_hand():
    # Grey samples L* 40, 50, 60, mean 50. The pairs' mean L* are 45, 50, 55, so (L - 50)^2 is 25,
    # 0, 25 and SL = 1 + 0.015 * 25 / sqrt(45) = 1.055902 (Sharma et al. 2005, equation 18);
    # MCDM = (10 / 1.055902 + 0 + 10 / 1.055902) / 3 = 6.313715.
    lab = np.array([[40.0, 0, 0], [50.0, 0, 0], [60.0, 0, 0]])
    assert mcdm(lab) == pytest.approx(6.313715, abs=1e-5)
