"""The tone curve through neutrals: monotone whatever it is given, and through its knots."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.errors import ReferenceMissing
from ingest.tone import fit_tone_curve

lights = st.lists(st.floats(0.0, 1.0), min_size=2, max_size=8)


@settings(max_examples=150, deadline=None)
@given(lights, lights)
def test_a_fitted_curve_never_turns_back(measured, expected):
    n = min(len(measured), len(expected))
    x, y = np.array(measured[:n]), np.array(expected[:n])
    try:
        curve = fit_tone_curve(x, y)
    except ReferenceMissing:
        assert (np.cbrt(x) <= 2e-6).any() or (y == 0).any()
        return
    light = np.linspace(0.0, 1.2, 400)
    out = curve(light)
    assert np.isfinite(out).all() and (out >= 0.0).all()
    assert (np.diff(out) >= -1e-9).all()
    assert out[0] == pytest.approx(0.0, abs=1e-12)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(0.02, 1.0), min_size=2, max_size=8, unique=True), st.randoms())
def test_a_fitted_curve_goes_through_its_knots_in_any_order(values, shuffle):
    x = np.sort(values)
    if np.diff(x).min() < 1e-3:
        return
    y = x**1.3 * 0.9
    order = list(range(len(x)))
    shuffle.shuffle(order)
    curve = fit_tone_curve(x[order], y[order])
    assert np.allclose(curve(x), y, rtol=1e-6)
    # Above the highest knot the gain is kept.
    assert curve(1.5 * x[-1]) == pytest.approx(1.5 * y[-1], rel=1e-9)
