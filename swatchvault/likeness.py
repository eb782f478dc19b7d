"""Swatches that look like another: by their colours with shares, their mean and how even they are.

The distance of two looks, in Lab with L* weighted 0.6, is a sum. Each colour's distance to the
nearest colour of the other, weighted by its share, half of the sum each way. The distance of the
mean colours in a like depth of shadow, which counts less the further a yarn's own colours spread:
then a photo's mean hangs on what it shows. The distance of the tonal figures, each over its
standard deviation in the archive. And for a white balance that may be off, the least over several,
each charged for. The search is exact under this distance.

The colours are up to six that stand for all 1 mm cells and not the few that an eye would name,
whose number changes from photo to photo. What was tried and what it gave: `tests/bench_looks.py`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ingest.colour import SRGB_TO_XYZ, Floats, xyz_to_lab
from ingest.screen import linear_of_lab
from swatchvault.errors import CompareError
from swatchvault.lab_boxes import Indices

Singles = NDArray[np.float32]

#: Found on 300 colourways of the project's own renders, as all weights here: that of L*.
WEIGHT_L = 0.6
#: Of the mean colour, and how its weight falls with the squared spread of both yarns' colours.
WEIGHT_MEAN, FADES = 1.6, 0.1
#: Of the tonal figures.
WEIGHT_TONAL = (1.3, 0.5)
#: Most colours that a palette keeps; the others' shares go with them. Our choice.
COLOURS = 6
#: Mean light falls by this times the strand contrast (standard deviation of ln Y): in renders of
#: one yarn in two structures that takes away half of what sets the means apart. A look is told
#: as in the contrast that is usual.
SHADOW, USUAL_CONTRAST = 0.68, 0.25
#: Side of the cells, in weighted Lab, by which a colour's distance is bounded; and how widely a
#: first search looks for a few that are near. Neither touches a result. Our choice.
CELL, SEEDS = 4.0, 4
#: Room for rounding where bounds are worked out in single precision, in units of Lab. Our choice.
SINGLE = 0.01
#: Room for rounding of a sum in double precision. Our choice.
ROUNDING = 1e-9
#: Errors of the gains of red, and against it blue, of linear sRGB. A camera's own gains that are
#: off by 3 % show as 4 to 6 % there. What an error of 1 is charged: where a reference was in the
#: photo, and where none was.
BALANCES = (0.0, -0.02, 0.02, -0.04, 0.04, -0.06, 0.06)
CHARGE, CHARGE_WITHOUT_REFERENCE = 15.0, 7.0
#: Floors of the tonal figures, under which they would only tell noise. Our choice.
FLOOR_OFF, FLOOR_DOTS = 0.1, 1.0


@dataclass(frozen=True, eq=False)
class Look:
    """What a swatch looks like. ``palette``: (m, 3) Lab, m from 1 to 6; ``shares``: (m,), sum 1;
    ``mean``: (3,) Lab of the mean light as in usual shadow; ``tonal``: (2,) ln off-line unevenness
    and sqrt of dots in %, over floors; NaN unknown."""

    palette: Floats
    shares: Floats
    mean: Floats
    tonal: Floats

    @property
    def tonal_known(self) -> bool:
        return bool(np.isfinite(self.tonal).all())


def look_of(lab: ArrayLike, tonality: Mapping[str, Any] | None) -> Look:
    """The descriptor of a measurement: its mean ``lab``, and its ``tonality`` record or None.

    Its colours are the record's signature, else its palette, else the mean; a figure that is null
    or absent is unknown.
    """
    record = tonality or {}
    parts = record.get("signature") or record.get("palette") or ()
    parts = [p for p in parts if p.get("lab") and (p.get("share") or 0) > 0]
    parts = sorted(parts, key=lambda p: -float(p["share"]))[:COLOURS]
    if not parts:
        parts = [{"lab": np.asarray(lab, dtype=float), "share": 1.0}]
    shares = np.array([float(p["share"]) for p in parts])
    palette = np.array([p["lab"] for p in parts], dtype=float)
    off, dots = (_or_nan(record.get(k)) for k in ("off_light_line", "dots_percent"))
    tonal = np.array([math.log(off + FLOOR_OFF), math.sqrt(dots + FLOOR_DOTS)])
    mean = in_usual_shadow(np.asarray(lab, dtype=float), _or_nan(record.get("strand_contrast")))
    return Look(palette, shares / shares.sum(), mean, tonal)


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else max(float(value), 0.0)


def in_usual_shadow(lab: Floats, contrast: float) -> Floats:
    """(3,) a mean colour in as much light as if the strands cast the usual shadow; as it is where
    the contrast is unknown. Light that only scales moves Lab along the line through L* = -16."""
    if math.isnan(contrast):
        return lab
    scale = math.exp(SHADOW * (contrast - USUAL_CONTRAST) / 3.0)
    return np.asarray(lab * scale + np.array([16.0, 0.0, 0.0]) * (scale - 1.0))


def in_other_balances(look: Look, charge: float = CHARGE) -> list[tuple[Look, float]]:
    """A look as other white balances of its photo would show it, each with its charge: its own
    first, then by charge."""
    seen = np.vstack([look.palette, look.mean])
    light = linear_of_lab(seen)
    found = [(look, 0.0)]
    for error in BALANCES[1:]:
        xyz = (light * [1.0 + error, 1.0, 1.0 - error]) @ SRGB_TO_XYZ.T
        shown = xyz_to_lab(np.maximum(xyz, 0.0))
        other = replace(look, palette=shown[:-1], mean=shown[-1])
        found.append((other, charge * abs(error)))
    return found


class LookIndex:
    """Looks to be searched: the k most alike, exact, by :meth:`distances`' measure.

    A tonal figure that is unknown counts as the archive's mean. Memory: about 280 bytes a look.
    """

    def __init__(self, looks: Sequence[Look]) -> None:
        n = len(looks)
        palette, shares = np.zeros((n, COLOURS, 3)), np.zeros((n, COLOURS))
        mean, tonal = np.zeros((n, 3)), np.full((n, 2), np.nan)
        for row, look in enumerate(looks):
            m = len(look.shares)
            palette[row, :m], shares[row, :m] = look.palette, look.shares
            palette[row, m:] = look.palette[0]  # repeated with no share: changes nothing
            mean[row], tonal[row] = look.mean, look.tonal
        self._prepare(palette, shares, mean, tonal)

    def _prepare(self, palette: Floats, shares: Floats, mean: Floats, tonal: Floats) -> None:
        palette[..., 0] *= WEIGHT_L
        mean[..., 0] *= WEIGHT_L
        self._palette, self._shares, self._mean = palette, shares, mean
        known = np.isfinite(tonal)
        count = np.maximum(known.sum(axis=0), 1)
        self._usual = np.where(known, tonal, 0.0).sum(axis=0) / count
        spread = np.sqrt((np.where(known, tonal - self._usual, 0.0) ** 2).sum(axis=0) / count)
        self._unit = np.where(spread > 1e-9, spread, 1.0) / WEIGHT_TONAL
        self._tonal = self._in_units(tonal)
        middle = np.einsum("nk,nkc->nc", shares, palette)
        squares = ((palette - middle[:, None]) ** 2).sum(axis=2)
        self._variance = (shares * squares).sum(axis=1)
        self._radius = np.sqrt(squares.max(axis=1, initial=0.0)).astype(np.float32)
        cell = np.floor(palette / CELL).astype(np.int64).reshape(-1, 3)
        codes = ((cell + 2**19) @ np.array([2**40, 2**20, 1])).astype(np.int64)
        _, first, which = np.unique(codes, return_index=True, return_inverse=True)
        self._centres = np.ascontiguousarray((cell[first] + 0.5).T * CELL, dtype=np.float32)
        self._cells = np.ascontiguousarray(which.reshape(-1, COLOURS).T.astype(np.int32))
        self._share_rows = np.ascontiguousarray(shares.T.astype(np.float32))
        # one row for each figure: the first bound runs over all looks
        columns = np.concatenate([middle, mean, self._tonal, self._variance[:, None]], axis=1)
        self._singles = np.ascontiguousarray(columns.T.astype(np.float32))

    def __len__(self) -> int:
        return len(self._shares)

    def _in_units(self, tonal: Floats) -> Floats:
        scaled = (tonal - self._usual) / self._unit
        return np.where(np.isfinite(scaled), scaled, 0.0)

    def distances(self, look: Look, rows: Indices | None = None) -> Floats:
        """The distance of ``look`` from every look, or from those of ``rows``."""
        query = self._query(look)
        chosen = slice(None) if rows is None else rows
        pairs = self._palette[chosen][:, :, None] - query.palette
        apart = np.sqrt(np.einsum("nijc,nijc->nij", pairs, pairs))
        theirs = (self._shares[chosen] * apart.min(axis=2)).sum(axis=1)
        ours = apart.min(axis=1) @ query.shares
        step = np.sqrt(((self._tonal[chosen] - query.tonal) ** 2).sum(axis=1))
        mean = np.sqrt(((self._mean[chosen] - query.mean) ** 2).sum(axis=1))
        fades = 1.0 + FADES * (self._variance[chosen] + query.variance)
        return np.asarray((theirs + ours) / 2.0 + WEIGHT_MEAN * mean / fades + step)

    def nearest(self, look: Look, k: int = 20, limit: float = math.inf) -> tuple[Indices, Floats]:
        """Rows of the k most alike and their distances, nearest first, ties by row; none that is
        further than ``limit``. Raises :class:`CompareError` for k under 1."""
        if k < 1:
            raise CompareError(f"{k} swatches were asked for, needed 1 or more")
        k = min(k, len(self))
        if not k or limit < 0.0:
            return np.zeros(0, dtype=np.intp), np.zeros(0)
        query = self._query(look)
        rough, tables = self._rough_bound(query), self._tables(query)
        if math.isinf(limit):
            limit = self._first_limit(look, query, rough, tables, k)
        rows = np.flatnonzero(rough <= np.float32(limit + SINGLE))
        bound = self._fine_bound(query, tables, rows)
        near = np.flatnonzero(bound <= limit + SINGLE)
        near = near[np.argsort(bound[near], kind="stable")]
        rows, bound = rows[near], bound[near]
        scored, start, size = np.zeros(0), 0, 16 * k
        while start < len(rows) and bound[start] <= limit + SINGLE:
            more = self.distances(look, rows[start : start + size])
            scored = np.concatenate([scored, more])
            start, size = start + size, size * 2
            if len(scored) >= k:
                limit = min(limit, float(np.partition(scored, k - 1)[k - 1]))
        order = np.lexsort((rows[: len(scored)], scored))
        order = order[scored[order] <= limit + ROUNDING][:k]
        return rows[order], scored[order]

    def nearest_in_any_balance(
        self, look: Look, k: int = 20, charge: float = CHARGE
    ) -> tuple[Indices, Floats]:
        """As :meth:`nearest`, the distance being the least over white balances that the photo may
        have had. Exact: what is among the k most alike is so in the balance that makes it, and in
        no balance can one help whose distance there, with the charge, is over the k-th so far."""
        rows, away, limit = np.zeros(0, dtype=np.intp), np.zeros(0), math.inf
        for other, cost in in_other_balances(look, charge):
            found, distance = self.nearest(other, k, limit - cost)
            rows, away = np.concatenate([rows, found]), np.concatenate([away, distance + cost])
            order = np.lexsort((rows, away))
            _, first = np.unique(rows[order], return_index=True)
            best = order[np.sort(first)][:k]
            rows, away = rows[best], away[best]
            if len(away) == min(k, len(self)) and len(away):
                limit = float(away[-1])
        return rows, away

    def _query(self, look: Look) -> _Query:
        palette, mean = look.palette * [WEIGHT_L, 1.0, 1.0], look.mean * [WEIGHT_L, 1.0, 1.0]
        middle = look.shares @ palette
        squares = ((palette - middle) ** 2).sum(axis=1)
        variance, radius = float(look.shares @ squares), math.sqrt(squares.max())
        return _Query(
            palette, look.shares, middle, mean, self._in_units(look.tonal), variance, radius
        )

    def _first_limit(
        self,
        look: Look,
        query: _Query,
        rough: Singles,
        tables: list[Singles],
        k: int,
    ) -> float:
        """A distance within which there surely are k looks: that of the k-th of a few."""
        every = max(1, len(self) // 4096)  # a sample says well enough which are probably near
        sample, few = rough[::every], 4 * k
        place = min(SEEDS * 8 * k // every + few, len(sample) - 1)
        seed = np.flatnonzero(rough <= np.partition(sample, place)[place])
        few = min(few, len(seed))
        seed = seed[np.argpartition(self._fine_bound(query, tables, seed), few - 1)[:few]]
        scored = self.distances(look, seed)
        return float(np.partition(scored, k - 1)[k - 1]) if len(scored) >= k else math.inf

    def _rough_bound(self, query: _Query) -> Singles:
        """No look is nearer than this: with M, R and m, r the share-weighted means and radii of
        the two palettes, a colour's nearest is no nearer than |p - M| - R, and the mean of a
        convex function is no less than the function of the mean, each way; the rest as is."""
        middle = query.middle.astype(np.float32)
        apart = np.sqrt(((self._singles[:3] - middle[:, None]) ** 2).sum(axis=0))
        each = np.maximum(apart - self._radius, 0) + np.maximum(apart - np.float32(query.radius), 0)
        return np.asarray(each / 2 + self._rest(query, self._singles[3:]))

    def _rest(self, query: _Query, singles: Singles) -> Singles:
        """What a distance adds to that of the colours."""
        both = np.array([*query.mean, *query.tonal], dtype=np.float32)
        squares = (singles[:5] - both[:, None]) ** 2
        mean, step = np.sqrt(squares[:3].sum(axis=0)), np.sqrt(squares[3:].sum(axis=0))
        fades = np.float32(1.0 + FADES * query.variance) + np.float32(FADES) * singles[5]
        return np.asarray(np.float32(WEIGHT_MEAN) * mean / fades + step)

    def _tables(self, query: _Query) -> list[Singles]:
        """For each colour of a query how near it any colour of each cell can be: the distance of
        the cell's centre less half the cell's diagonal."""
        half = np.float32(CELL * math.sqrt(3.0) / 2.0)
        tables = []
        for colour in query.palette.astype(np.float32):
            x, y, z = (axis - value for axis, value in zip(self._centres, colour, strict=True))
            tables.append(np.maximum(np.sqrt(x * x + y * y + z * z) - half, 0))
        return tables

    def _fine_bound(self, query: _Query, tables: list[Singles], rows: Indices) -> Singles:
        """No look of ``rows`` is nearer than this: every colour of it stands for its cell."""
        cells, shares = self._cells.take(rows, axis=1), self._share_rows.take(rows, axis=1)
        ours = np.zeros(len(rows), dtype=np.float32)
        theirs = np.full(cells.shape, np.inf, dtype=np.float32)
        for table, weight in zip(tables, query.shares, strict=True):
            near = table.take(cells)
            ours += np.float32(weight) * near.min(axis=0)
            np.minimum(theirs, near, out=theirs)
        rest = self._rest(query, self._singles[3:].take(rows, axis=1))
        return np.asarray((ours + (shares * theirs).sum(axis=0)) / 2.0 + rest)


@dataclass(frozen=True, eq=False)
class _Query:
    """A look in an index's units; ``middle``, ``variance``, ``radius``: of its colours."""

    palette: Floats
    shares: Floats
    middle: Floats
    mean: Floats
    tonal: Floats
    variance: float
    radius: float
