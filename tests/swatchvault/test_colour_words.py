"""A colour and a difference with their doubt, in words."""

import math

import numpy as np
import pytest

from swatchvault.colour_words import NOT_KNOWN, delta_e_words, lab_cell, lab_words, plus_minus

LAB = (45.21, 20.3, -9.84)
COV = np.diag([1.21, 0.81, 1.69])


def test_a_colour_in_a_line_and_in_a_cell_says_the_same():
    assert lab_words(LAB, COV) == "L* 45.2 ± 1.1  a* 20.3 ± 0.9  b* -9.8 ± 1.3"
    assert lab_cell(LAB, [1.1, 0.9, 1.3]) == "45.2 ± 1.1, 20.3 ± 0.9, -9.8 ± 1.3"


@pytest.mark.parametrize("u", [None, math.nan])
def test_what_is_not_known_is_not_made_up(u):
    assert plus_minus(45.21, u) == "45.2"
    assert delta_e_words(2.058, u) == "2.06 ± ?"
    assert lab_words(LAB, None if u is None else np.full((3, 3), u)) == "L* 45.2  a* 20.3  b* -9.8"


def test_a_stated_colour_has_no_doubt_and_a_measured_one_says_that_its_is_not_known():
    assert lab_cell(LAB, None) == "45.2, 20.3, -9.8"
    assert lab_cell(LAB, [math.nan] * 3) == f"45.2, 20.3, -9.8, {NOT_KNOWN}"
