"""From a region's figures to its unevenness and doubt: two small regressions fitted on renders.

The inputs are named figures that a person can read, the rule a polynomial of degree two in their
logarithms, held inside the range it was fitted on. The coefficients lie in
:mod:`ingest.evenness_fit`, with how they came about.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from ingest.evenness_figures import Figures

Floats = NDArray[np.float64]

#: Added before a logarithm, ΔE00 or its like: under it figures are noise.
SMALL = 0.05
#: Dye is hardly more uneven than what is seen of dye and light together: times, and plus.
MOST_TIMES, MOST_PLUS = 1.4, 0.05
#: Strand contrast up to which blocks are read as they are, and from which the rule alone decides.
NO_SHADOW = (0.06, 0.14)
#: Area in mm² of the renders that the rule was fitted on, and at which a region's own small
#: number of patches doubles the variance of its estimate.
FITTED_MM2, SMALL_MM2 = 2700.0, 900.0
#: What the regressions read, in order; see :func:`inputs`.
INPUTS = (
    *("whole", "off", "tied", "curved", "regressed", "strand", "depth_off", "lightness"),
    *("plane", "tail", "reach", "cells"),
    *("unmixed", "with_light", "all_yarn", "wide_off", "chroma", "middle", "pixel"),
)
#: Added to the unevenness under the root in which errors are about even.
ROOT_FLOOR = 0.02


def inputs(found: Figures) -> Floats:
    """The regressions' inputs, one each of :data:`INPUTS`.

    ``whole``, ``off``, ``tied``: spread of blocks of crests, its part off the light line, and that
    with what goes with it. ``curved``, ``regressed``: off the line after the light's own curve, or
    a line on light, is taken out. ``strand``: contrast. ``depth_off``: how visible depth is.
    ``plane``: share of the off-line part that a plane holds. ``tail``, ``reach``, ``cells``: of
    1 mm cells, 95 % over median distance, the 95 % distance, mean ΔE00 from the mean; ``middle``:
    their median distance. ``unmixed``, ``with_light``: as depth alone would have it
    (:class:`ingest.evenness_depth.Depth`). ``all_yarn``: spread of blocks of all yarn.
    ``wide_off``: off the light line in blocks of 10 mm. ``pixel``: mm per pixel.
    """
    lengths = (
        *(found.crest.whole, found.crest.off, found.crest.tied),
        *(found.taken.curved, found.taken.regressed, found.shade.contrast, found.depth.off),
    )
    more = (found.plain.whole, found.wide.off)
    cells = (found.reach.kurt, found.reach.off95, found.reach.unevenness)
    return np.array(
        [
            *(math.log(value + SMALL) for value in lengths),
            float(found.plain.mean_lab[0]) / 50.0,
            found.slope.r2,
            *(math.log(value + SMALL) for value in (*cells, found.depth.unmixed)),
            found.depth.with_light,
            *(math.log(value + SMALL) for value in more),
            float(np.hypot(*found.plain.mean_lab[1:])) / 50.0,
            math.log(found.reach.median + SMALL),
            math.log(found.mm_per_px),
        ]
    )


def root(unevenness: Floats | float) -> Floats:
    """The scale in which the regression is made: about even errors, never negative."""
    return np.asarray(np.sqrt(np.asarray(unevenness, dtype=float) + ROOT_FLOOR))


def unroot(value: Floats | float) -> Floats:
    held = np.maximum(np.asarray(value, dtype=float), math.sqrt(ROOT_FLOOR))
    return np.asarray(held**2 - ROOT_FLOOR)


def terms(x: Floats) -> Floats:
    """(n, 1 + k + k (k + 1) / 2) constant, standardised inputs (n, k), and their products."""
    i, j = np.triu_indices(x.shape[1])
    return np.concatenate([np.ones((len(x), 1)), x, x[:, i] * x[:, j]], axis=1)


@dataclass(frozen=True, eq=False)
class Rule:
    """A fitted rule. ``low``, ``high``, ``middle``, ``width``: (k,) of the inputs.
    ``root_mean``: coefficients of the unevenness's root. ``log_sd``: of ln of its error.
    ``within``: (2,) how many such errors the 95 % range reaches down and up."""

    low: Floats
    high: Floats
    middle: Floats
    width: Floats
    root_mean: Floats
    log_sd: Floats
    within: Floats

    def standardised(self, x: Floats) -> Floats:
        return (np.clip(x, self.low, self.high) - self.middle) / self.width

    def at(self, x: Floats) -> tuple[Floats, Floats]:
        """Root of the unevenness (n,) and its standard deviation (n,)."""
        z = self.standardised(x)
        flat = np.concatenate([np.ones((len(z), 1)), z], axis=1)
        return terms(z) @ self.root_mean, np.exp(flat @ self.log_sd)


@dataclass(frozen=True)
class Estimate:
    """``value``: mean ΔE00 of 5 mm blocks from their mean. ``u``: its standard uncertainty.
    ``low``, ``high``: 95 % range. ``root``, ``sd``: the same in the root scale."""

    value: float
    u: float
    low: float
    high: float
    root: float
    sd: float


@cache
def fitted() -> Rule:
    """The rule as :mod:`ingest.evenness_fit` holds it."""
    from ingest.evenness_fit import TABLES

    rows = {}
    for line in TABLES.split("\n\n"):
        name, *numbers = line.split()
        rows[name] = np.array([float(n) for n in numbers])
    return Rule(**rows)


def seen_estimate(value: float, relative: float) -> Estimate:
    """An unevenness that is read off as it is, with a relative standard uncertainty."""
    u = relative * value
    low, high = max(value - 2.0 * u, 0.0), value + 2.0 * u
    return Estimate(value, u, low, high, float(root(value)), _root_sd(value, u))


def _root_sd(value: float, u: float) -> float:
    """A standard uncertainty of ``value`` in the root scale, to first order."""
    return u / (2.0 * float(root(value)))


def doubted(made: Estimate, low: float, high: float, u: float) -> Estimate:
    """The same with another range, and a standard uncertainty of ``u`` at least."""
    u = max(made.u, u)
    return replace(made, low=low, high=high, u=u, sd=max(made.sd, _root_sd(made.value, u)))


def reaching(made: Estimate, low: float, high: float) -> Estimate:
    """The same with a range that reaches from ``low`` to ``high`` at least, and doubt to match."""
    low, high = min(low, made.low), max(high, made.high)
    if (low, high) == (made.low, made.high):
        return made
    return doubted(made, low, high, (high - made.value) / 2.0)


def estimate(found: Figures, rule: Rule | None = None) -> Estimate:
    """The unevenness that a region's figures speak for."""
    rule = rule or fitted()
    mean, sd = (float(v[0]) for v in rule.at(inputs(found)[None]))
    # A flat surface is outside what the rule was fitted on, and needs none: nothing hides its dye.
    contrast = found.shade.contrast
    deep = min(max((contrast - NO_SHADOW[0]) / (NO_SHADOW[1] - NO_SHADOW[0]), 0.0), 1.0)
    mean = deep * mean + (1.0 - deep) * float(root(found.crest.tied))
    # A small region is a sample: by the range's hold on crops of 20 x 30 to 60 x 12 mm of renders.
    sd *= math.sqrt((1.0 + SMALL_MM2 / found.area_mm2) / (1.0 + SMALL_MM2 / FITTED_MM2))
    most = MOST_TIMES * found.plain.mcdm + MOST_PLUS
    mean = min(mean, float(root(most)))
    sd = min(sd, float(root(most)))
    value = float(unroot(mean))
    low, high = (float(unroot(mean + k * sd)) for k in (-rule.within[0], rule.within[1]))
    # dU = 2 root d(root), and never less than the curvature of the square says near zero.
    u = math.sqrt((2.0 * max(mean, 0.0) * sd) ** 2 + 2.0 * sd**4)
    # What is seen bounds the range, but never within the stated doubt: the two would contradict.
    return Estimate(
        value, u, min(low, max(value - u, 0.0)), max(min(high, most), value + u), mean, sd
    )
