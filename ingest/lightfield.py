"""How the light changes over the frame: a smooth field fitted to grey at several places.

A field is a smooth surface of ln Y over the picture: a plane, or a quadratic where that fits
clearly better. It is found in light whose tone curve is already undone, and only divides.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Scatter of ln Y about the field up to which the surround is taken for even. Our choice.
LARGEST_SCATTER = 0.07
#: Share of the surround that may lie further than this off the field: more is a shadow's edge. Our
#: choice.
MOST_OFF, OFF_THE_FIELD = 0.15, 0.15
#: A quadratic must lower the scatter to this share of the plane's. Our choice.
QUADRATIC_GAIN = 0.85


@dataclass(frozen=True, eq=False)
class LightField:
    """ln of relative light = polynomial of (x, y), fractions of the picture; 0 on the average
    of the places it was set to. ``scatter``: robust sd of ln Y about it. ``share``: of the
    picture that it was found on. ``source``: "surround" or "grey". ``tint``: planes (3, 3) of ln R,
    G and B over ln Y, with the surround's own colour in them: only changes are of use."""

    coefficients: Floats
    scatter: float
    share: float
    source: str
    tint: Floats | None = None

    def at(self, points: Floats) -> Floats:
        """Relative light (...) at points (..., 2)."""
        return np.asarray(np.exp(terms(points, len(self.coefficients)) @ self.coefficients))

    def centred_on(self, points: Floats) -> LightField:
        """The same field with a geometric mean of 1 over ``points`` (n, 2)."""
        shift = float(np.mean(np.log(self.at(points))))
        coefficients = self.coefficients.copy()
        coefficients[0] -= shift
        return replace(self, coefficients=coefficients)

    def spread(self, points: Floats) -> float:
        """Largest change of light between any of ``points``, relative."""
        light = self.at(points)
        return float(light.max() / light.min() - 1.0)

    def tint_at(self, points: Floats) -> Floats:
        """(n, 3) ln of each channel's light over that of all, at points (n, 2); 0 if unknown."""
        if self.tint is None:
            return np.zeros((len(points), 3))
        return np.asarray(terms(points, 3) @ self.tint)

    def tint_spread(self, points: Floats) -> float:
        """Largest change of ln of a ratio of two channels between any of ``points``; 0 if unknown.

        It is told and not divided out: on photos of charts on white paper, where it is up to 0.06,
        colours came out no nearer with it divided out, and some further off.
        """
        ln = self.tint_at(points)
        pairs = combinations(range(3), 2)
        return max(float(np.ptp(ln[:, i] - ln[:, j])) for i, j in pairs)


def fit_field(points: Floats, log_light: Floats, share: float, source: str) -> LightField | None:
    """Robust plane or quadratic through ln Y (n,) at points (n, 2); ``None`` if it scatters, or the
    points lie in a line, as those of a picture that is hundreds of times as long as wide.

    Tukey's biweight with scale 1.4826 times the median absolute residual, 20 rounds at most.
    """
    fits = [
        robust_fit(points, log_light, order)
        for order in (3, 6)
        if len(points) > 3 * order and np.linalg.matrix_rank(terms(points, order)) == order
    ]
    if not fits:
        return None
    best = fits[0]
    if len(fits) > 1 and fits[1][1] < QUADRATIC_GAIN * fits[0][1]:
        best = fits[1]
    residual = np.abs(log_light - terms(points, len(best[0])) @ best[0])
    if best[1] > LARGEST_SCATTER or float(np.mean(residual > OFF_THE_FIELD)) > MOST_OFF:
        return None
    return LightField(best[0], best[1], share, source)


def robust_fit(points: Floats, log_light: Floats, order: int) -> tuple[Floats, float]:
    """Coefficients (order,) of a plane (3) or quadratic (6), and the robust sd about it."""
    design = terms(points, order)
    weight = np.ones(len(log_light))
    coefficients: Floats = np.zeros(order)
    scatter = 0.0
    for _ in range(20):
        weighted = design * weight[:, None]
        solved = np.linalg.solve(weighted.T @ design, weighted.T @ log_light)
        if np.array_equal(solved, coefficients):  # to the last bit: no round changes it again
            break
        coefficients = np.asarray(solved, dtype=np.float64)
        residual = log_light - design @ coefficients
        scatter = 1.4826 * float(np.median(np.abs(residual))) + 1e-5
        weight = np.clip(1.0 - (residual / (4.685 * scatter)) ** 2, 0.0, None) ** 2
    return coefficients, scatter


def terms(points: Floats, order: int) -> Floats:
    """(..., order) terms of a plane (3) or quadratic (6) at points (..., 2)."""
    x, y = points[..., 0], points[..., 1]
    one = np.ones_like(x)
    columns = [one, x, y] if order == 3 else [one, x, y, x * x, x * y, y * y]
    return np.stack(columns, axis=-1)
