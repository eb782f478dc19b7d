"""The capture mat in a photo: where it lies, its places as regions, and what lies on them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ingest.errors import MarksError
from ingest.matbare import Bare
from ingest.matfit import Camera, Fit, bent, detect, eight_bits, fit, one_sheet, refine, through
from ingest.matfit import to_units as _to_units
from ingest.matsheet import BAR_MM, LEAST_BAR_MM, MOST_BAR_MM, Mat, Paper, Rect, marker_bits, mat
from ingest.model import Array, Layout, Photo, Polygon, Scale, SwatchRegion

__all__ = ["Mat", "MatFound", "Paper", "Rect", "find_mat", "marker_bits", "mat"]

SEARCH_PX = 1600  # long side, about, of the copy on which markers are searched; our choice
ENOUGH_MARKERS = 5  # with fewer, a second search at a finer grain is worth its time; our choice
# Regions that the markers left place no better than this are not given out: our choice.
MAX_DOUBT_MM = 1.0
FLAT_MM = 0.35  # more residual: not flat. Our choice: rendered flat sheets stay under 0.12


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
            bare = Bare.look(photo, step, placed.camera)
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
    bare: Bare,
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
