"""Swatches that look like another: by their colours with shares and by how even the dye is.

The distance of two descriptors, in Lab with L* weighted 0.6: each colour's distance to the
nearest colour of the other, weighted by its share, half of the sum each way; plus 0.6 times the
distance of the tonal figures, each over its standard deviation in the archive. Earth mover's
distance does worse on variegated yarn, whose shares differ from photo to photo (the project's
own renders: 0.81 against 0.98 first). The search is exact under this distance.

The colours are up to six that stand for all 1 mm cells and not the few that an eye would name,
whose number changes from photo to photo. Among 200 colourways of renders that nothing was chosen
on, photographed anew: 99.5 % first against 96 with a palette, in another form 97.5 against 83.5.
With gains of red and blue off by 3 %, 98.5 % where other balances are tried, and 95 without.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ingest.colour import SRGB_TO_XYZ, Floats, lab_to_xyz, xyz_to_lab
from swatchvault.errors import CompareError
from swatchvault.lab_index import Indices

#: Found on the project's own renders: weight of L*, and of the tonal figures.
WEIGHT_L, WEIGHT_TONAL = 0.6, 0.6
#: Most colours that a palette keeps; the others' shares go with them.
COLOURS = 6
#: Side of the cells, in weighted Lab, by which a colour's distance is bounded; and how widely a
#: first search looks for a few that are near. Neither touches a result.
CELL, SEEDS = 4.0, 4
#: Room for rounding where bounds are worked out in single precision, in units of Lab.
SINGLE = 0.01
#: Errors of the gains of red, and against it blue, that a photo without a reference may have, and
#: what each is charged: between 5 and 20 the renders that this was chosen on tell no difference.
BALANCES, CHARGE = (-0.04, -0.02, 0.0, 0.02, 0.04), 10.0
#: Floors of the tonal figures, under which a logarithm would only tell noise. Our choice.
FLOOR = 0.05


@dataclass(frozen=True, eq=False)
class Look:
    """What a swatch looks like. ``palette``: (m, 3) Lab, m from 1 to 6; ``shares``: (m,), sum 1;
    ``tonal``: (3,) ln off-line unevenness, ln of the distance off the light line that 95 % of 1 mm
    cells keep within, sqrt of dots in %; NaN unknown."""

    palette: Floats
    shares: Floats
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
    figures = [record.get(k) for k in ("off_light_line", "off95", "dots_percent")]
    off, reach, dots = (math.nan if v is None else float(v) for v in figures)
    tonal = [math.log(max(v, FLOOR)) for v in (off, reach)] + [math.sqrt(max(dots, 0.0))]
    palette = np.array([p["lab"] for p in parts], dtype=float)
    return Look(palette, shares / shares.sum(), np.array(tonal))


def in_other_balances(look: Look) -> list[tuple[Look, float]]:
    """A look as other white balances of its photo would show it, each with its charge."""
    light = lab_to_xyz(look.palette) @ np.linalg.inv(SRGB_TO_XYZ).T
    found = []
    for error in BALANCES:
        xyz = (light * [1.0 + error, 1.0, 1.0 - error]) @ SRGB_TO_XYZ.T
        shown = xyz_to_lab(np.maximum(xyz, 0.0)) if error else look.palette
        found.append((replace(look, palette=shown), CHARGE * abs(error)))
    return found


class LookIndex:
    """Looks to be searched: the k most alike, exact, by :func:`distance`'s measure.

    A tonal figure that is unknown counts as the archive's mean. Memory: about 240 bytes a look.
    """

    def __init__(self, looks: Sequence[Look]) -> None:
        n = len(looks)
        self._palette = np.full((n, COLOURS, 3), np.nan)
        self._shares = np.zeros((n, COLOURS))
        tonal = np.full((n, 3), np.nan)
        for row, look in enumerate(looks):
            m = len(look.shares)
            self._palette[row, :m] = look.palette
            self._palette[row, m:] = look.palette[0]  # repeated with no share: changes nothing
            self._shares[row, :m] = look.shares
            tonal[row] = look.tonal
        self._prepare(tonal)

    @classmethod
    def of_arrays(cls, palette: Floats, shares: Floats, tonal: Floats) -> LookIndex:
        """From (n, 6, 3) Lab, (n, 6) shares with 0 for repeated colours, (n, 3) tonal figures."""
        index = cls([])
        index._palette, index._shares = np.array(palette, dtype=float), np.array(shares)
        index._prepare(np.asarray(tonal, dtype=float))
        return index

    def _prepare(self, tonal: Floats) -> None:
        self._palette[..., 0] *= WEIGHT_L
        known = np.isfinite(tonal)
        count = np.maximum(known.sum(axis=0), 1)
        self._mean = np.where(known, tonal, 0.0).sum(axis=0) / count
        spread = np.sqrt((np.where(known, tonal - self._mean, 0.0) ** 2).sum(axis=0) / count)
        self._spread = np.where(spread > 1e-9, spread, 1.0)
        self._tonal = self._in_units(tonal)
        self._middle = np.einsum("nk,nkc->nc", self._shares, self._palette)
        apart = np.linalg.norm(self._palette - self._middle[:, None], axis=2)
        self._radius = apart.max(axis=1, initial=0.0)
        cell = np.floor(self._palette / CELL).astype(np.int64).reshape(-1, 3)
        codes = ((cell + 2**19) @ np.array([2**40, 2**20, 1])).astype(np.int64)
        _, first, which = np.unique(codes, return_index=True, return_inverse=True)
        self._centres = np.ascontiguousarray((cell[first] + 0.5).T * CELL, dtype=np.float32)
        self._cells = np.ascontiguousarray(which.reshape(-1, COLOURS).T.astype(np.int32))
        self._share_rows = np.ascontiguousarray(self._shares.T.astype(np.float32))
        # one row for each figure: the first bound runs over all looks
        columns = np.ascontiguousarray(np.concatenate([self._middle, self._tonal], axis=1).T)
        self._singles = columns.astype(np.float32)
        self._radius = self._radius.astype(np.float32)

    def __len__(self) -> int:
        return len(self._shares)

    def _in_units(self, tonal: Floats) -> Floats:
        scaled = WEIGHT_TONAL * (tonal - self._mean) / self._spread
        return np.where(np.isfinite(scaled), scaled, 0.0)

    def distances(self, look: Look, rows: Indices | None = None) -> Floats:
        """The distance of ``look`` from every look, or from those of ``rows``."""
        palette, tonal = self._query(look)
        chosen = slice(None) if rows is None else rows
        pairs = self._palette[chosen][:, :, None] - palette
        apart = np.sqrt(np.einsum("nijc,nijc->nij", pairs, pairs))
        theirs = (self._shares[chosen] * apart.min(axis=2)).sum(axis=1)
        ours = apart.min(axis=1) @ look.shares
        step = np.sqrt(((self._tonal[chosen] - tonal) ** 2).sum(axis=1))
        return np.asarray((theirs + ours) / 2.0 + step)

    def nearest(self, look: Look, k: int = 20) -> tuple[Indices, Floats]:
        """Rows of the k most alike and their distances, nearest first, ties by row."""
        if k < 1:
            raise CompareError(f"{k} swatches were asked for, needed 1 or more")
        k = min(k, len(self))
        if not k:
            return np.zeros(0, dtype=np.intp), np.zeros(0)
        rough = self._rough_bound(look)
        every = max(1, len(self) // 4096)  # a sample says well enough which are probably near
        sample, few = rough[::every], 4 * k
        place = min(SEEDS * 8 * k // every + few, len(sample) - 1)
        seed = np.flatnonzero(rough <= np.partition(sample, place)[place])
        few = min(few, len(seed))
        tables = self._tables(look)
        seed = seed[np.argpartition(self._fine_bound(look, tables, seed), few - 1)[:few]]
        scored = self.distances(look, seed)
        limit = float(np.partition(scored, k - 1)[k - 1]) if len(scored) >= k else math.inf
        rows = np.flatnonzero(rough <= np.float32(limit + SINGLE))
        bound = self._fine_bound(look, tables, rows)
        near = np.flatnonzero(bound <= limit + SINGLE)
        near = near[np.argsort(bound[near], kind="stable")]
        rows, bound = rows[near], bound[near]
        found, start, size = [], 0, 16 * k
        while start < len(rows) and bound[start] <= limit + SINGLE:
            found.append(self.distances(look, rows[start : start + size]))
            start, size = start + size, size * 2
            scored = np.concatenate(found)
            if len(scored) >= k:
                limit = min(limit, float(np.partition(scored, k - 1)[k - 1]))
        scored = np.concatenate(found)
        order = np.lexsort((rows[: len(scored)], scored))[:k]
        return rows[order], scored[order]

    def nearest_in_any_balance(self, look: Look, k: int = 20) -> tuple[Indices, Floats]:
        """As :meth:`nearest` for a photo without a reference: the distance is the least over
        white balances that it may have had, and exact, since what is among the k most alike is so
        in the balance that makes it."""
        found = [(*self.nearest(other, k), cost) for other, cost in in_other_balances(look)]
        rows = np.concatenate([rows for rows, _, _ in found])
        away = np.concatenate([distance + cost for _, distance, cost in found])
        order = np.lexsort((rows, away))
        _, first = np.unique(rows[order], return_index=True)
        best = order[np.sort(first)][:k]
        return rows[best], away[best]

    def _query(self, look: Look) -> tuple[Floats, Floats]:
        return look.palette * [WEIGHT_L, 1.0, 1.0], self._in_units(look.tonal)

    def _rough_bound(self, look: Look) -> NDArray[np.float32]:
        """No look is nearer than this: with M, R and m, r the share-weighted means and radii of
        the two palettes, a colour's nearest is no nearer than |p - M| - R, and the mean of a
        convex function is no less than the function of the mean, each way; tonal terms as is."""
        palette, tonal = self._query(look)
        middle = look.shares @ palette
        radius = float(np.linalg.norm(palette - middle, axis=1).max())
        both = np.array([*middle, *tonal], dtype=np.float32)
        squares = (self._singles - both[:, None]) ** 2
        apart, step = np.sqrt(squares[:3].sum(axis=0)), np.sqrt(squares[3:].sum(axis=0))
        each = np.maximum(apart - self._radius, 0) + np.maximum(apart - np.float32(radius), 0)
        return np.asarray(each / 2 + step)

    def _tables(self, look: Look) -> list[NDArray[np.float32]]:
        """For each colour of ``look`` how near it any colour of each cell can be: the distance of
        the cell's centre less half the cell's diagonal."""
        half = np.float32(CELL * math.sqrt(3.0) / 2.0)
        tables = []
        for colour in self._query(look)[0].astype(np.float32):
            x, y, z = (axis - value for axis, value in zip(self._centres, colour, strict=True))
            tables.append(np.maximum(np.sqrt(x * x + y * y + z * z) - half, 0))
        return tables

    def _fine_bound(
        self, look: Look, tables: list[NDArray[np.float32]], rows: Indices
    ) -> NDArray[np.float32]:
        """No look of ``rows`` is nearer than this: every colour of it stands for its cell."""
        cells, shares = self._cells.take(rows, axis=1), self._share_rows.take(rows, axis=1)
        ours = np.zeros(len(rows), dtype=np.float32)
        theirs = np.full(cells.shape, np.inf, dtype=np.float32)
        for table, weight in zip(tables, look.shares, strict=True):
            near = table.take(cells)
            ours += np.float32(weight) * near.min(axis=0)
            np.minimum(theirs, near, out=theirs)
        tonal = self._in_units(look.tonal).astype(np.float32)
        steps = self._singles[3:].take(rows, axis=1) - tonal[:, None]
        step = np.sqrt((steps**2).sum(axis=0))
        return np.asarray((ours + (shares * theirs).sum(axis=0)) / 2.0 + step)
