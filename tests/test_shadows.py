"""Lots in bad light: a short form of ``python -m tests.shadows``."""

import pytest

from swatchvault.difference import Verdict
from tests import shadows


@pytest.mark.parametrize("kind", shadows.spots(0))
@pytest.mark.parametrize("seed", [shadows.FIRST_SEED, shadows.FIRST_SEED + 1])
def test_no_wrong_verdict_in_bad_light(kind, seed, tmp_path):
    spot = shadows.spots(seed)[kind]
    assert not shadows.wrong(*shadows.judged(shadows.pair(seed, spot), tmp_path))


def test_in_even_light_lots_are_told_and_under_a_shade_not(tmp_path):
    seed = shadows.FIRST_SEED
    even, shade = (
        shadows.judged(shadows.pair(seed, shadows.spots(seed)[kind]), tmp_path)
        for kind in ("even light", "soft shade on one")
    )
    assert even[0] > shadows.TOLERANCE and even[1] is Verdict.OUTSIDE
    assert shade[0] == pytest.approx(even[0]) and shade[1] is Verdict.CANNOT_TELL
