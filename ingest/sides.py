"""The four sides of a flat area, read again on the picture: place, straightness, sharpness.

All bounds are our choice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.flatareas import Floats, WorkingCopy

#: Places along each side at which its step is looked for, and how far off it, in pixels.
PLACES, REACH_PX = 32, 7


@dataclass(frozen=True, eq=False)
class Sides:
    """``corners``: (4, 2), where the fitted sides meet. The rest is of the worst of four sides.

    ``seen``: share of places with a clear step; ``bend``: root mean square distance of the step
    from a straight line, as share of the side; ``sharpness``: share of the step that happens
    within 3 pixels; ``contrast``: median step in coded levels of 255, in the channel where it is
    largest.
    """

    corners: Floats
    seen: float
    bend: float
    sharpness: float
    contrast: float


def read_sides(copy: WorkingCopy, corners: Floats) -> Sides | None:
    """Sides fitted to the steps near a clockwise quadrilateral (4, 2), in pixels of the copy;
    ``None`` where one shows none."""
    read = [_read_side(copy, corners[k], corners[(k + 1) % 4]) for k in range(4)]
    whole = [side for side in read if side is not None]
    if len(whole) < 4:
        return None
    lines = [side[0] for side in whole]
    seen, bend, sharp, contrast = np.array([side[1:] for side in whole]).T
    met = np.array([np.cross(lines[k - 1], lines[k]) for k in range(4)])
    if (np.abs(met[:, 2]) < 1e-9).any():
        return None
    met = met[:, :2] / met[:, 2:]
    if np.abs(met - corners).max() > 2 * REACH_PX:
        return None
    return Sides(
        met, float(seen.min()), float(bend.max()), float(sharp.min()), float(contrast.min())
    )


def _read_side(
    copy: WorkingCopy, start: Floats, end: Floats
) -> tuple[Floats, float, float, float, float] | None:
    """One side: line (3,) with unit normal, then seen, bend, sharpness and contrast."""
    import cv2

    length = float(np.linalg.norm(end - start))
    along = (end - start) / length
    outward = np.array([along[1], -along[0]])
    t = np.linspace(0.08, 0.92, PLACES)
    depth = np.arange(-REACH_PX, REACH_PX + 1.0)
    points = start + t[:, None, None] * (end - start) + depth[None, :, None] * outward
    xy = (points - 0.5).astype(np.float32)
    read = cv2.remap(
        copy.rgb, xy[..., 0], xy[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    ).astype(float)
    rise = np.abs(read[:, 2:] - read[:, :-2]).sum(axis=2)
    k = np.argmax(rise * np.exp(-0.5 * (depth[1:-1] / 4.0) ** 2), axis=1)
    place = depth[1:-1][k] + _peak_shift(rise, k)
    rows = np.arange(PLACES)
    inner, outer = np.clip(k + 1 - 3, 0, None), np.clip(k + 1 + 3, None, 2 * REACH_PX)
    step = np.abs(read[rows, outer] - read[rows, inner])
    channel = step.argmax(axis=1)
    height = step[rows, channel]
    quick = np.abs(read[rows, k + 2, channel] - read[rows, k, channel])
    clear = height > 5.0
    if clear.sum() < PLACES // 2:
        return None
    slope, offset = _robust_line(t[clear], place[clear])
    rest = place - (slope * t + offset)
    good = clear & (np.abs(rest) < max(1.5, 0.01 * length))
    if good.sum() < PLACES // 2:
        return None
    slope, offset = np.polyfit(t[good], place[good], 1)
    rest = place[good] - (slope * t[good] + offset)
    a, b = start + offset * outward, end + (slope + offset) * outward
    line = np.cross([*a, 1.0], [*b, 1.0])
    line = line / np.linalg.norm(line[:2])
    bend = max(float(np.sqrt(np.mean(rest**2))) - 0.3, 0.0) / length
    sharp = float(np.median(quick[good] / np.maximum(height[good], 1.0)))
    return line, float(good.mean()), bend, sharp, float(np.median(height[good]))


def _peak_shift(rise: Floats, k: Floats) -> Floats:
    """Part of a pixel by which the peak of each row lies off its highest sample."""
    rows = np.arange(len(rise))
    inner = np.clip(k, 1, rise.shape[1] - 2)
    a, b, c = rise[rows, inner - 1], rise[rows, inner], rise[rows, inner + 1]
    bend = a - 2 * b + c
    shift = np.where(bend < 0, 0.5 * (a - c) / np.where(bend < 0, bend, 1.0), 0.0)
    return np.asarray(np.clip(shift, -0.5, 0.5) * (inner == k))


def _robust_line(t: Floats, value: Floats) -> tuple[float, float]:
    """Slope and offset by medians of pairs half the places apart (Theil 1950, paired)."""
    half = len(t) // 2
    slope = float(
        np.median((value[half : 2 * half] - value[:half]) / (t[half : 2 * half] - t[:half]))
    )
    return slope, float(np.median(value - slope * t))
