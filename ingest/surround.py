"""What a plain surround shows of the light: a smooth field over the picture, and the paper itself
beside that field, so that a shadow on one swatch is seen where paper lies about it.

Bounds without another origin beside them are our choice.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ingest.lightfield import LightField, fit_field, robust_fit
from ingest.lightwithin import slopes_within
from ingest.model import Array, Photo, Polygon
from ingest.onesheet import TINT_POINTS, joined, of_colour_that_drifts, of_one_colour
from ingest.paper import Light, Paper
from ingest.raster import brightest, convex_hull, darkest, shrink_polygon, small_picture

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
#: hull of all that was laid down, scaled by the third, or of each of it scaled by the fourth; its
#: nearest part within the second.
FAR, NEAR, ABOUT, AROUND_EACH = 3.2, 2.0, 1.4, 1.7
#: Share of references and swatches that must lie inside the hull of the surround found, scaled by
#: the second: a strip along the picture's edge has paper on one side alone.
INSIDE, A_LITTLE_BEYOND = 0.8, 1.15
#: Scatter of ln Y about one field up to which pieces that do not join are one sheet, since a
#: shadow between them would bend it. Our choice; rendered paper has 0.01 to 0.02.
ONE_SHEET = 0.025
#: Share of the copy that a surround must cover.
LEAST_SHARE = 0.02
#: Pixels of the small picture that pieces of bare paper must cover, whose places are known. A mat
#: that spans half of the picture has about 2,400.
LEAST_OF_SHEETS = 400
#: Places that a field is fitted to at most; more change nothing but the time.
MOST_POINTS = 8000


@dataclass(frozen=True)
class Surround:
    """What is known of the surround: outlines of what is none, pieces of bare paper, if any, and
    the reference's greys."""

    occupied: tuple[Polygon, ...] = ()
    sheets: tuple[Polygon, ...] = ()
    greys: tuple[Polygon, ...] = ()


def surround_light(
    photo: Photo, curve: Array, to_xyz: Array, surround: Surround, around: Polygon
) -> Light:
    """The light that a plain colourless surround shows, and the greys where it does not.

    ``curve``: (levels, 3) coded to corrected linear light. ``to_xyz``: (3, 3). ``around``: the
    polygon near which paper is looked for where no sheets are known.
    """
    found = _by_surround(photo, curve, to_xyz, surround, around)
    if found.field is None:
        found = replace(found, within=slopes_within(photo, curve, surround.greys))
    return found


def _by_surround(
    photo: Photo, curve: Array, to_xyz: Array, surround: Surround, around: Polygon
) -> Light:
    if surround.sheets:
        small, linear, seen = _sheets(photo, curve, surround.sheets)
        if seen.sum() < LEAST_OF_SHEETS:
            return Light()
        return _light_on(small, linear, seen, seen, surround, to_xyz)
    small, linear, pale, near = _plain(photo, curve, to_xyz, surround, around)
    for alike in (of_one_colour, of_colour_that_drifts):
        seen = pale & alike(linear, pale, near)
        free = joined(seen, near)
        found = Light()
        if free.mean() >= LEAST_SHARE:
            found = _light_on(small, linear, seen, free, surround, to_xyz)
        if found.paper is not None:
            break
    return found


def _light_on(
    small: Array, linear: Array, seen: Array, free: Array, surround: Surround, to_xyz: Array
) -> Light:
    """What is seen on a surround (h, w), and on what of it reaches near the reference."""
    luminance = np.asarray(to_xyz, dtype=float)[1]
    if _surrounds(free, surround, small):
        field = _field_on(free, linear, luminance)
    elif _surrounds(seen, surround, small):
        field = _field_on(seen, linear, luminance)
        if field is not None and field.scatter <= ONE_SHEET:
            free = seen
        else:
            field = None
    else:
        return Light()
    return Light(field, _paper(linear, free, seen, field))


def _field_on(paper: Array, linear: Array, luminance: Floats) -> LightField | None:
    """The smooth field and its tint over pixels (h, w) of a picture's light (h, w, 3)."""
    ys, xs = np.nonzero(paper)
    share = len(ys) / paper.size
    thin = max(len(ys) // MOST_POINTS, 1)
    ys, xs = ys[::thin], xs[::thin]
    points = np.stack([(xs + 0.5) / paper.shape[1], (ys + 0.5) / paper.shape[0]], axis=-1)
    found = np.maximum(linear[ys, xs], 1e-4)
    log = np.log(np.maximum(found @ luminance, 1e-4))
    field = fit_field(points, log, share, "surround")
    if field is None:
        return None
    some = np.s_[:: max(len(ys) // TINT_POINTS, 1)]
    channels = (np.log(found[some]) - log[some, None]).T
    tint = np.stack([robust_fit(points[some], c, 3)[0] for c in channels], axis=1)
    return replace(field, tint=tint)


def _paper(linear: Array, sheet: Array, seen: Array, field: LightField | None) -> Paper:
    average = np.zeros(3)
    if field is None:
        average = np.log(np.maximum(linear[sheet], 1e-4)).mean(axis=0, dtype=float)
    return Paper(sheet, seen & ~sheet, linear, field, average)


def _plain(
    photo: Photo, curve: Array, to_xyz: Array, surround: Surround, around: Polygon
) -> tuple[Array, Array, Array, Array]:
    """A small picture, its light, where plain pale surround is, and what is near the reference."""
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
    return small, linear, free, _disc(around, NEAR, small)


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


def _disc(polygon: Polygon, factor: float, picture: Array) -> Array:
    """A disc about a polygon, its radius ``factor`` times half the polygon's longest extent."""
    height, width = picture.shape[:2]
    points = np.asarray(polygon) * [width, height]
    x, y = points.mean(axis=0)
    radius = factor * 0.5 * float(np.ptp(points, axis=0).max())
    rows, columns = np.ogrid[:height, :width]
    return np.asarray((rows - y) ** 2 + (columns - x) ** 2 <= radius**2)


def _about(polygons: tuple[Polygon, ...], picture: Array) -> Array:
    """The hull of polygons, scaled by :data:`ABOUT`, and of each of them scaled by
    :data:`AROUND_EACH`: one sheet often holds all of them."""
    all_of_it = shrink_polygon(convex_hull(*polygons), ABOUT)
    each = convex_hull(*(shrink_polygon(p, AROUND_EACH) for p in polygons))
    return np.asarray(_filled(all_of_it, picture) | _filled(each, picture))


def _surrounds(free: Array, surround: Surround, picture: Array) -> bool:
    """Whether most of what lies in the picture lies inside the hull of the surround (h, w): no
    guess beyond."""
    import cv2

    if not surround.occupied:
        return True
    ys, xs = np.nonzero(free)
    first = np.flatnonzero(np.diff(ys, prepend=-1))  # a hull needs each row's two ends
    ends = np.concatenate([first, np.append(first[1:], len(ys)) - 1])
    hull = cv2.convexHull(np.stack([xs[ends], ys[ends]], axis=-1).astype(np.float32))
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
