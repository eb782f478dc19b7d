"""A colourway's lots over time: individuals and moving range, with limits and the rules broken.

The three axes are those of ΔE00 about the mean of the lots, signed: lightness ΔL'/(kL SL),
chroma ΔC'/SC, hue ΔH'/SH. Limits come from the moving range of the archive's own lots.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ingest.colour import Floats, difference_terms
from swatchvault.errors import CompareError

AXES = ("lightness", "chroma", "hue")
#: Words for a point above and below the middle, and for a run that rises and falls.
WORDS = (("lighter", "darker"), ("stronger", "duller"), ("turned on in hue", "turned back in hue"))
#: Factors for the range of two normal draws, derived: d2 = 2 / sqrt(pi), its standard deviation
#: is sqrt(2 - 4 / pi), and D4 = 1 + 3 sqrt(2 - 4 / pi) / d2.
D2, D4 = 1.128, 3.267
#: With fewer lots than this the limits are rough, and it is said. Common practice, no source.
ENOUGH = 8
RUN, TREND = 8, 6  # one side of the middle; steadily up or down


@dataclass(frozen=True)
class LotFacts:
    """A lot as the chart marks it. ``packs``, ``stocks`` and ``base_lots`` are what was used.

    ``by_photo``: ``when`` is the day of its first photo.
    """

    lot: str
    when: str | None = None
    packs: frozenset[str] = frozenset()
    stocks: frozenset[str] = frozenset()
    base_lots: frozenset[str] = frozenset()
    water: str | None = None
    by_photo: bool = False


@dataclass(frozen=True)
class Broken:
    """A rule that was broken: at which lot, on which axis, and the sentence that says so."""

    lot: int
    axis: str
    rule: str
    sentence: str


@dataclass(frozen=True)
class Change:
    """What changed from the lot before: its row, and a phrase."""

    lot: int
    what: str


@dataclass(frozen=True, eq=False)
class Course:
    """The chart. ``values``: (n, 3) on the axes about the mean; ``u``: (n,) doubt of each;
    ``sigma``: (3,) from the mean moving range; ``ranges``: (n - 1, 3)."""

    lots: tuple[LotFacts, ...]
    values: Floats
    u: Floats
    middle: Floats
    sigma: Floats
    ranges: Floats
    broken: tuple[Broken, ...]
    changes: tuple[Change, ...]
    notes: tuple[str, ...]
    k_l: float

    @property
    def sentences(self) -> tuple[str, ...]:
        """What is out of line; a rule that goes on from the lot before is told once."""
        seen = {(b.lot, b.axis, b.rule) for b in self.broken}
        fresh = [b for b in self.broken if (b.lot - 1, b.axis, b.rule) not in seen]
        return tuple(b.sentence for b in fresh)

    @property
    def range_limit(self) -> Floats:
        """(3,) upper limit of the moving range."""
        return np.asarray(D4 * D2 * self.sigma)


def course(
    labs: ArrayLike, lots: Sequence[LotFacts], *, k_l: float = 2.0, u: ArrayLike | None = None
) -> Course:
    """Lots in order of time as a control chart.

    ``labs``: (n, 3), one for each lot, oldest first. ``u``: (n,) standard uncertainty of each on
    the axes, NaN where unknown. Raises :class:`CompareError` for fewer than two lots.
    """
    lab = np.asarray(labs, dtype=float).reshape(-1, 3)
    if len(lab) < 2:
        one = "one measured lot" if len(lab) else "no measured lot"
        raise CompareError(f"{one}: a course needs at least two, better {ENOUGH} or more")
    terms = difference_terms(lab.mean(axis=0), lab)
    values = terms.delta / (terms.weights * np.array([k_l, 1.0, 1.0]))
    ranges = np.abs(np.diff(values, axis=0))
    middle, sigma = values.mean(axis=0), ranges.mean(axis=0) / D2
    doubt = np.full(len(lab), np.nan) if u is None else np.asarray(u, dtype=float)
    broken: list[Broken] = []
    for axis in range(3):
        column = values[:, axis] - middle[axis]
        broken += _axis_rules(column, ranges[:, axis], float(sigma[axis]), axis, lots)
    notes = []
    if len(lab) < ENOUGH:
        notes.append(f"Limits from {len(lab)} lots are rough: {ENOUGH} or more would settle them.")
    known = doubt[np.isfinite(doubt)]
    if len(known) < len(lab):
        notes.append("The doubt of some photos is unknown: a broken rule may be the photo's.")
    elif np.median(known) > sigma.max():
        notes.append(
            f"The photos' own doubt (about {np.median(known):.2f}) is larger than the spread of "
            f"the lots ({sigma.max():.2f}): a broken rule may be the photo's and not the dye's."
        )
    return Course(
        tuple(lots),
        values,
        doubt,
        middle,
        sigma,
        ranges,
        tuple(sorted(broken, key=lambda b: b.lot)),
        tuple(changes(lots)),
        tuple(notes),
        k_l,
    )


def _axis_rules(
    values: Floats, ranges: Floats, spread: float, axis: int, lots: Sequence[LotFacts]
) -> list[Broken]:
    """The customary rules of a control chart: beyond three sigma, two of three beyond two, four of
    five beyond one, eight on one side (Western Electric handbook, 1956), and six in a row rising
    or falling (Nelson, J. Quality Technology 16, 1984); both from memory, unverified."""
    name, words = AXES[axis], WORDS[axis]
    if spread < 1e-9:
        return []
    z = values / spread
    found = []
    for row, lot in enumerate(lots):
        for sign, word in zip((1.0, -1.0), words, strict=True):
            said = _rule_at(sign * z[: row + 1])
            if said:
                rule, words_of = said
                found.append(Broken(row, name, rule, f"Lot {lot.lot}: {words_of.format(word)}."))
        if row and ranges[row - 1] > D4 * D2 * spread:
            text = f"Lot {lot.lot}: a larger step in {name} from the lot before than usual."
            found.append(Broken(row, name, "range", text))
    return found


def _rule_at(z: Floats) -> tuple[str, str] | None:
    """The strongest rule that the last of ``z`` breaks on the upper side, and its words."""
    if z[-1] > 3.0:
        return "beyond", "{0} than the limits allow"
    if len(z) >= 3 and z[-1] > 2.0 and np.count_nonzero(z[-3:] > 2.0) >= 2:
        return "two of three", "two of the last three lots are well {0} than usual"
    if len(z) >= 5 and z[-1] > 1.0 and np.count_nonzero(z[-5:] > 1.0) >= 4:
        return "four of five", "four of the last five lots are {0} than usual"
    if len(z) >= RUN and np.all(z[-RUN:] > 0.0):
        return "run", f"{RUN} lots in a row are {{0}} than the middle: the middle has moved"
    if len(z) >= TREND and np.all(np.diff(z[-TREND:]) > 0.0):
        return "trend", f"{TREND} lots in a row, each {{0}} than the one before"
    return None


def changes(lots: Sequence[LotFacts]) -> list[Change]:
    """New packet, stock, water or base lot, lot by lot; what is not written down is no change."""
    found = []
    for row in range(1, len(lots)):
        old, new = lots[row - 1], lots[row]
        for what in ("packs", "stocks", "base_lots"):
            before, after = getattr(old, what), getattr(new, what)
            fresh = sorted(after - before)
            if before and after and fresh:
                noun = {"packs": "packet", "stocks": "stock", "base_lots": "base lot"}[what]
                found.append(Change(row, f"{noun} {', '.join(fresh)}"))
        if old.water and new.water and old.water != new.water:
            found.append(Change(row, f"water {new.water}"))
    return found
