"""How much colour is left in the liquor, read from photos."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.colour import SRGB_TO_XYZ, xyz_to_lab
from ingest.errors import IngestError
from ingest.liquor import Look, look_of, plain_word, read_liquor
from ingest.model import LabCovariance, Measurement
from tests.prediction.glasses import Glass, liquor_errors
from tests.render import spectra


def a_glass(strength: float, name: str = "Pellow red", **changed: object) -> Glass:
    dye = strength * spectra.DYES[name].ks_per_percent()
    fields = {"camera": "phone observer", "light": "D65", "haze": 0.01, "loss": 0.95, "gamma": 1.0}
    return Glass(dye, **(fields | changed))  # type: ignore[arg-type]


def looks(glass: Glass, *shares: float, seed: int = 0) -> list[Look]:
    rng = np.random.default_rng(seed)
    return [glass.look(rng, s) for s in shares]


def test_simulated_photos_are_read_within_five_points_as_a_rule():
    truth, error, doubt = liquor_errors(60, seed=4)
    read = ~np.isnan(error)
    assert read.mean() > 0.9
    assert np.median(np.abs(error[read])) < 0.025
    assert (np.abs(error[read]) <= 0.05).mean() > 0.85
    assert (np.abs(error[read]) <= 1.96 * doubt[read]).mean() > 0.88
    assert truth.min() >= 0.1


def test_the_start_again_diluted_brings_nearly_all_within_five_points():
    _, error, doubt = liquor_errors(60, seed=4, again=(2.0,))
    read = ~np.isnan(error)
    assert (np.abs(error[read]) <= 0.05).mean() > 0.97
    assert (np.abs(error[read]) <= 1.96 * doubt[read]).mean() > 0.93


def test_the_start_again_makes_it_surer_and_one_too_deep_to_read_changes_nothing():
    glass = a_glass(0.15, camera="phone long red")
    rng = np.random.default_rng(3)
    seen, half = looks(glass, 1.0, 0.3), glass.look(rng, 1.0, 2.0)
    deep = a_glass(3.0, "Sallow black").look(rng, 1.0)
    plain, surer = (read_liquor(seen, again=more).readings[1] for more in ((), (half,)))
    assert surer.u_share < 0.8 * plain.u_share
    assert surer.share == pytest.approx(0.3, abs=0.03)
    assert read_liquor(seen, again=(deep,)).readings[1] == plain


@pytest.mark.parametrize("name", ["Ostrel yellow", "Pellow red", "Marn blue", "Sallow black"])
def test_a_curve_of_holds(name):
    shares = (1.0, 0.7, 0.4, 0.15, 0.0)
    curve = read_liquor(looks(a_glass(0.15, name), *shares))
    got = [r.share for r in curve.readings]
    assert got[0] == 1.0
    assert curve.readings[0].u_share == 0.0
    np.testing.assert_allclose(got, shares, atol=0.07)
    assert [r.word for r in curve.readings] == [plain_word(g) for g in got]
    assert curve.together


@pytest.mark.parametrize("name", ["Pellow red", "Marn blue", "Sallow black"])
def test_each_channel_tells_the_share_by_itself(name):
    shares = (1.0, 0.7, 0.4, 0.15)
    told = 0
    for got, share in zip(
        read_liquor(looks(a_glass(0.15, name), *shares)).readings[1:], shares[1:], strict=True
    ):
        for value, doubt in zip(got.channels, got.u_channels, strict=True):
            if not math.isnan(value):
                told += 1
                assert abs(value - share) < max(3 * doubt, 0.02)
    assert told >= 6


def test_a_channel_that_the_dye_leaves_alone_says_nothing():
    (_, later) = read_liquor(looks(a_glass(0.15, "Ostrel yellow"), 1.0, 0.5)).readings
    assert math.isnan(later.channels[0])
    assert later.channels[2] == pytest.approx(0.5, abs=0.05)


def test_dyes_of_different_speed_differ_by_channel():
    red, blue = (spectra.DYES[n].ks_per_percent() for n in ("Pellow red", "Marn blue"))
    rng = np.random.default_rng(3)
    fields = {"camera": "phone observer", "light": "D65", "haze": 0.01, "loss": 0.95, "gamma": 1.0}
    both = Glass(0.15 * red + 0.15 * blue, **fields).look(rng, 1.0)
    later = Glass(0.02 * red + 0.14 * blue, **fields).look(rng, 1.0)
    long, middle, _ = read_liquor([both, later]).readings[1].channels
    assert long > middle + 0.2  # the blue dye, which takes red light, is still there


def test_a_diluted_look_that_is_still_too_deep_asks_for_more():
    glass = a_glass(40.0, "Sallow black")
    (first,) = read_liquor([glass.look(np.random.default_rng(1), 1.0, dilution=4.0)]).readings
    assert first.dilute_to_parts in (20, 40)


def test_the_start_alone_is_all_of_it():
    (only,) = read_liquor(looks(a_glass(0.15), 1.0)).readings
    assert (only.share, only.word, only.too_deep) == (1.0, "much", False)


def test_wide_channels_are_allowed_for():
    """Plain absorbance of a channel overstates what is left; the fit does not."""
    start, later = looks(a_glass(0.2, "Marn blue"), 1.0, 0.4)
    plain = [-math.log(look.liquor[1] / look.white[1]) for look in (start, later)]
    assert plain[1] / plain[0] > 0.43
    assert read_liquor([start, later]).readings[1].share == pytest.approx(0.4, abs=0.02)


@given(st.floats(0.3, 3.0))
@settings(max_examples=10, deadline=None)
def test_exposure_cancels(gain):
    seen = looks(a_glass(0.15), 1.0, 0.5)
    brighter = [
        Look(k.name, gain * k.liquor, gain * k.white, gain**2 * k.liquor_cov, gain**2 * k.white_cov)
        for k in seen
    ]
    one, two = (read_liquor(s).readings[1].share for s in (seen, brighter))
    assert two == pytest.approx(one, abs=0.003)


def test_too_deep_a_start_asks_for_a_diluted_one_and_takes_it():
    glass = a_glass(4.0, "Sallow black")
    rng = np.random.default_rng(1)
    deep = read_liquor([glass.look(rng, 1.0), glass.look(rng, 0.02)])
    first = deep.readings[0]
    assert first.too_deep
    assert math.isnan(first.share)
    parts = first.dilute_to_parts
    assert parts is not None
    assert f"up to {parts} parts" in first.words
    assert "too deep" in deep.words
    thinner = [glass.look(rng, s, dilution=20.0) for s in (1.0, 0.5)]
    late = glass.look(rng, 0.04)
    curve = read_liquor([*thinner, late])
    assert [r.too_deep for r in curve.readings] == [False, False, False]
    assert curve.readings[1].share == pytest.approx(0.5, abs=0.07)
    assert curve.readings[2].share == pytest.approx(0.04, abs=0.02)


def test_a_later_look_that_is_too_deep_does_not_spoil_the_others():
    glass = a_glass(4.0, "Sallow black")
    rng = np.random.default_rng(1)
    curve = read_liquor(
        [glass.look(rng, 1.0, 20.0), glass.look(rng, 0.8), glass.look(rng, 0.5, 20.0)]
    )
    assert [r.too_deep for r in curve.readings] == [False, True, False]
    assert curve.readings[2].share == pytest.approx(0.5, abs=0.07)


def test_one_dye_at_the_bottom_of_one_channel_is_too_deep():
    rng = np.random.default_rng(1)
    curve = read_liquor([a_glass(3.0, "Ostrel yellow").look(rng, 1.0)])
    assert curve.readings[0].too_deep


def test_too_clear_a_start_says_so():
    curve = read_liquor(looks(a_glass(0.005), 1.0, 0.5))
    assert all(math.isnan(r.share) for r in curve.readings)
    assert "too clear" in curve.words


def test_noisier_means_are_doubted_more():
    start, later = looks(a_glass(0.15), 1.0, 0.5)
    rough = [
        Look(k.name, k.liquor, k.white, 100 * k.liquor_cov, k.white_cov) for k in (start, later)
    ]
    rougher = [Look(k.name, k.liquor, k.white, k.liquor_cov, 400 * k.white_cov) for k in rough]
    doubts = [read_liquor(s).readings[1].u_share for s in ([start, later], rough)]
    assert doubts[1] > 1.3 * doubts[0]
    assert read_liquor(rougher).readings[1].u_share > 1.1 * doubts[0]


def test_a_clear_glass_lessens_the_doubt():
    glass = a_glass(0.08, "Sallow black")
    rng = np.random.default_rng(2)
    seen = [glass.look(rng, s) for s in (1.0, 0.4)]
    without = read_liquor(seen).readings[1]
    with_it = read_liquor(seen, clear=glass.look(rng, 0.0)).readings[1]
    assert with_it.u_share < without.u_share
    assert with_it.share == pytest.approx(0.4, abs=0.05)


def test_dyes_that_go_on_at_different_speeds_are_told():
    red, blue = (spectra.DYES[n].ks_per_percent() for n in ("Pellow red", "Marn blue"))
    rng = np.random.default_rng(3)
    start = a_glass(1.0)
    fields = {"camera": start.camera, "light": "D65", "haze": 0.01, "loss": 0.95, "gamma": 1.0}
    both = Glass(0.15 * red + 0.15 * blue, **fields).look(rng, 1.0)
    later = Glass(0.02 * red + 0.14 * blue, **fields).look(rng, 1.0)
    curve = read_liquor([both, later])
    assert not curve.together
    assert "different speeds" in curve.words
    assert curve.readings[1].u_share > 0.05


@pytest.mark.parametrize(
    ("share", "word"),
    [(1.0, "much"), (0.4, "much"), (0.39, "some"), (0.1, "some"), (0.05, "trace"), (0.0, "none")],
)
def test_plain_words(share, word):
    assert plain_word(share) == word
    assert plain_word(math.nan) == ""


def test_bad_input_is_one_clear_line():
    white = (0.8, 0.8, 0.8)
    with pytest.raises(IngestError, match="one at the start"):
        read_liquor([])
    with pytest.raises(IngestError, match=r"a dilution to 0\.5 parts"):
        read_liquor([Look("x", (0.3, 0.3, 0.3), white, dilution=0.5)])
    with pytest.raises(IngestError, match="bare white paper"):
        read_liquor([Look("x", (0.01, 0.01, 0.01), (0.05, 0.05, 0.05))])
    with pytest.raises(IngestError, match="linear R, G, B"):
        read_liquor([Look("x", (0.3, math.nan, 0.3), white)])


def test_a_look_from_measurements_of_one_photo():
    none = np.zeros((3, 3))
    region = np.diag([0.04, 0.01, 0.01])
    rgb = np.array([[0.5, 0.3, 0.2], [0.82, 0.81, 0.79]])
    liquor, white = (
        Measurement(
            "x",
            xyz_to_lab(SRGB_TO_XYZ @ v),
            LabCovariance(region, none, none, none),
            frozenset(),
            (),
            "steps",
            1000,
            {},
            0.0,
            0.0,
            math.nan,
        )
        for v in rgb
    )
    look = look_of("start", liquor, white, dilution=4)
    np.testing.assert_allclose([look.liquor, look.white], rgb, atol=1e-12)
    assert look.dilution == 4
    # A step of 0.2 in L* is what the covariance must turn into.
    up = SRGB_TO_XYZ @ rgb[1]
    grey = np.asarray(look.white_cov)
    assert 0 < math.sqrt(grey[1, 1]) < 0.2 * 0.03
    assert up[1] < 1
