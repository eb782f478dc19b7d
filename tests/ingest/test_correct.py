"""Corrections held to laws: a card, neutral steps, a second neutral, and what is refused."""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest import charts
from ingest.colour import (
    delta_e_2000,
    lab_d50_to_d65,
    lab_to_xyz,
    linear_to_srgb,
    srgb_to_linear,
    xyz_to_lab,
)
from ingest.correct import correct
from ingest.correction import apply_curve
from ingest.errors import ReferenceMissing
from ingest.expected import expected_rgb, expected_xyz
from ingest.flags import CLIPPED_NOTED
from ingest.locate import chart_reference
from ingest.measure import measure_region
from ingest.model import Settings
from ingest.neutrals import check_order
from ingest.sampling import read_patches
from tests.ingest.builders import (
    QUIET,
    SIX_Y,
    card_at,
    coded,
    grey,
    paint,
    photo_of,
    photo_of_light,
    polygon,
    rgb_of_lab,
    scene,
    steps_at,
    steps_scene,
    swatch_at,
)
from tests.render.camera import TONES

CARD = (20, 20, 120, 120)
SWATCH = (150, 60, 340, 220)
#: Colours of middling lightness, all inside sRGB, under D65.
COLOURS = ((55, 40, 20), (45, -30, 10), (40, 10, -35), (65, 10, 50), (30, 25, 5), (60, 0, 0))


def lab_of(made, photo, box):
    """Lab of the plain mean of corrected light in a box."""
    x0, y0, x1, y1 = box
    light = made.linear(photo.pixels[y0:y1, x0:x1])
    return xyz_to_lab(made.xyz(light.reshape(-1, 3).mean(axis=0, dtype=float)))


def noisy(light, seed=0, sd=0.02):
    rng = np.random.default_rng(seed)
    return light * (1.0 + sd * rng.normal(size=light.shape))


# --- one card ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "values",
    [{}, {"y": (0.3,)}, {"lab_d50": ((50.76, -0.13, 0.14),)}, {"lab_d50": ((60.0, 4.0, -7.0),)}],
)
@pytest.mark.parametrize("bits", [8, 16])
def test_a_card_comes_out_at_its_stated_colour(values, bits):
    light = scene()
    paint(light, CARD, (0.21, 0.17, 0.12))
    photo = photo_of_light(noisy(light), bits)
    card = card_at(CARD, photo.pixels, **values)
    made = correct(photo, [card], Settings())
    stated = xyz_to_lab(expected_xyz(card, Settings()))[0]
    (record,) = made.readings[0].patches
    assert np.allclose(record["corrected_lab"], stated, atol=2e-4)
    assert np.allclose(record["expected_lab"], stated, atol=1e-4)
    # Read over the whole card and not only its middle: the same, to the noise of the mean.
    assert np.allclose(lab_of(made, photo, CARD), stated, atol=0.1)
    assert made.reference == "card" and "tone curve not removed" in made.flags


def test_settings_give_the_value_of_a_card_that_has_none():
    photo = photo_of_light(scene())
    card = card_at(CARD, photo.pixels)
    assert expected_xyz(card, Settings())[0, 1] == pytest.approx(0.18)
    assert expected_xyz(card, Settings(card_y=0.25))[0, 1] == pytest.approx(0.25)
    lab = (48.0, 1.0, 2.0)
    want = lab_to_xyz(lab_d50_to_d65(lab))
    assert np.allclose(expected_xyz(card, Settings(card_lab_d50=lab)), want)
    own = dataclasses.replace(card, y=(0.4,))
    assert expected_xyz(own, Settings(card_lab_d50=lab))[0, 1] == pytest.approx(0.4)


def test_expected_rgb_codes_the_expected_colour():
    photo = photo_of_light(scene())
    rgb = expected_rgb(card_at(CARD, photo.pixels, y=(0.18,)), photo.encoding, Settings())
    assert np.allclose(photo.encoding.to_xyz @ rgb[0], expected_xyz_of_grey(0.18))


def expected_xyz_of_grey(y):
    return lab_to_xyz([116 * np.cbrt(y) - 16, 0, 0])


@settings(max_examples=25, deadline=None)
@given(st.floats(0.5, 1.5), st.sampled_from(COLOURS))
def test_exposure_does_not_change_a_colour(exposure, lab):
    light = scene()
    paint(light, CARD, (0.18, 0.16, 0.14))
    paint(light, SWATCH, rgb_of_lab(lab) * 0.9)
    found = []
    for scale in (1.0, exposure):
        photo = photo_of_light(light * scale, bits=16)
        made = correct(photo, [card_at(CARD, photo.pixels)], Settings())
        found.append(lab_of(made, photo, SWATCH))
    assert np.abs(found[0] - found[1]).max() < 0.02


def test_two_channel_gains_are_undone():
    # The colour of the light is divided out of card and swatch alike.
    light = scene()
    paint(light, CARD, grey(0.18))
    paint(light, SWATCH, rgb_of_lab((55, 40, 20)))
    photo = photo_of_light(light * np.array([0.9, 0.7, 0.5]), bits=16)
    made = correct(photo, [card_at(CARD, photo.pixels, y=(0.18,))], Settings())
    assert np.allclose(lab_of(made, photo, SWATCH), (55, 40, 20), atol=0.02)


def test_a_clean_noisy_card_carries_only_what_a_card_cannot_do():
    for seed in range(5):
        light = scene()
        paint(light, CARD, grey(0.18))
        photo = photo_of_light(noisy(light, seed))
        made = correct(photo, [card_at(CARD, photo.pixels)], Settings())
        assert made.flags == {"tone curve not removed", "camera colours not corrected"}


CARD_TROUBLE = {
    "card clipped": lambda x, y: np.where(x + y < 0.35, 20.0, 1.0),
    "card tilted in the light": lambda x, y: 1.0 + 0.3 * (x - 0.5),
    "card in shadow": lambda x, y: np.where(x < 0.4, 0.55, 1.0),
    "card uneven": lambda x, y: 1.0 - 0.3 * (np.sin(30 * x) * np.sin(20 * y) > 0.2),
}


@pytest.mark.parametrize(("flag", "shape"), CARD_TROUBLE.items(), ids=CARD_TROUBLE)
def test_a_cards_trouble_reaches_the_photo(flag, shape):
    light = scene()
    x, y = np.meshgrid(np.linspace(0, 1, 100), np.linspace(0, 1, 100))
    paint(light, CARD, grey(0.18) * shape(x, y)[..., None])
    photo = photo_of_light(noisy(light))
    made = correct(photo, [card_at(CARD, photo.pixels)], Settings())
    assert flag in made.flags and flag in made.readings[0].flags


@pytest.mark.parametrize(("fall", "told"), [(0.02, False), (0.25, True)])
def test_light_that_falls_off_over_paper_is_divided_out_beside_a_card(fall, told):
    light = np.full_like(scene(), 0.7)
    swatch = (210, 80, 290, 170)
    paint(light, CARD, grey(0.18))
    paint(light, swatch, grey(0.05))
    light *= (1.0 - fall * np.linspace(0.0, 1.0, light.shape[1]))[None, :, None]
    photo = photo_of_light(noisy(light, sd=0.005))
    taken = [polygon(swatch, photo.pixels)]
    made = correct(photo, [card_at(CARD, photo.pixels)], Settings(), taken)
    assert ("light field corrected" in made.flags) == told
    assert ("light field corrected" in made.readings[0].flags) == told
    assert (made.field is not None) == told


@pytest.mark.parametrize(
    ("stated", "lies_there", "told"),
    [(0.18, 0.18, False), (0.5, 0.18, True), (0.9, 0.18, True), (0.18, 0.8, True),
     (0.09, 0.18, False), (0.9, 0.9, False)],
)  # fmt: skip
def test_a_cards_value_that_the_paper_about_it_contradicts_is_told(stated, lies_there, told):
    light = scene(light=(0.85, 0.85, 0.85))
    paint(light, CARD, grey(lies_there))
    photo = photo_of_light(light)
    made = correct(photo, [card_at(CARD, photo.pixels, y=(stated,))], Settings())
    assert ("card unlike its value" in made.flags) is told


def test_the_record_tells_the_light_on_each_swatch():
    light = np.full_like(scene(), 0.7)
    boxes = (210, 20, 280, 90), (210, 150, 280, 220)
    paint(light, CARD, grey(0.18))
    for box in boxes:
        paint(light, box, grey(0.05))
    light[125:, 170:] *= 0.8
    photo = photo_of_light(noisy(light, sd=0.005))
    taken = [polygon(box, photo.pixels) for box in boxes]
    made = correct(photo, [card_at(CARD, photo.pixels)], Settings(), taken)
    (step,) = (s for s in made.steps if s.name == "light by the paper about each swatch")
    even, shaded = step.detail["over_reference_percent"]
    assert (100.0 + shaded) / (100.0 + even) == pytest.approx(0.8, abs=0.03)


@pytest.mark.parametrize("tone", sorted(TONES))
@pytest.mark.parametrize("exposure", [0.3, 0.6, 0.9])
def test_no_tone_curve_of_a_phone_makes_a_cards_value_doubtful(tone, exposure):
    light = scene(light=(0.9, 0.9, 0.9))
    paint(light, CARD, grey(0.18))
    photo = photo_of_light(exposure * light, bend=TONES[tone])
    made = correct(photo, [card_at(CARD, photo.pixels)], Settings())
    assert "card unlike its value" not in made.flags


@pytest.mark.parametrize(
    ("rgb", "words"),
    [((1.2, 1.2, 1.2), "clipped in 100%"), ((0.0, 0.0, 0.0), "black"), ((0.2, 0.2, 0.0), "black")],
)
def test_a_card_that_says_nothing_is_refused(rgb, words):
    light = scene()
    paint(light, CARD, rgb)
    photo = photo_of_light(light)
    with pytest.raises(ReferenceMissing, match=words):
        correct(photo, [card_at(CARD, photo.pixels)], Settings())


def test_a_card_of_a_few_pixels_is_refused():
    photo = photo_of_light(scene())
    with pytest.raises(ReferenceMissing, match="the card is only a few pixels"):
        correct(photo, [card_at((10, 10, 12, 12), photo.pixels)], Settings())


def test_no_reference_is_an_error_unless_asked_for():
    photo = photo_of_light(scene())
    with pytest.raises(ReferenceMissing, match="--no-card"):
        correct(photo, [], Settings())
    made = correct(photo, [], Settings(allow_uncorrected=True))
    assert made.flags == {"no reference"}  # what only a reference brings is not told of none
    assert made.reference == "none" and "no reference" in made.flags
    assert np.allclose(made.curve, photo.encoding.curve)


# --- neutral steps -----------------------------------------------------------------------------


def bend(v):
    """An S-curve over coded values, another one in each channel; monotone."""
    return v + np.array([0.06, 0.05, 0.04]) * -np.sin(2 * np.pi * v)


def bent_picture(lab, gain=1.0):
    light, boxes = steps_scene()
    paint(light, SWATCH, rgb_of_lab(lab))
    photo = photo_of(coded(noisy(light * gain, sd=0.01), 8, bend))
    return photo, boxes


@pytest.mark.parametrize("lab", COLOURS)
def test_steps_undo_a_tone_curve_of_each_channel(lab):
    photo, boxes = bent_picture(lab)
    made = correct(photo, [steps_at(boxes, photo.pixels)], Settings())
    assert made.reference == "steps" and "tone curve not removed" not in made.flags
    assert "steps not in order" not in made.flags
    error = float(delta_e_2000(lab_of(made, photo, SWATCH), lab))
    card = correct(photo, [card_at(boxes[3], photo.pixels, y=(SIX_Y[3],))], Settings())
    without = float(delta_e_2000(lab_of(card, photo, SWATCH), lab))
    # Measured: 0.01 to 0.10 with steps, 2.3 to 4.5 with a card.
    assert error < 0.2
    assert without > 2.0


def test_steps_come_out_at_their_stated_values():
    photo, boxes = bent_picture((50, 0, 0))
    made = correct(photo, [steps_at(boxes, photo.pixels)], Settings())
    patches = made.readings[0].patches
    assert [p["name"] for p in patches] == [f"step {i}" for i in range(1, 7)]
    for patch, y in zip(patches, SIX_Y, strict=True):
        stated = xyz_to_lab(expected_xyz_of_grey(y))
        assert np.allclose(patch["expected_lab"], stated, atol=1e-3)
        # Noise within a patch is bent by the curve: the mean of curved light is not quite the knot.
        assert np.allclose(patch["corrected_lab"], stated, atol=0.25)
    # A step that is left out of the fit is foretold by the others less well than it is met.
    left = [float(delta_e_2000(p["left_out_lab"], p["expected_lab"])) for p in patches]
    kept = [float(delta_e_2000(p["corrected_lab"], p["expected_lab"])) for p in patches]
    assert np.mean(left) > np.mean(kept)


def test_the_order_of_the_steps_in_the_marks_does_not_matter():
    photo, boxes = bent_picture((45, -30, 10))
    steps = steps_at(boxes, photo.pixels)
    turned = steps_at(boxes[::-1], photo.pixels, SIX_Y[::-1])
    found = [lab_of(correct(photo, [s], Settings()), photo, SWATCH) for s in (steps, turned)]
    assert np.allclose(*found, atol=1e-6)


def test_steps_in_reverse_are_refused():
    photo, boxes = bent_picture((50, 0, 0))
    with pytest.raises(ReferenceMissing, match="get lighter where their stated values get darker"):
        correct(photo, [steps_at(boxes[::-1], photo.pixels)], Settings())


def test_steps_of_one_value_and_a_chart_begun_at_its_side_are_told_as_such():
    photo, boxes = bent_picture((50, 0, 0))
    with pytest.raises(ReferenceMissing, match="all stated to reflect the same"):
        correct(photo, [steps_at(boxes, photo.pixels, (0.5,) * 6)], Settings())
    light, stated = np.array([[0.9] * 3, [0.2] * 3]), np.array([[0.05] * 3, [0.6] * 3])
    with pytest.raises(ReferenceMissing, match="mark its corners from dark skin's"):
        check_order(light, stated, [0, 1], "chart24")


@pytest.mark.parametrize(
    ("stated", "read", "in_order"),
    [
        ([0.9, 0.2, 0.2, 0.05], [0.88, 0.21, 0.20, 0.05], True),
        ([0.9, 0.2, 0.2, 0.05], [0.88, 0.20, 0.21, 0.05], True),
        ([0.2, 0.9, 0.05, 0.2], [0.21, 0.88, 0.05, 0.20], True),
        ([0.9, 0.2, 0.1, 0.05], [0.88, 0.20, 0.20, 0.05], True),
        ([0.9, 0.2, 0.2, 0.05], [0.88, 0.90, 0.20, 0.05], False),
        ([0.9, 0.21, 0.2, 0.05], [0.88, 0.20, 0.21, 0.05], False),
    ],
)
def test_steps_of_one_value_are_in_order_either_way_round(stated, read, in_order):
    light, expected = (np.repeat(np.array(v)[:, None], 3, axis=1) for v in (read, stated))
    assert check_order(light, expected, range(4)) is in_order


@pytest.mark.parametrize("swaps", [[(1, 2)], [(0, 1), (3, 4)], [(2, 3)]])
def test_one_or_two_swapped_steps_are_flagged(swaps):
    photo, boxes = bent_picture((50, 0, 0))
    order = list(boxes)
    for i, j in swaps:
        order[i], order[j] = order[j], order[i]
    made = correct(photo, [steps_at(order, photo.pixels)], Settings())
    assert "steps not in order" in made.flags and "card clipped" not in made.flags


def test_all_neutrals_are_kept_as_they_were_taken():
    photo, boxes = bent_picture((45, -30, 10))
    straight = [steps_at(boxes, photo.pixels), steps_at(boxes[::-1], photo.pixels, SIX_Y[::-1])]
    for steps in straight:  # the lightest first, however they were marked
        (reading,) = correct(photo, [steps], Settings()).readings
        seen = np.array([srgb_to_linear(bend(linear_to_srgb(np.full(3, y)))) for y in SIX_Y])
        np.testing.assert_allclose(reading.neutrals, seen, rtol=0.02)
        assert reading.neutral in reading.neutrals
        assert reading.record()["neutrals"] == [list(n) for n in reading.neutrals]
    photo, boxes = bent_picture((45, -30, 10), gain=1.5)
    (reading,) = correct(photo, [steps_at(boxes, photo.pixels)], Settings()).readings
    assert reading.neutrals[0] is None and None not in reading.neutrals[1:]
    assert reading.record()["neutrals"][0] is None


@pytest.mark.parametrize("paper", [0.7, 0.85, None])
def test_a_card_keeps_the_paper_beside_it_as_it_was_taken(paper):
    light = scene(light=(0.1, 0.02, 0.02) if paper is None else (paper,) * 3)
    paint(light, CARD, grey(0.18))
    photo = photo_of(coded(noisy(0.9 * light, sd=0.005), 8, bend))
    (reading,) = correct(photo, [card_at(CARD, photo.pixels)], Settings()).readings
    card, beside = reading.neutrals
    assert card == reading.neutral and (beside is None) == (paper is None)
    if paper is not None:
        seen = srgb_to_linear(bend(linear_to_srgb(np.full(3, 0.9 * paper))))
        np.testing.assert_allclose(beside, seen, rtol=0.02)


def test_a_clipped_white_step_is_left_out():
    photo, boxes = bent_picture((45, -30, 10), gain=1.5)
    made = correct(photo, [steps_at(boxes, photo.pixels)], Settings())
    assert made.steps[1].detail["neutrals"] == 5
    # With five the curve is known less well, and counts as a card's.
    assert made.reference == "card"
    assert {"tone curve not removed", "card clipped"} <= made.flags
    white, *others = made.readings[0].patches
    assert white["clipped"] > 0.9 and not any("clipped" in patch for patch in others)
    assert float(delta_e_2000(lab_of(made, photo, SWATCH), (45, -30, 10))) < 1.2


@pytest.mark.parametrize("gain", [1.0, 1.086])
def test_a_step_with_a_few_clipped_pixels_still_tells_how_the_light_falls_off(gain):
    """Over paper through a bent curve: without the white step the curve's top is guessed, and the
    slope of the light with it (by 0.05 of 0.26 in ln)."""
    light, boxes = steps_scene()
    light[:] = 0.7
    for box, y in zip(boxes, SIX_Y, strict=True):
        paint(light, box, grey(y))
    light *= (1.0 - 0.3 * np.linspace(0.0, 1.0, light.shape[1]))[None, :, None] * gain
    photo = photo_of(coded(noisy(light, sd=0.006), 8, bend))
    reference = steps_at(boxes, photo.pixels)
    clipped = max(p.clipped for p in read_patches(photo, reference))
    assert 0.0 < clipped < CLIPPED_NOTED if gain > 1.0 else clipped == 0.0
    made = correct(photo, [reference], Settings(), [polygon(SWATCH, photo.pixels)])
    left, right = made.left.light.field.at(np.array([[0.1, 0.5], [0.9, 0.5]]))
    assert float(np.log(right / left)) == pytest.approx(np.log(0.73 / 0.97), abs=0.01)


@pytest.mark.parametrize(("white", "too_dark"), [(0.95, False), (0.12, False), (0.07, True)])
def test_a_far_too_dark_photo_is_told_by_steps_and_by_a_card(white, too_dark):
    light, boxes = steps_scene()
    photo = photo_of_light(light * white, bits=16)
    card = card_at(boxes[2], photo.pixels, y=(SIX_Y[2],))
    for reference in (steps_at(boxes, photo.pixels), card):
        made = correct(photo, [reference], Settings())
        assert ("photo too dark" in made.flags) is too_dark


def test_all_but_one_step_clipped_is_refused():
    light, boxes = steps_scene((0.9, 0.8, 0.7))
    photo = photo_of_light(light * 1.4)
    with pytest.raises(ReferenceMissing, match="neutral steps are unclipped"):
        correct(photo, [steps_at(boxes, photo.pixels, (0.9, 0.8, 0.7))], Settings())


@pytest.mark.parametrize("y", [SIX_Y, SIX_Y[::-1]])
@pytest.mark.parametrize("gain", [(0.0, 0.0, 0.0), (0.8, 0.8, 0.0)])
def test_steps_that_are_black_in_a_channel_are_refused(gain, y):
    light, boxes = steps_scene(y)
    photo = photo_of_light(light * np.array(gain))
    with pytest.raises(ReferenceMissing):
        correct(photo, [steps_at(boxes, photo.pixels, y)], Settings())


def test_fewer_than_six_steps_count_as_a_card():
    three = (0.9, 0.19, 0.031)
    light, boxes = steps_scene(three)
    photo = photo_of_light(noisy(light, sd=0.01))
    made = correct(photo, [steps_at(boxes, photo.pixels, three)], Settings())
    assert made.reference == "card" and "tone curve not removed" in made.flags


@pytest.mark.parametrize(
    ("lying_there", "said"),
    [
        ((0.9, 0.85, 0.72, 0.2, 0.04, 0.02), "reference does not fit"),
        ((0.9, 0.5, 0.3, 0.28, 0.26, 0.01), "reference far off"),
    ],
)
def test_steps_of_other_values_than_stated_do_not_fit(lying_there, said):
    stated = (0.9, 0.88, 0.86, 0.2, 0.03, 0.028)
    light, boxes = steps_scene(lying_there)
    photo = photo_of_light(noisy(light, sd=0.01))
    made = correct(photo, [steps_at(boxes, photo.pixels, stated)], Settings())
    assert made.flags & {"reference does not fit", "reference far off"} == {said}


def test_a_lamp_mirrored_in_steps_is_in_the_doubt_of_all_colours():
    lab = np.array([60.0, -30.0, 20.0])
    light, boxes = steps_scene()
    paint(light, SWATCH, rgb_of_lab(lab))
    for x0, y0, x1, y1 in boxes[1:4]:
        light[y0:y1, x0:x1] += 0.16
    photo = photo_of_light(noisy(light, sd=0.01))
    made = correct(photo, [steps_at(boxes, photo.pixels)], Settings())
    assert "reference does not fit" in made.flags
    untold = dataclasses.replace(made, misfit_sd=0.0)
    swatch = swatch_at(SWATCH, photo.pixels)
    apart = [measure_region(photo, swatch, m, QUIET, 0.2) for m in (made, untold)]
    off = [float((m.lab - lab) @ np.linalg.solve(m.covariance.total, m.lab - lab)) for m in apart]
    # 7.81: 95 % of chi squared with three degrees of freedom.
    assert off[0] < 7.81 < off[1]


def test_a_reference_that_fits_adds_no_doubt_of_its_own():
    photo, boxes = bent_picture((50, 40, -40))
    assert correct(photo, [steps_at(boxes, photo.pixels)], Settings()).misfit_sd == 0.0


def test_a_step_marked_on_something_else_is_far_off():
    photo, boxes = bent_picture((50, 40, -40))
    x0, y0, x1, y1 = SWATCH
    boxes = [*boxes[:2], (x0 + 5, y0 + 5, x1 - 5, y1 - 5), *boxes[3:]]
    assert "reference far off" in correct(photo, [steps_at(boxes, photo.pixels)], Settings()).flags


# --- a chart -----------------------------------------------------------------------------------


def chart_picture(edition="after-2014-11", table=None):
    """A chart of flat patches of the published colours, 50 px each; its corners."""
    light = scene(240, 340)
    rgb = rgb_of_lab(lab_d50_to_d65(charts.CHART24_LAB_D50[edition] if table is None else table))
    for i in range(24):
        row, column = divmod(i, 6)
        x0, y0 = 20 + 50 * column, 20 + 50 * row
        paint(light, (x0 + 4, y0 + 4, x0 + 46, y0 + 46), np.clip(rgb[i], 0.0, 1.0))
    return light, polygon((20, 20, 320, 220), light)


@pytest.mark.parametrize(("depth", "told"), [(0.0, False), (0.3, True)])
def test_a_shadow_across_a_chart_is_told(depth, told):
    light, corners = chart_picture()
    light[light.shape[0] // 2 :] *= 1.0 - depth
    made = correct(photo_of_light(noisy(light, sd=0.005)), [chart_reference(corners)], Settings())
    assert ("card in shadow" in made.flags) == told


@pytest.mark.parametrize("share", [0.65, 0.8])
def test_a_shadow_across_some_of_a_charts_columns_is_told(share):
    """It bends the curve through the greys, which then seemed to err in nothing."""
    light, corners = chart_picture()
    light[:, 170:] *= share
    made = correct(photo_of_light(noisy(light, sd=0.005)), [chart_reference(corners)], Settings())
    assert "card in shadow" in made.flags


@pytest.mark.parametrize("share", [1.0, 0.8, 1.3])
@pytest.mark.parametrize("grey", [1, 2, 3, 4])
def test_a_grey_of_a_chart_that_is_not_as_stated_is_told(grey, share):
    """Dirt or glare on one grey bent every colour of the photo without a word."""
    light, corners = chart_picture()
    light[170:220, 20 + 50 * grey : 70 + 50 * grey] *= share
    made = correct(photo_of_light(noisy(light, sd=0.005)), [chart_reference(corners)], Settings())
    assert ("card in shadow" in made.flags) == (share != 1.0)


def test_a_tolerance_is_of_the_kind_that_it_was_stated_of():
    """That of a chart had made a bought card as exact in a photo without the chart."""
    photo, boxes = bent_picture((45, -30, 10))
    card, steps = card_at(boxes[3], photo.pixels, y=(SIX_Y[3],)), steps_at(boxes, photo.pixels)
    of_steps = Settings(value_delta_e=0.3, value_kind="steps")
    plain, told = (correct(photo, [card], s).value_sd for s in (Settings(), of_steps))
    assert told == plain
    any_kind = correct(photo, [card], Settings(value_delta_e=0.3)).value_sd
    assert any_kind < plain
    plain, told = (correct(photo, [steps], s).value_sd for s in (Settings(), of_steps))
    assert told < plain


def test_a_grey_of_a_chart_a_little_off_is_in_the_doubt():
    light, corners = chart_picture()
    clean = correct(photo_of_light(light), [chart_reference(corners)], Settings())
    light[170:220, 170:220] *= 0.93
    off = correct(photo_of_light(light), [chart_reference(corners)], Settings())
    assert not off.flags & {"card in shadow", "reference does not fit"}
    assert off.reading_sd > 2.0 * clean.reading_sd and off.reading_sd > 0.02


def test_a_perfect_chart_is_read_as_published():
    light, corners = chart_picture()
    photo = photo_of_light(light, bits=16)
    made = correct(photo, [chart_reference(corners)], Settings())
    assert [p["name"] for p in made.readings[0].patches] == list(charts.CHART24_NAMES)
    assert not made.flags & {"reference does not fit", "steps not in order"}
    for i, patch in enumerate(made.readings[0].patches):
        if charts.CHART24_NAMES[i] == "cyan":
            continue  # outside sRGB, so the file cannot hold it
        assert float(delta_e_2000(patch["corrected_lab"], patch["expected_lab"])) < 0.2


@pytest.mark.parametrize(
    ("other", "said"),
    [
        (lambda lab: 0.8 * lab + 0.2 * lab[::-1], "reference does not fit"),
        (lambda lab: lab[::-1], "reference far off"),
    ],
)
def test_a_chart_of_other_pigments_does_not_fit(other, said):
    table = np.array(charts.CHART24_LAB_D50["after-2014-11"])
    table[:18] = other(table[:18])
    light, corners = chart_picture(table=table)
    photo = photo_of_light(light, bits=16)
    made = correct(photo, [chart_reference(corners)], Settings())
    assert made.flags & {"reference does not fit", "reference far off"} == {said}


# --- a second reference ------------------------------------------------------------------------


def two_neutrals(second):
    light, boxes = steps_scene()
    place = (250, 120, 330, 200)
    paint(light, place, grey(0.18) * second)
    photo = photo_of_light(noisy(light, sd=0.01))
    references = [card_at(place, photo.pixels, y=(0.18,)), steps_at(boxes, photo.pixels)]
    return correct(photo, references, Settings())


def test_the_best_reference_corrects_and_the_other_is_read():
    made = two_neutrals(1.0)
    assert [(r.reference.kind, r.used) for r in made.readings] == [("steps", True), ("card", False)]
    assert "tone varies in the frame" not in made.flags
    (record,) = made.readings[1].patches
    assert float(delta_e_2000(record["corrected_lab"], record["expected_lab"])) < 0.5


@pytest.mark.parametrize("second", [0.7, 1.4])
def test_a_second_neutral_that_disagrees_is_flagged(second):
    made = two_neutrals(second)
    assert "tone varies in the frame" in made.flags
    assert "tone varies in the frame" in made.readings[1].flags


# --- looking codes up --------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [np.uint8, np.uint16])
def test_apply_curve_looks_every_channel_up_whatever_the_strides(kind):
    rng = np.random.default_rng(2)
    levels = 256 if kind is np.uint8 else 65536
    curve = rng.random((levels, 3)).astype(np.float32)
    pixels = rng.integers(0, levels, (30, 40, 3)).astype(kind)
    for view in (pixels, pixels[::-1, ::-1].swapaxes(0, 1), pixels[..., ::-1]):
        want = np.stack([curve[:, c][view[..., c]] for c in range(3)], axis=-1)
        assert (apply_curve(curve, view) == want).all()


# --- a shadow across the steps -----------------------------------------------------------------


@pytest.mark.parametrize("edge", ["through a step", "between two"])
def test_a_shadow_across_the_steps_is_flagged(edge):
    light, boxes = steps_scene()
    x0, _, x1, _ = boxes[3]
    from_x = (x0 + x1) // 2 if edge == "through a step" else x0 - 5
    light = noisy(light, sd=0.01)
    light[:, from_x:] *= 0.4
    photo = photo_of(coded(light, 8))
    made = correct(photo, [steps_at(boxes, photo.pixels)], Settings())
    said = {"card in shadow", "steps not in order", "reference does not fit", "reference far off"}
    assert made.readings[0].flags & said
    assert made.flags & said


@pytest.mark.parametrize(("depth", "told"), [(0.0, False), (0.4, True)])
def test_a_shadow_that_a_tone_curve_would_take_up_is_told(depth, told):
    """Two photos of one yarn came out far apart, without a word."""
    light, boxes = steps_scene()
    light[:, boxes[3][0] - 5 :] *= 1.0 - depth
    photo = photo_of(coded(noisy(light, sd=0.01), 8))
    made = correct(photo, [steps_at(boxes, photo.pixels)], Settings())
    assert ("card in shadow" in made.flags) == told
