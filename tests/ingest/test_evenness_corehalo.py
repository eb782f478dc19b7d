"""What is told of core and halo, and when nothing is."""

from dataclasses import replace

import numpy as np
import pytest

from ingest.colour import delta_e_2000, xyz_to_lab
from ingest.evenness_corehalo import (
    LEAST_DOUBTS,
    NO_DIFFERENCE,
    SIZE_U,
    TINT_LOST,
    core_halo,
    told_of,
)
from ingest.evenness_depth import UNDYED
from ingest.evenness_doubt import Ends
from ingest.evenness_rim import FEW_PIXELS, Rim
from ingest.tonality import measure_tonality
from tests.ingest.roses import RED, ROSE, cells_of, found_in, photo
from tests.tonality.photos import crest_and_rim, to_xyz
from tests.tonality.rims import APART, core_halo_for


@pytest.mark.parametrize(("sign", "word"), [(1, "deeper"), (-1, "paler")])
def test_deeper_and_paler_rims_are_told(sign, word):
    seen = photo(sign)
    told = told_of(found_in(seen.linear, seen.mm_per_px), to_xyz)
    assert told is not None
    assert told["rim"] == word
    assert abs(float(told["delta_e"]) - APART) < 2.0 * float(told["u"])
    assert told["range"][0] < APART < told["range"][1]
    assert np.sign(told["lch"][0]) == -sign  # deeper is darker
    # Against the spectra that it was dyed from, which no camera sees.
    value = core_halo_for(ROSE, sign)
    crest, rim = crest_and_rim(ROSE, value)
    assert told["lch"][0] == pytest.approx(rim[0] - crest[0], abs=2.5)
    found = found_in(seen.linear, seen.mm_per_px)
    assert found.ln_depth == pytest.approx(value, rel=SIZE_U)


def test_nothing_is_told_where_rims_are_as_crests():
    seen = photo(0)
    assert told_of(found_in(seen.linear, seen.mm_per_px), to_xyz) is None


def test_a_record_says_it_and_several_colours_do_not():
    seen = photo(1)
    whole = np.ones(seen.linear.shape[:2], dtype=bool)
    found = measure_tonality(seen.linear, whole, seen.mm_per_px, to_xyz)
    assert found is not None and found.name == "solid"
    assert found.record()["core_halo"]["rim"] == "deeper"
    assert found.record()["core_halo_unseen"] is None
    striped = seen.linear.copy()
    striped[:, : striped.shape[1] // 2] *= np.array([0.2, 1.0, 3.0], np.float32)
    found = measure_tonality(striped, whole, seen.mm_per_px, to_xyz)
    assert found is not None and found.name not in ("solid", "semi-solid")
    assert found.record()["core_halo"] is None
    assert found.record()["core_halo_unseen"] is None  # only of solid yarn is it asked


@pytest.mark.parametrize(
    ("ends", "lost"),
    [(Ends(0.0, 0.029), False), (Ends(0.0, 0.031), True), (Ends(0.011, 0.0), True)],
)
def test_rims_are_not_read_where_a_channel_lies_at_an_end(ends, lost):
    """At zero and at the top ratios of channels change with light, as they do with dye."""
    seen = photo(1)
    whole = np.ones(seen.linear.shape[:2], dtype=bool)
    found = measure_tonality(seen.linear, whole, seen.mm_per_px, to_xyz, ends)
    assert found is not None and found.name == "solid"
    assert (found.record()["core_halo"] is None) is lost
    assert found.record()["core_halo_unseen"] == (TINT_LOST if lost else None)


@pytest.mark.parametrize("ln_depth", [0.4, -0.4])
@pytest.mark.parametrize("light", [RED, np.array([0.06, 0.12, 0.30]), np.array([0.4, 0.3, 0.05])])
def test_size_is_that_of_more_or_less_dye_by_kubelka_munk(ln_depth, light):
    told = told_of(Rim(ln_depth, 0.01, light), to_xyz)
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
    sure = Rim(ln_depth=0.075, u_ln_depth=0.001, light=RED)  # ΔE00 0.9
    assert told_of(sure, to_xyz) is None
    told = told_of(replace(sure, ln_depth=0.09), to_xyz)
    assert told is not None and told["delta_e"] == 1.1


def test_a_difference_within_its_doubt_is_not_told_however_large():
    rim = Rim(0.4, 0.4 / LEAST_DOUBTS, RED)
    assert told_of(rim, to_xyz) is not None
    assert told_of(replace(rim, u_ln_depth=1.01 * rim.u_ln_depth), to_xyz) is None


def test_a_size_beyond_belief_is_held():
    most, beyond = (told_of(Rim(-ln_depth, 0.01, RED), to_xyz) for ln_depth in (1.2, 4.0))
    assert most is not None and beyond is not None
    assert beyond["delta_e"] == most["delta_e"] and beyond["rim"] == "paler"


def test_where_nothing_is_told_it_says_why():
    cells = cells_of(photo(0).linear, photo(0).mm_per_px)
    assert core_halo(cells, 2.0, 0.2, to_xyz) == (None, NO_DIFFERENCE)
    assert core_halo(cells, 0.5, 0.2, to_xyz) == (None, FEW_PIXELS)
    told, why = core_halo(cells_of(photo(1).linear, photo(1).mm_per_px), 2.0, 0.2, to_xyz)
    assert told is not None and why is None
