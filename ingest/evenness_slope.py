"""Whether the colours of a region run one way over it: a gradient."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.evenness_axes import span
from ingest.evenness_cells import Blocks

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Slope:
    """The leading component of blocks against the best direction over the region.

    Of the whole difference or of its off-line part, whichever runs more nearly one way; that the
    off-line part lies in a plane is asked of both, since a slope of light is the lamp's.

    ``direction_deg``: 0 to the right, 90 down. ``rank``: Spearman's correlation. ``r2``: share of
    the off-line variance that a plane holds. ``span``: its length in ΔE00 units. ``turn``: share
    of the whole slope's length that leaves the light line, 0..1. ``ends``: Lab (2, 3) of the
    first and the last tenth along it.
    """

    direction_deg: float
    rank: float
    r2: float
    span: float
    turn: float
    ends: Floats


def slope(found: Blocks, v: Floats, lab: Floats, line: Floats) -> Slope:
    """How nearly the blocks' colours run one way over the region."""
    on = v @ line
    off = v - np.outer(on, line)
    xy = found.centres - found.centres.mean(axis=0)
    plane = np.concatenate([np.ones((len(xy), 1)), xy], axis=1)
    rank, place, along = max((_run(part, plane) for part in (off, v)), key=lambda run: run[0])
    flat = span(plane)
    fitted = flat @ (flat.T @ off)
    length = float(np.linalg.norm(np.ptp(fitted, axis=0)))
    lit = float(np.ptp(flat @ (flat.T @ on)))
    total = float(((off - off.mean(axis=0)) ** 2).sum())
    left = float(((off - fitted) ** 2).sum())
    order = np.argsort(place, kind="stable")
    tenth = max(len(order) // 10, 1)
    ends = np.stack([lab[order[:tenth]].mean(axis=0), lab[order[-tenth:]].mean(axis=0)])
    return Slope(
        float(np.degrees(np.arctan2(along[1], along[0]))),
        rank,
        1.0 - left / max(total, 1e-12),
        length,
        length / max(float(np.hypot(length, lit)), 1e-9),
        ends,
    )


def _run(v: Floats, plane: Floats) -> tuple[float, Floats, Floats]:
    """Rank correlation of the leading component with its best direction; places along it (n,);
    the direction (2,)."""
    _, _, directions = np.linalg.svd(v - v.mean(axis=0), full_matrices=False)
    lead = v @ directions[0]
    along = np.linalg.lstsq(plane, lead, rcond=None)[0][1:]
    place = plane[:, 1:] @ along
    return abs(_rank_correlation(place, lead)), place, along


def _rank_correlation(a: Floats, b: Floats) -> float:
    ranks = np.empty((2, len(a)))
    for rank, values in zip(ranks, (a, b), strict=True):
        rank[np.argsort(values, kind="stable")] = np.arange(len(a))
    if len(a) < 3 or np.ptp(a) == 0 or np.ptp(b) == 0:
        return 0.0
    return float(np.corrcoef(ranks[0], ranks[1])[0, 1])
