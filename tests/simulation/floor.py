"""What no correction can beat: colours foretold by one that knows the camera and the light.

A kernel ridge regression is given the very camera, the very light, no veil, no gradient, no
noise, and the spectra of 1,550 swatches of the same kinds, none of which is judged. Its scale
and its ridge are the best of a grid on the colours that are judged, so that the figure errs
towards too good. What is left is metamerism: spectra that this camera sees alike and an eye does
not; for a phone's file also what 8 bits and its gamut cut off.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from ingest.colour import delta_e_2000
from tests.render import camera, spectra
from tests.render.camera import Shot
from tests.simulation.colourways import EVALUATION, TUNING, published_half, yarns
from tests.simulation.figures import Figure, weighted

#: Dye families that are learnt from, and yarns of each.
KNOWN_FAMILIES, YARNS_OF_EACH = (TUNING, 505, 606, 707, 808, 909), 250
#: Yarns that are judged, beside the published samples of the evaluation.
JUDGED = 300
#: Shares of yarn and of published samples in the figures of the simulation (12 and 49 a frame).
YARN_SHARE, PUBLISHED_SHARE = 12, 49
#: Exposure of the simulated photo, linear value of white.
EXPOSURE = 0.75
SCALES, RIDGES = (0.5, 1.0, 2.0, 4.0), (0.003, 0.02, 0.1)


@dataclass(frozen=True, eq=False)
class Goods:
    """Reflectances (n, 81), and how much each counts (n,)."""

    spectra: np.ndarray
    weight: np.ndarray


def known_goods(rng: np.random.Generator) -> Goods:
    """What the regression learns from."""
    parts = [yarns(rng, family, YARNS_OF_EACH) for family in KNOWN_FAMILIES]
    published = published_half(TUNING)
    count = sum(map(len, parts))
    weight = np.r_[np.ones(count), np.full(len(published), count / len(published))]
    return Goods(np.concatenate([*parts, published]), weight)


def judged_goods(rng: np.random.Generator) -> Goods:
    """What it is judged on: dyes and samples of the evaluation, weighed as in the simulation."""
    made, published = yarns(rng, EVALUATION, JUDGED), published_half(EVALUATION)
    weight = np.r_[
        np.full(len(made), YARN_SHARE / len(made)),
        np.full(len(published), PUBLISHED_SHARE / len(published)),
    ]
    return Goods(np.concatenate([made, published]), weight)


def seen(reflectances: np.ndarray, shot: Shot, raw: bool) -> np.ndarray:
    """(n, 3) of a noiseless photo: cube roots of the sensor's signal, or a file's 8-bit codes."""
    signal = shot.exposure * camera.raw_rgb(reflectances, shot.light, shot.camera)
    if raw:
        return np.asarray(np.cbrt(signal))
    return camera.quantise(camera.develop(signal, shot)) / 255.0


def foretold(known: np.ndarray, weight: np.ndarray, labs: np.ndarray, new: np.ndarray) -> Iterator:
    """Lab (m, 3) of ``new`` by a quadratic and a Gaussian kernel, for every scale and ridge."""
    middle, sd = known.mean(axis=0), known.std(axis=0)
    known, new = (known - middle) / sd, (new - middle) / sd
    quadratics = [np.concatenate([np.ones((len(x), 1)), x, x**2], axis=1) for x in (known, new)]
    trend = np.linalg.lstsq(quadratics[0], labs, rcond=None)[0]
    left = labs - quadratics[0] @ trend
    square, square_new = (((x[:, None] - known[None]) ** 2).sum(axis=-1) for x in (known, new))
    for scale, ridge in product(SCALES, RIDGES):
        kernel = np.exp(-0.5 * square / scale**2) + ridge * np.diag(1.0 / weight)
        weights = np.linalg.solve(kernel, left)
        yield quadratics[1] @ trend + np.exp(-0.5 * square_new / scale**2) @ weights


def floor_errors(
    known: Goods, judged: Goods, name: str, light: str, raw: bool = False
) -> np.ndarray:
    """ΔE00 (n,) of the judged goods at the scale and ridge of the lowest mean."""
    shot = Shot(camera=name, light=light, exposure=EXPOSURE)
    truth = spectra.lab(judged.spectra)
    trials = foretold(
        seen(known.spectra, shot, raw),
        known.weight,
        spectra.lab(known.spectra),
        seen(judged.spectra, shot, raw),
    )
    errors = [delta_e_2000(lab, truth) for lab in trials]
    return np.asarray(min(errors, key=lambda e: float(np.average(e, weights=judged.weight))))


def floor_figures(seed: int) -> list[Figure]:
    """Mean and 95 % by phone and over all phones, by daylight."""
    rng = np.random.default_rng([seed, 11])
    known, judged = known_goods(rng), judged_goods(rng)
    found = []
    for raw in (False, True):
        what, every = ("raw" if raw else "file"), []
        for name in camera.PHONES:
            errors = [floor_errors(known, judged, name, x, raw) for x in spectra.DAYLIGHTS]
            every += errors
            found += _two(f"floor, {what}, {name}", errors, judged.weight)
        found += _two(f"floor, {what}, phones by daylight", every, judged.weight)
    return found


def _two(name: str, errors: list[np.ndarray], weight: np.ndarray) -> list[Figure]:
    mean, most = weighted(np.concatenate(errors), np.tile(weight, len(errors)))
    cases = sum(map(len, errors))
    return [
        Figure(f"{name}, mean", np.nan, mean, cases),
        Figure(f"{name}, 95 %", np.nan, most, cases),
    ]
