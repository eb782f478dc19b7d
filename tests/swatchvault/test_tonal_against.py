"""What a swatch's card says of how tonal it is beside another."""

import pytest

from swatchvault.evenness_check import compare_evenness
from swatchvault.evenness_read import Evenness
from swatchvault.tonal_card import _against

EVEN = Evenness(0.05, 0.08, "skein", "1")


@pytest.mark.parametrize(
    ("unevenness", "u", "tolerance", "said"),
    [
        (1.0, 0.3, 0.5, "this one is more tonal"),
        (1.0, 0.3, 1.1, "this one is more tonal; whether by more than 1.1, cannot be told"),
        (0.15, 0.15, 0.1, "cannot tell which is more tonal"),
    ],
)
def test_what_is_surely_more_tonal_is_said_to_be(unevenness, u, tolerance, said):
    """A check had said "more tonal" of the very two of which the card could not tell."""
    new = Evenness(unevenness, u, "skein", "1")
    assert _against(compare_evenness(EVEN, new, tolerance)) == said
