"""Near a colour: what was asked for, which hits can be told apart, and which dyes get there.

Functions over arrays and plain values. The searches themselves are in `lab_index` (by ΔE00) and
`likeness` (by what a swatch looks like), groups in `groups`, lots over time in `drift`, maps in
`maps` and `drift_chart`; this is the door to all of them.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ingest.colour import D65, SRGB_TO_XYZ, Floats, srgb_to_linear, xyz_to_lab
from ingest.doubt import axes_jacobian
from swatchvault.drift import AXES, Course, LotFacts, course
from swatchvault.drift_chart import course_svg
from swatchvault.errors import CompareError
from swatchvault.groups import U_UNKNOWN, Grouping, group, order_alike, pairwise, shade_sort
from swatchvault.lab_index import LabIndex
from swatchvault.likeness import Look, LookIndex, look_of
from swatchvault.maps import Gap, gaps, map_svg
from swatchvault.pair import Capture, Colour, Conditions, OwnFrame, grey_table, greys_differ
from swatchvault.pairdoubt import COVERAGE, MISFIT, dark_share, pair_doubt
from swatchvault.typed_numbers import plain_number

__all__ = [
    "AXES",
    "Course",
    "Gap",
    "Grouping",
    "LabIndex",
    "Look",
    "LookIndex",
    "LotFacts",
    "Target",
    "course",
    "course_svg",
    "gaps",
    "group",
    "lab_of_hex",
    "look_of",
    "map_svg",
    "order_alike",
    "other_dyes",
    "pairwise",
    "parse_target",
    "shade_sort",
    "shared_ranks",
    "u_pairs",
    "u_to_stated",
]

#: Two readings farther apart than this many standard uncertainties can be told apart.
TOLD_APART = 1.96
#: What a colour from a screen is worth.
HEX_WARNING = (
    "A hex colour is a screen's and not a yarn's: it says nothing of light, fibre or doubt. "
    "Take the order as a hint, and hold a dyed swatch to the yarn you want."
)
#: What a photo without a reference is worth (literature on phones: 10 ΔE00 off on average).
NO_CARD_WARNING = (
    "No grey card, steps or chart was found in this photo, so its colours are the camera's own: on "
    "average some 10 ΔE00 from the truth. Take the order as a hint, or photograph it again beside "
    "a grey card."
)
#: What a swatch that was measured damp is worth.
DAMP_WARNING = (
    "It was measured damp, and wet yarn is darker and stronger in colour: photograph it again, dry."
)


@dataclass(frozen=True, eq=False)
class Target:
    """A colour to look for: (3,) Lab D65/2°, what it is called, and what weakens it."""

    lab: Floats
    name: str
    warnings: tuple[str, ...] = ()


def lab_of_hex(text: str) -> Floats:
    """(3,) Lab D65 of ``#rgb`` or ``#rrggbb`` (sRGB). Raises :class:`CompareError`."""
    digits = text.strip().lstrip("#")
    if not re.fullmatch(r"[0-9a-fA-F]{3}|[0-9a-fA-F]{6}", digits):
        raise CompareError(f"{text!r} is no hex colour: it needs three or six digits, as #7a4b90")
    if len(digits) == 3:
        digits = "".join(2 * d for d in digits)
    coded = np.array([int(digits[i : i + 2], 16) for i in (0, 2, 4)]) / 255.0
    return xyz_to_lab(SRGB_TO_XYZ @ srgb_to_linear(coded), D65)


_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_TRIPLE = re.compile(rf"\s*({_NUMBER})\s*[,; ]\s*({_NUMBER})\s*[,; ]\s*({_NUMBER})\s*")
_PAIR = re.compile(rf"\s*{_NUMBER}\s*[,;]\s*{_NUMBER}\s*")
_COMMA_NUMBER = r"[-+]?\d+(?:[.,]\d+)?"
_COMMA_TRIPLE = re.compile(
    rf"\s*({_COMMA_NUMBER})[\s;]+({_COMMA_NUMBER})[\s;]+({_COMMA_NUMBER})\s*"
)
#: How a colour stands on the pages and in tables: L* 42.1 ± 0.8 a* -5.2 ± 0.6 b* -18.2 ± 0.9.
_DOUBT = re.compile(r"\s*,?\s*±\s*(?:\d+(?:[.,]\d+)?|\?|not known)")
_NAMED = re.compile(
    r"[,;\s]+".join(rf"{axis}\*?\s*[=:]?\s*({_COMMA_NUMBER})" for axis in "lab"), re.IGNORECASE
)


def parse_target(text: str) -> Target | None:
    """A hex colour or an L*, a*, b* triple as typed; None if it is neither.

    Between spaces or semicolons a number may have a decimal comma: 37,5 36 -40. The names of the
    axes may stand there, and doubts, which are left out: a colour is read as pages write it.
    Raises :class:`CompareError` for one that no surface can have.
    """
    if text.lstrip().startswith("#"):
        return Target(lab_of_hex(text), text.strip(), (HEX_WARNING,))
    bare = _DOUBT.sub("", text.replace("\u2212", "-")).strip()
    found = _NAMED.fullmatch(bare) or _COMMA_TRIPLE.fullmatch(bare) or _TRIPLE.fullmatch(bare)
    if found is None:
        if _PAIR.fullmatch(text):
            raise CompareError(f"{text.strip()!r} is two numbers: a colour has three, L*,a*,b*")
        return None
    lab = np.array([plain_number(v) for v in found.groups()])
    if not 0.0 <= lab[0] <= 100.0 or np.abs(lab[1:]).max() > 200.0:
        raise CompareError(
            f"{text.strip()!r} is no colour: L* lies between 0 and 100, a* and b* between -200 "
            "and 200"
        )
    return Target(lab, f"L* {lab[0]:g} a* {lab[1]:g} b* {lab[2]:g}")


def u_to_stated(lab: ArrayLike, hit_lab: ArrayLike, hit_cov: ArrayLike, k_l: float) -> float:
    """Doubt of the ΔE00 of a measured colour to a stated one: all of it is the measurement's.

    ``hit_cov``: (3, 3), of the absolute colour. NaN where that is unknown.
    """
    j = axes_jacobian(np.asarray(lab, dtype=float), np.asarray(hit_lab, dtype=float), k_l)
    variance = COVERAGE * float(np.trace(j @ np.asarray(hit_cov, dtype=float) @ j.T)) / 3.0
    return math.sqrt(variance) if variance >= 0.0 else math.nan


def shared_ranks(delta_e: Sequence[float], u: Sequence[float]) -> list[int]:
    """Ranks of hits, nearest first; those that cannot be told from the first of a rank share it.

    ``u``: standard uncertainty of each, NaN where unknown: one photo without a reference, which
    is some 10 ΔE00 off, brings its doubt upon both.

    >>> shared_ranks([1.0, 1.2, 6.0], [0.5, 0.5, 0.5])
    [1, 1, 3]
    """
    ranks: list[int] = []
    first = 0
    for row, (distance, doubt) in enumerate(zip(delta_e, u, strict=True)):
        known = [v for v in (doubt, u[first]) if not math.isnan(v)]
        unknown = [U_UNKNOWN] if len(known) < 2 else []
        if row and distance - delta_e[first] > math.hypot(*known, *unknown) * TOLD_APART:
            first = row
        ranks.append(first + 1)
    return ranks


def u_pairs(
    colours: Sequence[Colour],
    setups: Sequence[tuple[int, bool] | None],
    delta_e: Floats,
    k_l: float,
    own_frames: Mapping[int, OwnFrame] | None = None,
) -> Floats:
    """(n, n) doubt of each pair's ΔE00; ``setups``: (set-up, locked) of each, or None;
    ``own_frames``: what repeats taught of a set-up, for pairs of photos that share it.

    As `pair_doubt` has it of each pair in the test, but the region part is read on each colour's
    own axes and not on the pair's: near enough for pairs within some ΔE00 of each other, and quick.
    NaN where a photo has no reference.
    """
    taught = own_frames or {}
    capture = captures(colours, setups)
    region = np.array([_variance(c, c.region_cov, k_l) for c in colours])
    alone = np.array([_variance(c, c.frame_cov, k_l) for c in colours])
    of = [s[0] if s is not None and s[0] in taught else None for s in setups]
    kinds = [(c.column, c.light, c.flags & {MISFIT}, s) for c, s in zip(colours, of, strict=True)]
    known = list(dict.fromkeys(kinds))
    kind = np.array([known.index(k) for k in kinds])
    plain = [
        Colour(np.array([50.0, 0, 0]), np.zeros((3, 3)), column, light=light, flags=flags)
        for column, light, flags, _ in known
    ]
    frame = np.empty((len(Capture), len(known), len(known)))
    dyes, share = np.empty_like(frame), np.empty_like(frame)
    for number, way in enumerate(Capture):
        for i, j in np.ndindex(len(known), len(known)):
            setup = known[i][3] if known[i][3] == known[j][3] else None
            own = None if setup is None else taught[setup]
            doubt = pair_doubt(plain[i], plain[j], Conditions(way, k_l=k_l, own_frame=own))
            frame[number, i, j] = np.trace(doubt.frame) / 3.0
            dyes[number, i, j] = np.trace(doubt.dyes) / 3.0
            share[number, i, j] = doubt.share
    at = (capture, kind[:, None], kind[None, :])
    fewer = 1.0 / np.array([c.n_photos for c in colours])
    averaged = np.where(
        capture == list(Capture).index(Capture.OTHER), 1.0, (fewer[:, None] + fewer) / 2.0
    )
    together = capture == list(Capture).index(Capture.SAME_FRAME)
    fixed = frame[at] * averaged + dyes[at] + np.where(together, 0.0, alone[:, None] + alone)
    labs = np.array([c.lab for c in colours])
    growing = (share[at] ** 2 + dark_share(labs[:, None], labs) ** 2) * delta_e**2 / 3.0
    return np.asarray(np.sqrt(COVERAGE * (region[:, None] + region + fixed + growing)))


def _variance(colour: Colour, covariance: Floats, k_l: float) -> float:
    j = axes_jacobian(colour.lab, colour.lab, k_l)
    return float(np.trace(j @ covariance @ j.T)) / 3.0


def captures(
    colours: Sequence[Colour], setups: Sequence[tuple[int, bool] | None]
) -> NDArray[np.intp]:
    """(n, n) place in :class:`Capture` of each pair."""
    ways = list(Capture)
    frames: dict[frozenset[str], int] = {}
    frame = np.array([frames.setdefault(c.photo_ids, len(frames)) for c in colours])
    named = np.array([bool(c.photo_ids) for c in colours], dtype=bool)
    setup = np.array([-1 if s is None else s[0] for s in setups])
    locked = np.array([s is not None and s[1] is True for s in setups], dtype=bool)
    one_setup = (setup[:, None] == setup) & (setup >= 0)
    result = np.full(one_setup.shape, ways.index(Capture.OTHER))
    result[one_setup] = ways.index(Capture.SAME_SETUP)
    greys = grey_table([c.greys for c in colours])
    one, other = np.nonzero(one_setup & locked[:, None] & locked)
    alike = ~greys_differ(greys[one], greys[other])
    result[one[alike], other[alike]] = ways.index(Capture.LOCKED)
    result[(frame[:, None] == frame) & named] = ways.index(Capture.SAME_FRAME)
    return result


def other_dyes(
    dye_sets: Sequence[frozenset[str]], delta_e: Sequence[float], most: int = 14
) -> list[int]:
    """Rows of swatches that got near with no dye in common, as many ways as there are.

    ``dye_sets``: what went into each; an empty one (nothing written down) is left out. Of each
    set the nearest swatch counts; among the ``most`` nearest sets the largest collection of
    disjoint ones is found exactly, and of equal ones the nearest. Nearest first.
    """
    nearest: dict[frozenset[str], int] = {}
    for row in np.argsort(np.asarray(delta_e, dtype=float), kind="stable"):
        if dye_sets[row]:
            nearest.setdefault(dye_sets[row], int(row))
    rows = list(nearest.values())[:most]
    best: list[int] = []

    def take(start: int, chosen: list[int], used: frozenset[str]) -> None:
        nonlocal best
        cost = (-len(chosen), sum(delta_e[r] for r in chosen))
        if cost < (-len(best), sum(delta_e[r] for r in best)):
            best = list(chosen)
        for place in range(start, len(rows)):
            if not dye_sets[rows[place]] & used:
                take(place + 1, [*chosen, rows[place]], used | dye_sets[rows[place]])

    take(0, [], frozenset())
    return best
