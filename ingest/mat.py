"""The capture mat in a photo: where it lies, its places as regions, and what lies on them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ingest.errors import MarksError
from ingest.matfit import Camera, Fit, bent, detect, eight_bits, fit, one_sheet, refine, through
from ingest.matfit import to_units as _to_units
from ingest.matsheet import BAR_MM, LEAST_BAR_MM, MOST_BAR_MM, Mat, Paper, Rect, marker_bits, mat
from ingest.model import Array, Layout, Photo, Polygon, Scale, SwatchRegion

__all__ = ["Mat", "MatFound", "Paper", "Rect", "find_mat", "marker_bits", "mat"]

SEARCH_PX = 1600  # long side, about, of the copy on which markers are searched
ENOUGH_MARKERS = 5  # with fewer, a second search at a finer grain is worth its time
MAX_DOUBT_MM = 1.0  # regions that the markers left place no better than this are not given out
FLAT_MM = 0.35  # more residual: not flat. Our choice: rendered flat sheets stay under 0.12
CELL_MM = 2.5  # a strand: the grain at which paper is called bare or covered
LOOK_PX_PER_MM = 2  # fine enough to see strands
LEAST_MM = 10.0  # an outline of at least this width and height is a thing laid down
# A cell is bare paper within these, in natural logs of linear light against the paper around:
# chosen on rendered views; a near-white smooth thing passes for paper.
LEVEL_LN = 0.3
COLOUR_LN = 0.08
TEXTURE_LN = 0.05


@dataclass(frozen=True, eq=False)
class MatFound:
    """Where the mat lies in a photo. Polygons are in fractions of the picture.

    ``homography``: (3, 3), true millimetres on the sheet to fractions, before ``bend``, the
    lens's relative radial shift at the picture's corner; :meth:`to_picture` applies both.
    ``regions``: places wholly in the picture; ``cut_off``: names of the others. ``surround``:
    rectangles of paper that are bare in this photo. ``occupied``: does anything lie on a place
    that differs from paper in level, colour or texture (a smooth near-white card does not)?
    ``mm_per_px``: at each region's centre. ``residual_mm``: root mean square distance of the
    used markers' corners from the fit. ``doubt_mm``: largest standard uncertainty of a region's
    corner that follows. ``doubtful``: markers seen, but not where the others say. ``confidence``:
    0..1, lowered by markers missing under six, residual and doubt; an order, no probability.
    ``layout``: swatches at occupied places, outlined inside what covers the paper, and the
    scale; the reference is left to whoever reads its kind.
    """

    mat: Mat
    homography: Array
    bend: float
    aspect: float
    regions: Mapping[str, Polygon]
    cut_off: tuple[str, ...]
    surround: Mapping[str, Polygon]
    occupied: Mapping[str, bool]
    mm_per_px: Mapping[str, float]
    residual_mm: float
    doubt_mm: float
    confidence: float
    seen: tuple[int, ...]
    hidden: tuple[int, ...]
    doubtful: tuple[int, ...]
    layout: Layout

    @property
    def warning(self) -> str | None:
        """One line for the dyer if the sheet does not fit its own geometry, else ``None``."""
        if _flat(self.residual_mm, self.doubtful):
            return None
        return (
            f"The capture mat's marks lie {self.residual_mm:.1f} mm off, {len(self.doubtful)} of "
            "them do not fit at all: lay the sheet flat, and check that it is printed whole."
        )

    def to_picture(self, mm: Array) -> Array:
        """(n, 2) true millimetres on the sheet to (n, 2) fractions of the picture."""
        units = _to_units(self.aspect)
        straight = through(units @ self.homography, np.asarray(mm, dtype=float))
        return through(np.linalg.inv(units), bent(straight, self.bend))


def find_mat(photo: Photo, *, bar_mm: float = BAR_MM) -> MatFound | None:
    """Find the capture mat in ``photo``; ``None`` if no marker of any mat is in it.

    ``bar_mm``: the check bar's length as measured on the print, 70 to 130. Raises ``MarksError``
    if markers are there but do not place every region in the picture to 1 mm, if no place is
    wholly in the picture, or if two mats are.
    """
    _refuse_bar(bar_mm)
    step = max(1, round(max(photo.width, photo.height) / SEARCH_PX))
    found = [(i, c * step) for i, c in detect(eight_bits(photo.pixels[::step, ::step, 1]))]
    if not found:
        return None
    if len(found) < ENOUGH_MARKERS:  # a distant, small or blurred sheet
        found = max(found, _look_closer(photo, step), key=len)
    sheet, corners = one_sheet(found)
    corners = {i: refine(photo, c) for i, c in corners.items()}
    placed = fit(sheet, corners, photo.width, photo.height) if len(corners) > 1 else None
    regions = {} if placed is None else _whole(placed.camera, sheet.places)
    if placed is not None and regions:
        at = np.concatenate([sheet.places[name].corners for name in regions])
        doubt = float(placed.doubt_mm(at).max()) * bar_mm / BAR_MM
        if doubt <= MAX_DOUBT_MM:
            bare = _Bare.look(photo, step, placed.camera)
            return _assemble(placed, regions, bare, photo, bar_mm / BAR_MM, doubt)
    raise MarksError(
        f"{len(corners)} of the capture mat's {len(sheet.markers)} black marks were found, and "
        f"{_what_is_missing(len(corners), placed)}, or mark the photo by hand."
    )


def _refuse_bar(bar_mm: float) -> None:
    if LEAST_BAR_MM <= bar_mm <= MOST_BAR_MM:
        return
    todo = "measure it again in millimetres, or print the sheet again at actual size."
    for unit, mm in (("inches", 25.4), ("centimetres", 10.0)):
        if LEAST_BAR_MM <= bar_mm * mm <= MOST_BAR_MM:
            todo = f"{bar_mm:g} {unit} are {bar_mm * mm:.1f} mm: say that."
    raise MarksError(
        f"The mat's bar measures {bar_mm:g} mm; needed are {LEAST_BAR_MM:g} to {MOST_BAR_MM:g} "
        f"mm: {todo}"
    )


def _flat(residual_mm: float, doubtful: tuple[int, ...]) -> bool:
    """Whether markers lie as on a flat sheet."""
    return residual_mm <= FLAT_MM and not doubtful


def _what_is_missing(markers: int, placed: Fit | None) -> str:
    """Why so many markers place no region, and what to do."""
    if markers > 2 and (placed is None or not _flat(placed.residual_mm, placed.doubtful)):
        return (
            "they do not lie as on one flat sheet: lay it flat, weighted at its edges, "
            "and check that it is printed whole"
        )
    return (
        "they do not place the sheet well enough: show at least three marks that lie far apart "
        "and one whole place"
    )


def _look_closer(photo: Photo, step: int) -> list[tuple[int, Array]]:
    """Markers, searched on every pixel, or on twice as many where all were searched before."""
    import cv2

    grey = eight_bits(photo.pixels[..., 1])
    if step > 1:
        return detect(grey)
    grey = cv2.resize(grey, None, fx=2, fy=2, interpolation=cv2.INTER_CUBIC)
    return [(i, (c + 0.5) / 2 - 0.5) for i, c in detect(grey)]


def _polygon(camera: Camera, rect: Rect) -> Polygon:
    """A rectangle on the sheet in fractions of the picture."""
    points = through(np.linalg.inv(_to_units(camera.aspect)), camera.place(rect.corners))
    return tuple((float(x), float(y)) for x, y in points)


def _whole(camera: Camera, rects: Mapping[str, Rect]) -> dict[str, Polygon]:
    """Those rectangles that are wholly in the picture."""
    polygons = {name: _polygon(camera, rect) for name, rect in rects.items()}
    return {
        name: polygon
        for name, polygon in polygons.items()
        if all(0.0 <= v <= 1.0 for point in polygon for v in point)
    }


def _assemble(
    placed: Fit,
    regions: dict[str, Polygon],
    bare: _Bare,
    photo: Photo,
    true: float,
    doubt_mm: float,
) -> MatFound:
    """Everything that the fit and the look at the paper say; ``true``: mm per nominal mm."""
    camera, sheet = placed.camera, placed.camera.sheet
    half_diagonal = 0.5 * float(np.hypot(photo.width, photo.height))
    centres = np.array([sheet.places[name].corners.mean(axis=0) for name in regions])
    mm_per_px = camera.mm_per_unit(centres) / half_diagonal * true
    scales = dict(zip(regions, mm_per_px.tolist(), strict=True))
    residual_mm = placed.residual_mm * true
    share = min(1.0, len(placed.used) / 6.0)
    confidence = share / (1.0 + residual_mm**2 + doubt_mm**2)
    covered = {name: bare.covered(sheet.places[name]) for name in regions}
    swatches = tuple(
        SwatchRegion(name, _polygon(camera, rect), "mat", confidence, scales[name] * photo.width)
        for name, rect in covered.items()
        if rect is not None and name != "reference"
    )
    line = Rect(sheet.width / 2 - 50.0, sheet.height / 2, 100.0, 0.0)
    start, end = _polygon(camera, line)[:2]
    surround = _whole(camera, sheet.surround)
    return MatFound(
        mat=sheet,
        homography=camera.homography @ np.diag([1.0 / true, 1.0 / true, 1.0]),
        bend=camera.bend,
        aspect=camera.aspect,
        regions=regions,
        cut_off=tuple(name for name in sheet.places if name not in regions),
        surround={k: v for k, v in surround.items() if bare.is_bare(sheet.surround[k])},
        occupied={name: rect is not None for name, rect in covered.items()},
        mm_per_px=scales,
        residual_mm=residual_mm,
        doubt_mm=doubt_mm,
        confidence=confidence,
        seen=tuple(sorted(placed.used + placed.doubtful)),
        hidden=tuple(i for i in sheet.markers if i not in placed.used + placed.doubtful),
        doubtful=placed.doubtful,
        layout=Layout((), swatches, Scale(start, end, 100.0 * true), "mat"),
    )


@dataclass(frozen=True, eq=False)
class _Bare:
    """The sheet as (rows, columns) cells of ``CELL_MM``: True where it is not bare paper."""

    cells: Array

    @classmethod
    def look(cls, photo: Photo, step: int, camera: Camera) -> _Bare:
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
    fractions = through(np.linalg.inv(_to_units(camera.aspect)), units)
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
