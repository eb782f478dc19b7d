"""The fit of a base: which recipes are left out together."""

import numpy as np

from swatchvault.basefit import _alike


def test_recipes_that_are_linked_by_others_are_one_group():
    chain = np.array([[1.0], [2.0], [1.09], [1.18], [2.1]])
    assert _alike(chain).tolist() == [0, 1, 0, 0, 1]
