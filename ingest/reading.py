"""Reading one patch of a reference: its mean light, and whether it can be trusted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ingest.flags import CLIPPED_NOTED
from ingest.model import Array, Encoding, Photo, Polygon
from ingest.raster import bounding_box, polygon_mask

Floats = NDArray[np.float64]

#: A card is looked at as this many cells in each direction. Our choice.
CELLS = 8
#: Relative change of light across a card from which it is tilted in the light. Our choice.
TILT = 0.10
#: Relative scatter of cells about a plane from which a card is uneven. Our choice.
UNEVEN = 0.03
#: ln of red over blue, either way, from which a card looks coloured in the photo as taken. Mid
#: greys (18 and 36 %) of twelve outside photographs lie within 0.39; the wood of two desks at 0.45
#: and 0.54, three carpets at 0.8 to 1.0.
COLOURED = 0.42
#: Step between the two sides of an edge, relative, and over the scatter of each side. Our choice.
SHADOW_STEP, SHADOW_RATIO = 0.10, 4.0
#: Share of the file's range at which a perfect white lies, by the lightest neutral, under which a
#: photo is too dark. Our choice: rendered steps fit their values at 0.08 and no more at 0.05.
WHITE_TOO_DARK = 0.10
#: Most linear light of a code that counts as zero: that of code 1 of 255 in sRGB (IEC 61966-2-1),
#: and 1 % more for what encodings differ by there.
ZERO_LIGHT = 1.01 / 255.0 / 12.92


@dataclass(frozen=True, eq=False)
class PatchReading:
    """One patch: a sample of its codes and what it shows.

    ``codes``: (n, 3). ``linear``: (3,) mean light with the encoding undone. ``clipped``: share
    of pixels at the top in any channel. ``tilt``: relative change of light across the patch, by
    a plane through its cells; ``uneven``: relative scatter about that plane; ``step``: largest
    jump between two sides, and ``step_ratio`` the jump over the scatter within the sides.
    """

    codes: Array
    linear: Floats
    clipped: float
    tilt: float
    uneven: float
    step: float
    step_ratio: float
    count: int

    @property
    def relative_sd(self) -> float:
        """Relative standard uncertainty of the mean: cells about the plane, and a tilt's third.

        A tilt says that the light at the card's place is not that beside it; half of its change
        across the card, as a rectangular distribution (JCGM 100:2008, 4.3.7).
        """
        scatter = self.uneven / CELLS
        return float(np.hypot(scatter, 0.5 * self.tilt / np.sqrt(3.0)))

    def mean_of(self, curve: Array) -> Floats:
        """(3,) mean of a (levels, 3) table over the patch's pixels."""
        return np.array([curve[:, c][self.codes[:, c]].mean(dtype=float) for c in range(3)])

    def detail(self) -> dict[str, Any]:
        """The reading for a result's provenance."""
        return {
            "pixels": self.count,
            "clipped": round(self.clipped, 4),
            "tilt": round(self.tilt, 4),
            "uneven": round(self.uneven, 4),
        }


def read_patch(photo: Photo, polygon: Polygon, codes: Array) -> PatchReading:
    """Read one patch whose (n, 3) coded pixels are given; its cells come from the picture."""
    if len(codes) == 0:
        return PatchReading(codes, np.zeros(3), 0.0, 0.0, 0.0, 0.0, 0.0, 0)
    curve = photo.encoding.curve
    linear = np.array([curve[:, c][codes[:, c]].mean(dtype=float) for c in range(3)])
    cells = _cell_light(photo, polygon)
    tilt, uneven, step, ratio = _shape(cells)
    return PatchReading(codes, linear, clipped_share(codes), tilt, uneven, step, ratio, len(codes))


def clip_code(codes: Array) -> int:
    """The lowest code that counts as clipped: 254 of 255, and the same share of 16 bits."""
    return 254 if codes.dtype == np.uint8 else 65278


def zero_code(encoding: Encoding) -> int:
    """The highest code that counts as zero: 1 of 255, and the same share of 16 bits; and never one
    of more light than that is in sRGB, so that few codes of a linear file count."""
    codes = len(encoding.curve)
    no_more = encoding.curve[: codes // 255 + 1].max(axis=1) <= ZERO_LIGHT
    return int(np.flatnonzero(no_more)[-1]) if no_more[0] else 0


def clipped_share(codes: Array) -> float:
    """Share of (n, 3) pixels with a channel at the top of its range."""
    if len(codes) == 0:
        return 0.0
    return float((codes >= clip_code(codes)).any(axis=-1).mean())


def card_flags(patch: PatchReading) -> frozenset[str]:
    """What is wrong with a grey card, by a written rule over its reading."""
    flags = set()
    if patch.clipped > CLIPPED_NOTED:
        flags.add("card clipped")
    shadow = patch.step > SHADOW_STEP and patch.step_ratio > SHADOW_RATIO
    if shadow:
        flags.add("card in shadow")
    elif patch.tilt > TILT:
        flags.add("card tilted in the light")
    if patch.uneven > UNEVEN and not shadow:
        flags.add("card uneven")
    return frozenset(flags | coloured_flag(patch.linear))


def coloured_flag(grey: Floats) -> frozenset[str]:
    """Whether a mid grey looks coloured in the photo as taken; ``grey``: (3,) its linear RGB."""
    red, _, blue = np.maximum(grey, 1e-6)
    return frozenset({"card coloured"} if abs(np.log(red / blue)) > COLOURED else ())


def exposure_flags(patches: Sequence[PatchReading], stated_y: Floats) -> frozenset[str]:
    """Whether a photo is far too dark, by its lightest neutral. ``stated_y``: (patches,), 0..1."""
    lightest = int(np.argmax(stated_y))
    white = float(patches[lightest].linear.max() / stated_y[lightest])
    return frozenset({"photo too dark"} if white < WHITE_TOO_DARK else ())


def _cell_light(photo: Photo, polygon: Polygon) -> Array:
    """(rows, columns) mean light of cells of the patch's box; NaN outside the patch."""
    box = bounding_box(photo, polygon)
    mask = polygon_mask(photo, polygon, box)
    crop = photo.pixels[box.y0 : box.y1, box.x0 : box.x1]
    thin = max(int(np.sqrt(mask.size / 40_000)), 1)
    crop, mask = crop[::thin, ::thin], mask[::thin, ::thin]
    light = photo.encoding.curve[:, 1][crop[..., 1]].astype(float)
    rows = np.minimum(np.arange(mask.shape[0]) * CELLS // max(mask.shape[0], 1), CELLS - 1)
    columns = np.minimum(np.arange(mask.shape[1]) * CELLS // max(mask.shape[1], 1), CELLS - 1)
    index = (rows[:, None] * CELLS + columns[None, :])[mask]
    count = np.bincount(index, minlength=CELLS * CELLS)
    total = np.bincount(index, weights=light[mask], minlength=CELLS * CELLS)
    full = count >= 0.5 * max(mask.size / (CELLS * CELLS), 1.0)
    cells = np.where(full, total / np.maximum(count, 1), np.nan)
    return np.asarray(cells.reshape(CELLS, CELLS))


def _shape(cells: Array) -> tuple[float, float, float, float]:
    """Tilt, scatter about the plane, largest jump and its ratio, all relative to the mean."""
    rows, columns = np.nonzero(np.isfinite(cells) & (cells > 0))
    if len(rows) < 6:
        return 0.0, 0.0, 0.0, 0.0
    log = np.log(cells[rows, columns])
    v, u = rows / (CELLS - 1) - 0.5, columns / (CELLS - 1) - 0.5
    design = np.stack([np.ones_like(u), u, v], axis=1)
    plane, *_ = np.linalg.lstsq(design, log, rcond=None)
    residual = log - design @ plane
    tilt = float(np.ptp(design @ plane))
    step, ratio = _largest_step(log)
    return tilt, float(residual.std()), step, ratio


def _largest_step(values: Array) -> tuple[float, float]:
    """Best split of the cells into a dark and a light group: jump, and jump over scatter."""
    ordered = np.sort(values)
    best = (0.0, 0.0)
    cuts = np.arange(3, len(ordered) - 2)
    below = np.cumsum(ordered)[cuts - 1] if cuts.size else np.zeros(0)
    jumps = (ordered.sum() - below) / (len(ordered) - cuts) - below / cuts
    wide = ordered[cuts] - ordered[cuts - 1] > 0.299 * jumps  # few: the rest need no closer look
    for cut in cuts[wide]:
        low, high = ordered[:cut], ordered[cut:]
        jump = float(high.mean() - low.mean())
        scatter = float(np.hypot(low.std(), high.std())) + 1e-4
        gap = float(ordered[cut] - ordered[cut - 1])
        if gap > 0.3 * jump and jump / scatter > best[1]:
            best = (jump, jump / scatter)
    return best
