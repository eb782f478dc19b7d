"""Whether one flat, nearly neutral, sharp-edged four-sided thing in a photo is a grey card.

It would rather find none than a wrong one: each gate below refuses, and two candidates that are
about as good refuse each other. All bounds, those inside the functions too, are our choice, made
on rendered trial pictures and public example photos of which no run is kept; none comes from a
standard. What they find and refuse is held in `tests/ingest/test_search.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.cardframe import framed
from ingest.flatareas import FLAT_LEVELS, Floats, Quad, WorkingCopy, in_any, places_inside
from ingest.model import Array, Reference
from ingest.sides import Sides, read_sides

#: Share of the frame that a card may take.
AREA_SHARE = (0.003, 0.40)
#: Longest ratio of a card's sides, and of its opposite sides as seen aslant.
MAX_ASPECT, MAX_KEYSTONE = 2.4, 1.7
#: Luminance of a card against the brightest diffuse thing in the scene. Where nothing is clearly
#: brighter, nothing tells a grey card from white paper in the dark.
LIGHTNESS = (0.06, 0.62)
#: Largest distance from the scene's white in ln(R/G), ln(B/G).
NEUTRAL = 0.16
#: Largest luminance structure (standard deviation of ln Y over blocks) once a plane is removed.
STRUCTURE = 0.025
#: Largest change of ln Y across the card: more is a curved or shaded thing.
SLOPE = 0.40
#: Least share of each side that shows a clear step, and largest bend of a side, as share of it.
SIDE_SEEN, BEND = 0.85, 0.012
#: Least share of the area that is flat pixel by pixel: more lines or print on it is no card.
FLAT_SHARE = 0.96
#: Another grey thing of this share of the card's size refuses both, its bounds this much wider.
RIVAL_SIZE, RIVAL_WIDER = 0.25, 2.0
#: Confidence under which none is given out.
MIN_CONFIDENCE = 0.5
#: Luminance, of the most that the file can hold, under which no white is recorded.
DIM_WHITE = 0.35


@dataclass(frozen=True, eq=False)
class Scene:
    """What the frame says of its light. ``white_y``: luminance of the brightest diffuse things.

    ``neutrals``: (k, 2) ln(R/G), ln(B/G) of what may pass for white: the camera's own balance, and
    bright pale things if there are any.
    """

    white_y: float
    neutrals: Floats


@dataclass(frozen=True, eq=False)
class Card:
    """``corners``: (4, 2) pixels of the copy, on the edges. ``confidence`` in 0..1."""

    quad: Quad
    corners: Floats
    confidence: float


def find_card(copy: WorkingCopy, quads: list[Quad], taken: list[Array]) -> Reference | None:
    """The one grey card of the picture, or ``None``.

    ``taken``: outlines (n, 2) in pixels, of a chart for example, inside which no card is looked
    for.
    """
    scene = read_scene(copy)
    likely = [quad for quad in quads if _may_be_card(copy, quad, quads, taken)]
    cards = [card for quad in likely if (card := judge(copy, quad, quads, scene)) is not None]
    if not cards:
        return None
    best = max(cards, key=lambda c: c.confidence)
    if best.confidence < MIN_CONFIDENCE or _has_rival(copy, best, quads, taken, scene):
        return None
    inner = best.corners.mean(axis=0) + 0.8 * (best.corners - best.corners.mean(axis=0))
    return Reference(
        kind="card",
        patches=(copy.fractions(inner),),
        located="search",
        confidence=round(best.confidence, 3),
        corners=copy.fractions(best.corners),
    )


def read_scene(copy: WorkingCopy) -> Scene:
    """The brightest diffuse luminance and the whites that the frame offers."""
    y = copy.luminance[::4, ::4]
    rgb = copy.linear[::4, ::4]
    white_y = float(np.percentile(y, 99.0))
    neutrals = [np.zeros(2)]
    bright = (y > 0.7 * white_y) & (rgb < 0.98).all(axis=2)
    if bright.mean() > 0.01:
        pale = log_ratios(np.median(rgb[bright], axis=0))
        if np.abs(pale).max() < 0.7:
            neutrals.append(pale)
    return Scene(white_y, np.array(neutrals))


def log_ratios(linear: Array) -> Floats:
    """(..., 2) ln(R/G) and ln(B/G) of linear RGB (..., 3)."""
    logs = np.log(np.maximum(np.asarray(linear, dtype=float), 1e-4))
    return np.asarray(logs[..., [0, 2]] - logs[..., 1:2])


def _inside_frame(copy: WorkingCopy, quad: Quad) -> bool:
    low, high = quad.corners.min(axis=0), quad.corners.max(axis=0)
    return bool(low.min() > 3 and high[0] < copy.width - 3 and high[1] < copy.height - 3)


def _may_be_card(copy: WorkingCopy, quad: Quad, quads: list[Quad], taken: list[Array]) -> bool:
    """Size, place and company: inside the frame, not in a chart, not one of a row of squares."""
    share = quad.area / (copy.width * copy.height)
    if not (AREA_SHARE[0] <= share <= AREA_SHARE[1] and _inside_frame(copy, quad)):
        return False
    if in_any(quad.centre, taken):
        return False
    a, b, c, d = quad.sides
    if max(a + c, b + d) > MAX_ASPECT * min(a + c, b + d):
        return False
    if max(a / c, c / a, b / d, d / b) > MAX_KEYSTONE:
        return False
    reach = 1.7 * float(quad.sides.mean())
    company = sum(
        0.55 < other.area / quad.area < 1.8
        and 0.3 * reach < float(np.linalg.norm(other.centre - quad.centre)) < reach
        for other in quads
        if other is not quad
    )
    return company < 2


def judge(copy: WorkingCopy, quad: Quad, quads: list[Quad], scene: Scene) -> Card | None:
    """The card at one quad with its confidence, or ``None`` where any gate refuses."""
    sides = read_sides(copy, quad.corners)
    if sides is None or framed(copy, quad, quads, sides):
        return None
    margins = [*_surface_margins(copy, sides.corners, scene), *_side_margins(sides)]
    if min(margins) <= 0.0:
        return None
    return Card(quad, sides.corners, float(0.4 + 0.6 * min(1.0, min(margins))))


def _has_rival(
    copy: WorkingCopy, card: Card, quads: list[Quad], taken: list[Array], scene: Scene
) -> bool:
    """Whether another thing in the picture could be meant as the card just as well."""
    # Where nothing is recorded as white, the lightest grey may be the card.
    lightest = LIGHTNESS[1] * 1.3 if scene.white_y > DIM_WHITE else np.inf
    for quad in quads:
        if quad is card.quad or quad.area < RIVAL_SIZE * card.quad.area:
            continue
        if not _inside_frame(copy, quad) or in_any(quad.centre, [*taken, card.corners]):
            continue
        if in_any(card.quad.centre, [quad.corners]):
            continue
        surface = read_surface(copy, quad.corners, scene)
        if (
            LIGHTNESS[0] / 1.3 < surface.ratio < lightest
            and surface.away < RIVAL_WIDER * NEUTRAL
            and surface.structure < RIVAL_WIDER * STRUCTURE
        ):
            return True
    return False


@dataclass(frozen=True)
class Surface:
    """``ratio``: luminance against the scene's white. ``away``: from neutral in log ratios.

    ``slope``, ``structure``: of ln Y, see :func:`plane_and_rest`. ``flat``: share of flat pixels.
    """

    ratio: float
    away: float
    slope: float
    structure: float
    flat: float


def read_surface(copy: WorkingCopy, corners: Floats, scene: Scene) -> Surface:
    """What the middle of a four-sided area looks like; ``corners``: (4, 2) pixels of the copy."""
    x, y = places_inside(copy, corners)
    grid = np.asarray(copy.linear[y, x], dtype=float)
    mean = grid.reshape(-1, 3).mean(axis=0)
    luminance = float(mean @ copy.luminance_weights)
    away = float(np.linalg.norm(log_ratios(mean) - scene.neutrals, axis=1).min())
    slope, structure = plane_and_rest(np.log(np.maximum(grid @ copy.luminance_weights, 1e-4)))
    flat = float((copy.gradient[y, x] < FLAT_LEVELS[-1] + copy.noise).mean())
    return Surface(luminance / scene.white_y, away, slope, structure, flat)


def _surface_margins(copy: WorkingCopy, corners: Floats, scene: Scene) -> list[float]:
    """Margins (1 well inside a bound, 0 or less refused) of lightness, neutrality, evenness."""
    seen = read_surface(copy, corners, scene)
    return [
        float(np.log(seen.ratio / LIGHTNESS[0])) / 0.5,
        float(np.log(LIGHTNESS[1] / seen.ratio)) / 0.3,
        1.3 * (1.0 - seen.away / NEUTRAL),
        1.3 * (1.0 - seen.structure / STRUCTURE),
        1.3 * (1.0 - seen.slope / SLOPE),
        (seen.flat - FLAT_SHARE) / (1.0 - FLAT_SHARE) + 0.2,
    ]


def _side_margins(sides: Sides) -> list[float]:
    """Margins of how much of each side is seen, how straight and how sharp it is."""
    return [
        (sides.seen - SIDE_SEEN) / (1.0 - SIDE_SEEN) + 0.2,
        1.3 * (1.0 - sides.bend / BEND),
        (sides.sharpness - 0.35) / 0.3,
        (sides.contrast - 8.0) / 10.0,
    ]


def plane_and_rest(log_y: Floats, blocks: int = 12) -> tuple[float, float]:
    """Change across the plane fitted to a square grid ``log_y`` (n, n), and the standard deviation
    about it, both in ln Y.

    Both of means over ``blocks`` x ``blocks``, so that pixel noise counts little.
    """
    n = log_y.shape[0] // blocks
    means = log_y[: n * blocks, : n * blocks].reshape(blocks, n, blocks, n).mean(axis=(1, 3))
    t = np.linspace(-0.5, 0.5, blocks)
    x, y = np.meshgrid(t, t)
    design = np.stack([np.ones(x.size), x.ravel(), y.ravel()], axis=1)
    fit, *_ = np.linalg.lstsq(design, means.ravel(), rcond=None)
    rest = means.ravel() - design @ fit
    return float(np.hypot(fit[1], fit[2])), float(rest.std())
