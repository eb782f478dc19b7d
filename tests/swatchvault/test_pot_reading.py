"""A pot beside the colour wanted: distance and ± are a check's, and each doubt has its side."""

import json
from importlib.resources import files
from itertools import cycle, islice

import numpy as np
import pytest

from ingest.colour import delta_e_2000
from swatchvault.additions import ReadingDoubt, correct_pot
from swatchvault.bands import metric
from swatchvault.groups import U_UNKNOWN
from swatchvault.potreading import shared_out
from tests.swatchvault.test_predict import asked_of, recipe, some_kitchen

ONE, NONE = np.eye(3), np.zeros((3, 3))


# -- one pair, one figure -------------------------------------------------------------------------


@pytest.mark.parametrize("more", [(), ("--k-l", "1")])
@pytest.mark.parametrize("lot", ["NF-2", "NF-3", "NF-4", "NF-5"])
def test_a_pot_is_as_far_from_its_master_as_a_check_says(ask, lot, more):
    (check,) = json.loads(ask("check", lot, *more, "--json"))
    found = json.loads(ask("correct", lot, *more, "--json"))
    assert found["delta_e_before"] == pytest.approx(check["delta_e_00"])
    assert found["u_before"] == pytest.approx(check["u"]["reading"])
    assert found["photos"] == check["capture"]
    said = ask("correct", lot, *more)
    assert f"ΔE00 {check['delta_e_00']:.2f} ± {check['u']['reading']:.2f} from swatch NF-1" in said


def test_and_from_another_swatch_as_near_says(ask):
    hits = {h["swatch"]: h for h in json.loads(ask("near", "NF-3 card", "--json"))["hits"]}
    for lot in ("NF-2", "NF-4"):
        found = json.loads(ask("correct", lot, "--to", "NF-3 card", "--json"))
        hit = hits[f"{lot} card"]
        shown = [found[key] for key in ("delta_e_before", "u_before")]
        assert shown == pytest.approx([hit["distance"], hit["u"]])
        assert found["photos"] == hit["photos"]


def test_and_from_a_stated_colour_with_the_doubt_of_the_whole_photo(ask):
    found = json.loads(ask("correct", "NF-2", "--to", "38,26,13", "--json"))
    (hit,) = (
        h for h in json.loads(ask("near", "38,26,13", "--json"))["hits"] if h["lot"] == "NF-2"
    )
    assert found["photos"] == "a stated colour"
    assert found["u_before"] == pytest.approx(hit["u"]) and hit["u"] > 2


# -- what the photos cannot tell ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "told", "help_"),
    [
        (("NF-4",), False, "photograph both in one frame, with six or more neutral steps"),
        (("NF-4", "--to", "NF-3 card"), False, "photograph both in one frame"),
        (("NF-2",), False, "leave the pot as it is"),
        (("NF-2", "--to", "38,26,13"), False, "name the swatch that the colour was read from"),
        (("NF-2", "--to", "NF-3 card"), True, ""),
        (("NF-3",), True, ""),
    ],
)
def test_where_the_photos_cannot_tell_them_apart_it_says_what_to_do(ask, arguments, told, help_):
    found = json.loads(ask("correct", *arguments, "--json"))
    assert found["told_apart"] is told
    assert told == (found["delta_e_before"] > 1.96 * found["u_before"])
    warned = [w for w in found["warnings"] if "chase the camera and not the dye" in w]
    assert len(warned) == (not told)
    assert all(help_ in w and "cannot tell" in w for w in warned)
    lines = ask("correct", *arguments).splitlines()
    assert [line for line in lines if "chase the camera" in line] == [f"! {w}" for w in warned]


def test_a_swatch_is_not_moved_away_from_itself(ask):
    found = json.loads(ask("correct", "NF-4", "--to", "NF-4 card", "--json"))
    assert (found["delta_e_before"], found["u_before"], found["add"]) == (0, 0, {})
    assert found["photos"] == "the same swatch"
    assert not any("cannot tell" in w for w in found["warnings"])


def test_a_photo_from_elsewhere_is_weighed_against_what_went_in(ask):
    """By its photo alone lot NF-4 is half way to NF-3; what went into both says otherwise."""
    truth = json.loads((files("example_archive") / "truth.json").read_text("utf-8"))["photos"]
    seen = [s for photo in truth.values() for s in photo.values()]
    of = {s["swatch"]: s["depths_percent"] for s in seen}
    found = json.loads(ask("correct", "NF-4", "--to", "NF-3 card", "--json"))
    for dye, wanted in of["NF-3 card"].items():
        assert of["NF-4 card"][dye] + found["add"][dye] == pytest.approx(wanted, rel=0.1)
    assert found["delta_e_reckoned"] > found["delta_e_before"] + 0.5
    assert f"it is ΔE00 {found['delta_e_reckoned']:.1f} off" in found["why"]


def test_a_target_from_elsewhere_widens_what_is_foretold(ask):
    """NF-1 was photographed with the lots, NF-4 in a light and by a camera of its own."""
    recipe_ = ("predict", "Orrin four-ply", "Pellow red=0.3", "Brackle brown=0.45", "--json")
    near, far = (
        json.loads(ask(*recipe_, "--against", swatch)) for swatch in ("NF-1 card", "NF-4 card")
    )
    assert near["within_95"] == far["within_95"]
    extra = [f["target_within_95"] - f["delta_e_00"] for f in (near, far)]
    assert extra[1] > 2 * extra[0]
    reach = ("reach", "NF-4 card", "--base", "Orrin four-ply", "--json")
    best = json.loads(ask(*reach))["recipes"][0]
    assert best["target_within_95"] > 2 * best["within_95"]


# -- whose doubt it is ----------------------------------------------------------------------------


def variance(middle, covariance):
    return float(np.trace(middle @ covariance))


@pytest.mark.parametrize("pair", [0.1, 1.0, 9.0])
def test_two_doubts_make_the_pair_s(pair):
    middle = metric(np.array([40.0, 25.0, 10.0]))
    got = shared_out(2 * ONE, ONE, pair * ONE, middle)
    assert variance(middle, got.pot + got.target) == pytest.approx(variance(middle, pair * ONE))
    assert got.pot == pytest.approx(2 * got.target)
    # of 3 that the two have beside the lots, what the pair does not have is wrong alike in both
    assert got.alike == pytest.approx(max(0.0, 3.0 - pair) / 2 * ONE)


def test_a_doubt_that_is_not_known_is_that_of_no_reference():
    middle = metric(np.array([40.0, 25.0, 10.0]))
    got = shared_out(ONE, ONE, np.full((3, 3), np.nan), middle)
    assert variance(middle, got.target) == pytest.approx(3 * U_UNKNOWN**2)
    assert (got.pot == ONE).all() and (got.alike == NONE).all()


def test_each_kind_of_doubt_does_what_it_is_for():
    """Pots that took up more or less, by photos that are off: the doubt told against none told."""
    kitchen, rng = some_kitchen(), np.random.default_rng(5)
    inside = [r for r in asked_of(kitchen)[0] if kitchen.model.why_outside(recipe(r)) is None]
    after: dict[str, list[float]] = {}
    held: dict[str, list[bool]] = {}

    def put_right(case, row, really, seen, doubt):
        pot, wanted = seen
        target = kitchen.world.lab(row * 1.4)
        own = [dye for dye, depth in recipe(row).items() if depth > 0]
        got = correct_pot(kitchen.model, recipe(row), pot, wanted, dyes=own, doubt=doubt)
        added = np.array([got.add.get(dye, 0.0) for dye in "abcde"])
        ended = float(delta_e_2000(kitchen.world.lab(really + added), target))
        after.setdefault(case, []).append(ended)
        held.setdefault(case, []).append(ended <= got.within_95)

    for row in islice(cycle([r for r in inside if r.sum() < 3]), 20):
        really = row * np.exp(0.2 * rng.normal(size=5))
        pot, target = kitchen.world.lab(really), kitchen.world.lab(row * 1.4)
        off, alike = 3.0 * rng.normal(size=3), 1.5 * rng.normal(size=3)
        put_right("off", row, really, (pot + off, target), ReadingDoubt(9 * ONE))
        put_right("off, not told", row, really, (pot + off, target), ReadingDoubt(0.1 * ONE))
        put_right("target off", row, really, (pot, target + off), ReadingDoubt(0.1 * ONE, 9 * ONE))
        both = (pot + alike, target + alike)
        put_right("alike", row, really, both, ReadingDoubt(0.02 * ONE, NONE, 2.25 * ONE))
        put_right("alike, not told", row, really, both, ReadingDoubt(2.25 * ONE))
    mean = {case: float(np.mean(misses)) for case, misses in after.items()}
    assert mean["off"] < 0.9 * mean["off, not told"]
    assert mean["alike"] < 0.8 * mean["alike, not told"]
    for case in ("off", "target off", "alike"):
        assert np.mean(held[case]) >= 0.9
    assert np.mean(held["off, not told"]) < 0.9
