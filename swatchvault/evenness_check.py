"""A lot's evenness held to its master's: more tonal, less tonal, as tonal, or cannot tell.

A verdict of its own, apart from the colour's. Pure: two figures with their doubt in, a decision
with its words out. As with the colour, each word is a test at its boundary. "As tonal": had the
lot been exactly a tolerance more (or less) uneven than the master, how often would a reading as
near come up? "More tonal": the reading is over the tolerance, and had the lot been exactly as even
as the master, how often would one so far above come up? Both at most one time in twenty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import Enum
from typing import Any

from ingest.evenness_model import ROOT_FLOOR
from ingest.model import none_if_nan
from swatchvault.evenness_read import Evenness
from swatchvault.kinds import NO_MORE_TONAL
from swatchvault.words import percent

#: Largest probability of a wrong word at the boundary, as for the colour's verdict. Our choice.
AT_BOUNDARY = 0.05
#: The doubt of a difference over the roots of the two doubts' squares: two photos of one form
#: share much of what makes a single figure doubtful. On renders of lots of one yarn the errors of
#: differences were 0.4 to 0.6 of that in soft light and near 0.8 in hard (tests/tonality/pairs.py).
PAIR = 0.75
#: A master's tolerance, ΔE00: so many times the doubt of a difference of two photos as even as
#: the master, and this at least. Our choice: the first makes "as tonal" possible at all.
TOLERANCE_TIMES, LEAST_TOLERANCE = 2.0, 0.5
#: Said where a tolerance reaches below no unevenness at all, and the lot reads clearly lower.
TOO_WIDE = (
    "It reads less tonal than the master, but the tolerance is wider than the master is uneven, so "
    "even a solid would keep to it: state a smaller one (`swatchvault master SWATCH "
    "--evenness-tolerance NUMBER`), or state it again from a nearer photo in flatter light."
)
#: Said where it reaches as far and the lot reads about as the master.
ONE_SIDED = (
    "Only that it is no more tonal was tested: the tolerance is wider than the master is uneven, "
    "so no lot can be called less tonal."
)
_EVEN = "Were it as even as the master, "


class Tonal(Enum):
    """What can be said of a lot's evenness."""

    AS = "as tonal"
    MORE = "more tonal"
    LESS = "less tonal"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True)
class Chances:
    """``as_tonal``: had the lot been a tolerance away, of a reading this near. ``more``, ``less``:
    had it been as even as the master, of one this high, or this low. NaN where there is none.
    None of them is the probability that the lot is good. ``two_sided``: whether a lot can be a
    tolerance less tonal, or the tolerance reaches below no unevenness at all."""

    as_tonal: float = math.nan
    more: float = math.nan
    less: float = math.nan
    two_sided: bool = True

    def sentences_of(self, verdict: Tonal) -> tuple[str, ...]:
        """Those that the verdict rests on, in words: all three where it cannot tell; none where
        there is none."""
        if math.isnan(self.as_tonal):
            return ()
        away, near = ("away", "near") if self.two_sided else ("more tonal", "low")
        far = (
            f"Were it a tolerance {away}, a reading this {near} would come in "
            f"{percent(self.as_tonal)} of tries"
        )
        told = {
            Tonal.AS: far,
            Tonal.MORE: f"{_EVEN}a reading this high would come in {percent(self.more)} of tries",
            Tonal.LESS: f"{_EVEN}a reading this low would come in {percent(self.less)} of tries",
            Tonal.CANNOT_TELL: f"{far}; {_EVEN[0].lower()}{_EVEN[1:]}one this high in "
            f"{percent(self.more)}, this low in {percent(self.less)}",
        }
        return (f"{told[verdict]}.",)


@dataclass(frozen=True)
class EvennessComparison:
    """A lot's evenness held to the master's, with ``reasons`` for what is not plain."""

    master: Evenness
    new: Evenness
    tolerance: float
    verdict: Tonal
    chances: Chances
    reasons: tuple[str, ...] = field(default=())

    @property
    def shown(self) -> str:
        """The verdict as it is shown: no more than was tested."""
        return NO_MORE_TONAL if ONE_SIDED in self.reasons else self.verdict.value

    @property
    def words(self) -> str:
        """The verdict with its figures, one sentence."""
        than = "as the master" if self.shown == Tonal.AS.value else "than the master"
        said = "cannot tell" if self.verdict is Tonal.CANNOT_TELL else f"{self.shown} {than}"
        return f"Evenness: {said}; {self.new.words} against {self.master.words}, " + (
            f"tolerance {self.tolerance:.2g}."
        )

    @property
    def sentences(self) -> tuple[str, ...]:
        """All of it, ready to print."""
        return (self.words, *self.reasons, *self.chances.sentences_of(self.verdict))

    def record(self) -> dict[str, Any]:
        """Plain JSON data; unknown is None."""
        return {
            "verdict": self.verdict.value,
            "unevenness": none_if_nan(self.new.unevenness),
            "u_unevenness": none_if_nan(self.new.u),
            "master_unevenness": none_if_nan(self.master.unevenness),
            "u_master_unevenness": none_if_nan(self.master.u),
            "tolerance": self.tolerance,
            "p_as": none_if_nan(self.chances.as_tonal),
            "p_more": none_if_nan(self.chances.more),
            "p_less": none_if_nan(self.chances.less),
            "method": self.new.method,
            "words": self.words,
            "reasons": list(self.reasons),
        }


def compare_evenness(master: Evenness, new: Evenness, tolerance: float) -> EvennessComparison:
    """Hold ``new`` to ``master``; ``tolerance`` in ΔE00, above 0.

    >>> even, uneven = (Evenness(v, 0.2, "skein", "1") for v in (0.6, 2.4))
    >>> compare_evenness(even, uneven, 0.7).verdict.value
    'more tonal'
    """
    why = not_comparable(master, new)
    if why is not None:
        return EvennessComparison(master, new, tolerance, Tonal.CANNOT_TELL, Chances(), (why,))
    upper = _below(new, master, master.unevenness + tolerance)
    floor = master.unevenness - tolerance
    lower = 1.0 - _below(new, master, floor) if floor > 0.0 else 0.0  # none can lie that low
    p_less = _below(new, master, master.unevenness)
    chances = Chances(max(upper, lower), 1.0 - p_less, p_less, two_sided=floor > 0.0)
    verdict = decide(new.unevenness - master.unevenness, tolerance, chances)
    said = _small_print(verdict)
    if verdict is Tonal.AS and floor <= 0.0 and master.kind not in (None, "solid"):
        said = (ONE_SIDED,)
        if p_less <= AT_BOUNDARY:  # "as tonal" would hold of any even lot, and this reads as one
            verdict, said = Tonal.CANNOT_TELL, (TOO_WIDE,)
    return EvennessComparison(master, new, tolerance, verdict, chances, (*said, *new.notes))


def decide(difference: float, tolerance: float, chances: Chances) -> Tonal:
    """The verdict on a reading that is ``difference`` above the master's."""
    if chances.as_tonal <= AT_BOUNDARY:
        return Tonal.AS
    if difference > tolerance and chances.more <= AT_BOUNDARY:
        return Tonal.MORE
    if difference < -tolerance and chances.less <= AT_BOUNDARY:
        return Tonal.LESS
    return Tonal.CANNOT_TELL


def not_comparable(master: Evenness, new: Evenness) -> str | None:
    """Why two swatches' evenness cannot be compared, in a sentence; None where it can."""
    for side, name in ((master, "the master"), (new, "the lot")):
        if side.why_not is not None:
            return f"Of {name}: {side.why_not}."
    if master.form != new.form:
        return (
            f"The master is a {master.form} and this a {new.form}: evenness is compared only "
            "within one form."
        )
    if master.method != new.method:
        return (
            f"The master's evenness is by {master.method!r}, the lot's by {new.method!r}: measure "
            "both by one version (`swatchvault remeasure`), then state the master's again."
        )
    return None


def tolerance_for(master: Evenness) -> float:
    """The tolerance that a master gets where none is told, ΔE00."""
    return max(LEAST_TOLERANCE, TOLERANCE_TIMES * math.sqrt(2.0) * PAIR * master.u)


def reason_for(master: Evenness) -> str:
    """Why :func:`tolerance_for` gives what it gives."""
    apart = math.sqrt(2.0) * PAIR * master.u
    return (
        f"our choice: {TOLERANCE_TIMES:g} times the doubt of a difference of two photos "
        f"({apart:.2f}), {LEAST_TOLERANCE:g} at least"
    )


def _below(new: Evenness, master: Evenness, truth: float) -> float:
    """P(a reading at most ``new``'s | the lot's true unevenness is ``truth``).

    In the root scale, where the estimate's errors are about even (ingest.evenness_model).
    """
    at = _root(truth)
    of_master = _root_sd(master) * _root(master.unevenness) / at
    doubt = PAIR * math.hypot(_root_sd(new), of_master)
    z = (_root(new.unevenness) - at) / doubt
    return 0.5 * (1.0 + math.erf(z / math.sqrt(2.0)))


def _root(unevenness: float) -> float:
    return math.sqrt(max(unevenness, 0.0) + ROOT_FLOOR)


def _root_sd(side: Evenness) -> float:
    """u = sqrt((2 r s)^2 + 2 s^4) solved for s, as ingest.evenness_model makes u from s."""
    square = _root(side.unevenness) ** 2
    return math.sqrt(max(math.sqrt(square**2 + side.u**2 / 2.0) - square, 1e-9))


def _small_print(verdict: Tonal) -> tuple[str, ...]:
    if verdict is not Tonal.CANNOT_TELL:
        return ()
    said = "The photos cannot tell the two apart to the tolerance: a nearer photo, more yarn in"
    return (f"{said} the region, or flatter light would help.",)
