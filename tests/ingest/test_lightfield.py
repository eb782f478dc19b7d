"""The smooth field: a plane or a quadratic, outliers left out."""

import numpy as np
import pytest

from ingest import lightfield
from ingest.lightfield import fit_field


def test_centred_on_places_has_mean_one_there():
    points = np.random.default_rng(4).random((300, 2))
    field = fit_field(points, 0.3 * points[:, 0] - 0.1 * points[:, 1], 0.5, "grey")
    assert field is not None
    places = np.array([[0.2, 0.2], [0.8, 0.7], [0.5, 0.1]])
    centred = field.centred_on(places)
    assert np.log(centred.at(places)).mean() == pytest.approx(0.0, abs=1e-9)
    assert centred.spread(places) == pytest.approx(field.spread(places))


def test_points_in_a_line_tell_no_field():
    x = np.linspace(0.0, 1.0, 300)
    for points in (np.stack([x, np.full(300, 0.5)], axis=1), np.stack([x, x], axis=1)):
        assert fit_field(points, 0.3 * x, 0.5, "surround") is None


def test_outliers_do_not_bend_it():
    rng = np.random.default_rng(5)
    points = rng.random((500, 2))
    log_light = 0.2 * points[:, 0]
    log_light[:60] -= 1.0
    field = fit_field(points, log_light, 0.5, "surround")
    assert field is not None
    left, right = field.at(np.array([[0.0, 0.5], [1.0, 0.5]]))
    assert np.log(right / left) == pytest.approx(0.2, abs=0.005)


def test_rounds_end_where_none_would_change_the_fit():
    rng = np.random.default_rng(4)
    points = rng.random((500, 2))
    log_light = 0.1 * points[:, 0] + rng.normal(0, 0.01, 500)
    log_light[:40] -= 0.4

    def all_rounds(order):
        design, weight = lightfield.terms(points, order), np.ones(500)
        for _ in range(20):
            weighted = design * weight[:, None]
            found = np.linalg.solve(weighted.T @ design, weighted.T @ log_light)
            residual = log_light - design @ found
            scatter = 1.4826 * np.median(np.abs(residual)) + 1e-5
            weight = np.clip(1.0 - (residual / (4.685 * scatter)) ** 2, 0.0, None) ** 2
        return found, scatter

    for order in (3, 6):
        (found, scatter), (same, same_scatter) = (
            lightfield.robust_fit(points, log_light, order),
            (all_rounds(order)),
        )
        assert np.array_equal(found, same) and scatter == same_scatter
