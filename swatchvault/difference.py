"""The statistics of a colour difference, and the verdict on a lot.

A pair is two :class:`Colour` values and the :class:`Conditions` under which they were taken. The
axes of a pair are w = (ΔL'/(kL SL), ΔC'/SC, ΔH'/SH), so that ΔE00² = x² + y² + z² + R_T y z. The
verdict is a test at the boundary: had the lot been exactly at the tolerance, how often would a
reading as small, or as large, as ours come up? Neither is the probability that the lot is good.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

import numpy as np

from ingest.colour import Floats, d_lch, delta_e_2000, difference_terms
from ingest.model import FLAGS, FLAGS_THAT_STOP_A_VERDICT
from swatchvault.pair import Capture, Colour, Conditions
from swatchvault.pairdoubt import PairDoubt, mean_u, pair_doubt, u_of_lch

__all__ = [
    "Difference",
    "Verdict",
    "barring",
    "boundary_test",
    "d_lch",
    "decide",
    "delta_e_2000",
    "judge",
    "stopping_flags",
]


class Verdict(StrEnum):
    """What is said of a lot held to its master."""

    WITHIN = "within"
    OUTSIDE = "outside"
    CANNOT_TELL = "cannot tell"


#: Flags under which two photos are not held against each other, while two swatches of one photo
#: are. Of 33 rendered pairs of one yarn, one photo with a shadow of 10 to 40 % across part of its
#: card, steps or chart, 10 had been called outside; within one photo so shadowed 1 of 33 changed.
#: Where a reference did not fit in simulated photos (60 sets in each light), 188 of the 964 lots
#: of another photo that were called outside were not.
STOPPING_APART = frozenset({"card in shadow", "reference does not fit"})
#: Flags under which, both together, not even two swatches of one photo are held to each other: the
#: shadow may end between them, and no paper tells. A rendered pair of one yarn read 4.9 ΔE00.
STOPPING_TOGETHER = frozenset({"card in shadow", "light not seen"})
#: Flag under which steps or a chart leave no verdict, in one photo either: a curve through greys of
#: which some are shaded changes how far apart all colours read, and not only what they are. A
#: shadow of 25 to 35 % over half of six rendered steps made 2.7 ΔE00 of blue yarn 1.6, and 1.9 of
#: red 2.7, in one frame.
SHADED = "card in shadow"
#: Flag under which a region may hold table or a second swatch, and no verdict is given where one
#: side alone has it; of painted yarn both have. None of 238 rendered swatches of yarn alone had it.
STOPPING_ONE = "perhaps two swatches"
#: Below this L* no lot is called within: dark colours are where wrong passes came from. Our choice.
DARK_L = 25.0

#: Level of both tests at the boundary. Our choice, as customary for a test.
LEVEL = 0.05
#: Shares of the tolerance that the doubt at it may reach for each verdict; and how many times their
#: doubt a reading must be beyond the tolerance to count as outside whatever the photos. Our choice.
GATE_WITHIN, GATE_OUTSIDE, GROSS = 1 / 3, 1 / 2, 5.0
_PAIRS_OF_DRAWS, _SEED = 8192, 20050221  # with their mirror images: 16,384 draws


def curve_in_shadow(flags: Collection[str], reference: str) -> bool:
    """Whether a shadow's edge bends a photo's tone curve, so that no two of its colours compare."""
    return SHADED in flags and reference != "card"


@lru_cache(maxsize=1)
def _draws() -> Floats:
    """(n, 3) standard normal draws and their mirror images: A to B then equals B to A."""
    half = np.random.default_rng(_SEED).standard_normal((_PAIRS_OF_DRAWS, 3))
    return np.concatenate([half, -half])


def _score(w: Floats, rotation: float) -> Floats:
    x, y, z = w[..., 0], w[..., 1], w[..., 2]
    return np.asarray(np.sqrt(np.maximum(x * x + y * y + z * z + rotation * y * z, 0.0)))


def boundary_test(w: Floats, rotation: float, cov: Floats, tolerance: float) -> tuple[float, float]:
    """P(reading <= ours) and P(reading >= ours) where the truth lies at the tolerance.

    ``w``: (3,), the reading on the pair's axes. ``cov``: S(tolerance). The truth is put along
    the reading's direction; a reading of 0 has none and takes the axis of largest variance.
    """
    if not np.all(np.isfinite(cov)):
        return math.nan, math.nan
    values, vectors = np.linalg.eigh(cov)
    reading = float(_score(w, rotation))
    direction = w if reading > 1e-9 else vectors[:, -1]
    truth = direction * (tolerance / float(_score(direction, rotation)))
    errors = (_draws() * np.sqrt(np.maximum(values, 0.0))) @ vectors.T
    scores = _score(truth + errors, rotation)
    return float(np.mean(scores <= reading)), float(np.mean(scores >= reading))


def decide(
    reading: float, tolerance: float, u: float, p: tuple[float, float], *, stopped: bool, bar: bool
) -> tuple[Verdict, bool]:
    """The verdict, and whether it rests on the gross rule; any NaN gives "cannot tell".

    ``u``: at the tolerance. ``p``: within, outside. ``stopped``: no verdict on these photos.
    ``bar``: "within" is barred (dark, or a channel at zero).
    """
    if stopped:
        return Verdict.CANNOT_TELL, False
    if p[0] <= LEVEL and u <= GATE_WITHIN * tolerance and not bar:
        return Verdict.WITHIN, False
    if p[1] <= LEVEL and u <= GATE_OUTSIDE * tolerance:
        return Verdict.OUTSIDE, False
    if reading - tolerance >= GROSS * u:
        return Verdict.OUTSIDE, True
    return Verdict.CANNOT_TELL, False


@dataclass(frozen=True, eq=False)
class Difference:
    """New minus master, with its doubt and the verdict.

    ``d_lch``: CIELAB ΔL*, ΔC*ab, ΔH*ab, the last signed as Δhab; ``u_lch``: their standard
    uncertainties. ``axes``: (3,) w; ``axes_cov``: (3, 3) S as stated of the reading. ``stops``,
    ``bars``: sentences that kept a verdict away.
    """

    delta_e_00: float
    d_lch: tuple[float, float, float]
    u_lch: tuple[float, float, float]
    axes: Floats
    axes_cov: Floats
    u_reading: float
    u_at_tolerance: float
    p_within: float
    p_outside: float
    verdict: Verdict
    gross: bool
    stops: tuple[str, ...]
    bars: tuple[str, ...]
    doubt: PairDoubt
    conditions: Conditions


def judge(
    master: Colour, new: Colour, conditions: Conditions, stops: Sequence[str] = ()
) -> Difference:
    """The difference of ``new`` from ``master`` and the verdict. ``stops``: sentences of the
    caller that leave only "cannot tell"."""
    k_l, tolerance = conditions.k_l, conditions.tolerance
    terms = difference_terms(master.lab, new.lab)
    w = terms.delta / (terms.weights * np.array([k_l, 1.0, 1.0]))
    rotation, doubt = float(terms.rotation), pair_doubt(master, new, conditions)
    reading = float(_score(w, rotation))
    stated, at_tolerance = doubt.stated(reading), doubt.covariance(tolerance)
    p = boundary_test(w, rotation, at_tolerance, tolerance)
    sides = {"master": master, "new": new}
    stopping = [*stops, *_stopped_by(sides, conditions.capture)]
    bars = _barred_by(sides)
    u = doubt.u(tolerance)
    verdict, gross = decide(reading, tolerance, u, p, stopped=bool(stopping), bar=bool(bars))
    dl, dc, dh = (float(v) for v in d_lch(master.lab, new.lab))
    return Difference(
        reading,
        (dl, dc, dh),
        u_of_lch(master.lab, new.lab, k_l, stated),
        w,
        stated,
        mean_u(stated),
        u,
        *p,
        verdict,
        gross,
        tuple(stopping),
        tuple(bars),
        doubt,
        conditions,
    )


def stopping_flags(one: Colour, other: Colour, capture: Capture) -> tuple[set[str], set[str]]:
    """Flags of each side that leave no verdict on a pair so taken."""
    stopping = set(FLAGS_THAT_STOP_A_VERDICT)
    if capture is not Capture.SAME_FRAME:
        stopping |= STOPPING_APART
    if STOPPING_ONE in one.flags ^ other.flags:
        stopping.add(STOPPING_ONE)
    if one.flags & other.flags >= STOPPING_TOGETHER:
        stopping |= STOPPING_TOGETHER
    if any(curve_in_shadow(c.flags, c.reference) for c in (one, other)):
        stopping.add(SHADED)
    found = [set(c.flags & stopping) for c in (one, other)]
    for side, colour in zip(found, (one, other), strict=True):
        side |= {"no reference"} if colour.column == "none" else set()
    return found[0], found[1]


def barring(colour: Colour) -> bool:
    """Whether a colour is never called within: too dark, or with a channel at zero."""
    return "channel at zero" in colour.flags or bool(colour.lab[0] < DARK_L)


def _stopped_by(sides: Mapping[str, Colour], capture: Capture) -> list[str]:
    """Sentences of what leaves no verdict on a pair so taken, by the name of its side."""
    one, other = sides.values()
    found = zip(sides, stopping_flags(one, other, capture), strict=True)
    return [f"{s}: {FLAGS[f]}" for s, flags in found for f in sorted(flags)]


def _barred_by(sides: Mapping[str, Colour]) -> list[str]:
    """Sentences of what keeps "within" away, by the name of its side."""
    zero = [s for s, c in sides.items() if "channel at zero" in c.flags]
    dark = [
        f"{s}: L* is {c.lab[0]:.0f}, and under {DARK_L:.0f} no lot is called within: the camera "
        "sees too little of so dark a colour."
        for s, c in sides.items()
        if c.lab[0] < DARK_L
    ]
    return [*(f"{s}: {FLAGS['channel at zero']}" for s in zero), *dark]
