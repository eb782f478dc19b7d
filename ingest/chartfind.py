"""Where a 24-patch chart lies in a photo that has no marks.

Flat squares are joined into a lattice, every 6 by 4 window of it is tried in its four turns, and
all 24 patches must then show the published colours after the chart's own neutrals have set white
and tones. A mirrored or half-hidden chart fails that test. Bounds without another origin beside
them are our choice.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from itertools import product

import numpy as np

from ingest.chartrefine import Grid, refine
from ingest.charts import (
    CHART24_COLUMNS,
    CHART24_LAB_D50,
    CHART24_NEUTRALS,
    CHART24_ROWS,
    CHART24_Y,
)
from ingest.colour import delta_e_2000, lab_d50_to_d65, xyz_to_lab
from ingest.flatareas import Floats, Quad, WorkingCopy
from ingest.model import Array, Photo, Reference

#: The edition that a chart is recognised by: the one sold since 2014; the other is near enough.
ASSUMED_EDITION = "after-2014-11"
#: Squares of a lattice under which it is no chart.
MIN_SQUARES = 9
#: Bounds of CIEDE2000 after the neutrals alone: a whole chart, phones and other makes included,
#: stays within them on the public example photos; no other arrangement that was tried does.
MAX_MEAN_DELTA_E = 10.0
MAX_DELTA_E = 26.0
#: Least ratio of linear light from white to black patch: veiled charts show about 8, clean ones 30.
MIN_NEUTRAL_RATIO = 4.0
#: Middle share of a patch's width that is kept for measuring: clear of edges and frame.
KEPT_SHARE = 0.6


@dataclass(frozen=True, eq=False)
class ChartFound:
    """``grid``: chart cells to pixels of the copy. ``delta_e``: (24,) after neutrals alone."""

    grid: Floats
    delta_e: Floats
    squares: int


def find_chart(photo: Photo, copy: WorkingCopy, quads: list[Quad]) -> Reference | None:
    """The one chart whose 24 patches all fit, its corners refined in the full picture."""
    best: ChartFound | None = None
    for cells in lattices(quads):
        found = _best_window(copy, quads, cells, photo.encoding.to_xyz)
        if found and (best is None or found.delta_e.mean() < best.delta_e.mean()):
            best = found
    if best is None:
        return None
    scale = np.diag([1.0 / copy.width, 1.0 / copy.height, 1.0])
    reference = _reference(refine(photo, scale @ best.grid), best)
    whole = all(0.0 <= v <= 1.0 for point in reference.corners or () for v in point)
    return reference if whole else None


def _reference(grid: Grid, found: ChartFound) -> Reference:
    """Patches and corners as fractions, with a confidence from the colours and the squares."""
    half_x, half_y = grid.fill[0] / 2, grid.fill[1] / 2
    x1, y1 = CHART24_COLUMNS - 0.5 + half_x, CHART24_ROWS - 0.5 + half_y
    x0, y0 = 0.5 - half_x, 0.5 - half_y
    outline = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    unit = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [half_x, half_y] * KEPT_SHARE
    patches = tuple(_polygon(grid.matrix, centre + unit) for centre in cell_centres())
    colours = 1.0 - max(found.delta_e.mean() / MAX_MEAN_DELTA_E, 0.0) / 2.0
    squares = min(1.0, 0.5 + found.squares / 40.0)
    return Reference(
        kind="chart24",
        patches=patches,
        located="search",
        confidence=round(float(colours * squares), 3),
        corners=_polygon(grid.matrix, outline),
    )


def _polygon(matrix: Floats, points: Array) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in project(matrix, points))


def cell_centres() -> Floats:
    """(24, 2) centres of the cells, row by row, in cells."""
    grid = [(c + 0.5, r + 0.5) for r in range(CHART24_ROWS) for c in range(CHART24_COLUMNS)]
    return np.array(grid)


def project(matrix: Array, points: Array) -> Floats:
    """Points (n, 2) through a homography (3, 3)."""
    p = np.asarray(points, dtype=float) @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(p[:, :2] / p[:, 2:])


# -- the lattice of squares --------------------------------------------------------------------


def lattices(quads: list[Quad]) -> list[dict[int, tuple[int, int]]]:
    """Groups of at least ``MIN_SQUARES`` quads joined side by side: quad index to (column, row)."""
    if len(quads) < MIN_SQUARES:
        return []
    centres = np.array([q.centre for q in quads])
    area = np.array([q.area for q in quads])
    frames = [_frame(q) for q in quads]
    left = set(range(len(quads)))
    groups = []
    while left:
        seed = min(left)
        group = _grow(seed, left, centres, area, frames)
        left -= set(group)
        if len(group) >= MIN_SQUARES:
            groups.append(group)
    return groups


def _frame(quad: Quad) -> Floats:
    """(2, 2): the vectors along the first side and along the second one."""
    p = quad.corners
    return np.array([(p[1] - p[0] + p[2] - p[3]) / 2, (p[3] - p[0] + p[2] - p[1]) / 2])


def _grow(
    seed: int, free: set[int], centres: Floats, area: Floats, frames: list[Floats]
) -> dict[int, tuple[int, int]]:
    """All free quads reached from ``seed`` by steps of about one pitch along their own sides."""
    usable = np.isin(np.arange(len(area)), list(free))
    cells: dict[int, tuple[int, int]] = {seed: (0, 0)}
    taken = {(0, 0)}
    frame_of = {seed: frames[seed]}
    queue = deque([seed])
    while queue:
        i = queue.popleft()
        frame = frame_of[i]
        steps = np.linalg.solve(frame.T, (centres - centres[i]).T).T
        like = usable & (area > area[i] / 2.2) & (area < area[i] * 2.2)
        for (dx, dy), j in _neighbours(steps, like):
            cell = (cells[i][0] + dx, cells[i][1] + dy)
            if j in cells or cell in taken:
                continue
            cells[j] = cell
            taken.add(cell)
            frame_of[j] = _aligned(frames[j], frame)
            queue.append(j)
    return cells


def _neighbours(steps: Floats, like: Array) -> list[tuple[tuple[int, int], int]]:
    """The nearest like quad to the right, left, below and above: at 1.05 to 1.65 sides."""
    found = []
    for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
        along = steps @ np.array([dx, dy])
        across = np.abs(steps @ np.array([dy, dx]))
        fits = np.flatnonzero(like & (along > 1.05) & (along < 1.65) & (across < 0.3))
        if len(fits):
            found.append(((dx, dy), int(fits[np.argmin(across[fits])])))
    return found


def _aligned(frame: Floats, to: Floats) -> Floats:
    """The frame turned by quarter turns until its first vector runs like that of ``to``."""
    u, v = frame
    turns = [np.array(t) for t in ((u, v), (v, -u), (-u, -v), (-v, u))]
    return max(turns, key=lambda t: float(t[0] @ to[0]))


# -- windows of 6 by 4 and their colours ---------------------------------------------------------


def _best_window(
    copy: WorkingCopy, quads: list[Quad], cells: dict[int, tuple[int, int]], to_xyz: Array
) -> ChartFound | None:
    """The window and turn whose colours fit the published ones best, if any fits at all."""
    import cv2

    index = list(cells)
    at = np.array([cells[i] for i in index], dtype=float)
    centres = np.array([quads[i].centre for i in index])
    side = float(np.sqrt(np.median([quads[i].area for i in index])))
    matrix, _ = cv2.findHomography(at + 0.5, centres, cv2.RANSAC, max(1.0, 0.1 * side))
    if matrix is None:
        return None
    best: ChartFound | None = None
    turn = np.eye(2)
    for _ in range(4):
        turned = at @ turn.T
        low = turned.min(axis=0).astype(int)
        high = turned.max(axis=0).astype(int)
        columns = range(min(low[0], high[0] - 5), max(low[0], high[0] - 5) + 1)
        rows = range(min(low[1], high[1] - 3), max(low[1], high[1] - 3) + 1)
        for c, r in product(columns, rows):
            inside = (turned >= [c, r]) & (turned <= [c + 5, r + 3])
            squares = int(inside.all(axis=1).sum())
            if squares < MIN_SQUARES:
                continue
            grid = matrix @ _window(turn, c, r)
            delta_e = _fit_of(copy, grid, to_xyz)
            if delta_e is not None and (best is None or delta_e.mean() < best.delta_e.mean()):
                best = ChartFound(grid, delta_e, squares)
        turn = np.array([[0.0, -1.0], [1.0, 0.0]]) @ turn
    return best


def _window(turn: Floats, column: int, row: int) -> Floats:
    """(3, 3): chart cells (outer corner 0, 0) to the lattice of cells with centres at + 0.5."""
    back = turn.T
    shift = back @ (np.array([column, row]) - 0.5) + 0.5
    out = np.eye(3)
    out[:2, :2] = back
    out[:2, 2] = shift
    return out


def _fit_of(copy: WorkingCopy, grid: Floats, to_xyz: Array) -> Floats | None:
    """(24,) CIEDE2000 of the patches under ``grid``, or ``None`` where they are no chart."""
    spread = np.linspace(-0.2, 0.2, 5)
    offsets = np.array(list(product(spread, spread)))
    points = project(grid, (cell_centres()[:, None] + offsets[None]).reshape(-1, 2))
    x, y = np.floor(points[:, 0]).astype(int), np.floor(points[:, 1]).astype(int)
    if x.min() < 0 or y.min() < 0 or x.max() >= copy.width or y.max() >= copy.height:
        return None
    patches = np.asarray(copy.linear[y, x], dtype=float).reshape(24, -1, 3)
    delta_e = chart_delta_e(patches.mean(axis=1), to_xyz)
    if delta_e is None or delta_e.mean() > MAX_MEAN_DELTA_E or delta_e.max() > MAX_DELTA_E:
        return None
    return delta_e


def chart_delta_e(linear: Array, to_xyz: Array) -> Floats | None:
    """(24,) CIEDE2000 of linear RGB (24, 3) to the published colours once the neutrals fit.

    White, exposure and tone curve come from the six neutrals alone, straight pieces between cube
    roots. ``None`` where the neutrals do not get darker in order in every channel.
    """
    root = np.cbrt(np.maximum(np.asarray(linear, dtype=float), 0.0))
    neutrals = root[list(CHART24_NEUTRALS)][::-1]
    wanted = np.cbrt([CHART24_Y[ASSUMED_EDITION][i] for i in CHART24_NEUTRALS])[::-1]
    # A step may be lost to noise or clipping, a reversal of more than 2 % may not.
    if (np.diff(neutrals, axis=0) < -0.02 * neutrals[1:]).any():
        return None
    if ((neutrals[-1] / np.maximum(neutrals[0], 1e-3)) ** 3 < MIN_NEUTRAL_RATIO).any():
        return None
    rising = np.maximum.accumulate(neutrals, axis=0) + 1e-4 * np.arange(6)[:, None]
    mapped = np.stack([_pieces(root[:, k], rising[:, k], wanted) for k in range(3)], axis=1)
    lab = xyz_to_lab(np.maximum(mapped, 0.0) ** 3 @ to_xyz.T)
    return delta_e_2000(lab_d50_to_d65(CHART24_LAB_D50[ASSUMED_EDITION]), lab)


def _pieces(x: Floats, at: Floats, value: Floats) -> Floats:
    """Straight pieces through (at, value); beyond the ends the overall slope goes on."""
    inside = np.interp(x, at, value)
    slope = (value[-1] - value[0]) / (at[-1] - at[0])
    beyond = np.maximum(x - at[-1], 0.0) - np.maximum(at[0] - x, 0.0)
    return np.asarray(inside + slope * beyond)
