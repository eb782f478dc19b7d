"""The words and sentences a dyer reads of a difference. Pure: data in, text out.

Which word belongs to a turn of hue depends on where the hue is: a red that turns towards yellow
is yellower, a blue that turns the same way round is redder.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ingest.doubt import mean_hue_deg
from swatchvault.difference import GATE_OUTSIDE, GATE_WITHIN, LEVEL, Difference, Verdict
from swatchvault.pairdoubt import COVERAGE

# (hue from which the row holds, its colour, word for Δhab > 0, word for Δhab < 0). Where the
# unique hues lie: about 20, 90, 164 and 238 in CIE 159:2004. The bounds between: our choice.
HUE_WORDS = (
    (5.0, "red", "yellower", "bluer"),
    (42.0, "orange", "yellower", "redder"),
    (78.0, "yellow", "greener", "redder"),
    (108.0, "yellow-green", "greener", "yellower"),
    (133.0, "green", "bluer", "yellower"),
    (187.0, "blue-green", "bluer", "greener"),
    (225.0, "blue", "redder", "greener"),
    (298.0, "purple", "redder", "bluer"),
)
#: Below this C*ab a colour has no hue worth naming; Δa* and Δb* are described (our choice).
NEAR_NEUTRAL_C = 4.0
# Upper bound of the share of the tolerance for each word of size (our choice).
SIZES = ((0.25, "a trace"), (0.5, "slightly"), (1.0, "clearly"), (math.inf, "much"))
#: A smaller share of the tolerance than this is not spoken of, however sure (our choice).
LEAST_SHARE = 0.05

MEANT_FOR = (
    "CIEDE2000 is meant for even samples and small differences (under about 5). Yarn is not even: "
    "read the figures beside your own eye."
)
SAME_DYES_ONLY = (
    "These figures hold for lots dyed with the same dyes. If a dye, its maker or its packet "
    "changed, the two may match here and differ under another light."
)
DYES_UNKNOWN = (
    "The dyes are not known to be the same. They are where you say so (--same-dyes), or where the "
    "archive has, of both lots, each dye that went in with its pack, or its stock with the pack it "
    "was mixed from."
)
DYES_DIFFER = (
    "The dyes, their makers or packets differ: the two may match here and differ under another "
    "light. Look at them by lamp light too."
)
NEAR_ZERO = (
    "A reading cannot fall below zero, so near zero it leans upward: two equal lots read above it "
    "too. Take one as small as this beside its doubt as no difference seen, not as one of that "
    "size; how large a one could be missed, the doubt says. The verdict allows for that."
)
LIGHTNESS_APART = (
    "ΔL* stands apart from ΔC* and ΔH*: winding and shadow between strands change lightness most."
)
NOT_A_LAW = "The tolerance and kL are settings, not a norm."
UNKNOWN_DOUBT = "The doubt of this difference is not known, so nothing can be said for certain."
NO_DIRECTION = "no direction stands out from the doubt"


@dataclass(frozen=True)
class Direction:
    """One way in which the new colour is off. ``share``: signed, of the tolerance."""

    axis: str  # "lightness", "chroma", "hue", "red-green", "yellow-blue"
    word: str
    size: str
    share: float

    def __str__(self) -> str:
        return f"{self.size} {self.word}"


def hue_words(hue_deg: float) -> tuple[str, str, str]:
    """Name of the hue at ``hue_deg`` (CIELAB hab) and its words for a positive, negative turn.

    >>> hue_words(60)
    ('orange', 'yellower', 'redder')
    """
    h = hue_deg % 360.0
    row = next((r for r in reversed(HUE_WORDS) if h >= r[0]), HUE_WORDS[-1])
    return row[1:]


def _size(share: float) -> str:
    return next(word for bound, word in SIZES if abs(share) < bound)


def directions(
    master_lab: ArrayLike, new_lab: ArrayLike, diff: Difference
) -> tuple[Direction, ...]:
    """The ways in which new differs from master beyond that axis's own doubt, largest first."""
    one, two = np.asarray(master_lab, dtype=float), np.asarray(new_lab, dtype=float)
    w, cov = diff.axes, diff.axes_cov
    chroma = min(math.hypot(one[1], one[2]), math.hypot(two[1], two[2]))
    axes = [("lightness", w[0], cov[0, 0], "lighter", "darker")]
    if chroma < NEAR_NEUTRAL_C:
        h = math.radians(mean_hue_deg(one, two))
        back = np.array([[math.cos(h), -math.sin(h)], [math.sin(h), math.cos(h)]])
        a_b, cov_ab = back @ w[1:], back @ cov[1:, 1:] @ back.T
        axes += [
            ("red-green", a_b[0], cov_ab[0, 0], "redder", "greener"),
            ("yellow-blue", a_b[1], cov_ab[1, 1], "yellower (warmer)", "bluer (cooler)"),
        ]
    else:
        _, plus, minus = hue_words(math.degrees(math.atan2(one[2], one[1])))
        axes += [
            ("chroma", w[1], cov[1, 1], "brighter", "duller"),
            ("hue", w[2], cov[2, 2], plus, minus),
        ]
    tolerance = diff.conditions.tolerance
    found = [
        Direction(name, plus if v > 0 else minus, _size(v / tolerance), float(v / tolerance))
        for name, v, var, plus, minus in axes
        if abs(v) > math.sqrt(max(var, 0.0)) and abs(v) >= LEAST_SHARE * tolerance
    ]
    return tuple(sorted(found, key=lambda d: -abs(d.share)))


def in_words(found: tuple[Direction, ...]) -> str:
    """The directions as one phrase: "clearly darker, a trace redder"."""
    return ", ".join(str(d) for d in found) or NO_DIRECTION


def listed(names: Sequence[str], most: int = 8) -> str:
    """Names in a sentence, the first ``most`` of them.

    >>> listed(["a", "b", "c"]), listed(["a", "b", "c"], 2)
    ('a, b, c', 'a, b and 1 more')
    """
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")


def percent(p: float) -> str:
    """A probability in whole percent, never rounded to certainty."""
    if math.isnan(p):
        return "an unknown share"
    if p < 0.01:
        return "under 1 %"
    return "over 99 %" if p > 0.99 else f"{100 * p:.0f} %"


def number(value: float) -> str:
    """Two decimals, or "unknown" for NaN."""
    return "unknown" if math.isnan(value) else f"{value:.2f}"


#: Tolerance above which it is asked whether the point slipped: 1 to 3 are customary (common
#: practice, no source), and 6 are far apart side by side. Our choice.
WIDE_TOLERANCE = 6.0


def question_tolerance(tolerance: float) -> str | None:
    """A sentence where a tolerance passes colours that are plainly apart, else ``None``."""
    if tolerance <= WIDE_TOLERANCE:
        return None
    return (
        f"A tolerance of {tolerance:g} passes lots that anyone sees to be of another colour: 1 to "
        "3 are customary (common practice). Check the decimal point."
    )


def headline(diff: Difference) -> str:
    """The difference, its kL, the tolerance and the verdict in one sentence."""
    c = diff.conditions
    return (
        f"ΔE00 {diff.delta_e_00:.2f} (kL = {c.k_l:g}), tolerance {c.tolerance:g}: "
        f"{diff.verdict.value}."
    )


def signed_figure(value: float, u: float | None = None) -> str:
    """A part of a difference, with its standard uncertainty where that is known."""
    known = u is not None and math.isfinite(u)
    return f"{value:+z.2f}" + (f" ± {u:.2f}" if known else "")


def figures(diff: Difference) -> tuple[str, ...]:
    """What stands behind the verdict: signed parts, doubt, both probabilities."""
    signed = zip(("ΔL*", "ΔC*", "ΔH*"), diff.d_lch, diff.u_lch, strict=True)
    row = diff.doubt.row
    light = "by daylight" if diff.doubt.daylight else "light not stated to be daylight"
    reference = {
        "card": "a grey card or fewer than six usable neutrals",
        "steps": "six or more neutral steps",
        "chart": "a 24-patch chart",
    }.get(diff.doubt.reference, "no reference")
    dark = "; dark colours, whose differences cameras show too small" if diff.doubt.dark else ""
    return (
        ", ".join(f"{name} {signed_figure(value, u)}" for name, value, u in signed) + ".",
        f"Standard uncertainty: {number(diff.u_reading)} at this reading, "
        f"{number(diff.u_at_tolerance)} at the tolerance "
        f"(photos: {row}; {reference}; {light}{dark}).",
        "Were the lot exactly at the tolerance, a reading this small or smaller would come in "
        f"{percent(diff.p_within)} of tries, one this large or larger in "
        f"{percent(diff.p_outside)}. Neither is the probability that the lot is good.",
    )


def reasons(diff: Difference) -> tuple[str, ...]:
    """Why the verdict is what it is, where that is not plain from the figures."""
    t, u = diff.conditions.tolerance, diff.u_at_tolerance
    if diff.verdict is Verdict.OUTSIDE:
        told = "Over the tolerance by five times the doubt or more: a gross difference."
        return (told,) if diff.gross else ()
    if diff.verdict is Verdict.WITHIN:
        return ()
    out = [*diff.stops]
    if math.isnan(u):
        return (*out, UNKNOWN_DOUBT)
    if u > GATE_OUTSIDE * t:
        out.append(
            f"The doubt at the tolerance, {_over(u, GATE_OUTSIDE * t, 'half')}: only a gross "
            "difference could be judged."
        )
    elif u > GATE_WITHIN * t:
        out.append(
            f"The doubt at the tolerance, {_over(u, GATE_WITHIN * t, 'a third')}: no lot can be "
            "called within."
        )
    if min(diff.p_within, diff.p_outside) > LEVEL:
        out.append(
            "The reading lies too near the tolerance for this doubt to tell the sides apart."
        )
    return (*out, *diff.bars)


def _over(u: float, bound: float, part: str) -> str:
    """A doubt and the bound that it is over, with as many digits as tell them apart."""
    digits = next((d for d in (2, 3) if round(u, d) != round(bound, d)), 4)
    return f"{u:.{digits}f}, is more than {part} of the tolerance ({bound:.{digits}f})"


def notes(diff: Difference) -> tuple[str, ...]:
    """What must be read with every figure of this difference."""
    out = [MEANT_FOR, NOT_A_LAW, LIGHTNESS_APART]
    if diff.conditions.same_dyes is not True:
        unknown = (SAME_DYES_ONLY, DYES_UNKNOWN)
        out += [DYES_DIFFER] if diff.conditions.same_dyes is False else unknown
    # u holds a factor of safety, the bias does not: compare with the plain doubt.
    if diff.delta_e_00 < 2.0 * diff.u_reading / math.sqrt(COVERAGE):
        out.append(NEAR_ZERO)
    return tuple(out)


def direction_record(d: Direction) -> dict[str, Any]:
    """A direction as plain JSON data."""
    return {"axis": d.axis, "word": d.word, "size": d.size, "share": d.share}
