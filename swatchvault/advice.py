"""What would make a verdict certain: each change, with the doubt it would leave."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from ingest.model import FLAGS
from swatchvault.difference import (
    GATE_WITHIN,
    LEVEL,
    STOPPING_APART,
    STOPPING_ONE,
    Difference,
    Verdict,
    judge,
)
from swatchvault.pair import Capture, Colour, Conditions
from swatchvault.pairdoubt import pair_doubt

BY_EYE = "Lay the two side by side in daylight and judge by eye."
REFERENCE_AGAIN = (
    "Photograph a piece of both in one frame; or both again, with the reference clean, evenly lit "
    "and marked where it lies."
)
AT_THE_EDGE = (
    "The lot lies at the edge of the tolerance and better photos would hardly help: lay the two "
    "side by side in daylight and judge by eye."
)
MARK_ANEW = (
    "Look at the marks first: part of the region of {names} looks like table, paper or a second "
    "swatch. Mark the yarn alone and measure it again."
)
SEE_THE_LIGHT = (
    "Lay all on plain paper, white or grey, bare around the pieces, and photograph it again: "
    "none was found that shows whether the light is even, and part of the doubt is that."
)
EVEN_LIGHT = (
    "Photograph them again in one even light, with no shadow and no second lamp on either: by the "
    "paper about them the light differs, and part of the doubt is that."
)
#: Flags of light that differs between the reference and swatches of a photo.
UNEVEN = frozenset({"light uneven", "light of two colours"})
#: Flags under which the region may hold more than one yarn.
DOUBTFUL_MARKS = frozenset({"perhaps background", "perhaps two swatches"})
STILL_NEAR = (
    "so that a new reading may fall clear of the tolerance; one as near as this would still not"
)
#: From which share of the doubt on a new photo is a new question, though a reading like this one
#: would stay undecided (our choice).
MUCH_BETTER = 0.5
#: The same for a change that would decide it: a hair's breadth is less than a new photo's reading
#: moves by (our choice).
BETTER = 0.9


@dataclass(frozen=True)
class Advice:
    """One change to how the pair is photographed, and the doubt at the tolerance it would reach.

    ``u_at_tolerance`` is NaN where that cannot be foretold; ``enough``: both verdicts possible, and
    where they are possible already, that this reading would get one.
    """

    text: str
    u_at_tolerance: float
    enough: bool


@dataclass(frozen=True)
class _Change:
    """A way to do it otherwise, as a change of each colour and of the conditions."""

    text: str
    colour: Callable[[Colour], Colour] = lambda c: c
    conditions: Callable[[Conditions], Conditions] = lambda c: c


def _with_steps(c: Colour) -> Colour:
    return replace(c, reference="steps", neutrals=None) if c.column == "card" else c


def _by_daylight(c: Colour) -> Colour:
    return replace(c, light="daylight")


def _one_more(c: Colour) -> Colour:
    k = c.n_photos
    fewer = k / (k + 1)
    return replace(
        c, n_photos=k + 1, region_cov=c.region_cov * fewer, frame_cov=c.frame_cov * fewer
    )


def _one_frame(c: Conditions) -> Conditions:
    return replace(c, capture=Capture.SAME_FRAME)


def _locked(c: Conditions) -> Conditions:
    return replace(c, capture=Capture.LOCKED)


def _same_dyes(c: Conditions) -> Conditions:
    return replace(c, same_dyes=True)


def _changes(coarse: bool, unseen: bool, diff: Difference) -> list[_Change]:
    """The changes that this pair has not made yet. ``coarse``: a card, or few neutrals;
    ``unseen``: nothing shows the light, so that another photo says more with the places swapped."""
    conditions = diff.conditions
    apart = conditions.capture is not Capture.SAME_FRAME
    loose = conditions.capture in (Capture.SAME_SETUP, Capture.OTHER)
    steps = "six or more neutral steps, unclipped"
    swapped = ", with their places swapped," if unseen else ""
    every = [
        (apart, _Change("Photograph a piece of both in one frame", conditions=_one_frame)),
        (
            apart and coarse,
            _Change(f"Photograph both in one frame with {steps}", _with_steps, _one_frame),
        ),
        (
            loose,
            _Change(
                "Photograph both in one set-up, with phone, light, card and settings locked",
                conditions=_locked,
            ),
        ),
        (coarse, _Change(f"Use {steps}, in place of a card", _with_steps)),
        (not diff.doubt.daylight, _Change("Photograph both by daylight, and say so", _by_daylight)),
        (
            conditions.same_dyes is None,
            _Change(
                "Say so, if both lots were dyed with the same dyes from the same packets",
                conditions=_same_dyes,
            ),
        ),
        (True, _Change(f"Take one more photo of each{swapped} and let the means count", _one_more)),
    ]
    return [change for wanted, change in every if wanted]


def _all_at_once(diff: Difference) -> _Change:
    same = diff.conditions.same_dyes is None
    return _Change(
        "Photograph both in one frame, by daylight, with six or more neutral steps, unclipped"
        + (", and say so if the dyes were the same" if same else ""),
        lambda c: _by_daylight(_with_steps(c)),
        lambda c: _same_dyes(_one_frame(c)) if same else _one_frame(c),
    )


def what_next(master: Colour, new: Colour, diff: Difference) -> tuple[Advice, ...]:
    """Advice where the verdict is "cannot tell", the best first; none where it is not."""
    if diff.verdict is not Verdict.CANNOT_TELL:
        return ()
    if diff.stops and all(any(FLAGS[f] in stop for f in STOPPING_APART) for stop in diff.stops):
        return (Advice(REFERENCE_AGAIN, math.nan, False),)
    if diff.stops and all(FLAGS[STOPPING_ONE] in stop for stop in diff.stops):
        one, other = (replace(c, flags=c.flags - {STOPPING_ONE}) for c in (master, new))
        alone = what_next(one, other, judge(one, other, diff.conditions))
        return (*_mark_anew([c for c in (master, new) if STOPPING_ONE in c.flags]), *alone)
    if diff.stops:
        text = "Put right what is said above, photograph again, and compare then."
        return (Advice(text, math.nan, False),)
    if (
        diff.bars
        and diff.p_within <= LEVEL
        and diff.u_at_tolerance <= GATE_WITHIN * (diff.conditions.tolerance)
    ):
        return (Advice(BY_EYE, math.nan, False),)
    unseen = any("light not seen" in c.flags for c in (master, new))
    changes = _changes("card" in (master.column, new.column), unseen, diff)
    out = _weigh(master, new, diff, changes)
    if not any(a.enough for a in out):
        out += _weigh(master, new, diff, [_all_at_once(diff)])
    if not out:
        out = [Advice(AT_THE_EDGE, math.nan, False)]
    first = _mark_anew([c for c in (master, new) if c.flags & DOUBTFUL_MARKS])
    if any(c.flags & UNEVEN for c in (master, new)):
        first += (Advice(EVEN_LIGHT, math.nan, False),)
    if unseen:
        first += (Advice(SEE_THE_LIGHT, math.nan, False),)
    return (*first, *sorted(out, key=lambda a: a.u_at_tolerance))


def _mark_anew(doubtful: list[Colour]) -> tuple[Advice, ...]:
    names = " and ".join(c.name or "a swatch" for c in doubtful)
    return (Advice(MARK_ANEW.format(names=names), math.nan, False),) if doubtful else ()


def _weigh(master: Colour, new: Colour, diff: Difference, changes: list[_Change]) -> list[Advice]:
    """The changes that help. Where the doubt is small enough already, only those that would decide
    this very reading, or make the doubt so much smaller that a new one may well lie elsewhere."""
    t, now = diff.conditions.tolerance, diff.u_at_tolerance
    out = []
    for change in changes:
        conditions = change.conditions(diff.conditions)
        one, other = change.colour(master), change.colour(new)
        u = pair_doubt(one, other, conditions).u(t)
        if not u < 0.95 * now:  # a change that hardly helps is no advice
            continue
        enough = u <= GATE_WITHIN * t and not diff.bars
        then = "small enough to judge a lot" if enough else "still too large to call a lot within"
        if now <= GATE_WITHIN * t:
            verdict = judge(one, other, conditions).verdict
            least = MUCH_BETTER if verdict is Verdict.CANNOT_TELL else BETTER
            if not u < least * now:
                continue
            then = f"and this same reading would then be {verdict.value}"
            if verdict is Verdict.CANNOT_TELL:
                enough, then = False, STILL_NEAR
        text = (
            f"{change.text}: the doubt at the tolerance would go from {now:.2f} to {u:.2f}, {then}."
        )
        out.append(Advice(text, u, enough))
    return out
