"""Which skeins can go together, in which order they look alike, and where to alternate them.

Functions over arrays: Lab in, rows out. Nothing here knows of an archive.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ingest.colour import Floats, d_lch, delta_e_2000
from swatchvault.errors import CompareError

#: One-sided 95 % of a normal: a pair nearer to the tolerance than this cannot be told.
SURE = 1.645
#: What a ΔE00 of unknown doubt is taken to be worth where something must be said: a photo without
#: a reference is on average some 10 ΔE00 off (literature on phones).
U_UNKNOWN = 10.0
#: Blocks of ΔL*, ΔC*ab, ΔH*ab for shade sorting. Our choice, printed with every number.
BLOCKS = (1.0, 1.0, 0.8)


@dataclass(frozen=True)
class Bridge:
    """The closest pair across the gap between two neighbouring groups, and its ΔE00."""

    left: int
    right: int
    delta_e: float


@dataclass(frozen=True)
class Split:
    """Two groups, by their places, that the photos cannot tell apart: no pair across them is surely
    beyond the tolerance. ``left``, ``right``: the nearest pair that cannot be told."""

    groups: tuple[int, int]
    left: int
    right: int
    delta_e: float


@dataclass(frozen=True, eq=False)
class Grouping:
    """Skeins in groups, largest first; in each, every pair reads within the tolerance.

    ``groups``: rows in an order in which neighbours look alike. ``unsure``: pairs inside a group
    that read within the tolerance but cannot be told from beyond it (all of them where the
    doubt is unknown). ``course``: groups as they follow each other by looks. ``bridges``: one
    for each step of ``course``. ``labs``: (n, 3) the colours that were grouped. ``by``: which
    photos gave them, where photos did. ``u``: (n, n) doubt of
    ``delta_e`` that decides, as it was given; ``stated``: that of a pair as a check of the two
    states it, which is what is told.
    ``splits``: pairs of groups that rest on doubt, the nearest first. ``u_labs``: (3,) standard
    uncertainties of each of ``labs`` by itself, NaN where unknown, where photos gave them. ``why``:
    sentences of what keeps pairs of ``unsure`` from a verdict beside their doubt.
    """

    groups: tuple[tuple[int, ...], ...]
    unsure: tuple[tuple[int, int], ...]
    course: tuple[int, ...]
    bridges: tuple[Bridge, ...]
    delta_e: Floats
    tolerance: float
    k_l: float
    labs: Floats
    by: str = ""
    u: Floats | None = None
    splits: tuple[Split, ...] = ()
    u_labs: tuple[tuple[float, ...], ...] = ()
    stated: Callable[[int, int], float] | None = None
    why: tuple[str, ...] = ()

    def u_of(self, i: int, j: int) -> float:
        """Standard uncertainty to tell of the ΔE00 of two rows; NaN where unknown."""
        if self.stated is not None:
            return self.stated(i, j)
        return math.nan if self.u is None else float(self.u[i, j])


def pairwise(labs: ArrayLike, k_l: float = 1.0) -> Floats:
    """(n, n) ΔE00 of every pair of (n, 3) Lab."""
    lab = np.asarray(labs, dtype=float).reshape(-1, 3)
    first, second = np.triu_indices(len(lab), 1)
    table = np.zeros((len(lab), len(lab)))
    table[first, second] = delta_e_2000(lab[first], lab[second], k_l)
    return table + table.T


def group(
    labs: ArrayLike,
    tolerance: float = 2.0,
    *,
    k_l: float = 2.0,
    u: Floats | None = None,
    barred: NDArray[np.bool_] | None = None,
) -> Grouping:
    """The largest groups in which every pair is within ``tolerance``.

    ``labs``: (n, 3), finite. ``u``: (n, n) standard uncertainty of each pair's ΔE00, NaN where
    unknown; None means that it is unknown everywhere. ``barred``: (n, n) pairs that are never
    surely within, whatever their doubt; none by default. Groups are taken one after the other, each
    time the largest that a search from every skein finds, and never smaller than the largest of
    complete linkage. Raises :class:`CompareError` for no skeins, unknown colours, or a tolerance
    that is not above 0.
    """
    lab = np.asarray(labs, dtype=float).reshape(-1, 3)
    if not len(lab):
        raise CompareError("no measured swatch of these to group: photograph and add some first")
    if not np.isfinite(lab).all():
        raise CompareError("a colour is not known: leave that skein out or measure it")
    for name, value in (("tolerance", tolerance), ("kL", k_l)):
        if not (math.isfinite(value) and value > 0):
            raise CompareError(f"{name} is {value}, needed a number above 0: such as 2")
    table = pairwise(lab, k_l)
    members = _cliques(table, tolerance)
    groups = tuple(tuple(order_alike(table, g)) for g in members)
    course = _course(table, groups)
    bridges = tuple(_bridge(table, groups[a], groups[b]) for a, b in itertools.pairwise(course))
    never = np.zeros(table.shape, dtype=bool) if barred is None else barred
    unsure = _unsure(table, groups, tolerance, u, never)
    splits = _splits(table, groups, tolerance, u, never)
    return Grouping(
        *(groups, unsure, tuple(course), bridges, table, tolerance, k_l, lab), u=u, splits=splits
    )


def order_alike(table: Floats, members: Sequence[int]) -> list[int]:
    """Members in an order in which neighbours look alike: the best order of the leaves of their
    average linkage (Bar-Joseph, Gifford, Jaakkola, Bioinformatics 17, 2001; from
    memory, unverified)."""
    if len(members) < 3:
        return list(members)
    from scipy.cluster.hierarchy import leaves_list, linkage
    from scipy.spatial.distance import squareform

    rows = np.asarray(members)
    pairs = squareform(table[np.ix_(rows, rows)], checks=False)
    tree = linkage(pairs, "average", optimal_ordering=len(rows) <= 150)
    return [int(r) for r in rows[leaves_list(tree)]]


def _cliques(table: Floats, tolerance: float) -> list[list[int]]:
    alike = table <= tolerance
    np.fill_diagonal(alike, False)
    near = [np.flatnonzero(row) for row in alike]
    nearest = [
        [int(j) for j in js[np.argsort(table[i, js], kind="stable")]] for i, js in enumerate(near)
    ]
    bits = [sum(1 << j for j in js) for js in nearest]
    left = (1 << len(table)) - 1
    linked = [sum(1 << j for j in rows) for rows in _linked(table, tolerance)]
    seeds = list(range(len(table)))
    found: list[list[int]] = []
    while left:
        mask = max((g & left for g in linked), key=int.bit_count)
        best = [row for row in seeds if mask >> row & 1]
        for seed in seeds:
            # a skein with too few neighbours left cannot start a larger group
            if (bits[seed] & left).bit_count() >= len(best):
                grown = _grow(seed, bits, nearest, left)
                best = grown if len(grown) > len(best) else best
        if len(best) == 1:
            return [*found, *([row] for row in seeds)]
        found.append(best)
        left &= ~sum(1 << row for row in best)
        seeds = [row for row in seeds if left >> row & 1]
    return found


def _grow(seed: int, bits: list[int], nearest: list[list[int]], left: int) -> list[int]:
    members, open_to = [seed], bits[seed] & left
    for row in nearest[seed]:
        if not open_to:
            break
        if open_to >> row & 1:
            members.append(row)
            open_to &= bits[row]
    return members


def _linked(table: Floats, tolerance: float) -> list[list[int]]:
    """Groups of complete linkage cut at the tolerance."""
    if len(table) == 1:
        return [[0]]
    from scipy.cluster.hierarchy import fcluster, linkage
    from scipy.spatial.distance import squareform

    names = fcluster(linkage(squareform(table, checks=False), "complete"), tolerance, "distance")
    return [np.flatnonzero(names == name).tolist() for name in np.unique(names)]


def _course(table: Floats, groups: tuple[tuple[int, ...], ...]) -> list[int]:
    rows = np.concatenate(groups)
    starts = np.cumsum([0, *(len(g) for g in groups)])[:-1]
    apart = np.minimum.reduceat(table[np.ix_(rows, rows)], starts, axis=0)
    apart = np.minimum.reduceat(apart, starts, axis=1)
    np.fill_diagonal(apart, 0.0)
    return order_alike(apart, range(len(groups)))


def _bridge(table: Floats, left: Sequence[int], right: Sequence[int]) -> Bridge:
    part = table[np.ix_(left, right)]
    i, j = np.unravel_index(int(part.argmin()), part.shape)
    return Bridge(left[int(i)], right[int(j)], float(part[i, j]))


def _unsure(
    table: Floats,
    groups: tuple[tuple[int, ...], ...],
    tolerance: float,
    u: Floats | None,
    barred: NDArray[np.bool_],
) -> tuple[tuple[int, int], ...]:
    within = np.zeros(table.shape, dtype=bool)
    for rows in groups:
        within[np.ix_(rows, rows)] = True
    doubt = np.nan if u is None else u
    sure = (table + SURE * doubt <= tolerance) & ~barred
    unsure = np.argwhere(np.triu(within & ~sure, 1))
    return tuple((int(i), int(j)) for i, j in unsure)


def _splits(
    table: Floats,
    groups: tuple[tuple[int, ...], ...],
    tolerance: float,
    u: Floats | None,
    barred: NDArray[np.bool_],
) -> tuple[Split, ...]:
    doubt = np.full(table.shape, np.nan) if u is None else u
    reach = SURE * np.where(np.isnan(doubt), U_UNKNOWN, doubt)
    rows = np.concatenate(groups)
    starts = np.cumsum([0, *(len(g) for g in groups)])[:-1]
    beyond = (table - reach > tolerance)[np.ix_(rows, rows)]
    beyond = np.logical_or.reduceat(np.logical_or.reduceat(beyond, starts, axis=0), starts, axis=1)
    within = (table + reach <= tolerance) & ~barred
    told = np.where(within, np.inf, table)  # surely within: not in doubt
    found = []
    for a, b in np.argwhere(np.triu(~beyond, 1)):
        part = told[np.ix_(groups[a], groups[b])]
        i, j = (int(v) for v in np.unravel_index(int(part.argmin()), part.shape))
        left, right = groups[a][i], groups[b][j]
        found.append(Split((int(a), int(b)), left, right, float(table[left, right])))
    return tuple(sorted(found, key=lambda split: split.delta_e))


def shade_sort(
    labs: ArrayLike, standard: ArrayLike, blocks: tuple[float, float, float] = BLOCKS
) -> list[str]:
    """Shade-sort numbers: lightness, chroma, hue against the standard, which is 555.

    A block is ``blocks`` wide in ΔL*, ΔC*ab, ΔH*ab (CIELAB, not ΔE00) and counts up towards
    lighter, stronger and growing hue angle. A digit beyond 1 to 9 is written ``-``: out of the
    blocks. 5-5-5 sorting is trade practice ("Shade sorting", Insight on Color, 2007). ``labs``:
    (n, 3), ``standard``: (3,). Raises :class:`CompareError` for a block that is not above 0.
    """
    if min(blocks) <= 0 or not all(map(math.isfinite, blocks)):
        raise CompareError(f"a block is {min(blocks)} wide, needed a number above 0")
    lab = np.asarray(labs, dtype=float).reshape(-1, 3)
    digits = 5.0 + np.floor(d_lch(standard, lab) / np.asarray(blocks) + 0.5)
    return ["".join(str(int(d)) if 1 <= d <= 9 else "-" for d in row) for row in digits]
