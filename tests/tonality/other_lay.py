"""Centre lines of yarn: how it lies on a wound card, in a skein, and in plain knitting.

A centre line is a curve in millimetres, x to the right, y down, z to the eye. All sizes and ranges
are our own, chosen to look plausible; none is measured.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

FORMS = ("wound card", "skein", "knit")
#: Distance of a centre line's points as it is laid, mm.
LAID_MM = 0.25
#: Yarn wound once round a card, and once round a skein, mm.
WRAP_MM, SKEIN_MM = 170.0, 1500.0


@dataclass(frozen=True)
class Yarn:
    """``swell``: relative standard deviation of the diameter along the yarn. ``hairs_per_mm2``:
    loose fibres over the surface. ``wander``: how unevenly strands lie, 1 as usual."""

    diameter_mm: float
    plies: int = 3
    pitch_mm: float = 6.0
    swell: float = 0.04
    hairs_per_mm2: float = 2.0
    wander: float = 1.0


@dataclass(frozen=True, eq=False)
class Lines:
    """``points``: (k, n, 3) x, y, z in mm of ``k`` pieces of one yarn. ``starts``: (k,) mm of yarn
    before each piece. ``under``: (k,) whether a piece only fills gaps below the others."""

    points: Floats
    starts: Floats
    under: NDArray[np.bool_]


def wander(rng: np.random.Generator, shape: tuple[int, ...], length: float) -> Floats:
    """Smooth noise along the last axis, standard deviation about 1; ``length``: in samples."""
    from scipy.ndimage import gaussian_filter1d

    pad = int(3 * length) + 1
    noise = rng.standard_normal((*shape[:-1], shape[-1] + 2 * pad))
    smooth = gaussian_filter1d(noise, length, axis=-1, mode="wrap")[..., pad:-pad]
    return np.asarray(smooth * np.sqrt(2.0 * np.sqrt(np.pi) * length))


def lay(rng: np.random.Generator, form: str, yarn: Yarn, size_mm: tuple[float, float]) -> Lines:
    """Centre lines over a field of (width, height) mm, margins included."""
    way = {"wound card": _wound, "skein": _skein, "knit": _knit}
    return _filled(way[form](rng, yarn, size_mm), yarn.diameter_mm, size_mm)


def _wound(rng: np.random.Generator, yarn: Yarn, size_mm: tuple[float, float]) -> Lines:
    """Wraps side by side, and under them those of the layer before, half a step off."""
    width, height = size_mm
    d, step = yarn.diameter_mm, yarn.diameter_mm * rng.uniform(0.84, 0.98)
    count = int(height / step) + 3
    x = np.arange(-1.0, width + 1.0, LAID_MM)
    lean = np.tan(rng.normal(0.0, 0.02))
    points, starts = [], []
    for layer in (0, 1):
        tilt = rng.normal(0.0, 0.06 * d * yarn.wander, (count, 1))
        y = step * (np.arange(count)[:, None] - 1 + 0.5 * layer) + tilt + lean * x
        y = y + 0.10 * d * yarn.wander * wander(rng, (count, len(x)), 15.0 / LAID_MM)
        z = 0.09 * d * yarn.wander * wander(rng, (count, len(x)), 10.0 / LAID_MM)
        points.append(np.stack([np.broadcast_to(x, y.shape), y, z - 0.62 * d * layer], axis=-1))
        starts.append(WRAP_MM * (np.arange(count) + 0.5 * layer))
    return Lines(np.concatenate(points), np.concatenate(starts), np.arange(2 * count) >= count)


def _skein(rng: np.random.Generator, yarn: Yarn, size_mm: tuple[float, float]) -> Lines:
    """Strands that run along together, meander, and cross over each other in no order."""
    width, height = size_mm
    d = yarn.diameter_mm
    x = np.arange(-1.0, width + 1.0, LAID_MM)
    counts = [int(height / (d * f)) + 4 for f in (0.52, 0.60)]
    shared = d * yarn.wander * rng.uniform(0.5, 1.5) * wander(rng, (1, len(x)), 25.0 / LAID_MM)
    points = []
    for under, count in enumerate(counts):
        at = (np.arange(count) + rng.uniform(-0.5, 0.5, count)) / count * (height + 2.0) - 1.0
        own = 0.55 * d * yarn.wander * wander(rng, (count, len(x)), 18.0 / LAID_MM)
        y = at[:, None] + shared + own
        z = rng.uniform(0.0, 0.75 * d, (count, 1)) * (1 - under) - 0.8 * d * under
        z = z + 0.22 * d * yarn.wander * wander(rng, (count, len(x)), 12.0 / LAID_MM)
        points.append(np.stack([np.broadcast_to(x, y.shape), y, z], axis=-1))
    total = sum(counts)
    turns = rng.permutation(total)
    starts = SKEIN_MM * turns + rng.normal(0.0, 8.0, total) + 100.0
    return Lines(np.concatenate(points), starts, np.arange(total) >= counts[0])


def _knit(rng: np.random.Generator, yarn: Yarn, size_mm: tuple[float, float]) -> Lines:
    """Plain knitting from its smooth side: each course a row of loops through the one below."""
    width, height = size_mm
    d = yarn.diameter_mm
    wale, course = d * rng.uniform(2.2, 2.6), d * rng.uniform(1.5, 1.85)
    stitches, rows = int(width / wale) + 3, int(height / course) + 4
    t = np.linspace(0.0, 2.0 * np.pi * stitches, 48 * stitches)
    loop = course * rng.uniform(1.75, 2.0)
    jitter = yarn.wander * d
    long = len(t) / stitches * 3.0
    tall = loop * (1.0 + 0.05 * yarn.wander * wander(rng, (rows, len(t)), long / 6.0))
    x = wale * (t / (2.0 * np.pi) - 1.0) + 0.17 * wale * np.sin(2.0 * t)
    x = x + 0.06 * jitter * wander(rng, (rows, len(t)), long / 8.0)
    y = course * (np.arange(rows)[:, None] - 2) - 0.5 * tall * np.cos(t)
    y = y + 0.10 * jitter * wander(rng, (rows, len(t)), long)
    z = -0.36 * d * np.cos(2.0 * t) + 0.07 * jitter * wander(rng, (rows, len(t)), long / 4.0)
    points = np.stack([x, y, z], axis=-1)
    points[1::2] = points[1::2, ::-1]  # the next course is knitted back
    starts = np.cumsum(np.r_[0.0, lengths_of(points)[:-1, -1]])
    return Lines(points, starts, np.zeros(rows, bool))


def _filled(lines: Lines, d: float, size_mm: tuple[float, float]) -> Lines:
    """Plain strands of the same yarn well below, so that no gap shows what lies under it."""
    y = np.arange(-1.0, size_mm[1] + 1.0, 0.8 * d)
    x = np.linspace(-1.0, size_mm[0] + 1.0, lines.points.shape[1])
    flat = np.stack(np.broadcast_arrays(x[None], y[:, None], -1.5 * d), axis=-1)
    above = np.flatnonzero(~lines.under)
    near = above[np.arange(len(y)) * len(above) // len(y)]
    return Lines(
        np.concatenate([lines.points, flat]),
        np.concatenate([lines.starts, lines.starts[near]]),
        np.r_[lines.under, np.ones(len(y), bool)],
    )


def lengths_of(points: Floats) -> Floats:
    """(k, n) mm from the start of each piece."""
    steps = np.linalg.norm(np.diff(points, axis=1), axis=-1)
    return np.concatenate([np.zeros((len(points), 1)), np.cumsum(steps, axis=1)], axis=1)


def resampled(points: Floats, count: int) -> Floats:
    """(k, count, 3) at equal steps along each piece."""
    lengths = lengths_of(points)
    out = np.empty((len(points), count, 3))
    for k, (piece, at) in enumerate(zip(points, lengths, strict=True)):
        want = np.linspace(0.0, at[-1], count)
        for c in range(3):
            out[k, :, c] = np.interp(want, at, piece[:, c])
    return out
