"""The fit of the bands against a library's least squares, which knows none of our derivatives."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from swatchvault.bandfit import Data, fit_unknowns
from swatchvault.bands import Layout, forward, lab_of

N_DYES, N_LOTS = 3, 12


def lots(seed: int) -> tuple[Layout, Data]:
    """Lots of dyes drawn from the prior, read with an error of 0.4, one of them far off."""
    rng = np.random.default_rng(seed)
    layout = Layout(N_DYES)
    mean, prior = layout.prior()
    theta = mean + prior @ (0.8 * rng.normal(size=layout.size))
    held = rng.random((N_LOTS, N_DYES)) < 0.6
    depths = np.where(held, np.exp(rng.normal(-0.7, 0.8, held.shape)), 0.0)
    lab = lab_of(layout, theta, depths) + 0.4 * rng.normal(size=(N_LOTS, 3))
    lab[0] += (8.0, -6.0, 5.0)
    names = tuple(f"lot {i}" for i in range(N_LOTS))
    return layout, Data(names, depths, lab, np.broadcast_to(0.09 * np.eye(3), (N_LOTS, 3, 3)))


@pytest.mark.parametrize("seed", range(12))
def test_the_search_ends_where_a_library_s_does(seed: int) -> None:
    layout, data = lots(seed)
    mean, prior = layout.prior()
    start = np.zeros(layout.size)
    noise = data.noise(forward(layout, mean, data.depths).by_depth)
    whiten = np.linalg.inv(np.linalg.cholesky(noise))

    def misses(z: np.ndarray) -> np.ndarray:
        miss = lab_of(layout, mean + prior @ z, data.depths) - data.lab
        return np.concatenate([(whiten @ miss[..., None]).ravel(), z])

    found = least_squares(misses, start, method="lm", xtol=1e-12, ftol=1e-12, gtol=1e-12)
    by_library = prior @ np.linalg.inv(found.jac.T @ found.jac) @ prior.T
    sd = np.sqrt(np.diag(by_library))
    fit = fit_unknowns(layout, data, start)
    assert np.abs((fit.theta - (mean + prior @ found.x)) / sd).max() < 0.15
    covariance = fit.factor @ fit.factor.T
    np.testing.assert_allclose(
        covariance / np.outer(sd, sd), by_library / np.outer(sd, sd), atol=0.1
    )
