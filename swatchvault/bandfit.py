"""The fit of the bands: most probable unknowns of a base and its dyes, and what stays open."""

from __future__ import annotations

from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from ingest.colour import Floats
from swatchvault.bands import Layout, forward, lab_of, metric
from swatchvault.errors import SwatchvaultError

#: Relative standard error of a weighed or measured amount of dye; common practice, no source.
WEIGHING = 0.02

# Standard deviation per axis, in ΔE00 units, that a model of this kind misses a lot by at best;
# tests/prediction, the tuning set.
_MODEL_SD = 0.5

# The search ends where the next step is shorter than this, in standard uncertainties of what it
# finds; how many it takes at most, and how the first is damped, as a share of JᵀJ's diagonal. Our
# choice.
_NEAR, _MOST_STEPS, _FIRST_DAMPING = 0.02, 200, 1e-3


@dataclass(frozen=True, eq=False)
class Data:
    """What the fit sees, one row a lot or an undyed swatch. ``noise``: (m, 3, 3), Lab units²."""

    names: tuple[str, ...]
    depths: Floats  # (m, n_dyes)
    lab: Floats  # (m, 3)
    reading: Floats  # (m, 3, 3)

    def only(self, kept: NDArray[np.bool_]) -> Data:
        """The rows where ``kept`` (m,)."""
        names = tuple(n for n, k in zip(self.names, kept, strict=True) if k)
        return Data(names, self.depths[kept], self.lab[kept], self.reading[kept])

    def noise(self, by_depth: Floats) -> Floats:
        """(m, 3, 3): reading, weighing and what the model itself misses."""
        return self.reading + pot_noise(self.lab, self.depths, by_depth)


def pot_noise(lab: Floats, depths: Floats, by_depth: Floats) -> Floats:
    """(m, 3, 3) of Lab by which pots of one recipe differ: weighing, and the model's own miss."""
    weighed = by_depth * (WEIGHING * depths)[:, None, :]
    missed = _MODEL_SD**2 * np.linalg.inv(metric(lab))
    return np.asarray(weighed @ np.swapaxes(weighed, -1, -2) + missed)


@dataclass(frozen=True, eq=False)
class Fit:
    """Unknowns ``theta`` (size,) and their covariance ``factor`` F (size, k): covariance is F Fᵀ.

    ``z`` (size,): the same unknowns, standard normal by the prior.
    """

    theta: Floats
    factor: Floats
    z: Floats


def one_thread() -> AbstractContextManager[object]:
    """Linear algebra on one thread: matrices of a hundred rows only lose by sharing them out."""
    from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

    return cast("AbstractContextManager[object]", threadpool_limits(1, user_api="blas"))


def fit_unknowns(layout: Layout, data: Data, start: Floats | None = None) -> Fit:
    """Most probable unknowns given the lots and the prior, and their doubt (Laplace).

    ``start``: (size,) of ``z``, where the search begins.
    """
    from scipy.linalg import cholesky, solve_triangular

    mean, prior = layout.prior()
    z = np.zeros(layout.size) if start is None else start
    noise = np.broadcast_to(np.eye(3) * 4.0, (len(data.lab), 3, 3))
    rounds = (None, 1) if start is None else (1,)
    curved = np.eye(layout.size)
    for known in rounds:
        if known:
            noise = data.noise(forward(layout, mean + prior @ z, data.depths).by_depth)
        whiten = np.linalg.inv(np.linalg.cholesky(noise))
        z, curved = _searched(layout, data, whiten, z)
    # Covariance of z is the inverse of LLᵀ, so its factor is L^-T.
    lower = cholesky(curved, lower=True)
    factor = solve_triangular(lower, np.eye(layout.size), lower=True, trans="T")
    return Fit(mean + prior @ z, prior @ factor, z)


def _searched(layout: Layout, data: Data, whiten: Floats, z: Floats) -> tuple[Floats, Floats]:
    """Least sum of squares from ``z`` on, by damped steps: ``z`` (size,), and JᵀJ there.

    ``whiten``: (m, 3, 3). Levenberg 1944, Marquardt 1963, by the normal equations: the prior keeps
    them well conditioned, and they cost a fraction of a QR factorisation at every step.
    """
    from scipy.linalg import cho_factor, cho_solve

    mean, prior = layout.prior()

    def misses(z: Floats) -> Floats:
        miss = lab_of(layout, mean + prior @ z, data.depths) - data.lab
        return np.concatenate([(whiten @ miss[..., None]).ravel(), z])

    def slopes(z: Floats) -> Floats:
        by_theta = forward(layout, mean + prior @ z, data.depths).by_theta
        return np.asarray((whiten @ by_theta).reshape(-1, layout.size) @ prior)

    damping, miss, near, worse = _FIRST_DAMPING, misses(z), False, 2.0
    for _ in range(_MOST_STEPS):
        rows = slopes(z)
        curved = rows.T @ rows + np.eye(layout.size)
        if near:
            return z, curved
        slope = miss[: len(rows)] @ rows + z
        step = -cho_solve(cho_factor(curved + damping * np.diag(np.diag(curved))), slope)
        moved = misses(z + step)
        near = -float(slope @ step) < _NEAR**2
        # Of what a straight slope promises, the share that came true (Nielsen 1999).
        promised = float(step @ (damping * np.diag(curved) * step - slope))
        share = float(miss @ miss - moved @ moved) / max(promised, np.finfo(float).tiny)
        if share > 0:
            z, miss = z + step, moved
            damping, worse = damping * max(1 / 3, 1 - (2 * share - 1) ** 3), 2.0
        else:
            damping, worse = damping * worse, worse * 2
    raise SwatchvaultError(
        f"no model of this base was found in {_MOST_STEPS} steps: look for a lot whose recipe or "
        "colour cannot be, and take it out or put it right"
    )
