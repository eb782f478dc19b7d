"""The words of a difference: which way it is off, how much, and what must be said with it."""

import math
import re

import numpy as np
import pytest

from swatchvault import words
from swatchvault.difference import judge
from swatchvault.pair import Colour, Conditions

SMALL = 0.005 * np.eye(3)


def diff_of(one, two, capture="same frame", light="daylight", same_dyes=True, **more):
    master, new = (Colour(np.array(v, dtype=float), SMALL, "steps") for v in (one, two))
    return judge(master, new, Conditions(capture, light=light, same_dyes=same_dyes, **more))


def spoken(one, two, **how):
    return [d.word for d in words.directions(one, two, diff_of(one, two, **how))]


def turned(hue, degrees, chroma=35.0, lightness=55.0):
    """A colour at ``hue`` and the same one turned by ``degrees`` of hab."""
    h1, h2 = math.radians(hue), math.radians(hue + degrees)
    return tuple([lightness, chroma * math.cos(h), chroma * math.sin(h)] for h in (h1, h2))


# Hue in CIELAB, its everyday name, the word for a positive turn, the word for a negative one
TURNS = [
    (28, "red", "yellower", "bluer"),
    (60, "orange", "yellower", "redder"),
    (92, "yellow", "greener", "redder"),
    (120, "yellow-green", "greener", "yellower"),
    (155, "green", "bluer", "yellower"),
    (205, "blue-green", "bluer", "greener"),
    (265, "blue", "redder", "greener"),
    (320, "purple", "redder", "bluer"),
    (355, "purple", "redder", "bluer"),
    (2, "purple", "redder", "bluer"),
]


@pytest.mark.parametrize(("hue", "name", "plus", "minus"), TURNS)
def test_hue_words_depend_on_where_the_hue_is(hue, name, plus, minus):
    assert words.hue_words(hue) == (name, plus, minus)
    assert words.hue_words(hue - 360) == (name, plus, minus)
    assert spoken(*turned(hue, 8)) == [plus]
    assert spoken(*turned(hue, -8)) == [minus]


@pytest.mark.parametrize(
    ("step", "word"),
    [
        ([4, 0, 0], "lighter"),
        ([-4, 0, 0], "darker"),
        ([0, 4, 4], "brighter"),
        ([0, -4, -4], "duller"),
    ],
)
def test_lightness_and_chroma(step, word):
    assert spoken([50, 25, 25], np.add([50, 25, 25], step)) == [word]


@pytest.mark.parametrize(
    ("step", "word"),
    [
        ([0, 1.5, 0], "redder"),
        ([0, -1.5, 0], "greener"),
        ([0, 0, 2.0], "yellower (warmer)"),
        ([0, 0, -2.0], "bluer (cooler)"),
    ],
)
@pytest.mark.parametrize("grey", [[60, 0, 0], [60, 0.5, 0.5], [60, -1, 1]])
def test_near_neutrals_speak_of_a_and_b(step, word, grey):
    assert word in spoken(grey, np.add(grey, step))
    opposite = {"redder": "greener", "yellower (warmer)": "bluer (cooler)"}
    for a, b in opposite.items():
        assert not {a, b} <= set(spoken(grey, np.add(grey, step)))


def test_nothing_is_said_below_the_axis_own_doubt():
    one = [50.0, 25.0, 25.0]
    for change in (0.2, 0.8, 2.0, 4.0):
        two = [50.0 - change, 25.0, 25.0]
        diff = diff_of(one, two, capture="locked set-up")
        sure = abs(diff.axes[0]) > math.sqrt(diff.axes_cov[0, 0])
        assert (spoken(one, two, capture="locked set-up") == ["darker"]) == sure
    assert spoken(one, [49.9, 25.0, 25.0], capture="locked set-up") == []
    assert spoken(one, [46.0, 25.0, 25.0], capture="other", light="other") == []


def test_a_sure_trifle_is_not_spoken_of():
    one = [50.0, 25.0, 25.0]
    assert spoken(one, [50.5, 25, 25]) == ["lighter"]
    assert spoken(one, [50.5, 25, 25], tolerance=6.0) == []


@pytest.mark.parametrize(
    ("share", "size"),
    [(0.1, "a trace"), (0.3, "slightly"), (0.7, "clearly"), (1.3, "much"), (4.0, "much")],
)
def test_size_follows_the_share_of_the_tolerance(share, size):
    # ΔL' / (kL SL) = share * tolerance, SL taken as 1 (it is 1 to 1.1 here)
    one, two = [50.0, 30.0, 10.0], [50.0 + share * 2.0 * 2.0, 30.0, 10.0]
    (found,) = words.directions(one, two, diff_of(one, two))
    assert found.word == "lighter" and found.size == size
    assert found.share == pytest.approx(share, rel=0.2)


def test_the_largest_comes_first_and_one_phrase_says_it():
    one, two = [50.0, 25.0, 25.0], [47.0, 33.0, 33.0]
    found = words.directions(one, two, diff_of(one, two))
    assert words.in_words(found) == "much brighter, clearly darker"
    assert words.in_words(()) == words.NO_DIRECTION


@pytest.mark.parametrize(
    ("p", "text"),
    [(0.0, "under 1 %"), (0.034, "3 %"), (0.5, "50 %"), (0.999, "over 99 %"), (1.0, "over 99 %")],
)
def test_percent_never_claims_certainty(p, text):
    assert words.percent(p) == text


def test_every_reading_states_its_k_l():
    for k_l, text in ((1.0, "kL = 1"), (2.0, "kL = 2"), (1.5, "kL = 1.5")):
        line = words.headline(diff_of([50, 20, 20], [52, 20, 20], k_l=k_l))
        assert text in line and line.startswith("ΔE00 ")


def test_notes():
    far, near = ([50, 20, 20], [58, 20, 20]), ([50, 20, 20], [50.1, 20, 20])
    assert words.MEANT_FOR in words.notes(diff_of(*far))
    assert words.NEAR_ZERO not in words.notes(diff_of(*far))
    assert words.NEAR_ZERO in words.notes(diff_of(*near))
    assert words.SAME_DYES_ONLY not in words.notes(diff_of(*far))
    unknown, other = (words.notes(diff_of(*far, same_dyes=told)) for told in (None, False))
    assert words.SAME_DYES_ONLY in unknown and words.DYES_UNKNOWN in unknown
    assert words.DYES_DIFFER in other and words.DYES_UNKNOWN not in other


@pytest.mark.parametrize(
    ("u", "said"),
    [
        (0.70, "0.70, is more than a third of the tolerance (0.67)"),
        (0.6689, "0.669, is more than a third of the tolerance (0.667)"),
        (0.66671, "0.6667, is more than a third of the tolerance (0.6667)"),
    ],
)
def test_a_doubt_just_over_its_bound_is_told_with_the_digits_that_show_it(u, said):
    assert words._over(u, 2.0 / 3.0, "a third") == said


def test_reasons_tell_which_gate_closed():
    def why(capture, change, **how):
        diff = diff_of([50, 20, 20], [50 + change, 20, 20], capture, **how)
        return " ".join(words.reasons(diff))

    assert why("same frame", 0.5) == ""
    assert "more than half" in why("other", 0.5, light="other")
    assert "more than a third" in why("other", 0.5, tolerance=4.5)
    assert "too near the tolerance" in why("same frame", 4.0)
    assert "L* is 20" in " ".join(words.reasons(diff_of([20, 5, 5], [20, 5, 5])))
    assert "gross" in " ".join(
        words.reasons(diff_of([90, 0, 60], [20, 40, -40], "other", light="other"))
    )


def test_what_is_said_near_zero_holds_for_any_doubt():
    # two equal lots: the mean of a chi variable of 3 degrees of freedom is sqrt(8 / pi) = 1.596
    # of its own standard deviation, and less of a stated one, which holds a factor of safety
    draws = np.random.default_rng(3).normal(size=(100_000, 3))
    assert np.mean(np.linalg.norm(draws, axis=1)) == pytest.approx(1.6, abs=0.01)
    one, two = [50, 20, 20], [50.3, 20, 20]
    for loose in ({}, {"capture": "other", "light": "other"}):
        assert words.NEAR_ZERO in words.notes(diff_of(one, two, **loose))
    assert "leans upward" in words.NEAR_ZERO and "no difference seen" in words.NEAR_ZERO
    assert not any(c.isdigit() for c in words.NEAR_ZERO)  # no multiple of the doubt that is shown


def test_no_figure_is_a_minus_nothing():
    one, two = [50.0, 0.0, 0.0], [49.999, 0.0, -0.001]
    first, *_ = words.figures(diff_of(one, two))
    assert re.sub(r" ± \d+\.\d\d", "", first) == "ΔL* +0.00, ΔC* +0.00, ΔH* +0.00."
    assert first.count(" ± ") == 3


def test_a_part_of_unknown_doubt_has_none_beside_it():
    one, two = (Colour(np.array([v, 20.0, 0.0]), SMALL, "none") for v in (50, 52))
    judged = judge(one, two, Conditions("same frame"))
    first, *_ = words.figures(judged)
    assert first == "ΔL* +2.00, ΔC* +0.00, ΔH* +0.00."
