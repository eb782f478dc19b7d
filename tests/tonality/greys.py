"""Painted greys: yarn whose dye moves its colour as light does, photographed like any other.

White, cream, silk and grey wool with more or less of a black, in the ranges of
:mod:`tests.tonality.draws`. None of the yarns that the rule of evenness is fitted on is so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.render.dye import Dyeing
from tests.render.spectra import base_reflectance, dyed_reflectance, lab
from tests.tonality.draws import Case, draw
from tests.tonality.figures import Row, doubt, measured, share
from tests.tonality.sets import seen

#: First seed of greys that were untouched until the end. The rule's bounds for greys were chosen
#: on 60 + 60 from 7,000,000 and 150 + 150 from 7,100,000.
FIRST_SEED = 7_500_000
KINDS = ("solid", "semi-solid", "variegated", "speckled")
#: Least difference of L* between two painted greys.
LEAST_APART = 8.0

Knot = tuple[tuple[str, float], ...]


def _grey(rng: np.random.Generator, depth: float) -> Knot:
    """A black at a depth of shade in %, with a little of another dye."""
    other = str(rng.choice(["Marn blue", "Brackle brown", "Hessard violet"]))
    return tuple(sorted({"Sallow black": depth, other: depth * rng.uniform(0.0, 0.15)}.items()))


def _depth(rng: np.random.Generator) -> float:
    return float(np.exp(rng.uniform(np.log(0.05), np.log(2.0))))


def _painted(rng: np.random.Generator, base: str) -> tuple[Knot, ...]:
    """Two or three greys along the yarn, the undyed base often one of them, and round again."""
    knots: list[Knot] = []
    lightness: list[float] = []
    count = int(rng.integers(2, 4))
    while len(knots) < count:
        knot = () if rng.random() < 0.4 else _grey(rng, _depth(rng))
        l_star = float(lab(dyed_reflectance(base_reflectance(base), dict(knot)))[0])
        if all(abs(l_star - other) > LEAST_APART for other in lightness):
            knots.append(knot)
            lightness.append(l_star)
    return (*knots, knots[0])


def draw_grey(seed: int, hard: bool) -> Case:
    """The photo of a seed: light, form and strands as in :func:`tests.tonality.draws.draw`."""
    rng = np.random.default_rng([seed, 77])
    case = draw(seed, hard)
    base = str(rng.choice(["wool", "white wool", "silk", "grey wool"], p=[0.3, 0.4, 0.1, 0.2]))
    kind = str(rng.choice(KINDS, p=[0.25, 0.25, 0.3, 0.2]))
    patch = float(np.exp(rng.uniform(np.log(6.0), np.log(40.0))))
    if kind == "solid":
        knot = _grey(rng, _depth(rng))
        lot = Dyeing(base, (knot,), kind, float(rng.uniform(0.0, 0.012)), patch)
    elif kind == "semi-solid":
        knot = _grey(rng, _depth(rng))
        sd = float(np.exp(rng.uniform(np.log(0.04), np.log(0.35))))
        lot = Dyeing(base, (knot,), kind, sd, patch)
    elif kind == "variegated":
        lot = Dyeing(base, _painted(rng, base), kind, 0.03, float(rng.uniform(15.0, 70.0)))
    else:
        knots = () if rng.random() < 0.5 else _grey(rng, 0.08), _grey(rng, 1.2)
        even, specks = float(rng.uniform(0.0, 0.012)), float(rng.uniform(1.5, 6.0))
        lot = Dyeing(base, knots, kind, even, patch, specks)
    return replace(case, kind=kind, dyeing=replace(lot, core_halo=case.dyeing.core_halo))


def rows(folder: Path, count: int, hard: bool, first: int = FIRST_SEED) -> Iterator[Row]:
    """``count`` greys measured."""
    for k in range(count):
        case = draw_grey(first + 2 * k + int(hard), hard)
        yield measured(case, seen(case, folder))


def tables(found: list[Row]) -> str:
    """What greys of each kind are called, and how often the range holds the truth."""
    lines = []
    for kind in KINDS:
        some = [r for r in found if r.case.kind == kind]
        names = sorted({r.found.name or "cannot tell" for r in some})
        said = ", ".join(f"{n} {share(some, None if n == 'cannot tell' else n):.0%}" for n in names)
        lines.append(f"{kind} (n {len(some)}): {said}; range holds the truth {_held(some):.0%}")
    far = sum(r.truth["unevenness"] - r.found.high > 1.0 for r in found)
    return "\n".join([*lines, *doubt(found), f"truth over the range by more than 1: {far}"])


def _held(some: list[Row]) -> float:
    inside = [r.found.low - 0.01 <= r.truth["unevenness"] <= r.found.high + 0.01 for r in some]
    return float(np.mean(inside))
