"""Yarns and photos of the third renderer drawn at random.

All ranges are our own; none is measured.
"""

from __future__ import annotations

import numpy as np

from tests.tonality.draws import KINDS
from tests.tonality.third_camera import Camera
from tests.tonality.third_dyeing import Dyeing
from tests.tonality.third_dyes import lab_of
from tests.tonality.third_light import Fuzz, Lamp, Light
from tests.tonality.third_recipes import recipes, wool
from tests.tonality.third_yarn import Case, Yarn

#: First seeds of what is judged and of what the rule may be fitted on, apart from those of all
#: other sets.
FIRST_SEED, FIT_SEED = 21_000_000, 22_000_000
#: Shares of the kinds, and the forms, which come equally often.
SHARES = (0.30, 0.35, 0.12, 0.12, 0.11)
FORMS = ("wound card", "skein", "knit")
#: Unevenness that is looked for, ΔE00, least and most.
AIMS = {"semi-solid": (0.2, 4.0), "gradient": (0.6, 6.0)}
#: Chroma under which every recipe of a neutral yarn lies.
NEUTRAL_CHROMA = 10.0
#: Standard deviation of ln light under 5 mm, in flat and in hard light.
SPREADS = {False: (0.05, 0.25), True: (0.30, 0.65)}


def draw(seed: int, hard: bool) -> Case:
    """The case of a seed."""
    rng = np.random.default_rng([seed, 0])
    kind, form = str(rng.choice(KINDS, p=SHARES)), str(rng.choice(FORMS))
    size = (float(rng.uniform(45.0, 70.0)), float(rng.uniform(35.0, 50.0)))
    yarn = _yarn(rng)
    dyeing = Dyeing(
        wool=wool(rng),
        kind=kind,
        recipes=recipes(rng, kind),
        aim=_between(rng, *AIMS[kind]) if kind in AIMS else 0.0,
    )
    chroma = np.hypot(*lab_of(dyeing.wool, dyeing.recipes)[:, 1:].T)
    return Case(
        seed=seed,
        kind=kind,
        form=form,
        hard=hard,
        neutral=bool((chroma < NEUTRAL_CHROMA).all()),
        yarn=yarn,
        dyeing=dyeing,
        light=_light(rng, hard, yarn.plies),
        camera=_camera(rng, hard),
        size_mm=size if rng.random() < 0.5 else size[::-1],
        turned=bool(rng.random() < 0.4),
    )


def _between(rng: np.random.Generator, low: float, high: float) -> float:
    """Evenly by ratio."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _yarn(rng: np.random.Generator) -> Yarn:
    width = float(rng.uniform(1.2, 3.5))
    hairs = Fuzz(
        per_mm2=_between(rng, 0.3, 5.0) / width,
        length_mm=float(rng.uniform(1.2, 3.5)),
        thick_mm=float(rng.uniform(0.02, 0.045)),
    )
    down = Fuzz(
        per_mm2=_between(rng, 2.0, 14.0) / width,
        length_mm=float(rng.uniform(0.5, 1.1)),
        thick_mm=float(rng.uniform(0.015, 0.03)),
    )
    return Yarn(
        width_mm=width,
        plies=int(rng.choice([1, 2, 3, 4], p=[0.25, 0.25, 0.3, 0.2])),
        fine_mm=float(rng.uniform(0.6, 1.8)),
        coarse_mm=float(rng.uniform(1.5, 3.5)),
        grain_mm=float(rng.uniform(0.045, 0.10)),
        relief=float(rng.uniform(0.010, 0.022)),
        soft=float(rng.uniform(0.01, 0.03)),
        fuzz=(hairs, down),
    )


def _light(rng: np.random.Generator, hard: bool, plies: int) -> Light:
    sky = float(rng.uniform(0.10, 0.34) if hard else rng.uniform(0.6, 0.95))
    most = 0.20 if hard else 0.03
    grain = 1.7 if plies == 1 else 1.0  # a single shows its fibres, not its plies
    return Light(
        sky=sky,
        lamps=_lamps(rng, hard, 1.0 - sky),
        gloss=float(rng.uniform(4.0, 14.0)),
        sheen=float(rng.uniform(0.003, 0.03) * (1.5 if hard else 0.6)),
        grain=(grain * float(rng.uniform(0.03, 0.09)), grain * float(rng.uniform(0.02, 0.07))),
        smooth=float(rng.uniform(0.05, 0.10)),
        fold=float(rng.uniform(0.0, most)),
        fold_mm=float(rng.uniform(15.0, 40.0)),
        fall=float(rng.uniform(0.0, most)),
        fall_to=float(rng.uniform(0.0, 2.0 * np.pi)),
        bleed=float(rng.uniform(0.05, 0.14)),
        warm=float(rng.uniform(0.3, 1.0)),
        haze=float(rng.uniform(0.02, 0.12)),
        spread=float(rng.uniform(*SPREADS[hard])),
    )


def _lamps(rng: np.random.Generator, hard: bool, share: float) -> tuple[Lamp, ...]:
    """One or two low small lamps, or up to three high wide ones, one after another round."""
    count = int(rng.integers(1, 3 if hard else 4))
    azimuth = float(rng.uniform(0.0, 2.0 * np.pi))
    lamps = []
    for part in rng.dirichlet(np.full(count, 3.0)) * share:
        elevation = rng.uniform(20.0, 48.0) if hard else rng.uniform(38.0, 75.0)
        size = rng.uniform(3.0, 11.0) if hard else rng.uniform(10.0, 25.0)
        lamps.append(
            Lamp(
                share=float(part),
                azimuth=azimuth,
                elevation=float(np.deg2rad(elevation)),
                size=float(np.deg2rad(size)),
                wrap=float(rng.uniform(0.15, 0.45)),
            )
        )
        azimuth += float(rng.uniform(1.2, 5.0))
    return tuple(lamps)


def _camera(rng: np.random.Generator, hard: bool) -> Camera:
    peaks = np.array([600.0, 538.0, 458.0]) + rng.normal(0.0, 6.0, 3)
    widths = np.array([36.0, 40.0, 28.0]) * rng.uniform(0.85, 1.15, 3)
    return Camera(
        px_per_mm=_between(rng, 6.0, 24.0),
        kelvin=float(rng.uniform(4600.0, 7200.0)) if rng.random() < 0.55 else None,
        diode=(float(rng.uniform(0.5, 0.95)), float(rng.uniform(555.0, 585.0))),
        peaks_nm=tuple(peaks.tolist()),
        widths_nm=tuple(widths.tolist()),
        leak=float(rng.uniform(0.0, 1.0)),
        balance=tuple(rng.normal(0.0, 0.018, 3).tolist()),
        blur_px=float(rng.uniform(0.5, 1.0)),
        veil=float(rng.uniform(0.0, 0.01 if hard else 0.003)),
        exposure=float(rng.uniform(0.65, 1.0)),
        lift=float(rng.uniform(1.0, 1.6)) if rng.random() < 0.4 else 1.0,
        shot=float(rng.uniform(2e-5, 3e-4)),
        read=float(rng.uniform(5e-4, 2.5e-3)),
        coarse=bool(rng.random() < 0.6),
        bend=float(rng.uniform(-0.025, 0.025)),
        sharpen=float(rng.uniform(0.0, 0.6)) if rng.random() < 0.6 else 0.0,
        quality=int(rng.integers(80, 96)),
    )
