"""A small working copy of a photo, and the flat four-sided areas seen in it.

The search for charts, cards and swatches starts here. Thresholds are our choice, made on rendered
trial pictures and public example photos of charts of which no run is kept; none comes from a
standard.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.model import Array, Photo, Point

Floats = NDArray[np.float64]

#: Long side of the working copy.
LONG_SIDE_PX = 1000
#: Least share of a region's own four-sided outline that it must fill.
MIN_FILL = 0.86
#: Gradients (in coded levels of 255, noise taken off) under which a pixel counts as flat.
FLAT_LEVELS = (4.0, 7.0, 14.0)
HALF_LEVEL = 10.0
#: Pixels by which the outline of a flat area lies inside its true edge in the working copy.
INSET_PX = 2.0
#: The corner after and before each of four: a plain index is much faster than rolling.
_NEXT, _BEFORE = [1, 2, 3, 0], [3, 0, 1, 2]


@dataclass(frozen=True, eq=False)
class WorkingCopy:
    """``rgb``: (h, w, 3) uint8 coded. ``linear``: (h, w, 3) float32 linear light of the encoding.

    ``gradient``: (h, w) uint8, the largest channel's local range; ``noise``: the level of it that
    is taken for noise. ``luminance``: (h, w), linear @ ``luminance_weights``. ``size``: full
    (width, height).
    """

    rgb: Array
    linear: Array
    luminance: Array
    luminance_weights: Array
    gradient: Array
    noise: float
    size: tuple[int, int]

    @property
    def height(self) -> int:
        return int(self.rgb.shape[0])

    @property
    def width(self) -> int:
        return int(self.rgb.shape[1])

    def fractions(self, points: Array) -> tuple[Point, ...]:
        """Points (n, 2) in pixels of the copy (edges at whole numbers) as fractions."""
        scaled = np.asarray(points, dtype=float) / (self.width, self.height)
        return tuple((float(x), float(y)) for x, y in scaled)


@dataclass(frozen=True, eq=False)
class Quad:
    """A flat four-sided area. ``corners``: (4, 2) pixels, clockwise as seen, edges moved out."""

    corners: Floats
    area: float
    fill: float
    level: float

    @property
    def centre(self) -> Floats:
        return np.asarray(self.corners.mean(axis=0))

    @property
    def sides(self) -> Floats:
        """Lengths of the four sides, starting at the first corner."""
        return np.asarray(np.linalg.norm(self.corners[_NEXT] - self.corners, axis=1))


def shrink(pixels: Array, long_side: int) -> Array:
    """uint8 RGB copy of coded ``pixels`` with at most ``long_side`` pixels on the long side.

    Works through flipped and transposed views without copying the full picture.
    """
    import cv2

    flips = tuple(slice(None, None, -1 if step < 0 else 1) for step in pixels.strides)
    view = pixels[flips]
    turned = view.strides[0] < view.strides[1]
    if turned:
        view = view.transpose(1, 0, 2)
    height, width = view.shape[:2]
    scale = min(1.0, long_side / max(height, width))
    target = (max(1, round(width * scale)), max(1, round(height * scale)))
    small = cv2.resize(np.ascontiguousarray(view), target, interpolation=cv2.INTER_AREA)
    if small.dtype == np.uint16:
        small = (small >> 8).astype(np.uint8)
    if turned:
        small = small.transpose(1, 0, 2)
    return np.ascontiguousarray(small[flips])


def working_copy(photo: Photo, long_side: int = LONG_SIDE_PX) -> WorkingCopy:
    """The small copy that all of the search reads."""
    import cv2

    rgb = shrink(photo.pixels, long_side)
    codes = photo.encoding.curve
    table = codes if len(codes) == 256 else codes[np.arange(256) * 257]
    linear = cv2.LUT(rgb, np.ascontiguousarray(table[None], dtype=np.float32))
    weights = photo.encoding.to_xyz[1].astype(np.float32)
    gradient = local_range(rgb)
    # A fifth of any picture is plain enough to show the noise; more than 8 is texture.
    noise = min(8.0, float(np.percentile(gradient[::3, ::3], 20)))
    size = (photo.width, photo.height)
    luminance = np.asarray(cv2.transform(linear, weights[None]))
    return WorkingCopy(rgb, linear, luminance, weights, gradient, noise, size)


def clockwise(corners: Array) -> Floats:
    """Four corners (4, 2) in clockwise order as seen (y down), starting anywhere."""
    points = np.asarray(corners, dtype=float)
    centre = points.mean(axis=0)
    order = np.argsort(np.arctan2(points[:, 1] - centre[1], points[:, 0] - centre[0]))
    return np.asarray(points[order])


def move_sides_out(corners: Array, distance: float) -> Floats:
    """A clockwise convex quadrilateral (4, 2) with every side moved out by ``distance`` pixels."""
    p = np.asarray(corners, dtype=float)
    along = p[_NEXT] - p
    along = along / np.maximum(np.hypot(along[:, 0], along[:, 1])[:, None], 1e-9)
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1)  # outward where clockwise, y down
    before = normal[_BEFORE]
    turn = before[:, 0] * normal[:, 1] - before[:, 1] * normal[:, 0]
    if np.abs(turn).min() < 0.05:
        return p
    return np.asarray(
        p + distance * (before + normal) / (1.0 + (before * normal).sum(axis=1))[:, None]
    )


def places_inside(copy: WorkingCopy, corners: Floats, count: int = 48) -> tuple[Array, Array]:
    """Columns and rows (count, count) of an even grid over the middle 84 % of a quadrilateral
    (4, 2), in pixels of the copy."""
    t = np.linspace(0.08, 0.92, count)
    u, v = np.meshgrid(t, t)
    weights = np.stack([(1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v], axis=-1)
    points = weights @ corners
    x = np.clip(points[..., 0], 0, copy.width - 1).astype(int)
    y = np.clip(points[..., 1], 0, copy.height - 1).astype(int)
    return x, y


def in_any(point: Floats, outlines: list[Array]) -> bool:
    """Whether a point lies in one of some outlines (n, 2)."""
    import cv2

    at = (float(point[0]), float(point[1]))
    return any(cv2.pointPolygonTest(o.astype(np.float32), at, False) >= 0 for o in outlines)


def flat_mask(copy: WorkingCopy, level: float) -> Array:
    """(h, w) uint8, 1 where the picture is flat at ``level``, one pixel taken off at the rim."""
    return flat_where(copy.gradient, level + copy.noise)


def flat_where(gradient: Array, limit: float) -> Array:
    """(h, w) uint8, 1 where ``gradient`` is under ``limit``, one pixel taken off at the rim."""
    import cv2

    flat = cv2.compare(gradient, float(np.ceil(limit)), cv2.CMP_LT)
    return np.asarray(cv2.erode(flat, np.ones((3, 3), np.uint8))) & 1


def local_range(rgb: Array) -> Array:
    """(h, w) uint8: largest channel's range over 3 x 3 pixels of the lightly smoothed picture."""
    import cv2

    smooth = cv2.GaussianBlur(rgb, (3, 3), 0)
    ranges = cv2.morphologyEx(smooth, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    red, green, blue = cv2.split(ranges)
    return np.asarray(cv2.max(cv2.max(red, green), blue))


def outline_of_flat_area(copy: WorkingCopy, ring: Floats, level: float) -> Array | None:
    """Outline of the one flat area under most of a closed line of points, or ``None``.

    ``ring``: (n, 2) corners in pixels of the copy.
    """
    import cv2

    _, labels = cv2.connectedComponents(flat_mask(copy, level))
    t = np.linspace(0, 1, 40, endpoint=False)[:, None]
    walk = np.concatenate(
        [a + t * (b - a) for a, b in zip(ring, np.roll(ring, -1, 0), strict=True)]
    )
    x = np.clip(walk[:, 0], 0, copy.width - 1).astype(int)
    y = np.clip(walk[:, 1], 0, copy.height - 1).astype(int)
    under = labels[y, x]
    counts = np.bincount(under[under > 0], minlength=1)
    if counts.max() < 0.5 * len(walk):
        return None
    contours, _ = cv2.findContours(
        (labels == counts.argmax()).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    return np.asarray(max(contours, key=cv2.contourArea))


def flat_quads(copy: WorkingCopy, min_area: float = 60.0, max_share: float = 0.45) -> list[Quad]:
    """Every flat area with a four-sided outline, of ``min_area`` pixels to a share of the frame.

    Looked for at three levels of flatness, and once at half the size, where the edges of a blurred
    picture are steeper.
    """
    import cv2

    limit = max_share * copy.width * copy.height
    found: list[Quad] = []
    for level in FLAT_LEVELS:
        found.extend(_quads_in(flat_mask(copy, level), 1.0, min_area, limit, level))
    half = cv2.resize(copy.rgb, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    flat = flat_where(local_range(half), HALF_LEVEL + 0.5 * copy.noise)
    found.extend(_quads_in(flat, 2.0, 4.0 * min_area, limit, HALF_LEVEL))
    return _without_doubles(found)


def _quads_in(
    flat: Array, scale: float, min_area: float, max_area: float, level: float
) -> list[Quad]:
    """The four-sided areas of one mask; ``scale``: pixels of the copy to one of the mask."""
    import cv2

    contours, tree = cv2.findContours(flat, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    if tree is None:
        return []
    # Without a parent: the outline of an area, not of a hole in one.
    outer = [c for c, links in zip(contours, tree[0], strict=True) if links[3] < 0]
    return [
        quad
        for contour in outer
        if len(contour) >= 4 and (quad := quad_of(contour, scale, (min_area, max_area), level))
    ]


def _without_doubles(quads: list[Quad]) -> list[Quad]:
    """Of quads with nearly the same corners, the best filled one."""
    if not quads:
        return []
    ranked = sorted(quads, key=lambda q: -q.fill)
    corners = np.array([q.corners for q in ranked])
    near = np.array([max(4.0, 0.05 * float(np.sqrt(q.area))) for q in ranked])
    kept: list[int] = []
    for i, quad in enumerate(corners):  # one by one: all pairs of thousands would fill the memory
        there = corners[kept]
        first = np.abs(there - quad[0]).max(axis=2).min(axis=1, initial=np.inf) < near[i]
        # Largest distance from a corner of this one to the nearest corner of the other.
        apart = np.abs(there[first][:, None] - quad[:, None]).max(axis=3).min(axis=2).max(axis=1)
        if not (apart < near[i]).any():
            kept.append(i)
    return [ranked[i] for i in kept]


def quad_of(
    contour: Array, scale: float, area_px: tuple[float, float], level: float
) -> Quad | None:
    """The four-sided outline of one contour (n, 1, 2), or ``None`` where it has another shape or
    size. ``scale``: pixels of the copy for one of the contour's; ``area_px``: least and most area,
    in the copy's."""
    import cv2

    area = float(cv2.contourArea(contour))
    if not area_px[0] <= area * scale**2 <= area_px[1]:
        return None
    hull = cv2.convexHull(contour)
    if area < MIN_FILL * cv2.contourArea(hull) or len(hull) < 4:
        return None
    around = cv2.approxPolyN(hull, 4, ensure_convex=True).reshape(-1, 2)
    if len(around) != 4:
        return None
    corners = clockwise(around.astype(float) + 0.5)
    whole = float(cv2.contourArea(corners.astype(np.float32)))
    if area < MIN_FILL * whole or not _angles_plausible(corners):
        return None
    grown = move_sides_out(corners, INSET_PX) * scale
    return Quad(grown, float(cv2.contourArea(grown.astype(np.float32))), area / whole, level)


def _angles_plausible(corners: Floats) -> bool:
    """Whether all angles lie between 40 and 140 degrees: a rectangle seen not too aslant."""
    along = corners[_NEXT] - corners
    length = np.hypot(along[:, 0], along[:, 1])
    if length.min() < 4.0:
        return False
    cosine = (along * along[_BEFORE]).sum(axis=1) / (length * length[_BEFORE])
    return bool(np.abs(cosine).max() < 0.77)
