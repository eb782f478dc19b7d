"""Where the yarn lies in a photo that has no marks: one large textured thing unlike its surround.

All bounds, those inside the functions too, are our choice, made on rendered trial pictures and
public example photos of which no run is kept; none comes from a standard. What they find and
refuse is held in `tests/ingest/test_search.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.colour import xyz_to_lab
from ingest.flatareas import FLAT_LEVELS, Floats, WorkingCopy
from ingest.model import Array, SwatchRegion

#: The maps below are this many times smaller than the working copy.
STEP = 4
#: Least mean fine structure of yarn, as share of the coded level there (255 levels).
MIN_TEXTURE = 0.018
#: Share of the frame that a swatch may take.
AREA_SHARE = (0.02, 0.75)
#: Least share of the frame of the rectangle inside it, and least side as share of the long side.
RECTANGLE_SHARE, RECTANGLE_SIDE = 0.012, 0.06
#: Confidence left by how many sides of the frame an area touches: grounds touch several.
TOUCHING = (1.0, 0.55, 0.3, 0.0, 0.0)
#: In print and clutter flat pixels and hard edges have little between them; in yarn the steps
#: from pixel to pixel are of all sizes: least share between the two upper flat levels.
MIN_BETWEEN = 0.12
#: Largest share of pixels in one bin of 5 % of luminance, and largest standard deviation of ln Y.
MAX_ONE_TONE, MAX_SD = 0.20, 0.95
#: Least difference from the surround: CIELAB distance, or ratio of fine structure.
MIN_DELTA_E, MIN_TEXTURE_RATIO = 8.0, 2.0
#: Share that is cut off each side of the rectangle found inside the yarn.
INSET = 0.08
#: Confidence under which none is given out.
MIN_CONFIDENCE = 0.5


@dataclass(frozen=True, eq=False)
class Maps:
    """Small maps of the frame. ``texture``: (h, w) share; ``lab``: (h, w, 3), D65.

    ``close_texture``: the same over windows half as wide, to tell the edge of the yarn better.
    """

    texture: Floats
    close_texture: Floats
    lab: Floats
    free: Array  # bool: outside every reference


@dataclass(frozen=True, eq=False)
class Blob:
    """One coherent area on the small maps: ``mask`` bool (h, w), ``confidence`` 0..1."""

    mask: Array
    confidence: float


def find_swatch(
    copy: WorkingCopy, to_xyz: Array, taken: list[Array]
) -> tuple[SwatchRegion | None, bool]:
    """The largest clear piece of yarn, as a rectangle well inside it, or ``None``; and whether
    another piece about as large looks like yarn too.

    ``taken``: outlines (n, 2) of references in pixels of the copy.
    """
    maps = read_maps(copy, to_xyz, taken)
    blobs = [b for mask in _masks(maps) for b in _blobs(mask, maps)]
    blobs = [b for b in blobs if _grained(copy, b.mask)]
    if not blobs:
        return None, False
    best = max(blobs, key=lambda b: int(b.mask.sum()) * b.confidence)
    rivals = [
        b for b in blobs if not (b.mask & best.mask).any() and b.mask.sum() > 0.6 * best.mask.sum()
    ]
    confidence = best.confidence * (0.7 if rivals else 1.0)
    corners = rectangle_inside(_core(best.mask, maps))
    if corners is None or confidence < MIN_CONFIDENCE:
        return None, False
    region = SwatchRegion(
        "swatch", copy.fractions(corners * STEP), located="search", confidence=round(confidence, 3)
    )
    return region, bool(rivals)


def read_maps(copy: WorkingCopy, to_xyz: Array, taken: list[Array]) -> Maps:
    """Fine structure and colour of the frame, ``STEP`` times smaller than the copy.

    ``to_xyz``: (3, 3). ``taken``: outlines (n, 2) in pixels of the copy.
    """
    import cv2

    grey = cv2.cvtColor(copy.rgb, cv2.COLOR_RGB2GRAY)
    smooth = cv2.GaussianBlur(grey, (0, 0), 3)
    detail = cv2.absdiff(grey, smooth).astype(np.float32) / (smooth.astype(np.float32) + 16.0)
    size = (max(1, copy.width // STEP), max(1, copy.height // STEP))
    detail = cv2.resize(detail, size, interpolation=cv2.INTER_AREA)
    share, close_share = (cv2.boxFilter(detail, -1, (n, n)) for n in (5, 3))
    linear = cv2.resize(copy.linear, size, interpolation=cv2.INTER_AREA)
    lab = xyz_to_lab(cv2.GaussianBlur(linear, (0, 0), 2).astype(float) @ to_xyz.T)
    blocked = np.zeros(size[::-1], np.uint8)
    for outline in taken:
        cv2.fillConvexPoly(blocked, np.round(outline / STEP).astype(np.int32), 1)
    blocked = cv2.dilate(blocked, np.ones((9, 9), np.uint8))
    return Maps(share.astype(float), close_share.astype(float), lab, blocked == 0)


def _masks(maps: Maps) -> list[Array]:
    """Where yarn may be, by two cues: finely structured; unlike the rim of the picture."""
    rim = np.ones(maps.texture.shape, bool)
    edge = max(2, int(0.04 * max(rim.shape)))
    rim[edge:-edge, edge:-edge] = False
    usual = float(np.median(maps.texture[rim & maps.free]))
    fine = maps.texture > max(MIN_TEXTURE, MIN_TEXTURE_RATIO * usual)
    ground = np.median(maps.lab[rim & maps.free], axis=0)
    spread = np.median(np.linalg.norm(maps.lab[rim & maps.free] - ground, axis=1))
    other = np.linalg.norm(maps.lab - ground, axis=2) > max(2.5 * spread, 10.0)
    return [fine & maps.free, other & maps.free]


def _blobs(mask: Array, maps: Maps) -> list[Blob]:
    """Coherent areas of a mask that pass as yarn."""
    import cv2

    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9))
    closed = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, kernel[::2, ::2].copy())
    opened = cv2.morphologyEx(closed, cv2.MORPH_OPEN, kernel)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(opened)
    found = []
    for k in range(1, count):
        share = stats[k, cv2.CC_STAT_AREA] / mask.size
        if not AREA_SHARE[0] <= share <= AREA_SHARE[1]:
            continue
        x, y, w, h = stats[k, :4]
        touched = (x <= 1) + (y <= 1) + (x + w >= mask.shape[1] - 1) + (y + h >= mask.shape[0] - 1)
        blob = labels == k
        confidence = _yarn_confidence(blob, maps) * TOUCHING[int(touched)]
        if confidence > 0:
            found.append(Blob(blob, float(confidence)))
    return found


def _yarn_confidence(blob: Array, maps: Maps) -> float:
    """0..1 by how structured an area is all over and how unlike its surround."""
    import cv2

    inner = cv2.erode(blob.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    grown = cv2.dilate(blob.astype(np.uint8), np.ones((15, 15), np.uint8)) > 0
    near = cv2.dilate(blob.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    ring = grown & ~near & maps.free
    if inner.sum() < 50 or ring.sum() < 20:
        return 0.0
    texture = maps.texture[inner]
    # Texture must be everywhere: print or clutter has flat parts between edges.
    even = float((texture > MIN_TEXTURE).mean())
    if even < 0.8:
        return 0.0
    delta_e = float(np.linalg.norm(np.median(maps.lab[inner], 0) - np.median(maps.lab[ring], 0)))
    ratio = float(np.median(texture) / max(np.median(maps.texture[ring]), 1e-3))
    unlike = max(delta_e / MIN_DELTA_E - 1.0, ratio / MIN_TEXTURE_RATIO - 1.0)
    return 0.4 + 0.6 * min(1.0, unlike / 1.5) * (even - 0.6) / 0.4


def _core(blob: Array, maps: Maps) -> Array:
    """The part of an area that is yarn beyond doubt: fine structure close by, its rim taken off."""
    import cv2

    yarn = (blob & (maps.close_texture > 0.6 * MIN_TEXTURE)).astype(np.uint8)
    filled = cv2.morphologyEx(yarn, cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    padded = cv2.copyMakeBorder(filled, 3, 3, 3, 3, cv2.BORDER_CONSTANT, value=0)
    return np.asarray(cv2.erode(padded, np.ones((7, 7), np.uint8))[3:-3, 3:-3] > 0)


def _grained(copy: WorkingCopy, blob: Array) -> bool:
    """Whether the pixels of an area vary as yarn does, not as flat pieces with edges do."""
    import cv2

    inner = cv2.erode(blob.astype(np.uint8), np.ones((5, 5), np.uint8))
    whole = cv2.resize(inner, (copy.width, copy.height), interpolation=cv2.INTER_NEAREST) > 0
    if whole.sum() < 500:
        return False
    gradient = copy.gradient[whole]
    flat, nearly = (float((gradient < level + copy.noise).mean()) for level in FLAT_LEVELS[1:])
    log_y = np.log(np.maximum(copy.luminance[whole], 1e-4))
    tones = np.bincount(((log_y - log_y.min()) / 0.05).astype(int))
    pieces = flat > 0.15 and nearly - flat < MIN_BETWEEN
    return not pieces and tones.max() < MAX_ONE_TONE * log_y.size and float(log_y.std()) < MAX_SD


def rectangle_inside(mask: Array) -> Floats | None:
    """(4, 2) corners, clockwise, of a rectangle inside a bool mask along its main direction."""
    import cv2

    contours, _ = cv2.findContours(
        mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    if not contours:
        return None
    (cx, cy), _, angle = cv2.minAreaRect(max(contours, key=cv2.contourArea))
    size = int(np.ceil(np.hypot(*mask.shape))) + 4
    turn = cv2.getRotationMatrix2D((cx, cy), angle, 1.0)
    turn[:, 2] += (size / 2 - cx, size / 2 - cy)
    level = cv2.warpAffine(mask.astype(np.uint8), turn, (size, size), flags=cv2.INTER_NEAREST)
    depth = cv2.distanceTransform(level, cv2.DIST_L2, 3)
    if depth.max() < 4:
        return None
    y, x = np.unravel_index(int(depth.argmax()), depth.shape)
    r = int(depth.max() / np.sqrt(2))
    box = _grow_box(level, [int(x) - r, int(y) - r, int(x) + r, int(y) + r])
    x0, y0, x1, y1 = box
    if (x1 - x0) * (y1 - y0) < RECTANGLE_SHARE * mask.size:
        return None
    if min(x1 - x0, y1 - y0) < RECTANGLE_SIDE * max(mask.shape):
        return None
    dx, dy = INSET * (x1 - x0) + 1.5, INSET * (y1 - y0) + 1.5
    box_corners = np.array(
        [[x0 + dx, y0 + dy], [x1 - dx, y0 + dy], [x1 - dx, y1 - dy], [x0 + dx, y1 - dy]]
    )
    back = cv2.invertAffineTransform(turn)
    return np.asarray(box_corners @ back[:, :2].T + back[:, 2])


def _grow_box(level: Array, box: list[int]) -> list[int]:
    """The box with each side moved out while the new line lies in the mask to 97 %."""
    x0, y0, x1, y1 = box
    going = [True] * 4
    while any(going):
        lines = (level[y0:y1, x0 - 1], level[y0 - 1, x0:x1], level[y0:y1, x1], level[y1, x0:x1])
        for side, line in enumerate(lines):
            going[side] = going[side] and line.size > 0 and float(line.mean()) > 0.97
        x0, y0, x1, y1 = x0 - going[0], y0 - going[1], x1 + going[2], y1 + going[3]
    return [x0, y0, x1, y1]
