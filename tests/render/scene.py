"""A photo of a table: things laid on it, seen by a phone held nearly straight above.

The table is a plane in millimetres about the picture's middle; one homography takes it to the
picture. What is drawn is the camera's linear signal; light falls off over the frame as a plane;
then veil, lens blur, noise, 3x3, tone curve, sRGB curve and 8 bits follow.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ingest.colour import DISPLAY_P3_TO_XYZ, SRGB_TO_XYZ
from ingest.icc_write import display_profile
from tests.render.camera import Shot, encode, light_field, quantise
from tests.render.objects import (
    Card,
    Chart,
    Drawn,
    Rect,
    Steps,
    Swatch,
    draw_card,
    draw_chart,
    draw_steps,
    draw_swatch,
)
from tests.render.tables import table_signal
from tests.render.yarn import Lamp

Thing = Card | Steps | Chart | Swatch


@dataclass(frozen=True)
class Scene:
    """One photo. ``width_mm``: of table across the picture. ``tilt``: degrees about x and y.

    ``roll``: degrees about the line of sight. ``blur_px``: lens blur, standard deviation.
    ``vignette``: light lost in the corners, share. ``space``: "srgb" or "p3" coding. ``spot``: a
    factor (h, w, 3) on the light at x (1, w) and y (h, 1), fractions of the picture.
    """

    things: tuple[Thing, ...]
    shot: Shot = field(default_factory=Shot)
    lamp: Lamp = field(default_factory=Lamp)
    table: str = "wood"
    width_mm: float = 210.0
    size_px: tuple[int, int] = (1600, 1200)
    tilt: tuple[float, float] = (0.0, 0.0)
    roll: float = 0.0
    blur_px: float = 0.6
    vignette: float = 0.0
    space: str = "srgb"
    seed: int = 0
    spot: Callable[[np.ndarray, np.ndarray], np.ndarray] | None = None

    @property
    def px_per_mm(self) -> float:
        return self.size_px[0] / self.width_mm


@dataclass(frozen=True, eq=False)
class Rendered:
    """``coded``: (h, w, 3) uint8. ``linear``: (h, w, 3) float32, balanced sensor signal before
    exposure, noise and coding. ``marks``: the marks file's content. ``truth``: region to truth.
    """

    coded: np.ndarray
    linear: np.ndarray
    marks: dict[str, Any]
    truth: dict[str, dict[str, Any]]


def homography(scene: Scene) -> np.ndarray:
    """(3, 3) from table millimetres to pixels (0, 0 the outer corner of the first pixel)."""
    w, h = scene.size_px
    away = 1.9 * scene.width_mm
    rx, ry, rz = np.radians([scene.tilt[0], scene.tilt[1], scene.roll])
    about_x = np.array([[1, 0, 0], [0, np.cos(rx), -np.sin(rx)], [0, np.sin(rx), np.cos(rx)]])
    about_y = np.array([[np.cos(ry), 0, np.sin(ry)], [0, 1, 0], [-np.sin(ry), 0, np.cos(ry)]])
    about_z = np.array([[np.cos(rz), -np.sin(rz), 0], [np.sin(rz), np.cos(rz), 0], [0, 0, 1]])
    turn = about_x @ about_y @ about_z
    focal = scene.px_per_mm * away
    lens = np.array([[focal, 0, w / 2], [0, focal, h / 2], [0, 0, 1]])
    return lens @ np.stack([turn[:, 0], turn[:, 1], [0.0, 0.0, away]], axis=1)


def apply(h: np.ndarray, points: np.ndarray) -> np.ndarray:
    """Points (n, 2) through a homography."""
    p = np.concatenate([points, np.ones((len(points), 1))], axis=1) @ h.T
    return p[:, :2] / p[:, 2:]


def _local_to_table(thing: Thing) -> np.ndarray:
    """(3, 3) from an object's own mm (its top left corner 0, 0) to table mm."""
    a = np.radians(thing.place.turn)
    c, s = np.cos(a), np.sin(a)
    w, h = thing.size_mm
    turn = np.array([[c, -s, thing.place.x], [s, c, thing.place.y], [0, 0, 1]])
    return turn @ np.array([[1, 0, -w / 2], [0, 1, -h / 2], [0, 0, 1.0]])


# ---------------------------------------------------------------------------------------------
# Laying things down
# ---------------------------------------------------------------------------------------------


def _draw(thing: Thing, scene: Scene, rng: np.random.Generator) -> Drawn:
    px = 1.25 * scene.px_per_mm
    if isinstance(thing, Card):
        return draw_card(thing, scene.shot, px, rng)
    if isinstance(thing, Steps):
        return draw_steps(thing, scene.shot, px, rng)
    if isinstance(thing, Chart):
        return draw_chart(thing, scene.shot, px, rng)
    return draw_swatch(thing, scene.shot, px, scene.lamp)


def _lay(image: np.ndarray, thing: Thing, drawn: Drawn, scene: Scene) -> None:
    """Shadow first, then the thing itself, into ``image`` (h, w, 3)."""
    import cv2

    to_px = homography(scene) @ _local_to_table(thing)
    ox, oy = drawn.origin_mm
    rh, rw = drawn.alpha.shape
    p = drawn.px_per_mm
    corners = np.array([[0, 0], [rw, 0], [rw, rh], [0, rh]], float) / p + [ox, oy]
    reach = int((6.0 + 2 * drawn.height_mm) * scene.px_per_mm)
    at = apply(to_px, corners)
    lo = np.maximum(np.floor(at.min(axis=0)).astype(int) - reach, 0)
    hi = np.minimum(np.ceil(at.max(axis=0)).astype(int) + reach, scene.size_px)
    # cv2 counts pixels from their centres: half a pixel off at either end.
    raster = np.array([[1 / p, 0, ox + 0.5 / p], [0, 1 / p, oy + 0.5 / p], [0, 0, 1]])
    m = np.array([[1, 0, -lo[0] - 0.5], [0, 1, -lo[1] - 0.5], [0, 0, 1]]) @ to_px @ raster
    size = (int(hi[0] - lo[0]), int(hi[1] - lo[1]))
    alpha = cv2.warpPerspective(drawn.alpha, m, size, flags=cv2.INTER_LINEAR)
    signal = cv2.warpPerspective(
        drawn.signal, m, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    part = image[lo[1] : hi[1], lo[0] : hi[0]]
    part *= _cast_shadow(alpha, drawn, scene)[..., None]
    a = alpha[..., None]
    part[:] = part * (1.0 - a) + signal * a


def _cast_shadow(alpha: np.ndarray, drawn: Drawn, scene: Scene) -> np.ndarray:
    """Factor on the light of what lies under and beside a thing."""
    import cv2

    px = scene.px_per_mm
    lamp = scene.lamp
    out = drawn.height_mm / np.tan(np.radians(lamp.elevation)) * px
    az = np.radians(lamp.azimuth)
    solid = (alpha > 0.6).astype(np.float32)
    factor = np.ones_like(alpha)
    for share in (0.35, 0.7, 1.0):
        move = np.array(
            [[1, 0, -np.cos(az) * out * share], [0, 1, -np.sin(az) * out * share]], np.float32
        )
        moved = cv2.warpAffine(solid, move, alpha.shape[::-1])
        soft = cv2.GaussianBlur(moved, (0, 0), (0.15 + 0.35 * share) * drawn.height_mm * px)
        factor *= 1.0 - 0.30 * lamp.key * soft
    near = cv2.GaussianBlur(solid, (0, 0), 0.7 * drawn.height_mm * px)
    return factor * (1.0 - 0.55 * (1.0 - lamp.key) * near)


# ---------------------------------------------------------------------------------------------
# The picture
# ---------------------------------------------------------------------------------------------


def scene_light(scene: Scene) -> np.ndarray:
    """(h, w, 1 or 3) float32 relative light: plane, vignette and spot."""
    w, h = scene.size_px
    x = (np.arange(w, dtype=np.float32)[None, :] + 0.5) / w
    y = (np.arange(h, dtype=np.float32)[:, None] + 0.5) / h
    ends = light_field(scene.shot, np.array([[0.5, 0.5], [1.5, 0.5], [0.5, 1.5]]))
    plane = ends[0] + (x - 0.5) * (ends[1] - ends[0]) + (y - 0.5) * (ends[2] - ends[0])
    round_ = ((x - 0.5) ** 2 + (y - 0.5) ** 2) / 0.5
    light = (plane * (1.0 - scene.vignette * round_))[..., None]
    if scene.spot is not None:
        light = light * scene.spot(x, y)
    return light.astype(np.float32)


def code(linear: np.ndarray, scene: Scene, rng: np.random.Generator) -> np.ndarray:
    """uint8 picture of a linear signal: exposure, noise, 3x3, curves, 8 bits."""
    import cv2

    shot = scene.shot
    signal = linear * np.float32(shot.exposure)
    if shot.read_noise > 0.0 or np.isfinite(shot.full_well):
        sd = np.sqrt(np.maximum(signal, 0.0) / shot.full_well + shot.read_noise**2)
        signal = signal + sd * rng.standard_normal(signal.shape, dtype=np.float32)
    matrix = shot.matrix
    if scene.space == "p3":
        matrix = np.linalg.solve(DISPLAY_P3_TO_XYZ, SRGB_TO_XYZ) @ matrix
    rgb = cv2.transform(np.minimum(signal, 1.0).astype(np.float32), matrix)
    # A table of 4096 codes instead of the curve on millions of pixels: under 0.2 of a code off.
    grid = np.linspace(0.0, 1.0, 16385)
    table = quantise(encode(grid, shot.tone))
    return table[np.clip(rgb * 16384.0 + 0.5, 0, 16384).astype(np.int32)]


def render(scene: Scene) -> Rendered:
    """The photo of a scene with its marks and truth; the same scene gives the same bytes."""
    import cv2

    rng = np.random.default_rng([scene.seed, 77])
    image = table_signal(rng, scene.table, scene.size_px, scene.px_per_mm, scene.shot)
    truth: dict[str, dict[str, Any]] = {}
    for thing in scene.things:
        drawn = _draw(thing, scene, rng)
        _lay(image, thing, drawn, scene)
        if isinstance(thing, Swatch):
            truth[thing.name] = dict(drawn.truth)
    image *= scene_light(scene)
    if scene.blur_px > 0:
        image = cv2.GaussianBlur(image, (0, 0), scene.blur_px)
    image += np.float32(scene.shot.veil)
    return Rendered(code(image, scene, rng), image, marks(scene), truth)


def marks(scene: Scene) -> dict[str, Any]:
    """The marks file of a scene: where its references and swatches are."""
    references: list[dict[str, Any]] = []
    swatches: list[dict[str, Any]] = []
    for thing in scene.things:
        polygons = [_polygon(scene, thing, r) for r in thing.rects]
        if isinstance(thing, Card):
            references.append({"kind": "card", "polygon": polygons[0], "y": thing.y})
        elif isinstance(thing, Steps):
            references.append({"kind": "steps", "patches": polygons, "y": list(thing.ys)})
        elif isinstance(thing, Chart):
            corners = _polygon(scene, thing, thing.outer)
            references.append({"kind": "chart24", "corners": corners, "edition": "before-2014-11"})
        else:
            swatches.append({"name": thing.name, "polygon": polygons[0]})
    first = next((t for t in scene.things if not isinstance(t, Swatch)), scene.things[0])
    a, b, c, d = _polygon(scene, first, (0.0, 0.0, *first.size_mm))
    del b, c
    scale = {"from": a, "to": d, "mm": first.size_mm[1]}
    return {"references": references, "swatches": swatches, "scale": scale}


def _polygon(scene: Scene, thing: Thing, rect: Rect) -> list[list[float]]:
    x0, y0, x1, y1 = rect
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    at = apply(homography(scene) @ _local_to_table(thing), corners) / scene.size_px
    return np.round(at, 5).tolist()


# ---------------------------------------------------------------------------------------------
# The file
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class FileStyle:
    """How a phone writes the file. ``orientation``: EXIF value 1, 3, 6 or 8."""

    quality: int = 90
    taken_at: str | None = None  # "2026:03:01 10:05:00", EXIF's own form
    make: str | None = "Fennick"
    model: str | None = "Fennick Pocket"
    orientation: int = 1
    with_icc: bool = True
    subsampling: int = 2  # 4:2:0, as phones write


def save(path: Path, rendered: Rendered, space: str, style: FileStyle) -> None:
    """Write a JPEG as a phone would: stored turned, with EXIF and a profile where asked."""
    from PIL import Image

    turns = {1: 0, 6: 1, 3: 2, 8: 3}[style.orientation]
    image = Image.fromarray(np.ascontiguousarray(np.rot90(rendered.coded, turns)))
    exif = Image.Exif()
    texts = {0x010F: style.make, 0x0110: style.model, 0x0132: style.taken_at}
    exif.update({tag: value for tag, value in texts.items() if value})
    if style.orientation != 1:
        exif[0x0112] = style.orientation
    if style.taken_at:
        exif.get_ifd(0x8769)[0x9003] = style.taken_at
    extra: dict[str, Any] = {"exif": exif}
    if style.with_icc or space == "p3":
        extra["icc_profile"] = display_profile("display-p3" if space == "p3" else space)
    image.save(path, quality=style.quality, subsampling=style.subsampling, **extra)
