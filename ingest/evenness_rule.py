"""The class of a region from its figures, by a short written rule, with its reasons in words.

The rule reads named figures (:class:`RuleFigures`) and thresholds (:class:`Thresholds`); both are
plain data, so that a stored measurement can be classed again by other thresholds.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

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
class Thresholds:
    """Where one class ends and the next begins; the defaults are this file's constants, fitted on
    renders, and a dyer's eye may set others."""

    gradient_rank: float = GRADIENT_RANK
    gradient_plane: float = GRADIENT_PLANE
    gradient_span: float = GRADIENT_SPAN
    gradient_least: float = GRADIENT_LEAST
    dots_percent: float = DOTS_PERCENT
    dots_most: float = DOTS_MOST
    dots_tail: float = DOTS_TAIL
    dots_ground: float = DOTS_GROUND
    small_ground: float = SMALL_GROUND
    small_dots_mm: float = SMALL_DOTS_MM
    largest_dots_mm: float = LARGEST_DOTS_MM
    variegated_reach: float = VARIEGATED_REACH
    two_colours_reach: float = TWO_COLOURS_REACH
    floor: float = FLOOR
    floor_per_contrast: float = FLOOR_PER_CONTRAST
    floor_most: float = FLOOR_MOST
    solid_share: float = SOLID_SHARE
    margin: float = MARGIN
    depth_hidden: float = DEPTH_HIDDEN
    hidden_whole: float = HIDDEN_WHOLE


DEFAULT = Thresholds()


@dataclass(frozen=True)
class RuleFigures:
    """What the rule reads of a region; lengths of colour are ΔE00.

    ``rank``, ``plane``, ``span``: of the slope; ``tied``: unevenness with what goes with it along
    the light line. ``dots_percent``, ``dots_mm``; ``tail``: 95 % over median distance of 1 mm
    cells, ``reach``: their 95 % distance off the light line. ``ground``: share of the main
    colour of ``colours``. ``unevenness``: as estimated. ``strand_contrast``, ``depth_off``,
    ``whole``: what blocks differ by in all, light and dye.
    """

    rank: float
    plane: float
    span: float
    tied: float
    dots_percent: float
    dots_mm: float
    tail: float
    reach: float
    ground: float
    colours: int
    unevenness: float
    strand_contrast: float
    depth_off: float
    whole: float

    def record(self) -> dict[str, Any]:
        """Plain JSON data to six significant figures, from which the same class comes out."""
        return {
            k: float(f"{v:.6g}") if isinstance(v, float) else v for k, v in asdict(self).items()
        }


@dataclass(frozen=True)
class Class:
    """``name``: one of solid, semi-solid, variegated, speckled, gradient; None where it cannot be
    told, and then ``between`` two of them. ``reasons``: sentences."""

    name: str | None
    between: tuple[str, str] | None
    reasons: tuple[str, ...]


def rule_figures(found: Figures, estimate: Estimate) -> RuleFigures:
    """The figures of a region that its class is made from."""
    share = found.palette.share
    return RuleFigures(
        rank=float(found.slope.rank),
        plane=float(found.slope.r2),
        span=float(found.slope.span),
        tied=float(found.crest.tied),
        dots_percent=float(found.dots.percent),
        dots_mm=float(found.dots.mean_mm),
        tail=float(found.reach.kurt),
        reach=float(found.reach.off95),
        ground=float(share.max()),
        colours=len(share),
        unevenness=float(estimate.value),
        strand_contrast=float(found.shade.contrast),
        depth_off=float(found.depth.off),
        whole=float(found.crest.whole),
    )


def class_of(read: RuleFigures, limits: Thresholds = DEFAULT) -> Class:
    """The class that figures speak for; its parts are tested by tables."""
    if is_gradient(read, limits):
        return Class("gradient", None, ())
    many = variegation(read, limits)
    if is_speckled(read, limits):
        return Class("speckled", None, ())
    if many >= 1.0 + limits.margin:
        return Class("variegated", None, ())
    if many >= 1.0 - limits.margin:
        return Class(
            None,
            ("semi-solid", "variegated"),
            ("The colours lie about as far apart as in the palest variegated yarn.",),
        )
    floor = floor_of(read.strand_contrast, limits)
    return solid_or_not(read.unevenness, floor, read.depth_off, read.whole, limits)


def is_gradient(read: RuleFigures, limits: Thresholds = DEFAULT) -> bool:
    return (
        read.rank > limits.gradient_rank
        and read.plane > limits.gradient_plane
        and read.span > limits.gradient_span
        and read.tied > limits.gradient_least
    )


def is_speckled(read: RuleFigures, limits: Thresholds = DEFAULT) -> bool:
    if not limits.dots_percent < read.dots_percent < limits.dots_most:
        return False
    if read.tail < limits.dots_tail or read.dots_mm > limits.largest_dots_mm:
        return False
    small = read.ground > limits.small_ground and read.dots_mm < limits.small_dots_mm
    return read.ground > limits.dots_ground or small


def variegation(read: RuleFigures, limits: Thresholds = DEFAULT) -> float:
    """How far 1 mm cells reach off the light line, over what makes yarn variegated."""
    several = read.colours > 1
    return read.reach / (limits.two_colours_reach if several else limits.variegated_reach)


def floor_of(contrast: float, limits: Thresholds = DEFAULT) -> float:
    """Unevenness from which yarn is semi-solid, at a strand contrast."""
    risen = limits.floor + limits.floor_per_contrast * max(contrast - 0.2, 0.0)
    return min(risen, limits.floor_most)


def solid_or_not(
    value: float, floor: float, depth_off: float, whole: float, limits: Thresholds = DEFAULT
) -> Class:
    """Solid, semi-solid, or "cannot tell solid from semi-solid in this photo".

    ``value``: the unevenness; ``whole``: what blocks differ by in all, light and dye.
    """
    if value >= floor:
        return Class("semi-solid", None, ())
    if value > limits.solid_share * floor:
        said = f"Cannot tell solid from semi-solid in this photo: {HELP}."
        return Class(None, ("solid", "semi-solid"), (said,))
    if depth_off >= limits.depth_hidden:
        return Class("solid", None, ())
    said = "At this colour more or less dye looks nearly like more or less light"
    if whole > limits.hidden_whole:
        both = ("solid", "semi-solid")
        return Class(None, both, (f"{said}: cannot tell solid from semi-solid here.",))
    return Class("solid", None, (f"{said}, so dye uneven in that way would not show.",))
