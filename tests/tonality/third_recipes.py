"""Recipes of the third renderer drawn at random; all ranges are our own, measured nowhere."""

from __future__ import annotations

from functools import cache

import numpy as np

from tests.tonality.third_dyes import BANDS_NM, DYES, Floats, Recipe, Wool, absorption, reflect

NAMES = tuple(DYES)
#: Dyes that are near to no colour, and how seldom they come against the others.
DULL, SELDOM = ("black", "brown", "navy"), 0.35
#: Least and greatest depth of a recipe by tone.
DEPTHS = {"grey": (0.12, 7.0), "pale": (0.06, 0.4), "normal": (0.5, 8.0), "deep": (7.0, 40.0)}
#: Share of greys, and of pale, normal and deep recipes among the rest.
GREY_SHARE, TONES = 0.125, {"normal": 0.68, "pale": 0.18, "deep": 0.14}
#: Dyed wool that a camera's matrix is fitted to, undyed whites beside it, and their seed.
SAMPLE, WHITES, SAMPLE_SEED = 160, 40, 7
SAMPLE_TONES = {"normal": 0.6, "pale": 0.2, "deep": 0.1, "grey": 0.1}


def wool(rng: np.random.Generator) -> Wool:
    """Creamy, a little greyer or yellower by turns."""
    return Wool(0.78 + float(rng.uniform(-0.05, 0.04)), float(rng.uniform(0.14, 0.34)))


def one_of(rng: np.random.Generator, shares: dict[str, float]) -> str:
    return str(rng.choice(list(shares), p=list(shares.values())))


def recipe(rng: np.random.Generator, tone: str) -> Recipe:
    """One to three dyes, the first by far the most; a grey is black with a trace of others."""
    amounts = np.zeros(len(NAMES))
    if tone == "grey":
        amounts[NAMES.index("black")] = 1.0
        for _ in range(rng.integers(1, 3)):
            amounts[rng.integers(len(NAMES))] += rng.uniform(0.02, 0.22)
    else:
        likely = np.where(np.isin(NAMES, DULL), SELDOM, 1.0)
        count = int(rng.choice([1, 2, 3], p=[0.5, 0.35, 0.15]))
        picked = rng.choice(len(NAMES), count, replace=False, p=likely / likely.sum())
        shares = (1.0, rng.uniform(0.05, 0.6), rng.uniform(0.02, 0.2))
        amounts[picked] = shares[:count]
    low, high = DEPTHS[tone]
    return _recipe(amounts * np.exp(rng.uniform(np.log(low), np.log(high))))


def _recipe(amounts: Floats) -> Recipe:
    return tuple(float(a) for a in amounts)


def recipes(rng: np.random.Generator, kind: str) -> tuple[Recipe, ...]:
    """All recipes of a yarn, the ground first."""
    grey = rng.random() < GREY_SHARE
    first = recipe(rng, "grey" if grey else one_of(rng, TONES))
    if kind == "variegated":
        tones = {"normal": 0.6, "pale": 0.3, "deep": 0.1}
        rest = [recipe(rng, one_of(rng, tones)) for _ in range(rng.integers(1, 4))]
        if rng.random() < 0.5:  # kin of the first: another depth, and a little other dye
            rest = [_recipe(_deeper(rng, first) + 0.25 * np.array(r)) for r in rest]
    elif kind == "speckled":
        more = np.array(recipe(rng, str(rng.choice(["normal", "deep"]))))
        rest = [_recipe(rng.uniform(0.0, 1.0) * np.array(first) + more)]
    elif kind == "gradient" and rng.random() < 0.6:
        rest = [recipe(rng, str(rng.choice(["normal", "pale"])))]
    else:
        rest = []
    return (first, *rest)


def _deeper(rng: np.random.Generator, first: Recipe) -> Floats:
    return np.asarray(np.array(first) * np.exp(rng.normal(0.0, 0.5)))


@cache
def sample() -> Floats:
    """(n, b) reflectance of dyed wool of all sorts, and of whites."""
    rng = np.random.default_rng(SAMPLE_SEED)
    dyed = [
        reflect(wool(rng).k_over_s() + absorption(recipe(rng, one_of(rng, SAMPLE_TONES))))
        for _ in range(SAMPLE)
    ]
    return np.array([*dyed, *np.ones((WHITES, len(BANDS_NM)))])
