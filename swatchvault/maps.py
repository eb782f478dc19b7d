"""Where colours have been and where not, and a picture of it: a map by a*b*.

Functions over arrays; the picture is SVG text, readable without colour (shapes and words too).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import ArrayLike

from ingest.colour import Floats, delta_e_2000
from ingest.screen import hex_of_lab
from swatchvault.errors import CompareError
from swatchvault.lab_index import LabIndex

#: Step of the grid on which gaps are looked for, in Lab; and edges of the maps' bands of L*. Our
#: choice.
GRID = 3.0
#: More places than this are not looked at: the grid is made coarser. Our choice, for speed.
PLACES = 2500
BANDS = (0.0, 25.0, 40.0, 55.0, 70.0, 101.0)


@dataclass(frozen=True)
class Gap:
    """A colour that nothing made is near to. ``nearest``: row of the nearest colour made, at
    ``delta_e``. ``reach``: row of ``reachable``, or None where gaps were sought in the hull."""

    lab: tuple[float, float, float]
    delta_e: float
    nearest: int
    reach: int | None = None


def gaps(
    made: ArrayLike, *, count: int = 8, k_l: float = 1.0, reachable: ArrayLike | None = None
) -> list[Gap]:
    """The largest gaps between colours that were made, each the largest once those before it are
    filled: ``delta_e``, to the nearest colour made, need not fall from one to the next.

    ``made``: (n, 3) Lab. ``reachable``: (m, 3) Lab that recipes are predicted to reach; without
    it, a grid of GRID or wider inside the convex hull of ``made``.
    Raises :class:`CompareError` where there are too few colours for a hull.
    """
    lab = np.asarray(made, dtype=float).reshape(-1, 3)
    lab = lab[np.isfinite(lab).all(axis=1)]
    if not len(lab):
        raise CompareError("no measured colour: there is nothing to look for gaps between")
    if reachable is None:
        places = _grid_in_hull(lab)
    else:
        places = np.asarray(reachable, dtype=float).reshape(-1, 3)
    index = LabIndex(lab)
    found = [index.nearest(p, 1, k_l=k_l) for p in places]
    nearest = np.array([int(rows[0]) for rows, _ in found], dtype=int)
    away = np.array([float(d[0]) for _, d in found])
    open_to = away.copy()
    result: list[Gap] = []
    while len(result) < count and len(places) and open_to.max() > 0.0:
        row = int(open_to.argmax())
        lightness, a, b = (float(v) for v in places[row])
        reach = None if reachable is None else row
        result.append(Gap((lightness, a, b), float(away[row]), int(nearest[row]), reach))
        open_to = np.minimum(open_to, delta_e_2000(places[row], places, k_l))
    return result


def _grid_in_hull(lab: Floats) -> Floats:
    from scipy.spatial import Delaunay, QhullError

    try:
        solid = Delaunay(lab)
    except (QhullError, ValueError) as error:
        raise CompareError(
            f"{len(lab)} colours do not span a space to look for gaps in: at least four are "
            "needed that are not all alike in lightness, chroma or hue"
        ) from error
    step = GRID
    while True:
        ends = zip(lab.min(axis=0), lab.max(axis=0), strict=True)
        axes = [np.arange(low, high, step) for low, high in ends]
        grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
        inside = grid[solid.find_simplex(grid) >= 0]
        if len(inside) <= PLACES:
            return np.asarray(inside)
        step *= max(1.05, (len(inside) / PLACES) ** (1 / 3))


#: Room for a letter of size 12, on the average of a line: our choice, wider than most are.
WIDE_LETTER = 7.0


def map_svg(
    made: ArrayLike,
    names: Sequence[str],
    gaps_found: Sequence[Gap] = (),
    title: str = "",
    recipes: Sequence[str] = (),
) -> str:
    """The a*b* plane in bands of L*, side by side: dots are colours made, crosses are gaps.

    A band in which neither lies is left out: a narrow screen shows the first one alone.

    ``recipes``: of each gap, listed below.
    """
    lab = np.asarray(made, dtype=float).reshape(-1, 3)
    points = np.concatenate([lab, np.array([g.lab for g in gaps_found]).reshape(-1, 3)])
    reach = max(20.0, float(np.ceil(np.abs(points[:, 1:]).max(initial=0.0) / 20.0) * 20.0))
    side, gutter, top = 230, 14, 60
    bands = [
        (low, high)
        for low, high in itertools.pairwise(BANDS)
        if ((points[:, 0] >= low) & (points[:, 0] < high)).any()
    ]
    key = "dot: a colour made; numbered cross: a gap. "
    key += f"Right is redder (a*), up is yellower (b*); rings of C* every 20, out to {reach:.0f}."
    lines = [key, *(f"{number}  {recipe}" for number, recipe in enumerate(recipes, 1))]
    room = 2 * gutter + WIDE_LETTER * max(map(len, lines))
    width = max(len(bands) * (side + gutter) + gutter, room)
    height = top + side + 52 + 18 * len(recipes)
    parts = [svg_start(width, height), svg_words(gutter, 24, title, 16)]
    for band, (low, high) in enumerate(bands):
        left = gutter + band * (side + gutter)
        label = f"L* {low:.0f} to {min(high, 100.0):.0f}"
        parts += [svg_words(left, top - 8, label, 13), *_panel(left, top, side, reach)]
        for row in np.flatnonzero((lab[:, 0] >= low) & (lab[:, 0] < high)).tolist():
            x, y = _place(lab[row], left, top, side, reach)
            parts.append(
                f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5.5" fill="{hex_of_lab(lab[row])}" '
                f'stroke="#333" stroke-width="0.8"><title>{escape(names[row])}</title></circle>'
            )
        for number, gap in enumerate(gaps_found, 1):
            if low <= gap.lab[0] < high:
                parts.append(_cross(*_place(gap.lab, left, top, side, reach), number, gap))
    parts.append(svg_words(gutter, top + side + 34, key, 12))
    for number, line in enumerate(lines[1:], 1):
        parts.append(svg_words(gutter, top + side + 38 + 18 * number, line, 12))
    return "\n".join([*parts, "</svg>"])


def _panel(left: float, top: float, side: float, reach: float) -> list[str]:
    middle_x, middle_y = left + side / 2, top + side / 2
    parts = [f'<rect x="{left}" y="{top}" width="{side}" height="{side}" fill="#f6f6f4"/>']
    for ring in np.arange(20.0, reach + 1.0, 20.0):
        radius = ring / reach * side / 2
        parts.append(
            f'<circle cx="{middle_x}" cy="{middle_y}" r="{radius:.1f}" fill="none" '
            'stroke="#bbb" stroke-width="0.6"/>'
        )
    parts.append(
        f'<path d="M{left} {middle_y}h{side}M{middle_x} {top}v{side}" stroke="#bbb" '
        'stroke-width="0.6"/>'
    )
    return parts


def _place(
    lab: Sequence[float] | Floats, left: float, top: float, side: float, reach: float
) -> tuple[float, float]:
    half = side / 2
    return left + half + lab[1] / reach * half, top + half - lab[2] / reach * half


def _cross(x: float, y: float, number: int, gap: Gap) -> str:
    where = f"gap {number}: L* {gap.lab[0]:.0f} a* {gap.lab[1]:z.0f} b* {gap.lab[2]:z.0f}"
    return (
        f'<g><title>{where}, {gap.delta_e:.1f} from the nearest</title><path d="M{x - 5:.1f} '
        f'{y - 5:.1f}l10 10m0 -10l-10 10" stroke="#111" stroke-width="1.6"/>'
        f"{svg_words(x + 7, y + 4, str(number), 12)}</g>"
    )


def svg_start(width: float, height: float) -> str:
    """The opening tag of a white drawing, as large in pixels as in its own units."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}" height="{height:g}" font-family="sans-serif">\n'
        f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>'
    )


def svg_words(x: float, y: float, text: str, size: int, anchor: str = "start") -> str:
    """``text`` at a place, escaped, its font ``size`` in the drawing's units."""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}" '
        f'fill="#222">{escape(text)}</text>'
    )
