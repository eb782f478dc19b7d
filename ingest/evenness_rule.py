"""The class of a region from its figures, by a short written rule, with its reasons in words."""

from __future__ import annotations

from dataclasses import dataclass

from ingest.evenness_figures import Figures
from ingest.evenness_model import Estimate

#: A gradient: rank correlation with one direction, share of a plane, and length in ΔE00 units.
GRADIENT_RANK, GRADIENT_PLANE, GRADIENT_SPAN = 0.85, 0.6, 1.0
#: Speckled: dots in % of the yarn, 95 % over median distance, share of the ground; and where the
#: ground is smaller, the size in mm under which dots are still dots.
DOTS_PERCENT, DOTS_MOST, DOTS_TAIL, DOTS_GROUND = 2.0, 22.0, 3.5, 0.77
SMALL_GROUND, SMALL_DOTS_MM, LARGEST_DOTS_MM = 0.66, 3.2, 5.0
#: Variegated: 1 mm cells that reach so far off the light line; less where there are two colours.
VARIEGATED_REACH, TWO_COLOURS_REACH = 7.5, 5.0
#: The floor of a photo: unevenness from which yarn is semi-solid is FLOOR at a strand contrast of
#: 0.2 and grows with it; up to a share of that it is solid, and no one can tell between. The
#: values hold solids called semi-solid near 3 % in the renders that the rule was fitted on.
FLOOR, FLOOR_PER_CONTRAST, FLOOR_MOST, SOLID_SHARE = 0.36, 0.72, 0.80, 0.78
#: Least unevenness of a gradient.
GRADIENT_LEAST = 0.5
#: The share of an off-line figure that must be over its threshold for a class without "between".
MARGIN = 0.10
#: Share of a change of depth that shows off the light line, under which solid is not sure; where
#: blocks differ more than this in all, in ΔE00, it cannot be told at all.
DEPTH_HIDDEN, HIDDEN_WHOLE = 0.10, 1.6

HELP = "nearer, more yarn in the region, or flatter light would help"


@dataclass(frozen=True)
class Class:
    """``name``: one of solid, semi-solid, variegated, speckled, gradient; None where it cannot be
    told, and then ``between`` two of them. ``reasons``: sentences."""

    name: str | None
    between: tuple[str, str] | None
    reasons: tuple[str, ...]


def classify(found: Figures, estimate: Estimate) -> Class:
    """The class of a region; its parts are tested by tables."""
    if is_gradient(found) and found.crest.tied > GRADIENT_LEAST:
        return Class("gradient", None, ())
    many = variegation(found)
    if is_speckled(found):
        return Class("speckled", None, ())
    if many >= 1.0 + MARGIN:
        return Class("variegated", None, ())
    if many >= 1.0 - MARGIN:
        return Class(
            None,
            ("semi-solid", "variegated"),
            ("The colours lie about as far apart as in the palest variegated yarn.",),
        )
    floor = floor_of(found.shade.contrast)
    return solid_or_not(estimate.value, floor, found.depth.off, found.crest.whole)


def is_gradient(found: Figures) -> bool:
    run = found.slope
    return run.rank > GRADIENT_RANK and run.r2 > GRADIENT_PLANE and run.span > GRADIENT_SPAN


def is_speckled(found: Figures) -> bool:
    if not DOTS_PERCENT < found.dots.percent < DOTS_MOST or found.reach.kurt < DOTS_TAIL:
        return False
    ground, side = float(found.palette.share.max()), found.dots.mean_mm
    if side > LARGEST_DOTS_MM:
        return False
    return ground > DOTS_GROUND or (ground > SMALL_GROUND and side < SMALL_DOTS_MM)


def variegation(found: Figures) -> float:
    """How far 1 mm cells reach off the light line, over what makes yarn variegated."""
    several = len(found.palette.share) > 1
    return found.reach.off95 / (TWO_COLOURS_REACH if several else VARIEGATED_REACH)


def floor_of(contrast: float) -> float:
    """Unevenness from which yarn is semi-solid, at a strand contrast."""
    risen = FLOOR + FLOOR_PER_CONTRAST * max(contrast - 0.2, 0.0)
    return min(risen, FLOOR_MOST)


def solid_or_not(value: float, floor: float, depth_off: float, whole: float) -> Class:
    """Solid, semi-solid, or "cannot tell solid from semi-solid in this photo".

    ``value``: the unevenness; ``whole``: what blocks differ by in all, light and dye.
    """
    if value >= floor:
        return Class("semi-solid", None, ())
    if value > SOLID_SHARE * floor:
        said = f"Cannot tell solid from semi-solid in this photo: {HELP}."
        return Class(None, ("solid", "semi-solid"), (said,))
    if depth_off >= DEPTH_HIDDEN:
        return Class("solid", None, ())
    said = "At this colour more or less dye looks nearly like more or less light"
    if whole > HIDDEN_WHOLE:
        both = ("solid", "semi-solid")
        return Class(None, both, (f"{said}: cannot tell solid from semi-solid here.",))
    return Class("solid", None, (f"{said}, so dye uneven in that way would not show.",))
