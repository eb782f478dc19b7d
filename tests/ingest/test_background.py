"""What shows between strands: left out where that is safe, and never where it may be yarn."""

import numpy as np
import pytest

from ingest.background import find_background
from ingest.colour import delta_e_2000, xyz_to_lab
from ingest.measure import measure_region
from ingest.model import Settings
from tests.ingest.builders import as_it_is, photo_of_light, polygon, swatch_at

REGION = (60, 60, 300, 180)


def measure(photo, region):
    return measure_region(photo, region, as_it_is(photo), Settings(), 0.1)


def strands_on(table, yarn, gap_every=13, gap_px=3, gap_light=0.8, seed=0):
    """Upright strands of ``yarn`` and gaps that show ``table``: light, gaps, mean of the yarn."""
    rng = np.random.default_rng(seed)
    light = np.ones((240, 360, 3)) * table
    x = np.arange(60, 300)
    shade = 0.75 + 0.25 * np.abs(np.sin(np.pi * (x % gap_every) / gap_every))
    body = np.ones((120, 240, 1)) * shade[None, :, None] * np.asarray(yarn)
    gaps = (x % gap_every) < gap_px
    light[60:180, 60:300] = body
    light[60:180, 60:300][:, gaps] = np.asarray(table) * gap_light
    light *= 1.0 + 0.02 * rng.normal(size=light.shape)
    return light, gaps, body[:, ~gaps].mean(axis=(0, 1))


YARNS = {"red": (0.35, 0.03, 0.03), "blue": (0.03, 0.06, 0.3), "green": (0.05, 0.2, 0.05)}


@pytest.mark.parametrize("yarn", YARNS.values(), ids=YARNS)
@pytest.mark.parametrize("table", [(0.7, 0.7, 0.7), (0.25, 0.25, 0.25)])
def test_background_between_strands_is_left_out_on_a_table_of_another_colour(yarn, table):
    light, gaps, truth = strands_on(np.array(table), yarn)
    photo = photo_of_light(light)
    found = measure(photo, swatch_at(REGION, photo.pixels))
    assert "background left out" in found.flags
    assert found.left_out["background"] == pytest.approx(gaps.mean(), abs=0.02)
    assert np.allclose(found.lab, xyz_to_lab(photo.encoding.to_xyz @ truth), atol=0.5)


def test_much_background_is_flagged():
    light, _, _ = strands_on(np.array([0.7] * 3), YARNS["red"], gap_px=3)
    photo = photo_of_light(light)
    assert "much left out" in measure(photo, swatch_at(REGION, photo.pixels)).flags
    light, _, _ = strands_on(np.array([0.7] * 3), YARNS["red"], gap_px=1)
    photo = photo_of_light(light)
    assert "much left out" not in measure(photo, swatch_at(REGION, photo.pixels)).flags


def test_how_much_is_clipped_is_told_of_the_yarn_and_not_of_the_gaps():
    """A tenth of the yarn was under the bound where much table showed between the strands."""
    light, gaps, _ = strands_on(np.array([0.7] * 3), YARNS["red"], gap_px=3)
    strands = 60 + np.flatnonzero(~gaps)
    light[60:72, strands, 0] = 1.0  # a tenth of its length
    photo = photo_of_light(light)
    found = measure(photo, swatch_at(REGION, photo.pixels))
    assert found.left_out["background"] > 0.2
    assert found.clipped_share == pytest.approx(0.1, abs=0.005)


@pytest.mark.parametrize("yarn", YARNS.values(), ids=YARNS)
@pytest.mark.parametrize("table", [(0.7, 0.7, 0.7), (0.03, 0.03, 0.03), (0.02, 0.02, 0.02)])
def test_dark_shadow_between_strands_is_yarn(yarn, table):
    yarn, table = np.array(yarn), np.array(table)
    light, gaps, _ = strands_on(table, yarn)
    light[60:180, 60:300][:, gaps] = yarn * 0.06
    photo = photo_of_light(light)
    found = measure(photo, swatch_at(REGION, photo.pixels))
    assert found.left_out["background"] == 0.0 and "background left out" not in found.flags
    assert found.pixels == 240 * 120


@pytest.mark.parametrize("yarn", YARNS.values(), ids=YARNS)
@pytest.mark.parametrize("factor", [0.5, 1.0, 1.6])
def test_nothing_is_left_out_where_the_surround_is_of_the_yarns_colour(yarn, factor):
    light, _, _ = strands_on(np.array(yarn) * factor, yarn)
    photo = photo_of_light(light)
    assert measure(photo, swatch_at(REGION, photo.pixels)).left_out["background"] == 0.0


def test_nothing_is_left_out_on_a_busy_table():
    rng = np.random.default_rng(2)
    light, _, _ = strands_on(np.array([0.5] * 3), YARNS["red"])
    cloth = np.repeat(np.repeat(rng.uniform(0.05, 0.9, (24, 36, 3)), 10, axis=0), 10, axis=1)
    inside = light[60:180, 60:300].copy()
    light[:] = cloth
    light[60:180, 60:300] = inside
    photo = photo_of_light(light)
    outline = polygon(REGION, photo.pixels)
    assert find_background(photo, outline, photo.encoding.curve) is None


def test_nothing_is_left_out_where_the_region_fills_the_picture():
    photo = photo_of_light(strands_on(np.array([0.7] * 3), YARNS["red"])[0][60:180, 60:300])
    outline = polygon((0, 0, 240, 120), photo.pixels)
    assert find_background(photo, outline, photo.encoding.curve) is None


@pytest.mark.parametrize("table", [(0.8, 0.8, 0.8), (0.3, 0.3, 0.3)])
def test_a_tenth_of_undyed_yarn_on_a_neutral_table_stays_yarn(table):
    found, truth = speckled(table)
    assert found.left_out["background"] < 0.03
    assert float(delta_e_2000(found.lab, truth)) < 1.5


def test_a_tenth_of_undyed_yarn_on_paper_of_its_tint_stays_yarn():
    found, truth = speckled((0.82, 0.80, 0.74))
    assert float(delta_e_2000(found.lab, truth)) < 1.5


def speckled(table, undyed=(0.62, 0.58, 0.48), share=0.1):
    """Red yarn with undyed speckles, no gaps, on a table: its measurement and the true Lab."""
    rng = np.random.default_rng(0)
    light = np.ones((240, 360, 3)) * table
    body = np.ones((120, 240, 3)) * np.array([0.35, 0.05, 0.05])
    body[np.repeat(np.repeat(rng.random((12, 24)) < share, 10, axis=0), 10, axis=1)] = undyed
    body *= (0.75 + 0.25 * np.abs(np.sin(np.pi * np.arange(240) / 13)))[None, :, None]
    light[60:180, 60:300] = body
    photo = photo_of_light(light * (1.0 + 0.02 * rng.normal(size=light.shape)))
    truth = xyz_to_lab(photo.encoding.to_xyz @ body.reshape(-1, 3).mean(axis=0))
    return measure(photo, swatch_at(REGION, photo.pixels)), truth


@pytest.mark.parametrize(("table", "part"), [(0.7, 0.1), (0.25, 0.7)])
def test_grey_yarn_much_darker_or_lighter_than_the_table_is_no_gap(table, part):
    found, truth = speckled((table,) * 3, undyed=(part,) * 3)
    assert found.left_out["background"] == 0.0
    assert float(delta_e_2000(found.lab, truth)) < 0.3
