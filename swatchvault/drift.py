"""A colourway's lots over time: individuals and moving range, with limits and the rules broken.

The three axes are those of ΔE00 about the mean of the lots, signed: lightness ΔL'/(kL SL),
chroma ΔC'/SC, hue ΔH'/SH. The chart's limits come from the moving range of all lots, which a lot
that is out widens itself, so each lot is held to limits from the others too.
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
#: With fewer lots than this it is not said that none is out. Derived: of n lots one that is neither
#: first nor last and lies D off all others is (n - 1) / n D from the middle, and makes limits of
#: 3 x 2 D / (D2 (n - 1)) by its own two steps; up to n = 7 that is more, however large D is.
ENOUGH = 8
#: One-sided level of three sigma of a normal, 1 - 0.00135: that of limits from the other lots.
THREE_SIGMA = 0.99865
#: Lots in a row on one side of the middle, and steadily up or down, that are told: as is customary
#: on such charts; from memory, unverified.
RUN, TREND = 8, 6


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
    ``sigma``: (3,) from the mean moving range; ``ranges``: (n - 1, 3).

    ``from_others``: (n, 3) each lot from the mean of the others; ``others_limit``: (n, 3) how far
    the others let it lie, NaN of fewer than three lots.
    """

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
    from_others: Floats
    others_limit: Floats

    @property
    def limit(self) -> Floats:
        """(3,) limit either side of the middle, three sigma."""
        return np.asarray(3.0 * self.sigma)

    @property
    def enough(self) -> bool:
        """Whether the lots are enough to say that none is out of line."""
        return len(self.lots) >= ENOUGH

    @property
    def quiet(self) -> str:
        """What is to be said where no rule is broken."""
        if self.enough:
            return "No lot is out of line with the others."
        return (
            f"{len(self.lots)} lots are too few to tell whether one of them is out of line: a lot "
            f"that is out widens the limits itself. From {ENOUGH} lots on it can show."
        )

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
    from_others, others_limit = by_the_others(values, doubt)
    for axis in range(3):
        column = values[:, axis] - middle[axis]
        found = _axis_rules(column, ranges[:, axis], float(sigma[axis]), axis, lots)
        beyond = {b.lot for b in found if b.rule == "beyond"}
        apart = _apart(from_others[:, axis], others_limit[:, axis], axis, lots)
        broken += [*found, *(b for b in apart if b.lot not in beyond)]
    notes = []
    if broken and len(lab) < ENOUGH:  # where none is, what is said instead tells it
        notes.append(f"Limits from {len(lab)} lots are rough: {ENOUGH} or more make better ones.")
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
        from_others,
        others_limit,
    )


def by_the_others(values: Floats, u: Floats) -> tuple[Floats, Floats]:
    """Each lot (n, 3) from the mean of the others, and the limits (n, 3) that these set it.

    The limit is that of one more draw from the same normal, at the level of three sigma: t s
    sqrt(1 + 1 / (n - 1)) with the others' standard deviation s and n - 2 degrees of freedom, exact
    where lots are independent (deleted residuals: Belsley, Kuh and Welsch 1980, 2.1; from memory,
    unverified). ``u``: (n,) doubt of each lot's photos; what a lot's are worse by than the others'
    are on average is added, in squares, as far as it is known.
    """
    n = len(values)
    others = n - 1
    mean = (values.sum(axis=0) - values) / others
    away = values - mean
    if n < 3:
        return away, np.full(values.shape, np.nan)
    from scipy.special import stdtrit

    spread = np.stack([np.delete(values, row, axis=0).var(axis=0, ddof=1) for row in range(n)])
    known = np.where(np.isfinite(u), u, 0.0) ** 2
    worse = np.maximum(known - (known.sum() - known) / others, 0.0)[:, None]
    limit = stdtrit(n - 2, THREE_SIGMA) * np.sqrt(spread * (1.0 + 1.0 / others) + worse)
    return away, np.asarray(limit)


def _apart(away: Floats, limit: Floats, axis: int, lots: Sequence[LotFacts]) -> list[Broken]:
    """Lots that lie farther from the others than these let them."""
    found = []
    for row, lot in enumerate(lots):
        if limit[row] > 1e-9 and abs(away[row]) > limit[row]:
            word = WORDS[axis][0 if away[row] > 0.0 else 1]
            text = (
                f"Lot {lot.lot}: {word} than the other {len(lots) - 1} lots allow, "
                f"{away[row]:+.2f} from their mean and limit {limit[row]:.2f}."
            )
            found.append(Broken(row, AXES[axis], "apart", text))
    return found


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
