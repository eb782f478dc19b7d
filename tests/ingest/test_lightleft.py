"""Light that differs from place to place: divided out, told, or left in the doubt."""

from dataclasses import replace

import numpy as np
import pytest

from ingest.correct import correct
from ingest.doubt import axes_jacobian
from ingest.lightfield import LightField
from ingest.lightleft import (
    UNSEEN_SLOPE,
    UNSEEN_TINT,
    card_field,
    light_flags,
    light_left,
    middles,
)
from ingest.measure import measure_region
from ingest.model import Settings
from ingest.paper import Light
from tests.ingest.builders import (
    QUIET,
    SIX_Y,
    card_at,
    grey,
    paint,
    photo_of_light,
    polygon,
    rgb_of_lab,
    scene,
    step_boxes,
    steps_at,
    swatch_at,
)
from tests.render.camera import TONES

#: Two swatches of one dye, near the reference and far from it, by boxes.
NEAR, FAR = (120, 70, 210, 230), (330, 70, 420, 230)
SHAPE = (260, 440)
CARD = (20, 90, 90, 170)


def lit(light, fall, tint):
    """A scene in light that falls off to the right and turns bluish there."""
    x = np.linspace(0.0, 1.0, light.shape[1])[None, :, None]
    colour = np.exp(tint * (x - 0.5) * np.array([-0.5, 0.0, 0.5]))
    return light * (1.0 - fall * x) * colour


def measured(fall, tint=0.0, steps=False, lab=(45, 25, 15), bend=None, seed=0):
    """The correction and both swatches, laid on white paper."""
    rng = np.random.default_rng(seed)
    light = scene(*SHAPE, (0.8, 0.8, 0.8))
    boxes = step_boxes() if steps else [CARD]
    for box, y in zip(boxes, SIX_Y if steps else [0.18], strict=True):
        paint(light, box, grey(y))
    for box in (NEAR, FAR):
        paint(light, box, rgb_of_lab(lab))
    light = lit(light, fall, tint) * (1.0 + 0.004 * rng.normal(size=(*SHAPE, 1)))
    photo = photo_of_light(light, bend=bend)
    reference = steps_at(boxes, photo.pixels) if steps else card_at(CARD, photo.pixels)
    taken = [polygon(box, photo.pixels) for box in (NEAR, FAR)]
    made = correct(photo, [reference], Settings(), taken)
    both, untold = (
        [measure_region(photo, swatch_at(b, photo.pixels), how, QUIET, 0.2) for b in (NEAR, FAR)]
        for how in (made, replace(made, left=None))
    )
    return made, both, untold


def apart(both, untold):
    """ΔE00 between two swatches, and the part of its doubt that light left between them gives."""
    jacobian = axes_jacobian(both[0].lab, both[0].lab)
    step = jacobian @ (both[1].lab - both[0].lab)
    told = sum(a.covariance.region - b.covariance.region for a, b in zip(both, untold, strict=True))
    left = np.trace(jacobian @ told @ jacobian.T)
    return float(np.linalg.norm(step)), float(np.sqrt(max(left, 0.0)))


@pytest.mark.parametrize("steps", [False, True])
def test_light_that_falls_off_over_paper_is_divided_out(steps):
    made, *both = measured(0.2, steps=steps)
    assert "light field corrected" in made.flags and "light uneven" not in made.flags
    assert any(step.name == "light field divided out" for step in made.steps)
    assert apart(*both)[0] < 0.35  # undivided: 2.2


def test_even_light_leaves_colours_and_doubt_as_they_were():
    made, *both = measured(0.0)
    assert made.field is None and "light field corrected" not in made.flags
    assert max(apart(*both)) < 0.1


def test_what_a_card_leaves_through_tone_curves_is_in_the_doubt():
    ratios = []
    for tone in TONES:
        for lab in ((30, 20, -20), (60, 30, 40)):
            _, *both = measured(0.25, bend=TONES[tone], lab=lab)
            found, doubt = apart(*both)
            ratios.append(found / doubt)
    assert (
        0.5 < np.sqrt(np.mean(np.square(ratios))) < 1.5
    )  # a pair's covariance is taken times 1.5²


@pytest.mark.parametrize("steps", [False, True])
@pytest.mark.parametrize(("tint", "told"), [(0.0, False), (0.06, False), (0.14, True)])
def test_light_of_two_colours_is_told_and_doubted_never_divided_out(steps, tint, told):
    made, *both = measured(0.1, tint, steps)
    assert ("light of two colours" in made.flags) is told
    found, doubt = apart(*both)
    assert found > 4.0 * tint and doubt > 0.6 * found - 0.1


SLOPE = LightField(np.array([0.0, -0.2, 0.0]), 0.01, 0.3, "surround")


def box(x, y, half=0.02):
    return ((x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half))


def root(covariance):
    return np.sqrt(np.diag(covariance))


def test_the_frame_doubts_what_all_its_swatches_share():
    left = light_left(Light(SLOPE), None, box(0.1, 0.5), [box(0.5, 0.5), box(0.7, 0.5)], (300, 200))
    mean = np.array([0.2, 0.1, 0.3])
    own, frame = left.doubt_of(mean, box(0.7, 0.5))
    assert root(frame) == pytest.approx(0.2 * 0.5 * mean)
    assert root(own) == pytest.approx(np.sqrt(2.0) * 0.2 * 0.1 * mean)


@pytest.mark.parametrize("share", [0.44, None])
def test_a_pair_doubts_all_of_the_light_between_its_two_places(share):
    """Two of a frame, anywhere: what lies halfway between them plays no part."""
    ends = [box(0.3, 0.5), box(0.8, 0.5)]
    left = light_left(Light(SLOPE), share, box(0.1, 0.5), ends, (300, 200))
    own = [left.doubt_of(np.ones(3), end)[0] for end in ends]
    assert root(own[0] + own[1]) == pytest.approx((share or 1.0) * 0.2 * 0.5 * np.ones(3))


@pytest.mark.parametrize(
    ("slope", "scatter", "tint", "flags", "divided"),
    [
        (0.01, 0.01, 0.0, set(), False),
        (0.15, 0.01, 0.0, {"light uneven"}, True),
        (0.15, 0.04, 0.0, set(), True),
        (0.15, 0.06, 0.2, set(), False),
        (0.60, 0.06, 0.0, {"light uneven"}, False),
        (0.01, 0.01, 0.2, {"light of two colours"}, False),
    ],
)
def test_what_is_told_of_a_measured_field(slope, scatter, tint, flags, divided):
    planes = np.zeros((3, 3))
    planes[1] = tint * np.array([0.5, 0.0, -0.5])
    field = LightField(np.array([0.0, slope, 0.0]), scatter, 0.3, "surround", planes)
    one, other = box(0.1, 0.1), box(0.9, 0.2)
    assert light_flags(Light(field), None, one, [one], [other]) == flags
    assert (card_field(field, middles([one], [other])) is not None) == divided


def test_only_that_is_told_where_no_surround_was_found():
    one, other = box(0.1, 0.1), box(0.9, 0.2)
    assert light_flags(Light(), None, one, [one], [other]) == {"light not seen"}
    assert light_flags(Light(), None, one, [one], []) == frozenset()
    assert card_field(None, middles([one], [other])) is None


# --- a shadow that no smooth field is ----------------------------------------------------------


def shaded(depth, steps, tint=0.0, hard=False):
    """Two swatches of one dye on paper; light that is lost, or tinted, over the right one and the
    paper about it. The correction and both swatches."""
    light = scene(*SHAPE, (0.8, 0.8, 0.8))
    boxes = step_boxes() if steps else [CARD]
    for at, y in zip(boxes, SIX_Y if steps else [0.18], strict=True):
        paint(light, at, grey(y))
    for at in (NEAR, FAR):
        paint(light, at, rgb_of_lab((45, 25, 15)))
    x = np.arange(SHAPE[1])[None, :, None]
    over = (x > 275) if hard else 1.0 / (1.0 + np.exp((290 - x) / 5.0))
    light = light * (1.0 - depth * over) * np.exp(tint * over * np.array([-0.5, 0.0, 0.5]))
    photo = photo_of_light(
        light * np.exp(0.004 * np.random.default_rng(3).normal(size=light.shape))
    )
    reference = steps_at(boxes, photo.pixels) if steps else card_at(CARD, photo.pixels)
    made = correct(
        photo, [reference], Settings(), [polygon(at, photo.pixels) for at in (NEAR, FAR)]
    )
    return made, [
        [measure_region(photo, swatch_at(b, photo.pixels), how, QUIET, 0.2) for b in (NEAR, FAR)]
        for how in (made, replace(made, left=None))
    ]


@pytest.mark.parametrize("steps", [False, True])
@pytest.mark.parametrize("hard", [False, True])
@pytest.mark.parametrize("depth", [0.2, 0.3])
def test_a_shadow_over_one_swatch_is_told_and_in_the_doubt_of_the_pair(depth, hard, steps):
    made, (both, untold) = shaded(depth, steps, hard=hard)
    assert "light uneven" in made.flags
    found, doubt = apart(both, untold)
    assert found > 1.2 and 0.7 * found < doubt < 1.8 * found


@pytest.mark.parametrize("steps", [False, True])
def test_light_of_another_colour_on_one_swatch_is_told_and_doubted(steps):
    made, (both, untold) = shaded(0.0, steps, tint=0.12)
    assert "light of two colours" in made.flags
    found, doubt = apart(both, untold)
    assert found > 1.0 and 0.7 * found < doubt < 1.6 * found


# --- light that nothing shows ------------------------------------------------------------------


def test_two_swatches_doubt_the_slope_over_all_of_the_way_between_them():
    places = [box(0.3, 0.5), box(0.7, 0.5)]
    left = light_left(Light(), None, box(0.1, 0.5), places, (400, 300))
    mean = np.array([0.2, 0.1, 0.3])
    (one, _), (other, frame) = (left.doubt_of(mean, place) for place in places)
    slope = np.hypot(UNSEEN_SLOPE, UNSEEN_TINT / np.sqrt(3.0))
    assert root(one + other) == pytest.approx(slope * 0.4 * mean)
    assert root(frame) == pytest.approx(slope * 0.4 * mean)
    below, _ = left.doubt_of(mean, box(0.5, 0.9))  # the picture is less high than wide
    assert root(below) == pytest.approx(np.sqrt(2) * slope * 0.3 * mean)


@pytest.mark.parametrize(("within", "slope"), [(0.0, UNSEEN_TINT), (0.8, 0.8)])
def test_the_ratio_of_two_channels_is_doubted_by_what_the_greys_show(within, slope):
    places = [box(0.3, 0.5), box(0.7, 0.5)]
    seen = Light(within=np.array([[0.0, 0.0], [within, 0.0]]))
    left = light_left(seen, None, box(0.1, 0.5), places, (400, 300))
    cov = sum(left.doubt_of(np.ones(3), place)[0] for place in places)
    for i, j in ((0, 1), (0, 2), (1, 2)):
        ratio = np.eye(3)[i] - np.eye(3)[j]
        assert np.sqrt(ratio @ cov @ ratio) == pytest.approx(slope * 0.4)


def test_level_is_doubted_by_what_the_greys_show_where_that_is_more():
    places = [box(0.3, 0.5), box(0.7, 0.5)]
    for within, slope in ((0.1, UNSEEN_SLOPE), (0.9, 0.9)):
        seen = Light(within=np.array([[within, 0.0], [0.0, 0.0]]))
        left = light_left(seen, None, box(0.1, 0.5), places, (400, 300))
        one = np.ones(3) / 3.0
        cov = sum(left.doubt_of(np.ones(3), place)[0] for place in places)
        assert np.sqrt(one @ cov @ one) == pytest.approx(slope * 0.4)


def on_a_dark_table(fall, tint=0.0, card=None):
    """Two swatches of one dye beside steps or a card, with nothing plain and pale around."""
    rng = np.random.default_rng(3)
    light = scene(*SHAPE, (0.10, 0.06, 0.04))
    boxes = [card] if card else step_boxes()
    for box, y in zip(boxes, [0.18] if card else SIX_Y, strict=True):
        paint(light, box, grey(y))
    for box in (NEAR, FAR):
        paint(light, box, rgb_of_lab((45, 25, 15)))
    photo = photo_of_light(lit(light, fall, tint) * (1.0 + 0.004 * rng.normal(size=(*SHAPE, 1))))
    taken = [polygon(box, photo.pixels) for box in (NEAR, FAR)]
    reference = card_at(card, photo.pixels) if card else steps_at(boxes, photo.pixels)
    made = correct(photo, [reference], Settings(), taken)
    both = [
        measure_region(photo, swatch_at(b, photo.pixels), made, QUIET, 0.2) for b in (NEAR, FAR)
    ]
    return made, both


@pytest.mark.parametrize("fall", [0.1, 0.25])
def test_light_that_nothing_shows_is_told_and_doubted(fall):
    made, (near, far) = on_a_dark_table(fall)
    assert "light not seen" in made.flags
    apart = abs(near.lab[0] - far.lab[0])
    u = np.sqrt(near.covariance.region[0, 0] + far.covariance.region[0, 0])
    assert apart > 1.0 and apart < 2.0 * u


def test_a_card_shows_light_of_two_colours_where_nothing_else_does():
    made, (near, far) = on_a_dark_table(0.0, tint=1.0, card=CARD)
    assert made.flags >= {"light not seen", "light of two colours"}
    jacobian = axes_jacobian(near.lab, near.lab)
    apart = np.linalg.norm((jacobian @ (far.lab - near.lab))[1:])
    cov = jacobian @ (near.covariance.region + far.covariance.region) @ jacobian.T
    u = np.sqrt(np.trace(cov[1:, 1:]))
    assert apart > 5.0 and apart < 2.0 * u


def test_a_card_shows_light_that_falls_off_steeply_where_nothing_else_does():
    made, (near, far) = on_a_dark_table(0.75, card=(5, 60, 115, 240))
    assert made.left.light.within[0, 0] > 2.0 * UNSEEN_SLOPE
    apart = abs(near.lab[0] - far.lab[0])
    u = np.sqrt(near.covariance.region[0, 0] + far.covariance.region[0, 0])
    assert apart > 10.0 and apart < 2.0 * u


@pytest.mark.parametrize("card", [None, CARD])
def test_greys_in_light_of_one_colour_tell_of_no_other(card):
    made, _ = on_a_dark_table(0.25, card=card)
    assert "light of two colours" not in made.flags


def test_plain_paper_shows_the_light():
    assert "light not seen" not in measured(0.2)[0].flags
