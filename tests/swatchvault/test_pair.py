"""The sides of a pair: built from measurements and records, means of photos, own frame part."""

import math

import numpy as np
import pytest

from ingest.colour import difference_terms
from ingest.model import LabCovariance, Measurement
from swatchvault.errors import CompareError
from swatchvault.pair import (
    Capture,
    Colour,
    Conditions,
    capture_class,
    mean_of_photos,
    own_frame,
)
from swatchvault.shades import captures

COV = np.diag([0.04, 0.02, 0.01])


def measurement(**changes):
    zero = np.zeros((3, 3))
    fields = {
        "name": "new",
        "lab": np.array([50.0, 20.0, 30.0]),
        "covariance": LabCovariance(COV, zero, zero, zero),
        "flags": frozenset({"glare"}),
        "polygon": ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0)),
        "reference": "steps",
        "pixels": 100,
        "left_out": {},
        "clipped_share": 0.0,
        "shadow_sd": 0.1,
        "mm_per_px": math.nan,
    }
    return Measurement(**{**fields, **changes})


@pytest.mark.parametrize(
    ("reference", "neutrals", "column"),
    [
        ("card", None, "card"),
        ("steps", None, "steps"),
        ("steps", 6, "steps"),
        ("steps", 5, "card"),
        ("steps", 3, "card"),
        ("chart", None, "chart"),
        ("chart24", 6, "chart"),
        ("none", None, "none"),
        ("a guess", None, "none"),
    ],
)
def test_column_of_the_tables(reference, neutrals, column):
    assert Colour(np.zeros(3) + 50, COV, reference, neutrals=neutrals).column == column


@pytest.mark.parametrize("lab", [[50, 1], [50, math.nan, 0], [[50, 0, 0]]])
def test_a_colour_needs_three_numbers(lab):
    with pytest.raises(CompareError, match="three numbers"):
        Colour(np.array(lab, dtype=float), COV, "steps")


def test_mean_of_photos():
    a = Colour(np.array([50.0, 10, 0]), COV, "steps", light="daylight", form="skein", name="x")
    b = Colour(
        np.array([52.0, 12, 2]), 3 * COV, "card", light="other", form="skein", name="x",
        flags=frozenset({"glare"}), photo_ids=frozenset({"2"}),
    )  # fmt: skip
    both = mean_of_photos([a, b])
    np.testing.assert_allclose(both.lab, [51, 11, 1])
    np.testing.assert_allclose(both.region_cov, (COV + 3 * COV) / 4)
    assert both.n_photos == 2 and both.column == "card" and both.form == "skein"
    assert both.flags == {"glare"} and both.photo_ids == {"2"}
    assert both.light == "other"  # the worse light is not lost
    # k equal photos divide the region part by k, also in two goes
    four = mean_of_photos([mean_of_photos([a, a, a]), a])
    np.testing.assert_allclose(four.region_cov, COV / 4)
    assert four.n_photos == 4 and four.light == "daylight"
    assert mean_of_photos([a, Colour(a.lab, COV, "steps")]).light is None
    with pytest.raises(CompareError):
        mean_of_photos([])


def test_what_a_photo_alone_is_off_by_falls_with_the_photos_and_not_their_places():
    def seen(photo, frame):
        known = {"photo_ids": frozenset({photo}), "frame_cov": frame * np.eye(3)}
        return Colour(np.array([50.0, 10, 0]), COV, "steps", **known)

    np.testing.assert_allclose(mean_of_photos([seen("1", 2.0)] * 3).frame_cov, 2.0 * np.eye(3))
    both = mean_of_photos([seen("1", 2.0), seen("2", 4.0)])
    np.testing.assert_allclose(both.frame_cov, 1.5 * np.eye(3))


def test_places_in_one_photo_are_one_photo():
    def seen(photo):
        return Colour(np.array([50.0, 10, 0]), COV, "steps", photo_ids=frozenset({photo}))

    thrice = mean_of_photos([seen("1")] * 3)
    np.testing.assert_allclose(thrice.region_cov, COV / 3)
    assert thrice.n_photos == pytest.approx(1.0)
    assert mean_of_photos([seen(n) for n in "1122"]).n_photos == pytest.approx(2.0)
    uneven = mean_of_photos([seen(n) for n in "1112"])  # one frame three times over, and another
    assert uneven.n_photos == pytest.approx(2.0)
    np.testing.assert_allclose(uneven.region_cov, COV * (3 * (1 / 6) ** 2 + (1 / 2) ** 2))
    assert mean_of_photos([seen(n) for n in "1234"]).n_photos == pytest.approx(4.0)


def test_a_photo_counts_once_however_often_a_swatch_is_marked_in_it():
    """In two photos of both, one lighter, a second mark of one side alone had set the two apart."""

    def seen(photo, light):
        return Colour(
            np.array([light, 10, 0]), COV, "steps", photo_ids=frozenset({photo}), light="daylight"
        )

    photos = [seen("1", 50.0), seen("2", 56.0)]
    marked_twice = [*photos, seen("2", 56.0)]
    master, lot = mean_of_photos(photos), mean_of_photos(marked_twice)
    assert lot.photo_ids == master.photo_ids
    np.testing.assert_allclose(lot.lab, master.lab)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf, 1e308])
def test_conditions_refuse_nonsense(bad):
    with pytest.raises(CompareError, match="tolerance"):
        Conditions(Capture.OTHER, tolerance=bad)
    with pytest.raises(CompareError, match="k_l"):
        Conditions(Capture.OTHER, k_l=bad)


STEPS_Y = np.array([0.9, 0.59, 0.36, 0.2, 0.09, 0.03])


def greys(light, mid):
    """Greys of a photo in which neutrals look so bright, by the number of the mid grey."""
    rows = [None if np.isnan(y) else (y, 0.98 * y, 0.9 * y) for y in light]
    return (rows[mid], *rows)


@pytest.mark.parametrize(
    ("one", "other", "counts"),
    [
        ((0.18, 0.8), (0.18, 0.8), Capture.LOCKED),
        ((0.18, 0.8), (0.19, 0.84), Capture.LOCKED),  # a lamp that drifts
        ((0.18, 0.8), (0.18, 0.86), Capture.SAME_SETUP),
        ((0.18, 0.8), (0.18, math.nan), Capture.LOCKED),
        ((0.18, math.nan), (0.18,), Capture.LOCKED),
        ((0.18, 0.8), (0.22, 0.98), Capture.SAME_SETUP),  # another exposure
        (STEPS_Y, 1.1 * STEPS_Y, Capture.LOCKED),
        (STEPS_Y, 0.2 * (STEPS_Y / 0.2) ** 1.1, Capture.SAME_SETUP),
        (STEPS_Y, STEPS_Y + 0.005, Capture.LOCKED),  # stray light, which moves the darkest most
        (STEPS_Y, STEPS_Y[:3], Capture.LOCKED),
    ],
)
def test_photos_of_another_curve_of_tone_are_of_no_locked_set_up(one, other, counts):
    def seen(light):
        mid = 3 if len(light) == 6 else 2 if len(light) == 3 else 0
        scale = 0.2 / light[mid] if len(light) == 3 else 1.0
        known = greys(np.asarray(light) * scale, mid)
        return Colour(np.array([50.0, 10, 0]), COV, "steps", greys=known)

    assert capture_class(seen(one), seen(other), Capture.LOCKED) is counts
    assert capture_class(seen(other), seen(one), Capture.LOCKED) is counts
    assert capture_class(seen(one), seen(other), Capture.OTHER) is Capture.OTHER
    bare = Colour(np.array([50.0, 10, 0]), COV, "steps")
    assert capture_class(seen(one), bare, Capture.LOCKED) is Capture.LOCKED
    table = captures([seen(one), seen(other), bare], [(1, True)] * 3)
    assert list(Capture)[table[0, 1]] is list(Capture)[table[1, 0]] is counts
    assert list(Capture)[table[0, 2]] is Capture.LOCKED


def test_means_keep_the_greys_that_all_photos_know():
    def seen(*rows):
        return Colour(np.array([50.0, 10, 0]), COV, "card", greys=rows)

    white, paper = (0.2, 0.2, 0.2), (0.8, 0.8, 0.8)
    both = mean_of_photos([seen(white, white, paper), seen(white, white, None)])
    np.testing.assert_allclose(both.greys[0], white)
    assert both.greys[2] is None
    assert len(mean_of_photos([seen(white, white, paper), seen(white)]).greys) == 1
    unknown = Colour(np.array([50.0, 10, 0]), COV, "card")
    assert mean_of_photos([seen(white), unknown]).greys is None


def test_capture_by_name():
    assert Conditions("locked set-up").capture is Capture.LOCKED
    with pytest.raises(CompareError, match="'same frame'"):
        Conditions("nearly the same")


HUES = (20.0, 110.0, 200.0, 290.0)


def repeats(sd, n=4000, hues=HUES, seed=1):
    """Photos of swatches whose w = (ΔL'/SL, ΔC'/SC, ΔH'/SH) scatters with ``sd`` (3,)."""
    rng, out = np.random.default_rng(seed), []
    for hue in np.radians(hues):
        lab = np.array([60.0, 30 * math.cos(hue), 30 * math.sin(hue)])
        # by a numeric derivative, so that the law tested is not used to make the data
        step = 1e-4
        j = np.stack(
            [
                (t := difference_terms(lab, lab + step * e)).delta / t.weights / step
                for e in np.eye(3)
            ],
            axis=1,
        )
        out.append(lab + np.linalg.solve(j, (rng.normal(size=(n, 3)) * sd).T).T)
    return out


def test_own_frame_is_twice_the_mean_covariance_with_equal_variances():
    sd = np.array([0.6, 0.3, 0.2])
    own = own_frame(repeats(sd), Capture.SAME_SETUP)
    np.testing.assert_allclose(np.diag(own.cov), 2 * np.mean(sd**2), rtol=0.05)
    np.testing.assert_allclose(own.cov - np.diag(np.diag(own.cov)), 0, atol=0.02)
    assert own.capture is Capture.SAME_SETUP


def test_own_frame_asks_for_enough():
    sd = np.full(3, 0.3)
    with pytest.raises(CompareError, match="9 repeat photos, needed 10"):
        own_frame(repeats(sd, n=9), Capture.LOCKED)
    with pytest.raises(CompareError, match="3 different hues, needed 4"):
        own_frame(repeats(sd, n=10, hues=(20, 110, 200, 215)), Capture.LOCKED)
    own_frame(repeats(sd, n=10), Capture.LOCKED)
