"""Yarn under two lamps, photographed: light, shadow, light from strand to strand, and the camera.

The height of the yarn casts shadows of the key lamp and hides part of the fill; what the yarn
sends back lights the yarn around it once more, and that light has met the dye twice. All of it is
counted in bands of the spectrum and made linear sRGB at the end.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np

from ingest.colour import linear_to_srgb
from ingest.model import Array
from tests.tonality.other_dyes import (
    BANDS_NM,
    Dyed,
    Dyeing,
    bands_to_rgb,
    bands_to_xyz,
    dye,
)
from tests.tonality.other_lay import Yarn, lay
from tests.tonality.other_strands import MARGIN_MM, Surface, surface
from tests.tonality.photos import Seen, block_unevenness

#: Least px per mm at which yarn is drawn; a coarser photo is made smaller afterwards.
DRAWN_PX_PER_MM = 12.0
#: Directions in which the fill is looked for, and how far, in yarn diameters.
DIRECTIONS, FAR = 8, (0.2, 0.5, 1.0, 2.0)
#: Steps of a shadow's ray, and the slope over which its edge is soft.
SHADOW_STEPS, SOFT_EDGE = 14, 0.25
#: How far light runs inside the yarn, mm.
INSIDE_MM = 0.10
#: Times that light from yarn to yarn is followed.
BOUNCES = 2
#: Share of a hair that hides what is under it, how much of the field can be hidden, and how much
#: more light falls on a hair than on the yarn about it.
HAIR, MOST_HAIR, FREER = 0.30, 0.75, 1.15


@dataclass(frozen=True)
class Lamps:
    """``fill``: share of light that comes from all round. ``elevation_deg``, ``azimuth_deg``,
    ``away_mm``: where the key lamp is, seen from the middle. ``wrap``: 0..1, how far light runs
    round a strand. ``bounce``: share of hidden directions that the yarn around fills. ``tint``:
    ln of the key's light over the fill's from 415 to 685 nm."""

    fill: float
    elevation_deg: float
    azimuth_deg: float
    away_mm: float
    wrap: float = 0.3
    bounce: float = 0.9
    tint: float = 0.0


@dataclass(frozen=True)
class Camera:
    """``wb_error``: ln of red and blue. ``gamma_error``: relative error of the coding's exponent.
    ``veil``: stray light as a share of white. ``full_well``: electrons."""

    px_per_mm: float
    exposure: float = 0.8
    blur_px: float = 0.6
    full_well: float = 4000.0
    read_noise: float = 0.002
    wb_error: tuple[float, float] = (0.0, 0.0)
    gamma_error: float = 0.0
    veil: float = 0.0
    quality: int = 90
    subsampling: int = 2


@dataclass(frozen=True)
class Case:
    """One photo of one yarn. ``neutral``: dyed in white, greys and black alone. ``ground_slope``:
    standard deviation of the slope of what the yarn lies on, over ``ground_mm``."""

    seed: int
    kind: str
    form: str
    neutral: bool
    yarn: Yarn
    dyeing: Dyeing
    lamps: Lamps
    camera: Camera
    size_mm: tuple[float, float] = (60.0, 45.0)
    ground_slope: float = 0.03
    ground_mm: float = 12.0
    upright: bool = False
    hard: bool = False


@dataclass(frozen=True, eq=False)
class Drawn:
    """Yarn before any light: ``surface``, ``reflectance`` (h, w, b), ``px_per_mm``."""

    surface: Surface
    reflectance: Array
    px_per_mm: float


def draw_yarn(case: Case) -> Drawn:
    """The yarn of a case with its margins; light has no part in it."""
    size = tuple(n + 2 * MARGIN_MM for n in case.size_mm)
    if case.upright:
        size = size[::-1]
    px_per_mm = max(case.camera.px_per_mm, DRAWN_PX_PER_MM)
    lines = lay(np.random.default_rng([case.seed, 1]), case.form, case.yarn, size)
    seen = surface(np.random.default_rng([case.seed, 2]), lines, case.yarn, size, px_per_mm)
    dyed: Dyed = dye(
        np.random.default_rng([case.seed, 3]), case.dyeing, lines.starts, seen.lengths_mm
    )
    return Drawn(seen, dyed.reflectance(seen.piece, seen.along, seen.around), px_per_mm)


def truth_of(drawn: Drawn) -> dict[str, float]:
    """Unevenness of the dye alone, by 5 mm blocks of what is seen of the yarn, evenly lit."""
    edge = round(MARGIN_MM * drawn.px_per_mm)
    part = np.s_[edge:-edge, edge:-edge]
    xyz = (drawn.reflectance[part] @ bands_to_xyz().astype(np.float32)).astype(np.float32)
    cover = drawn.surface.upper[part].astype(np.float32)
    return {"unevenness": block_unevenness(xyz, cover, drawn.px_per_mm)}


def _shifted(height: Array, dx: float, dy: float) -> Array:
    """(h, w) values at a place so many pixels away, to the nearest."""
    return np.roll(height, (-round(dy), -round(dx)), (0, 1))


def key_light(height: Array, normal: Array, lamps: Lamps, px_per_mm: float, mm: float) -> Array:
    """(h, w) light of the key lamp, 1 on a level plane in the middle; ``height`` in mm, ``mm``:
    diameter of the yarn."""
    rise, turn = np.deg2rad(lamps.elevation_deg), np.deg2rad(lamps.azimuth_deg)
    x, y, z = np.cos(rise) * np.cos(turn), np.cos(rise) * np.sin(turn), np.sin(rise)
    cosine = normal @ np.array([x, y, z], np.float32)
    lit = np.maximum(cosine + lamps.wrap, 0.0) / (z + lamps.wrap)
    slope = np.tan(rise)
    longest = min(float(height.max() - height.min()) / slope, 4.0 * mm)
    hidden = np.full(height.shape, -1.0, np.float32)
    for step in np.geomspace(1.0 / px_per_mm, max(longest, 2.0 / px_per_mm), SHADOW_STEPS):
        ahead = step * px_per_mm
        over = _shifted(height, ahead * np.cos(turn), ahead * np.sin(turn)) - height
        np.maximum(hidden, over / np.float32(step) - np.float32(slope), out=hidden)
    lit *= np.clip(0.5 - hidden / np.float32(SOFT_EDGE * (1.0 + slope)), 0.0, 1.0)
    h, w = height.shape
    away = lamps.away_mm
    across = ((np.arange(w) - w / 2) / px_per_mm)[None, :] - away * x
    down = ((np.arange(h) - h / 2) / px_per_mm)[:, None] - away * y
    fall = away**3 / (across**2 + down**2 + (away * z) ** 2) ** 1.5
    return np.asarray(lit * fall, dtype=np.float32)


def open_share(height: Array, px_per_mm: float, mm: float) -> Array:
    """(h, w) share, 0..1, of light from all round that the yarn around lets in."""
    hidden = np.zeros(height.shape, np.float32)
    for turn in 2.0 * np.pi * (np.arange(DIRECTIONS) + 0.5) / DIRECTIONS:
        steepest = np.zeros(height.shape, np.float32)
        for share in FAR:
            step = max(share * mm, 1.0 / px_per_mm)
            ahead = step * px_per_mm
            over = _shifted(height, ahead * np.cos(turn), ahead * np.sin(turn)) - height
            np.maximum(steepest, over / np.float32(step), out=steepest)
        square = steepest * steepest
        hidden += square / (1.0 + square)
    return 1.0 - hidden / np.float32(DIRECTIONS)


def field(rng: np.random.Generator, shape: tuple[int, int], length: float) -> Array:
    """(h, w) smooth noise, standard deviation about 1; ``length``: in pixels."""
    import cv2

    h, w = (max(round(n / length * 4.0), 1) + 24 for n in shape)
    coarse = cv2.GaussianBlur(rng.standard_normal((h, w)).astype(np.float32), (0, 0), 4.0)
    coarse = coarse[12:-12, 12:-12] * np.float32(2.0 * np.sqrt(np.pi) * 4.0)
    return np.asarray(cv2.resize(coarse, shape[::-1], interpolation=cv2.INTER_CUBIC))


def radiance(drawn: Drawn, case: Case) -> Array:
    """(h, w, b) what the yarn sends to the eye, 1 for white in the key and fill together."""
    import cv2

    rng = np.random.default_rng([case.seed, 4])
    seen, px, mm, lamps = drawn.surface, drawn.px_per_mm, case.yarn.diameter_mm, case.lamps
    ground = case.ground_slope * case.ground_mm * field(rng, seen.height.shape, case.ground_mm * px)
    down, across = np.gradient(ground, 1.0 / px)
    normal = seen.normal - seen.normal[..., 2:] * np.stack(
        [across, down, np.zeros_like(down)], axis=-1
    ).astype(np.float32)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    height = seen.height + ground
    free = open_share(height, px, mm) * (0.5 + 0.5 * normal[..., 2])
    key = key_light(height, normal, lamps, px, mm) * np.float32(1.0 - lamps.fill)
    inside = max(INSIDE_MM * px, 0.3)
    key = cv2.GaussianBlur(key, (0, 0), inside)
    fill = cv2.GaussianBlur(free, (0, 0), inside) * np.float32(lamps.fill)
    tint = np.exp(lamps.tint * (BANDS_NM - BANDS_NM.mean()) / np.ptp(BANDS_NM)).astype(np.float32)
    direct = key[..., None] * tint + fill[..., None]
    light = direct + _from_yarn(direct, drawn.reflectance, 1.0 - free, mm * px, lamps.bounce)
    return np.asarray(drawn.reflectance * light)


def _from_yarn(direct: Array, reflectance: Array, hidden: Array, px: float, bounce: float) -> Array:
    """(h, w, b) light that other yarn sends, at half the size: it is smooth; ``px``: diameter."""
    import cv2

    h, w, bands = direct.shape
    size = ((w + 1) // 2, (h + 1) // 2)
    small = [
        np.stack([cv2.resize(a[..., k], size, interpolation=cv2.INTER_AREA) for k in range(bands)])
        for a in (direct, reflectance)
    ]
    share = cv2.resize(hidden, size, interpolation=cv2.INTER_AREA) * np.float32(bounce)
    more = np.zeros_like(small[0])
    side = 2 * round(0.3 * px) + 1
    for _ in range(BOUNCES):
        sent = small[1] * (small[0] + more)
        for k in range(bands):
            more[k] = cv2.blur(cv2.blur(sent[k], (side, side)), (side, side)) * share
    grown = [cv2.resize(more[k], (w, h), interpolation=cv2.INTER_LINEAR) for k in range(bands)]
    return np.stack(grown, axis=-1)


def hairs(rng: np.random.Generator, shape: tuple[int, int], yarn: Yarn, px_per_mm: float) -> Array:
    """(h, w) share, 0..1, that loose fibres hide."""
    import cv2

    h, w = shape
    count = int(yarn.hairs_per_mm2 * h * w / px_per_mm**2)
    start = rng.uniform(0.0, 1.0, (count, 1, 2)) * (w, h)
    turn = rng.uniform(0.0, 2.0 * np.pi, (count, 1)) + np.cumsum(
        rng.normal(0.0, 0.5, (count, 5)), 1
    )
    step = rng.uniform(0.15, 0.6, (count, 1)) * px_per_mm
    way = np.stack([np.cos(turn) * step, np.sin(turn) * step], axis=-1)
    points = np.rint((start + np.cumsum(way, axis=1)) * 8.0).astype(np.int32)
    total = np.zeros(shape, np.float32)
    for part in np.array_split(points, 3):  # hairs of one part do not add up
        layer = np.zeros(shape, np.uint8)
        cv2.polylines(layer, list(part), False, 255, 1, cv2.LINE_AA, 3)
        total += layer
    return np.minimum(total * np.float32(HAIR / 255.0), np.float32(MOST_HAIR))


def with_hairs(rgb: Array, share: Array, px: float) -> Array:
    """Light (h, w, 3) under loose fibres, which have the colour of the yarn around them and lie
    freer than it; ``px``: diameter of the yarn."""
    import cv2

    around = cv2.GaussianBlur(rgb, (0, 0), 0.5 * px) * np.float32(FREER)
    return np.asarray(rgb + share[..., None] * (around - rgb))


def render(case: Case) -> Seen:
    """The photo of a case; the same case gives the same bytes."""
    import cv2

    drawn = draw_yarn(case)
    to_rgb = bands_to_rgb().astype(np.float32)
    rng = np.random.default_rng([case.seed, 5])
    light = radiance(drawn, case) @ to_rgb
    share = hairs(rng, light.shape[:2], case.yarn, drawn.px_per_mm)
    light = with_hairs(light, share, case.yarn.diameter_mm * drawn.px_per_mm)
    edge = round(MARGIN_MM * drawn.px_per_mm)
    light = light[edge:-edge, edge:-edge]
    if case.upright:
        light = light.transpose(1, 0, 2)
    scale = case.camera.px_per_mm / drawn.px_per_mm
    if scale < 1.0:
        size = tuple(round(n * scale) for n in light.shape[1::-1])
        light = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
    jpeg, exposure = photograph(rng, np.ascontiguousarray(light), case.camera)
    return Seen(jpeg, 1.0 / case.camera.px_per_mm, exposure, truth_of(drawn))


def photograph(rng: np.random.Generator, light: Array, camera: Camera) -> tuple[bytes, float]:
    """The JPEG of light (h, w, 3), and the exposure, held low enough that next to nothing clips."""
    import cv2
    from PIL import Image

    light = cv2.GaussianBlur(light, (0, 0), camera.blur_px) + np.float32(camera.veil)
    brightest = float(np.quantile(light[::4, ::4].max(axis=-1), 0.998))
    exposure = min(camera.exposure, 0.95 / brightest)
    red, blue = np.exp(camera.wb_error)
    signal = light * (np.array([red, 1.0, blue]) * exposure).astype(np.float32)
    noise = np.sqrt(np.maximum(signal, 0.0) / camera.full_well + camera.read_noise**2)
    signal = signal + noise * rng.standard_normal(signal.shape, dtype=np.float32)
    held = np.clip(signal, 0.0, 1.0) ** np.float32(1.0 + camera.gamma_error)
    coded = (linear_to_srgb(held) * 255.0 + 0.5).astype(np.uint8)
    stored = io.BytesIO()
    Image.fromarray(coded).save(
        stored, "JPEG", quality=camera.quality, subsampling=camera.subsampling
    )
    return stored.getvalue(), exposure
