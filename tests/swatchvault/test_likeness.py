"""Looks: descriptors from records, and an exact search under their distance."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.colour import SRGB_TO_XYZ, xyz_to_lab
from swatchvault.errors import CompareError
from swatchvault.likeness import (
    BALANCES,
    CHARGE,
    CHARGE_WITHOUT_REFERENCE,
    SINGLE,
    Look,
    LookIndex,
    in_other_balances,
    in_usual_shadow,
    look_of,
)

RECORD = {
    "palette": [{"lab": [40, 20, -30], "share": 0.3}, {"lab": [70, 0, 10], "share": 0.6}],
    "off_light_line": 2.0,
    "dots_percent": 3.0,
    "strand_contrast": 0.25,
}


def some_looks(rng, n):
    looks = []
    for _ in range(n):
        m = int(rng.integers(1, 7))
        palette = rng.normal([55, 5, 5], [18, 25, 25]) + rng.normal(0, 9, (m, 3)) * (m > 1)
        tonal = rng.normal(0, 1, 2) if rng.random() > 0.1 else np.full(2, np.nan)
        mean = palette.mean(axis=0) + rng.normal(0, 1, 3)
        looks.append(Look(palette, rng.dirichlet(np.ones(m)), mean, tonal))
    return looks


def plainly(index_looks, query, usual, spread):
    """The distance as its definition reads, one pair at a time."""

    def scaled(p):
        return np.asarray(p) * [0.6, 1, 1]

    def variance(look):
        p = scaled(look.palette)
        return look.shares @ ((p - look.shares @ p) ** 2).sum(axis=1)

    result = []
    for look in index_looks:
        p, q = scaled(query.palette), scaled(look.palette)
        apart = np.linalg.norm(p[:, None] - q[None], axis=2)
        colours = (query.shares @ apart.min(axis=1) + look.shares @ apart.min(axis=0)) / 2
        mean = np.linalg.norm(scaled(query.mean) - scaled(look.mean))
        mean /= 1 + 0.1 * (variance(query) + variance(look))
        t = np.nan_to_num((query.tonal - usual) / spread) - np.nan_to_num(
            (look.tonal - usual) / spread
        )
        result.append(colours + 1.6 * mean + np.linalg.norm(t * [1.3, 0.5]))
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
@given(
    seed=st.integers(0, 9999),
    n=st.integers(1, 200),
    k=st.integers(1, 30),
    charge=st.sampled_from([0.0, CHARGE, CHARGE_WITHOUT_REFERENCE]),
)
def test_the_search_in_any_balance_is_exact(seed, n, k, charge):
    rng = np.random.default_rng(seed)
    looks = some_looks(rng, n)
    index = LookIndex(looks)
    for query in (looks[0], *some_looks(rng, 2)):
        rows, distance = index.nearest_in_any_balance(query, k, charge)
        ways = [index.distances(look) + cost for look, cost in in_other_balances(query, charge)]
        every = np.min(ways, axis=0)
        want = np.argsort(every, kind="stable")[:k]
        assert rows.tolist() == want.tolist()
        assert np.allclose(distance, every[want], rtol=0, atol=1e-9)


def test_no_more_is_found_than_lies_within_a_limit():
    rng = np.random.default_rng(6)
    index = LookIndex(some_looks(rng, 200))
    query = some_looks(rng, 1)[0]
    every = np.sort(index.distances(query))
    assert len(index.nearest(query, 20, limit=float(every[6]))[0]) == 7
    assert len(index.nearest(query, 20, limit=-0.1)[0]) == 0


def test_a_photo_whose_white_is_off_finds_its_yarn_among_near_ones():
    """Yarn that a warm photo shows, and another that is by chance of the colour it seems there."""
    light = np.array([[0.80, 0.72, 0.60], [0.50, 0.66, 0.70]])
    shares, tonal = np.array([0.6, 0.4]), np.zeros(2)

    def look(rgb, move=0.0):
        lab = xyz_to_lab(rgb @ SRGB_TO_XYZ.T) + move
        return Look(lab, shares, xyz_to_lab(shares @ rgb @ SRGB_TO_XYZ.T) + move, tonal)

    true, seen = look(light), look(light / [0.96, 1.0, 1.04])
    decoy = look(light / [0.96, 1.0, 1.04], np.array([0.0, 0.45, -0.45]))
    index = LookIndex([decoy, true])
    assert index.nearest(seen, 1)[0].tolist() == [0]
    rows, distance = index.nearest_in_any_balance(seen, 2)
    assert rows.tolist() == [1, 0]
    assert distance[0] == pytest.approx(0.04 * CHARGE, abs=1e-3)
    rows, distance = index.nearest_in_any_balance(true, 2)
    assert (rows[0], distance[0]) == (1, 0.0)
    _, distance = index.nearest_in_any_balance(seen, 2, CHARGE_WITHOUT_REFERENCE)
    assert distance[0] == pytest.approx(0.04 * CHARGE_WITHOUT_REFERENCE, abs=1e-3)


def test_balances_come_in_the_order_of_their_charge():
    """So that a search may stop where the charge alone is over what it has."""
    costs = [cost for _, cost in in_other_balances(some_looks(np.random.default_rng(2), 1)[0])]
    assert costs == sorted(costs) and len(costs) == len(BALANCES)


def test_a_mean_is_told_as_in_the_usual_shadow():
    """Deeper shadow takes light away: what is left is scaled up, along the line of light."""
    lab = np.array([50.0, 20.0, -10.0])
    lifted, below = in_usual_shadow(lab, 0.5), np.array([16.0, 0.0, 0.0])
    assert lifted[0] > 50.0
    assert (lifted + below) / (lab + below) == pytest.approx([np.exp(0.68 * 0.25 / 3)] * 3)
    assert in_usual_shadow(lab, 0.25) == pytest.approx(lab)
    assert in_usual_shadow(lab, np.nan) is lab


def test_both_bounds_hold():
    rng = np.random.default_rng(5)
    index = LookIndex(some_looks(rng, 500))
    for query in some_looks(rng, 20):
        every = index.distances(query)
        known = index._query(query)
        assert np.all(index._rough_bound(known) <= every + SINGLE / 10)
        fine = index._fine_bound(known, index._tables(known), np.arange(500))
        assert np.all(fine <= every + SINGLE / 10)


def test_a_record_becomes_a_look():
    look = look_of([1, 2, 3], RECORD)
    assert look.palette[0].tolist() == [70, 0, 10]  # the larger share first
    assert look.shares.tolist() == pytest.approx([2 / 3, 1 / 3])
    assert look.tonal.tolist() == pytest.approx([np.log(2.1), 2])
    assert look.mean.tolist() == pytest.approx([1, 2, 3])  # its shadow is the usual one
    assert look.tonal_known


def test_the_signature_goes_before_the_palette():
    several = {**RECORD, "signature": [{"lab": [41, 20, -30], "share": 1.0}]}
    assert look_of([1, 2, 3], several).palette.tolist() == [[41, 20, -30]]


@pytest.mark.parametrize("record", [None, {}, {"palette": None, "off_light_line": None}])
def test_without_a_record_the_mean_is_the_palette(record):
    look = look_of([50, 1, 2], record)
    assert look.palette.tolist() == [[50, 1, 2]]
    assert look.mean.tolist() == [50, 1, 2]
    assert look.shares.tolist() == [1]
    assert not look.tonal_known
    assert len(LookIndex([look]).nearest(look, 5)[0]) == 1


def test_nothing_to_search_and_nothing_asked():
    assert len(LookIndex([]).nearest(look_of([50, 0, 0], None), 5)[0]) == 0
    with pytest.raises(CompareError, match="asked for"):
        LookIndex([]).nearest(look_of([50, 0, 0], None), 0)
