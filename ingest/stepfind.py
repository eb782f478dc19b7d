"""A straight row of neutral steps, found by geometry and by getting darker in order.

All bounds, those inside the functions too, are our choice; none comes from a standard. What they
find and refuse is held in `tests/ingest/test_search.py`.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from ingest.cardfind import log_ratios
from ingest.flatareas import Floats, Quad, WorkingCopy, places_inside
from ingest.model import Reference

#: Steps fewer than this do not remove a tone curve (``NEUTRALS_FOR_A_CURVE`` of `doubt`), so none
#: is looked for.
MIN_STEPS = 6
#: Largest spread of ln(R/G), ln(B/G) over the steps: they are of one hue, whatever the light.
ONE_HUE = 0.25
#: Largest distance of a step's middle from where the row's last pitch puts it, in pitches.
OFF_PITCH = 0.2
#: Where a step at an end has the surface behind it for its colour, so that no edge shows: largest
#: scatter of ln luminance where it must lie, and bounds of ln light from step to step over the
#: stated, whatever the camera's tone curve.
PLAIN, LIKE_STATED = 0.06, (0.35, 2.2)


def find_row(copy: WorkingCopy, quads: list[Quad], y: tuple[float, ...]) -> Reference | None:
    """The one row of ``len(y)`` like quads whose luminance runs in the order of ``y``.

    A white step on white paper shows no edge, nor a black one on a black mount: where all but one
    are seen, the one at an end is taken where the next would lie, if all steps are as stated.
    """
    n = len(y)
    falling = all(a > b for a, b in pairwise(y))
    rising = all(a < b for a, b in pairwise(y))
    if n < MIN_STEPS or not (falling or rising):
        return None
    for seen, read in ((n, _as_steps), (n - 1, _with_one_lost)):
        found: dict[frozenset[int], Reference] = {}
        for seed in range(len(quads)):
            row = _row_from(seed, quads, seen)
            reference = None if row is None else read(copy, [quads[i] for i in row], y)
            if row is not None and reference is not None:
                found[frozenset(row)] = reference
        if found:
            return next(iter(found.values())) if len(found) == 1 else None
    return None


def _with_one_lost(copy: WorkingCopy, row: list[Quad], y: tuple[float, ...]) -> Reference | None:
    """The row with one more step at one of its ends, if there is just one way."""
    found = []
    for end, beside in ((row[0], row[1]), (row[-1], row[-2])):
        corners = end.corners + (end.centre - beside.centre)
        if not _inside(copy, corners):
            continue
        more = replace(end, corners=corners)
        whole = [more, *row] if end is row[0] else [*row, more]
        u, v = places_inside(copy, corners, 16)
        plain = float(np.log(np.maximum(copy.luminance[v, u], 1e-4)).std()) < PLAIN
        reference = _as_steps(copy, whole, y)
        if plain and reference is not None and _as_stated(copy, whole, y):
            found.append(replace(reference, confidence=round(0.8 * reference.confidence, 3)))
    return found[0] if len(found) == 1 else None


def _inside(copy: WorkingCopy, corners: Floats) -> bool:
    return bool((corners >= 0).all() and (corners <= (copy.width, copy.height)).all())


def _as_stated(copy: WorkingCopy, row: list[Quad], y: tuple[float, ...]) -> bool:
    """Whether light falls from step to step about as it is stated to."""
    places = [places_inside(copy, q.corners, 16) for q in row]
    light = np.log([max(float(copy.luminance[v, u].mean()), 1e-4) for u, v in places])
    stated = np.abs(np.diff(np.log(y)))
    seen = np.abs(np.diff(light if (light[0] > light[-1]) == (y[0] > y[-1]) else light[::-1]))
    low, high = LIKE_STATED
    return bool((seen > low * stated).all() and (seen < high * stated).all())


def _row_from(seed: int, quads: list[Quad], n: int) -> list[int] | None:
    """Exactly ``n`` quads in one straight line of even pitch that starts at ``seed``."""
    centres = np.array([q.centre for q in quads])
    area = np.array([q.area for q in quads])
    like = np.flatnonzero((area > area[seed] / 2.5) & (area < area[seed] * 2.5))
    like = like[like != seed]
    if len(like) < n - 1:
        return None
    distance = np.linalg.norm(centres[like] - centres[seed], axis=1)
    for first in like[np.argsort(distance)][:4]:
        row = _follow(seed, int(first), centres, like)
        back = _follow(int(first), seed, centres, np.append(like, seed))
        if len(row) == n and len(back) == 2:
            return row
    return None


def _follow(start: int, second: int, centres: Floats, free: np.ndarray) -> list[int]:
    """Indices along the line from ``start`` through ``second``, one pitch each."""
    row = [start, second]
    while True:
        pitch = centres[row[-1]] - centres[row[-2]]
        length = float(np.linalg.norm(pitch))
        off = np.linalg.norm(centres[free] - (centres[row[-1]] + pitch), axis=1)
        off[np.isin(free, row)] = np.inf
        if not len(off) or off.min() > OFF_PITCH * length:
            return row
        row.append(int(free[off.argmin()]))


def _as_steps(copy: WorkingCopy, row: list[Quad], y: tuple[float, ...]) -> Reference | None:
    """The row as a reference in the order of ``y``; ``None`` where colours do not run so."""
    places = [places_inside(copy, q.corners, 16) for q in row]
    means = np.array([copy.linear[v, u].mean(axis=(0, 1)) for u, v in places], dtype=float)
    luminance = means @ copy.luminance_weights
    if (y[0] < y[-1]) != (luminance[0] < luminance[-1]):
        row, means, luminance = row[::-1], means[::-1], luminance[::-1]
    order = np.diff(luminance) * (1.0 if y[0] < y[-1] else -1.0)
    # Near black the veil and noise of a camera hide the hue.
    lit = luminance > 0.05 * luminance.max()
    hue = log_ratios(means[lit])
    spread = float(np.abs(hue - np.median(hue, axis=0)).max())
    if (order <= 0).any() or spread > ONE_HUE:
        return None
    middle = [q.centre + 0.7 * (q.corners - q.centre) for q in row]
    return Reference(
        kind="steps",
        patches=tuple(copy.fractions(p) for p in middle),
        y=y,
        located="search",
        confidence=round(0.5 + 0.45 * (1.0 - spread / ONE_HUE), 3),
    )
