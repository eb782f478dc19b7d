"""The class of a region from its figures, by a short written rule, with its reasons in words.

The rule reads named figures (:class:`RuleFigures`) and thresholds (:class:`Thresholds`); both are
plain data, so that a stored measurement can be classed again by other thresholds.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

from ingest.evenness_figures import Figures
from ingest.evenness_model import Estimate

#: A gradient: rank correlation with one direction, share of a plane, and length in ΔE00 units.
GRADIENT_RANK, GRADIENT_PLANE, GRADIENT_SPAN = 0.93, 0.25, 0.5
#: Least unevenness of a gradient.
GRADIENT_LEAST = 0.5
#: Light that falls off to one side, or two lamps of different colour, make slopes too. Under any of
#: these a slope may be one: how much of it leaves the light line over what a change of depth would,
#: its length off that line, its unevenness. Of 118 gradients that the rule was fitted on 111 are
#: over them, and 5 of 52 slopes of light that had been called so (up to 0.6 of it lost across a
#: swatch, or ln R/B changed by 0.04 and 0.08).
GRADIENT_SURE_TURN, GRADIENT_SURE_SPAN, GRADIENT_SURE_LEAST = 0.5, 1.2, 0.8
#: Several colours: dots in % of the yarn, or 1 mm cells that reach so far off the light line.
DOTS_PERCENT, VARIEGATED_REACH = 4.0, 7.5
#: How far dots are off what less light makes of their surround, ΔE00 units of a* and b*, to be dye
#: where colour is no grey, if their ground is not so even (``bulk``) as to show them at once. Of
#: renders by the first of the seeds that fit, with dots over 1.5 %, gaps between strands lie at 0.3
#: to 2.2 (one of nine, in hard light, at 7.6) with a ground of 0.36 and more; of 25 speckled yarns
#: 24 lie at 3.1 and more, and the other on a ground of 0.17.
DOTS_OFF, DOTS_BULK = 2.5, 0.28
#: Speckled, of several colours, where three quarters of the cells lie this near to the main one,
#: as a share of how far cells lie at all, and where no colour runs on; else variegated.
SPECKLED_BULK, SPECKLED_RUN = 0.47, 0.32
#: The floor of a photo: unevenness from which yarn is semi-solid is FLOOR at a doubt of 0.1 and
#: grows with it; up to a share of that it is solid, and no one can tell between. The values hold
#: solids called semi-solid under 3 % in the hard renders that the rule was fitted on.
FLOOR, FLOOR_PER_DOUBT, FLOOR_MOST, SOLID_SHARE = 0.26, 1.5, 0.90, 0.94
#: Doubt at which the floor begins to grow.
LEAST_DOUBT = 0.1
#: The share of an off-line figure that must be over its threshold for a class without "between".
MARGIN = 0.05
#: Share of a change of depth that shows off the light line, under which solid is not sure; where
#: blocks differ more than this in all, in ΔE00, it cannot be told at all.
DEPTH_HIDDEN, HIDDEN_WHOLE = 0.10, 1.6
#: Share of a change of depth off the light line that a slope's own is held to, at the least.
LEAST_DEPTH_OFF = 0.05
#: A colour is grey where so little of a change of depth shows off the light line, or where its
#: chroma C*ab is under so much: there painted light and dark passes for light and shade.
GREY_DEPTH, GREY_CHROMA = 0.25, 8.0
#: Blocks of a grey that differ by so much in all are not called solid, and not semi-solid: folds
#: and fall of light alone made up to 2.8 and 4.7 of solids and semi-solids in renders.
GREY_SOLID_WHOLE, GREY_WHOLE = 3.0, 4.8
#: Dots on a grey, in % of the yarn, with the layout of dots, from which solid is not told. Holes
#: between strands of skeins run on further.
GREY_DOTS, GREY_BULK, GREY_RUN = 2.0, 0.36, 0.20
#: Greyer still, and in a photo of more than this doubt, unevenness up to so many floors is not
#: told from none: of 47 solid greys in hard renders 7 read up to 1.3 floors.
GREY_BAND_DEPTH, GREY_BAND_DOUBT, GREY_BAND = 0.12, 0.22, 1.3

#: Share of the reach of variegated yarn from which cells that stand out may be colours of their
#: own; under it they are holes between strands. On renders by other hands, in hard light.
DOTTED_REACH = 0.70
#: How far colour may run on where dots alone speak for colours, and cells reach no further off the
#: light line: of such renders that the rule was fitted on, 4 of holes between strands run on by
#: 0.23 to 0.32, and 50 of dots by up to 0.17, but five of these by 0.23 to 0.30.
DOTTED_RUN = 0.20

HELP = "nearer, more yarn in the region, or flatter light would help"


@dataclass(frozen=True)
class Thresholds:
    """Where one class ends and the next begins; the defaults are this file's constants, fitted on
    renders, and a dyer's eye may set others."""

    gradient_rank: float = GRADIENT_RANK
    gradient_plane: float = GRADIENT_PLANE
    gradient_span: float = GRADIENT_SPAN
    gradient_least: float = GRADIENT_LEAST
    gradient_sure_turn: float = GRADIENT_SURE_TURN
    gradient_sure_span: float = GRADIENT_SURE_SPAN
    gradient_sure_least: float = GRADIENT_SURE_LEAST
    dots_percent: float = DOTS_PERCENT
    dots_off: float = DOTS_OFF
    dots_bulk: float = DOTS_BULK
    variegated_reach: float = VARIEGATED_REACH
    speckled_bulk: float = SPECKLED_BULK
    speckled_run: float = SPECKLED_RUN
    floor: float = FLOOR
    floor_per_doubt: float = FLOOR_PER_DOUBT
    floor_most: float = FLOOR_MOST
    solid_share: float = SOLID_SHARE
    margin: float = MARGIN
    depth_hidden: float = DEPTH_HIDDEN
    hidden_whole: float = HIDDEN_WHOLE
    grey_depth: float = GREY_DEPTH
    grey_chroma: float = GREY_CHROMA
    grey_solid_whole: float = GREY_SOLID_WHOLE
    grey_whole: float = GREY_WHOLE
    grey_dots: float = GREY_DOTS
    grey_bulk: float = GREY_BULK
    grey_run: float = GREY_RUN
    grey_band: float = GREY_BAND


DEFAULT = Thresholds()


@dataclass(frozen=True)
class RuleFigures:
    """What the rule reads of a region; lengths of colour are ΔE00.

    ``rank``, ``plane``, ``span``: of the slope; ``turn``: how much of it leaves the light line,
    over what a change of depth would; ``tied``: unevenness with what goes with it along that line.
    ``dots_percent``; ``dots_off``: how far dots are off what light makes of their surround;
    ``reach``: 95 % distance of 1 mm cells off the light line;
    ``bulk``, ``run``: of their layout. ``unevenness``: as estimated, and ``doubt``: standard
    deviation of its root. ``depth_off``; ``whole``: what blocks differ by, light and dye.
    ``chroma``: C*ab of the mean.
    """

    rank: float
    plane: float
    span: float
    turn: float
    tied: float
    dots_percent: float
    dots_off: float
    reach: float
    bulk: float
    run: float
    unevenness: float
    doubt: float
    depth_off: float
    whole: float
    chroma: float

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
    return RuleFigures(
        rank=float(found.slope.rank),
        plane=float(found.slope.r2),
        span=float(found.slope.span),
        turn=float(found.slope.turn) / max(found.depth.off, LEAST_DEPTH_OFF),
        tied=float(found.crest.tied),
        dots_percent=float(found.dots.percent),
        dots_off=float(found.dots.off),
        reach=float(found.reach.off95),
        bulk=float(found.layout.bulk),
        run=float(found.layout.run),
        unevenness=float(estimate.value),
        doubt=float(estimate.sd),
        depth_off=float(found.depth.off),
        whole=float(found.crest.whole),
        chroma=math.hypot(*(float(v) for v in found.plain.mean_lab[1:])),
    )


def class_of(read: RuleFigures, limits: Thresholds = DEFAULT) -> Class:
    """The class that figures speak for; its parts are tested by tables."""
    if is_gradient(read, limits):
        return sure_or_light(read, limits)
    many = read.reach / limits.variegated_reach
    # Holes between strands stand out as dots do: they speak for colours only where they lie as
    # dots on a ground, or where cells reach off the light line.
    speckled = is_speckled(read, limits)
    dotted = read.dots_percent > limits.dots_percent and may_be_dye(read, limits)
    lie_as_dots = speckled and read.run < DOTTED_RUN
    if many >= 1.0 + limits.margin or (dotted and (lie_as_dots or many >= 1.0 - limits.margin)):
        return Class("speckled" if speckled else "variegated", None, ())
    floor = floor_of(read.doubt, limits)
    plain = solid_or_not(read.unevenness, floor, read.depth_off, read.whole, limits)
    if many >= 1.0 - limits.margin or (dotted and many >= DOTTED_REACH):
        said = "The colours lie about as far apart as in the palest variegated yarn."
        return Class(None, (one_colour(plain), "variegated"), (said,))
    return in_grey(read, plain, limits) if is_grey(read, limits) else plain


def is_gradient(read: RuleFigures, limits: Thresholds = DEFAULT) -> bool:
    return (
        read.rank > limits.gradient_rank
        and read.plane > limits.gradient_plane
        and read.span > limits.gradient_span
        and read.tied > limits.gradient_least
    )


def sure_or_light(read: RuleFigures, limits: Thresholds = DEFAULT) -> Class:
    """A gradient, or a slope that light may have made as well."""
    if (
        read.turn > limits.gradient_sure_turn
        and read.span > limits.gradient_sure_span
        and read.tied > limits.gradient_sure_least
    ):
        return Class("gradient", None, ())
    said = (
        "Light that falls off to one side, or lamps of two colours, would look like this slope: "
        "turn the yarn half round and photograph it again."
    )
    return Class(None, ("solid", "gradient"), (said,))


def is_speckled(read: RuleFigures, limits: Thresholds = DEFAULT) -> bool:
    """Whether several colours are dots on a ground."""
    return read.bulk < limits.speckled_bulk and read.run < limits.speckled_run


def may_be_dye(read: RuleFigures, limits: Thresholds = DEFAULT) -> bool:
    """Whether what stands out may be dots of dye: in a grey tint any, else no mere dark gaps."""
    on_even_ground = read.bulk < limits.dots_bulk and read.run < DOTTED_RUN
    off_light = read.dots_off >= limits.dots_off
    return read.chroma < limits.grey_chroma or off_light or on_even_ground


def is_grey(read: RuleFigures, limits: Thresholds = DEFAULT) -> bool:
    """Whether painted light and dark would look as light and shade do."""
    return read.depth_off < limits.grey_depth or read.chroma < limits.grey_chroma


def dots_in_grey(read: RuleFigures, limits: Thresholds = DEFAULT) -> bool:
    """Whether what stands out of a grey may be dots of dye."""
    lie_as_dots = read.bulk < limits.grey_bulk and read.run < limits.grey_run
    many = read.dots_percent > limits.dots_percent
    stand_out = many or (read.dots_percent > limits.grey_dots and lie_as_dots)
    return stand_out and may_be_dye(read, limits)


def in_grey(read: RuleFigures, plain: Class, limits: Thresholds = DEFAULT) -> Class:
    """The class of a grey that would be ``plain`` were its light and dark all light and shade.

    What may be all light and shade is never told apart from semi-solid and variegated alone.
    """
    tint = "a grey or pale tint" if read.chroma < limits.grey_chroma else "this colour"
    said = f"In {tint}, light and dark of dye look like light and shade"
    many = read.dots_percent > limits.dots_percent and may_be_dye(read, limits)
    if many or read.whole > limits.grey_whole:
        both = (one_colour(plain), "variegated")
        return Class(None, both, (f"{said}: these may be colours of the yarn or shadow.",))
    if dots_in_grey(read, limits):
        return Class(None, ("solid", "speckled"), (f"{said}: these may be dots of dye or gaps.",))
    uneven = read.unevenness / floor_of(read.doubt, limits)
    faint = read.depth_off < GREY_BAND_DEPTH and read.doubt > GREY_BAND_DOUBT
    hidden = plain.name == "solid" and read.whole > limits.grey_solid_whole
    if hidden or (faint and 1.0 <= uneven < limits.grey_band):
        both = ("solid", "semi-solid")
        return Class(None, both, (f"{said}, and these may be either.",))
    return plain


def one_colour(plain: Class) -> str:
    """The least uneven class of one colour that is not ruled out."""
    return "semi-solid" if plain.name == "semi-solid" else "solid"


def floor_of(doubt: float, limits: Thresholds = DEFAULT) -> float:
    """Unevenness from which yarn is semi-solid, at a doubt of the photo's own."""
    risen = limits.floor + limits.floor_per_doubt * max(doubt - LEAST_DOUBT, 0.0)
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
