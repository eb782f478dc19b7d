"""Width, direction and rims of strands, on patterns whose truth is plain."""

import math

import numpy as np
import pytest

from ingest.evenness_strands import rim_marks, strand_width

CELL_MM = 0.16


@pytest.mark.parametrize("width", [1.5, 2.0, 3.0])
def test_width_of_strands_side_by_side(width):
    x = np.arange(400) * CELL_MM
    light = np.cos(2.0 * np.pi * x / (0.9 * width))
    rho = np.array([np.mean(light[: len(x) - k] * light[k:]) for k in range(200)])
    flat_rho = np.full(200, 1.0)
    assert strand_width((rho, flat_rho), CELL_MM) == pytest.approx(0.78 * width, rel=0.12)
    assert math.isnan(strand_width((flat_rho, flat_rho), CELL_MM))


@pytest.mark.parametrize("degrees", [0.0, 30.0, 75.0, 120.0])
def test_the_direction_is_across_the_strands_and_rims_are_marked(degrees):
    wide = 12.0
    y, x = np.mgrid[0:200, 0:240].astype(np.float32)
    angle = math.radians(degrees)
    along = x * math.cos(angle) + y * math.sin(angle)  # the way across all strands
    phase = 2.0 * np.pi * along / wide
    light = np.log(1.5 + np.cos(phase)).astype(np.float32)
    marks, (c, s) = rim_marks(light, wide)
    inner = np.s_[40:-40, 40:-40]
    away = np.abs(c * math.cos(angle) + s * math.sin(angle))[inner]
    assert away.min() > 0.98  # either way across is the same way
    crests, gaps = (marks[inner][(k * np.cos(phase))[inner] > 0.95].mean() for k in (1, -1))
    flanks = marks[inner][np.abs(np.cos(phase))[inner] < 0.3].mean()
    assert flanks > crests and gaps > crests
