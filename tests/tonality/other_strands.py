"""Yarn as tubes round its centre lines, and the surface that is seen from above.

Round a centre line lie plies, each a tube on a helix. Points are strewn densely over all tubes and
the highest one in each pixel is what is seen. All sizes are our own, chosen to look plausible;
none is measured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.model import Array
from tests.tonality.other_lay import Lines, Yarn, lengths_of, resampled, wander

Floats = NDArray[np.float64]

#: Yarn drawn beyond the region on every side, mm.
MARGIN_MM = 5.0
#: Distance of points on tubes, px: under one, so that hardly a pixel is missed.
POINT_PX = 0.7
#: Radius of a ply over that of the yarn, by number of plies: wool blooms and plies overlap.
PLY_RADIUS = {1: 1.0, 2: 0.64, 3: 0.60, 4: 0.55}
#: Steps of depth and bits of a point's number in one 64-bit key.
DEPTHS, INDEX_BITS = 65_535, 32


@dataclass(frozen=True, eq=False)
class Surface:
    """What is seen from above, each (h, w). ``height`` mm; ``normal`` (h, w, 3), unit, x to the
    right, y down, z to the eye; ``piece``; ``along`` mm from the piece's start; ``around`` radians
    round the yarn; ``upper``: of no piece that lies under."""

    height: Array
    normal: Array
    piece: NDArray[np.int64]
    along: Array
    around: Array
    upper: NDArray[np.bool_]
    lengths_mm: Floats


@dataclass(frozen=True, eq=False)
class _Tubes:
    """Centre lines in pixels, finely: ``centre`` (k, n, 3), ``across`` (k, n, 2) unit,
    ``rise`` (k, n) slope, ``radius`` and ``twist`` (k, n), ``step_mm`` (k,)."""

    centre: Array
    across: Array
    rise: Array
    radius: Array
    twist: Array
    step_mm: Floats


def _tubes(rng: np.random.Generator, lines: Lines, yarn: Yarn, px_per_mm: float) -> _Tubes:
    lengths = lengths_of(lines.points)[:, -1]
    count = int(lengths.max() * px_per_mm / POINT_PX) + 2
    points = resampled(lines.points, count)
    step = lengths / (count - 1)
    ahead = np.gradient(points, axis=1)
    flat = np.maximum(np.linalg.norm(ahead[..., :2], axis=-1), 1e-9)
    across = np.stack([-ahead[..., 1], ahead[..., 0]], axis=-1) / flat[..., None]
    swell = wander(rng, flat.shape, 6.0 * px_per_mm / POINT_PX)
    radius = 0.5 * yarn.diameter_mm * np.maximum(1.0 + yarn.swell * swell, 0.5) * px_per_mm
    turn = rng.uniform(0.0, 2.0 * np.pi, (len(points), 1))
    twist = turn + 2.0 * np.pi / yarn.pitch_mm * step[:, None] * np.arange(count)
    arrays = (points * px_per_mm, across, ahead[..., 2] / flat, radius, twist)
    return _Tubes(*(a.astype(np.float32) for a in arrays), step_mm=step)


def _ply_heights(q: Array, radius: Array, twist: Array, plies: int) -> list[tuple[Array, Array]]:
    """For each ply its height over the centre line at a place ``q`` across a yarn of ``radius``,
    in pixels, NaN beside the ply, and where ``q`` is across the ply itself, -1..1."""
    share = np.float32(PLY_RADIUS[plies])
    ring, own = radius * (1.0 - share), radius * share
    found = []
    for k in range(plies):
        angle = twist + np.float32(2.0 * np.pi * k / plies)
        off = (q - ring * np.sin(angle)) / own
        with np.errstate(invalid="ignore"):
            found.append((ring * np.cos(angle) + own * np.sqrt(1.0 - off * off), off))
    return found


def _highest(q: Array, radius: Array, twist: Array, plies: int) -> tuple[Array, Array, Array]:
    """Height of the ply that is seen, where it is met across itself, and its angle in the ring."""
    found = _ply_heights(q, radius, twist, plies)
    height, lateral, which = found[0][0], found[0][1], np.zeros(q.shape, np.float32)
    for k, (z, off) in enumerate(found[1:], start=1):
        higher = (z > height) | np.isnan(height)
        height, lateral = np.where(higher, z, height), np.where(higher, off, lateral)
        which = np.where(higher, np.float32(k), which)
    return height, lateral, twist + np.float32(2.0 * np.pi / plies) * which


def surface(
    rng: np.random.Generator,
    lines: Lines,
    yarn: Yarn,
    size_mm: tuple[float, float],
    px_per_mm: float,
) -> Surface:
    """The yarn from above over (width, height) mm."""
    w, h = (round(n * px_per_mm) for n in size_mm)
    tubes = _tubes(rng, lines, yarn, px_per_mm)
    wide = int(2.2 * tubes.radius.max() / POINT_PX) + 2
    u = np.linspace(-0.99, 0.99, wide, dtype=np.float32)
    best = np.full(h * w, -1, np.int64)
    shape = (*tubes.radius.shape, wide)
    for k in range(shape[0]):
        _draw(best, tubes, k, u, yarn.plies, (h, w))
    seen = _without_holes(best.reshape(h, w))
    index = seen & ((1 << INDEX_BITS) - 1)
    piece, place, side = np.unravel_index(index, shape)
    return _surface(tubes, lines, yarn, px_per_mm, (piece, place, u[side]))


def _draw(
    best: NDArray[np.int64], tubes: _Tubes, k: int, u: Array, plies: int, shape: tuple[int, int]
) -> None:
    """Puts a piece's points into the keys of the pixels (h * w,) where they are the highest."""
    h, w = shape
    radius, twist = tubes.radius[k][:, None], tubes.twist[k][:, None]
    q = u * radius
    heights = [z for z, _ in _ply_heights(q, radius, twist, plies)]
    z = np.fmax.reduce(heights) + tubes.centre[k][:, 2:]
    x = np.rint(tubes.centre[k][:, :1] + q * tubes.across[k][:, :1]).astype(np.int64)
    y = np.rint(tubes.centre[k][:, 1:2] + q * tubes.across[k][:, 1:]).astype(np.int64)
    inside = (x >= 0) & (x < w) & (y >= 0) & (y < h) & np.isfinite(z)
    number = k * q.size + np.arange(q.size).reshape(q.shape)
    far = 64.0 * float(tubes.radius.max())
    depth = np.clip((z[inside] / far + 0.5) * DEPTHS, 0, DEPTHS).astype(np.int64)
    np.maximum.at(best, y[inside] * w + x[inside], (depth << INDEX_BITS) | number[inside])


def _without_holes(best: NDArray[np.int64]) -> NDArray[np.int64]:
    """Pixels that no point met take the highest of their neighbours."""
    while (best < 0).any():
        wide = np.pad(best, 1, constant_values=-1)
        parts = (wide[:-2, 1:-1], wide[2:, 1:-1], wide[1:-1, :-2], wide[1:-1, 2:])
        best = np.where(best < 0, np.maximum.reduce(parts), best)
    return best


def _surface(
    tubes: _Tubes,
    lines: Lines,
    yarn: Yarn,
    px_per_mm: float,
    at: tuple[NDArray[np.int64], NDArray[np.int64], Array],
) -> Surface:
    """Figures of the points that are seen: piece, place along it, and share of the radius."""
    piece, place, u = at
    radius, twist = tubes.radius[piece, place], tubes.twist[piece, place]
    top, lateral, angle = _highest(u * radius, radius, twist, yarn.plies)
    across, rise = tubes.across[piece, place], tubes.rise[piece, place]
    ahead = np.stack([across[..., 1], -across[..., 0]], axis=-1)
    up = np.sqrt(np.maximum(1.0 - lateral * lateral, 0.02))
    # The slope of the height along the yarn, times up: the ply runs across it, and up and down.
    ring = yarn.diameter_mm / 2.0 * (1.0 - PLY_RADIUS[yarn.plies])
    climb = 2.0 * np.pi * ring / yarn.pitch_mm * (lateral * np.cos(angle) - up * np.sin(angle))
    side = lateral[..., None] * across - (climb + rise * up)[..., None] * ahead
    normal = np.concatenate([side, up[..., None]], axis=-1)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    return Surface(
        height=(tubes.centre[piece, place, 2] + top) / np.float32(px_per_mm),
        normal=normal.astype(np.float32),
        piece=piece,
        along=(place * tubes.step_mm[piece]).astype(np.float32),
        around=np.mod(np.arcsin(u) - twist, 2.0 * np.pi).astype(np.float32),
        upper=~lines.under[piece],
        lengths_mm=tubes.step_mm * (tubes.radius.shape[1] - 1),
    )
