"""What lots have seen of a few dyes, as plain tables of depths."""

from __future__ import annotations

import numpy as np
import pytest

from swatchvault.mixtures import too_deep_or_pale, unmixed

DYES = ("blue", "rose", "turquoise")
# Blue was never alone: beside rose throughout, and once as a trace in turquoise.
LOTS = np.array(
    [[0.39, 0.09, 0], [0.26, 0.22, 0], [0.2, 0.3, 0], [0, 0.37, 0], [0.02, 0, 0.3], [0, 0, 0]]
)


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ((0.2, 0, 0), "blue was never more than 81 % of the dye in a pot on this base"),
        ((0.2, 0.01, 0), "so the lots do not show what it gives at 95 %"),
        ((0.2, 0.02, 0), None),
        ((0.2, 0.05, 0), None),
        ((0, 0.2, 0), None),  # rose was alone
        ((0, 0, 0.2), None),  # a trace of blue in turquoise is as good as none
        ((0, 0.2, 0.1), "rose and turquoise were never in one pot"),
        ((0.1, 0.1, 0.1), "3 dyes in one pot are more than any lot"),
        ((0.02, 0, 0.3), None),
        ((0, 0, 0), None),
    ],
)
def test_a_mixture_is_seen_or_not_and_why(row, why):
    found = unmixed(DYES, LOTS, np.array(row, dtype=float))
    assert found is None if why is None else why in (found or "")


def test_a_partner_that_was_always_there_is_named():
    lots = np.array([[0.2, 0.1, 0], [0.2, 0.2, 0.1], [0, 0.3, 0], [0, 0.1, 0.3]])
    assert "blue was never in a pot on this base without at least 0.5 times as much rose" in (
        unmixed(DYES, lots, np.array([0.2, 0, 0.1])) or ""
    )


@pytest.mark.parametrize(
    ("row", "why"),
    [
        ((0.42, 0.1, 0), None),
        (
            (0.44, 0.1, 0),
            "0.44 % of blue is deeper than any lot this is reckoned from (0.39 %)",
        ),
        ((0.3, 0.26, 0), "0.56 % of dye in all is more than any lot on this base (0.5 %)"),
        ((0, 0.001, 0), None),
    ],
)
def test_a_depth_is_seen_or_not_and_why(row, why):
    found = too_deep_or_pale(DYES, LOTS, np.array(row))
    assert found is None if why is None else why in (found or "")


def test_without_an_undyed_swatch_pale_is_not_seen():
    assert "measure one" in (too_deep_or_pale(DYES, LOTS[:-1], np.array([0, 0.2, 0])) or "")
