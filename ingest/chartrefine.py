"""The corners of a found chart, refined on its patches' edges in the full picture.

Bounds without another origin beside them are our choice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.charts import CHART24_COLUMNS, CHART24_ROWS
from ingest.flatareas import Floats, shrink
from ingest.model import Array, Photo

#: Of the straightened copy: pixels to a cell, and cells around the chart.
PX_PER_CELL, MARGIN_CELLS = 48, 0.5
#: Share of a cell that a patch fills before the edges say it: charts show 0.72 to 0.87.
USUAL_FILL = 0.82
#: Least step at a patch's edge, in coded levels of 255, that is trusted.
MIN_STEP = 6.0


@dataclass(frozen=True, eq=False)
class Grid:
    """``matrix``: (3, 3) homography from cells to fractions of the photo. ``fill``: patch width and
    height in cells."""

    matrix: Floats
    fill: tuple[float, float]


def refine(photo: Photo, matrix: Floats) -> Grid:
    """The grid fitted to the middles between each patch's two edges, in two rounds.

    ``matrix``: (3, 3) homography from chart cells to fractions. Where fewer than 12 patches show
    both edges the grid is returned as it came.
    """
    import cv2

    grid = Grid(matrix, (USUAL_FILL, USUAL_FILL))
    window = _window(photo, matrix)
    for _ in range(2):
        image = _rectified(window, grid.matrix)
        x = _edges(image)
        y = _edges(image.transpose(1, 0, 2)).transpose(1, 0, 2)
        middle = np.stack([x.mean(axis=2), y.mean(axis=2)], axis=-1).reshape(-1, 2)
        seen = np.isfinite(middle).all(axis=1)
        if seen.sum() < 12:
            return grid
        cells = np.stack(np.meshgrid(range(CHART24_COLUMNS), range(CHART24_ROWS)), axis=-1)
        wanted = cells.reshape(-1, 2)[seen] + 0.5
        step, _ = cv2.findHomography(wanted, middle[seen], cv2.RANSAC, 0.03)
        if step is None:
            return grid
        fill = (float(np.nanmedian(np.diff(x))), float(np.nanmedian(np.diff(y))))
        grid = Grid(grid.matrix @ step, fill)
    return grid


@dataclass(frozen=True, eq=False)
class _Window:
    """A piece of the picture, made smaller. ``to_px``: fractions of the photo to its pixels."""

    pixels: Array
    to_px: Floats


def _ends() -> Floats:
    """(4, 2) corners of the chart with its margin, in cells."""
    m, x, y = MARGIN_CELLS, CHART24_COLUMNS + MARGIN_CELLS, CHART24_ROWS + MARGIN_CELLS
    return np.array([[-m, -m], [x, -m], [x, y], [-m, y]])


def _seen(matrix: Floats, cells: Floats) -> Floats:
    p = cells @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(p[:, :2] / p[:, 2:])


def _window(photo: Photo, matrix: Floats) -> _Window:
    """The part of the full picture around the chart, at about twice the grid's fineness."""
    size = np.array([photo.width, photo.height])
    full = _seen(matrix, _ends()) * size
    x0, y0 = np.clip(np.floor(full.min(axis=0)) - 8, 0, size - 2).astype(int)
    x1, y1 = np.clip(np.ceil(full.max(axis=0)) + 8, (x0 + 2, y0 + 2), size).astype(int)
    piece = photo.pixels[y0:y1, x0:x1]
    small = shrink(piece, int(1.5 * PX_PER_CELL * CHART24_COLUMNS))
    fx, fy = small.shape[1] / piece.shape[1], small.shape[0] / piece.shape[0]
    to_px = np.array([[fx * size[0], 0, -fx * x0], [0, fy * size[1], -fy * y0], [0, 0, 1]])
    return _Window(small, to_px)


def _rectified(window: _Window, matrix: Floats) -> Array:
    """uint8 picture of the chart seen straight, ``PX_PER_CELL`` to a cell with a margin around."""
    import cv2

    ends = _ends()
    target = (ends + MARGIN_CELLS) * PX_PER_CELL
    source = _seen(window.to_px @ matrix, ends)
    # Coordinates count from outer corners; the warp counts from the middle of pixels.
    warp = cv2.getPerspectiveTransform(
        (source - 0.5).astype(np.float32), (target - 0.5).astype(np.float32)
    )
    size = (round(float(target[2, 0])), round(float(target[2, 1])))
    return np.asarray(
        cv2.warpPerspective(window.pixels, warp, size, borderMode=cv2.BORDER_REPLICATE)
    )


def _edges(image: Array) -> Floats:
    """(rows, columns, 2) left and right edge of each patch in cells, NaN where not seen."""
    columns = round(image.shape[1] / PX_PER_CELL - 2 * MARGIN_CELLS)
    rows = round(image.shape[0] / PX_PER_CELL - 2 * MARGIN_CELLS)
    out = np.full((rows, columns, 2), np.nan)
    for r in range(rows):
        band0 = int((r + MARGIN_CELLS + 0.25) * PX_PER_CELL)
        profile = image[band0 : band0 + PX_PER_CELL // 2].astype(float).mean(axis=0)
        for c in range(columns):
            middle = (c + MARGIN_CELLS + 0.5) * PX_PER_CELL
            out[r, c, 0] = _rise(profile, middle, -1) / PX_PER_CELL - MARGIN_CELLS
            out[r, c, 1] = _rise(profile, middle, 1) / PX_PER_CELL - MARGIN_CELLS
    return out


def _rise(profile: Floats, middle: float, direction: int) -> float:
    """Place of the strongest fall from patch to frame, 0.3 to 0.56 cells from the middle."""
    fall = (profile[:-2] - profile[2:]).sum(axis=1) * direction
    near, far = sorted(
        (middle + direction * 0.3 * PX_PER_CELL, middle + direction * 0.56 * PX_PER_CELL)
    )
    first = int(near)
    part = fall[first - 1 : int(far)]
    k = int(np.argmax(part))
    if part[k] < MIN_STEP or not 0 < k < len(part) - 1:
        return float("nan")
    a, b, c = part[k - 1 : k + 2]
    bend = a - 2 * b + c
    shift = 0.5 * (a - c) / bend if bend < 0 else 0.0
    return first + k + 0.5 + float(np.clip(shift, -0.5, 0.5))
