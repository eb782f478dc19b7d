"""Unevenness as the class has it: what is read off as it is, and how far greys may reach.

The fitted rule (:mod:`ingest.evenness_model`) speaks for solid and semi-solid yarn. Several colours
and gradients differ by so much more than light makes that their unevenness is read off.
"""

from __future__ import annotations

from ingest.evenness_figures import Figures
from ingest.evenness_model import Estimate, doubted, reaching, seen_estimate
from ingest.evenness_rule import Class, RuleFigures, dots_in_grey, is_grey

#: Relative standard uncertainty of what is read off as it is, and its growth with strand contrast.
SEEN_U, SEEN_U_PER_CONTRAST, GRADIENT_U_PER_CONTRAST = 0.05, 0.2, 0.5
#: Of speckled yarn, what neighbouring dots share from block to block is light in folds more than
#: dye: unevenness as a share of what is seen falls with the square of that part, and its relative
#: uncertainty grows with it. On 440 speckled yarns by two renderers.
SPECKLED_TIMES, SPECKLED_LIGHT, SPECKLED_U = 1.04, 0.13, 0.12
#: By how much the read spread of painted colours and of a gradient was low in renders: light from
#: one colour fills the gaps of the next.
VARIEGATED_TIMES, GRADIENT_TIMES = 1.04, 1.1
#: Dye of greys, where it passes for light, was at most about this many times what blocks differ by
#: in all: 1.15 in renders of painted greys.
GREY_TIMES = 1.25


def by_class(found: Figures, ruled: RuleFigures, kind: Class, by_rule: Estimate) -> Estimate:
    """The unevenness of a region of this class; ``by_rule``: what the fitted rule says."""
    made = by_rule
    contrast = found.shade.contrast
    if kind.name == "speckled":
        light = min(ruled.whole / max(found.plain.mcdm, 1e-6), 1.0)
        value = (SPECKLED_TIMES - SPECKLED_LIGHT * light**2) * found.plain.mcdm
        made = seen_estimate(value, SEEN_U + SPECKLED_U * light)
    elif kind.name == "variegated" or (kind.between or ("",))[-1] == "variegated":
        value = VARIEGATED_TIMES * found.plain.mcdm
        made = seen_estimate(value, SEEN_U + SEEN_U_PER_CONTRAST * contrast)
    elif "gradient" in (kind.name, *(kind.between or ())):
        value = GRADIENT_TIMES * found.crest.tied
        made = seen_estimate(value, SEEN_U + GRADIENT_U_PER_CONTRAST * contrast)
        if kind.name is None:  # most slopes are dye's; light's has no unevenness at all
            made = doubted(made, 0.0, made.high, value / 2.0)
    if is_grey(ruled) and kind.name in ("semi-solid", "gradient", None):
        dotted = found.reach.unevenness if dots_in_grey(ruled) else 0.0
        made = reaching(made, by_rule.low, max(GREY_TIMES * ruled.whole, dotted))
    return made
