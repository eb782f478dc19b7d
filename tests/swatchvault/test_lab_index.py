"""The index of colours: its bound holds everywhere, and its answers are those of brute force."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.colour import delta_e_2000
from swatchvault.errors import CompareError
from swatchvault.lab_boxes import boxes_of, lower_bound
from swatchvault.lab_index import SMALL, LabIndex
from swatchvault.shades import LabIndex as OfTheContract


def cloud(n, seed=3):
    rng = np.random.default_rng(seed)
    return np.stack([rng.uniform(15, 92, n), rng.normal(0, 25, n), rng.normal(5, 28, n)], axis=1)


FAR = ([0, 0, 0], [100, 0, 0], [50, 150, -150], [50, -200, 20], [-20, 0, 0], [30, 60, -110])


def brute(labs, query, k, k_l):
    distance = delta_e_2000(query, labs, k_l)
    order = np.argsort(distance, kind="stable")[:k]
    return order, distance[order]


def boxes_around(rng, n, size):
    """(n, size, 3) Lab in small and large boxes, many across the hue's seam and about grey."""
    centre = rng.normal(0, 1, (n, 1, 3)) * [40, 50, 50] + [50, 0, 0]
    centre[: n // 4, :, 1:] *= 0.03
    centre[n // 4 : n // 2, :, 2] *= 0.01
    spread = 10.0 ** rng.uniform(-2, 1.7, (n, 1, 1))
    return centre + rng.normal(0, 1, (n, size, 3)) * spread


def as_boxes(labs):
    hue = np.arctan2(labs[..., 2], labs[..., 1]) % (2 * np.pi)
    return boxes_of([labs[..., 0], np.hypot(labs[..., 1], labs[..., 2]), hue])


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), k_l=st.sampled_from([0.5, 1.0, 2.0]))
def test_no_colour_of_a_box_is_nearer_than_the_bound(seed, k_l):
    rng = np.random.default_rng(seed)
    labs = boxes_around(rng, 400, 24)
    boxes = as_boxes(labs)
    for query in (
        labs[0, 0] + rng.normal(0, 2, 3),
        rng.normal([50, 0, 0], 60),
        np.array([rng.uniform(0, 100), 0.0, 0.0]),
        np.array([rng.uniform(0, 100), rng.normal(0, 1), -rng.uniform(20, 90)]),
    ):
        nearest = delta_e_2000(query, labs, k_l).min(axis=1)
        assert np.all(lower_bound(query, boxes, k_l) <= nearest + 1e-9)


def test_the_bound_is_worth_having():
    labs = cloud(4096)
    boxes = as_boxes(labs[:, None, :])
    query = np.array([45.0, 20.0, -30.0])
    single = lower_bound(query, boxes, 1.0)
    distance = delta_e_2000(query, labs)
    assert np.median(single / distance) > 0.9  # a box of one colour: little is given away


@pytest.mark.parametrize("k_l", [0.5, 1.0, 2.0])
def test_it_answers_as_brute_force_does(k_l):
    labs = cloud(30_001)
    index = LabIndex(labs)
    rng = np.random.default_rng(8)
    near = labs[rng.integers(len(labs), size=25)] + rng.normal(0, 1, (25, 3))
    for query in (*near, *FAR):
        for k in (1, 20):
            rows, distance = index.nearest(query, k, k_l=k_l)
            want, far = brute(labs, query, k, k_l)
            assert rows.tolist() == want.tolist()
            assert np.allclose(distance, far, rtol=0, atol=1e-9)


def test_it_finds_all_within_a_distance():
    labs = cloud(20_000)
    rows, distance = LabIndex(labs).within([50, 10, 10], 6.0, k_l=2.0)
    all_of = delta_e_2000([50, 10, 10], labs, 2.0)
    assert sorted(rows.tolist()) == np.flatnonzero(all_of <= 6.0).tolist()
    assert np.all(np.diff(distance) >= 0)


def test_equal_colours_come_in_the_order_of_their_rows():
    labs = np.repeat(cloud(700), 10, axis=0)
    rows, distance = LabIndex(labs).nearest(labs[500], 10)
    assert rows.tolist() == list(range(500, 510))
    assert np.all(distance == 0)


@pytest.mark.parametrize("labs", [np.zeros((9000, 3)), np.full((9000, 3), 50.0)])
def test_a_cloud_of_one_colour_is_no_trouble(labs):
    assert LabIndex(labs).nearest([50, 0, 0], 3)[0].tolist() == [0, 1, 2]


def test_more_neighbours_than_there_are_colours():
    for n in (0, 5, SMALL + 10):
        rows, _ = LabIndex(cloud(n)).nearest([50, 0, 0], n + 50)
        assert sorted(rows.tolist()) == list(range(n))


def test_a_colour_that_is_unknown_is_never_found():
    labs = cloud(SMALL + 500)
    labs[::2] = np.nan
    index = LabIndex(labs)
    rows, _ = index.nearest([50, 0, 0], len(labs))
    assert len(index) == len(rows) == len(labs) // 2
    assert np.all(rows % 2 == 1)


@pytest.mark.parametrize(
    ("lab", "k", "k_l", "what"),
    [
        ([1, 2], 5, 1.0, "the colour is"),
        ([1, 2, np.nan], 5, 1.0, "the colour is"),
        ([1, 2, 3], 0, 1.0, "neighbours"),
        ([1, 2, 3], 5, 0.0, "kL"),
    ],
)
def test_what_cannot_be_asked(lab, k, k_l, what):
    with pytest.raises(CompareError, match=what):
        LabIndex(cloud(10)).nearest(lab, k, k_l=k_l)


def test_it_is_where_others_look_for_it():
    assert OfTheContract is LabIndex
