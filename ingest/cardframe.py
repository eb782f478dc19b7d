"""Whether a grey area belongs to something else: a print on a sheet, a screen, a picture frame.

All bounds, those inside the functions too, are our choice, made on rendered trial pictures and
public example photos of which no run is kept; none comes from a standard. What they find and
refuse is held in `tests/ingest/test_search.py`.
"""

from __future__ import annotations

import numpy as np

from ingest.flatareas import (
    FLAT_LEVELS,
    Floats,
    Quad,
    WorkingCopy,
    clockwise,
    in_any,
    move_sides_out,
    outline_of_flat_area,
    places_inside,
)
from ingest.model import Array
from ingest.sides import Sides

#: A dark rim around an area is seen where its luminance is under this share of both its sides.
RIM = 0.75
#: Largest area of a card with its white rim, in areas of its grey.
RIM_AREA = 1.5
#: A surround that lies along less than this share of the picture's rim is a sheet, not a table.
TABLE_RIM = 0.4
#: A sheet with less than this share of fine structure on it holds no yarn.
SHEET_TEXTURE = 0.12


def framed(copy: WorkingCopy, quad: Quad, quads: list[Quad], sides: Sides) -> bool:
    """Whether an area is part of another thing, so that it is no card that lies by itself."""
    return (
        _nested(copy, quad, quads)
        or _rimmed(copy, sides.corners)
        or _printed(copy, quad, sides.corners)
    )


def _nested(copy: WorkingCopy, quad: Quad, quads: list[Quad]) -> bool:
    """Whether it holds another flat area (a screen's body, a label) or is closely framed by one.

    The narrow white rim that many cards have is no such frame.
    """
    holds = any(
        0.1 * quad.area < q.area < quad.area and in_any(q.centre, [quad.corners]) for q in quads
    )
    framed = any(
        quad.area < q.area < 1.6 * quad.area
        and in_any(quad.centre, [q.corners])
        and not _is_white_rim(copy, quad, q.corners)
        for q in quads
    )
    return holds or framed


def _is_white_rim(copy: WorkingCopy, quad: Quad, outer: Floats) -> bool:
    """Whether what lies between an area and an outline around it is a card's own white rim."""
    import cv2

    size = float(np.sqrt(quad.area))
    if cv2.contourArea(outer.astype(np.float32)) > RIM_AREA * quad.area:
        return False
    if np.abs(outer.mean(axis=0) - quad.centre).max() > 0.04 * size:
        return False
    middle = (clockwise(outer) + clockwise(quad.corners)) / 2
    t = np.linspace(0.0, 1.0, 32, endpoint=False)[:, None]
    walk = (middle[:, None] + t * (np.roll(middle, -1, axis=0) - middle)[:, None]).reshape(-1, 2)
    x = np.clip(walk[:, 0], 0, copy.width - 1).astype(int)
    y = np.clip(walk[:, 1], 0, copy.height - 1).astype(int)
    inner = float(np.median(copy.luminance[places_inside(copy, quad.corners)[::-1]]))
    return float(np.percentile(copy.luminance[y, x], 10)) > 1.8 * inner


def _rimmed(copy: WorkingCopy, corners: Floats) -> bool:
    """Whether a thin rim darker than both its sides runs all the way round, as on a screen."""
    reach = int(np.clip(0.12 * np.linalg.norm(corners[1] - corners[0]), 6, 25))
    t = np.linspace(0.1, 0.9, 24)[:, None]
    rows = []
    for distance in range(-reach, reach + 1):
        p = move_sides_out(corners, float(distance))
        walk = p[:, None] + t * (np.roll(p, -1, axis=0) - p)[:, None]
        x = np.clip(walk[..., 0], 0, copy.width - 1).astype(int)
        y = np.clip(walk[..., 1], 0, copy.height - 1).astype(int)
        rows.append(copy.luminance[y, x].mean(axis=1))
    across = np.array(rows)
    inner, outer = across[:3].mean(axis=0), across[-3:].mean(axis=0)
    return bool((across.min(axis=0) < RIM * np.minimum(inner, outer)).all())


def _printed(copy: WorkingCopy, quad: Quad, corners: Floats) -> bool:
    """Whether the area lies on a sheet or bezel of its own: a print, a screen, a picture.

    A flat surround that holds nothing but this area and does not go on along most of the
    picture's rim is a sheet with a square printed on it, or a screen's rim, not a table.
    """
    import cv2

    outline = outline_of_flat_area(copy, move_sides_out(corners, 7.0), quad.level)
    if outline is None:
        return False
    if _rim_share(copy, outline.reshape(-1, 2)) > TABLE_RIM:
        return False
    hull = cv2.convexHull(outline)
    around = cv2.approxPolyN(hull, 4, ensure_convex=True).reshape(-1, 2).astype(float)
    if len(around) == 4 and _is_white_rim(copy, quad, around):
        return False
    mask = np.zeros((copy.height, copy.width), np.uint8)
    cv2.fillConvexPoly(mask, hull, 1)
    cv2.fillConvexPoly(mask, np.round(move_sides_out(corners, 6.0)).astype(np.int32), 0)
    textured = copy.gradient[mask > 0] > FLAT_LEVELS[-1] + copy.noise
    return bool(cv2.contourArea(hull) < 6.0 * quad.area or textured.mean() < SHEET_TEXTURE)


def _rim_share(copy: WorkingCopy, outline: Array) -> float:
    """Share of the picture's rim along which a filled outline (n, 2) lies."""
    import cv2

    mask = np.zeros((copy.height, copy.width), np.uint8)
    cv2.fillPoly(mask, [outline.astype(np.int32)], 1)
    rim = np.concatenate([mask[4], mask[-5], mask[:, 4], mask[:, -5]])
    return float(rim.mean())
