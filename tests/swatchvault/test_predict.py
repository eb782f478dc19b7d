"""Shade from recipe: the fit, its bounds, the pot, and recipes for a colour."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.colour import delta_e_2000
from swatchvault import bands
from swatchvault.basefit import LEAST_SCALE
from swatchvault.basemodel import within_95
from swatchvault.errors import AmountError, SwatchvaultError
from swatchvault.predict import BaseModel, DyedLot, Undyed, correct_pot, fit_base, recipes_for
from tests.prediction.evaluate import CHI2_3_95, Case, Kitchen, kitchen, recipe
from tests.prediction.worlds import dye_pots, recipes

# ---------------------------------------------------------------------------------------------
# The sum on paper: worked by hand from K/S = (1 - R)² / 2R
# ---------------------------------------------------------------------------------------------


def test_worked_example_of_single_constant_theory():
    own, one = bands.ks(0.70), bands.ks(0.20)
    assert one == pytest.approx(1.6)
    assert own == pytest.approx(0.0643, abs=5e-5)
    per_percent = one - own
    assert per_percent == pytest.approx(1.5357, abs=5e-5)
    assert bands.reflectance(own + 0.5 * per_percent) == pytest.approx(0.2970, abs=5e-5)
    assert bands.reflectance(own + 2.0 * per_percent) == pytest.approx(0.1227, abs=5e-5)


@given(st.floats(1e-4, 1.0))
def test_reflectance_and_ks_are_inverse(r):
    assert bands.reflectance(bands.ks(r)) == pytest.approx(r, rel=1e-6)


# ---------------------------------------------------------------------------------------------
# The forward model
# ---------------------------------------------------------------------------------------------


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000))
def test_derivatives_agree_with_differences(seed):
    rng = np.random.default_rng(seed)
    layout = bands.Layout(3)
    mean, factor = layout.prior()
    theta = mean + factor @ (0.5 * rng.normal(size=layout.size))
    depths = rng.uniform(0.05, 2.0, (2, 3))
    depths[0, 1] = 0.0
    got = bands.forward(layout, theta, depths)
    np.testing.assert_allclose(got.lab, bands.lab_of(layout, theta, depths), atol=1e-9)
    steps = 1e-5 * np.eye(layout.size)
    by_theta = [
        (bands.lab_of(layout, theta + s, depths) - bands.lab_of(layout, theta - s, depths)) / 2e-5
        for s in steps
    ]
    np.testing.assert_allclose(got.by_theta, np.stack(by_theta, axis=-1), atol=1e-5)
    by_depth = [
        (bands.lab_of(layout, theta, depths[1] + s) - bands.lab_of(layout, theta, depths[1] - s))
        / 2e-5
        for s in 1e-5 * np.eye(3)
    ]
    np.testing.assert_allclose(got.by_depth[1], np.stack(by_depth, axis=-1), atol=1e-4)


@pytest.mark.parametrize("lab", [(50, 0, 0), (50, 30, -60), (20, 5, 5), (85, -10, 80)])
def test_metric_is_that_of_ciede2000(lab):
    step = np.array([0.2, -0.15, 0.25])
    near = float(step @ bands.metric(lab) @ step) ** 0.5
    assert near == pytest.approx(float(delta_e_2000(lab, np.add(lab, step))), rel=0.15)


# ---------------------------------------------------------------------------------------------
# The fit
# ---------------------------------------------------------------------------------------------


@cache
def some_kitchen(seed: int = 0) -> Kitchen:
    return kitchen(Case("published", lots=14), np.random.default_rng(seed))


def lots_of(k: Kitchen, **changed: object) -> list[DyedLot]:
    rows = zip(k.depths, k.lab, strict=True)
    return [DyedLot(f"lot {i}", recipe(d), lab, **changed) for i, (d, lab) in enumerate(rows)]


def asked_of(k: Kitchen, n: int = 60) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(99)
    rows = [r for r in recipes(rng, n) if k.model.why_outside(recipe(r)) is None]
    return np.stack(rows), dye_pots(rng, k.world, np.stack(rows))


def test_it_foretells_what_it_has_not_seen():
    misses, held, nearest = [], [], []
    for seed in range(4):
        k = some_kitchen(seed)
        depths, truth = asked_of(k)
        for row, lab in zip(depths, truth, strict=True):
            shade = k.model.predict(recipe(row))
            off = lab - shade.lab
            misses.append(float(delta_e_2000(shade.lab, lab)))
            held.append(off @ np.linalg.solve(shade.covariance, off) <= CHI2_3_95)
        apart = np.abs(np.sqrt(k.depths) - np.sqrt(depths)[:, None]).sum(-1).argmin(1)
        nearest.append(delta_e_2000(k.lab[apart], truth))
    assert np.median(misses) < 1.2
    assert np.median(misses) < np.median(np.concatenate(nearest)) / 4
    assert np.mean(held) >= 0.90


def test_doubt_grows_away_from_the_lots():
    k = some_kitchen()
    commonest = np.argmax((k.depths > 0).sum(axis=0))
    holding = np.flatnonzero(k.depths[:, commonest] > 0)
    fewer = [lot for i, lot in enumerate(lots_of(k)) if i not in holding[1:]]
    undyed = [Undyed(k.world.lab(np.zeros(5)))]
    asked = recipe(k.depths[holding[-1]])
    doubts = []
    for model in (fit_base(lots_of(k), undyed), fit_base(fewer, undyed)):
        covariance = model.estimate(model.row(asked))[1][0] / model.scale**2
        doubts.append(np.sqrt(np.trace(covariance)))
    assert doubts[1] > 1.3 * doubts[0]


def test_a_lot_noted_wrongly_stands_out_and_widens_the_doubt():
    k = some_kitchen()
    lots = lots_of(k)
    wrong = [DyedLot("odd", lots[3].depths, np.add(lots[3].lab, (12, -15, 9)))]
    undyed = [Undyed(k.world.lab(np.zeros(5)))]
    model = fit_base([*lots[:3], *wrong, *lots[4:]], undyed)
    assert max(model.left_out, key=lambda lot: lot.surprise).name == "odd"
    assert model.scale > 1.5 * fit_base(lots, undyed).scale


def test_photos_better_than_stated_do_not_shrink_the_rest_of_the_doubt():
    """What is stated of photos says nothing of weighing; "19 of 20" had held 84 % then."""
    k = some_kitchen()
    undyed = [Undyed(k.world.lab(np.zeros(5)))]
    model = fit_base(lots_of(k, covariance=4.0**2 * np.eye(3)), undyed)
    assert model.scale == LEAST_SCALE


def test_every_lot_is_left_out_once_and_for_real():
    k = some_kitchen()
    lots = lots_of(k)
    assert [lot.name for lot in k.model.left_out] == [lot.name for lot in lots]
    others = fit_base(lots[1:], [Undyed(k.world.lab(np.zeros(5)))])
    row = others.row(lots[0].depths)
    by_others = others.estimate(row)[0][0]
    whole = fit_base(lots, [Undyed(k.world.lab(np.zeros(5)))])
    assert float(delta_e_2000(by_others, whole.left_out[0].lab)) < 0.3


def test_order_of_lots_and_names_of_dyes_do_not_matter():
    k = some_kitchen()
    undyed = [Undyed(k.world.lab(np.zeros(5)))]
    straight = fit_base(lots_of(k), undyed)
    swapped = {"a": "z", "b": "b", "c": "c", "d": "d", "e": "a"}
    other = fit_base(
        [
            DyedLot(lot.name, {swapped[d]: c for d, c in lot.depths.items()}, lot.lab)
            for lot in reversed(lots_of(k))
        ],
        undyed,
    )
    asked = recipe(k.depths[2])
    one = straight.predict(asked)
    two = other.predict({swapped[d]: c for d, c in asked.items()})
    assert float(delta_e_2000(one.lab, two.lab)) < 0.02
    assert two.within_95 == pytest.approx(one.within_95, rel=0.05)


def test_an_undyed_swatch_counts_by_its_own_doubt():
    """Read 4 units too yellow, it moves the base the less, and says the less of it, the more it is
    doubted."""
    k = some_kitchen()
    base = k.world.lab(np.zeros(5))
    models = [
        fit_base(lots_of(k), [Undyed(base + np.array([0.0, 0.0, 4.0]), doubt)])
        for doubt in (np.eye(3) * 0.1**2, None, np.eye(3) * 4.0**2)
    ]
    assert models[1].data.reading[-1] == pytest.approx(np.eye(3) * 0.3**2)
    labs, covariances = zip(*(m.estimate(np.zeros((1, 5))) for m in models), strict=True)
    yellow = [float(lab[0, 2] - base[2]) for lab in labs]
    assert yellow[0] > yellow[1] > 2.0 * yellow[2] > 0.0
    doubts = [
        float(np.sqrt(c[0, 2, 2])) / m.scale for c, m in zip(covariances, models, strict=True)
    ]
    assert doubts == sorted(doubts) and doubts[2] > 2.0 * doubts[0]


def test_undyed_swatches_give_the_base_of_its_own():
    k = some_kitchen()
    assert float(delta_e_2000(k.model.predict({}).lab, k.world.lab(np.zeros(5)))) < 0.5
    without = fit_base(lots_of(k))
    assert not without.predict({}).inside
    assert "undyed" in without.predict({}).why


def test_lots_of_one_recipe_do_not_vouch_for_each_other():
    """Nine more lots of one recipe say how pots scatter, not how well the model foretells."""
    k = some_kitchen()
    again = [
        DyedLot(f"again {i}", recipe(k.depths[0] * (1 + 0.005 * i)), k.lab[0]) for i in range(9)
    ]
    plain, many = fit_base(lots_of(k)), fit_base([*lots_of(k), *again])
    assert len(many.left_out) == len(plain.left_out) + 9
    assert many.n_recipes == plain.n_recipes == len(plain.left_out)
    lots = many.n_recipes + 9
    assert many.learned == f"learned from {many.n_recipes} recipes in {lots} lots"
    first = {x.name: x for x in plain.left_out}["lot 0"]
    for lot in many.left_out:
        if lot.name.startswith("again"):
            assert lot.delta_e_00 == pytest.approx(first.delta_e_00, abs=0.3)
    assert many.scale > 0.7 * plain.scale


def test_too_few_recipes_are_refused():
    k = some_kitchen()
    same = [DyedLot(f"lot {i}", recipe(k.depths[i % 2]), k.lab[i % 2]) for i in range(8)]
    with pytest.raises(SwatchvaultError, match=r"8 lots .* follow 2 recipe"):
        fit_base(same)


def test_of_many_recipes_two_dozen_are_left_out():
    k = kitchen(Case("published", lots=30), np.random.default_rng(0))
    assert len(k.model.left_out) == 24
    assert k.model.n_lots == k.model.n_recipes == 30
    how = "by leaving out 24 of the recipes in turn"
    assert k.model.learned == f"learned from 30 recipes in 30 lots {how}"
    assert "From 30 lots" in k.model.predict(recipe(k.depths[0])).why


def test_overdyed_lots_count_only_when_asked_for():
    k = some_kitchen()
    odd = [DyedLot("over", recipe(k.depths[0]), (30, 0, 0), overdyes=True)]
    plain = fit_base([*lots_of(k), *odd])
    assert plain.not_used == {"over": "it was dyed over an earlier lot"}
    assert len(plain.left_out) == 14
    asked = fit_base([*lots_of(k), *odd], include_overdyed=True)
    assert (plain.n_lots, asked.n_lots) == (14, 15)


def test_an_unmeasured_lot_is_left_out_and_an_unknown_doubt_is_the_usual_one():
    k = some_kitchen()
    lots = lots_of(k, covariance=np.full((3, 3), np.nan))
    model = fit_base([*lots, DyedLot("blank", {"a": 1.0}, (np.nan, 0, 0))])
    assert model.not_used == {"blank": "it has no measured colour"}
    same = fit_base(lots_of(k))
    np.testing.assert_allclose(model.fit.theta, same.fit.theta)


# ---------------------------------------------------------------------------------------------
# What it refuses
# ---------------------------------------------------------------------------------------------


def hand_made(**kwargs: object) -> BaseModel:
    """Dyes a and b together, b and c together, a and c never; no pot of three."""
    pots = [(1, 0.5, 0), (0.3, 1, 0), (0, 1, 0.4), (0, 0.2, 1), (0.5, 0, 0), (0, 0, 0.6)]
    lots = [
        DyedLot(str(i), dict(zip("abc", map(float, p), strict=True)), (60 - 10 * sum(p), 5 * i, 9))
        for i, p in enumerate(pots)
    ]
    return fit_base(lots, [Undyed((88, 0, 9))], **kwargs)  # type: ignore[arg-type]


@cache
def plain_model() -> BaseModel:
    return hand_made()


@pytest.mark.parametrize(
    ("depths", "why"),
    [
        ({"a": 0.5, "b": 0.5}, None),
        ({"a": 0.02}, None),
        ({"b": 0.5}, "b was never more than 77 % of the dye"),
        ({"a": 1.05}, None),
        ({"a": 1.2}, "deeper than any lot"),
        ({"a": 1.0, "b": 1.0}, "more than any lot"),
        ({"a": 0.5, "c": 0.5}, "a and c were never in one pot"),
        ({"a": 0.2, "b": 0.2, "c": 0.2}, "3 dyes in one pot"),
        ({"d": 0.2}, "d is in none"),
        ({"d": 0.0, "a": 0.2}, None),
    ],
)
def test_outside_the_depths_and_mixtures_seen_it_says_nothing(depths, why):
    shade = plain_model().predict(depths)
    if why is None:
        assert shade.inside
        assert np.isfinite(shade.lab).all()
        assert shade.within_95 > 0
    else:
        assert not shade.inside
        assert why in shade.why
        assert np.isnan(shade.lab).all()
        assert np.isnan(shade.covariance).all()


@pytest.mark.parametrize(
    ("depths", "inside"),
    [
        ({"b": 0.5}, False),
        ({"b": 0.5, "a": 0.05}, False),
        ({"b": 0.5, "a": 0.2}, True),
        ({"a": 0.5}, True),
    ],
)
def test_a_dye_is_not_known_without_the_one_it_always_came_with(depths, inside):
    pots = [(0.6, 0.8), (0.4, 0.8), (0.5, 0.2), (0.5, 0), (0.2, 0), (1, 0), (1, 1)]
    lots = [
        DyedLot(str(i), dict(zip("ab", map(float, p), strict=True)), (60 - 10 * sum(p), 5 * i, 9))
        for i, p in enumerate(pots)
    ]
    shade = fit_base(lots, [Undyed((88, 0, 9))]).predict(depths)
    assert shade.inside is inside
    assert inside or "b was never in a pot on this base without at least 0.5 times" in shade.why


def test_fluorescent_dyes_are_refused():
    k = some_kitchen()
    model = fit_base(lots_of(k) + lots_of(some_kitchen(0)), fluorescent={"a": "is fluorescent"})
    assert all("fluorescent" in why for why in model.not_used.values())
    assert "a" not in model.dyes
    assert "fluorescent" in model.predict({"a": 0.5}).why
    assert all("a" not in found.depths for found in recipes_for(model, (50, 10, 10)))


@pytest.mark.parametrize("depth", [-0.1, 400.0, float("nan")])
def test_absurd_depths_are_one_clear_line(depth):
    with pytest.raises(AmountError, match="the depth of a is"):
        plain_model().predict({"a": depth})


def test_too_few_lots_are_refused():
    with pytest.raises(SwatchvaultError, match="2 lots on this base can be used"):
        fit_base(lots_of(some_kitchen())[:2])


@pytest.mark.parametrize("lab", [(50, 0), (500, 0, 0)])
def test_a_lab_that_is_no_colour_is_refused(lab):
    odd = [DyedLot("odd", {"a": 1.0}, lab)]
    with pytest.raises(SwatchvaultError, match=r"odd: .* is no colour"):
        fit_base(lots_of(some_kitchen()) + odd)


# ---------------------------------------------------------------------------------------------
# The pot and the colour
# ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_one_addition_brings_a_weak_pot_home(seed):
    k = some_kitchen(seed)
    depths, _ = asked_of(k)
    row = depths[np.argmax(depths.sum(axis=1) < 2.5)]
    short = row * np.where(np.arange(5) == np.argmax(row), 0.6, 1.0)
    target, pot = k.world.lab(row), k.world.lab(short)
    got = correct_pot(k.model, recipe(short), pot, target)
    assert got.inside
    assert got.delta_e_before == pytest.approx(float(delta_e_2000(pot, target)))
    added = np.array([got.add.get(d, 0.0) for d in "abcde"])
    after = float(delta_e_2000(k.world.lab(short + added), target))
    assert after < min(1.5, got.delta_e_before / 2)
    assert after <= got.within_95


def test_a_pot_with_too_much_in_it_is_left_alone():
    k = some_kitchen()
    row = asked_of(k)[0][0]
    pot, target = k.world.lab(row), k.world.lab(0.5 * row)
    got = correct_pot(k.model, recipe(row), pot, target)
    assert got.add == {}
    assert "not taken out" in got.why
    assert got.delta_e_after == pytest.approx(got.delta_e_before, abs=0.5)


def test_only_dyes_at_hand_are_added_and_only_where_the_lots_reach():
    k = some_kitchen()
    row = asked_of(k)[0][0]
    got = correct_pot(
        k.model, recipe(0.5 * row), k.world.lab(0.5 * row), k.world.lab(row), dyes=["a"]
    )
    assert set(got.add) <= {"a"}
    beyond = correct_pot(k.model, {"a": 90.0}, (30, 0, 0), (20, 0, 0))
    assert not beyond.inside
    assert beyond.add == {}
    assert "deeper" in beyond.why


def test_what_was_measured_of_the_pot_outweighs_what_was_foretold():
    """A pot that came out lighter than foretold needs more than the missing part of its recipe."""
    k = some_kitchen()
    row = asked_of(k)[0][0]
    target = k.model.predict(recipe(row)).lab
    weak = correct_pot(k.model, recipe(row), k.world.lab(0.7 * row), target)
    assert sum(weak.add.values()) > 0.15 * row.sum()


def test_recipes_come_near_and_are_ranked():
    k = some_kitchen()
    for row in asked_of(k)[0][:3]:
        target = k.world.lab(row)
        found = recipes_for(k.model, target)
        score = [f.delta_e_00 + 0.5 * len(f.depths) for f in found]
        assert score == pytest.approx(sorted(score), abs=1e-9)  # equal ones to rounding
        assert all(k.model.why_outside(f.depths) is None for f in found)
        assert found[0].delta_e_00 < 1.0
        assert len({tuple(f.depths) for f in found}) == len(found)
        best = found[0].depths
        real = k.world.lab(np.array([best.get(d, 0.0) for d in "abcde"]))
        assert float(delta_e_2000(real, target)) < 2.5


def test_other_dyes_that_could_have_given_it():
    k = some_kitchen()
    target = k.world.lab(asked_of(k)[0][0])
    found = recipes_for(k.model, target, dyes=["a", "b"], most_dyes=1)
    assert all(set(f.depths) <= {"a", "b"} and len(f.depths) == 1 for f in found)
    with pytest.raises(SwatchvaultError, match="none of these dyes"):
        recipes_for(k.model, target, dyes=["unknown"])
    with pytest.raises(SwatchvaultError, match="is no colour"):
        recipes_for(k.model, (50, float("nan"), 0))


def test_a_single_dye_is_found_again():
    model = plain_model()
    lab = model.predict({"c": 0.4}).lab
    found = recipes_for(model, lab)[0]
    assert set(found.depths) == {"c"}
    assert found.depths["c"] == pytest.approx(0.4, rel=0.01)


def test_within_95_of_draws():
    lab, cov = np.array([50.0, 0, 0]), np.diag([1.0, 1e-6, 1e-6])
    assert within_95(lab, cov) == pytest.approx(1.96, rel=0.08)
    assert within_95(lab, cov, np.array([60.0, 0, 0])) > 9
