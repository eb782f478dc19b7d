"""Light on yarn: plies, fibres, gaps, shadow and halo, as one factor on linear light.

Shading only scales linear light. 1 is a flat matt surface facing the camera in the same light
(what a grey card beside it shows), so that ``shade * reflectance`` is what the camera sees.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.render.dye import Dyeing, fields
from tests.render.strands import FORMS, Tubes, Yarn, rasterise


@dataclass(frozen=True)
class Lamp:
    """A soft key light and an even sky: ``azimuth`` and ``elevation`` in degrees, ``key`` 0..1.

    Azimuth 0 shines from the right, 90 from the bottom of the picture. ``bounce``: light that
    met the yarn once before and lifts the gaps in the yarn's own colour, as a share of the light
    that the gap has lost; 0 leaves shading a plain factor on linear light.
    """

    azimuth: float = 225.0
    elevation: float = 55.0
    key: float = 0.55
    bounce: float = 0.0

    def turned(self, degrees: float) -> Lamp:
        return replace(self, azimuth=self.azimuth - degrees)


@dataclass(frozen=True, eq=False)
class Piece:
    """A piece of yarn on its own raster (h, w).

    ``shade``: factor on linear light. ``alpha``: cover, 0..1. ``t``, ``ln_f``: the dye's fields
    (:mod:`tests.render.dye`). ``bounce``: factor on light that met the yarn once before.
    """

    shade: np.ndarray
    alpha: np.ndarray
    t: np.ndarray
    ln_f: np.ndarray
    bounce: np.ndarray
    px_per_mm: float
    dyeing: Dyeing


def _ply_height(tubes: Tubes, yarn: Yarn, rng: np.random.Generator) -> np.ndarray:
    """Height with the grooves between plies cut in, mm; NaN outside."""
    theta = np.arcsin(np.clip(tubes.across, -1.0, 1.0))
    phase = rng.uniform(0, 2 * np.pi, int(tubes.strand.max()) + 2)
    psi = theta - 2 * np.pi * tubes.along / yarn.twist_mm + phase[tubes.strand]
    bump = np.abs(np.sin(0.5 * yarn.plies * psi)) ** 0.65
    radius = yarn.diameter_mm / 2.0
    return tubes.z - radius * yarn.groove * (1.0 - bump) * np.cos(theta)


def _fibre_texture(rng: np.random.Generator, tubes: Tubes, yarn: Yarn) -> np.ndarray:
    """Streaks of fibres along the strand, unit standard deviation."""
    import cv2

    px = tubes.px_per_mm
    tile = rng.normal(size=(512, 1024)).astype(np.float32)
    fine = cv2.GaussianBlur(tile, (0, 0), sigmaX=0.55 * px, sigmaY=max(0.035 * px, 0.45))
    coarse = cv2.GaussianBlur(tile, (0, 0), sigmaX=1.4 * px, sigmaY=max(0.12 * px, 0.6))
    tile = fine / fine.std() + 0.7 * coarse / coarse.std()
    tile = tile / tile.std()
    strand = np.maximum(tubes.strand, 0)
    shift = rng.uniform(0, 512, strand.max() + 1)[strand]
    # Fibres lean against the plies' twist: a little drift of the streak across the strand.
    lean = 0.18 * tubes.along * px
    x = np.mod(tubes.along * px, 1024.0).astype(np.float32)
    y = (tubes.across * yarn.diameter_mm / 2.0 * px + shift + lean) % 512.0
    return cv2.remap(tile, x, y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)


def _shadow(z: np.ndarray, px: float, lamp: Lamp, reach_mm: float, soft_mm: float) -> np.ndarray:
    """0..1: how much of the key light a height field leaves at each pixel."""
    import cv2

    az = np.radians(lamp.azimuth)
    slope = np.tan(np.radians(lamp.elevation))
    block = np.zeros_like(z)
    for d in np.linspace(reach_mm / 7.0, reach_mm, 7):
        dx, dy = np.cos(az) * d * px, np.sin(az) * d * px
        move = np.array([[1, 0, -dx], [0, 1, -dy]], np.float32)
        there = cv2.warpAffine(z, move, z.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
        block = np.maximum(block, there - z - d * slope)
    return 1.0 - 0.9 * np.clip(block / soft_mm, 0.0, 1.0)


def shading(rng: np.random.Generator, tubes: Tubes, yarn: Yarn, lamp: Lamp) -> np.ndarray:
    """(h, w) factor on linear light; undefined where there is no yarn."""
    import cv2

    px, radius = tubes.px_per_mm, yarn.diameter_mm / 2.0
    streak = _fibre_texture(rng, tubes, yarn)
    z = _ply_height(tubes, yarn, rng) + 0.035 * radius * streak
    floor = np.nanmin(tubes.z) - radius
    z = np.where(np.isnan(z), floor, z).astype(np.float32)
    near = cv2.GaussianBlur(z, (0, 0), 0.8 * radius * px)
    wide = cv2.GaussianBlur(z, (0, 0), 2.2 * radius * px)
    open_sky = np.exp(-1.7 * yarn.gap * np.maximum(near - z + 0.1 * radius, 0.0) / radius)
    open_sky *= np.exp(-0.5 * yarn.gap * np.maximum(wide - z, 0.0) / radius)
    smooth = cv2.GaussianBlur(z, (0, 0), 0.6)
    gy, gx = np.gradient(smooth * px)
    gx, gy = (np.clip(g, -3.0, 3.0) for g in (gx, gy))
    nz = 1.0 / np.sqrt(1.0 + gx * gx + gy * gy)
    az, el = np.radians(lamp.azimuth), np.radians(lamp.elevation)
    # Wrapped Lambert: wool scatters light round the strand.
    facing = nz * (np.sin(el) - np.cos(el) * (np.cos(az) * gx + np.sin(az) * gy))
    wrapped = np.maximum(facing + 0.25, 0.0) / (np.sin(el) + 0.25)
    lit = _shadow(z, px, lamp, 2.2 * yarn.diameter_mm, 0.5 * radius)
    shade = lamp.key * wrapped * (0.15 + 0.85 * lit) + (1.0 - lamp.key) * open_sky * (
        0.25 + 0.75 * nz
    )
    return np.clip(shade * np.exp(yarn.fibre * streak) + 0.015, 0.02, 1.6)


def _halo(rng: np.random.Generator, cover: np.ndarray, yarn: Yarn, px: float) -> np.ndarray:
    """(h, w) 0..1: fibres that stand off the yarn, one at a time, thinner than a pixel."""
    import cv2

    mask = np.zeros(cover.shape, np.uint8)
    ys, xs = np.nonzero(cover)
    n = int(yarn.halo * len(xs) / px**2 / 100.0)
    if n == 0:
        return mask.astype(np.float32)
    start = rng.integers(0, len(xs), n)
    t = np.linspace(0.0, 1.0, 12)[None, :]
    length = px * rng.lognormal(0.9, 0.45, n)[:, None]
    heading = rng.uniform(0, 2 * np.pi, n)[:, None] + rng.normal(0, 1.6, n)[:, None] * t
    steps = length / 12.0
    x = xs[start][:, None] + np.cumsum(np.cos(heading) * steps, axis=1)
    y = ys[start][:, None] + np.cumsum(np.sin(heading) * steps, axis=1)
    lines = np.round(np.stack([x, y], -1) * 16).astype(np.int32)
    for line, strength in zip(lines, rng.uniform(60, 200, n), strict=True):
        cv2.polylines(mask, [line], False, int(strength), 1, cv2.LINE_AA, shift=4)
    # A fibre of wool is some 0.02 mm wide.
    return cv2.GaussianBlur(mask, (0, 0), 0.6).astype(np.float32) / 255.0 * min(0.10 * px, 1.0)


def make_piece(
    seed: int,
    form: str,
    size_mm: tuple[float, float],
    yarn: Yarn,
    dyeing: Dyeing,
    lamp: Lamp,
    px_per_mm: float,
) -> Piece:
    """Yarn in a form on its own raster: the same seed winds and dyes the same yarn."""
    rng_wind, rng_dye, rng_light = (np.random.default_rng([seed, k]) for k in range(3))
    pooled = form == "skein"
    tubes = rasterise(FORMS[form](rng_wind, yarn, *size_mm), yarn, size_mm, px_per_mm, pooled)
    t, ln_f = fields(rng_dye, dyeing, tubes)
    shade = shading(rng_light, tubes, yarn, lamp)
    cover = tubes.strand >= 0
    halo = _halo(rng_light, cover, yarn, px_per_mm)
    t, ln_f, shade = _grow((t, ln_f, shade), cover)
    shade = shade + halo * (0.95 - shade) * cover
    shade = np.where(cover, shade, 0.8).astype(np.float32)
    return Piece(
        shade=shade,
        alpha=np.where(cover, 1.0, halo).astype(np.float32),
        t=t,
        ln_f=ln_f,
        bounce=(lamp.bounce * np.clip(0.95 - shade, 0.0, 1.0) * cover).astype(np.float32),
        px_per_mm=px_per_mm,
        dyeing=dyeing,
    )


def _grow(layers: tuple[np.ndarray, ...], cover: np.ndarray) -> tuple[np.ndarray, ...]:
    """Values carried outward from the nearest yarn, so that stray fibres have its colour."""
    if cover.all():
        return layers
    from scipy.ndimage import distance_transform_edt

    iy, ix = distance_transform_edt(~cover, return_distances=False, return_indices=True)
    return tuple(layer[iy, ix] for layer in layers)
