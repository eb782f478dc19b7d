"""What of the capture mat's sheet is bare paper in a photo, and what is covered."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.matfit import Camera, eight_bits, through, to_units
from ingest.matsheet import Rect
from ingest.model import Array, Photo

CELL_MM = 2.5  # a strand: the grain at which paper is called bare or covered; our choice
LOOK_PX_PER_MM = 2  # fine enough to see strands; our choice
LEAST_MM = 10.0  # an outline of at least this width and height is a thing laid down; our choice
# A cell is bare paper within these, in natural logs of linear light against the paper around:
# chosen on rendered views; a near-white smooth thing passes for paper.
LEVEL_LN = 0.3
COLOUR_LN = 0.08
TEXTURE_LN = 0.05


@dataclass(frozen=True, eq=False)
class Bare:
    """The sheet as (rows, columns) cells of ``CELL_MM``: True where it is not bare paper."""

    cells: Array

    @classmethod
    def look(cls, photo: Photo, step: int, camera: Camera) -> Bare:
        """Compare every cell with the paper that the surround rectangles show."""
        mean, texture = _light_in_cells(photo, step, camera)
        rows, columns = texture.shape
        y, x = (np.indices((rows, columns)) - np.array([rows, columns])[:, None, None] / 2) / rows
        plane = np.stack([np.ones_like(x), x, y], axis=-1)
        paper = np.zeros((rows, columns), bool)
        for rect in camera.sheet.surround.values():
            paper[_inside(rect)] = True
        paper &= np.isfinite(texture)
        if paper.sum() < 6:
            return cls(np.zeros((rows, columns), bool))
        fitted, deviation = paper, np.zeros_like(mean)
        for _ in range(5):  # things that overhang the surround drop out
            coefficients = np.linalg.lstsq(plane[fitted], mean[fitted], rcond=None)[0]
            deviation = mean - plane @ coefficients
            size = np.abs(deviation).max(axis=-1)
            fitted = paper & (size <= max(COLOUR_LN, 2.0 * float(np.median(size[paper]))))
        level, colour = deviation[..., 1], deviation - deviation[..., 1:2]
        grain = max(TEXTURE_LN, 3.0 * float(np.median(texture[fitted])))
        differs = (np.abs(level) > LEVEL_LN) | (np.abs(colour).max(axis=-1) > COLOUR_LN)
        return cls((differs | (texture > grain)) & np.isfinite(texture))

    def is_bare(self, rect: Rect) -> bool:
        return float(self.cells[_inside(rect)].mean()) <= 0.1

    def covered(self, place: Rect) -> Rect | None:
        """The largest upright rectangle in ``place`` that is covered, one cell inside its edge;
        ``None`` if it would be smaller than ``LEAST_MM``."""
        import cv2

        window = _inside(place.grown(-1.0))
        grain = np.ones((3, 3), np.uint8)
        # Padded so that a gap of one cell between yarn and edge does not count as closed.
        padded = np.pad(self.cells[window].astype(np.uint8), 2, mode="edge")
        full = cv2.morphologyEx(padded, cv2.MORPH_CLOSE, grain)[2:-2, 2:-2]
        full = cv2.erode(full, grain, borderType=cv2.BORDER_CONSTANT, borderValue=0)
        rect = _largest_rectangle(full > 0)
        if rect is None:
            return None
        top, bottom, left, right = rect
        y, x = window[0].start, window[1].start
        found = Rect(left + x, top + y, right - left, bottom - top)
        found = Rect(*(CELL_MM * v for v in (found.x, found.y, found.width, found.height)))
        return found if min(found.width, found.height) >= LEAST_MM else None


def _inside(rect: Rect) -> tuple[slice, slice]:
    """The cells that lie wholly in ``rect``, as row and column slices."""
    ends = [np.ceil(v / CELL_MM) for v in (rect.y, rect.x)]
    stops = [np.floor(v / CELL_MM) for v in (rect.bottom, rect.right)]
    rows, columns = (slice(int(a), int(b)) for a, b in zip(ends, stops, strict=True))
    return rows, columns


def _light_in_cells(photo: Photo, step: int, camera: Camera) -> tuple[Array, Array]:
    """(rows, columns, 3) mean and (rows, columns) standard deviation of ln linear light.

    Looks at every ``step``-th pixel. NaN where a cell is not wholly in the picture.
    """
    import cv2

    rows, columns = int(camera.sheet.height / CELL_MM), int(camera.sheet.width / CELL_MM)
    cell = int(CELL_MM * LOOK_PX_PER_MM)
    y, x = np.indices((rows + 1, columns + 1)).reshape(2, -1) * CELL_MM
    units = camera.place(np.stack([x, y], axis=-1))
    fractions = through(np.linalg.inv(to_units(camera.aspect)), units)
    fractions = fractions.reshape(rows + 1, columns + 1, 2)
    knots = ((fractions * (photo.width, photo.height) - 0.5) / step).astype(np.float32)
    down, across = _between(rows, cell), _between(columns, cell)
    at = np.stack([down @ knots[..., i] @ across.T for i in (0, 1)], axis=-1)
    small = eight_bits(photo.pixels[::step, ::step])
    coded = cv2.remap(small, at, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    curve = photo.encoding.curve[:: (len(photo.encoding.curve) - 1) // 255]
    light = np.log(np.maximum(curve, 1e-3)).astype(np.float32)
    ln = cv2.LUT(coded, light[:, None, :])
    mean = cv2.resize(ln, (columns, rows), interpolation=cv2.INTER_AREA)
    green = ln[..., 1] - np.repeat(np.repeat(mean[..., 1], cell, axis=0), cell, axis=1)
    texture = np.sqrt(cv2.resize(green**2, (columns, rows), interpolation=cv2.INTER_AREA))
    inside = np.asarray(((fractions >= 0.0) & (fractions <= 1.0)).all(axis=-1))
    whole = inside[:-1, :-1] & inside[1:, :-1] & inside[:-1, 1:] & inside[1:, 1:]
    mean[~whole], texture[~whole] = np.nan, np.nan
    return mean.astype(float), texture.astype(float)


def _between(cells: int, px: int) -> Array:
    """(cells * px, cells + 1) weights from the cells' ends to ``px`` points in each, linear."""
    t = (np.arange(cells * px) + 0.5) / px
    return np.maximum(0.0, 1.0 - np.abs(t[:, None] - np.arange(cells + 1))).astype(np.float32)


def _largest_rectangle(full: Array) -> tuple[int, int, int, int] | None:
    """Top, bottom, left, right (ends excluded) of the largest all-True rectangle."""
    best, area = None, 0
    for top in range(len(full)):
        run = np.ones(full.shape[1], bool)
        for bottom in range(top, len(full)):
            run &= full[bottom]
            if int(run.sum()) * (len(full) - top) <= area:
                break
            edges = np.flatnonzero(np.diff(np.concatenate([[0], run.view(np.int8), [0]])))
            widths = edges[1::2] - edges[::2]
            i = int(widths.argmax())
            size = int(widths[i]) * (bottom + 1 - top)
            if size > area:
                best, area = (top, bottom + 1, int(edges[2 * i]), int(edges[2 * i + 1])), size
    return best
