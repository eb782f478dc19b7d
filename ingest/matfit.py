"""From a photo's pixels to where the capture mat's sheet lies: markers, corners, one fit.

Coordinates: pixels count from the centre of the first one (as cv2 does), fractions from its
outer corner, and "units" from the picture's centre with half its diagonal as 1.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ingest.errors import MarksError
from ingest.matsheet import PAPER_MM, Mat, dictionary, mat
from ingest.model import Array, Photo

# A marker with a corner farther than this from where the rest puts it is left out: our choice.
OUTLIER_MM = 2.0
BEND_SD = 0.02  # radial distortion that a phone leaves at the picture's corner: our guess
CORNER_PX = 0.3  # floor of a corner's own error in the doubt: about three times what views showed


def eight_bits(values: Array) -> Array:
    """A contiguous uint8 copy of coded uint8 or uint16 values."""
    if values.dtype == np.uint16:
        values = values >> 8
    return np.ascontiguousarray(values, dtype=np.uint8)


def detect(grey: Array) -> list[tuple[int, Array]]:
    """Markers of any mat in uint8 (h, w): id and (4, 2) corners in pixels."""
    import cv2

    settings = cv2.aruco.DetectorParameters()
    # Two grains of threshold see 25 px markers as well as blurred large ones, at half the time.
    settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshWinSizeStep = 9, 14
    settings.maxErroneousBitsInBorderRate = 0.1  # yarn's texture must not pass for a border
    quads, ids, _ = cv2.aruco.ArucoDetector(dictionary(), settings).detectMarkers(grey)
    known = {i for paper in PAPER_MM for i in mat(paper).markers}
    names = [] if ids is None else [int(i) for i in ids.ravel()]
    return [(i, q[0].astype(float)) for i, q in zip(names, quads, strict=False) if i in known]


def one_sheet(found: list[tuple[int, Array]]) -> tuple[Mat, dict[int, Array]]:
    """The sheet that most markers name, and its markers' corners (4, 2) in pixels, by id.

    Raises :class:`MarksError` if there are two sheets.
    """
    names = [i for i, _ in found]
    counts = {paper: sum(i in mat(paper).markers for i in names) for paper in PAPER_MM}
    if len(set(names)) < len(names) or min(counts.values()) > 1:
        raise MarksError("Two capture mats are in the picture: photograph one at a time.")
    sheet = mat(max(PAPER_MM, key=lambda paper: counts[paper]))
    return sheet, {i: c for i, c in found if i in sheet.markers}


def refine(photo: Photo, corners: Array) -> Array:
    """(4, 2) corners of one marker to about a tenth of a pixel, as its four edges meet.

    Reads only the marker's own window of the full picture, in linear light: in coded values a
    blurred edge lies nearer to the dark side. Corners in pixels, in and out; what comes in comes
    back where an edge cannot be seen.
    """
    size = int(np.ptp(corners, axis=0).max())
    x, y = np.maximum(corners.min(axis=0).astype(int) - size // 4 - 4, 0)
    rows, columns = slice(y, y + 2 * size + 8), slice(x, x + 2 * size + 8)
    light = photo.encoding.curve[:, 1][photo.pixels[rows, columns, 1]].astype(np.float32)
    offset = np.array([x, y], dtype=float)
    refined = corners - offset
    for reach in (0.7, 0.5):  # of a module: in the black border, and in the white around it
        lines = _edges(light, refined, reach)
        if lines is None:
            return corners
        meet = np.cross(lines[[3, 0, 1, 2]], lines)
        refined = meet[:, :2] / meet[:, 2:]
    refined = refined + offset
    moved = np.hypot(*(refined - corners).T)
    return refined if moved.max() < size / 7 else corners


def _edges(light: Array, corners: Array, reach: float) -> Array | None:
    """(4, 3) lines a x + b y + c = 0 of a marker's edges, or ``None`` if one cannot be seen.

    Where each of 20 profiles across an edge passes from dark to light is its mean position of
    change, so that symmetric blur does not move it.
    """
    import cv2

    ends = np.roll(corners, -1, axis=0)
    side = np.maximum(np.hypot(*(ends - corners).T), 1e-9)[:, None]
    along = (ends - corners) / side
    out = np.stack([along[:, 1], -along[:, 0]], axis=1)  # corners run clockwise, y down
    t = np.linspace(-1.0, 1.0, 25) * max(reach * float(side.mean()) / 7, 2.0)
    i = np.linspace(-0.38, 0.38, 20)
    base = ((corners + ends) / 2)[:, None] + (i * side)[..., None] * along[:, None]
    at = base[:, :, None] + t[:, None] * out[:, None, None]
    flat = at.reshape(80, 25, 2).astype(np.float32)
    profiles = cv2.remap(light, flat, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    profiles = profiles.reshape(4, 20, 25)
    dark, bright = profiles[..., :5].mean(axis=-1), profiles[..., -5:].mean(axis=-1)
    rise = np.maximum(bright - dark, 1e-6)
    share = np.clip((profiles - dark[..., None]) / rise[..., None], -0.2, 1.2)
    offset = t[-1] - (t[1] - t[0]) * (share.sum(axis=-1) - 0.5)
    weight = (rise > 0.5 * np.median(rise)) & (np.abs(offset) < t[-1])
    if weight.sum(axis=1).min() < 6:
        return None
    for _ in range(3):  # profiles over a stray thread or the print's dirt drop out
        level, slope = _line(i, offset, weight)
        off = np.abs(offset - level - slope * i)
        weight = weight & (off <= np.maximum(3.0 * np.median(off, axis=1, keepdims=True), 0.1))
    first = (corners + ends) / 2 + level * out
    way = side * along + slope * out
    c = way[:, 1] * first[:, 0] - way[:, 0] * first[:, 1]
    return np.stack([-way[:, 1], way[:, 0], c], axis=1)


def _line(i: Array, values: Array, weight: Array) -> tuple[Array, Array]:
    """(rows, 1) level and slope of the weighted lines through (rows, n) values at (n,) i."""
    w = weight / np.maximum(weight.sum(axis=1, keepdims=True), 1)
    mean_i, mean_v = (w * i).sum(1, keepdims=True), (w * values).sum(1, keepdims=True)
    spread = np.maximum((w * (i - mean_i) ** 2).sum(1, keepdims=True), 1e-9)
    slope = (w * (i - mean_i) * (values - mean_v)).sum(1, keepdims=True) / spread
    return mean_v - slope * mean_i, slope


@dataclass(frozen=True, eq=False)
class Camera:
    """A homography from the print's nominal millimetres to units, then one radial term.

    ``p``: (9,) the homography's first eight values on centred decimetres, and the bend.
    """

    sheet: Mat
    aspect: float  # width over height of the picture
    p: Array

    @property
    def bend(self) -> float:
        return float(self.p[8])

    @property
    def homography(self) -> Array:
        """(3, 3) nominal millimetres to fractions, without the bend."""
        ours = np.append(self.p[:8], 1.0).reshape(3, 3)
        return np.asarray(np.linalg.inv(to_units(self.aspect)) @ ours @ _decimetres(self.sheet))

    def place(self, mm: Array) -> Array:
        """(n, 2) nominal millimetres to units."""
        ours = np.append(self.p[:8], 1.0).reshape(3, 3)
        return bent(through(ours @ _decimetres(self.sheet), mm), self.bend)

    def slopes(self, mm: Array) -> Array:
        """(n, 2, 9) derivative of :meth:`place` by the parameters."""
        step = 1e-6
        ahead = [self._nudged(i, step).place(mm) for i in range(9)]
        back = [self._nudged(i, -step).place(mm) for i in range(9)]
        return np.stack([(a - b) / (2 * step) for a, b in zip(ahead, back, strict=True)], axis=-1)

    def mm_per_unit(self, mm: Array) -> Array:
        """(n,) nominal millimetres per unit, geometric mean over directions."""
        right, down = np.eye(2)
        dx, dy = self.place(mm + right) - self.place(mm), self.place(mm + down) - self.place(mm)
        return np.asarray(1.0 / np.sqrt(np.abs(dx[:, 0] * dy[:, 1] - dx[:, 1] * dy[:, 0])))

    def _nudged(self, i: int, step: float) -> Camera:
        return Camera(self.sheet, self.aspect, self.p + step * (np.arange(9) == i))


@dataclass(frozen=True, eq=False)
class Fit:
    """``covariance``: (9, 9) of the camera's parameters; ``residual_mm``: root mean square
    distance of the used markers' corners from the fit, nominal millimetres."""

    camera: Camera
    covariance: Array
    residual_mm: float
    used: tuple[int, ...]
    doubtful: tuple[int, ...]

    def doubt_mm(self, mm: Array) -> Array:
        """(n,) standard uncertainty of where the fit puts points, nominal millimetres."""
        J = self.camera.slopes(mm)
        spread = np.einsum("nik,kl,nil->n", J, self.covariance, J)
        return np.asarray(np.sqrt(spread / 2.0) * self.camera.mm_per_unit(mm))


def to_units(aspect: float) -> Array:
    """(3, 3) fractions to units, of a picture of this width over height."""
    unit = 0.5 * math.hypot(aspect, 1.0)
    x, y = aspect / unit, 1.0 / unit
    return np.array([[x, 0.0, -x / 2], [0.0, y, -y / 2], [0.0, 0.0, 1.0]])


def _decimetres(sheet: Mat) -> Array:
    """(3, 3) millimetres to decimetres about the sheet's centre: numbers near 1 for the fit."""
    return np.array(
        [[0.01, 0.0, -sheet.width / 200], [0.0, 0.01, -sheet.height / 200], [0.0, 0.0, 1.0]]
    )


def through(matrix: Array, points: Array) -> Array:
    """(n, 2) points through a (3, 3) homography."""
    out = points @ matrix[:, :2].T + matrix[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(out[:, :2] / out[:, 2:])


def bent(units: Array, bend: float) -> Array:
    """(n, 2) units with the lens's radial shift of ``bend`` at the picture's corner."""
    return np.asarray(units * (1.0 + bend * np.sum(units**2, axis=1, keepdims=True)))


def fit(sheet: Mat, corners: Mapping[int, Array], width: int, height: int) -> Fit | None:
    """Place ``sheet`` by its markers' (4, 2) corners in pixels; ``None`` under two that agree.

    Markers that lie off what the others say (a fold, a mirror) are named doubtful and left out.
    """
    import cv2

    ids = np.array(sorted(corners))
    mm = np.concatenate([sheet.markers[i].corners for i in ids])
    fractions = (np.concatenate([corners[i] for i in ids]) + 0.5) / (width, height)
    seen = through(to_units(width / height), fractions)
    back, inside = cv2.findHomography(seen, mm, cv2.RANSAC, OUTLIER_MM)
    if back is None:
        return None
    first = np.linalg.inv(_decimetres(sheet) @ back)
    camera = Camera(sheet, width / height, np.append(first.ravel()[:8] / first[2, 2], 0.0))
    good = np.repeat(inside.reshape(-1, 4).sum(axis=1) >= 3, 4)
    floor = CORNER_PX / math.hypot(width / 2, height / 2)
    for _ in range(2):
        if good.sum() < 8:
            return None
        camera, covariance = _least_squares(camera, mm[good], seen[good], floor)
        off = np.hypot(*(camera.place(mm) - seen).T) * camera.mm_per_unit(mm)
        good = np.repeat((off.reshape(-1, 4) <= OUTLIER_MM).all(axis=1), 4)
    if good.sum() < 8:
        return None
    residual = float(np.sqrt(np.mean(off[good] ** 2)))
    used = good[::4]
    return Fit(camera, covariance, residual, tuple(ids[used].tolist()), tuple(ids[~used].tolist()))


def _least_squares(camera: Camera, mm: Array, seen: Array, floor: float) -> tuple[Camera, Array]:
    """Gauss-Newton with Huber weights; the bend is held near 0 by ``BEND_SD``.

    Returns the camera and the (9, 9) covariance. ``floor``: least corner error, units.
    """
    hold = np.zeros((9, 9))
    hold[8, 8] = BEND_SD**-2
    for _ in range(10):
        off = seen - camera.place(mm)
        size = np.hypot(*off.T)
        scale = max(1.5 * float(np.median(size)), floor)
        weights = np.minimum(1.0, 2.0 * scale / np.maximum(size, 1e-12))
        freedom = max(2 * len(mm) - 8, 4)
        variance = max(float(np.sum(weights * size**2)) / freedom, floor**2)
        J = camera.slopes(mm)
        normal = np.einsum("nik,n,nil->kl", J, weights, J) / variance + hold
        pull = np.einsum("nik,n,ni->k", J, weights, off) / variance - hold @ camera.p
        step = np.linalg.solve(normal, pull)
        camera = Camera(camera.sheet, camera.aspect, camera.p + step)
        if np.abs(step).max() < 1e-9:
            break
    return camera, np.linalg.inv(normal)
