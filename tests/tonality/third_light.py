"""Light on a field of heights: sky, lamps with the shadows they cast, sheen, folds and fuzz.

Light is relative to that on an open level plane.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from ingest.model import Array
from tests.tonality.third_noise import F, smooth

#: Px per mm that suffice for what hides the sky and for shadows.
SKY_PX_PER_MM, SHADOW_PX_PER_MM = 9.0, 12.0
#: Directions in which the sky is looked at, and how far, in strand widths.
DIRECTIONS, FAR = 8, (0.14, 0.3, 0.55, 0.95, 1.6)
#: A ray's first and last step in strand widths, and how much longer each is.
NEAR, FARTHEST, LONGER = 0.09, 2.6, 1.35
#: Pieces of a stray fibre.
PIECES = 9


@dataclass(frozen=True)
class Lamp:
    """``share`` of all light. ``azimuth``, ``elevation``: where it is, rad; ``size``: over how much
    of elevation its shadow fades, rad; ``wrap``: how far light runs round a strand, 0..1."""

    share: float
    azimuth: float
    elevation: float
    size: float
    wrap: float


@dataclass(frozen=True)
class Light:
    """``sky``: share of light from all round; with the lamps' shares it is 1. ``gloss``: power of
    the sheen, ``sheen``: its strength. ``grain``: standard deviations of ln light that fine and
    coarse fibres make. ``smooth``: blur of slopes, in strand widths. ``fold``, ``fall``: light
    lost in folds of ``fold_mm`` and towards one side, ``fall_to`` (rad). ``bleed``: how far light
    runs inside the yarn, strand widths, and ``warm``: how much of it. ``haze``: down that catches
    light over gaps. ``spread``: standard deviation of ln light under 5 mm that is looked for."""

    sky: float
    lamps: tuple[Lamp, ...]
    gloss: float
    sheen: float
    grain: tuple[float, float]
    smooth: float
    fold: float
    fold_mm: float
    fall: float
    fall_to: float
    bleed: float
    warm: float
    haze: float
    spread: float


@dataclass(frozen=True)
class Fuzz:
    """Stray fibres so many to a mm², ``length_mm`` long and ``thick_mm`` wide."""

    per_mm2: float
    length_mm: float
    thick_mm: float


def _ahead(height: Array, x: float, y: float) -> Array:
    """The height so many pixels away."""
    by = np.array([[1.0, 0.0, x], [0.0, 1.0, y]], F)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    size = height.shape[::-1]
    return np.asarray(
        cv2.warpAffine(height, by, size, flags=flags, borderMode=cv2.BORDER_REFLECT_101)
    )


def _smaller(height: Array, px_per_mm: float, enough: float) -> tuple[Array, float]:
    """A height at no more px per mm than is enough."""
    by = max(px_per_mm / enough, 1.0)
    small = cv2.resize(height, None, fx=1.0 / by, fy=1.0 / by, interpolation=cv2.INTER_AREA)
    return small, px_per_mm / by


def _as_large(small: Array, shape: tuple[int, ...]) -> Array:
    return np.asarray(cv2.resize(small, shape[::-1], interpolation=cv2.INTER_LINEAR))


def open_sky(height: Array, px_per_mm: float, width_mm: float) -> Array:
    """(h, w) share of an even sky, 0..1, that yarn around leaves open; ``height`` in mm."""
    small, px = _smaller(height, px_per_mm, SKY_PX_PER_MM)
    total = np.zeros_like(small)
    for turn in (np.arange(DIRECTIONS) + 0.3) * 2.0 * np.pi / DIRECTIONS:
        steepest = np.zeros_like(small)
        for mm in np.array(FAR) * width_mm:
            over = _ahead(small, np.cos(turn) * mm * px, np.sin(turn) * mm * px) - small
            np.maximum(steepest, over / F(mm), out=steepest)
        total += 1.0 / (1.0 + steepest * steepest)
    return _as_large(total / DIRECTIONS, height.shape)


def lit_share(height: Array, px_per_mm: float, width_mm: float, lamp: Lamp) -> Array:
    """(h, w) share of a lamp, 0..1, that is seen over the yarn on the way to it."""
    small, px = _smaller(height, px_per_mm, SHADOW_PX_PER_MM)
    steepest = np.full_like(small, -2.0)
    mm = max(NEAR * width_mm, 0.8 / px)
    while mm < FARTHEST * width_mm:
        x, y = np.cos(lamp.azimuth) * mm * px, np.sin(lamp.azimuth) * mm * px
        np.maximum(steepest, (_ahead(small, x, y) - small) / F(mm), out=steepest)
        mm *= LONGER
    hidden = (np.arctan(steepest) - F(lamp.elevation)) * F(1.7 / lamp.size)
    return _as_large(1.0 / (1.0 + np.exp(np.clip(hidden, -30.0, 30.0))), height.shape)


def slopes(height: Array, px_per_mm: float, blur_px: float) -> tuple[Array, Array, Array]:
    """(h, w) mm per mm across and down, and the upward part of the normal."""
    soft = cv2.GaussianBlur(height, (0, 0), blur_px)
    across, down = (
        np.clip(cv2.Sobel(soft, cv2.CV_32F, *way, ksize=3) * F(px_per_mm / 8.0), -2.5, 2.5)
        for way in ((1, 0), (0, 1))
    )
    return across, down, 1.0 / np.sqrt(1.0 + across * across + down * down)


def shade(
    light: Light,
    height: Array,
    angle: Array,
    grain: tuple[Array, Array],
    px_per_mm: float,
    width_mm: float,
) -> tuple[Array, Array, Array]:
    """(h, w) light on the yarn, sheen, and share of the sky that is open. ``angle``: direction of
    the fibres, rad; ``grain``: fine and coarse noise along them."""
    free = open_sky(height, px_per_mm, width_mm)
    across, down, up = slopes(height, px_per_mm, light.smooth * width_mm * px_per_mm)
    shaded = F(light.sky) * free * (0.55 + 0.45 * up)
    sheen = np.zeros_like(shaded)
    fx, fy = np.cos(angle), np.sin(angle)
    for lamp in light.lamps:
        level = np.cos(lamp.elevation)
        x, y = level * np.cos(lamp.azimuth), level * np.sin(lamp.azimuth)
        z = np.sin(lamp.elevation)
        seen = F(lamp.share) * lit_share(height, px_per_mm, width_mm, lamp)
        cosine = up * (F(z) - across * F(x) - down * F(y))
        shaded += seen * np.maximum(cosine + F(lamp.wrap), 0.0) / F(z + lamp.wrap)
        # Fibres shine where they lie across the way half between lamp and eye.
        with_fibre = (fx * F(x) + fy * F(y)) / F(np.sqrt(x * x + y * y + (z + 1.0) ** 2))
        shine = np.power(np.maximum(1.0 - with_fibre**2, 0.0), F(light.gloss))
        sheen += seen * shine * (0.3 + 0.7 * up)
    fine, coarse = grain
    shaded *= np.exp(F(light.grain[0]) * fine + F(light.grain[1]) * coarse)
    sheen *= F(light.sheen) * (0.6 + 0.25 * np.clip(fine, -1.5, 3.0))
    return shaded, sheen, free


def over_all(
    rng: np.random.Generator, light: Light, shape: tuple[int, int], px_per_mm: float
) -> Array:
    """(h, w) slow light over the region, at most 1: folds, and what falls to one side."""
    folds = smooth(rng, shape, (light.fold_mm, light.fold_mm), px_per_mm)
    low, high = np.percentile(folds[::8, ::8], (1.0, 99.0))
    folds = np.clip((folds - low) / max(high - low, 1e-6), 0.0, 1.0)
    across, down = (np.linspace(-1.0, 1.0, n, dtype=F) for n in shape[::-1])
    way = across[None] * F(np.cos(light.fall_to)) + down[:, None] * F(np.sin(light.fall_to))
    way = (way - way.min()) / (way.max() - way.min())
    return np.asarray((1.0 - F(light.fold) * folds) * (1.0 - F(light.fall) * way))


def fuzz_cover(rng: np.random.Generator, fuzz: Fuzz, lean: Array, px_per_mm: float) -> Array:
    """(h, w) share, 0..1, that bent stray fibres hide, most of them along ``lean`` (rad)."""
    h, w = lean.shape
    cover: Array = np.zeros((h, w), F)
    count = int(fuzz.per_mm2 * h * w / px_per_mm**2)
    at = rng.uniform(0.0, 1.0, (count, 2)) * (w, h)
    turn = lean[at[:, 1].astype(int), at[:, 0].astype(int)] + rng.normal(0.0, 0.8, count)
    turn = turn + np.pi * rng.integers(0, 2, count)
    step = fuzz.length_mm * np.exp(rng.normal(0.0, 0.5, count)) * px_per_mm / PIECES
    bend = rng.normal(0.0, min(0.06 + 0.10 * fuzz.length_mm, 0.28), count)
    points = [at]
    for _ in range(PIECES):
        at = at + step[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
        points.append(at)
        turn = turn + bend + rng.normal(0.0, 0.16, count)
    lines = np.rint(np.stack(points, axis=1) * 16.0).astype(np.int32)
    for part in np.array_split(lines, 3):  # of one part, none adds to another
        drawn = np.zeros((h, w), np.uint8)
        tone = int(rng.uniform(90, 220))
        cv2.polylines(drawn, list(part), False, tone, 1, cv2.LINE_AA, 4)
        cover = 1.0 - (1.0 - cover) * (1.0 - drawn.astype(F) / 255.0)
    # A line drawn is a pixel wide; a fibre covers only part of that.
    return np.asarray(cover * F(min(fuzz.thick_mm * px_per_mm, 1.0)))
