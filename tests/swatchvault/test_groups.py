"""Groups that can go together: every pair within, never worse than complete linkage."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.colour import delta_e_2000
from swatchvault.errors import CompareError
from swatchvault.groups import group, order_alike, pairwise, shade_sort


def some(seed, n, spread=1.2):
    return np.array([50, 15, -10]) + np.random.default_rng(seed).normal(0, spread, (n, 3))


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 9999), n=st.integers(1, 30), tolerance=st.floats(0.3, 4))
def test_every_pair_of_a_group_is_within_and_all_skeins_are_in_one(seed, n, tolerance):
    labs = some(seed, n)
    found = group(labs, tolerance, k_l=1.0)
    assert sorted(itertools.chain(*found.groups)) == list(range(n))
    for rows in found.groups:
        for i, j in itertools.combinations(rows, 2):
            assert delta_e_2000(labs[i], labs[j]) <= tolerance
    sizes = [len(g) for g in found.groups]
    assert sizes == sorted(sizes, reverse=True)
    assert len(found.bridges) == len(found.groups) - 1


@pytest.mark.parametrize("seed", range(8))
def test_the_first_group_is_at_least_that_of_complete_linkage(seed):
    from scipy.cluster.hierarchy import fcluster, linkage
    from scipy.spatial.distance import squareform

    labs = some(seed, 60)
    tree = linkage(squareform(pairwise(labs, 2.0), checks=False), "complete")
    largest = np.bincount(fcluster(tree, 2.0, "distance")).max()
    assert len(group(labs, 2.0, k_l=2.0).groups[0]) >= largest


@pytest.mark.parametrize("seed", range(6))
def test_the_first_group_is_seldom_smaller_than_the_largest_there_is(seed):
    labs = some(seed, 12)
    alike = pairwise(labs) <= 2.0
    largest = max(
        size
        for size in range(1, 13)
        for rows in itertools.combinations(range(12), size)
        if alike[np.ix_(rows, rows)].all()
    )
    assert len(group(labs, 2.0, k_l=1.0).groups[0]) >= largest - 1


def test_a_chain_of_small_steps_is_no_group():
    labs = np.array([[50 + i, 0.0, 0.0] for i in range(7)])
    found = group(labs, 2.1, k_l=1.0)
    assert max(len(g) for g in found.groups) == 3


def test_pairs_that_cannot_be_told_are_named():
    labs = np.array([[50, 0, 0], [50.3, 0, 0], [51.5, 0, 0]])
    u = np.full((3, 3), 0.4)
    assert group(labs, 2.0, k_l=1.0, u=u).unsure == ((0, 2),)
    assert group(labs, 2.0, k_l=1.0).unsure == ((0, 1), (0, 2), (1, 2))  # doubt unknown
    u[0, 1] = u[1, 0] = np.nan
    assert group(labs, 2.0, k_l=1.0, u=u).unsure == ((0, 1), (0, 2))


def test_neighbours_look_alike():
    labs = np.array([[40, 0, 0], [60, 0, 0], [45, 0, 0], [55, 0, 0], [50, 0, 0]], dtype=float)
    order = order_alike(pairwise(labs), range(5))
    assert order in ([0, 2, 4, 3, 1], [1, 3, 4, 2, 0])


def test_a_gap_is_bridged_by_its_closest_pair():
    labs = np.array([[50, 0, 0], [51, 0, 0], [56, 0, 0], [57, 0, 0]], dtype=float)
    (bridge,) = group(labs, 1.5, k_l=1.0).bridges
    assert {bridge.left, bridge.right} == {1, 2}


def test_shade_sort_numbers():
    standard = [50.0, 30.0, 0.0]
    assert shade_sort([standard], standard) == ["555"]
    labs = [[51.2, 30, 0], [50, 28.1, 0], [50, 30 * np.cos(0.06), 30 * np.sin(0.06)], [40, 30, 0]]
    assert shade_sort(labs, standard, (1.0, 1.0, 0.8)) == ["655", "535", "557", "-55"]
    assert shade_sort([[50.49, 30, 0], [50.51, 30, 0]], standard) == ["555", "655"]


@pytest.mark.parametrize(
    ("labs", "tolerance", "what"),
    [([], 2, "no measured"), ([[np.nan, 0, 0]], 2, "not known"), ([[50, 0, 0]], 0, "tolerance")],
)
def test_what_cannot_be_grouped(labs, tolerance, what):
    with pytest.raises(CompareError, match=what):
        group(labs, tolerance)


def test_a_split_that_rests_on_doubt_is_named():
    labs = [[50.0, 0, 0], [51.2, 0, 0], [53.0, 0, 0], [75.0, 0, 0]]
    vague = np.full((4, 4), 2.0)
    found = group(labs, 2.0, k_l=1.0, u=vague)
    assert [set(g) for g in found.groups] == [{0, 1}, {2}, {3}]
    (split,) = found.splits  # 25 off is told for sure
    assert (split.groups, {split.left, split.right}) == ((0, 1), {1, 2})
    assert split.delta_e == pytest.approx(found.delta_e[1, 2])
    # one pair across is surely beyond: then they are two, whatever the others are
    sure = vague.copy()
    sure[0, 2] = sure[2, 0] = 0.1
    assert group(labs, 2.0, k_l=1.0, u=sure).splits == ()
    assert group(labs, 2.0, k_l=1.0, u=np.full((4, 4), 0.01)).splits == ()


def test_a_pair_surely_within_is_not_what_a_split_rests_on():
    labs = [[50.0, 0, 0], [51.2, 0, 0], [53.0, 0, 0]]
    u = np.full((3, 3), 2.0)
    u[1, 2] = u[2, 1] = 0.01
    (split,) = group(labs, 2.0, k_l=1.0, u=u).splits
    assert {split.left, split.right} == {0, 2}


def test_of_unknown_doubt_only_what_is_near_may_be_one():
    near, far = [[50.0, 0, 0], [60.0, 0, 0]], [[50.0, 0, 0], [90.0, 0, 0]]
    assert len(group(near, 2.0, k_l=1.0).splits) == 1
    assert group(far, 2.0, k_l=1.0).splits == ()
