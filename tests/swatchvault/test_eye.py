"""The rule fitted to the dyer's words: what moves, what stays, and what that gains."""

from dataclasses import replace

import numpy as np
import pytest

from ingest.evenness_rule import DEFAULT
from swatchvault import eye
from swatchvault.errors import CompareError
from swatchvault.eye import BORDERS, FACTORS, FEWEST, LEAST_GAIN, Named, best_factor, refit, scaled
from tests.ingest.test_evenness_stored import PLAIN


def named(word, whole=True, **figures):
    return Named(f"{word} {figures}", word, replace(PLAIN, **figures), whole=whole)


def by_an_eye_with_floor(floor, count=40, whole=True):
    """Swatches over a range of unevenness, named by somebody whose floor is this."""
    values = np.linspace(0.05, 1.2, count)
    words = ["semi-solid" if v >= floor else "solid" for v in values]
    return [named(w, whole, unevenness=float(v)) for w, v in zip(words, values, strict=True)]


def test_too_few_swatches_are_refused_in_a_line():
    with pytest.raises(CompareError, match=f"{FEWEST} are needed"):
        refit(by_an_eye_with_floor(0.6, FEWEST - 1))


@pytest.mark.parametrize("floor", [0.15, 0.7])
def test_the_floor_goes_where_the_dyer_has_it(floor):
    found = refit(by_an_eye_with_floor(floor, 80))
    assert found.limits.floor == pytest.approx(floor, abs=0.08)
    assert found.after.right > found.before.right
    assert found.better
    assert {m.threshold for m in found.moved} == {"floor", "floor_per_doubt", "floor_most"}


def test_an_eye_that_sees_as_the_program_moves_nothing():
    found = refit(by_an_eye_with_floor(DEFAULT.floor))
    assert found.limits == DEFAULT
    assert found.moved == ()
    assert found.after.right == found.before.right
    assert not found.better


def test_borders_that_too_few_speak_for_stay():
    few = [named("variegated", reach=4.0) for _ in range(4)]
    found = refit([*by_an_eye_with_floor(0.7), *few])
    assert found.limits.variegated_reach == DEFAULT.variegated_reach
    assert set(found.kept) == {"gradient", "speckled", "variegated"}


def test_variegated_is_learnt_from_five():
    some = [named("variegated", reach=4.0 + 0.1 * i, unevenness=2.0) for i in range(8)]
    found = refit([*by_an_eye_with_floor(DEFAULT.floor), *some])
    assert found.limits.variegated_reach < 4.0
    assert found.after.right == found.before.right + 8


def test_older_records_speak_for_their_one_border_only():
    some = [named("variegated", False, reach=float("nan")) for _ in range(8)]
    found = refit([*by_an_eye_with_floor(0.7, whole=False), *some])
    assert set(found.kept) == {"gradient", "speckled", "variegated"}
    assert found.limits.floor > 0.6


def test_each_swatch_is_judged_by_a_rule_fitted_without_it(monkeypatch):
    used, fit = [], eye.fit

    def watched(table, rows):
        used.append(np.flatnonzero(~rows).tolist())
        return fit(table, rows)

    monkeypatch.setattr(eye, "fit", watched)
    refit(by_an_eye_with_floor(0.7, FEWEST))
    assert used == [[], *([row] for row in range(FEWEST))]


def test_words_at_random_gain_nothing_that_leaving_out_would_show():
    rng = np.random.default_rng(4)
    values = rng.uniform(0.05, 1.2, 60)
    words = rng.choice(["solid", "semi-solid"], 60)
    swatches = [named(str(w), unevenness=float(v)) for w, v in zip(words, values, strict=True)]
    found = refit(swatches)
    assert found.after.right <= found.before.right + 6  # of 60; seen: no gain worth the name


@pytest.mark.parametrize(
    ("best", "taken"),
    [
        (range(41), 20),  # all alike: stay
        (range(18, 25), 20),
        (range(24, 31), 27),  # the middle of what fits
        ([2, 3, 4, 30, 31, 32], 31),  # the nearer of two runs
        ([5], 5),
    ],
)
def test_the_factor_taken(best, taken):
    scores = np.zeros(len(FACTORS))
    scores[list(best)] = LEAST_GAIN
    assert best_factor(scores) == taken
    scores[list(best)] = LEAST_GAIN - 0.5
    assert best_factor(scores) == 20  # one swatch could have done that


def test_a_border_moves_as_a_whole():
    moved = scaled(DEFAULT, BORDERS[3], 2.0)
    assert moved.floor == 2 * DEFAULT.floor
    assert moved.floor_most == 2 * DEFAULT.floor_most
    assert moved.solid_share == DEFAULT.solid_share
    assert FACTORS[len(FACTORS) // 2] == pytest.approx(1.0)
