"""How figures look: colours of chips against published sRGB, numbers as people read them."""

from __future__ import annotations

import math

import pytest

from swatchvault.web.look import figure, hex_of


@pytest.mark.parametrize(
    ("lab", "colour"),
    [
        # Lab (D65) of sRGB's corners, from IEC 61966-2-1's matrix and CIE 15's formula; the same
        # values are printed widely, rounded to these digits.
        ((100.0, 0.0, 0.0), "#ffffff"),
        ((0.0, 0.0, 0.0), "#000000"),
        ((53.24, 80.09, 67.20), "#ff0000"),
        ((87.73, -86.18, 83.18), "#00ff00"),
        ((32.30, 79.19, -107.86), "#0000ff"),
        ((53.585, 0.0, 0.0), "#808080"),
    ],
)
def test_chips_have_the_colour(lab: tuple[float, float, float], colour: str) -> None:
    found = hex_of(lab)
    assert found is not None
    for at in (1, 3, 5):
        assert abs(int(found[at : at + 2], 16) - int(colour[at : at + 2], 16)) <= 1


def test_chips_agree_with_another_library() -> None:
    colour = pytest.importorskip("colour")
    for lab in ((50.0, 20.0, -30.0), (70.0, -10.0, 40.0), (25.0, 5.0, 5.0)):
        rgb = colour.XYZ_to_sRGB(colour.Lab_to_XYZ(lab, (0.3127, 0.3290)))
        found = hex_of(lab)
        assert found is not None
        theirs = [round(255 * float(v)) for v in rgb]
        assert [int(found[i : i + 2], 16) for i in (1, 3, 5)] == pytest.approx(theirs, abs=1)


def test_what_is_unknown_has_no_colour() -> None:
    assert hex_of(None) is None
    assert hex_of((math.nan, 0.0, 0.0)) is None
    assert figure(None) == figure(math.nan) == "–"
    assert figure(1.25, 1) == "1.2" and figure(6000, 0) == "6000"
