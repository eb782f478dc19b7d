"""The picker's limit against the solid it is cut from, and its plane."""

from __future__ import annotations

from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.colour import D65, lab_to_xyz
from ingest.optimal import limit_ratio
from swatchvault.picker import (
    HUES,
    chroma_limit,
    lab_of_lch,
    lch_of_lab,
    most_chroma,
    on_a_screen,
    plane_svg,
)


@pytest.mark.parametrize("lightness", [5.0, 15.0, 30.0, 50.0, 75.0, 90.0, 96.0])
def test_the_limit_lies_on_the_solid(lightness: float) -> None:
    hues = np.radians(np.arange(HUES) * 360.0 / HUES)
    most = np.array(most_chroma(lightness))
    for share, low, high in ((0.97, 0.0, 1.0), (1.0, 1.0 - 1e-6, 1.01), (1.05, 1.0, np.inf)):
        lab = np.stack(
            [np.full(HUES, lightness), share * most * np.cos(hues), share * most * np.sin(hues)], -1
        )
        ratio = limit_ratio(lab_to_xyz(lab, D65))
        assert (ratio >= low).all() and (ratio <= high).all()


def test_black_and_white_have_no_chroma() -> None:
    assert set(most_chroma(0.0)) == {0.0} == set(most_chroma(100.0))


@settings(max_examples=60, deadline=None)
@given(st.floats(2, 98), st.floats(0, 360))
def test_between_hues_it_lies_between(lightness: float, hue: float) -> None:
    step = 360.0 / HUES
    ends = [chroma_limit(lightness, step * np.floor(hue / step + k)) for k in (0, 1)]
    assert min(ends) - 1e-9 <= chroma_limit(lightness, hue) <= max(ends) + 1e-9


@given(st.floats(0, 100), st.floats(0.01, 150), st.floats(0, 359.9))
def test_lch_and_back(lightness: float, chroma: float, hue: float) -> None:
    found = lch_of_lab(lab_of_lch(lightness, chroma, hue))
    turned = abs((found[2] - hue + 180.0) % 360.0 - 180.0)
    assert found[:2] == pytest.approx((lightness, chroma)) and turned < 1e-6


def test_what_a_screen_can_show() -> None:
    # sRGB's own red, and a red of more chroma (IEC 61966-2-1 primaries, D65)
    assert on_a_screen([[53.24, 80.09, 67.2], [100, 0, 0], [0, 0, 0]]).tolist() == [True] * 3
    assert not on_a_screen([53.24, 95.0, 80.0]).any()


def test_the_plane_is_plain_svg() -> None:
    text = plane_svg(55.0, [[50, 20, 10], [58, -20, 5]], (55, 10, -10))
    root = ElementTree.fromstring(text)
    assert len(root.attrib["data-limit"].split()) == HUES
    circles = [e for e in root if e.tag.endswith("circle")]
    places = [(c.attrib["cx"], c.attrib["cy"]) for c in circles]
    assert places == [("20.0", "-10.0"), ("-20.0", "-5.0")]
    assert "translate(10.0 10.0)" in text and "style=" not in text
