"""Which colours lie in a region: palette, dots, and how far its 1 mm cells reach."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.colour import delta_e_2000
from ingest.evenness_axes import axes, mcdm

Floats = NDArray[np.float64]

#: Lightness counts this much in distances between cells: shadow lives there.
LIGHTNESS = 0.6
#: A dot is further from its surround than this, and than so many robust standard deviations.
DOT_DELTA, DOT_SIGMAS = 4.0, 3.0
#: Side in cells (mm) of the surround whose median a dot is held against.
SURROUND = 9
#: Cells (mm) between two whose likeness says whether a colour runs on: more than a dot is wide.
RUN_CELLS = 6
#: Colours of a palette: separation in ΔE00, gap over spread, share, and how many at most.
SEPARATION, GAP, LEAST_SHARE, MOST_COLOURS = 10.0, 3.0, 0.03, 6
#: Change of colour from cell to neighbour from which a cell is no flat part of a colour.
FLAT_STEP = 6.0
#: Most bins of colour that are counted one by one.
MOST_KEYS = 1_000_000
#: Most 1 mm cells (64 x 64 mm of yarn) that a spread or a grid of colours is taken from.
MOST_SAMPLES = 4_096
#: The golden ratio less one.
GOLDEN = (5.0**0.5 - 1.0) / 2.0


def sampled(values: Floats, where: NDArray[np.bool_]) -> Floats:
    """Of cells (h, w, ...) those ``where`` (h, w), all or :data:`MOST_SAMPLES` of them, spread
    evenly: (n, ...).

    One from each of so many equal runs, at a place in the run that goes by the golden ratio: so
    no stripe in the rows is met in step.
    """
    rows = np.flatnonzero(where)
    if len(rows) > MOST_SAMPLES:
        number = np.arange(MOST_SAMPLES)
        place = number + number * GOLDEN % 1.0
        rows = rows[(place * (len(rows) / MOST_SAMPLES)).astype(np.int64)]
    return values.reshape(where.size, *values.shape[2:])[rows]


@dataclass(frozen=True, eq=False)
class Reach:
    """1 mm cells: ``off95`` and ``median`` distance from the median colour off the light line,
    ``unevenness``: mean ΔE00 from the mean. ``middle``: (3,) the median colour, Lab."""

    off95: float
    median: float
    unevenness: float
    middle: Floats

    @property
    def kurt(self) -> float:
        return self.off95 / max(self.median, 0.3)


def reach(lab: Floats, line: Floats) -> Reach:
    """Of cells (h, w, 3) in Lab, NaN where unread; of large yarn a sample."""
    lab = sampled(lab, np.isfinite(lab[..., 0]))
    middle = np.median(lab, axis=0)
    v = axes(middle, lab)
    off = np.linalg.norm(v - np.outer(v @ line, line), axis=1)
    return Reach(float(np.quantile(off, 0.95)), float(np.median(off)), mcdm(lab), middle)


@dataclass(frozen=True)
class Layout:
    """How colours lie. ``bulk``: 75 % over 97 % distance of cells from their median colour, small
    where most is one ground. ``run``: how alike cells :data:`RUN_CELLS` apart are along the side
    of the region on which they are more so, -1..1: painted colour runs on, a dot does not."""

    bulk: float
    run: float


def layout(lab: Floats, middle: Floats) -> Layout:
    """Of cells (h, w, 3) in Lab, NaN where unread, about their median colour (3,)."""
    seen = np.isfinite(lab[..., 0])
    count = int(seen.sum())
    about = [
        np.where(seen, (lab[..., c] - middle[c]) * weight, 0.0).astype(np.float32)
        for c, weight in enumerate((LIGHTNESS, 1.0, 1.0))
    ]
    square = about[0] * about[0] + about[1] * about[1] + about[2] * about[2]
    most, far = np.sqrt(np.quantile(sampled(square, seen), [0.75, 0.97]))
    for part in about:
        part -= seen * np.float32(part.sum() / max(count, 1))
    variance = max(sum(float(np.vdot(part, part)) for part in about) / max(count, 1), 1e-12)
    runs = []
    for ahead, behind in (
        (np.s_[RUN_CELLS:], np.s_[:-RUN_CELLS]),
        (np.s_[:, RUN_CELLS:], np.s_[:, :-RUN_CELLS]),
    ):
        pairs = int(np.count_nonzero(seen[ahead] & seen[behind]))
        if pairs:
            shared = sum(float((part[ahead] * part[behind]).sum()) for part in about)
            runs.append(shared / pairs / variance)
    return Layout(float(most / max(far, 1e-6)), max(runs, default=0.0))


@dataclass(frozen=True, eq=False)
class Dots:
    """``percent`` of the yarn's cells, ``per_dm2``, ``mean_mm``: side of a mean dot,
    ``lab``: (3,) their mean colour or None. ``off``: by how much the middle dot's a* and b* are
    off what less or more light makes of its surround, ΔC of a difference weighted by chroma."""

    percent: float
    per_dm2: float
    mean_mm: float
    lab: Floats | None
    off: float = 0.0


def dots(lab: Floats, middle: Floats, cell_mm: float) -> Dots:
    """Cells (h, w, 3) that stand out of the median of their surround.

    Unread ones, NaN, take the median colour (3,).
    """
    import cv2

    seen = np.isfinite(lab[..., 0])
    count = int(seen.sum())
    if count < SURROUND**2:
        return Dots(0.0, 0.0, 0.0, None)
    filled = [np.where(seen, lab[..., c], middle[c]).astype(np.float32) for c in range(3)]
    whole = [filled[0] * np.float32(2.0), *(plane + np.float32(128.0) for plane in filled[1:])]
    coded = cv2.merge([cv2.convertScaleAbs(np.maximum(plane, 0.0)) for plane in whole])
    ground = cv2.medianBlur(coded, SURROUND)
    gap = [plane - around for plane, around in zip(whole, cv2.split(ground), strict=True)]
    gap[0] *= np.float32(LIGHTNESS / 2.0)
    away = np.sqrt(gap[0] * gap[0] + gap[1] * gap[1] + gap[2] * gap[2])
    robust = 1.4826 * float(np.median(sampled(away, seen)))
    found = (away > max(DOT_DELTA, DOT_SIGMAS * robust)) & seen
    dotted = int(found.sum())
    if dotted == 0:
        return Dots(0.0, 0.0, 0.0, None)
    pieces = int(cv2.connectedComponents(found.astype(np.uint8))[0]) - 1
    area_dm2 = count * cell_mm**2 / 1e4
    side = cell_mm * float(np.sqrt(dotted / pieces))
    around = (ground[found] - np.array([0.0, 128.0, 128.0])) * (0.5, 1.0, 1.0)
    off = float(np.median(off_light(lab[found], around)))
    return Dots(100.0 * dotted / count, pieces / area_dm2, side, lab[found].mean(axis=0), off)


def off_light(lab: Floats, ground: Floats) -> Floats:
    """(n,) how far a* and b* of colours (n, 3) are off what light alone makes of a ground (n, 3).

    Light scales XYZ, and so L* + 16, a* and b* by one factor (CIE 15:2018, above its straight
    part). Weighted by SC of CIEDE2000 at the chroma that light makes.
    """
    lit = ground[:, 1:] * ((lab[:, :1] + 16.0) / (ground[:, :1] + 16.0))
    weight = 1.0 + 0.045 * np.linalg.norm(lit, axis=1)
    return np.asarray(np.linalg.norm(lab[:, 1:] - lit, axis=1) / weight)


@dataclass(frozen=True, eq=False)
class Palette:
    """``lab``: (k, 3), ``share``: (k,), largest first. ``label``: (h, w) which colour each cell is
    nearest to, -1 unread."""

    lab: Floats
    share: Floats
    label: NDArray[np.int64]


def palette(lab: Floats) -> Palette:
    """Up to six colours of cells (h, w, 3): flat cells gathered until no two are near."""
    seen = np.isfinite(lab[..., 0])
    flat = _flat(lab, seen)
    use = flat if int(flat.sum()) >= 0.1 * seen.sum() else seen
    centres, counts, variances = _bins(sampled(lab, use))
    while len(centres) > 1:
        pair = _too_near(centres, counts, variances)
        if pair is None:
            break
        centres, counts, variances = _merged(centres, counts, variances, *pair)
    keep = counts >= LEAST_SHARE * counts.sum()
    order = np.argsort(-counts[keep])[:MOST_COLOURS]
    chosen = centres[keep][order]
    label = _nearest(lab, chosen)
    label[~seen] = -1
    share = np.bincount(label.ravel() + 1, minlength=len(chosen) + 1)[1:] / max(int(seen.sum()), 1)
    return Palette(chosen, share, label)


def _nearest(lab: Floats, chosen: Floats) -> NDArray[np.int64]:
    """(h, w) which of the colours (k, 3) each cell (h, w, 3) is nearest to, the first of equals."""
    square = np.array([LIGHTNESS, 1.0, 1.0]) ** 2
    nearer = lab @ (-2.0 * square * chosen).T + (square * chosen**2).sum(axis=1)
    label, least = np.zeros(lab.shape[:2], dtype=np.int64), nearer[..., 0].copy()
    for k in range(1, len(chosen)):
        closer = nearer[..., k] < least
        np.copyto(label, k, where=closer)
        np.copyto(least, nearer[..., k], where=closer)
    return label


def signature(lab: Floats) -> tuple[Floats, Floats]:
    """Up to six colours (k, 3) that stand for all cells (h, w, 3), and their shares (k,), largest
    first: the nearest are gathered, by Ward's cost, until so many are left.

    Unlike a palette it tells apart what no eye would call two colours: a search compares it.
    """
    centres, counts, variances = _bins(sampled(lab, np.isfinite(lab[..., 0])))
    while len(centres) > MOST_COLOURS:
        gap = np.linalg.norm((centres[:, None] - centres[None]) * (LIGHTNESS, 1.0, 1.0), axis=-1)
        cost = _ward(counts, gap)
        np.fill_diagonal(cost, np.inf)
        i, j = np.unravel_index(int(np.argmin(cost)), cost.shape)
        centres, counts, variances = _merged(centres, counts, variances, int(i), int(j))
    order = np.argsort(-counts, kind="stable")
    return centres[order], counts[order] / counts.sum()


def _ward(counts: Floats, gap: Floats) -> Floats:
    """(k, k) what merging two groups adds to the squares about their means."""
    return np.asarray(counts[:, None] * counts[None] / (counts[:, None] + counts[None]) * gap**2)


def _flat(lab: Floats, seen: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Cells whose neighbours to the right and below have nearly their colour."""
    flat = seen.copy()
    planes = [lab[..., c] * weight for c, weight in enumerate((LIGHTNESS, 1.0, 1.0))]
    for after, before in ((np.s_[1:], np.s_[:-1]), (np.s_[:, 1:], np.s_[:, :-1])):
        steps = [plane[after] - plane[before] for plane in planes]
        flat[before] &= sum(step * step for step in steps) < FLAT_STEP**2
    return flat


def _bins(values: Floats) -> tuple[Floats, Floats, Floats]:
    """Means (k, 3), counts (k,) and mean squares about them (k,) of a grid of colours."""
    side = 5.0
    while True:
        key = np.floor(values * (LIGHTNESS, 1.0, 1.0) / side).astype(np.int64)
        key -= key.min(axis=0)
        whole = (key[:, 0] * (key[:, 1].max() + 1) + key[:, 1]) * (key[:, 2].max() + 1) + key[:, 2]
        index, counts = _numbered(whole)
        if len(counts) <= 100:
            break
        side *= 1.3
    sums = np.stack([np.bincount(index, values[:, c]) for c in range(3)], axis=-1)
    centres = sums / counts[:, None]
    weights = np.array([LIGHTNESS, 1.0, 1.0])
    square = np.bincount(index, (((values - centres[index]) * weights) ** 2).sum(axis=1))
    return centres, counts.astype(float), square / counts


def _numbered(keys: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Which of the keys (n,) that occur, in order, each is, and how often each occurs."""
    if keys.max() > MOST_KEYS:  # too many to count one by one: sort
        _, index, counts = np.unique(keys, return_inverse=True, return_counts=True)
        return index.ravel(), counts
    every = np.bincount(keys)
    number = np.cumsum(every > 0) - 1
    return number[keys], every[every > 0]


def _too_near(centres: Floats, counts: Floats, variances: Floats) -> tuple[int, int] | None:
    """The nearest pair that is no two colours, or None."""
    weights = np.array([LIGHTNESS, 1.0, 1.0])
    gap = np.linalg.norm((centres[:, None] - centres[None]) * weights, axis=-1)
    pooled = (counts[:, None] * variances[:, None] + counts[None] * variances[None]) / (
        counts[:, None] + counts[None]
    )
    small = np.minimum(counts[:, None], counts[None]) < LEAST_SHARE * counts.sum()
    apart = delta_e_2000(centres[:, None], centres[None])
    near = (apart < SEPARATION) | (gap < GAP * np.sqrt(pooled)) | (small & (apart < 2 * SEPARATION))
    np.fill_diagonal(near, False)
    if not near.any():
        return None
    # Ward's cost, so that large groups do not swallow each other first.
    cost = np.where(near, _ward(counts, gap), np.inf)
    i, j = np.unravel_index(int(np.argmin(cost)), near.shape)
    return int(i), int(j)


def _merged(
    centres: Floats, counts: Floats, variances: Floats, i: int, j: int
) -> tuple[Floats, Floats, Floats]:
    total = counts[i] + counts[j]
    share = np.array([counts[i], counts[j]]) / total
    mean = share @ centres[[i, j]]
    gap2 = float((((centres[i] - centres[j]) * (LIGHTNESS, 1.0, 1.0)) ** 2).sum())
    variance = float(share @ variances[[i, j]]) + float(share.prod()) * gap2
    keep = [k for k in range(len(counts)) if k not in (i, j)]
    return (
        np.concatenate([centres[keep], mean[None]]),
        np.concatenate([counts[keep], [total]]),
        np.concatenate([variances[keep], [variance]]),
    )
