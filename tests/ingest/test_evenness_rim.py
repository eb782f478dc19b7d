"""Core and halo: rims of strands against their crests, with light taken out."""

import math
from dataclasses import replace

import numpy as np
import pytest

from ingest.evenness_cells import Cells, as_cells, cell_factor, sum_to_cells
from ingest.evenness_corehalo import told_of
from ingest.evenness_depth import UNDYED
from ingest.evenness_rim import Rim, rim_of
from tests.ingest.roses import RED, ROSE, found_in, photo
from tests.tonality.photos import to_xyz
from tests.tonality.rims import APART, apart, core_halo_for

CELL_MM = 0.16


def test_the_difference_asked_for_is_made():
    for sign in (1, -1):
        value = core_halo_for(ROSE, sign)
        assert value is not None and value * sign > 0
        assert apart(ROSE, value) == pytest.approx(APART, abs=0.01)


@pytest.mark.parametrize("sign", [-1, 0, 1])
def test_light_that_bounces_in_the_gaps_is_no_dye(sign):
    seen = photo(sign, bounce=0.6)
    found = found_in(seen.linear, seen.mm_per_px)
    value = core_halo_for(ROSE, sign) if sign else 0.0
    assert found.ln_depth == pytest.approx(value, abs=0.08)  # with light left in it is 0.2 over
    told = told_of(found, to_xyz)
    assert (told and told["rim"]) == {-1: "paler", 0: None, 1: "deeper"}[sign]


def test_turning_and_exposure_change_nothing():
    seen = photo(1)
    plain = found_in(seen.linear, seen.mm_per_px)
    turned = found_in(np.ascontiguousarray(np.rot90(seen.linear)), seen.mm_per_px)
    darker = found_in(seen.linear * np.float32(0.5), seen.mm_per_px)
    assert turned.ln_depth == pytest.approx(plain.ln_depth, rel=0.1)
    # Depth is told from the colour, and half of the light is another colour: the sign stays.
    assert darker.ln_depth > 3.0 * darker.u_ln_depth


def test_what_is_not_yarn_has_no_part():
    seen = photo(1)
    mask = np.ones(seen.linear.shape[:2], dtype=bool)
    mask[: len(mask) // 4] = False
    factor = cell_factor(seen.mm_per_px, mask.size)
    found = []
    for outside in (0.0, 5.0):
        linear = np.where(mask[..., None], seen.linear, np.float32(outside))
        cells = as_cells(*sum_to_cells(linear, mask, factor), seen.mm_per_px, factor)
        found.append(rim_of(cells, 2.0, 0.2, to_xyz))
    assert isinstance(found[0], Rim) and isinstance(found[1], Rim)
    assert found[0].ln_depth == pytest.approx(found[1].ln_depth, rel=1e-3)


def flat(light: np.ndarray, weight: float = 1.0) -> Cells:
    shape = (200, 260)
    rng = np.random.default_rng(7)
    noise = np.exp(rng.normal(0.0, 0.05, (*shape, 1))).astype(np.float32)
    spread = np.broadcast_to(light.astype(np.float32), (*shape, 3)) * noise
    return Cells(spread, np.full(shape, weight, np.float32), CELL_MM, CELL_MM)


@pytest.mark.parametrize(
    ("cells", "strand_mm", "contrast", "why"),
    [
        (flat(RED), 4.0 * CELL_MM, 0.2, "few pixels"),
        (replace(flat(RED), mm_per_px=CELL_MM), 15.0 * CELL_MM, 0.2, "few pixels"),  # of 16
        (flat(RED), math.nan, 0.2, "no strands"),
        (flat(RED), 4.0, 0.5, "deep shadow"),
        (flat(RED, weight=0.0), 4.0, 0.2, "little yarn"),
        (flat(UNDYED), 4.0, 0.2, "grey or pale"),
    ],
)
def test_what_cannot_be_read_says_why(cells, strand_mm, contrast, why):
    assert isinstance(rim_of(flat(RED), 4.0, 0.2, to_xyz), Rim)
    assert rim_of(cells, strand_mm, contrast, to_xyz) == why


@pytest.mark.filterwarnings("error")
def test_the_edge_of_a_slanting_region_is_no_rim():
    seen = photo(0)
    h, w = seen.linear.shape[:2]
    slant = np.abs(np.arange(w)[None, :] - w / 2 - 0.6 * (np.arange(h)[:, None] - h / 2)) < 0.4 * w
    factor = cell_factor(seen.mm_per_px, slant.size)
    light, weight = sum_to_cells(seen.linear, slant, factor)
    found = rim_of(as_cells(light, weight, seen.mm_per_px, factor), 2.0, 0.2, to_xyz)
    assert isinstance(found, Rim)
    assert abs(found.ln_depth) < 0.06  # ΔE00 3 would be 0.41
    assert told_of(found, to_xyz) is None
