"""Simple invented pictures for the search: cards, yarn-like swatches, tables, clutter.

Linear light is composed flat, seen through a tilt, lit, blurred, given noise and coded as sRGB.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

from ingest.charts import CHART24_LAB_D50
from ingest.colour import SRGB_TO_XYZ, lab_d50_to_d65, lab_to_xyz, linear_to_srgb, srgb_to_linear
from ingest.model import Encoding, Photo

SIZE = (900, 1200)
SRGB = Encoding(
    "sRGB",
    np.repeat(srgb_to_linear(np.arange(256) / 255)[:, None], 3, axis=1).astype(np.float32),
    SRGB_TO_XYZ,
)


def photo_of(pixels: np.ndarray) -> Photo:
    return Photo("made.png", "0" * 64, pixels, SRGB, "PNG")


def rectangle(cx: float, cy: float, w: float, h: float, degrees: float = 0.0) -> np.ndarray:
    """(4, 2) corners in pixels, clockwise, of a rectangle turned about its middle."""
    t = np.radians(degrees)
    unit = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2
    return unit @ np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]]) + (cx, cy)


def noise_field(rng: np.random.Generator, shape: tuple[int, int], grain: tuple[float, float]):
    """Smooth random field of unit standard deviation with the grain sizes (across, down)."""
    raw = rng.standard_normal(shape, dtype=np.float32)
    field_ = cv2.GaussianBlur(raw, (0, 0), sigmaX=grain[0], sigmaY=grain[1])
    return field_ / field_.std()


def table(rng: np.random.Generator, kind: str, shape: tuple[int, int] = SIZE) -> np.ndarray:
    """(h, w, 3) reflectance of a plain, paper, wood, cloth or carpet ground."""
    y, x = np.indices(shape, dtype=np.float32)
    if kind == "paper":
        return np.full((*shape, 3), 0.82) * (1 + 0.004 * noise_field(rng, shape, (3, 3))[..., None])
    if kind == "plain":
        tone = rng.uniform(0.25, 0.6) * rng.uniform(0.9, 1.1, 3)
        return tone * (1 + 0.006 * noise_field(rng, shape, (3, 3))[..., None])
    if kind == "dark":
        return np.full((*shape, 3), 0.05) * (1 + 0.02 * noise_field(rng, shape, (2, 2))[..., None])
    if kind == "wood":
        grain = noise_field(rng, shape, (60, 2))[..., None]
        return np.array([0.45, 0.30, 0.18]) * np.exp(0.12 * grain)
    if kind == "cloth":
        weave = np.sin(x * 0.8) * np.sin(y * 0.8)
        return np.array([0.35, 0.34, 0.30]) * (1 + 0.12 * weave[..., None])
    if kind == "carpet":
        return (
            np.array([0.20, 0.13, 0.08]) * np.exp(0.35 * noise_field(rng, shape, (2, 2)))[..., None]
        )
    raise ValueError(kind)


def yarn(rng: np.random.Generator, colour, w: int, h: int, strand: float = 9.0) -> np.ndarray:
    """(h, w, 3) reflectance of strands side by side, plied, with dark gaps between."""
    y, x = np.indices((h, w)).astype(float)
    sway = 4 * cv2.GaussianBlur(rng.normal(size=(h, w)), (0, 0), 25) * 25
    across = (x + sway) / strand
    round_ = np.abs(np.sin(np.pi * across))
    ply = 0.5 + 0.5 * np.sin(2 * np.pi * (y / (1.6 * strand) + across))
    depth = 0.25 + 0.6 * round_ + 0.15 * ply
    lots = np.exp(0.12 * noise_field(rng, (h, w), (2, 14)))
    return np.asarray(colour) * (depth * lots)[..., None]


def knit(rng: np.random.Generator, colour, w: int, h: int, stitch: float = 14.0) -> np.ndarray:
    """(h, w, 3) reflectance of V-shaped stitches in columns."""
    y, x = np.indices((h, w)).astype(float)
    col = np.abs((x / stitch) % 1 - 0.5)
    v = np.abs(np.sin(np.pi * (y / stitch - 1.2 * col)))
    depth = 0.3 + 0.7 * v * (0.4 + 0.6 * np.sin(np.pi * ((x / stitch) % 1)) ** 0.5)
    return np.asarray(colour) * (depth * np.exp(0.1 * rng.normal(size=(h, w))))[..., None]


def paste(scene: np.ndarray, texture: np.ndarray, corners: np.ndarray) -> None:
    """Lay a flat texture (or a colour) on the scene at four corners, edges anti-aliased."""
    h, w = scene.shape[:2]
    texture = np.asarray(texture, dtype=float)
    if texture.ndim == 1:
        texture = np.tile(texture, (8, 8, 1))
    th, tw = texture.shape[:2]
    source = np.array([[0, 0], [tw, 0], [tw, th], [0, th]], dtype=np.float32) - 0.5
    low = np.clip(np.floor(corners.min(axis=0)) - 2, 0, (w, h)).astype(int)
    high = np.clip(np.ceil(corners.max(axis=0)) + 2, low, (w, h)).astype(int)
    if (high - low).min() == 0:
        return
    at = corners - low - 0.5
    warp = cv2.getPerspectiveTransform(source, at.astype(np.float32))
    size = tuple(int(n) for n in high - low)
    seen = cv2.warpPerspective(texture, warp, size, borderMode=cv2.BORDER_REPLICATE)
    cover = np.zeros(size[::-1], np.uint8)
    cv2.fillConvexPoly(cover, np.round(at * 16).astype(np.int32), 255, cv2.LINE_AA, 4)
    share = (cover / 255.0)[..., None]
    part = scene[low[1] : high[1], low[0] : high[0]]
    part[:] = part * (1 - share) + seen * share


def shadow(scene: np.ndarray, corners: np.ndarray, offset=(5, 7), depth: float = 0.35) -> None:
    """A soft cast shadow of a four-cornered thing."""
    cover = np.zeros(scene.shape[:2], np.uint8)
    cv2.fillConvexPoly(cover, np.round(corners + offset).astype(np.int32), 255)
    scene *= 1 - depth * (cv2.GaussianBlur(cover, (0, 0), 4) / 255.0)[..., None]


@dataclass(frozen=True)
class Shot:
    """How a scene is photographed. ``tint``: gains of R, G, B. ``tilt``: keystone share."""

    exposure: float = 1.0
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)
    gradient: tuple[float, float] = (0.0, 0.0)
    blur: float = 0.8
    noise: float = 0.004
    tilt: tuple[float, float] = (0.0, 0.0)
    seed: int = 0
    gamma: float = 1.0
    extra: dict = field(default_factory=dict)


def tilt_matrix(shot: Shot, shape: tuple[int, int]) -> np.ndarray:
    h, w = shape
    kx, ky = shot.tilt
    source = np.array([[0, 0], [w, 0], [w, h], [0, h]], dtype=np.float32)
    moved = source + np.array(
        [[kx * w, ky * h], [-kx * w, 0], [0, 0], [0, -ky * h]], dtype=np.float32
    )
    # Enlarged a little so that the frame stays filled.
    moved = (moved - (w / 2, h / 2)) * (1 + 2 * max(abs(kx), abs(ky))) + (w / 2, h / 2)
    return cv2.getPerspectiveTransform(source, moved.astype(np.float32))


def photograph(scene: np.ndarray, shot: Shot) -> np.ndarray:
    """uint8 sRGB picture of a reflectance scene."""
    rng = np.random.default_rng(shot.seed)
    h, w = scene.shape[:2]
    seen = scene
    if any(shot.tilt):
        seen = cv2.warpPerspective(
            scene, tilt_matrix(shot, (h, w)), (w, h), borderMode=cv2.BORDER_REFLECT
        )
    u = np.linspace(-0.5, 0.5, w, dtype=np.float32)[None, :, None]
    v = np.linspace(-0.5, 0.5, h, dtype=np.float32)[:, None, None]
    light = np.exp(shot.gradient[0] * u) * np.exp(shot.gradient[1] * v) * shot.exposure
    linear = seen.astype(np.float32) * light * np.asarray(shot.tint, np.float32)
    if shot.blur:
        linear = cv2.GaussianBlur(linear, (0, 0), shot.blur)
    grain = rng.standard_normal(linear.shape, dtype=np.float32)
    linear = linear + shot.noise * np.sqrt(np.maximum(linear, 0.01)) * grain
    codes = np.round(255 * linear_to_srgb(np.linspace(0, 1, 16385) ** shot.gamma))
    return codes.astype(np.uint8)[(np.clip(linear, 0, 1) * 16384 + 0.5).astype(np.int32)]


def seen_at(corners: np.ndarray, shot: Shot, shape: tuple[int, int] = SIZE) -> np.ndarray:
    """Corners of the flat scene in the picture, as fractions."""
    h, w = shape
    if any(shot.tilt):
        p = np.c_[corners, np.ones(len(corners))] @ tilt_matrix(shot, shape).T
        corners = p[:, :2] / p[:, 2:]
    return corners / (w, h)


def chart_texture(px: int = 40, fill: float = 0.82) -> np.ndarray:
    """(4 px, 6 px, 3) reflectance of a 24-patch chart on its dark frame, sRGB primaries."""
    xyz = lab_to_xyz(lab_d50_to_d65(CHART24_LAB_D50["after-2014-11"]))
    rgb = np.clip(xyz @ np.linalg.inv(SRGB_TO_XYZ).T, 0.001, 1.0)
    out = np.full((4 * px, 6 * px, 3), 0.03)
    gap = round(px * (1 - fill) / 2)
    for i, colour in enumerate(rgb):
        r, c = divmod(i, 6)
        out[r * px + gap : (r + 1) * px - gap, c * px + gap : (c + 1) * px - gap] = colour
    return out


def framed(texture: np.ndarray, margin: int) -> np.ndarray:
    """A texture in the middle of a dark frame, as on a chart."""
    pad = ((margin, margin), (margin, margin), (0, 0))
    return np.stack(
        [np.pad(texture[..., k], pad[:2], constant_values=0.03) for k in range(3)], axis=-1
    )
