"""Core and halo: rims of strands against their crests, with light taken out."""

import math
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from ingest.colour import delta_e_2000, xyz_to_lab
from ingest.evenness_cells import Cells, as_cells, cell_factor, sum_to_cells
from ingest.evenness_depth import UNDYED
from ingest.evenness_figures import strands_alike
from ingest.evenness_light import light_and_shade
from ingest.evenness_rim import SIZE_U, Rim, record_of, rim_of
from ingest.evenness_strands import strand_width
from ingest.tonality import measure_tonality
from tests.render.dye import Dyeing
from tests.tonality.draws import draw
from tests.tonality.photos import Seen, crest_and_rim, render, to_xyz
from tests.tonality.rims import APART, apart, core_halo_for

CELL_MM = 0.16
RED = np.array([0.35, 0.10, 0.06])
ROSE = Dyeing("white wool", ((("Tavick rose", 0.5),),), "solid", tonal_sd=0.005)


@lru_cache(maxsize=8)
def photo(sign: int, bounce: float = 0.05) -> Seen:
    """A wound card of one rose, its rims deeper (1), paler (-1) or as its crests (0).

    ``bounce``: share of the gaps' lost light that comes back filtered by the dye once more.
    """
    case = replace(draw(9_000_000, False, "solid"), form="wound card", px_per_mm=12.0)
    value = core_halo_for(ROSE, sign) if sign else 0.0
    assert value is not None
    lamp = replace(case.lamp, bounce=bounce)
    return render(replace(case, dyeing=replace(ROSE, core_halo=value), lamp=lamp))


def cells_of(linear: np.ndarray, mm_per_px: float) -> Cells:
    whole = np.ones(linear.shape[:2], dtype=bool)
    factor = cell_factor(mm_per_px, whole.size)
    return as_cells(*sum_to_cells(linear, whole, factor), mm_per_px, factor)


def found_in(linear: np.ndarray, mm_per_px: float) -> Rim:
    cells = cells_of(linear, mm_per_px)
    shade = light_and_shade(cells, to_xyz)
    width = strand_width(strands_alike(cells, shade), cells.mm)
    found = rim_of(cells, width, shade.contrast, to_xyz)
    assert found is not None
    return found


def test_the_difference_asked_for_is_made():
    for sign in (1, -1):
        value = core_halo_for(ROSE, sign)
        assert value is not None and value * sign > 0
        assert apart(ROSE, value) == pytest.approx(APART, abs=0.01)


@pytest.mark.parametrize(("sign", "word"), [(1, "deeper"), (-1, "paler")])
def test_deeper_and_paler_rims_are_told(sign, word):
    seen = photo(sign)
    told = record_of(found_in(seen.linear, seen.mm_per_px), to_xyz)
    assert told is not None
    assert told["rim"] == word
    assert abs(float(told["delta_e"]) - APART) < 2.0 * float(told["u"])
    assert np.sign(told["lch"][0]) == -sign  # deeper is darker
    # Against the spectra that it was dyed from, which no camera sees.
    value = core_halo_for(ROSE, sign)
    crest, rim = crest_and_rim(ROSE, value)
    assert told["lch"][0] == pytest.approx(rim[0] - crest[0], abs=2.5)
    found = found_in(seen.linear, seen.mm_per_px)
    assert found.ln_depth == pytest.approx(value, rel=SIZE_U)


def test_nothing_is_told_where_rims_are_as_crests():
    seen = photo(0)
    assert record_of(found_in(seen.linear, seen.mm_per_px), to_xyz) is None


@pytest.mark.parametrize("sign", [-1, 0, 1])
def test_light_that_bounces_in_the_gaps_is_no_dye(sign):
    seen = photo(sign, bounce=0.6)
    found = found_in(seen.linear, seen.mm_per_px)
    value = core_halo_for(ROSE, sign) if sign else 0.0
    assert found.ln_depth == pytest.approx(value, abs=0.08)  # with light left in it is 0.2 over
    told = record_of(found, to_xyz)
    assert (told and told["rim"]) == {-1: "paler", 0: None, 1: "deeper"}[sign]


def test_turning_and_exposure_change_nothing():
    seen = photo(1)
    plain = found_in(seen.linear, seen.mm_per_px)
    turned = found_in(np.ascontiguousarray(np.rot90(seen.linear)), seen.mm_per_px)
    darker = found_in(seen.linear * np.float32(0.5), seen.mm_per_px)
    assert turned.ln_depth == pytest.approx(plain.ln_depth, rel=0.1)
    # Depth is told from the colour, and half of the light is another colour: the sign stays.
    assert darker.ln_depth > 3.0 * darker.u_ln_depth


def test_a_record_says_it_and_several_colours_do_not():
    seen = photo(1)
    whole = np.ones(seen.linear.shape[:2], dtype=bool)
    found = measure_tonality(seen.linear, whole, seen.mm_per_px, to_xyz)
    assert found is not None and found.name == "solid"
    assert found.record()["core_halo"]["rim"] == "deeper"
    striped = seen.linear.copy()
    striped[:, : striped.shape[1] // 2] *= np.array([0.2, 1.0, 3.0], np.float32)
    found = measure_tonality(striped, whole, seen.mm_per_px, to_xyz)
    assert found is not None and found.name not in ("solid", "semi-solid")
    assert found.record()["core_halo"] is None


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
    assert found[0] is not None and found[1] is not None
    assert found[0].ln_depth == pytest.approx(found[1].ln_depth, rel=1e-3)


def flat(light: np.ndarray, weight: float = 1.0) -> Cells:
    shape = (200, 260)
    rng = np.random.default_rng(7)
    noise = np.exp(rng.normal(0.0, 0.05, (*shape, 1))).astype(np.float32)
    spread = np.broadcast_to(light.astype(np.float32), (*shape, 3)) * noise
    return Cells(spread, np.full(shape, weight, np.float32), CELL_MM, CELL_MM)


@pytest.mark.parametrize(
    ("cells", "strand_mm", "contrast"),
    [
        (flat(RED), 4.0 * CELL_MM, 0.2),
        (replace(flat(RED), mm_per_px=CELL_MM), 15.0 * CELL_MM, 0.2),  # of 16 pixels
        (flat(RED), math.nan, 0.2),
        (flat(RED), 4.0, 0.5),  # shadow
        (flat(RED, weight=0.0), 4.0, 0.2),
    ],
)
def test_nothing_is_read_of_coarse_pixels_deep_shadow_or_no_yarn(cells, strand_mm, contrast):
    assert rim_of(flat(RED), 4.0, 0.2, to_xyz) is not None
    assert rim_of(cells, strand_mm, contrast, to_xyz) is None


def test_without_tint_nothing_is_told():
    undyed = rim_of(flat(UNDYED), 4.0, 0.2, to_xyz)
    assert undyed is not None and not undyed.told
    assert record_of(undyed, to_xyz) is None and record_of(None, to_xyz) is None


@pytest.mark.parametrize("ln_depth", [0.4, -0.4])
@pytest.mark.parametrize("light", [RED, np.array([0.06, 0.12, 0.30]), np.array([0.4, 0.3, 0.05])])
def test_size_is_that_of_more_or_less_dye_by_kubelka_munk(ln_depth, light):
    told = record_of(Rim(ln_depth, 0.01, 0.8, light), to_xyz)
    assert told is not None
    undyed = (1.0 - UNDYED) ** 2 / (2.0 * UNDYED)
    dyed = (1.0 - light) ** 2 / (2.0 * light) - undyed
    k = undyed + dyed * np.exp(ln_depth * np.array([[-1.0 / 3.0], [2.0 / 3.0]]))
    crest, rim = xyz_to_lab(to_xyz(1.0 + k - np.sqrt(k * k + 2.0 * k)))
    hues = np.degrees(np.arctan2([crest[2], rim[2]], [crest[1], rim[1]]))
    want = (rim[0] - crest[0], np.hypot(*rim[1:]) - np.hypot(*crest[1:]), hues[1] - hues[0])
    assert told["lch"] == pytest.approx(want, abs=1.5)  # the record takes the change as straight
    assert told["delta_e"] == pytest.approx(float(delta_e_2000(crest, rim)), rel=0.2)
    assert told["rim"] == ("deeper" if ln_depth > 0 else "paler")


def test_a_small_difference_is_not_told_however_sure():
    sure = Rim(ln_depth=0.02, u_ln_depth=0.001, tint=0.8, light=RED)
    assert sure.told and record_of(sure, to_xyz) is None
    assert record_of(replace(sure, ln_depth=0.4), to_xyz) is not None


@pytest.mark.filterwarnings("error")
def test_the_edge_of_a_slanting_region_is_no_rim():
    seen = photo(0)
    h, w = seen.linear.shape[:2]
    slant = np.abs(np.arange(w)[None, :] - w / 2 - 0.6 * (np.arange(h)[:, None] - h / 2)) < 0.4 * w
    factor = cell_factor(seen.mm_per_px, slant.size)
    light, weight = sum_to_cells(seen.linear, slant, factor)
    found = rim_of(as_cells(light, weight, seen.mm_per_px, factor), 2.0, 0.2, to_xyz)
    assert found is not None
    assert abs(found.ln_depth) < 0.06  # ΔE00 3 would be 0.41
    assert record_of(found, to_xyz) is None
