"""Core and halo of solid yarn: whether a strand's rim took more dye than its crest, or less.

A rim is darker than a crest because light reaches it less, and light that bounces there is
filtered by the dye again. So only the tint counts that is left when light is taken out by the
curve that the swatch shows along its strands, where neither dye nor place on the strand changes.
Dye that changes from strand to strand passes for a paler rim, so semi-solids are not asked.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ingest.evenness_cells import Cells, ToXyz, local_mean
from ingest.evenness_depth import deeper
from ingest.evenness_strands import blurred, rim_marks, slopes
from ingest.model import Array

Floats = NDArray[np.float64]

#: Power on which most pictures are coded; rounding and coarse colour act on coded values.
CODED = 1.0 / 2.2
#: Weights of the luma that most pictures are stored by (JFIF 1.02, after ITU-R BT.601).
LUMA = np.array([0.299, 0.587, 0.114], dtype=np.float32)
#: Blur of colour against luma, pixels, where colour is stored at half size and drawn between:
#: the root of the variances of a pair of pixels (1/3) and of drawing between pairs (3/4).
COARSE_PX = (1.0 / 3.0 + 3.0 / 4.0) ** 0.5
#: Most cells that are looked at, in the middle of a larger region.
MOST_CELLS = 60_000
#: Blur of what is compared, in pixels of the photo and in mm, the larger.
BLUR_PX, BLUR_MM = 2.0, 0.12
#: Fewest cells and pixels in a strand's width, most strand contrast (standard deviation of ln Y)
#: and least share of the cells that is yarn, to show a rim.
CELLS_A_STRAND, PIXELS_A_STRAND, MOST_CONTRAST, LEAST_YARN = 5.0, 16.0, 0.4, 0.5
#: Blur of slopes along strands as a share of a strand's width, and at least so many mm.
ALONG, ALONG_MM = 0.10, 0.35
#: Neighbourhood in mm that light and dark are told about.
ABOUT_MM = 4.0
#: ln light about its neighbourhood from which a cell has no more weight.
MOST_LIGHT = 1.1
#: Bounds of t = ln Y about its neighbourhood, within which light that bounces grows with exp(-t).
DARKEST, LIGHTEST = -2.5, 3.0
#: Every other cell, across and down.
THIN = np.s_[::2, ::2]
#: Tiles a side from whose disagreement the doubt is taken.
TILES = 6
#: Change of tint for one unit of ln depth under which depth cannot be told from light.
LEAST_TINT = 0.2

#: Why rims cannot be read.
NO_STRANDS, FEW_PIXELS, LITTLE_YARN = "no strands", "few pixels", "little yarn"
DEEP_SHADOW, NO_TINT = "deep shadow", "grey or pale"


@dataclass(frozen=True)
class Rim:
    """``ln_depth``: by how much the rim is deeper (over 0) or paler than the crest, ln depth of
    shade; ``u_ln_depth``: its standard uncertainty from the swatch's own disagreement. ``light``:
    mean linear RGB (3,)."""

    ln_depth: float
    u_ln_depth: float
    light: Floats


def rim_of(cells: Cells, strand_mm: float, contrast: float, to_xyz: ToXyz) -> Rim | str:
    """Rim against crest of strands of a width in mm (NaN unknown), of yarn whose dye is even and
    whose light and dark has a ``contrast``; or why it cannot be read, by name."""
    width = strand_mm / cells.mm
    if math.isnan(width):
        return NO_STRANDS
    if width < CELLS_A_STRAND or strand_mm < PIXELS_A_STRAND * cells.mm_per_px:
        return FEW_PIXELS
    if contrast > MOST_CONTRAST:
        return DEEP_SHADOW
    cells = _middle(cells)
    yarn = (cells.weight > 0).astype(np.float32)
    if yarn.mean() < LEAST_YARN:
        return LITTLE_YARN
    mean = cells.light[yarn > 0].mean(axis=0).astype(np.float64)
    change = deeper(mean)
    ratio = np.array([change[0] - change[1], change[2] - change[1]])
    tint = float(np.linalg.norm(ratio))
    if tint < LEAST_TINT:
        return NO_TINT
    coded, fine = _coded(cells, yarn, mean)
    to_depth = (ratio / tint**2).astype(np.float32)
    view = _View(yarn, to_depth, _to_y(mean, to_xyz), round(ABOUT_MM / cells.mm))
    blur = max(BLUR_PX * cells.mm_per_px, BLUR_MM) / cells.mm
    t, depth = view.read(blurred(coded, blur))
    marks, across = rim_marks(fine, width)
    weight = np.exp(0.5 * np.minimum(t, MOST_LIGHT)) * _inside(yarn, width)
    both = math.hypot(blur, max(ALONG * width, ALONG_MM / cells.mm))
    light = _light_along(t, view.halves(coded, both), across, weight)
    side = round(width)
    x = blurred(marks, 0.7 * blur)
    rest = depth - light
    x, rest = (v - _mean_about(v, yarn, side) for v in (x, rest))
    found, doubt = _slope_of(x, rest, weight)
    return Rim(found, doubt, mean)


def _middle(cells: Cells) -> Cells:
    """The middle of a region that is larger than rims need."""
    h, w = cells.weight.shape
    share = min(math.sqrt(MOST_CELLS / (h * w)), 1.0)
    inner = [round(n * share) for n in (h, w)]
    y, x = ((n - m) // 2 for n, m in zip((h, w), inner, strict=True))
    part = np.s_[y : y + inner[0], x : x + inner[1]]
    return replace(cells, light=cells.light[part], weight=cells.weight[part])


def _coded(cells: Cells, yarn: Array, mean: Floats) -> tuple[Array, Array]:
    """Coded light (h, w, 3) whose luma is as coarse as its colour is stored, and ln of light
    (h, w) as fine as it is."""
    import cv2

    light = cells.light
    if not yarn.all():  # nothing may leak in from where there is no yarn
        light = np.where(yarn[..., None] > 0, light, mean.astype(np.float32))
    coded = cv2.pow(np.maximum(light, np.float32(1e-5)), CODED)
    luma = coded @ LUMA
    coarse = blurred(luma, COARSE_PX * cells.mm_per_px / cells.mm)
    coded += (coarse - luma)[..., None]
    return coded, _ln(luma)


def _inside(yarn: Array, width: float) -> Array:
    """(h, w), 1 in yarn that lies a strand's width from all that is none: an edge is no rim."""
    if yarn.all():
        return yarn
    import cv2

    side = 2 * round(width) + 1
    return np.asarray(cv2.erode(yarn, np.ones((side, side), np.uint8)))


def _to_y(mean: Floats, to_xyz: ToXyz) -> Array:
    """(3,) float32 weights of linear RGB in Y at a colour."""
    step = 1e-3 * float(mean.mean())
    y = np.asarray(to_xyz(np.concatenate([mean[None], mean + step * np.eye(3)])))[:, 1]
    return np.asarray((y[1:] - y[0]) / step, dtype=np.float32)


def _ln(coded: Array) -> Array:
    """ln of linear light."""
    import cv2

    return np.asarray(cv2.log(np.maximum(coded, np.float32(1e-3)))) / np.float32(CODED)


@dataclass(frozen=True, eq=False)
class _View:
    """How coded light is read. ``yarn``: (h, w), 1 where yarn is. ``to_depth``: (2,) weights of
    ln R/G and ln B/G in ln depth of shade, ``to_y``: (3,) of linear RGB in Y. ``side``: of the
    neighbourhood, in cells."""

    yarn: Array
    to_depth: Array
    to_y: Array
    side: int

    def read(self, coded: Array) -> tuple[Array, Array]:
        """t, ln Y about its neighbourhood, and ln depth of shade by tint, (h, w) each."""
        import cv2

        ln = _ln(coded)
        t = np.asarray(cv2.log(np.maximum(cv2.exp(ln) @ self.to_y, np.float32(1e-4))))
        red, blue = ln[..., 0] - ln[..., 1], ln[..., 2] - ln[..., 1]
        depth = red * self.to_depth[0] + blue * self.to_depth[1]
        return t - _mean_about(t, self.yarn, self.side), np.asarray(depth)

    def halves(self, coded: Array, blur: float) -> list[tuple[Array, Array]]:
        """What is read at every other cell of either colour of a checkerboard: no noise is shared.

        (h / 2, w / 2) each: the blur, over a cell, leaves no more to read.
        """
        h, w = coded.shape[:2]
        coarse = _View(self.yarn[THIN], self.to_depth, self.to_y, max(self.side // 2, 1))
        odd = ((np.arange(h)[:, None] + np.arange(w)[None, :]) % 2).astype(np.float32)
        found = []
        for half in (odd, np.float32(1.0) - odd):
            # Half of the cells are of either colour: half of the weight is, blurred over several.
            light = blurred(coded * half[..., None], blur)[THIN] * np.float32(2.0)
            found.append(coarse.read(light))
        return found


def _light_along(
    t: Array, halves: list[tuple[Array, Array]], across: tuple[Array, Array], weight: Array
) -> Array:
    """(h, w) what light makes of depth at t, from slopes along strands.

    Light that bounces grows as one over the light that is left: a line and exp(-t). Slopes of one
    half of the cells are only ever multiplied with those of the other, so that noise, which moves
    lightness and tint together, has no part.
    """
    c, s = (part[THIN] for part in across)

    def along(values: Array) -> Array:
        gx, gy = slopes(values)
        return np.asarray(c * gy - s * gx)

    first, second = (np.stack([along(v).ravel() for v in (*_terms(a), b)]) for a, b in halves)
    crossed = ((first * weight[THIN].ravel()) @ second.T).astype(np.float64)
    both = crossed + crossed.T
    known = both[:2, :2] + np.diag(1e-4 * np.abs(np.diag(both)[:2]) + 1e-12)
    line, bounced = np.linalg.solve(known, both[:2, 2])
    straight, inverse = _terms(t)
    return np.asarray(np.float32(line) * straight + np.float32(bounced) * inverse)


def _terms(t: Array) -> tuple[Array, Array]:
    return t, np.exp(-np.clip(t, DARKEST, LIGHTEST))


def _slope_of(x: Array, y: Array, weight: Array) -> tuple[float, float]:
    """Weighted slope of y on x, and its standard error from how tiles disagree."""
    down, across = (np.arange(n) * TILES // n for n in x.shape)
    tile = (down[:, None] * TILES + across[None, :]).ravel()
    weighted = weight * x
    top = np.bincount(tile, (weighted * y).ravel(), TILES**2)
    under = np.bincount(tile, (weighted * x).ravel(), TILES**2)
    whole = max(float(under.sum()), 1e-12)
    found = float(top.sum()) / whole
    return found, float(np.sqrt(((top - found * under) ** 2).sum())) / whole


def _mean_about(values: Array, yarn: Array, side: int) -> Array:
    """(h, w) mean of yarn over squares of ``side`` cells."""
    if not yarn.all():
        return local_mean(values, yarn, side)
    import cv2

    return np.asarray(cv2.blur(values, (side | 1, side | 1)))
