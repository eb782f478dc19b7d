"""Yarns and photos of the second renderer drawn at random, coloured and neutral.

All ranges are our own; none is measured. About one yarn in six is neutral: undyed, grey and black.
"""

from __future__ import annotations

import numpy as np

from ingest.colour import delta_e_2000
from tests.tonality.draws import KINDS, SHARES
from tests.tonality.other_dyes import DYES, Dyeing, colours
from tests.tonality.other_lay import FORMS, SKEIN_MM, Yarn
from tests.tonality.other_yarn import Camera, Case, Lamps

Recipe = tuple[tuple[str, float], ...]

#: First seeds of what is judged and of what the rule is fitted on, apart from those of all other
#: sets, and share of neutral yarns.
FIRST_SEED, FIT_SEED, NEUTRAL_SHARE = 11_000_000, 12_000_000, 1.0 / 6.0
#: Least ΔE00 between two liquors of painted, speckled and graded yarn.
APART = {"variegated": 14.0, "speckled": 18.0, "gradient": 14.0}
#: Dyes that give colours, and those that give greys.
COLOURED = tuple(n for n in DYES if n not in ("black", "slate"))
GREY = ("black", "slate")


def draw(seed: int, hard: bool, kind: str | None = None, neutral: bool | None = None) -> Case:
    """The case of a seed, of a kind where one is asked for."""
    rng = np.random.default_rng([seed, 0])
    drawn, grey = str(rng.choice(KINDS, p=SHARES)), bool(rng.random() < NEUTRAL_SHARE)
    kind, neutral = kind or drawn, grey if neutral is None else neutral
    form = str(rng.choice(FORMS))
    dyeing = _dyeing(rng, kind, form, neutral)
    lamps, camera = (_hard if hard else _flat)(rng)
    return Case(
        seed=seed,
        kind=kind,
        form=form,
        neutral=neutral,
        yarn=_yarn(rng, hard),
        dyeing=dyeing,
        lamps=lamps,
        camera=camera,
        size_mm=(float(rng.uniform(57.0, 63.0)), float(rng.uniform(43.0, 47.0))),
        ground_slope=float(rng.uniform(0.04, 0.10) if hard else rng.uniform(0.0, 0.04)),
        ground_mm=float(rng.uniform(6.0, 14.0)),
        upright=bool(rng.random() < 0.5),
        hard=hard,
    )


def _yarn(rng: np.random.Generator, hard: bool) -> Yarn:
    d = float(rng.uniform(1.7, 3.0) if hard else rng.uniform(0.9, 1.9))
    return Yarn(
        diameter_mm=d,
        plies=int(rng.integers(1, 5)),
        pitch_mm=float(d * rng.uniform(2.5, 6.0)),
        swell=float(rng.uniform(0.02, 0.08)),
        hairs_per_mm2=float(rng.uniform(0.3, 4.0)),
        wander=float(rng.uniform(0.7, 1.5) if hard else rng.uniform(0.5, 1.1)),
    )


def _flat(rng: np.random.Generator) -> tuple[Lamps, Camera]:
    lamps = Lamps(
        fill=float(rng.uniform(0.5, 0.85)),
        elevation_deg=float(rng.uniform(48.0, 75.0)),
        azimuth_deg=float(rng.uniform(0.0, 360.0)),
        away_mm=float(rng.uniform(600.0, 2000.0)),
        wrap=float(rng.uniform(0.25, 0.5)),
        bounce=float(rng.uniform(0.7, 1.0)),
        tint=float(rng.normal(0.0, 0.01)),
    )
    return lamps, _camera(rng, 0.01, 0.004)


def _hard(rng: np.random.Generator) -> tuple[Lamps, Camera]:
    lamps = Lamps(
        fill=float(rng.uniform(0.15, 0.40)),
        elevation_deg=float(rng.uniform(25.0, 45.0)),
        azimuth_deg=float(rng.uniform(0.0, 360.0)),
        away_mm=float(rng.uniform(250.0, 900.0)),
        wrap=float(rng.uniform(0.15, 0.4)),
        bounce=float(rng.uniform(0.7, 1.0)),
        tint=float(rng.normal(0.0, 0.015)),
    )
    return lamps, _camera(rng, 0.03, 0.01)


def _camera(rng: np.random.Generator, error: float, veil: float) -> Camera:
    return Camera(
        px_per_mm=float(np.exp(rng.uniform(np.log(6.0), np.log(16.0)))),
        exposure=float(rng.uniform(0.55, 0.9)),
        blur_px=float(rng.uniform(0.5, 0.9)),
        full_well=float(np.exp(rng.uniform(np.log(1500.0), np.log(10_000.0)))),
        wb_error=(float(rng.normal(0.0, error)), float(rng.normal(0.0, error))),
        gamma_error=float(rng.normal(0.0, error)),
        veil=float(rng.uniform(0.0, veil)),
        quality=int(rng.integers(80, 97)),
        subsampling=0 if rng.random() < 0.2 else 2,
    )


def _recipe(rng: np.random.Generator, low: float = 0.08, high: float = 3.5) -> Recipe:
    """One to three dyes, sometimes saddened with a little black."""
    count = int(rng.integers(1, 4))
    names = [str(n) for n in rng.choice(COLOURED, size=count, replace=False)]
    depth = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    parts = [
        (n, depth * float(s)) for n, s in zip(names, rng.dirichlet([1.5] * count), strict=True)
    ]
    if rng.random() < 0.25:
        parts.append(("black", depth * float(rng.uniform(0.05, 0.3))))
    return tuple(parts)


def _grey(rng: np.random.Generator, low: float = 0.08, high: float = 5.0) -> Recipe:
    """Black or slate from a pale grey to a full depth."""
    depth = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    return ((str(rng.choice(GREY)), depth),)


def _dyeing(rng: np.random.Generator, kind: str, form: str, neutral: bool) -> Dyeing:
    base = str(rng.choice(["white", "cream", "silver"], p=[0.55, 0.33, 0.12]))
    make = _grey if neutral else _recipe
    aligned = SKEIN_MM if form == "skein" and rng.random() < 0.7 else rng.uniform(1100.0, 2100.0)
    several = kind in APART
    patch = rng.uniform(14.0, 40.0) if form == "skein" else rng.uniform(20.0, 160.0)
    own = float(np.exp(rng.uniform(np.log(0.05), np.log(0.55))))
    spread = {"semi-solid": own, "solid": 0.0, "speckled": 0.0}
    return Dyeing(
        base=base,
        kind=kind,
        liquors=_liquors(rng, kind, base, neutral) if several else (make(rng),),
        spread=spread.get(kind, float(rng.uniform(0.0, 0.12))),
        breaks=float(rng.uniform(0.0, 0.5) * own) if kind == "semi-solid" else 0.0,
        patch_mm=float(patch if kind == "variegated" else rng.uniform(6.0, 35.0)),
        round_mm=float(SKEIN_MM if kind == "gradient" and form == "skein" else aligned),
        shared=float(rng.uniform(0.2, 0.8)),
        blend_mm=float(rng.uniform(0.2, 0.8) if kind == "speckled" else rng.uniform(1.5, 8.0)),
        cover=float(rng.uniform(0.05, 0.18)),
        speck_mm=float(rng.uniform(1.0, 3.5)),
        dipped=kind == "gradient" and form == "skein",
    )


def _liquors(rng: np.random.Generator, kind: str, base: str, neutral: bool) -> tuple[Recipe, ...]:
    """Two to five liquors no two of which are near; one may be plain water."""
    make = _grey if neutral else _recipe
    most = {"variegated": 5 if not neutral else 3, "speckled": 3, "gradient": 2}[kind]
    while True:
        count = int(rng.integers(2, most + 1))
        found = [make(rng) for _ in range(count)]
        if kind == "speckled":
            found[1:] = [make(rng, 1.0, 5.0) for _ in found[1:]]
        if rng.random() < (0.6 if neutral or kind == "speckled" else 0.25):
            found[0] = ()
        lab = colours(Dyeing(base, kind, tuple(found)))
        apart = delta_e_2000(lab[:, None], lab[None])[np.triu_indices(count, 1)]
        if kind == "speckled":
            apart = delta_e_2000(lab[:1], lab[1:])
        if apart.min() >= APART[kind]:
            return tuple(found)
