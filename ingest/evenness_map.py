"""Where a swatch leaves its mean, and where its colours lie: maps for people, made on request.

Nothing is measured anew: the blocks, their mean and the palette are those of the figures
(:mod:`ingest.evenness_figures`). A map shows what the photo shows, light and shadow included, and
is of all yarn with its gaps, as the swatch's colour is. The palette alone is read at the strands'
crests, where colours are seen apart best, and so is lighter.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ingest.background import find_background
from ingest.colour import delta_e_2000
from ingest.correct import Correction
from ingest.evenness_cells import Cells, blocks, weighed
from ingest.evenness_figures import Figures
from ingest.evenness_region import examine_region
from ingest.model import Array, Photo, Polygon, SwatchRegion
from ingest.raster import bounding_box, brightest, darkest
from ingest.rendition import CHEQUER, SLACK
from ingest.screen import XYZ_TO_SRGB, coded_8
from ingest.tonality import Examined

Floats = NDArray[np.float64]

#: Bounds of the map's neutral steps, ΔE00 (kL = 1): each twice the one before. Our choice.
STEPS = (0.5, 1.0, 2.0, 4.0, 8.0)
#: Blocks from which a tenth of them is one.
FEWEST_BLOCKS = 10
#: Pixels of a picture worked on at once.
ROWS_PIXELS = 900_000


@dataclass(frozen=True, eq=False)
class EvennessMap:
    """A swatch from above, on the rectangle around its outline.

    ``deviation``: (rows, columns) ΔE00 (kL = 1) of 5 mm blocks of all yarn from their mean; NaN
    where there is no yarn. ``first_mm``: x, y of the first block's middle
    from the rectangle's corner; ``step_mm``: from block to block. ``size_mm``: width and height
    of the rectangle. ``which``: (h, w) index into ``colours`` of squares of ``square_mm``, -1
    where nothing was read. ``colours``: (k, 3) Lab; ``shares``: (k,), largest first. ``tenths``:
    (3, 3) mean Lab of the lightest, middle and darkest tenth of the blocks, None of too few.
    """

    deviation: Floats
    first_mm: tuple[float, float]
    step_mm: float
    size_mm: tuple[float, float]
    which: NDArray[np.int64]
    square_mm: float
    colours: Floats
    shares: Floats
    tenths: Floats | None = None

    @property
    def mean(self) -> float:
        """Mean deviation, ΔE00, over blocks of yarn."""
        return float(np.nanmean(self.deviation))

    def steps(self) -> NDArray[np.int64]:
        """(rows, columns) which of the steps of :data:`STEPS` a block is on, -1 for no yarn."""
        seen = np.isfinite(self.deviation)
        return np.where(seen, np.digitize(np.nan_to_num(self.deviation), STEPS), -1)

    def step_shares(self) -> tuple[float, ...]:
        """Share of the blocks on each step, the nearest to the mean first; sums to 1."""
        steps = self.steps()
        counts = np.bincount(steps[steps >= 0], minlength=len(STEPS) + 1)
        return tuple(float(c) for c in counts / max(int(counts.sum()), 1))


def map_of(cells: Cells, found: Figures) -> EvennessMap:
    """The maps of a region from what was measured of it."""
    all_yarn = blocks(cells, (weighed(cells, np.ones_like(cells.weight)),))[
        0
    ]  # those of ``found.plain``
    first = all_yarn.centres.min(axis=0)
    place = np.rint((all_yarn.centres - first) / all_yarn.step_mm).astype(np.int64)
    columns, rows = place.max(axis=0) + 1
    deviation = np.full((int(rows), int(columns)), np.nan)
    apart = delta_e_2000(found.plain.mean_lab, found.plain.lab)
    deviation[place[:, 1], place[:, 0]] = apart
    height, width = cells.weight.shape
    return EvennessMap(
        deviation,
        (float(first[0]), float(first[1])),
        all_yarn.step_mm,
        (width * cells.mm, height * cells.mm),
        found.palette.label,
        max(round(1.0 / cells.mm), 1) * cells.mm,
        found.palette.lab,
        found.palette.share,
        tenths_of(found.plain.lab),
    )


def tenths_of(labs: Floats) -> Floats | None:
    """(3, 3) mean Lab of the lightest, middle and darkest tenth by L* of (n, 3) blocks.

    None of fewer than :data:`FEWEST_BLOCKS`.
    """
    n = len(labs)
    if n < FEWEST_BLOCKS:
        return None
    order, tenth = np.argsort(-labs[:, 0], kind="stable"), n // 10
    first = (n - tenth) // 2
    parts = (order[:tenth], order[first : first + tenth], order[n - tenth :])
    return np.stack([labs[part].mean(axis=0) for part in parts])


@dataclass(frozen=True, eq=False)
class CloseLook:
    """A swatch examined for its card. ``map``: None where too little is yarn, or no scale."""

    examined: Examined
    map: EvennessMap | None


def look_closely(
    photo: Photo,
    region: SwatchRegion,
    correction: Correction,
    mm_per_px: float,
    clipped_share: float = 0.0,
) -> CloseLook:
    """Tonality and maps of one swatch, in one pass over its pixels.

    ``mm_per_px``: NaN where unknown. ``clipped_share``: of the swatch's pixels, 0..1.
    """
    background = find_background(photo, region.polygon, correction.curve)
    examined = examine_region(photo, region, correction, background, mm_per_px, clipped_share)
    if examined.cells is None or examined.figures is None:
        return CloseLook(examined, None)
    return CloseLook(examined, map_of(examined.cells, examined.figures))


def region_picture(photo: Photo, polygon: Polygon, correction: Correction, long_side: int) -> Array:
    """uint8 sRGB (h, w, 3) of the rectangle around a swatch, corrected, ``long_side`` or less.

    Pixels are summed as light. A colour that sRGB cannot hold is a grey chequer, as in
    :mod:`ingest.rendition`.
    """
    import cv2

    box = bounding_box(photo, polygon)
    height, width = box.y1 - box.y0, box.x1 - box.x0
    scale = min(long_side / max(height, width), 1.0)
    size = (max(round(width * scale), 1), max(round(height * scale), 1))
    linear = np.empty((size[1], size[0], 3), dtype=np.float32)
    edges = np.linspace(0, size[1], max(height * width // ROWS_PIXELS, 1) + 1).astype(int)
    for top, bottom in pairwise(edges):
        y0, y1 = (box.y0 + round(edge * height / size[1]) for edge in (top, bottom))
        part = correction.linear(photo.pixels[y0:y1, box.x0 : box.x1])
        cv2.resize(part, (size[0], bottom - top), linear[top:bottom], 0, 0, cv2.INTER_AREA)
    if correction.field is not None:
        y = (box.y0 + (np.arange(size[1]) + 0.5) / scale) / photo.height
        x = (box.x0 + (np.arange(size[0]) + 0.5) / scale) / photo.width
        points = np.stack(np.broadcast_arrays(x[None, :], y[:, None]), axis=-1)
        linear /= correction.light_at(points)[..., None].astype(np.float32)
    rgb = correction.xyz(linear) @ XYZ_TO_SRGB.T
    coded = coded_8(rgb)
    beyond = (darkest(rgb) < -SLACK) | (brightest(rgb) > 1.0 + 3.0 * SLACK)
    rows, columns = np.nonzero(beyond)
    coded[rows, columns] = np.array(CHEQUER, np.uint8)[(rows // 2 + columns // 2) % 2, None]
    return np.asarray(coded)
