"""A region of yarn as small cells of linear light, and sums of them: where evenness starts.

A cell is about 0.16 mm, finer than a strand and far coarser than a photo of a small region, so
that everything after it costs the same whatever the camera. Light is only ever summed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ingest.colour import xyz_to_lab
from ingest.model import Array

Floats = NDArray[np.float64]
ToXyz = Callable[[Array], Array]

#: Side of a cell in mm that is aimed at.
CELL_MM = 0.16
#: Most cells; a larger region has larger cells.
MOST_CELLS = 250_000
#: Largest side of a cell in mm that still shows strands.
LARGEST_MM = 0.5
#: Share of a cell, and of a block's own weight, that must be yarn.
LEAST_FULL = 0.5
#: Side of a block in mm: several strands. Its weight is a Gaussian with this share of its side
#: as standard deviation, and blocks are sampled at this share of their side.
BLOCK_MM, BLOCK_SIGMA, BLOCK_STEP = 5.0, 0.29, 0.5
#: Standard deviations beyond which a weight is lost in single precision: exp(-18) is under 2^-24.
FAR_SIGMAS = 6.0
#: Area in mm² above which blocks of 5 mm do not overlap: there are enough of them.
LARGE_MM2 = 8000.0


@dataclass(frozen=True, eq=False)
class Cells:
    """``light``: (h, w, 3) float32, mean linear RGB of a cell's yarn; ``weight``: (h, w) float32,
    0..1, share of the cell that is yarn (no light where 0). ``mm``: side of a cell, NaN unknown;
    ``mm_per_px``: of the pixels that it was summed from."""

    light: Array
    weight: Array
    mm: float
    mm_per_px: float

    @cached_property
    def planes(self) -> Sequence[Array]:
        """The light's three channels, (h, w) each, one after the other in memory."""
        import cv2

        return cv2.split(self.light)


def cell_factor(mm_per_px: float, pixels: int) -> int:
    """How many pixels along each side make a cell."""
    fewer = math.ceil(math.sqrt(pixels / MOST_CELLS))
    if not mm_per_px > 0:
        return max(fewer, 1)
    return max(round(CELL_MM / mm_per_px), min(fewer, int(LARGEST_MM / mm_per_px)), 1)


def sum_to_cells(linear: Array, mask: Array, factor: int) -> tuple[Array, Array]:
    """Light (h, w, 3) and yarn share (h, w) of cells, means over ``factor`` squared pixels.

    The mask is applied before anything is summed; the last, partial cells are left out.
    """
    import cv2

    rows, columns = mask.shape[0] // factor, mask.shape[1] // factor
    if rows == 0 or columns == 0:  # the last strip of a region may be lower than a cell
        return np.zeros((rows, columns, 3), np.float32), np.zeros((rows, columns), np.float32)
    cut = np.s_[: rows * factor, : columns * factor]
    light = np.asarray(linear[cut], dtype=np.float32)
    size, mean = (columns, rows), {"interpolation": cv2.INTER_AREA}
    if mask[cut].all():
        weight = np.ones((rows, columns), dtype=np.float32)
    else:
        seen = mask[cut].astype(np.float32)
        light = light * seen[..., None]
        weight = seen if factor == 1 else np.asarray(cv2.resize(seen, size, **mean))
    if factor == 1:
        return np.ascontiguousarray(light), np.ascontiguousarray(weight)
    return np.asarray(cv2.resize(light, size, **mean)), weight


def as_cells(light: Array, weight: Array, mm_per_px: float, factor: int) -> Cells:
    """Cells of summed light; those that are mostly not yarn count as none."""
    mm = mm_per_px * factor
    use = weight >= LEAST_FULL
    if weight.min() == 1.0:
        return Cells(light, weight, mm, mm_per_px)
    share = np.where(use, weight, 1.0)
    return Cells(
        np.where(use[..., None], light / share[..., None], 0.0).astype(np.float32),
        np.where(use, weight, 0.0).astype(np.float32),
        mm,
        mm_per_px,
    )


def local_mean(values: Array, weight: Array, side: int) -> Array:
    """(h, w) mean of ``values`` over squares of ``side`` cells, of what is yarn."""
    return local_means(weight, side)(values)


def local_means(weight: Array, side: int) -> Callable[[Array], Array]:
    """The same for many values of one region."""
    import cv2

    size = (side | 1, side | 1)
    flat = {"borderType": cv2.BORDER_CONSTANT}
    total = np.maximum(cv2.blur(weight, size, **flat), 1e-6)
    return lambda values: np.asarray(cv2.blur(values * weight, size, **flat) / total)


@dataclass(frozen=True, eq=False)
class Blocks:
    """Blocks that are mostly yarn: light (n, 3), centres (n, 2) x, y in mm, weight (n,).

    ``halves``: light (2, n, 3) of the two colours of a checkerboard of 1 mm. ``step_mm``: from a
    centre to the next, across and down.
    """

    light: Floats
    centres: Floats
    weight: Floats
    halves: Floats
    step_mm: float


def weighed(cells: Cells, reading: Array) -> Array:
    """(h, 4, w) float32: light of cells read with a weight (h, w) within the yarn in three
    planes, and that weight."""
    h, w = reading.shape
    weight = cells.weight * reading
    out = np.empty((h, 4, w), dtype=np.float32)
    for c in range(3):
        np.multiply(cells.planes[c], weight, out=out[:, c])
    out[:, 3] = weight
    return out


def blocks(cells: Cells, reads: Sequence[Array], side_mm: float = BLOCK_MM) -> list[Blocks]:
    """Blocks of a region, for each of ``reads``: (h, 4, w), its cells as :func:`weighed`."""
    h, w = cells.weight.shape
    wide = h * w * cells.mm**2 > LARGE_MM2 * (side_mm / BLOCK_MM) ** 2
    step = side_mm * (1.0 if wide else BLOCK_STEP) / cells.mm
    rows, columns = (_places(n, side_mm / cells.mm, step) for n in (h, w))
    sigma = side_mm * BLOCK_SIGMA / cells.mm
    across, down = _kernel(columns, w, sigma), _kernel(rows, h, sigma)
    yarn = down @ (across @ cells.weight.T).T
    whole = np.outer(down.sum(axis=1), across.sum(axis=1))
    enough = yarn >= LEAST_FULL * whole
    side = max(round(1.0 / cells.mm), 1)
    kernels = ((down, across), (_turning(down, side), _turning(across, side)))
    grid = np.stack(np.meshgrid(columns, rows), axis=-1) * cells.mm
    found = []
    for read in reads:
        light, total = _halves(read, kernels)
        both = total.sum(axis=0)
        keep = enough & (both > 0) & (total.min(axis=0) > 0.05 * both)
        found.append(
            Blocks(
                light.sum(axis=0)[keep] / both[keep][:, None],
                grid[keep],
                (yarn / whole)[keep],
                light[:, keep] / total[:, keep][..., None],
                step * cells.mm,
            )
        )
    return found


def _halves(read: Array, kernels: Sequence[tuple[Any, Any]]) -> tuple[Floats, Floats]:
    """Sums (2, rows, columns, 3) of light and (2, rows, columns) of weight over both halves of a
    checkerboard. ``kernels``: down and across, as they are and :func:`_turning`.

    With signs that turn from square to square down and across, a sum counts one half less the
    other: half of the sum without and with them are the two.
    """
    h, _, w = read.shape
    flat = read.reshape(h, -1)
    whole, turned = (
        (a @ (d @ flat).reshape(-1, w).T).reshape(-1, d.shape[0], 4).transpose(1, 0, 2)
        for d, a in kernels
    )
    sums = np.stack([whole - turned, whole + turned]).astype(np.float64) / 2.0
    return sums[..., :3], sums[..., 3]


def _turning(kernel: Any, side: int) -> Any:
    """A kernel (places, cells) whose sign turns every ``side`` cells."""
    signs = 1.0 - 2.0 * (np.arange(kernel.shape[1]) // side % 2)
    out = kernel.copy()
    out.data *= signs.astype(np.float32)[out.indices]
    return out


def _places(cells: int, side: float, step: float) -> Floats:
    """Centres of blocks along one side, in cells, as many as fit, about the middle."""
    room = max(cells - side, 0.0)
    count = int(room / step + 1e-6) + 1
    return np.asarray((cells - step * (count - 1)) / 2.0 + step * np.arange(count, dtype=float))


def _kernel(places: Floats, cells: int, sigma: float) -> Any:
    """Weights (places, cells), sparse: what is too far to count is not kept, and no library
    spreads so small a product over threads that cost more than it."""
    from scipy.sparse import csr_array

    reach = FAR_SIGMAS * sigma
    first = np.maximum(np.floor(places - reach).astype(np.int32), 0)
    index = first[:, None] + np.arange(math.ceil(2.0 * reach) + 2, dtype=np.int32)
    away = (index + 0.5 - places[:, None]) / sigma
    near = (np.abs(away) < FAR_SIGMAS) & (index < cells)
    ends = np.concatenate([[0], np.cumsum(near.sum(axis=1))]).astype(np.int32)
    weight = np.exp(-0.5 * away[near] ** 2).astype(np.float32)
    return csr_array((weight, index[near], ends), shape=(len(places), cells))


def _mean_plane(plane: Array, factor: int) -> Array:
    """Mean of squares of ``factor`` cells of a plane (h, w)."""
    import cv2

    rows, columns = plane.shape[0] // factor, plane.shape[1] // factor
    if factor == 1 or rows == 0 or columns == 0:
        return plane[:rows, :columns]
    cut = plane[: rows * factor, : columns * factor]
    return np.asarray(cv2.resize(cut, (columns, rows), interpolation=cv2.INTER_AREA))


def millimetre_cells(read: Array, mm: float, to_xyz: ToXyz) -> tuple[Floats, Floats]:
    """Lab (h, w, 3) of 1 mm cells, NaN where there is too little to read, and the share of each
    that was read (h, w). ``read``: (h, 4, w), cells of ``mm`` as they are :func:`weighed`."""
    factor = max(round(1.0 / mm), 1)
    *light, total = (_mean_plane(read[:, c], factor) for c in range(4))
    enough = total > 0.1
    share = np.where(enough, total, 1.0)
    lab = xyz_to_lab(to_xyz(np.stack([part / share for part in light], axis=-1)))
    lab[~enough] = np.nan
    return lab, total
