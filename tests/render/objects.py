"""Things that lie on the table: grey card, neutral steps, 24-patch chart, swatches of yarn.

Each is drawn flat on its own raster in millimetres, as the camera's balanced sensor signal in
even light, with its cover and height; :mod:`tests.render.scene` lays it on the table.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from tests.render import spectra
from tests.render.camera import Shot, raw_rgb
from tests.render.dye import Dyeing, camera_table, look_up, smooth_field, xyz_table
from tests.render.strands import Yarn
from tests.render.yarn import Lamp, Piece, make_piece

Rect = tuple[float, float, float, float]  # x0, y0, x1, y1 in mm


@dataclass(frozen=True)
class Place:
    """Centre on the table in mm from the picture's middle, and a turn in degrees."""

    x: float
    y: float
    turn: float = 0.0


@dataclass(frozen=True)
class Card:
    """A photographic grey card with a white rim."""

    place: Place
    size_mm: tuple[float, float] = (62.0, 44.0)
    y: float = 0.18
    rim_mm: float = 3.0

    @property
    def rects(self) -> tuple[Rect, ...]:
        inset = self.rim_mm + 0.10 * min(self.size_mm)
        return ((inset, inset, self.size_mm[0] - inset, self.size_mm[1] - inset),)


@dataclass(frozen=True)
class Steps:
    """Neutral steps in a dark strip, lightest first."""

    place: Place
    ys: tuple[float, ...] = spectra.STEPS_Y
    patch_mm: tuple[float, float] = (13.0, 20.0)
    gap_mm: float = 2.0

    @property
    def size_mm(self) -> tuple[float, float]:
        w, h = self.patch_mm
        return (len(self.ys) * (w + self.gap_mm) + self.gap_mm, h + 2 * self.gap_mm)

    def rects_full(self) -> list[Rect]:
        (w, h), g = self.patch_mm, self.gap_mm
        return [(g + k * (w + g), g, g + k * (w + g) + w, g + h) for k in range(len(self.ys))]

    @property
    def rects(self) -> tuple[Rect, ...]:
        return tuple(inset(r, 0.18) for r in self.rects_full())


@dataclass(frozen=True)
class Chart:
    """A 24-patch chart: four rows of six in a dark frame."""

    place: Place
    which: str = "average"
    patch_mm: float = 11.0
    gap_mm: float = 2.0
    frame_mm: float = 5.0

    @property
    def size_mm(self) -> tuple[float, float]:
        step = self.patch_mm + self.gap_mm
        extra = 2 * self.frame_mm - self.gap_mm
        return (6 * step + extra, 4 * step + extra)

    @property
    def rects(self) -> tuple[Rect, ...]:
        step, f, p = self.patch_mm + self.gap_mm, self.frame_mm, self.patch_mm
        at = [(f + c * step, f + r * step) for r in range(4) for c in range(6)]
        return tuple((x, y, x + p, y + p) for x, y in at)

    @property
    def outer(self) -> Rect:
        f, (w, h) = self.frame_mm, self.size_mm
        return (f, f, w - f, h - f)


@dataclass(frozen=True)
class Swatch:
    """A swatch of yarn. ``seed``: the same seed is the same piece of yarn in every photo.

    ``board``: reflectance of the card it is wound on, by level, for the form "wound card".
    """

    name: str
    place: Place
    form: str
    size_mm: tuple[float, float]
    yarn: Yarn
    dyeing: Dyeing
    seed: int
    board: float = 0.82
    label: str = ""
    region: tuple[float, float, float, float] | None = None  # fractions of the size

    @property
    def rects(self) -> tuple[Rect, ...]:
        defaults = {
            "wound card": (0.10, 0.10, 0.90, 0.90),
            "knit": (0.14, 0.14, 0.86, 0.86),
            "skein": (0.26, 0.20, 0.74, 0.43),
        }
        a, b, c, d = self.region or defaults[self.form]
        w, h = self.size_mm
        return ((a * w, b * h, c * w, d * h),)


def inset(rect: Rect, share: float) -> Rect:
    """A rectangle made smaller on every side by a share of its short side."""
    x0, y0, x1, y1 = rect
    m = share * min(x1 - x0, y1 - y0)
    return (x0 + m, y0 + m, x1 - m, y1 - m)


@dataclass(frozen=True, eq=False)
class Drawn:
    """An object's raster: ``signal`` (h, w, 3), ``alpha`` (h, w), thrown-shadow height in mm."""

    signal: np.ndarray
    alpha: np.ndarray
    height_mm: float
    px_per_mm: float
    soft: bool = False
    truth: dict[str, object] = field(default_factory=dict)
    origin_mm: tuple[float, float] = (0.0, 0.0)


def _blank(size_mm: tuple[float, float], px: float) -> np.ndarray:
    return np.zeros((round(size_mm[1] * px), round(size_mm[0] * px), 3), np.float32)


def _fill(image: np.ndarray, rect: Rect, px: float, value: np.ndarray) -> None:
    x0, y0, x1, y1 = (round(v * px) for v in rect)
    image[y0:y1, x0:x1] = value


def _signal(reflectance: np.ndarray, shot: Shot) -> np.ndarray:
    return raw_rgb(reflectance, shot.light, shot.camera, shot.wb_error).astype(np.float32)


def draw_card(card: Card, shot: Shot, px: float, rng: np.random.Generator) -> Drawn:
    image = _blank(card.size_mm, px)
    image[:] = _signal(spectra.neutral(0.84, 0.03), shot)
    w, h = card.size_mm
    rim = card.rim_mm
    _fill(image, (rim, rim, w - rim, h - rim), px, _signal(spectra.grey_card(card.y), shot))
    grain = 0.012 * smooth_field(rng, image.shape[:2], 0.12 * px)
    image *= (1.0 + grain - grain.mean())[..., None].astype(np.float32)
    return Drawn(image, np.ones(image.shape[:2], np.float32), 1.2, px)


def draw_steps(steps: Steps, shot: Shot, px: float, rng: np.random.Generator) -> Drawn:
    image = _blank(steps.size_mm, px)
    image[:] = _signal(spectra.neutral(0.06), shot)
    levels = _signal(spectra.neutral_steps(steps.ys), shot)
    for rect, value in zip(steps.rects_full(), levels, strict=True):
        _fill(image, rect, px, value)
    return Drawn(image, np.ones(image.shape[:2], np.float32), 1.2, px)


def draw_chart(chart: Chart, shot: Shot, px: float, rng: np.random.Generator) -> Drawn:
    image = _blank(chart.size_mm, px)
    image[:] = _signal(spectra.neutral(0.035), shot)
    colours = _signal(spectra.chart(chart.which), shot)
    for rect, value in zip(chart.rects, colours, strict=True):
        _fill(image, rect, px, value)
    return Drawn(image, np.ones(image.shape[:2], np.float32), 1.5, px)


def draw_swatch(swatch: Swatch, shot: Shot, px: float, lamp: Lamp) -> Drawn:
    """Yarn, on its board if it is a wound card, with its truth."""
    turned = lamp.turned(swatch.place.turn)
    piece = make_piece(
        swatch.seed, swatch.form, swatch.size_mm, swatch.yarn, swatch.dyeing, turned, px
    )
    signal, alpha = lit(piece, lambda n: camera_table(piece.dyeing, shot, n)), piece.alpha
    truth = region_truth(swatch, piece)
    origin = (0.0, 0.0)
    if swatch.form == "wound card":
        signal, alpha, origin = _on_board(swatch, signal, alpha, shot, px)
    return Drawn(signal, alpha, 4.0, px, True, truth, origin)


def _on_board(
    swatch: Swatch, signal: np.ndarray, alpha: np.ndarray, shot: Shot, px: float
) -> tuple[np.ndarray, np.ndarray, tuple[float, float]]:
    """The strands over a strip of card that shows at both sides, with its label in ink."""
    import cv2

    side = round(9.0 * px)
    h, w = alpha.shape
    board = np.zeros((h, w + 2 * side, 3), np.float32)
    board[:] = _signal(spectra.with_y(spectra.neutral(0.8, 0.10), swatch.board), shot)
    cover = np.ones(board.shape[:2], np.float32)
    margin = round(0.8 * px)
    cover[:margin] = cover[-margin:] = 0.0
    if swatch.label:
        ink = np.zeros((side, h), np.uint8)
        scale = 0.105 * px
        at = (round(3 * px), round(0.66 * side))
        font = cv2.FONT_HERSHEY_SCRIPT_SIMPLEX
        cv2.putText(ink, swatch.label, at, font, scale, 255, max(1, round(0.22 * px)), cv2.LINE_AA)
        ink = np.rot90(ink).astype(np.float32)[..., None] / 255.0
        board[:, :side] *= 1.0 - 0.8 * ink
    # The yarn's own soft shadow at its sides.
    lift = np.zeros(board.shape[:2], np.float32)
    lift[:, side : side + w] = alpha
    board *= 1.0 - 0.55 * cv2.GaussianBlur(lift, (0, 0), 1.1 * px)[..., None]
    yarn = np.zeros_like(board)
    yarn[:, side : side + w] = signal
    a = lift[..., None]
    return yarn * a + board * (1 - a), np.maximum(cover, lift), (-side / px, 0.0)


def lit(piece: Piece, table: Callable[[int], np.ndarray]) -> np.ndarray:
    """(h, w, 3) light from a piece: shading times the table's flat colour, and bounced light."""
    signal = look_up(table(0), piece.dyeing, piece.t, piece.ln_f) * piece.shade[..., None]
    if piece.bounce.any():
        again = look_up(table(1), piece.dyeing, piece.t, piece.ln_f)
        signal = signal + again * piece.bounce[..., None]
    return signal


def region_truth(swatch: Swatch, piece: Piece) -> dict[str, object]:
    """What the region of a swatch is, by spectra, under D65/2°.

    ``lab_surface``: Lab of the plain mean of XYZ of the dyed surface, as if flat. ``lab_seen``:
    Lab of the plain mean of XYZ times shading, relative to a flat card in the same light: what a
    perfect measurement of the region would say. Only where yarn covers fully.
    """
    px = piece.px_per_mm
    x0, y0, x1, y1 = (round(v * px) for v in swatch.rects[0])
    part = (slice(y0, y1), slice(x0, x1))
    arrays = {n: getattr(piece, n)[part] for n in ("t", "ln_f", "shade", "bounce", "alpha")}
    cut = replace(piece, **arrays)
    t, ln_f, shade, keep = cut.t, cut.ln_f, cut.shade, cut.alpha >= 1.0
    flat = look_up(xyz_table(piece.dyeing), piece.dyeing, t, ln_f).astype(np.float64)
    seen = lit(cut, lambda n: xyz_table(piece.dyeing, n)).astype(np.float64)
    depths = piece.dyeing.depths(t[keep], ln_f[keep])
    surface, as_seen = flat[keep].mean(axis=0), seen[keep].mean(axis=0)
    return {
        "lab_surface": np.round(spectra.lab_of_xyz(surface), 4).tolist(),
        "lab_seen": np.round(spectra.lab_of_xyz(as_seen), 4).tolist(),
        "depths_percent": {n: round(float(v.mean()), 5) for n, v in depths.items()},
        "shade_mean": round(float(shade[keep].mean()), 5),
        "ln_shade_sd": round(float(np.log(shade[keep]).std()), 5),
        "ln_depth_sd": round(float(ln_f[keep].std()), 5),
        "cover": round(float(keep.mean()), 5),
        "kind": piece.dyeing.kind,
        "patch_mm": piece.dyeing.patch_mm,
    }
