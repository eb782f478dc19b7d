"""Looks: descriptors from records, and an exact search under their distance."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.colour import SRGB_TO_XYZ, xyz_to_lab
from swatchvault.errors import CompareError
from swatchvault.likeness import SINGLE, Look, LookIndex, in_other_balances, look_of

RECORD = {
    "palette": [{"lab": [40, 20, -30], "share": 0.3}, {"lab": [70, 0, 10], "share": 0.6}],
    "off_light_line": 2.0,
    "off95": 3.0,
    "dots_percent": 4.0,
}


def some_looks(rng, n):
    looks = []
    for _ in range(n):
        m = int(rng.integers(1, 7))
        palette = rng.normal([55, 5, 5], [18, 25, 25]) + rng.normal(0, 9, (m, 3)) * (m > 1)
        tonal = rng.normal(0, 1, 3) if rng.random() > 0.1 else np.full(3, np.nan)
        looks.append(Look(palette, rng.dirichlet(np.ones(m)), tonal))
    return looks


def plainly(index_looks, query, mean, spread):
    """The distance as its definition reads, one pair at a time."""

    def scaled(p):
        return np.asarray(p) * [0.6, 1, 1]

    result = []
    for look in index_looks:
        p, q = scaled(query.palette), scaled(look.palette)
        apart = np.linalg.norm(p[:, None] - q[None], axis=2)
        colours = (query.shares @ apart.min(axis=1) + look.shares @ apart.min(axis=0)) / 2
        t = np.nan_to_num((query.tonal - mean) / spread) - np.nan_to_num(
            (look.tonal - mean) / spread
        )
        result.append(colours + 0.6 * np.linalg.norm(t))
    return np.array(result)


def test_the_distance_is_as_it_is_defined():
    looks = some_looks(np.random.default_rng(1), 80)
    tonal = np.array([look.tonal for look in looks])
    want = plainly(looks, looks[3], np.nanmean(tonal, axis=0), np.nanstd(tonal, axis=0))
    assert np.allclose(LookIndex(looks).distances(looks[3]), want, atol=1e-9)
    assert want[3] == 0


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 9999), n=st.integers(1, 400), k=st.integers(1, 30))
def test_the_search_is_exact(seed, n, k):
    rng = np.random.default_rng(seed)
    looks = some_looks(rng, n)
    index = LookIndex(looks)
    for query in (looks[0], *some_looks(rng, 2)):
        rows, distance = index.nearest(query, k)
        every = index.distances(query)
        want = np.argsort(every, kind="stable")[:k]
        assert rows.tolist() == want.tolist()
        assert np.allclose(distance, every[want], rtol=0, atol=1e-9)


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 9999), n=st.integers(1, 200), k=st.integers(1, 30))
def test_the_search_in_any_balance_is_exact(seed, n, k):
    rng = np.random.default_rng(seed)
    looks = some_looks(rng, n)
    index = LookIndex(looks)
    for query in (looks[0], *some_looks(rng, 2)):
        rows, distance = index.nearest_in_any_balance(query, k)
        ways = [index.distances(look) + cost for look, cost in in_other_balances(query)]
        every = np.min(ways, axis=0)
        want = np.argsort(every, kind="stable")[:k]
        assert rows.tolist() == want.tolist()
        assert np.allclose(distance, every[want], rtol=0, atol=1e-9)


def test_a_photo_whose_white_is_off_finds_its_yarn_among_near_ones():
    """Yarn that a warm photo shows, and another that is by chance of the colour it seems there."""
    light = np.array([[0.80, 0.72, 0.60], [0.50, 0.66, 0.70]])
    seen = xyz_to_lab((light / [0.96, 1.0, 1.04]) @ SRGB_TO_XYZ.T)
    true = xyz_to_lab(light @ SRGB_TO_XYZ.T)
    shares, tonal = np.array([0.6, 0.4]), np.zeros(3)
    decoy = Look(seen + np.array([0.0, 0.9, -0.9]), shares, tonal)
    index = LookIndex([decoy, Look(true, shares, tonal)])
    assert index.nearest(Look(seen, shares, tonal), 1)[0].tolist() == [0]
    rows, distance = index.nearest_in_any_balance(Look(seen, shares, tonal), 2)
    assert rows.tolist() == [1, 0]
    assert distance[0] == pytest.approx(0.4, abs=1e-3)  # a gain that is off by 0.04, charged for
    rows, distance = index.nearest_in_any_balance(Look(true, shares, tonal), 2)
    assert (rows[0], distance[0]) == (1, 0.0)


def test_both_bounds_hold():
    rng = np.random.default_rng(5)
    index = LookIndex(some_looks(rng, 500))
    for query in some_looks(rng, 20):
        every = index.distances(query)
        assert np.all(index._rough_bound(query) <= every + SINGLE / 10)
        assert np.all(
            index._fine_bound(query, index._tables(query), np.arange(500)) <= every + SINGLE / 10
        )


def test_a_record_becomes_a_look():
    look = look_of([1, 2, 3], RECORD)
    assert look.palette[0].tolist() == [70, 0, 10]  # the larger share first
    assert look.shares.tolist() == pytest.approx([2 / 3, 1 / 3])
    assert look.tonal.tolist() == pytest.approx([np.log(2), np.log(3), 2])
    assert look.tonal_known


def test_the_signature_goes_before_the_palette():
    several = {**RECORD, "signature": [{"lab": [41, 20, -30], "share": 1.0}]}
    assert look_of([1, 2, 3], several).palette.tolist() == [[41, 20, -30]]


@pytest.mark.parametrize("record", [None, {}, {"palette": None, "off_light_line": None}])
def test_without_a_record_the_mean_is_the_palette(record):
    look = look_of([50, 1, 2], record)
    assert look.palette.tolist() == [[50, 1, 2]]
    assert look.shares.tolist() == [1]
    assert not look.tonal_known
    assert len(LookIndex([look]).nearest(look, 5)[0]) == 1


def test_nothing_to_search_and_nothing_asked():
    assert len(LookIndex([]).nearest(look_of([50, 0, 0], None), 5)[0]) == 0
    with pytest.raises(CompareError, match="asked for"):
        LookIndex([]).nearest(look_of([50, 0, 0], None), 0)
