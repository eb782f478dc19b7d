"""What lies on the mat's place for a reference, seen on bare paper."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from ingest.model import Reference, Settings
from ingest.onmat import reference_on
from tests.ingest.search_scenes import SIZE, Shot, paste, photo_of, photograph, rectangle, table

STEPS_Y = (0.8, 0.58, 0.36, 0.20, 0.09, 0.035)
PLACE = rectangle(600, 450, 900, 520)
FRACTIONS = tuple((float(x) / SIZE[1], float(y) / SIZE[0]) for x, y in PLACE)
FLAT = Shot()


def laid(*things: tuple[np.ndarray | float, np.ndarray]) -> np.ndarray:
    """Coded picture of paper with things on it."""
    scene = table(np.random.default_rng(3), "paper")
    for light, where in things:
        paste(scene, np.full(3, light) if isinstance(light, float) else light, where)
    return photograph(scene, FLAT)


def strip(mount: float | None, gap: int, height: int = 180) -> np.ndarray:
    """Coded picture of six steps, 100 pixels wide, on a mount or on bare paper."""
    left = 300 - 3 * gap
    steps = [
        (y, rectangle(left + 50 + k * (100 + gap), 450, 100, height)) for k, y in enumerate(STEPS_Y)
    ]
    if mount is not None:
        behind = rectangle(left + 300 + 2.5 * gap, 450, 640 + 5 * gap, height + 40)
        return laid((mount, behind), *steps)
    return laid(*steps)


def found_in(pixels: np.ndarray, y: tuple[float, ...] | None = STEPS_Y) -> Reference | None:
    return reference_on(photo_of(pixels), FRACTIONS, Settings(steps_y=y))


def levels(pixels: np.ndarray, found: Reference) -> list[float]:
    """Coded level in the middle of each patch."""
    middles = [np.mean(p, axis=0) * SIZE[::-1] for p in found.patches]
    return [float(pixels[int(y), int(x)].mean()) for x, y in middles]


@pytest.mark.parametrize("mount", [None, 0.035, 0.3])
@pytest.mark.parametrize("gap", [0, 14])
@pytest.mark.parametrize("height", [100, 180])
def test_steps_are_found_on_paper_and_on_mounts(mount, gap, height):
    pixels = strip(mount, gap, height)
    for y in (STEPS_Y, STEPS_Y[::-1]):
        found = found_in(pixels, y)
        assert found is not None and (found.kind, found.located) == ("steps", "mat")
        assert found.y == y
        assert list(np.argsort(levels(pixels, found))) == list(np.argsort(y))


def test_one_of_several_tiles_is_no_card():
    pixels = strip(None, 14)
    assert found_in(pixels, None) is None
    assert found_in(pixels, (0.9, 0.5, 0.4, 0.3, 0.2, 0.1, 0.05)) is None  # of other steps
    two = laid((0.18, rectangle(400, 450, 200, 130)), (0.18, rectangle(800, 450, 200, 130)))
    assert found_in(two, None) is None


def test_a_card_alone_is_one_with_crumbs_beside_it_too():
    card = (0.18, rectangle(500, 450, 300, 190, 5))
    for pixels in (laid(card), laid(card, (0.05, rectangle(900, 450, 60, 60)))):
        for y in (None, STEPS_Y):
            found = found_in(pixels, y)
            assert found is not None and found.kind == "card"


def test_bare_paper_holds_nothing():
    assert found_in(laid()) is None


def test_paper_of_one_single_value_holds_nothing_and_says_nothing():
    blank = photo_of(np.full((*SIZE, 3), 255, np.uint8))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert reference_on(blank, FRACTIONS, Settings()) is None
