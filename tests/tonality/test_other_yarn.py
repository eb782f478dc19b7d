"""The second renderer: what its dye, its light and its tables hold to."""

import sys
from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from ingest.colour import D65, delta_e_2000, xyz_to_lab
from tests.tonality import __main__ as study
from tests.tonality.draws import KINDS
from tests.tonality.other_draws import APART, draw
from tests.tonality.other_dyes import (
    BANDS_NM,
    BASES,
    TABLE_MM,
    Dyeing,
    absorbance,
    bands_to_xyz,
    colours,
    dye,
    undyed,
)
from tests.tonality.other_figures import rows_of
from tests.tonality.other_lay import FORMS, Yarn, lay
from tests.tonality.other_strands import MARGIN_MM, surface
from tests.tonality.other_yarn import (
    Drawn,
    Lamps,
    draw_yarn,
    key_light,
    open_share,
    photograph,
    radiance,
    render,
    truth_of,
)
from tests.tonality.renderer_tables import Row, classes, far_outside, measured, ranges

DEEP_RED = (("red", 1.5), ("brown", 0.4))
HALF_BLACK = (("black", 1.0),)
STARTS, LENGTHS = 170.0 * np.arange(40), np.full(40, 70.0)


def small(form, kind="semi-solid", seed=5, hard=False, **more):
    """A case of a few strands, quickly drawn."""
    case = draw(seed, hard, kind, False)
    camera = replace(case.camera, px_per_mm=8.0)
    return replace(case, form=form, camera=camera, size_mm=(24.0, 18.0), **more)


@cache
def drawn(form, kind="semi-solid"):
    return draw_yarn(small(form, kind))


def dyed(dyeing, seed=1):
    return dye(np.random.default_rng(seed), dyeing, STARTS, LENGTHS)


@pytest.mark.parametrize("form", FORMS)
def test_what_is_seen_is_the_highest_of_tubes(form):
    yarn, size = Yarn(2.0), (24.0, 18.0)
    lines = lay(np.random.default_rng(1), form, yarn, size)
    seen = surface(np.random.default_rng(2), lines, yarn, size, 10.0)
    assert seen.height.shape == (180, 240)
    assert np.allclose(np.linalg.norm(seen.normal, axis=-1), 1.0, atol=1e-5)
    assert (seen.normal[..., 2] > 0.0).all()
    top = lines.points[..., 2].max() + 0.5 * yarn.diameter_mm * 1.4
    assert lines.points[..., 2].min() - yarn.diameter_mm < seen.height.min()
    assert seen.height.max() < top
    assert seen.upper.mean() > 0.85  # gaps are few
    assert (seen.along <= seen.lengths_mm[seen.piece] + 1e-3).all()


@pytest.mark.parametrize("plies", [1, 3])
@pytest.mark.parametrize("form", FORMS)
def test_normals_are_those_of_the_height(form, plies):
    """Where the surface is smooth, its slope is what its normal says."""
    yarn, size, px = Yarn(3.0, plies, 9.0, swell=0.0), (24.0, 18.0), 30.0
    lines = lay(np.random.default_rng(1), form, yarn, size)
    seen = surface(np.random.default_rng(2), lines, yarn, size, px)
    height, normal = (cv2.GaussianBlur(a, (0, 0), 2.0) for a in (seen.height, seen.normal))
    down, across = np.gradient(height.astype(float), 1.0 / px)
    flat = (np.hypot(down, across) < 0.8) & seen.upper
    told = -normal[..., :2] / normal[..., 2:]
    for slope, said in ((across, told[..., 0]), (down, told[..., 1])):
        assert np.corrcoef(slope[flat], said[flat])[0, 1] > 0.9
        assert slope[flat].std() == pytest.approx(said[flat].std(), rel=0.15)


def test_a_band_of_all_light_is_white_and_more_dye_is_darker():
    assert np.allclose(bands_to_xyz().sum(axis=0), D65)
    depths = [0.0, 0.2, 0.6, 1.5, 4.0]
    for base in BASES:
        for name in ("red", "black"):
            lab = colours(Dyeing(base, "solid", tuple(((name, d),) for d in depths)))
            assert (np.diff(lab[:, 0]) < 0.0).all()


def test_two_dips_take_what_one_dip_of_both_takes():
    """Beer and Lambert: absorbances add."""
    both = absorbance((("red", 0.5), ("blue", 0.7)))
    assert np.allclose(both, absorbance((("red", 0.5),)) + absorbance((("blue", 0.7),)))
    assert both.shape == BANDS_NM.shape


def test_neutral_dyes_are_nearly_grey():
    for name in ("black", "slate"):
        recipes = tuple(((name, d),) for d in (0.3, 1.0, 3.0))
        chroma = np.hypot(*colours(Dyeing("white", "solid", recipes))[:, 1:].T)
        assert (chroma < 10.0).all()


@pytest.mark.parametrize("breaks", [0.0, 0.3])
def test_a_semi_solid_holds_its_mean_depth(breaks):
    lot = Dyeing("white", "semi-solid", (DEEP_RED,), spread=0.4, breaks=breaks)
    found = dyed(lot)
    assert np.allclose(found.amounts.mean(axis=(0, 1, 2)), 1.0, atol=1e-5)
    most = 0.42 * np.hypot(1.0, breaks / 0.4)  # of a normal ln with sd 0.4, sd over mean is 0.42
    assert (found.amounts.std(axis=(0, 1, 2)) < 1.3 * most).all()
    assert (found.amounts.std(axis=(0, 1, 2)) > 0.3).all()
    whole = found.amounts.mean(axis=(0, 1, 2)) @ found.absorbances
    assert np.allclose(whole, absorbance(DEEP_RED), atol=1e-4)


def test_specks_cover_the_share_that_is_asked():
    lot = Dyeing(
        "white", "speckled", ((), HALF_BLACK), cover=0.10, speck_mm=3.0, blend_mm=0.3, spread=0.0
    )
    shares = dyed(lot).amounts
    assert shares[..., 1].mean() == pytest.approx(0.10, abs=0.02)
    assert shares.max() <= 1.0 + 1e-5


def test_patches_are_as_long_as_asked_and_none_fills_the_yarn():
    lot = Dyeing("white", "variegated", (DEEP_RED, ()), patch_mm=60.0, blend_mm=0.5)
    shares = dyed(lot).amounts
    assert 0.2 < shares[..., 0].mean() < 0.8
    changes = np.abs(np.diff(shares[..., 0] > 0.5, axis=1)).sum()
    runs = STARTS.size * 70.0 / changes
    assert runs == pytest.approx(60.0, rel=0.5)


def test_a_pots_pattern_comes_again_with_each_round():
    lot = Dyeing("white", "semi-solid", (HALF_BLACK,), spread=0.3, shared=1.0, round_mm=1500.0)
    starts = np.array([0.0, 1500.0, 3000.0, 3700.0])
    depth = dye(np.random.default_rng(1), lot, starts, np.full(4, 70.0)).amounts[:, :, 0, 0]
    assert np.allclose(depth[0], depth[2])
    assert not np.allclose(depth[0], depth[3])


def test_a_gradient_goes_one_way():
    for lot, at in (
        (Dyeing("white", "gradient", (DEEP_RED, ())), STARTS),
        (Dyeing("white", "gradient", (DEEP_RED, ()), dipped=True), 1500.0 * np.arange(40) + 100.0),
    ):
        shares = dye(np.random.default_rng(1), lot, at, LENGTHS).amounts[..., 0, 0]
        way = shares.mean(axis=0 if lot.dipped else 1)
        inside = way[1:-1] if not lot.dipped else way[: int(70.0 / TABLE_MM)]
        assert (np.diff(inside) <= 1e-6).all() and inside[0] > 0.9 and inside[-1] < 0.1


@pytest.mark.parametrize("form", FORMS)
def test_a_solid_is_even_and_a_semi_solid_is_not(form):
    assert truth_of(drawn(form, "solid"))["unevenness"] < 1e-3
    assert truth_of(drawn(form))["unevenness"] > 0.2


def test_yarn_that_only_fills_gaps_has_no_part_in_the_truth():
    made = drawn("skein")
    black = np.where(made.surface.upper[..., None], made.reflectance, 0.0).astype(np.float32)
    assert not made.surface.upper.all()
    assert truth_of(replace(made, reflectance=black)) == truth_of(made)


def test_light_alone_moves_no_truth():
    case = small("skein")
    other = replace(case, lamps=Lamps(0.1, 25.0, 10.0, 300.0), ground_slope=0.1)
    one, two = render(case), render(other)
    assert one.truth == two.truth
    assert np.abs(one.linear - two.linear).mean() > 0.01


def test_a_level_plane_far_from_the_lamp_is_lit_as_one():
    height, normal = np.zeros((60, 80), np.float32), np.zeros((60, 80, 3), np.float32)
    normal[..., 2] = 1.0
    lamps = Lamps(0.2, 40.0, 30.0, 1e6)
    assert np.allclose(key_light(height, normal, lamps, 10.0, 2.0), 1.0, atol=1e-3)
    assert np.allclose(open_share(height, 10.0, 2.0), 1.0)
    near = key_light(height, normal, replace(lamps, away_mm=50.0, azimuth_deg=0.0), 10.0, 2.0)
    assert (np.diff(near[30]) > 0.0).all()  # brighter towards the lamp


def test_a_wall_casts_its_shadow_away_from_the_lamp():
    height, normal = np.zeros((60, 120), np.float32), np.zeros((60, 120, 3), np.float32)
    normal[..., 2] = 1.0
    height[:, 60:64] = 1.0
    lit = key_light(height, normal, Lamps(0.2, 45.0, 0.0, 1e6, wrap=0.0), 10.0, 2.0)
    assert lit[30, 55] < 0.1 and lit[30, 70] > 0.9  # 45°: as long as the wall is high, 10 px
    assert lit[30, 45] > 0.9
    shut = open_share(height, 10.0, 2.0)
    assert shut[30, 58] < 0.9 < shut[30, 10]


def test_light_from_yarn_to_yarn_has_met_the_dye_twice():
    """In gaps a red yarn is redder than on crests, and not without that light."""
    lot = Dyeing("white", "solid", ((("red", 1.0),),))
    case = small("wound card", "solid", lamps=Lamps(0.3, 40.0, 60.0, 1e6, bounce=1.0))
    case = replace(case, dyeing=lot, ground_slope=0.0)
    made = draw_yarn(case)

    def redder(bounce):
        light = radiance(made, replace(case, lamps=replace(case.lamps, bounce=bounce)))
        edge = round(MARGIN_MM * made.px_per_mm)
        inner = light[edge:-edge, edge:-edge].reshape(-1, len(BANDS_NM))
        whole = inner.sum(axis=1)
        low, high = (inner[whole < np.quantile(whole, 0.1)], inner[whole > np.quantile(whole, 0.9)])
        ratio = [(part[:, -1] / part[:, 4]).mean() for part in (low, high)]
        return ratio[0] / ratio[1]

    assert redder(0.0) == pytest.approx(1.0, abs=0.01)
    assert redder(1.0) > 1.03


def test_a_photo_of_a_flat_grey_reads_as_it_is():
    case = small("knit")
    camera = replace(case.camera, veil=0.0, wb_error=(0.0, 0.0), gamma_error=0.0, quality=95)
    jpeg, exposure = photograph(
        np.random.default_rng(1), np.full((64, 64, 3), 0.2, np.float32), camera
    )
    seen = replace(render(case), jpeg=jpeg, exposure=exposure)
    assert np.allclose(seen.linear.mean(axis=(0, 1)), 0.2, rtol=0.02)


@pytest.mark.parametrize("form", FORMS)
def test_a_case_gives_the_same_bytes_again_and_a_seed_its_own(form):
    case = small(form)
    one = render(case)
    assert (one.jpeg, one.truth, one.exposure) == tuple(
        getattr(render(case), n) for n in ("jpeg", "truth", "exposure")
    )
    assert render(replace(case, seed=6)).jpeg != one.jpeg
    h, w = one.coded.shape[:2]
    assert (round(w / 8.0), round(h / 8.0)) == (24, 18)


def test_one_yarn_in_six_is_neutral_and_its_liquors_lie_apart():
    cases = [draw(seed, False) for seed in range(600)]
    assert np.mean([c.neutral for c in cases]) == pytest.approx(1.0 / 6.0, abs=0.04)
    assert {c.kind for c in cases} == set(KINDS) and {c.form for c in cases} == set(FORMS)
    for case in cases:
        lab = colours(case.dyeing)
        if case.neutral:
            assert (np.hypot(*lab[:, 1:].T) < 14.0).all()  # cream undyed has a chroma of 12
        if case.kind in APART:
            assert (delta_e_2000(lab[0], lab[1:]) >= APART[case.kind]).all()


def test_a_drawn_case_shows_the_colour_of_its_recipe():
    case = small("wound card", "solid")
    made = drawn("wound card", "solid")
    seen = xyz_to_lab(made.reflectance.mean(axis=(0, 1)) @ bands_to_xyz())
    assert delta_e_2000(seen, colours(case.dyeing)[0]) < 0.05
    assert isinstance(made, Drawn) and undyed(case.dyeing.base).shape == BANDS_NM.shape


def test_tables_count_what_is_right_held_and_far_outside():
    """Of a solid found as it is, and a painted grey taken for a solid."""
    solid = replace(draw(3, False, "solid", True), form="wound card")
    row = measured(solid, render(replace(solid, camera=replace(solid.camera, px_per_mm=6.0))))
    good = Row(solid, row.found.low, replace(row.found, name="solid"), row.inside)
    grey = replace(solid, kind="speckled", seed=4)
    bad = Row(grey, row.found.high + 1.5, replace(row.found, name="solid"), row.inside)
    said = "\n".join(classes([good, bad]))
    assert "right 50.0%, of those decided 50.0%, cannot tell 0.0% (of 2)" in said
    assert "speckled, 1, called: solid 1" in said
    held = ranges([good, bad])
    assert "holds 100.0%, 100.0%, 100.0%; off by over 1: 0 (of 1)" in held[0]
    assert "holds 0.0%, 0.0%, 0.0%; off by over 1: 1 (of 1)" in held[-1]
    listed = far_outside([good, bad])
    assert listed[0].endswith(": 1") and listed[1].startswith("  4 speckled, wound card: true")
    assert "whole" in listed[2] and "depth_off" in listed[2]


def run(monkeypatch, capsys, *more):
    monkeypatch.setattr(sys, "argv", ["tests.tonality", "other", *more])
    study.main()
    return capsys.readouterr().out


def test_the_command_prints_its_tables(tmp_path, monkeypatch, capsys):
    out = run(monkeypatch, capsys, "--to", str(tmp_path), "--count", "3")
    assert "flat, softly lit, 3 photos" in out and "hard, 3 photos" in out
    assert out.count("all yarns, 3") == 2 and out.count("neutral yarns off by over 1: ") == 2
    made = {p: p.stat().st_mtime_ns for p in tmp_path.iterdir()}
    assert len(made) == 12
    assert len(rows_of(tmp_path, 3, False)) == 3
    assert {p: p.stat().st_mtime_ns for p in tmp_path.iterdir()} == made  # rendered once


def test_the_command_draws_neutral_yarns_alone_where_asked(tmp_path, monkeypatch, capsys):
    out = run(monkeypatch, capsys, "--to", str(tmp_path), "--count", "1", "--neutral")
    assert out.count("neutral yarns, 1") == 2
    assert "coloured yarns" not in out and "all yarns" not in out
