"""Stockinette of the third renderer: one stitch drawn in space, then set side by side."""

from __future__ import annotations

import numpy as np

from ingest.model import Array
from tests.tonality.third_noise import F, smooth
from tests.tonality.third_strands import Laid

#: How much denser than the photo the stitch is drawn.
DENSER = 1.5
#: Courses and neighbours that reach into the tile of one stitch.
COURSES, SIDES = (-2, -1, 0, 1, 2), (-1, 0, 1)
#: Height over strand widths by which a course, or a neighbour, wins where two lie level.
AHEAD = (0.03, 0.02)
#: Stitches of a course, and where in the cloth the photo lies, mm.
STITCHES, FROM_MM = 60, 40.0


def stitch(
    rng: np.random.Generator, size_mm: tuple[float, float], width_mm: float, px_per_mm: float
) -> tuple[dict[str, Array], float]:
    """One stitch as a tile of ``size_mm`` (across, down), by name (rows, columns), and the yarn in
    it, mm. ``height``, ``across``: mm, ``run``: mm from its start, ``lean``: rad, ``course`` and
    ``side``: which loop is seen, ``course`` is NaN where none is."""
    across, down = size_mm
    points, lean, run, length = _loop(rng, size_mm, width_mm, px_per_mm)
    v = np.linspace(-0.999, 0.999, int(max(61, 1.6 * width_mm * px_per_mm)))
    half = 0.5 * width_mm
    X = points[0][:, None] - np.sin(lean)[:, None] * v * half
    Y = points[1][:, None] + np.cos(lean)[:, None] * v * half
    Z = points[2][:, None] + np.sqrt(1.0 - v * v) * half
    columns, rows = (max(round(mm * px_per_mm), 8) for mm in size_mm)
    parts = []
    for course in COURSES:
        for side in SIDES:
            i = np.floor((X + side * across) / across * columns).astype(int)
            j = np.floor((Y + 0.5 * down + course * down) / down * rows).astype(int)
            p, q = np.nonzero((i >= 0) & (i < columns) & (j >= 0) & (j < rows))
            ahead = width_mm * (AHEAD[0] * course + AHEAD[1] * side)
            at = j[p, q] * columns + i[p, q]
            parts.append((Z[p, q], at, p, q, *(np.full(len(p), n) for n in (course, side, ahead))))
    z, at, p, q, courses, sides, lead = (np.concatenate(c) for c in zip(*parts, strict=True))
    order = np.argsort(z + lead)  # of points that fall on one pixel the last written is seen
    names = ("height", "run", "across", "lean", "course", "side")
    values = (z, run[p], v[q] * half, lean[p], courses, sides)
    tile = {n: np.zeros(rows * columns, F) for n in names}
    tile["height"][:], tile["course"][:] = -width_mm, np.nan
    for array, value in zip(tile.values(), values, strict=True):
        array[at[order]] = value[order]
    return {n: a.reshape(rows, columns) for n, a in tile.items()}, length


def _loop(
    rng: np.random.Generator, size_mm: tuple[float, float], width_mm: float, px_per_mm: float
) -> tuple[Array, Array, Array, float]:
    """The axis of one loop: (3, n) mm, its direction, the yarn up to each point, and in all."""
    across, down = size_mm
    bulge = rng.uniform(1.05, 1.45)
    reach = down * rng.uniform(0.80, 0.95)
    deep = width_mm * rng.uniform(0.45, 0.6)
    count = int(max(900, 4.5 * (across + 2.0 * down) * px_per_mm))  # no pixel stays open
    u = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    x = (u + bulge * np.sin(2.0 * u)) / (2.0 * np.pi) * across
    y, z = -reach * np.cos(u), -deep * np.cos(2.0 * u)
    dx = (1.0 + 2.0 * bulge * np.cos(2.0 * u)) / (2.0 * np.pi) * across
    dy, dz = reach * np.sin(u), 2.0 * deep * np.sin(2.0 * u)
    run = np.cumsum(np.sqrt(dx * dx + dy * dy + dz * dz)) * (u[1] - u[0])
    return np.stack([x, y, z]), np.arctan2(dy, dx), run, float(run[-1])


def knit(
    rng: np.random.Generator, shape: tuple[int, int], px_per_mm: float, width_mm: float
) -> Laid:
    """A photo of (h, w) pixels of stockinette, its stitches pulled a little out of line."""
    across = width_mm * rng.uniform(1.95, 2.4)
    down = across * rng.uniform(0.68, 0.82)
    tile, length = stitch(rng, (across, down), width_mm, DENSER * px_per_mm)
    turn = np.deg2rad(rng.normal(0.0, 4.0))
    x, y = _cloth(rng, shape, px_per_mm, (across, down), turn)
    column, row = np.floor(x / across), np.floor(y / down)
    rows, columns = tile["height"].shape
    at = (
        np.clip(((y / down - row) * rows).astype(int), 0, rows - 1),
        np.clip(((x / across - column) * columns).astype(int), 0, columns - 1),
    )
    seen = {n: a[at] for n, a in tile.items()}
    yarn = ~np.isnan(seen["course"])
    course = np.where(yarn, row - np.nan_to_num(seen["course"]), 0.0)
    along = (column - seen["side"]) * length + seen["run"]
    forth = np.where(course % 2 == 0, along, STITCHES * length - along)
    height = seen["height"] + F(0.10 * width_mm) * smooth(rng, shape, (down, across), px_per_mm)
    height = height + F(rng.uniform(0.0, 0.5)) * smooth(rng, shape, (18.0, 18.0), px_per_mm)
    return Laid(
        height=np.where(yarn, height, height[yarn].min() - 0.1 * width_mm).astype(F),
        run=(course * (STITCHES * length) + forth).astype(F),
        across=seen["across"],
        half=np.full(shape, 0.5 * width_mm, F),
        lean=(seen["lean"] + F(turn)).astype(F),
        strand=course.astype(np.int32),
        x=(x - FROM_MM).astype(F),
        y=(y - FROM_MM).astype(F),
        yarn=yarn,
    )


def _cloth(
    rng: np.random.Generator,
    shape: tuple[int, int],
    px_per_mm: float,
    size_mm: tuple[float, float],
    turn: float,
) -> tuple[Array, Array]:
    """(h, w) mm in the cloth that each pixel shows: turned, stitches and the whole uneven."""
    h, w = shape
    gx, gy = np.meshgrid(*(np.arange(n, dtype=F) / F(px_per_mm) for n in (w, h)))
    x = gx * F(np.cos(turn)) + gy * F(np.sin(turn)) + F(FROM_MM)
    y = gy * F(np.cos(turn)) - gx * F(np.sin(turn)) + F(FROM_MM)
    across, down = size_mm
    bend = F(across * rng.uniform(0.04, 0.10))
    near = ((1.4 * down, 1.4 * across), (1.6 * down, 1.4 * across))
    far = ((25.0, 25.0), (30.0, 20.0))
    for pulled, close, wide in zip((x, y), near, far, strict=True):
        pulled += bend * smooth(rng, shape, close, px_per_mm)
        pulled += F(across * rng.uniform(0.1, 0.6)) * smooth(rng, shape, wide, px_per_mm)
    return x, y
