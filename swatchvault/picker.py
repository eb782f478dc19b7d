"""Colours that can be picked: the plane of a*, b* at a lightness, as far as a surface can go."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from ingest.colour import D65, Floats, lab_to_xyz, xyz_to_lab
from ingest.optimal import band_colours
from ingest.screen import hexes_of_labs, linear_of_lab

#: Hues at which the limit is worked out, evenly around. Our choice.
HUES = 72
#: The plane shows a* and b* from -EXTENT to EXTENT; cells of CELL. Our choice.
EXTENT, CELL = 130, 10


@lru_cache(maxsize=256)
def most_chroma(lightness: float) -> tuple[float, ...]:
    """The most C*ab that a reflecting surface can have at an L* (0 to 100), by hue.

    :data:`HUES` values from hab 0 on, by the optimal-colour solid (`ingest.optimal`).
    """
    if not 0.0 < lightness < 100.0:
        return (0.0,) * HUES
    level = float(lab_to_xyz([lightness, 0.0, 0.0], D65)[1])
    corners = _faces()
    above = corners[:, :, 1] >= level
    cut = corners[above.any(axis=1) & ~above.all(axis=1)]
    following = np.roll(cut, -1, axis=1)
    crossing = (cut[:, :, 1] >= level) != (following[:, :, 1] >= level)
    one, two = (v[crossing].reshape(-1, 3) for v in (cut, following))
    along = (level - one[:, 1]) / (two[:, 1] - one[:, 1])
    ends = (one + along[:, None] * (two - one)).reshape(-1, 2, 1, 3)  # two on each face
    share = np.linspace(0.0, 1.0, 9)[:, None]
    lab = xyz_to_lab((ends[:, 0] * (1.0 - share) + ends[:, 1] * share).reshape(-1, 3), D65)
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1])) % 360.0
    order = np.argsort(hue, kind="stable")
    chroma = np.hypot(lab[:, 1], lab[:, 2])[order]
    wanted = np.arange(HUES) * 360.0 / HUES
    return tuple(float(v) for v in np.interp(wanted, hue[order], chroma, period=360.0))


@lru_cache(maxsize=1)
def _faces() -> Floats:
    """(n, 3, 3) corners, in XYZ, of the triangles that bound the optimal-colour solid."""
    from scipy.spatial import ConvexHull

    points = band_colours()
    return np.asarray(points[ConvexHull(points).simplices])


def chroma_limit(lightness: float, hue_deg: float) -> float:
    """The most C*ab at a lightness and a hue, between the hues of :func:`most_chroma`."""
    limits = most_chroma(float(round(lightness)))
    place = (hue_deg % 360.0) * HUES / 360.0
    first = int(place) % HUES
    share = place - int(place)
    return limits[first] * (1.0 - share) + limits[(first + 1) % HUES] * share


def on_a_screen(lab: ArrayLike) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """(...,) whether sRGB holds each colour (..., 3), within half a step of 8 bits or so."""
    rgb = linear_of_lab(lab)
    return np.asarray(((rgb >= -0.0005) & (rgb <= 1.0005)).all(axis=-1))


def lab_of_lch(lightness: float, chroma: float, hue_deg: float) -> tuple[float, float, float]:
    """L*, a*, b* of L*, C*ab and hab in degrees."""
    hue = math.radians(hue_deg)
    return lightness, chroma * math.cos(hue), chroma * math.sin(hue)


def lch_of_lab(lab: Sequence[float]) -> tuple[float, float, float]:
    """L*, C*ab and hab in degrees, 0 to 360."""
    hue = math.degrees(math.atan2(lab[2], lab[1])) % 360.0
    return float(lab[0]), math.hypot(lab[1], lab[2]), hue


def plane_svg(lightness: float, dots: ArrayLike, chosen: Sequence[float] | None = None) -> str:
    """The a*b* plane at an L*: what a surface can be, what of it a screen can show, colours made.

    ``dots``: (n, 3) Lab of colours made near that lightness. A cell with a stroke is beyond
    sRGB: it is drawn as the nearest that the screen has. ``data-limit`` holds the limit by hue.
    """
    parts = [_ground(round(lightness)), *_dots(dots)]
    a, b = (0.0, 0.0) if chosen is None else (float(chosen[1]), float(chosen[2]))
    parts.append(
        f'<g class="spot" transform="translate({a:.1f} {-b:.1f})">'
        '<circle r="6" fill="none" stroke="#fff" stroke-width="3.4"/>'
        '<circle r="6" fill="none" stroke="#000" stroke-width="1.6"/></g>'
    )
    return "".join([*parts, "</svg>"])


@lru_cache(maxsize=101)
def _ground(lightness: int) -> str:
    limits = most_chroma(float(lightness))
    edge = " ".join(_point(c, i * 360.0 / HUES) for i, c in enumerate(limits))
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{-EXTENT} {-EXTENT} {2 * EXTENT} '
        f'{2 * EXTENT}" class="plane" data-limit="{" ".join(f"{c:.1f}" for c in limits)}" '
        f'role="img" aria-label="Colours at L* {lightness}: a* to the right, b* upwards">',
        f'<defs><clipPath id="reach"><polygon points="{edge}"/></clipPath></defs>',
        f'<rect x="{-EXTENT}" y="{-EXTENT}" width="{2 * EXTENT}" height="{2 * EXTENT}" '
        'fill="#7d7d7d"/><g clip-path="url(#reach)">',
        *_cells(lightness, limits),
        "</g>",
        f'<polygon points="{edge}" fill="none" stroke="#111" stroke-width="1"/>',
        f'<path d="M{-EXTENT} 0H{EXTENT}M0 {-EXTENT}V{EXTENT}" stroke="#111" stroke-width="0.4"/>',
    ]
    return "".join(parts)


def _point(chroma: float, hue_deg: float) -> str:
    _, a, b = lab_of_lch(0.0, chroma, hue_deg)
    return f"{a:.1f},{-b:.1f}"


def _cells(lightness: float, limits: Sequence[float]) -> list[str]:
    """A square for each cell that the limit touches, its middle's colour."""
    steps = np.arange(-EXTENT, EXTENT, CELL) + CELL / 2
    a, b = (v.ravel() for v in np.meshgrid(steps, steps))
    place = (np.degrees(np.arctan2(b, a)) % 360.0) * HUES / 360.0
    reach = np.maximum(
        np.array(limits)[place.astype(int) % HUES], np.array(limits)[(place.astype(int) + 1) % HUES]
    )
    near = np.hypot(a, b) <= reach + CELL
    labs = np.stack([np.full(int(near.sum()), lightness), a[near], b[near]], axis=-1)
    shown = on_a_screen(labs)
    half = CELL / 2
    parts = [
        f'<rect x="{lab[1] - half:g}" y="{-lab[2] - half:g}" width="{CELL}" height="{CELL}" '
        f'fill="{colour}"/>'
        for lab, colour in zip(labs, hexes_of_labs(labs), strict=True)
    ]
    marks = "".join(f"M{lab[1] - half:g} {-lab[2] + half:g}l{CELL} {-CELL}" for lab in labs[~shown])
    return [*parts, f'<path d="{marks}" stroke="#000" stroke-opacity="0.55" stroke-width="0.7"/>']


def _dots(dots: ArrayLike) -> list[str]:
    labs: Floats = np.asarray(dots, dtype=float).reshape(-1, 3)
    return [
        f'<circle cx="{lab[1]:.1f}" cy="{-lab[2]:.1f}" r="2.4" fill="{colour}" '
        'stroke="#fff" stroke-width="0.8"/>'
        for lab, colour in zip(labs, hexes_of_labs(labs), strict=True)
    ]
