"""What lies behind the yarn, told apart from yarn only where that is safe.

A gap through which the table shows is not yarn; a shadow between strands is. The rule masks
pixels only where the surround of the region is even and of another colour than the yarn, and
only pixels of that colour; where in doubt, nothing is masked.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ingest.model import Array, Photo, Polygon
from ingest.raster import bounding_box, darkest, polygon_mask, region_pixels, shrink_polygon

Floats = NDArray[np.float64]

#: The ring that is looked at lies between the outline scaled by these. Our choice.
RING = (1.12, 1.35)
#: Distance in (ln R/G, ln B/G) from which a surround is of another colour than the yarn. Our
#: choice.
APART = 0.30
#: Spread of the surround in the same measure, and in ln Y, up to which it is even. Our choice.
EVEN_COLOUR, EVEN_LIGHT = 0.06, 0.20
#: Light of a gap against the open surround: shaded by the yarn, never brighter by much. Our choice.
DARKEST, BRIGHTEST = 0.35, 1.25
#: Gaps show the surround about as light as in the open, within this much of ln Y, and with no
#: more scatter than this: yarn of the surround's tint is shaded by its strands. Our choice.
OPEN_LIGHT, OPEN_SCATTER = 0.35, 0.04
#: Share of a region that may be gaps; with more, the marks are wrong. Our choice.
MOST_GAPS = 0.4
#: Linear light under which the ratio of channels is mostly noise. Our choice.
FAINT = 0.02


@dataclass(frozen=True, eq=False)
class Background:
    """An even surround: ``ratio`` (2,), its (ln R/G, ln B/G), and ``yarn_ratio``, the yarn's.

    ``light``: its green channel, linear, by the curve that was given. ``share``: of the region's
    pixels that look like it. ``open``: they are as light and as even as the surround itself, so
    they are gaps; otherwise they may be undyed yarn of that tint.
    """

    ratio: Floats
    yarn_ratio: Floats
    light: float
    share: float = 0.0
    open: bool = False

    def mask(self, linear: Array) -> Array:
        """(h, w) bool of (h, w, 3) linear light: pixels that show the surround."""
        axis = self.ratio - self.yarn_ratio
        length = float(np.hypot(*axis))
        safe = np.maximum(linear, FAINT / 4.0)
        u = np.log(safe[..., 0] / safe[..., 1]) - self.ratio[0]
        v = np.log(safe[..., 2] / safe[..., 1]) - self.ratio[1]
        near = np.hypot(u, v) < min(0.25 * length, 3.0 * EVEN_COLOUR)
        light = linear[..., 1] / self.light
        return np.asarray(
            near & (light > DARKEST) & (light < BRIGHTEST) & (darkest(linear) > FAINT)
        )


def find_background(photo: Photo, polygon: Polygon, curve: Array) -> Background | None:
    """The even surround of a region, or ``None`` where yarn and surround cannot be told apart.

    ``curve``: (levels, 3), coded to corrected linear light.
    """
    ring = _ring_pixels(photo, polygon)
    if len(ring) < 200:
        return None
    ring_light = _linear(ring, curve)
    yarn_light = _linear(region_pixels(photo, polygon, most=20_000), curve)
    yarn_light = yarn_light[darkest(yarn_light) > FAINT]
    if len(yarn_light) < 200 or float(np.median(darkest(ring_light))) < FAINT:
        return None
    ring_ratio, yarn_ratio = _ratios(ring_light), _ratios(yarn_light)
    ring_mid, yarn_mid = np.median(ring_ratio, axis=0), np.median(yarn_ratio, axis=0)
    spread = np.median(np.abs(ring_ratio - ring_mid), axis=0).max()
    light = ring_light[:, 1]
    light_spread = float(np.median(np.abs(np.log(np.maximum(light, FAINT) / np.median(light)))))
    even = spread < EVEN_COLOUR and light_spread < EVEN_LIGHT
    if not even or float(np.hypot(*(ring_mid - yarn_mid))) < APART:
        return None
    found = Background(ring_mid, yarn_mid, float(np.median(light)))
    like = found.mask(yarn_light[:, None, :])[:, 0]
    if not like.any():
        return found
    relative = np.log(yarn_light[like, 1] / found.light)
    middle = float(np.median(relative))
    scatter = float(np.median(np.abs(relative - middle)))
    as_light = abs(middle) < OPEN_LIGHT and scatter < max(2.0 * light_spread, OPEN_SCATTER)
    share = float(like.mean())
    return replace(found, share=share, open=as_light and share < MOST_GAPS)


def _ring_pixels(photo: Photo, polygon: Polygon) -> Array:
    outer = tuple(
        (min(max(x, 0.0), 1.0), min(max(y, 0.0), 1.0)) for x, y in shrink_polygon(polygon, RING[1])
    )
    box = bounding_box(photo, outer)
    ring = polygon_mask(photo, outer, box) & ~polygon_mask(
        photo, shrink_polygon(polygon, RING[0]), box
    )
    crop = photo.pixels[box.y0 : box.y1, box.x0 : box.x1]
    step = max(int(np.sqrt(ring.size / 40_000)), 1)
    return np.asarray(crop[::step, ::step][ring[::step, ::step]])


def _linear(codes: Array, curve: Array) -> Floats:
    return np.stack([curve[:, c][codes[:, c]] for c in range(3)], axis=1).astype(float)


def _ratios(light: Floats) -> Floats:
    safe = np.maximum(light, FAINT / 4.0)
    return np.stack([np.log(safe[:, 0] / safe[:, 1]), np.log(safe[:, 2] / safe[:, 1])], axis=1)
