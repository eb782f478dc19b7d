"""Pictures of the capture mat as a hand-held phone might take them, with their truth.

The light is linear until the very end; yarn here is a cheap texture of strands, made to be told
from paper, not to be measured. ``python -m tests.render.mat --views 500 --log FILE`` is the long
form of the tests of ``ingest.mat``: one JSON line a view, and the sums at the end.
"""

from __future__ import annotations

import argparse
import functools
import json
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np

from ingest.colour import SRGB_TO_XYZ, linear_to_srgb, srgb_to_linear
from ingest.errors import MarksError
from ingest.mat import Mat, MatFound, Paper, Rect, find_mat, marker_bits, mat
from ingest.model import Encoding, Photo
from swatchvault.matprint import LABELS, TEXTS, bar_strokes

PX_PER_MM = 8.0
_CODES = srgb_to_linear(np.arange(256) / 255.0)
_SRGB = Encoding("sRGB", np.repeat(_CODES[:, None], 3, 1).astype(np.float32), SRGB_TO_XYZ)


def as_photo(pixels: np.ndarray) -> Photo:
    """A photo, read as sRGB, of (h, w, 3) uint8 or uint16 pixels."""
    encoding = _SRGB
    if pixels.dtype == np.uint16:
        curve = srgb_to_linear(np.arange(65536) / 65535.0)
        encoding = Encoding("sRGB", np.repeat(curve[:, None], 3, 1).astype(np.float32), SRGB_TO_XYZ)
    return Photo("rendered", "0" * 64, pixels, encoding, "JPEG")


# --- the sheet and what lies on it, linear light, PX_PER_MM ---------------------------------


def _cover(length: int, start: float, end: float) -> np.ndarray:
    """How much of each of ``length`` pixels lies between two places, 0..1."""
    i = np.arange(length)
    return np.clip(np.minimum(i + 1, end) - np.maximum(i, start), 0.0, 1.0)


def _paint(picture: np.ndarray, r: Rect, colour: float | np.ndarray) -> None:
    k = PX_PER_MM
    rows, columns = (
        _cover(len(picture), r.y * k, r.bottom * k),
        _cover(picture.shape[1], r.x * k, r.right * k),
    )
    y, x = np.flatnonzero(rows), np.flatnonzero(columns)
    box = np.s_[y[0] : y[-1] + 1, x[0] : x[-1] + 1]
    share = np.outer(rows[y], columns[x])[..., None].astype(np.float32)
    picture[box] += share * (np.asarray(colour, np.float32) - picture[box])


def draw_sheet(sheet: Mat, tint: tuple[float, float, float] = (0.86, 0.86, 0.88)) -> np.ndarray:
    """(h, w, 3) float32 linear reflectance of the printed sheet; ``tint`` is the paper's."""
    return _printed(sheet.paper) * np.asarray(tint, np.float32)


@functools.cache
def _printed(name: Paper) -> np.ndarray:
    """(h, w, 1) float32: what the print leaves of the paper's reflectance."""
    sheet = mat(name)
    h, w = round(sheet.height * PX_PER_MM), round(sheet.width * PX_PER_MM)
    paper = np.ones((h, w, 1), np.float32)
    ink = 0.045
    for marker, place in sheet.markers.items():
        _paint(paper, place, ink)
        side = place.width / 7
        for i, j in np.argwhere(marker_bits(marker)):
            _paint(paper, Rect(place.x + j * side, place.y + i * side, side, side), 1.0)
    for place in sheet.places.values():
        for edge in (
            Rect(place.x - 0.12, place.y - 0.12, place.width + 0.24, 0.25),
            Rect(place.x - 0.12, place.bottom - 0.12, place.width + 0.24, 0.25),
            Rect(place.x - 0.12, place.y, 0.25, place.height),
            Rect(place.right - 0.12, place.y, 0.25, place.height),
        ):
            _paint(paper, edge, 0.33)
    for stroke in bar_strokes(sheet):
        _paint(paper, stroke, ink)
    words = [(sheet.labels[n], LABELS.get(n, n), 0) for n in sheet.places]
    words += [
        (box, t.format(paper=sheet.paper), i)
        for n, box in sheet.notes.items()
        for i, t in enumerate(TEXTS[n])
    ]
    for box, text, line in words:
        lines = [(text, int(box.x * PX_PER_MM), int((box.y + 3.4 + 4.2 * line) * PX_PER_MM))]
        _write(paper, lines, 0.7)
    return paper


def _write(paper: np.ndarray, lines: list[tuple[str, int, int]], size: float) -> None:
    """Dark words on float paper, at x and baseline y in pixels."""
    for text, x, y in lines:
        (w, h), under = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, size, 2)
        ink = np.zeros((h + under + 4, w + 4), np.uint8)
        cv2.putText(ink, text, (2, h + 2), cv2.FONT_HERSHEY_SIMPLEX, size, 255, 2, cv2.LINE_AA)
        box = paper[max(y - h, 0) : y - h + len(ink), x : x + ink.shape[1]]
        box *= 1.0 - 0.9 * ink[: box.shape[0], : box.shape[1], None].astype(np.float32) / 255


def yarn(
    h: int, w: int, colour: np.ndarray, rng: np.random.Generator, scale: float = PX_PER_MM
) -> np.ndarray:
    """(h, w, 3) strands side by side, 1.5 to 4 mm thick, wavy, dark between, of one colour.

    ``scale``: pixels a millimetre. Drawn at half of it, which strands of this thickness bear.
    """
    y, x = np.indices((h // 2 + 1, w // 2 + 1), dtype=np.float32) * np.float32(2 / scale)
    turn, thick = rng.uniform(0, np.pi), rng.uniform(1.5, 4.0)
    across = x * np.cos(turn) + y * np.sin(turn)
    along = y * np.cos(turn) - x * np.sin(turn)
    wave = 0.25 * thick * np.sin(along / rng.uniform(6, 15) + rng.uniform(0, 6))
    phase = np.pi * (across + wave) / thick
    ply = np.sin(2 * np.pi * along / (1.6 * thick) + 2 * phase)
    depth = rng.uniform(0.25, 0.6)
    gap = np.square(np.square(np.square(np.cos(phase))))
    shade = 1.0 - depth * gap - 0.35 * depth * np.square(np.maximum(ply, 0))
    coarse = rng.normal(1.0, 0.08, (h // 3 + 1, w // 3 + 1)).astype(np.float32)
    shade = cv2.resize(shade.astype(np.float32), (w, h)) * cv2.resize(coarse, (w, h))
    return shade[..., None] * colour.astype(np.float32)


def yarn_colour(rng: np.random.Generator) -> np.ndarray:
    """Any dyed colour, a quarter of them pale (undyed cream, grey) and a quarter dark."""
    kind = rng.integers(4)
    if kind == 0:
        return rng.uniform(0.5, 0.75) * np.array([1.0, rng.uniform(0.9, 1), rng.uniform(0.7, 0.95)])
    if kind == 1:
        return rng.uniform(0.02, 0.1, 3)
    return rng.uniform(0.03, 0.7, 3)


def _lay(paper: np.ndarray, r: Rect, look: np.ndarray, round_: bool = False) -> None:
    """Put a picture of ``r``'s size on the sheet, square or as an oval."""
    k = PX_PER_MM
    x, y = max(round(r.x * k), 0), max(round(r.y * k), 0)
    box = paper[y : y + look.shape[0], x : x + look.shape[1]]
    look = look[: box.shape[0], : box.shape[1]]
    inside = np.ones(look.shape[:2], bool)
    if round_:
        v, u = np.indices(inside.shape)
        h, w = inside.shape
        inside = ((u / w - 0.5) ** 2 + (v / h - 0.5) ** 2) <= 0.25
    box[inside] = look[inside]


@dataclass(frozen=True)
class Piece:
    """What covers the paper: a rectangle, or the oval in it."""

    rect: Rect
    oval: bool

    def covers(self, mm: np.ndarray) -> np.ndarray:
        """(n,) bool of (n, 2) millimetres."""
        low, size = self.rect.corners[0], np.array([self.rect.width, self.rect.height])
        inside = np.abs((mm - low) / size - 0.5)
        return (inside**2).sum(axis=1) <= 0.25 if self.oval else (inside <= 0.5).all(axis=1)


def lay_yarn(paper: np.ndarray, place: Rect, rng: np.random.Generator) -> Piece:
    """Yarn on a place: a piece that leaves paper free, or one that hangs over a little."""
    if rng.random() < 0.5:
        w, h = rng.uniform(25, 0.9 * place.width), rng.uniform(25, 0.9 * place.height)
        x = place.x + rng.uniform(0, place.width - w)
        y = place.y + rng.uniform(0, place.height - h)
    else:
        over = rng.uniform(-2, 3)
        x, y, w, h = place.x - over, place.y - over, place.width + 2 * over, place.height + 2 * over
    look = yarn(round(h * PX_PER_MM), round(w * PX_PER_MM), yarn_colour(rng), rng)
    piece = Piece(Rect(x, y, w, h), bool(rng.random() < 0.3))
    _lay(paper, piece.rect, look, piece.oval)
    return piece


def lay_reference(paper: np.ndarray, place: Rect, kind: str, rng: np.random.Generator) -> None:
    """A grey card, a strip of six neutral steps or a chart of 24 patches, laid by hand."""
    w, h = {"card": (85.6, 54.0), "steps": (100.0, 25.0), "chart": (108.0, 65.0)}[kind]
    look = np.full((round(h * PX_PER_MM), round(w * PX_PER_MM), 3), 0.18, np.float32)
    rows, columns = {"card": (1, 1), "steps": (1, 6), "chart": (4, 6)}[kind]
    if kind != "card":
        look[:] = 0.03
        bh, bw = look.shape[0] / rows, look.shape[1] / columns
        for i in range(rows):
            for j in range(columns):
                neutral = np.full(3, 0.9 * 0.55**j)
                colour = neutral if kind == "steps" or i == 3 else rng.uniform(0.03, 0.8, 3)
                y, x = int((i + 0.08) * bh), int((j + 0.08) * bw)
                look[y : int((i + 0.92) * bh), x : int((j + 0.92) * bw)] = colour
    x = place.x + rng.uniform(0.1, 0.9) * (place.width - w)
    y = place.y + rng.uniform(0.1, 0.9) * (place.height - h)
    _lay(paper, Rect(x, y, w, h), look)


def hide(paper: np.ndarray, marker: Rect, tint: np.ndarray, rng: np.random.Generator) -> None:
    """Lay yarn or a finger over at least half of a marker."""
    w, h = rng.uniform(12, 22, 2)
    x = marker.x + 7 - w / 2 + rng.uniform(-4, 4)
    y = marker.y + 7 - h / 2 + rng.uniform(-4, 4)
    finger = np.array([0.55, 0.33, 0.24])
    colour = yarn_colour(rng) if rng.random() < 0.5 else finger
    look = yarn(round(h * PX_PER_MM), round(w * PX_PER_MM), colour, rng)
    _lay(paper, Rect(x, y, w, h), look, True)


# --- the camera -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Pose:
    """From sheet millimetres to the picture: homography to pixels, then two radial terms."""

    homography: np.ndarray
    bend: tuple[float, float]
    width: int
    height: int

    def pixels(self, mm: np.ndarray) -> np.ndarray:
        """(n, 2) millimetres to (n, 2) pixels from the picture's outer corner."""
        at = mm @ self.homography[:, :2].T + self.homography[:, 2]
        half, centre = (
            np.hypot(self.width, self.height) / 2,
            np.array([self.width, self.height]) / 2,
        )
        n = (at[:, :2] / at[:, 2:] - centre) / half
        r2 = np.sum(n**2, axis=1, keepdims=True)
        return centre + half * n * (1 + self.bend[0] * r2 + self.bend[1] * r2**2)

    def millimetres(self) -> np.ndarray:
        """(height, width, 2) float32: where each pixel's centre looks on the sheet."""
        y, x = np.indices((self.height, self.width), dtype=np.float32) + 0.5
        half = float(np.hypot(self.width, self.height)) / 2
        seen_x, seen_y = (x - self.width / 2) / half, (y - self.height / 2) / half
        nx, ny = seen_x, seen_y
        for _ in range(4):
            r2 = nx * nx + ny * ny
            factor = 1 + self.bend[0] * r2 + self.bend[1] * r2 * r2
            nx, ny = seen_x / factor, seen_y / factor
        px, py = nx * half + self.width / 2, ny * half + self.height / 2
        g = np.linalg.inv(self.homography).astype(np.float32)
        d = g[2, 0] * px + g[2, 1] * py + g[2, 2]
        return np.stack([(r[0] * px + r[1] * py + r[2]) / d for r in (g[0], g[1])], axis=-1)

    def back(self, pixels: np.ndarray) -> np.ndarray:
        """(n, 2) pixels to (n, 2) millimetres on the sheet."""
        half = np.hypot(self.width, self.height) / 2
        centre = np.array([self.width, self.height]) / 2
        seen = (pixels - centre) / half
        n = seen
        for _ in range(20):
            r2 = np.sum(n**2, axis=1, keepdims=True)
            n = seen / (1 + self.bend[0] * r2 + self.bend[1] * r2**2)
        g = np.linalg.inv(self.homography)
        at = (n * half + centre) @ g[:, :2].T + g[:, 2]
        return at[:, :2] / at[:, 2:]

    def mm_per_px(self, mm: np.ndarray) -> np.ndarray:
        """(n,) geometric mean over directions, at (n, 2) millimetres."""
        right, down = np.eye(2) / 2
        dx = self.pixels(mm + right) - self.pixels(mm - right)
        dy = self.pixels(mm + down) - self.pixels(mm - down)
        return 1 / np.sqrt(np.abs(dx[:, 0] * dy[:, 1] - dx[:, 1] * dy[:, 0]))


def pose(
    sheet: Mat,
    rng: np.random.Generator,
    *,
    long_side: int = 2016,
    tilt_deg: float = 30.0,
    bend: float = 0.01,
    fill: tuple[float, float] = (0.6, 0.97),
) -> Pose:
    """A phone (26 to 28 mm equivalent) held in any turn, tilted up to ``tilt_deg`` any way.

    ``fill``: how much of the picture the sheet spans in the direction that it fills most.
    """
    w, h = long_side, long_side * 3 // 4
    if rng.random() < 0.4:
        w, h = h, w
    turn, way = rng.uniform(0, 2 * np.pi, 2)
    tilt = np.radians(rng.uniform(0, tilt_deg))
    axis = np.array([np.cos(way), np.sin(way), 0.0]) * tilt
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)], [0.0, 0.0]])
    plane = cv2.Rodrigues(axis)[0] @ spin
    focal = rng.uniform(0.72, 0.78) * max(w, h)
    centred = np.array([[1.0, 0, -sheet.width / 2], [0, 1.0, -sheet.height / 2], [0, 0, 1.0]])
    edge = Rect(0, 0, sheet.width, sheet.height).corners
    target, near, far = rng.uniform(*fill), 150.0, 3000.0
    for _ in range(40):
        distance = (near + far) / 2
        lens = np.array([[focal, 0, w / 2], [0, focal, h / 2], [0, 0, 1.0]])
        H = lens @ np.column_stack([plane[:, 0], plane[:, 1], [0, 0, distance]]) @ centred
        at = edge @ H[:, :2].T + H[:, 2]
        at = at[:, :2] / at[:, 2:]
        spans = np.ptp(at, axis=0) / (w, h)
        near, far = (distance, far) if spans.max() > target else (near, distance)
    room_low, room_high = -at.min(axis=0), (w, h) - at.max(axis=0)
    shift = rng.uniform(0.1, 0.9, 2) * (room_high - room_low) + room_low
    H = np.array([[1, 0, shift[0]], [0, 1, shift[1]], [0, 0, 1.0]]) @ H
    k1 = rng.uniform(-bend, bend)
    return Pose(H / H[2, 2], (k1, 0.2 * rng.uniform(-bend, bend)), w, h)


def table(h: int, w: int, rng: np.random.Generator) -> np.ndarray:
    """A table top: one colour with grain and blotches, or cloth."""
    if rng.random() < 0.3:
        return yarn(h, w, yarn_colour(rng), rng, scale=w / rng.uniform(150, 600))
    colour = rng.uniform(0.05, 0.8) * np.array([1.0, rng.uniform(0.7, 1), rng.uniform(0.4, 1)])
    coarse = rng.normal(1.0, 0.15, (rng.integers(3, 40), rng.integers(3, 40))).astype(np.float32)
    grain = np.clip(cv2.resize(coarse, (w, h), interpolation=cv2.INTER_CUBIC), 0.2, 2.0)
    return grain[..., None] * colour.astype(np.float32)


def photograph(scene: np.ndarray, rng: np.random.Generator, gradient: float = 0.3) -> np.ndarray:
    """Linear light (h, w, 3) to the uint8 of a JPEG: light field, blur, noise, curve, blocks."""
    h, w = scene.shape[:2]
    y, x = (np.indices((h // 16, w // 16), dtype=np.float32) + 0.5) * 16
    way, steep = rng.uniform(0, 2 * np.pi), rng.uniform(0, gradient)
    field = 1 + steep * ((x / w - 0.5) * np.cos(way) + (y / h - 0.5) * np.sin(way))
    r2 = ((x - w / 2) ** 2 + (y - h / 2) ** 2) / (w * w + h * h) * 4
    field *= 1 - rng.uniform(0, 0.12) * r2
    if rng.random() < 0.3:  # the soft edge of the phone's or the hand's shadow
        way, soft = rng.uniform(0, 2 * np.pi), rng.uniform(0.03, 0.2)
        d = (x / w - 0.5) * np.cos(way) + (y / h - 0.5) * np.sin(way) - rng.uniform(-0.3, 0.3)
        field *= 1 - rng.uniform(0, 0.25) / (1 + np.exp(-d / soft))
    white = np.array([1.0, rng.uniform(0.9, 1.05), rng.uniform(0.75, 1.1)]) * rng.uniform(0.6, 1.0)
    scene = scene * cv2.resize(field.astype(np.float32), (w, h))[..., None]
    scene *= white.astype(np.float32)
    blur = rng.uniform(0.5, 1.8) * max(w, h) / 4032 + 0.3
    scene = cv2.GaussianBlur(scene, (0, 0), blur)
    noise = rng.uniform(0.003, 0.02)
    speck = np.resize(rng.standard_normal(1_000_003, dtype=np.float32), scene.shape)
    scene += speck * noise * np.sqrt(np.maximum(scene, 0.01))
    codes = np.arange(4097) / 4096
    coded = np.round(255 * linear_to_srgb(codes)).astype(np.uint8)
    pixels = coded[(np.clip(scene, 0, 1) * 4096).astype(np.uint16)]
    quality = int(rng.integers(80, 96))
    done = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
    return cv2.imdecode(done, cv2.IMREAD_COLOR)[..., ::-1]


# --- views and their truth ------------------------------------------------------------------


@dataclass(frozen=True)
class View:
    """A picture of the mat with what is true of it."""

    pixels: np.ndarray
    pose: Pose
    sheet: Mat
    occupied: dict[str, bool]
    hidden: tuple[int, ...]
    yarn: dict[str, Piece] = field(default_factory=dict)

    @property
    def photo(self) -> Photo:
        return as_photo(self.pixels)

    def corner_errors_mm(self, found: MatFound) -> dict[str, float]:
        """The largest distance of each place's corners from the truth, in millimetres there."""
        size = np.array([self.pose.width, self.pose.height])
        errors = {}
        for name, polygon in found.regions.items():
            mm = self.sheet.places[name].corners
            off = np.hypot(*(np.array(polygon) * size - self.pose.pixels(mm)).T)
            errors[name] = float((off * self.pose.mm_per_px(mm)).max())
        return errors

    def paper_in_outlines(self, found: MatFound) -> dict[str, float]:
        """The share of each swatch's outline that shows paper and not yarn."""
        size, shares = np.array([self.pose.width, self.pose.height]), {}
        u = (np.indices((20, 20)).reshape(2, -1).T + 0.5) / 20
        for swatch in found.layout.swatches:
            a, b, c, d = np.array(swatch.polygon)
            at = a + u[:, :1] * (b - a) + u[:, 1:] * (d - a) + u[:, :1] * u[:, 1:] * (a + c - b - d)
            mm = self.pose.back(at * size)
            shares[swatch.name] = float(1 - self.yarn[swatch.name].covers(mm).mean())
        return shares


def view_of(
    paper: np.ndarray, at: Pose, rng: np.random.Generator, gradient: float = 0.3
) -> np.ndarray:
    """The picture of a drawn sheet on a table, uint8 (h, w, 3)."""
    mm = at.millimetres() * PX_PER_MM
    sheet = cv2.remap(paper, mm - 0.5, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    h, w = paper.shape[:2]
    on = ((mm >= 0) & (mm <= (w, h))).all(axis=-1)[..., None]
    return photograph(np.where(on, sheet, table(at.height, at.width, rng)), rng, gradient)


def random_view(seed: int, long_side: int | None = None) -> View:
    """A view from any turn and up to 30° of tilt, up to a quarter of the markers hidden."""
    rng = np.random.default_rng(seed)
    sheet = mat("A4" if rng.random() < 0.5 else "Letter")
    tint = np.array([0.86, rng.uniform(0.82, 0.87), rng.uniform(0.76, 0.9)])
    paper = draw_sheet(sheet, tuple(tint))
    occupied = {name: bool(rng.random() < 0.6) for name in sheet.places}
    pieces = {}
    for name, yes in occupied.items():
        if yes and name == "reference":
            kind = str(rng.choice(["card", "steps", "chart"]))
            lay_reference(paper, sheet.places[name], kind, rng)
        elif yes:
            pieces[name] = lay_yarn(paper, sheet.places[name], rng)
    hidden = tuple(rng.permutation(list(sheet.markers))[: rng.integers(0, 3)].tolist())
    for marker in hidden:
        hide(paper, sheet.markers[marker], tint, rng)
    size = long_side or int(rng.choice([1600, 2016, 3008, 4032], p=[0.3, 0.4, 0.2, 0.1]))
    at = pose(sheet, rng, long_side=size)
    return View(view_of(paper, at, rng), at, sheet, occupied, hidden, pieces)


def picture_without_mat(seed: int, long_side: int | None = None) -> np.ndarray:
    """A table with yarn, charts, print and black squares of random modules, but no mat."""
    rng = np.random.default_rng(seed)
    size = long_side or int(rng.choice([1600, 2016]))
    h, w = size * 3 // 4, size
    scene = table(h, w, rng)
    for _ in range(rng.integers(1, 8)):
        bh, bw = (int(v) for v in rng.uniform(0.05, 0.5, 2) * h)
        y, x = int(rng.integers(0, h - bh)), int(rng.integers(0, w - bw))
        scene[y : y + bh, x : x + bw] = _thing(bh, bw, rng)
    return photograph(scene, rng)


def _thing(h: int, w: int, rng: np.random.Generator) -> np.ndarray:
    """Yarn, a paper with print, a chart, or a square of random modules in a black border."""
    kind = rng.integers(4)
    if kind == 0:
        return yarn(h, w, yarn_colour(rng), rng, scale=rng.uniform(3, 12))
    if kind == 1:
        paper = np.full((h, w, 3), 0.8, np.float32)
        _write(paper, [("bath 40 g warm, hold, rinse", 4, y) for y in range(12, h, 16)], 0.5)
        return paper
    if kind == 2:
        colours = rng.uniform(0.02, 0.9, (4, 6, 3)).astype(np.float32)
        return cv2.resize(colours, (w, h), interpolation=cv2.INTER_NEAREST)
    modules = np.full((9, 9), 0.85, np.float32)
    modules[1:8, 1:8] = 0.04
    modules[2:7, 2:7] = np.where(rng.random((5, 5)) < 0.5, 0.85, 0.04)
    side = min(h, w)
    square = np.full((h, w), 0.85, np.float32)
    square[:side, :side] = cv2.resize(modules, (side, side), interpolation=cv2.INTER_NEAREST)
    return np.repeat(square[..., None], 3, axis=-1)


# --- the long form --------------------------------------------------------------------------


def judge(seed: int, long_side: int | None = None) -> dict[str, object]:
    """One random view: were all six places found, how far off, and was their filling seen?"""
    view = random_view(seed, long_side)
    line: dict[str, object] = {"seed": seed, "paper": view.sheet.paper, "width": view.pose.width}
    try:
        found = find_mat(view.photo)
    except MarksError as error:
        return line | {"all": False, "error": str(error)}
    if found is None:
        return line | {"all": False, "error": "no marker"}
    errors = view.corner_errors_mm(found)
    wrong = [n for n, yes in found.occupied.items() if yes != view.occupied[n]]
    return line | {
        "all": len(errors) == 6 and found.mat.paper == view.sheet.paper,
        "worst_mm": max(errors.values()),
        "seen": len(found.seen),
        "residual_mm": found.residual_mm,
        "doubt_mm": found.doubt_mm,
        "warning": found.warning,
        "occupied_wrong": {n: view.occupied[n] for n in wrong},
        "paper_in_outline": max([0.0, *view.paper_in_outlines(found).values()])
        if not wrong
        else 0.0,
    }


def judge_without(seed: int, long_side: int | None = None) -> dict[str, object]:
    """One picture without a mat: what was made of it?"""
    try:
        found = find_mat(as_photo(picture_without_mat(seed, long_side)))
    except MarksError as error:
        return {"seed": seed, "mat": "refused", "error": str(error)}
    return {"seed": seed, "mat": "none" if found is None else "invented"}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--views", type=int, default=500)
    parser.add_argument("--without", type=int, default=0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--log", type=Path, required=True)
    args = parser.parse_args()
    with args.log.open("w") as log:

        def run(judge_one: Callable[[int], dict[str, object]], n: int) -> list[dict[str, object]]:
            lines = []
            for seed in range(args.seed, args.seed + n):
                lines.append(judge_one(seed))
                print(json.dumps(lines[-1]), file=log, flush=True)
            return lines

        views, others = run(judge, args.views), run(judge_without, args.without)
        worst = np.array([v.get("worst_mm", np.inf) for v in views], dtype=float)
        wrong = [w for v in views for w in v.get("occupied_wrong", {}).values()]
        sums = {
            "views": len(views),
            "all_places_found": sum(bool(v["all"]) for v in views),
            "all_within_0.5_mm": int(np.sum([v["all"] for v in views] & (worst <= 0.5)))
            if views
            else 0,
            "worst_mm_median_99_max": np.round(np.quantile(worst, [0.5, 0.99, 1.0]), 4).tolist()
            if views
            else [],
            "filled_place_called_empty": sum(bool(w) for w in wrong),
            "empty_place_called_filled": sum(not w for w in wrong),
            "most_paper_in_an_outline": max(
                [0.0, *(v.get("paper_in_outline", 0.0) for v in views)]
            ),
            "without": len(others),
            "invented": sum(o["mat"] == "invented" for o in others),
            "refused": sum(o["mat"] == "refused" for o in others),
        }
        print(json.dumps(sums), file=log)
    print(json.dumps(sums, indent=1))


if __name__ == "__main__":
    main()
