"""Where yarn runs: strands as tubes in millimetres, and tubes on a raster of pixels.

Three forms: a wound card (parallel turns), a skein laid flat (a bundle of wavy strands that turn
back at both ends) and a knit (stockinette loops, each through the one below).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Yarn:
    """How a yarn is made: our own plausible numbers, measured on nothing.

    ``twist_mm``: length of one full turn of the plies. ``groove``: depth of the grooves between
    plies as a share of the radius. ``fibre``: unevenness of light on single fibres (standard
    deviation). ``halo``: fibres that stand off, per square centimetre. ``gap``: how much darker
    than usual the gaps between strands are, 1 as usual.
    """

    diameter_mm: float = 2.0
    plies: int = 3
    twist_mm: float = 9.0
    groove: float = 0.42
    fibre: float = 0.10
    halo: float = 80.0
    gap: float = 1.0


@dataclass(frozen=True, eq=False)
class Strand:
    """One run of yarn: (n, 3) points x, y, z in mm, and where on the yarn it starts."""

    points: np.ndarray
    start_mm: float


@dataclass(frozen=True, eq=False)
class Tubes:
    """What lies on top at each pixel of a raster (height, width).

    ``z``: height of the tube in mm, NaN where there is none. ``along``: mm along the yarn.
    ``across``: -1..1 over the tube. ``strand``: its number, -1 for none. ``pooled``: True where
    neighbours lay together in the pot (skein), so that patches of dye span strands.
    """

    z: np.ndarray
    along: np.ndarray
    across: np.ndarray
    strand: np.ndarray
    px_per_mm: float
    length_mm: float
    pooled: bool

    @property
    def shape(self) -> tuple[int, int]:
        return self.z.shape  # type: ignore[return-value]


def wave(
    rng: np.random.Generator, wavelength_mm: float, n: int = 4
) -> Callable[[np.ndarray], np.ndarray]:
    """A smooth random curve of unit standard deviation: ``n`` sines about one wavelength."""
    k = 2 * np.pi / (wavelength_mm * np.exp(rng.uniform(-0.6, 0.6, n)))
    phase = rng.uniform(0, 2 * np.pi, n)

    def curve(x: np.ndarray) -> np.ndarray:
        return np.sin(np.asarray(x)[..., None] * k + phase).sum(axis=-1) * np.sqrt(2.0 / n)

    return curve


def loop_wave(rng: np.random.Generator, n: int, waves: float, harmonics: int = 4) -> np.ndarray:
    """(n,) a smooth random closed curve of unit standard deviation, about ``waves`` to a round."""
    k = np.maximum(np.round(waves * np.exp(rng.uniform(-0.6, 0.6, harmonics))), 1.0)
    phase = rng.uniform(0, 2 * np.pi, harmonics)
    angle = np.linspace(0.0, 2 * np.pi, n, endpoint=False)[:, None]
    return np.sin(angle * k + phase).sum(axis=1) * np.sqrt(2.0 / harmonics)


def wound(rng: np.random.Generator, yarn: Yarn, width_mm: float, height_mm: float) -> list[Strand]:
    """Turns side by side, top to bottom, with a little wander and uneven tension, in two layers."""
    d = yarn.diameter_mm
    pitch = d * 0.90
    y = np.arange(-1.0, height_mm + 1.0, 0.5)
    drift = wave(rng, 40.0)
    edge = np.minimum(y, height_mm - y)
    over_edge = -0.9 * d * np.exp(-np.maximum(edge, 0.0) / 0.8)
    strands: list[Strand] = []
    for layer in (-0.55 * d, 0.0):
        x = pitch * (0.5 if layer == 0.0 else 0.9)
        lean = (0.25 if layer == 0.0 else -0.4) * pitch * (y / height_mm - 0.5)
        while x < width_mm - pitch * 0.5:
            k = len(strands)
            px = x + lean + pitch * (0.10 * drift(y + 9.0 * k) + 0.04 * wave(rng, 14.0)(y))
            pz = layer + d * (rng.normal(0, 0.07) + 0.05 * wave(rng, 10.0)(y)) + over_edge
            strands.append(Strand(np.stack([px, y, pz], 1), k * 2.03 * height_mm))
            x += pitch * rng.normal(1.0, 0.035)
    return strands


def skein(rng: np.random.Generator, yarn: Yarn, width_mm: float, height_mm: float) -> list[Strand]:
    """A flat loop of many strands: two long sides that lie together, turning at the ends."""
    d = yarn.diameter_mm
    margin = 2.5 * d
    room_w, room_h = width_mm - 2 * margin, height_mm - 2 * margin
    bundle, spread = wave(rng, 90.0), wave(rng, 60.0)
    strands = []
    for k in range(int(3.4 * height_mm / d)):
        half = room_h * rng.uniform(0.02, 0.5)
        straight = room_w / 2.0 - half - (room_h / 2.0 - half) * rng.uniform(0.1, 0.9)
        quarter = np.linspace(-np.pi / 2, np.pi / 2, int(np.pi * half / 0.5) + 6)[1:-1]
        run = np.arange(-straight, straight, 0.5)
        x = np.concatenate([run, straight + half * np.cos(quarter), -run])
        x = np.concatenate([x, -straight - half * np.cos(quarter)])
        y = np.concatenate([np.full_like(run, -half), half * np.sin(quarter)])
        y = np.concatenate([y, np.full_like(run, half), -half * np.sin(quarter)])
        n, around = len(x), len(x) * 0.5
        squeeze = 0.95 - 0.05 * spread(x)
        y = y * squeeze + d * (
            0.22 * loop_wave(rng, n, around / 24.0)
            + 0.45 * loop_wave(rng, n, around / 80.0)
            + 0.3 * bundle(x)
        )
        x = x + d * 0.3 * loop_wave(rng, n, around / 30.0)
        arch = 1.0 - (4.0 * (np.abs(y) / room_h - 0.25)) ** 2  # each side is a round bundle
        z = d * (rng.uniform(0.0, 2.4) + 0.30 * loop_wave(rng, n, around / 45.0) + 2.2 * arch)
        points = np.stack([x + width_mm / 2.0, y + height_mm / 2.0, z], 1)
        strands.append(Strand(np.concatenate([points, points[:1]]), k * 4.03 * width_mm))
    return strands


def knit(rng: np.random.Generator, yarn: Yarn, width_mm: float, height_mm: float) -> list[Strand]:
    """Stockinette: each row a looping curve whose legs lie in front of the row below's heads."""
    d = yarn.diameter_mm
    w, h = 2.35 * d, 1.72 * d  # stitch width and row height
    margin = 1.2 * d
    rows = int((height_mm - 2 * margin - d) / h)
    n = int((width_mm - 2 * margin) / w)
    left = (width_mm - n * w) / 2.0
    drift = wave(rng, 60.0)
    strands = []
    for j in range(rows):
        t = np.arange(0.0, 2 * np.pi * n, 2 * np.pi / 40)
        tension = 1.0 + 0.05 * wave(rng, 6.0)(t / (2 * np.pi))
        x = w * t / (2 * np.pi) + 0.21 * w * np.sin(2 * t) + 0.03 * w * wave(rng, 4 * w)(t)
        x = x + left
        y = height_mm - margin - d - (j + 0.5) * h - 0.92 * h * np.cos(t) * tension
        y = y + 0.5 * d * drift(x) + 0.05 * d * wave(rng, 5 * w)(x)
        z = 0.42 * d * -np.cos(2 * t) + 0.10 * d * np.cos(t) + 0.04 * d * wave(rng, 3 * w)(x)
        x = x + 0.4 * d * drift(y + 77.0)
        strands.append(Strand(np.stack([x, y, z], 1), j * 3.1 * width_mm))
        # What is seen through the holes: the yarn's own runs on the wrong side.
        for lift in (0.0, 0.5):
            back = np.stack([x, 0.0 * y + y.mean() - lift * h, 0.0 * z - 1.1 * d], 1)
            strands.append(Strand(back[::4], j * 3.1 * width_mm))
    return strands


FORMS = {"wound card": wound, "skein": skein, "knit": knit}


def rasterise(
    strands: list[Strand],
    yarn: Yarn,
    size_mm: tuple[float, float],
    px_per_mm: float,
    pooled: bool = False,
) -> Tubes:
    """Draw tubes with a height buffer: the highest one at each pixel is seen."""
    w, h = (round(m * px_per_mm) for m in size_mm)
    z = np.full(w * h, -np.inf, np.float32)
    along = np.zeros(w * h, np.float32)
    across = np.zeros(w * h, np.float32)
    number = np.full(w * h, -1, np.int32)
    radius = yarn.diameter_mm / 2.0
    v = np.linspace(-0.999, 0.999, int(np.ceil(2 * radius * px_per_mm / 0.62)) + 1)
    rise = radius * np.sqrt(1.0 - v * v)
    for k, strand in enumerate(strands):
        p, s = _resample(strand.points, 0.55 / px_per_mm)
        tangent = np.gradient(p[:, :2], axis=0)
        tangent /= np.linalg.norm(tangent, axis=1, keepdims=True) + 1e-12
        normal = np.stack([tangent[:, 1], -tangent[:, 0]], 1)
        xy = (p[:, None, :2] + radius * v[None, :, None] * normal[:, None, :]) * px_per_mm
        ix, iy = xy[..., 0].astype(np.int32), xy[..., 1].astype(np.int32)
        inside = (xy[..., 0] >= 0) & (xy[..., 1] >= 0) & (ix < w) & (iy < h)
        pz = (p[:, None, 2] + rise[None, :]).astype(np.float32)
        flat = (iy * w + ix)[inside]
        height = pz[inside]
        np.maximum.at(z, flat, height)
        top = z[flat] == height
        flat = flat[top]
        along[flat] = np.broadcast_to(strand.start_mm + s[:, None], pz.shape)[inside][top]
        across[flat] = np.broadcast_to(v[None, :], pz.shape)[inside][top]
        number[flat] = k
    z[number < 0] = np.nan
    length = max(st.start_mm for st in strands) + 4.0 * sum(size_mm)
    parts = [a.reshape(h, w) for a in (z, along, across, number)]
    return Tubes(*parts, px_per_mm=px_per_mm, length_mm=length, pooled=pooled)


def _resample(points: np.ndarray, step_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """Points at even steps along a polyline, and their arc lengths."""
    steps = np.linalg.norm(np.diff(points[:, :2], axis=0), axis=1)
    arc = np.concatenate([[0.0], np.cumsum(steps)])
    s = np.arange(0.0, arc[-1], step_mm)
    return np.stack([np.interp(s, arc, c) for c in points.T], 1), s
