"""The rule of evenness refitted to the dyer's own words: thresholds moved, and what that gains.

Pure. Few thresholds are moved, each a whole border between classes and by one factor, because
thirty swatches cannot say more. What the refit gains is counted by leaving each swatch out in
turn, so that no swatch helps to set the border it is judged by.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ingest.evenness_rule import DEFAULT, RuleFigures, Thresholds, class_of
from ingest.evenness_stored import GRADIENT_BORDER, SOLID_BORDER
from swatchvault.errors import CompareError

#: Fewest named swatches, and fewest on each side of a border that is moved. Our choice.
FEWEST, FEWEST_A_SIDE = 30, 5
#: Factors tried on a border, 1 in the middle; as far and as fine, our choice.
FACTORS = tuple(float(f) for f in np.exp(np.linspace(-math.log(2.5), math.log(2.5), 41)))
#: What "cannot tell" counts where the dyer's word is one of the two, a right class counting 1.
#: Our choice.
HALF = 0.5
#: A border moves only where that is worth as much: less could be one swatch's doing. Our choice.
LEAST_GAIN = 2.0
#: How often all borders are gone through, for each moves what the next ones have to part. Our
#: choice.
PASSES = 2


@dataclass(frozen=True)
class Border:
    """A border between classes: its name, the thresholds that move together, and the class
    beyond it. ``against``: the classes on this side; none means all others."""

    words: str
    thresholds: tuple[str, ...]
    beyond: str
    against: tuple[str, ...] = ()


BORDERS = (
    Border("gradient from", GRADIENT_BORDER, "gradient"),
    Border("speckled from", ("dots_percent",), "speckled"),
    Border("variegated from", ("variegated_reach",), "variegated"),
    Border("semi-solid from", SOLID_BORDER[:3], "semi-solid", ("solid",)),
)


@dataclass(frozen=True)
class Named:
    """A swatch that the dyer named, and what the rule read of it. ``whole``: whether all figures
    are known, or only those of the border between solid and semi-solid."""

    swatch: str
    word: str
    read: RuleFigures
    named_class_id: int = 0
    measurement_id: int = 0
    whole: bool = True


@dataclass(frozen=True)
class Count:
    """Of named swatches, how many the rule calls the same, and of how many it cannot tell."""

    right: int
    cannot_tell: int
    of: int


@dataclass(frozen=True)
class Moved:
    """A border that was moved: its name, a threshold, from and to."""

    words: str
    threshold: str
    before: float
    after: float


@dataclass(frozen=True)
class Refit:
    """Thresholds fitted to named swatches. ``before``: by the program's rule; ``after``: each
    swatch by a rule fitted to the others. ``kept``: borders that too few swatches speak for."""

    limits: Thresholds
    moved: tuple[Moved, ...]
    kept: tuple[str, ...]
    before: Count
    after: Count
    swatches: tuple[Named, ...]

    @property
    def better(self) -> bool:
        return self.after.right > self.before.right


def refit(named: Sequence[Named]) -> Refit:
    """Fit the borders. Raises ``CompareError`` with fewer than :data:`FEWEST` swatches."""
    if len(named) < FEWEST:
        raise CompareError(
            f"{len(named)} named swatches can be used, {FEWEST} are needed: name more with "
            '`swatchvault eye SWATCH "semi-solid"`'
        )
    table = _Table(named)
    everyone = np.ones(len(named), dtype=bool)
    limits = fit(table, everyone)
    left_out = []
    for row in range(len(named)):
        others = everyone.copy()
        others[row] = False
        left_out.append(table.said(fit(table, others))[row])
    usable = [b for b in BORDERS if speaks_for(b, named, everyone)]
    return Refit(
        limits,
        tuple(
            Moved(b.words, name, getattr(DEFAULT, name), getattr(limits, name))
            for b in usable
            for name in b.thresholds
            if getattr(DEFAULT, name) != getattr(limits, name)
        ),
        tuple(b.words.removesuffix(" from") for b in BORDERS if b not in usable),
        count(named, table.said(DEFAULT)),
        count(named, left_out),
        tuple(named),
    )


def fit(table: _Table, rows: np.ndarray) -> Thresholds:
    """Thresholds from the swatches of ``rows`` (n,) bool: one border after the other, twice."""
    limits = DEFAULT
    usable = [b for b in BORDERS if speaks_for(b, table.named, rows)]
    for _ in range(PASSES):
        for border in usable:
            tried = [scaled(limits, border, factor) for factor in FACTORS]
            scores = np.array([table.scores(one)[rows].sum() for one in tried])
            limits = tried[best_factor(scores)]
    return limits


def best_factor(scores: np.ndarray) -> int:
    """Index of the factor to take: 1 unless others are better by :data:`LEAST_GAIN`, then the
    middle of the run of best ones that is nearest to it."""
    middle = len(FACTORS) // 2
    if scores.max() - scores[middle] < LEAST_GAIN:
        return middle
    best = np.flatnonzero(scores >= scores.max() - 1e-9)
    runs = np.split(best, np.flatnonzero(np.diff(best) > 1) + 1)
    nearest = min(runs, key=lambda run: float(np.abs(run - middle).min()))
    return int(nearest[len(nearest) // 2])


def scaled(limits: Thresholds, border: Border, factor: float) -> Thresholds:
    """The default border moved by ``factor``, the others as they are in ``limits``."""
    return replace(limits, **{n: round(getattr(DEFAULT, n) * factor, 4) for n in border.thresholds})


def speaks_for(border: Border, named: Sequence[Named], rows: np.ndarray) -> bool:
    """Whether enough swatches lie on both sides, with the figures that the border needs."""
    used = [n for n, kept in zip(named, rows, strict=True) if kept]
    if border.against:
        sides = [sum(n.word == border.beyond for n in used)]
        sides.append(sum(n.word in border.against for n in used))
    elif not all(n.whole for n in used):
        return False
    else:
        beyond = sum(n.word == border.beyond for n in used)
        sides = [beyond, len(used) - beyond]
    return min(sides) >= FEWEST_A_SIDE


def count(named: Sequence[Named], said: Sequence[tuple[str | None, object]]) -> Count:
    """How many of the ``named`` the rule said right, each with what it ``said`` of it, and of how
    many it said no class."""
    names = [name for name, _ in said]
    right = sum(n.word == name for n, name in zip(named, names, strict=True))
    return Count(right, names.count(None), len(named))


class _Table:
    """Classes of all named swatches by thresholds, worked out once for each set of them."""

    def __init__(self, named: Sequence[Named]) -> None:
        self.named = tuple(named)
        self._said: dict[Thresholds, list[tuple[str | None, tuple[str, str] | None]]] = {}
        self._scores: dict[Thresholds, np.ndarray] = {}

    def said(self, limits: Thresholds) -> list[tuple[str | None, tuple[str, str] | None]]:
        if limits not in self._said:
            found = [class_of(n.read, limits) for n in self.named]
            self._said[limits] = [(c.name, c.between) for c in found]
        return self._said[limits]

    def scores(self, limits: Thresholds) -> np.ndarray:
        """(n,) 1 for the dyer's word, a half for "cannot tell" between it and another, else 0."""
        if limits not in self._scores:
            pairs = zip(self.named, self.said(limits), strict=True)
            self._scores[limits] = np.array([_score(n.word, *said) for n, said in pairs])
        return self._scores[limits]


def _score(word: str, name: str | None, between: tuple[str, str] | None) -> float:
    if name is not None:
        return float(name == word)
    return HALF if between and word in between else 0.0
