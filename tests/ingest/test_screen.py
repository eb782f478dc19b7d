"""Colours as a screen shows them: cut at its edge, and the same wherever they are drawn."""

import numpy as np
import pytest

from ingest.colour import SRGB_TO_XYZ, lab_to_xyz, srgb_to_linear, xyz_to_lab
from ingest.screen import coded_8, hex_of_lab, hexes_of_labs, linear_of_lab


def test_every_code_comes_back():
    rng = np.random.default_rng(7)
    codes = rng.integers(0, 256, (20_000, 3))
    labs = xyz_to_lab(srgb_to_linear(codes / 255.0) @ SRGB_TO_XYZ.T)
    assert hexes_of_labs(labs) == ["#{:02x}{:02x}{:02x}".format(*row) for row in codes.tolist()]


def test_a_colour_between_two_codes_takes_the_nearer_one():
    """By the inverse of the printed matrix; one that is rounded to four places gives others."""
    rng = np.random.default_rng(3)
    labs = rng.uniform([20, -40, -40], [80, 40, 40], (20_000, 3))
    linear = np.linalg.solve(SRGB_TO_XYZ, lab_to_xyz(labs).T).T
    assert linear_of_lab(labs) == pytest.approx(linear, abs=1e-12)
    held = ((linear >= 0) & (linear <= 1)).all(axis=1)
    shown = np.array([[int(h[i : i + 2], 16) for i in (1, 3, 5)] for h in hexes_of_labs(labs)])
    step = srgb_to_linear((shown[held][..., None] + [-0.5, 0.5]) / 255.0)
    assert held.sum() > 10_000
    assert (step[..., 0] <= linear[held] + 1e-12).all()
    assert (linear[held] <= step[..., 1] + 1e-12).all()


def test_what_a_screen_cannot_show_is_cut_at_its_edge():
    assert coded_8([[-0.2, 0.0, 1.0], [1.7, 0.5, 0.0]]).tolist() == [[0, 0, 255], [255, 188, 0]]
    assert hex_of_lab([50.0, 0.0, 0.0]) == hexes_of_labs([[50.0, 0.0, 0.0]])[0] == "#777777"
    assert hex_of_lab([50.0, -200.0, 0.0])[1:3] == "00"
