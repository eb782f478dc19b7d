"""A camera's colours brought to XYZ by a 24-patch chart, judged on patches left out.

The models act on linear RGB whose neutrals are already right (tone curve, exposure, white), and
fit only what is left, so that no evidence leaves the colour as it was. Root-polynomials do not
change with exposure: Finlayson, Mackiewicz, Hurlbert, IEEE TIP 24 (2015).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ingest.colour import delta_e_2000, xyz_to_lab

Floats = NDArray[np.float64]
Model = Literal["none", "matrix", "root-polynomial"]

#: Ridge, relative to the mean square of the design's columns: without one, 24 patches are
#: overfitted. Found on simulated and real charts; a wide range does about as well.
RIDGE = 1e-3
#: Patches weigh as their mean light to this power, about as lightness weighs errors of light. Our
#: choice.
WEIGHT_POWER = -0.5
#: A model must beat no model by this much, mean ΔE00 left out, or it is not taken. Our choice.
WORTH_IT = 0.05


@dataclass(frozen=True, eq=False)
class CameraColours:
    """``weights`` (terms, 3): what is added to RGB, from the model's terms of RGB."""

    model: Model
    weights: Floats

    def __call__(self, rgb: Floats) -> Floats:
        """Corrected linear RGB (..., 3)."""
        rgb = np.asarray(rgb, dtype=float)
        if self.model == "none":
            return rgb
        return np.asarray(rgb + terms(rgb, self.model) @ self.weights)


UNCHANGED = CameraColours("none", np.zeros((3, 3)))


@dataclass(frozen=True, eq=False)
class ChartFit:
    """The model taken, each patch's XYZ with that patch left out of the fit, and all trials.

    ``left_out``: (patches, 3). ``trials``: mean ΔE00 of left-out patches by model.
    """

    colours: CameraColours
    left_out: Floats
    trials: dict[str, float]


def terms(rgb: Floats, model: Model) -> Floats:
    """The model's terms (..., 3 or 6) of linear RGB (..., 3)."""
    if model == "matrix":
        return rgb
    r, g, b = np.moveaxis(np.maximum(rgb, 0.0), -1, 0)
    roots = np.stack([np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)], axis=-1)
    return np.concatenate([rgb, roots], axis=-1)


def fit_colours(rgb: Floats, expected: Floats, model: Model) -> CameraColours:
    """Least squares with ridge from ``rgb`` (patches, 3), linear, to ``expected`` (patches, 3)."""
    if model == "none":
        return UNCHANGED
    weight = np.maximum(expected.mean(axis=1), 0.02) ** WEIGHT_POWER
    design = terms(rgb, model) * weight[:, None]
    target = (expected - rgb) * weight[:, None]
    normal = design.T @ design
    ridge = RIDGE * np.trace(normal) / len(normal) * np.eye(len(normal))
    return CameraColours(model, np.linalg.solve(normal + ridge, design.T @ target))


def fit_chart(
    rgb: Floats,
    expected: Floats,
    to_xyz: Floats,
    usable: Sequence[int],
    judged: Sequence[int],
    guessed: Floats | None = None,
) -> ChartFit:
    """Choose the model by leaving out each patch in turn; never one worse than none.

    ``rgb``, ``expected``: (patches, 3) linear RGB. ``usable``: patches that may be fitted to.
    ``judged``: patches whose mean ΔE00 decides. ``to_xyz``: (3, 3). ``guessed``: ``rgb`` with each
    neutral by a tone curve that was not drawn through it; ``rgb`` itself by default.
    """
    guessed = rgb if guessed is None else guessed
    expected_lab = xyz_to_lab(expected @ to_xyz.T)
    trials: dict[str, float] = {}
    left_out: dict[str, Floats] = {}
    models: tuple[Model, ...] = ("none", "matrix", "root-polynomial")
    for model in models:
        guess = rgb.copy()
        for i in range(len(rgb)):
            others = [j for j in usable if j != i]
            guess[i] = fit_colours(rgb[others], expected[others], model)(guessed[i])
        left_out[model] = guess @ to_xyz.T
        errors = delta_e_2000(xyz_to_lab(left_out[model]), expected_lab)
        trials[model] = float(errors[list(judged)].mean())
    best = min(models, key=lambda m: trials[m] + (0.0 if m == "none" else WORTH_IT))
    chosen = fit_colours(rgb[list(usable)], expected[list(usable)], best)
    return ChartFit(chosen, left_out[best], trials)
