"""The parts under tonality: MCDM by hand, cells, the light line, the rule as tables."""

from dataclasses import replace

import numpy as np
import pytest

from ingest import evenness_colours
from ingest.colour import SRGB_TO_XYZ, difference_terms, xyz_to_lab
from ingest.evenness_axes import PIECE, axes, light_line, mcdm, spread
from ingest.evenness_cells import as_cells, blocks, cell_factor, sum_to_cells, weighed
from ingest.evenness_colours import MOST_SAMPLES, dots, layout, palette, sampled, signature
from ingest.evenness_depth import deeper
from ingest.evenness_figures import figures
from ingest.evenness_model import (
    INPUTS,
    MOST_PLUS,
    MOST_TIMES,
    estimate,
    fitted,
    root,
    terms,
    unroot,
)
from ingest.evenness_rule import SOLID_SHARE, floor_of, solid_or_not
from tests.tonality.draws import draw
from tests.tonality.photos import render

MEAN_LIGHT = np.array([0.30, 0.12, 0.08])


def to_xyz(rgb):
    return np.asarray(rgb, dtype=float) @ SRGB_TO_XYZ.T


def test_mcdm_of_a_case_worked_by_hand():
    # L* 48 and 52 twice each, mean 50, grey. The pair's mean L* is 49 or 51, so SL = 1 +
    # 0.015 / sqrt(20 + 1) = 1.003273 (Sharma et al. 2005, equation 18), and each ΔE00 = 2 / SL.
    lab = np.array([[48.0, 0, 0], [52.0, 0, 0], [48.0, 0, 0], [52.0, 0, 0]])
    assert mcdm(lab) == pytest.approx(1.993475, abs=1e-6)
    assert mcdm(np.repeat(lab[:1], 5, axis=0)) == 0.0


@pytest.mark.parametrize("factor", [1, 2, 3])
def test_cells_keep_the_sum_of_light_and_only_of_yarn(factor):
    rng = np.random.default_rng(3)
    light = rng.uniform(0.1, 0.9, (12, 18, 3)).astype(np.float32)
    mask = rng.random((12, 18)) < 0.7
    cells, weight = sum_to_cells(light, mask, factor)
    assert cells.shape == (12 // factor, 18 // factor, 3)
    want = (light * mask[..., None]).sum(axis=(0, 1))
    assert np.allclose(cells.sum(axis=(0, 1)) * factor**2, want, rtol=1e-5)
    assert weight.sum() * factor**2 == pytest.approx(mask.sum(), rel=1e-5)


def test_a_strip_lower_than_a_cell_holds_none():
    light, mask = np.ones((3, 40, 3), np.float32), np.ones((3, 40), bool)
    cells, weight = sum_to_cells(light, mask, 4)
    assert (cells.shape, weight.shape) == ((0, 10, 3), (0, 10))
    assert sum_to_cells(light.transpose(1, 0, 2), mask.T, 4)[0].shape == (10, 0, 3)


def test_cells_are_finer_than_strands_and_not_too_many():
    assert cell_factor(0.08, 300_000) == 2
    assert cell_factor(1 / 24, 4_000_000) == 4
    assert cell_factor(float("nan"), 100) == 1
    assert cell_factor(0.125, 4_000_000) * 0.125 <= 0.5


def test_blocks_of_a_plane_of_light_are_its_values_at_their_middles():
    h, w = 300, 400
    x = np.broadcast_to(np.linspace(0.2, 0.6, w, dtype=np.float32), (h, w))
    light = np.repeat(x[..., None], 3, axis=2)
    cells = as_cells(light, np.ones((h, w), np.float32), 0.15, 1)
    found = blocks(cells, (weighed(cells, np.ones((h, w), np.float32)),))[0]
    inner = (found.centres[:, 0] > 6) & (found.centres[:, 0] < w * 0.15 - 6)
    want = 0.2 + 0.4 * (found.centres[inner, 0] / 0.15 - 0.5) / (w - 1)
    assert np.allclose(found.light[inner, 0], want, atol=1e-4)


def test_blocks_and_their_halves_are_sums_over_a_checkerboard():
    rng = np.random.default_rng(12)
    h, w, mm = 160, 210, 0.25
    light = rng.uniform(0.1, 0.9, (h, w, 3)).astype(np.float32)
    weight = (rng.random((h, w)) < 0.9).astype(np.float32)
    reading = rng.uniform(0.2, 1.0, (h, w)).astype(np.float32)
    cells = as_cells(light, weight, mm, 1)
    found = blocks(cells, (weighed(cells, reading),))[0]
    rows, columns = np.arange(h), np.arange(w)
    odd = (rows[:, None] // 4 + columns[None] // 4) % 2 == 1  # squares of 1 mm
    for i in (0, len(found.light) // 2):
        x, y = found.centres[i] / mm
        away = (rows[:, None] + 0.5 - y) ** 2 + (columns[None] + 0.5 - x) ** 2
        share = np.exp(-0.5 * away / (0.29 * 5.0 / mm) ** 2) * weight * reading
        for part, told in (
            (1.0, found.light[i]),
            (odd, found.halves[0, i]),
            (~odd, found.halves[1, i]),
        ):
            counted = (share * part)[..., None]
            assert np.allclose((light * counted).sum((0, 1)) / counted.sum(), told, rtol=2e-5)


def test_a_sample_of_large_yarn_is_even_over_it_and_stands_for_it():
    h, w = 128, 256  # eight cells for each of the sample: a plain stride would meet stripes
    place = np.stack(np.meshgrid(np.arange(w), np.arange(h)), axis=-1).astype(float)
    chosen = sampled(place, np.ones((h, w), bool))
    assert len(chosen) == MOST_SAMPLES and len(np.unique(chosen, axis=0)) == MOST_SAMPLES
    counted = np.histogram2d(*chosen.T, bins=8, range=[[0, w], [0, h]])[0]
    assert counted.min() > 0.9 * counted.mean() and counted.max() < 1.1 * counted.mean()
    for period in (2, 3, 4, 5, 8):
        assert np.bincount(chosen[:, 0].astype(int) % period).min() > 0.95 * MOST_SAMPLES / period
    seen = place[..., 0] < MOST_SAMPLES // h
    assert np.array_equal(sampled(place, seen), place[seen])


def test_light_alone_stays_on_its_line_and_dye_leaves_it():
    rng = np.random.default_rng(5)
    line = light_line(MEAN_LIGHT, to_xyz)
    scaled = MEAN_LIGHT * np.exp(rng.normal(0.0, 0.03, (60, 1)))
    only_light = spread(scaled, np.stack([scaled, scaled]), to_xyz)
    assert only_light.mcdm > 0.4
    assert only_light.off < 0.03 * only_light.mcdm
    lab = xyz_to_lab(to_xyz(np.stack([MEAN_LIGHT, 1.05 * MEAN_LIGHT])))
    assert abs(float(axes(lab[0], lab[1]) @ line)) == pytest.approx(
        float(np.linalg.norm(axes(lab[0], lab[1])))
    )
    dyed = MEAN_LIGHT * np.exp(rng.normal(0.0, 0.03, (60, 1)) * [0.2, 1.0, 0.9])
    found = spread(dyed, np.stack([dyed, dyed]), to_xyz)
    assert found.off > 0.6 * found.mcdm
    assert found.tied > 0.9 * found.mcdm  # and what goes with it along the line is dye too


def test_differences_in_pieces_are_those_of_the_whole():
    lab = np.random.default_rng(4).uniform((10, -60, -60), (90, 60, 60), (2, PIECE, 3))
    terms = difference_terms(lab[0, 0], lab)
    assert np.allclose(axes(lab[0, 0], lab), terms.delta / terms.weights, rtol=1e-12, atol=1e-12)


def test_noise_that_the_halves_do_not_share_is_no_spread():
    rng = np.random.default_rng(6)
    halves = MEAN_LIGHT * np.exp(rng.normal(0.0, 0.03, (2, 400, 3)))
    found = spread(halves.mean(axis=0), halves, to_xyz)
    assert found.mcdm > 0.4
    assert found.off < 0.5 * found.mcdm


def test_more_dye_is_darker_and_stronger():
    change = deeper(MEAN_LIGHT)
    assert (change < 0).all()
    assert change[1] < change[0] and change[2] < change[0]  # red yarn keeps its red longest


def test_palette_finds_two_colours_and_their_shares():
    rng = np.random.default_rng(7)
    lab = np.empty((40, 50, 3))
    lab[:] = (40.0, 30.0, 10.0)
    lab[:, 35:] = (60.0, -20.0, 25.0)
    lab += rng.normal(0.0, 0.8, lab.shape)
    found = palette(lab)
    assert found.share == pytest.approx([0.7, 0.3], abs=0.01)
    assert np.allclose(found.lab, [[40, 30, 10], [60, -20, 25]], atol=0.5)


def test_a_palette_gives_each_cell_its_nearest_colour():
    rng = np.random.default_rng(6)
    lab = rng.choice([[60.0, 50, 0], [60.0, 20, 0], [60.0, -10, 40]], (60, 80))
    lab = lab + rng.normal(0.0, 2.0, lab.shape)
    found = palette(lab)
    weights = np.array([0.6, 1.0, 1.0])
    away = np.linalg.norm((lab[..., None, :] - found.lab) * weights, axis=-1)
    assert len(found.lab) == 3
    assert (found.label == away.argmin(axis=-1)).all()


@pytest.mark.parametrize("most", [10, evenness_colours.MOST_KEYS])  # sorted, and counted
def test_bins_are_numbered_in_order(monkeypatch, most):
    monkeypatch.setattr(evenness_colours, "MOST_KEYS", most)
    keys = np.random.default_rng(2).integers(0, 400, 300)
    index, counts = evenness_colours._numbered(keys)
    _, want, how_many = np.unique(keys, return_inverse=True, return_counts=True)
    assert (index == want.ravel()).all() and (counts == how_many).all()


def test_one_noisy_colour_is_one_colour():
    rng = np.random.default_rng(8)
    lab = np.array([50.0, 20.0, 5.0]) + rng.normal(0.0, 2.0, (40, 50, 3))
    assert len(palette(lab).share) == 1


def test_a_signature_tells_apart_what_a_palette_calls_one_colour():
    rng = np.random.default_rng(4)
    lab = np.array([55.0, 20.0, 10.0]) + rng.normal(0, 0.2, (40, 60, 3))
    lab[:, :15] += [0.0, -6.0, 0.0]
    lab[0, 0] = np.nan
    assert len(palette(lab).share) == 1
    colours, share = signature(lab)
    assert len(share) <= 6 and share.sum() == pytest.approx(1.0)
    assert np.all(np.diff(share) <= 0)
    paler = colours[:, 1] < 17.0
    assert share[paler].sum() == pytest.approx(0.25, abs=0.002)
    assert np.average(colours[paler, 1], weights=share[paler]) == pytest.approx(14.0, abs=0.1)
    assert share @ colours == pytest.approx(np.nanmean(lab, axis=(0, 1)))


def test_a_signature_gathers_what_is_nearest():
    rng = np.random.default_rng(5)
    middles = np.stack([np.full(6, 50.0), 40 * np.cos(np.arange(6)), 40 * np.sin(np.arange(6))]).T
    which = np.sort(rng.choice(6, (40, 60), p=[0.3, 0.25, 0.2, 0.12, 0.08, 0.05]))
    colours, share = signature(middles[which] + rng.normal(0, 3.0, (40, 60, 3)))
    assert colours == pytest.approx(middles, abs=1.5)
    assert share == pytest.approx(np.bincount(which.ravel()) / which.size, abs=0.01)


def test_dots_are_counted_by_area():
    lab = np.zeros((60, 60, 3))
    lab[..., 0] = 60.0
    for y, x in ((10, 10), (30, 40), (50, 20)):
        lab[y : y + 2, x : x + 2] = (40.0, 30.0, 0.0)
    found = dots(lab, np.median(lab, axis=(0, 1)), 1.0)
    assert found.percent == pytest.approx(100.0 * 12 / 3600)
    assert found.per_dm2 == pytest.approx(3 / 0.36)
    assert found.mean_mm == pytest.approx(2.0)
    assert found.lab == pytest.approx([40.0, 30.0, 0.0])


def laid_out(lab):
    return layout(lab, np.nanmedian(lab, axis=(0, 1)))


@pytest.mark.parametrize(("dot", "off"), [((24.0, 20.0, -8.0), 0.0), ((24.0, 2.0, 1.0), 10.6)])
def test_dots_off_what_light_makes_of_their_ground(dot, off):
    """L* + 16, a* and b* of the ground (64, 40, -16) halved are a gap's; dye leaves them."""
    lab = np.full((60, 60, 3), (64.0, 40.0, -16.0))
    lab[5::10, 5::10] = dot
    weight = 1.0 + 0.045 * np.hypot(20.0, 8.0)
    found = dots(lab, np.median(lab, axis=(0, 1)), 1.0)
    assert found.off == pytest.approx(off / 10.6 * np.hypot(18.0, 9.0) / weight, abs=0.02)


def test_dots_lie_on_a_ground_and_do_not_run_while_stripes_do():
    rng = np.random.default_rng(3)
    ground = np.array([60.0, 10.0, 5.0]) + rng.normal(0.0, 0.5, (60, 80, 3))
    speckled, striped = ground.copy(), ground.copy()
    for y, x in rng.integers(2, 56, (60, 2)):
        speckled[y : y + 2, x : x + 2] = (40.0, -20.0, 30.0)
    striped[:, ::20] = striped[:, 1::20] = striped[:, 2::20] = (40.0, -20.0, 30.0)
    speckled[0, :5] = np.nan
    dotted, banded = laid_out(speckled), laid_out(striped)
    assert dotted.bulk < 0.1 and dotted.run < 0.1
    assert banded.run > 0.9
    assert laid_out(striped.transpose(1, 0, 2)).run == pytest.approx(banded.run)  # a turn


def test_colours_in_halves_have_no_ground():
    lab = np.full((40, 60, 3), (50.0, 20.0, 5.0))
    lab[:, 33:] = (60.0, -20.0, 25.0)
    assert laid_out(lab).bulk > 0.9


@pytest.mark.parametrize(
    ("value", "doubt", "depth_off", "whole", "name"),
    [
        (0.05, 0.10, 0.5, 0.3, "solid"),
        (0.99 * SOLID_SHARE, 0.10, 0.5, 0.3, "solid"),  # times the floor
        (0.5 + 0.5 * SOLID_SHARE, 0.10, 0.5, 0.3, None),
        (1.0, 0.10, 0.5, 0.3, "semi-solid"),
        (1.0, 0.30, 0.5, 0.3, "semi-solid"),
        (0.05, 0.25, 0.02, 2.5, None),  # grey in deep shadow: dye would not show
        (0.05, 0.10, 0.02, 0.3, "solid"),
    ],
)
def test_solid_or_semi_solid_by_table(value, doubt, depth_off, whole, name):
    floor = floor_of(doubt)
    found = solid_or_not(value * floor if value > 0.05 else value, floor, depth_off, whole)
    assert found.name == name
    assert (found.between == ("solid", "semi-solid")) == (name is None)
    assert bool(found.reasons) == (name is None or depth_off < 0.1)


def test_the_floor_rises_with_doubt():
    floors = [floor_of(c) for c in (0.0, 0.1, 0.2, 0.3, 2.0)]
    assert floors[0] == floors[1] < floors[2] < floors[3] < floors[4] == 0.9


@pytest.mark.parametrize("height", [0.5, 0.2])
def test_a_range_never_lies_within_the_doubt_stated_beside_it(height):
    """Where less is seen than the rule would have, the range had ended at the value."""
    seen = render(draw(1_000_005, True, "semi-solid"))
    whole = np.ones(seen.linear.shape[:2], bool)
    cells = as_cells(*sum_to_cells(seen.linear, whole, 1), seen.mm_per_px, 1)
    found = figures(cells, to_xyz)
    less = replace(found, plain=replace(found.plain, mcdm=height * found.plain.mcdm / 3.0))
    made = estimate(less)
    assert made.value == pytest.approx(MOST_TIMES * less.plain.mcdm + MOST_PLUS)
    assert made.low <= made.value - made.u and made.high >= made.value + made.u


def test_the_fitted_rule_is_whole_and_holds_its_inputs_in_range():
    rule = fitted()
    k = len(INPUTS)
    for part in (rule.low, rule.high, rule.middle, rule.width):
        assert part.shape == (k,)
    assert rule.root_mean.shape == terms(np.zeros((1, k))).shape[1:]
    assert rule.log_sd.shape == (k + 1,)
    far = rule.at(np.stack([rule.high, rule.high + 100.0]))
    assert far[0][0] == pytest.approx(far[0][1])
    assert unroot(root(1.3)) == pytest.approx(1.3)
