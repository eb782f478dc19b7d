"""Light that differs from place to place: divided out, told, or left in the doubt."""

from dataclasses import replace

import numpy as np
import pytest

from ingest.correct import correct
from ingest.doubt import axes_jacobian
from ingest.lightfield import LightField
from ingest.lightleft import (
    UNSEEN_SLOPE,
    LightLeft,
    LightUnseen,
    card_field,
    middles,
    tint_flag,
    uneven_flag,
)
from ingest.measure import measure_region
from ingest.model import Settings
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
    jacobian = axes_jacobian(both[0].lab)
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


def test_the_frame_doubts_what_all_its_swatches_share():
    straight = LightField(np.array([0.0, -0.2, 0.0]), 0.01, 0.3, "surround")
    left = LightLeft(straight, 1.0, np.array([0.1, 0.5]), np.array([0.6, 0.5]))
    own, frame = left.doubt_of(np.array([0.2, 0.1, 0.3]), ((0.7, 0.4), (0.7, 0.6), (0.8, 0.5)))
    assert np.sqrt(np.diag(frame)) == pytest.approx(0.1 * np.array([0.2, 0.1, 0.3]))
    place = np.mean([0.7, 0.7, 0.8]) - 0.6
    assert np.sqrt(np.diag(own)) == pytest.approx(
        np.sqrt(2.0) * 0.2 * place * np.array([0.2, 0.1, 0.3])
    )


@pytest.mark.parametrize("share", [0.44, 1.0])
def test_a_pair_doubts_all_of_the_light_between_its_two_places(share):
    """Two of a frame, anywhere: what lies halfway between them plays no part."""
    slope = LightField(np.array([0.0, -0.2, 0.0]), 0.01, 0.3, "surround")
    ends = np.array([[0.3, 0.5], [0.8, 0.5]])
    left = LightLeft(slope, share, np.array([0.1, 0.5]), ends.mean(axis=0))
    corner = np.array([[-0.02, -0.02], [0.02, -0.02], [0.0, 0.04]])
    own = [left.doubt_of(np.ones(3), tuple(map(tuple, end + corner)))[0] for end in ends]
    assert np.sqrt(np.diag(own[0] + own[1])) == pytest.approx(share * 0.2 * 0.5 * np.ones(3))


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
    places = middles([((0.0, 0.0), (0.2, 0.2))], [((0.9, 0.1), (0.9, 0.3))])
    assert tint_flag(field, places) | uneven_flag(field, 1.0, places) == flags
    assert (card_field(field, places) is not None) == divided


def test_nothing_is_told_where_no_surround_was_found():
    places = middles([((0.0, 0.0), (0.2, 0.2))])
    assert tint_flag(None, places) | uneven_flag(None, 1.0, places) == set()
    assert card_field(None, places) is None


# --- light that nothing shows ------------------------------------------------------------------


def test_two_swatches_doubt_the_slope_over_all_of_the_way_between_them():
    unseen = LightUnseen(np.array([0.1, 0.5]), np.array([0.5, 0.5]), np.array([1.0, 0.75]))
    mean = np.array([0.2, 0.1, 0.3])
    left, _ = unseen.doubt_of(mean, ((0.3, 0.4), (0.3, 0.6)))
    right, frame = unseen.doubt_of(mean, ((0.7, 0.4), (0.7, 0.6)))
    assert np.sqrt(np.diag(left + right)) == pytest.approx(UNSEEN_SLOPE * 0.4 * mean)
    assert np.sqrt(np.diag(frame)) == pytest.approx(UNSEEN_SLOPE * 0.4 * mean)
    below, _ = unseen.doubt_of(mean, ((0.5, 0.9),))  # the picture is less high than wide
    assert np.sqrt(np.diag(below)) == pytest.approx(np.sqrt(2) * UNSEEN_SLOPE * 0.3 * mean)


def on_a_dark_table(fall):
    """Two swatches of one dye beside steps, with nothing plain and pale around."""
    rng = np.random.default_rng(3)
    light = scene(*SHAPE, (0.10, 0.06, 0.04))
    for box, y in zip(step_boxes(), SIX_Y, strict=True):
        paint(light, box, grey(y))
    for box in (NEAR, FAR):
        paint(light, box, rgb_of_lab((45, 25, 15)))
    photo = photo_of_light(lit(light, fall, 0.0) * (1.0 + 0.004 * rng.normal(size=(*SHAPE, 1))))
    taken = [polygon(box, photo.pixels) for box in (NEAR, FAR)]
    made = correct(photo, [steps_at(step_boxes(), photo.pixels)], Settings(), taken)
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


def test_plain_paper_shows_the_light():
    assert "light not seen" not in measured(0.2)[0].flags
