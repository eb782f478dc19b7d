"""The third renderer: what its strands, its light and its cases hold to."""

import sys
from dataclasses import fields, replace

import cv2
import numpy as np
import pytest

from tests.tonality import __main__ as study
from tests.tonality.draws import FORMS as ALL_FORMS
from tests.tonality.draws import KINDS
from tests.tonality.third_draws import AIMS, FORMS, NEUTRAL_CHROMA, SPREADS, draw
from tests.tonality.third_dyes import lab_of
from tests.tonality.third_figures import kept, rows_of
from tests.tonality.third_lay import lay
from tests.tonality.third_light import Lamp, lit_share, open_sky, shade
from tests.tonality.third_noise import along, line, smooth, streaks
from tests.tonality.third_small import PX, drawn, small
from tests.tonality.third_strands import Canvas, twisted
from tests.tonality.third_yarn import draw_yarn, lit, render, signal, spread


@pytest.mark.parametrize("width", [1.2, 2.0, 3.5])
def test_every_pixel_of_a_wound_card_is_yarn(width):
    """Up to one in a thousand, where strands of all three layers part."""
    for seed in range(3):
        laid = lay(np.random.default_rng(seed), "wound card", (180, 240), 10.0, width, False)
        assert laid.yarn.mean() > 0.999
        assert len(np.unique(laid.strand)) > 18.0 / (1.1 * width)


@pytest.mark.parametrize("form", FORMS)
def test_what_is_seen_lies_within_its_strand(form):
    laid = drawn(form, hard=True).laid
    assert laid.yarn.mean() > 0.97 and (form != "skein" or not laid.yarn.all())
    for field in fields(laid):
        value = getattr(laid, field.name)
        assert value.shape == laid.yarn.shape and np.isfinite(value).all()
    assert (np.abs(laid.across) <= laid.half)[laid.yarn].all()
    low = laid.height[laid.yarn].min()
    assert (laid.height[~laid.yarn] < low).all()


def test_no_way_leads_through_a_skein_that_lies_on_strands():
    open_ = [
        np.mean(
            [
                1.0 - lay(np.random.default_rng(k), "skein", (240, 320), 8.0, 2.0, f).yarn.mean()
                for k in range(8)
            ]
        )
        for f in (True, False)
    ]
    assert open_[1] > 0.002 and open_[0] < 0.1 * open_[1]


def test_the_higher_of_two_strands_is_seen():
    canvas = Canvas((100, 60), 10.0)
    full = np.ones(60)
    canvas.put(5.5 * full, 0.5 * full, 1.0 * full, 100.0)
    canvas.put(5.0 * full, 0.0 * full, 1.0 * full, 100.0)
    laid = canvas.laid()
    assert laid.height[50, 30] == pytest.approx(0.5 + np.sqrt(1.0 - 0.25))  # of the first
    assert laid.height[42, 30] == pytest.approx(np.sqrt(1.0 - 0.64), abs=1e-5)  # of the second
    assert laid.across[42, 30] == pytest.approx(-0.8) and laid.strand[42, 30] == 1
    assert laid.strand[50, 30] == 0
    assert laid.run[42, 30] == pytest.approx(103.1) and laid.run[50, 30] == pytest.approx(3.1)
    assert not laid.yarn[30].any() and laid.yarn[41:65].all()


def test_plies_come_again_with_their_pitch():
    canvas = Canvas((40, 800), 10.0)
    full = np.ones(800)
    canvas.put(2.0 * full, 0.0 * full, full, 100.0)
    laid = canvas.laid()
    height, angle = twisted(np.random.default_rng(4), laid, 2, 2.0)
    crest = height[20] - height[20].mean()
    power = np.abs(np.fft.rfft(crest)) ** 2
    pitch_mm = 80.0 / np.argmax(power)
    assert 2.0 * 2.3 / 2.0 * 0.8 < pitch_mm < 2.0 * 4.6 / 2.0 * 1.2  # two plies to a turn
    lean = angle[laid.yarn]
    assert abs(np.median(lean)) > 0.05 and np.abs(lean).max() < 1.2


@pytest.mark.parametrize("angle", [0.0, 0.7])
def test_streaks_run_along_their_angle(angle):
    field = streaks(np.random.default_rng(1), np.full((300, 300), angle, np.float32), 40.0, 0.8)
    assert field.std() == pytest.approx(1.0, abs=1e-3)
    by = np.rint(12.0 * np.array([np.sin(angle), np.cos(angle)])).astype(int)

    def alike(down, across):
        moved = np.roll(field, (-down, -across), (0, 1))[30:-30, 30:-30]
        return np.corrcoef(field[30:-30, 30:-30].ravel(), moved.ravel())[0, 1]

    assert alike(by[0], by[1]) > 0.3 > 0.15 > abs(alike(by[1], -by[0]))


def test_noise_has_its_spread_and_its_length():
    rng = np.random.default_rng(2)
    wide = smooth(rng, (800, 800), (2.0, 6.0), 8.0)
    assert wide.std() == pytest.approx(1.0, rel=0.15) and abs(wide.mean()) < 0.2
    alike = np.corrcoef(wide[:, 48:].ravel(), wide[:, :-48].ravel())[0, 1]
    assert alike == pytest.approx(np.exp(-1.0), abs=0.12)  # at 6 mm, 48 px
    steps = [np.diff(wide, axis=k).std() for k in (0, 1)]
    assert steps[0] / steps[1] == pytest.approx(3.0, rel=0.25)
    assert line(rng, 100_000, 30.0).std() == pytest.approx(1.0, rel=0.15)
    run = np.linspace(0.0, 9000.0, 90_000, dtype=np.float32)[None]
    assert along(rng, run, 10.0).std() == pytest.approx(1.0, rel=0.1)


def test_light_moves_no_truth():
    case = small("skein")
    other = replace(case, light=draw(6, True).light)
    one, two = render(case), render(other)
    assert one.truth == two.truth
    assert np.abs(one.linear - two.linear).mean() > 0.01


def test_a_level_plane_is_lit_as_one():
    light = replace(draw(2, True).light, grain=(0.0, 0.0))
    level = np.zeros((60, 80), np.float32)
    shaded, _, free = shade(light, level, level, (level, level), 10.0, 2.0)
    assert np.allclose(free, 1.0)
    assert np.allclose(shaded, 1.0, atol=0.01)


def test_a_wall_casts_its_shadow_away_from_the_lamp():
    height = np.zeros((60, 120), np.float32)
    height[:, 60:64] = 1.0
    seen = lit_share(height, 10.0, 2.0, Lamp(1.0, 0.0, np.deg2rad(45.0), np.deg2rad(5.0), 0.2))
    assert seen[30, 56] < 0.1 < 0.9 < seen[30, 70]  # at 45° as long as the wall is high, 10 px
    assert seen[30, 40] > 0.9
    free = open_sky(height, 10.0, 2.0)
    assert free[30, 57] < 0.9 < free[30, 10]


@pytest.mark.parametrize("form", FORMS)
def test_gaps_are_darker_in_hard_light_than_in_flat(form):
    made = drawn(form, hard=True)

    def gap(hard):
        darkest = []
        for seed in range(5):
            light = draw(seed, hard).light
            lit_, _, _ = shade(light, made.height, made.angle, made.grain, made.px_per_mm, 2.0)
            darkest.append(np.quantile(lit_, 0.05) / np.median(lit_))
        return np.mean(darkest)

    assert gap(True) < 0.8 * gap(False)


@pytest.mark.parametrize("hard", [False, True])
def test_the_light_has_the_spread_that_is_looked_for(hard):
    case = small("wound card", "solid", hard)
    case = replace(case, light=replace(case.light, spread=0.4 if hard else 0.15))
    made = drawn("wound card", "solid", hard)
    found = cv2.GaussianBlur(signal(lit(made, case), case), (0, 0), case.camera.blur_px)
    h, w = made.laid.yarn.shape
    middle = np.s_[h // 4 : h - h // 4, w // 4 : w - w // 4, 1]
    light = found[middle] / made.dyed.raw[middle]
    assert spread(light, PX) == pytest.approx(case.light.spread, rel=0.10)


@pytest.mark.parametrize("form", FORMS)
def test_a_case_gives_the_same_bytes_again_and_a_seed_its_own(form):
    case = small(form)
    one, two = render(case), render(case)
    assert (one.jpeg, one.truth, one.exposure) == (two.jpeg, two.truth, two.exposure)
    other = render(replace(case, seed=6))
    assert other.jpeg != one.jpeg and other.truth != one.truth
    assert one.coded.shape == (18 * 12, 24 * 12, 3) and one.mm_per_px == 1.0 / PX


def test_a_coarse_photo_is_drawn_twice_as_fine_and_made_smaller():
    case = small("knit", px_per_mm=8.0)
    assert draw_yarn(case).laid.yarn.shape == (18 * 16, 24 * 16)
    assert render(replace(case, turned=True)).coded.shape == (24 * 8, 18 * 8, 3)


def test_cases_are_drawn_as_they_are_told():
    cases = [draw(seed, hard) for seed in range(300) for hard in (False, True)]
    assert cases[:2] == [draw(0, False), draw(0, True)]
    assert {c.kind for c in cases} == set(KINDS) and {c.form for c in cases} == set(ALL_FORMS)
    for case in cases:
        low, high = SPREADS[case.hard]
        assert low <= case.light.spread <= high
        assert sum(lamp.share for lamp in case.light.lamps) + case.light.sky == pytest.approx(1.0)
        assert (case.dyeing.aim > 0.0) == (case.kind in AIMS)
        chroma = np.hypot(*lab_of(case.dyeing.wool, case.dyeing.recipes)[:, 1:].T)
        assert case.neutral == (chroma.max() < NEUTRAL_CHROMA)
        assert len(case.dyeing.recipes) > 1 or case.kind not in ("variegated", "speckled")
    assert 0.05 < np.mean([c.neutral for c in cases]) < 0.25


def test_a_photo_is_rendered_once(tmp_path):
    case = small("knit")
    one = kept(case, tmp_path)
    assert {p.name for p in tmp_path.iterdir()} == {
        "third-semi-solid-5.jpg",
        "third-semi-solid-5.json",
    }
    made = render(case)
    assert (one.jpeg, one.truth, one.exposure) == (made.jpeg, made.truth, made.exposure)
    (tmp_path / "third-semi-solid-5.jpg").write_bytes(b"another")
    assert kept(case, tmp_path).jpeg == b"another"


def test_the_command_prints_its_tables(tmp_path, monkeypatch, capsys):
    given = ["tests.tonality", "third", "--to", str(tmp_path), "--count", "1"]
    monkeypatch.setattr(sys, "argv", given)
    study.main()
    out = capsys.readouterr().out
    assert "flat, softly lit, 1 photos" in out and "hard, 1 photos" in out
    assert out.count("yarns, 1") >= 2 and out.count("neutral yarns off by over 1: ") == 2
    assert {p.name.split("-")[-1] for p in tmp_path.iterdir()} == {
        f"{seed}.{end}" for seed in (21_000_000, 21_000_001) for end in ("jpg", "json")
    }
    (row,) = rows_of(tmp_path, 1, True)
    assert row.case.hard and row.case.seed == 21_000_001
