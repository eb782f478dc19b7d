"""The fit of the bands: most probable unknowns of a base and its dyes, and what stays open."""

from __future__ import annotations

from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from ingest.colour import Floats
from swatchvault.bands import Layout, forward, lab_of, metric

#: Relative standard error of a weighed or measured amount of dye; common practice, no source.
WEIGHING = 0.02

# Standard deviation per axis, in ΔE00 units, that a model of this kind misses a lot by at best;
# tests/prediction, the tuning set.
_MODEL_SD = 0.5


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
    from scipy.optimize import least_squares

    mean, prior = layout.prior()
    z = np.zeros(layout.size) if start is None else start
    noise = np.broadcast_to(np.eye(3) * 4.0, (len(data.lab), 3, 3))
    rounds = (None, 1) if start is None else (1,)
    jacobian = np.zeros((0, 0))
    for known in rounds:
        if known:
            noise = data.noise(forward(layout, mean + prior @ z, data.depths).by_depth)
        whiten = np.linalg.inv(np.linalg.cholesky(noise))

        def residual(z: Floats, whiten: Floats = whiten) -> Floats:
            miss = lab_of(layout, mean + prior @ z, data.depths) - data.lab
            return np.concatenate([(whiten @ miss[..., None]).ravel(), z])

        def slope(z: Floats, whiten: Floats = whiten) -> Floats:
            by_theta = forward(layout, mean + prior @ z, data.depths).by_theta
            rows = (whiten @ by_theta).reshape(-1, layout.size) @ prior
            return np.concatenate([rows, np.eye(layout.size)])

        found = least_squares(residual, z, jac=slope, method="lm", xtol=1e-5, ftol=1e-5)
        z, jacobian = found.x, slope(found.x)
    # (JᵀJ)^-1 = R^-1 R^-T of the QR factorisation.
    factor = np.linalg.inv(np.linalg.qr(jacobian, mode="r"))
    return Fit(mean + prior @ z, prior @ factor, z)
