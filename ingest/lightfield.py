"""How the light changes over the frame, from a plain surround or grey at several places.

A field is a smooth surface of ln Y over the picture: a plane, or a quadratic where that fits
clearly better. It is found in light whose tone curve is already undone, and only divides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ingest.model import Array, Photo, Polygon
from ingest.raster import brightest, darkest, shrink_polygon, small_picture

Floats = NDArray[np.float64]

#: Long side of the copy in which the surround is looked for.
COPY_SIDE = 400
#: Change of ln Y from pixel to neighbour, in the copy, up to which a surround is smooth.
SMOOTH = 0.03
#: Width in the copy's pixels of the rim that an edge takes with it.
RIM = 9
#: Largest relative spread of the channels of paper or grey in a photo that is not yet white-
#: balanced by more than its card.
COLOURLESS = 0.25
#: Least light of a surround, relative to a perfect white: paper or light grey.
LEAST_LIGHT = 0.25
#: The surround lies within so many half lengths of the reference about its middle, or within the
#: hull of all that was laid down, scaled by the third; its nearest part within the second.
FAR, NEAR, ABOUT = 3.2, 2.0, 1.4
#: Share of references and swatches that must lie inside the hull of the surround found, scaled by
#: the second: a strip along the picture's edge has paper on one side alone.
INSIDE, A_LITTLE_BEYOND = 0.8, 1.15
#: Largest difference in ln R/G and ln B/G within one sheet: light from two sides tints it.
ONE_COLOUR = 0.08
#: Share of the copy that a surround must cover.
LEAST_SHARE = 0.02
#: Pixels of the small picture that pieces of bare paper must cover, whose places are known. A mat
#: that spans half of the picture has about 2,400.
LEAST_OF_SHEETS = 400
#: Places that a field is fitted to at most; more change nothing but the time.
MOST_POINTS = 8000
#: Places that the planes of the light's colour are fitted to; an average over them is as sure.
TINT_POINTS = 1000
#: Scatter of ln Y about the field up to which the surround is taken for even.
LARGEST_SCATTER = 0.07
#: Share of the surround that may lie further than this off the field: more is a shadow's edge.
MOST_OFF, OFF_THE_FIELD = 0.15, 0.15
#: A quadratic must lower the scatter to this share of the plane's.
QUADRATIC_GAIN = 0.85


@dataclass(frozen=True, eq=False)
class LightField:
    """ln of relative light = polynomial of (x, y), fractions of the picture; 0 on the average
    of the places it was set to. ``scatter``: robust sd of ln Y about it. ``share``: of the
    picture that it was found on. ``source``: "surround" or "grey". ``tint``: planes (3, 3) of ln R,
    G and B over ln Y, with the surround's own colour in them: only changes are of use."""

    coefficients: Floats
    scatter: float
    share: float
    source: str
    tint: Floats | None = None

    def at(self, points: Floats) -> Floats:
        """Relative light (...) at points (..., 2)."""
        return np.asarray(np.exp(_terms(points, len(self.coefficients)) @ self.coefficients))

    def centred_on(self, points: Floats) -> LightField:
        """The same field with a geometric mean of 1 over ``points`` (n, 2)."""
        shift = float(np.mean(np.log(self.at(points))))
        coefficients = self.coefficients.copy()
        coefficients[0] -= shift
        return replace(self, coefficients=coefficients)

    def spread(self, points: Floats) -> float:
        """Largest change of light between any of ``points``, relative."""
        light = self.at(points)
        return float(light.max() / light.min() - 1.0)

    def tint_at(self, points: Floats) -> Floats:
        """(n, 3) ln of each channel's light over that of all, at points (n, 2); 0 if unknown."""
        if self.tint is None:
            return np.zeros((len(points), 3))
        return np.asarray(_terms(points, 3) @ self.tint)

    def tint_spread(self, points: Floats) -> float:
        """Largest change of ln of a ratio of two channels between any of ``points``; 0 if unknown.

        It is told and not divided out: on photos of charts on white paper, where it is up to 0.06,
        colours came out no nearer with it divided out, and some further off.
        """
        ln = self.tint_at(points)
        pairs = combinations(range(3), 2)
        return max(float(np.ptp(ln[:, i] - ln[:, j])) for i, j in pairs)


@dataclass(frozen=True)
class Surround:
    """What is known of the surround: outlines of what is none, and pieces of bare paper, if any."""

    occupied: tuple[Polygon, ...] = ()
    sheets: tuple[Polygon, ...] = ()


def surround_field(
    photo: Photo, curve: Array, to_xyz: Array, surround: Surround, around: Polygon
) -> LightField | None:
    """The field from a plain colourless surround, or ``None`` where there is none.

    ``curve``: (levels, 3) coded to corrected linear light. ``around``: the polygon near which
    paper is looked for where no sheets are known.
    """
    if surround.sheets:
        small, linear, free = _sheets(photo, curve, surround.sheets)
    else:
        small, linear, free = _plain(photo, curve, to_xyz, surround, around)
    ys, xs = np.nonzero(free)
    share = len(ys) / free.size
    if len(ys) < LEAST_OF_SHEETS if surround.sheets else share < LEAST_SHARE:
        return None
    if not _surrounds(np.stack([xs, ys], axis=-1), surround, small):
        return None
    thin = max(len(ys) // MOST_POINTS, 1)
    ys, xs = ys[::thin], xs[::thin]
    points = np.stack([(xs + 0.5) / free.shape[1], (ys + 0.5) / free.shape[0]], axis=-1)
    found = np.maximum(linear[ys, xs], 1e-4)
    log = np.log(np.maximum(found @ np.asarray(to_xyz, dtype=float)[1], 1e-4))
    field = fit_field(points, log, share, "surround")
    if field is None:
        return None
    some = np.s_[:: max(len(ys) // TINT_POINTS, 1)]
    channels = (np.log(found[some]) - log[some, None]).T
    return replace(field, tint=np.stack([_robust(points[some], c, 3)[0] for c in channels], axis=1))


def _plain(
    photo: Photo, curve: Array, to_xyz: Array, surround: Surround, around: Polygon
) -> tuple[Array, Array, Array]:
    """A small picture, its light, and where in it plain pale surround is looked for and found."""
    import cv2

    small = small_picture(photo, COPY_SIDE)
    linear = _through(curve, small)
    light = linear @ np.asarray(to_xyz, dtype=float)[1]
    log = np.log(np.maximum(light, 1e-4)).astype(np.float32)
    slope = np.hypot(
        cv2.Sobel(log, cv2.CV_32F, 1, 0, scale=0.125), cv2.Sobel(log, cv2.CV_32F, 0, 1, scale=0.125)
    )
    edges = cv2.dilate((slope > SMOOTH).astype(np.uint8), np.ones((RIM, RIM), np.uint8))
    top = brightest(linear)
    pale = (top - darkest(linear) < COLOURLESS * top) & (light > LEAST_LIGHT)
    free = (edges == 0) & pale & _unclipped(small)
    for polygon in surround.occupied:
        free &= ~_filled(shrink_polygon(polygon, 1.25), small)
    free &= _disc(around, FAR, small) | _about((around, *surround.occupied), small)
    near = _disc(around, NEAR, small)
    return small, linear, _joined(free & _of_one_colour(linear, free, near), near)


def _sheets(photo: Photo, curve: Array, sheets: tuple[Polygon, ...]) -> tuple[Array, Array, Array]:
    """The small picture, its light, and the paper in it that is known to be bare, off its edges.

    Such pieces are narrow: of a mat's, an edge's usual rim would leave nothing.
    """
    import cv2

    small = small_picture(photo)
    paper = np.logical_or.reduce([_filled(p, small) for p in sheets]).astype(np.uint8)
    paper = cv2.erode(paper, np.ones((3, 3), np.uint8))
    return small, _through(curve, small), np.asarray((paper > 0) & _unclipped(small))


def _through(curve: Array, small: Array) -> Array:
    return np.stack([curve[:, c][small[..., c]] for c in range(3)], axis=-1)


def _unclipped(small: Array) -> Array:
    return np.asarray(brightest(small) < (250 if small.dtype == np.uint8 else 64250))


def _of_one_colour(linear: Array, free: Array, near: Array) -> Array:
    """Pixels of the colour that the free pixels near the reference have: one sheet, not two."""
    first = free & near
    if first.sum() < 50:
        return free
    safe = np.maximum(linear, 1e-4)
    alike = np.ones(free.shape, dtype=bool)
    for channel in (0, 2):
        ratio = safe[..., channel] / safe[..., 1]
        middle = float(np.median(ratio[first]))
        alike &= (ratio < middle * np.exp(ONE_COLOUR)) & (ratio > middle * np.exp(-ONE_COLOUR))
    return alike


def _joined(free: Array, near: Array) -> Array:
    """The pieces of the surround that reach near the reference: a table behind paper does not."""
    import cv2

    count, labels = cv2.connectedComponents(free.astype(np.uint8), connectivity=4)
    reach = np.bincount(labels[free & near], minlength=count)
    pieces = np.flatnonzero(reach > 0.05 * max(reach.sum(), 1))
    return np.asarray(free & np.isin(labels, pieces))


def fit_field(points: Floats, log_light: Floats, share: float, source: str) -> LightField | None:
    """Robust plane or quadratic through ln Y (n,) at points (n, 2); ``None`` if it scatters.

    Tukey's biweight with scale 1.4826 times the median absolute residual, 20 rounds at most.
    """
    fits = [_robust(points, log_light, order) for order in (3, 6) if len(points) > 3 * order]
    if not fits:
        return None
    best = fits[0]
    if len(fits) > 1 and fits[1][1] < QUADRATIC_GAIN * fits[0][1]:
        best = fits[1]
    residual = np.abs(log_light - _terms(points, len(best[0])) @ best[0])
    if best[1] > LARGEST_SCATTER or float(np.mean(residual > OFF_THE_FIELD)) > MOST_OFF:
        return None
    return LightField(best[0], best[1], share, source)


def _robust(points: Floats, log_light: Floats, order: int) -> tuple[Floats, float]:
    design = _terms(points, order)
    weight = np.ones(len(log_light))
    coefficients: Floats = np.zeros(order)
    scatter = 0.0
    for _ in range(20):
        weighted = design * weight[:, None]
        solved = np.linalg.solve(weighted.T @ design, weighted.T @ log_light)
        if np.array_equal(solved, coefficients):  # to the last bit: no round changes it again
            break
        coefficients = np.asarray(solved, dtype=np.float64)
        residual = log_light - design @ coefficients
        scatter = 1.4826 * float(np.median(np.abs(residual))) + 1e-5
        weight = np.clip(1.0 - (residual / (4.685 * scatter)) ** 2, 0.0, None) ** 2
    return coefficients, scatter


def _terms(points: Floats, order: int) -> Floats:
    x, y = points[..., 0], points[..., 1]
    one = np.ones_like(x)
    columns = [one, x, y] if order == 3 else [one, x, y, x * x, x * y, y * y]
    return np.stack(columns, axis=-1)


def _disc(polygon: Polygon, factor: float, picture: Array) -> Array:
    """A disc about a polygon, its radius ``factor`` times half the polygon's longest extent."""
    height, width = picture.shape[:2]
    points = np.asarray(polygon) * [width, height]
    x, y = points.mean(axis=0)
    radius = factor * 0.5 * float(np.ptp(points, axis=0).max())
    rows, columns = np.ogrid[:height, :width]
    return np.asarray((rows - y) ** 2 + (columns - x) ** 2 <= radius**2)


def _about(polygons: tuple[Polygon, ...], picture: Array) -> Array:
    """The hull of polygons, scaled by :data:`ABOUT`: one sheet often holds all of them."""
    import cv2

    points = np.concatenate([np.asarray(p, dtype=np.float32) for p in polygons])
    whole = cv2.convexHull(points)[:, 0]
    return _filled(shrink_polygon(tuple((float(x), float(y)) for x, y in whole), ABOUT), picture)


def _surrounds(points: Array, surround: Surround, picture: Array) -> bool:
    """Whether most of what lies in the picture lies inside the surround's hull: no guess beyond.

    ``points``: (n, 2) columns and rows, row by row.
    """
    import cv2

    if not surround.occupied:
        return True
    first = np.flatnonzero(np.diff(points[:, 1], prepend=-1))  # a hull needs each row's two ends
    ends = np.concatenate([first, np.append(first[1:], len(points)) - 1])
    hull = cv2.convexHull(points[ends].astype(np.float32))
    height, width = picture.shape[:2]
    # Places on a mat lie beside its bare paper, not all of them within.
    wider = ABOUT if surround.sheets else A_LITTLE_BEYOND
    hull = hull.mean(axis=0) + wider * (hull - hull.mean(axis=0))
    centres = [np.mean(p, axis=0) * [width, height] for p in surround.occupied]
    inside = [cv2.pointPolygonTest(hull, (float(x), float(y)), False) >= 0 for x, y in centres]
    return float(np.mean(inside)) >= INSIDE


def _filled(polygon: Polygon, picture: Array) -> Array:
    import cv2

    height, width = picture.shape[:2]
    mask = np.zeros((height, width), dtype=np.uint8)
    points = np.round(np.asarray(polygon) * [width, height]).astype(np.int32)
    cv2.fillPoly(mask, [points], 1)
    return np.asarray(mask > 0)
