"""Yarns and photos drawn at random: what is dyed, how it lies, and in what light it is seen.

All ranges are our own, chosen to span what a dyer's table may show; none is measured. Sets that
fit and sets that evaluate share the ranges of a kind of photo, never a seed or a colourway.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ingest.colour import delta_e_2000
from tests.render.dye import Dyeing
from tests.render.spectra import DYES, base_reflectance, dyed_reflectance, lab
from tests.render.strands import Yarn
from tests.render.yarn import Lamp

FORMS = ("wound card", "skein", "knit")
KINDS = ("solid", "semi-solid", "variegated", "speckled", "gradient")
#: Shares of the kinds in a set: the two that are hardest to part come most often.
SHARES = (0.30, 0.38, 0.12, 0.10, 0.10)


@dataclass(frozen=True)
class Case:
    """One photo of one yarn. ``deep``: power on the yarn's own shading, 1 as drawn. ``fold``:
    standard deviation of ln light over folds of ``fold_mm``. ``fall``: light lost towards one
    side. ``tone``: strength of a tone curve that correction left over. ``tint``: ln R/B between
    two lamps on either side, 0 for one lamp."""

    seed: int
    kind: str
    form: str
    yarn: Yarn
    dyeing: Dyeing
    lamp: Lamp
    px_per_mm: float
    size_mm: tuple[float, float] = (60.0, 45.0)
    deep: float = 1.0
    fold: float = 0.0
    fold_mm: float = 15.0
    fall: float = 0.0
    veil: float = 0.0
    tone: float = 0.0
    wb_error: tuple[float, float] = (0.0, 0.0)
    tint: float = 0.0
    exposure: float = 0.8
    full_well: float = 4000.0
    blur_px: float = 0.6
    quality: int = 92
    hard: bool = False


def _recipe(rng: np.random.Generator, most: float = 2.5) -> dict[str, float]:
    """One to three dyes, at depths from pale to full."""
    names = rng.choice(list(DYES), size=rng.integers(1, 4), replace=False)
    depth = float(np.exp(rng.uniform(np.log(0.03), np.log(most))))
    shares = rng.dirichlet(np.full(len(names), 1.5))
    return {str(n): float(depth * s) for n, s in zip(names, shares, strict=True)}


def _knot(recipe: dict[str, float]) -> tuple[tuple[str, float], ...]:
    return tuple(sorted(recipe.items()))


def dyeing(rng: np.random.Generator, kind: str) -> Dyeing:
    """A colourway of a kind."""
    base = str(rng.choice(["wool", "white wool", "silk", "grey wool"], p=[0.4, 0.3, 0.2, 0.1]))
    recipe = _recipe(rng)
    patch = float(np.exp(rng.uniform(np.log(6.0), np.log(40.0))))
    even = float(rng.uniform(0.0, 0.012))
    if kind == "solid":
        return Dyeing(base, (_knot(recipe),), kind, even, patch)
    if kind == "semi-solid":
        sd = float(np.exp(rng.uniform(np.log(0.04), np.log(0.35))))
        if rng.random() < 0.25:  # the dyes of a mixture strike unevenly: the hue moves too
            names = list(recipe)
            lean = np.exp(rng.normal(0.0, 0.6, len(names)))
            other = {n: d * f for n, d, f in zip(names, recipe.values(), lean, strict=True)}
            return Dyeing(base, (_knot(recipe), _knot(other)), kind, 0.6 * sd, patch, drift=0.25)
        return Dyeing(base, (_knot(recipe),), kind, sd, patch)
    if kind == "variegated":
        n = int(rng.integers(2, 5))
        knots = _colours_apart(rng, base, n)
        length = float(rng.uniform(15.0, 70.0))
        return Dyeing(base, (*knots, knots[0]), kind, even + 0.03, length)
    if kind == "speckled":
        ground = {k: v * 0.15 for k, v in recipe.items()} if rng.random() < 0.6 else {}
        knots = []
        for _ in range(int(rng.integers(1, 4))):
            knots += [_knot(ground), _knot(_recipe(rng) | {str(rng.choice(list(DYES))): 1.2})]
        return Dyeing(base, tuple(knots), kind, even, patch, float(rng.uniform(1.5, 6.0)))
    names = list(recipe)
    other = {n: v * float(rng.choice([0.2, 0.35, 3.0, 5.0])) for n, v in recipe.items()}
    other[str(rng.choice([n for n in DYES if n not in names]))] = float(rng.uniform(0.0, 0.6))
    return Dyeing(base, (_knot(recipe), _knot(other)), kind, even, patch)


def _colours_apart(
    rng: np.random.Generator, base: str, n: int
) -> list[tuple[tuple[str, float], ...]]:
    """Recipes whose colours are pairwise at least 12 ΔE00 apart, or it would be no variegation."""
    knots: list[tuple[tuple[str, float], ...]] = []
    labs: list[np.ndarray] = []
    while len(knots) < n:
        recipe = _recipe(rng)
        here = lab(dyed_reflectance(base_reflectance(base), recipe))
        if all(float(delta_e_2000(here, other)) >= 12.0 for other in labs):
            knots.append(_knot(recipe))
            labs.append(here)
    return knots


def draw(seed: int, hard: bool, kind: str | None = None) -> Case:
    """The photo of a seed, flat and softly lit or hard."""
    rng = np.random.default_rng([seed, 4711])
    kind = kind or str(rng.choice(KINDS, p=SHARES))
    form = str(rng.choice(FORMS))
    lot = dyeing(rng, kind)
    case = _hard(rng, seed, kind, form, lot) if hard else _flat(rng, seed, kind, form, lot)
    # Half of the photos: rims that took dye otherwise than crests.
    if rng.random() < 0.5:
        case = replace(case, dyeing=replace(lot, core_halo=float(rng.normal(0.0, 0.15))))
    return case


def _flat(rng: np.random.Generator, seed: int, kind: str, form: str, lot: Dyeing) -> Case:
    yarn = Yarn(
        diameter_mm=float(rng.uniform(1.4, 2.6)),
        plies=int(rng.integers(2, 5)),
        twist_mm=float(rng.uniform(6.0, 12.0)),
        groove=float(rng.uniform(0.2, 0.45)),
        fibre=float(rng.uniform(0.05, 0.12)),
        halo=float(rng.uniform(20.0, 120.0)),
        gap=float(rng.uniform(0.3, 0.9)),
    )
    lamp = Lamp(
        azimuth=float(rng.uniform(0.0, 360.0)),
        elevation=float(rng.uniform(55.0, 75.0)),
        key=float(rng.uniform(0.1, 0.4)),
        bounce=float(rng.uniform(0.0, 0.12)),
    )
    return Case(
        seed,
        kind,
        form,
        yarn,
        lot,
        lamp,
        px_per_mm=float(rng.choice([6.0, 8.0, 10.0, 12.0, 16.0])),
        deep=float(rng.uniform(0.55, 1.0)),
        fall=float(rng.uniform(0.0, 0.06)),
        veil=float(rng.uniform(0.0, 0.004)),
        wb_error=(float(rng.normal(0, 0.01)), float(rng.normal(0, 0.01))),
        exposure=float(rng.uniform(0.6, 0.9)),
        blur_px=float(rng.uniform(0.5, 0.9)),
        quality=int(rng.integers(82, 97)),
    )


def _hard(rng: np.random.Generator, seed: int, kind: str, form: str, lot: Dyeing) -> Case:
    yarn = Yarn(
        diameter_mm=float(rng.uniform(2.4, 5.0)),
        plies=int(rng.integers(2, 6)),
        twist_mm=float(rng.uniform(9.0, 22.0)),
        groove=float(rng.uniform(0.35, 0.6)),
        fibre=float(rng.uniform(0.07, 0.16)),
        halo=float(rng.uniform(40.0, 200.0)),
        gap=float(rng.uniform(0.9, 2.0)),
    )
    lamp = Lamp(
        azimuth=float(rng.uniform(0.0, 360.0)),
        elevation=float(rng.uniform(30.0, 60.0)),
        key=float(rng.uniform(0.3, 0.7)),
        bounce=float(rng.uniform(0.15, 0.8)),
    )
    return Case(
        seed,
        kind,
        form,
        yarn,
        lot,
        lamp,
        px_per_mm=float(rng.choice([6.0, 8.0, 10.0, 12.0])),
        deep=float(rng.uniform(1.4, 2.8)),
        fold=float(rng.uniform(0.0, 0.18)),
        fold_mm=float(rng.uniform(10.0, 35.0)),
        fall=float(rng.uniform(0.0, 0.25)),
        veil=float(rng.uniform(0.0, 0.012)),
        tone=float(rng.normal(0.0, 0.04)),
        wb_error=(float(rng.normal(0, 0.02)), float(rng.normal(0, 0.02))),
        tint=float(rng.normal(0.0, 0.02)) if rng.random() < 0.25 else 0.0,
        exposure=float(rng.uniform(0.55, 0.95)),
        blur_px=float(rng.uniform(0.5, 1.1)),
        quality=int(rng.integers(80, 97)),
        hard=True,
    )
