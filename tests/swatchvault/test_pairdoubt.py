"""What a pair leaves in doubt, by table, and its axes."""

import math

import numpy as np
import pytest

from ingest.colour import d_lch, difference_terms
from ingest.doubt import axes_jacobian
from swatchvault import pairdoubt as doubts
from swatchvault.difference import Verdict, delta_e_2000, judge
from swatchvault.pair import Capture, Colour, Conditions, OwnFrame
from swatchvault.pairdoubt import pair_doubt

LAB = np.array([55.0, 22.0, 30.0])
NEAR = LAB + np.array([0.6, 0.4, -0.5])
ZERO = np.zeros((3, 3))
SMALL = 0.01 * np.eye(3)


def colour(lab=LAB, reference="steps", cov=SMALL, **known):
    return Colour(np.asarray(lab, dtype=float), cov, reference, **known)


def u_of(capture, refs=("steps", "steps"), light="daylight", **conditions):
    pair = (colour(LAB, refs[0], ZERO), colour(NEAR, refs[1], ZERO))
    fields = {"k_l": 1.0, "light": light, "same_dyes": True, **conditions}
    return pair_doubt(*pair, Conditions(capture, **fields))


# --- The table of doubt ------------------------------------------------------------------------

# frame part per axis at kL = 1: card, six steps, chart; then p by daylight and by other lights
ROWS = [
    ("same frame", (0.05, 0.05, 0.05)),
    ("locked set-up", (0.55, 0.16, 0.18)),
    ("same set-up", (1.8, 0.48, 0.26)),
]
REFERENCES = ("card", "steps", "chart")


@pytest.mark.parametrize(("capture", "frames"), ROWS)
@pytest.mark.parametrize("light", ["daylight", "other", None])
def test_frame_part_and_share(capture, frames, light):
    for reference, frame in zip(REFERENCES, frames, strict=True):
        doubt = u_of(capture, (reference, reference), light)
        np.testing.assert_allclose(doubt.frame, frame**2 * np.eye(3))
        daylight, other = (0.25, 0.35) if reference == "card" else (0.11, 0.2)
        assert doubt.share == (daylight if light == "daylight" else other)


# Lab, then what it adds: a mid colour; dark, but no channel is; one channel dark, but not the
# colour; dark red under L* 37 and under 28; half way down the channel's slope.
@pytest.mark.parametrize(
    ("lab", "added"),
    [
        ((55.0, 22.0, 30.0), 0.0),
        ((36.0, 0.0, 0.0), 0.0),
        ((60.0, 60.0, 55.0), 0.0),
        ((35.0, 45.0, 30.0), 0.18),
        ((27.0, 35.0, 20.0), 0.30),
        ((39.5, 50.0, 35.0), 0.09),
        ((25.3, 0.0, 0.0), 0.30 * (0.05 - 0.04521) / 0.015),
    ],
)
def test_dark_colours_add_to_the_share(lab, added):
    lab = np.array(lab)
    assert doubts.dark_share(lab, lab) == pytest.approx(added, abs=0.002)
    # Either side counts, whichever is which, and arrays broadcast.
    for pair in ((lab, LAB), (LAB, lab)):
        assert doubts.dark_share(*pair) == pytest.approx(added, abs=0.002)
    assert doubts.dark_share(np.stack([lab, LAB])[:, None], np.stack([LAB, LAB])).shape == (2, 2)
    frame = Conditions(Capture.SAME_FRAME, light="daylight", same_dyes=True)
    doubt = pair_doubt(colour(lab), colour(lab), frame)
    assert doubt.share == pytest.approx(math.hypot(0.11, added), abs=0.002)
    assert doubt.stated_share == pytest.approx(math.hypot(0.25, added), abs=0.002)
    assert doubt.dark == pytest.approx(added, abs=0.002)


def test_a_dark_lot_at_the_edge_is_not_called_within():
    frame = Conditions(Capture.SAME_FRAME, tolerance=2.0, light="daylight", same_dyes=True)
    edge, verdicts = np.array([1.9, 2.2, 1.2]), []
    for lab in (np.array([27.0, 35.0, 20.0]), LAB):
        new = lab + edge * 1.5 / float(delta_e_2000(lab, lab + edge, k_l=2.0))
        found = judge(colour(lab, cov=ZERO), colour(new, cov=ZERO), frame)
        assert found.delta_e_00 == pytest.approx(1.5, abs=0.05)
        verdicts.append(found.verdict)
    assert verdicts == [Verdict.CANNOT_TELL, Verdict.WITHIN]


@pytest.mark.parametrize(
    ("light", "frames", "shares"),
    [
        ("daylight", (2.3, 1.4, 1.2), (0.25, 0.11, 0.11)),
        ("other", (4.0, 2.6, 1.6), (0.35, 0.25, 0.25)),
        (None, (4.0, 2.6, 1.6), (0.35, 0.25, 0.25)),
    ],
)
def test_other_class(light, frames, shares):
    for reference, frame, share in zip(REFERENCES, frames, shares, strict=True):
        doubt = u_of("other", (reference, reference), light)
        np.testing.assert_allclose(doubt.frame, frame**2 * np.eye(3))
        assert doubt.share == share


def test_both_photos_must_be_by_daylight():
    conditions = Conditions("other", light="daylight")
    day, lamp, unsaid = colour(light="daylight"), colour(light="other"), colour()
    assert pair_doubt(day, unsaid, conditions).daylight
    assert not pair_doubt(day, lamp, conditions).daylight  # a record outweighs what is said now
    assert not pair_doubt(day, unsaid, Conditions("other")).daylight


@pytest.mark.parametrize(
    ("refs", "capture", "frame"),
    [
        (("card", "chart"), "locked set-up", 0.55),
        (("steps", "chart"), "locked set-up", 0.18),
        (("steps", "chart"), "same set-up", 0.48),
        (("chart", "steps"), "same set-up", 0.48),
    ],
)
def test_different_references_take_the_worse_row(refs, capture, frame):
    doubt = u_of(capture, refs)
    assert math.sqrt(doubt.frame[1, 1]) == pytest.approx(frame)
    assert doubt.share == (0.25 if "card" in refs else 0.11)


def test_few_neutrals_count_as_a_card():
    few = colour(neutrals=3)
    conditions = Conditions("same set-up", k_l=1.0)
    assert pair_doubt(few, colour(), conditions).frame[0, 0] == pytest.approx(1.8**2)


def test_k_l_divides_the_lightness_axis_of_frame_and_region():
    one, two = (pair_doubt(colour(), colour(NEAR), Conditions("other", k_l=k)) for k in (1.0, 2.0))
    for part in ("frame", "region"):
        a, b = getattr(one, part), getattr(two, part)
        assert b[0, 0] == pytest.approx(a[0, 0] / 4)
        np.testing.assert_allclose(b[1:, 1:], a[1:, 1:])
    np.testing.assert_allclose(two.dyes, one.dyes)  # 0.5² I whatever kL


def test_uncertainty_by_hand():
    # 1.5 * sqrt((0.16²/4 + 0.16² + 0.16²) / 3 + (0.11 * 2)² / 3), locked, steps, kL = 2
    doubt = u_of("locked set-up", k_l=2.0)
    by_hand = 1.5 * math.sqrt((0.16**2 / 4 + 2 * 0.16**2) / 3 + 0.22**2 / 3)
    assert doubt.u(2.0) == pytest.approx(by_hand, rel=1e-12)
    assert doubt.u(0.0) == pytest.approx(1.5 * 0.16 * math.sqrt(0.75), rel=1e-12)


@pytest.mark.parametrize(("light", "share"), [("daylight", 0.25), ("other", 0.35)])
@pytest.mark.parametrize("column", ["card", "steps", "chart"])
def test_the_doubt_stated_of_a_reading_grows_by_one_share_for_all_references(light, share, column):
    doubt = u_of("same frame", refs=(column, column), light=light)
    grown = doubt.stated(4.0) - doubt.stated(0.0)
    np.testing.assert_allclose(grown, 2.25 * (4.0 * share) ** 2 / 3.0 * np.eye(3), atol=1e-12)
    np.testing.assert_allclose(doubt.stated(0.0), doubt.covariance(0.0))


@pytest.mark.parametrize(
    ("light", "same", "part"),
    [
        ("daylight", True, 0.0),
        ("daylight", False, 0.27),
        ("daylight", None, 0.27),
        ("other", None, 0.5),
    ],
)
def test_other_dyes_add_their_part(light, same, part):
    plain, doubt = u_of("same frame", light=light), u_of("same frame", light=light, same_dyes=same)
    assert doubt.u(2.0) ** 2 - plain.u(2.0) ** 2 == pytest.approx(2.25 * part**2)


@pytest.mark.parametrize(
    ("capture", "divided"),
    [("same frame", True), ("locked set-up", True), ("same set-up", True), ("other", False)],
)
@pytest.mark.parametrize("light", ["daylight", "other"])
def test_several_photos_divide_the_frame_part_where_they_should(capture, divided, light):
    conditions = Conditions(capture, light=light)
    one = pair_doubt(colour(), colour(NEAR), conditions)
    four = pair_doubt(colour(n_photos=4), colour(NEAR, n_photos=4), conditions)
    np.testing.assert_allclose(four.frame, one.frame / (4 if divided else 1))
    assert four.share == one.share
    mixed = pair_doubt(colour(n_photos=4), colour(NEAR), conditions)
    np.testing.assert_allclose(mixed.frame, one.frame * (0.625 if divided else 1))


@pytest.mark.parametrize(
    ("capture", "counts"),
    [("same frame", False), ("locked set-up", True), ("same set-up", True), ("other", True)],
)
def test_what_a_photo_alone_is_off_by_counts_across_photos(capture, counts):
    """Light that nothing shows moves both swatches of a frame alike, and not two photos'."""
    conditions = Conditions(capture, light="daylight", k_l=2.0)
    moved = np.diag([1.5**2, 0.0, 0.0])
    plain = pair_doubt(colour(), colour(NEAR), conditions)
    doubt = pair_doubt(colour(frame_cov=moved), colour(NEAR, frame_cov=moved), conditions)
    j = doubts.axes_jacobian(LAB, NEAR, 2.0)
    added = j @ (2.0 * moved) @ j.T if counts else np.zeros((3, 3))
    np.testing.assert_allclose(doubt.frame, plain.frame + added, atol=1e-12)
    taught = Conditions(
        capture, light="daylight", k_l=2.0, own_frame=OwnFrame(np.eye(3), Capture("locked set-up"))
    )
    with_it = pair_doubt(colour(frame_cov=moved), colour(NEAR), taught)
    without = pair_doubt(colour(), colour(NEAR), taught)
    # Taught in good light, lots on wood had come out within at a true 2.9.
    np.testing.assert_allclose(with_it.frame - without.frame, added / 2.0, atol=1e-12)


def test_own_frame_part_never_lowers_the_default_and_stays_in_its_class():
    def frame(capture, cov, own_capture="locked set-up"):
        own = OwnFrame(np.asarray(cov), Capture(own_capture))
        return u_of(capture, own_frame=own).frame

    default = 0.16**2 * np.eye(3)
    np.testing.assert_allclose(frame("locked set-up", 0.001 * np.eye(3)), default)
    np.testing.assert_allclose(frame("locked set-up", 0.5 * np.eye(3)), 0.5 * np.eye(3))
    # learnt with locked settings, it says nothing of one frame, and more of looser set-ups
    np.testing.assert_allclose(frame("same frame", 0.5 * np.eye(3)), 0.05**2 * np.eye(3))
    np.testing.assert_allclose(frame("same set-up", 0.5 * np.eye(3)), 0.5 * np.eye(3))
    # correlated, one direction large: no direction falls under the default
    skew = np.array([[0.1, 0.09, 0], [0.09, 0.1, 0], [0, 0, 0.1]])
    values = np.linalg.eigvalsh(frame("locked set-up", skew))
    np.testing.assert_allclose(values, [0.16**2, 0.1, 0.19], atol=1e-12)


# --- The axes ----------------------------------------------------------------------------------


@pytest.mark.parametrize("lab", [[55, 22, 30], [30, -25, 8], [70, 3, -40], [45, 30, -1]])
@pytest.mark.parametrize("k_l", [1.0, 2.0])
def test_jacobian_against_finite_differences(lab, k_l):
    lab = np.array(lab, dtype=float)
    step = 1e-4
    columns = []
    for e in np.eye(3):
        t = difference_terms(lab, lab + step * e)
        columns.append(t.delta / (t.weights * [k_l, 1, 1]) / step)
    # a' = (1 + G) a with G frozen: G's own slope is second order here
    np.testing.assert_allclose(
        axes_jacobian(lab, lab, k_l), np.stack(columns, axis=1), atol=2e-4, rtol=1e-3
    )


@pytest.mark.parametrize("pair", [([50, 0, 0], [50, 0, 0]), ([50, 0, 0], [50, 0.3, -0.2]),
                                  ([50, 0.5, 0], [50, -0.5, 0])])  # fmt: skip
def test_jacobian_stays_finite_at_grey(pair):
    one, two = (np.array(p, dtype=float) for p in pair)
    j = axes_jacobian(one, two, 1.0)
    assert np.all(np.isfinite(j)) and np.abs(j).max() < 2.0


@pytest.mark.parametrize("lab", [[50.0, 20.0, 10.0], [40.0, -15.0, 30.0], [60.0, 8.0, -25.0]])
def test_doubt_of_the_parts_is_that_of_draws(lab):
    rng = np.random.default_rng(6)
    one, two, k_l = np.array(lab), np.array(lab) + np.array([1.0, -0.8, 0.6]), 2.0
    root = 0.2 * rng.normal(size=(3, 3)) + 0.3 * np.eye(3)
    j = axes_jacobian(one, two, k_l)
    told = doubts.u_of_lch(one, two, k_l, j @ root @ root.T @ j.T)
    drawn = d_lch(one, two + rng.normal(size=(40_000, 3)) @ root.T)
    assert told == pytest.approx(drawn.std(axis=0), rel=0.04)


def test_doubt_of_the_parts_is_of_the_readings_covariance():
    found = judge(colour(), colour([52.0, 21.0, 9.0]), Conditions(Capture.SAME_SETUP))
    expected = doubts.u_of_lch(
        np.array(LAB), np.array([52.0, 21.0, 9.0]), 2.0, found.doubt.stated(found.delta_e_00)
    )
    assert found.u_lch == pytest.approx(expected)
    assert min(found.u_lch) > 0.3
