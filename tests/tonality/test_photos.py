"""The truth of a rendered yarn is one of the yarn, not of where blocks happen to lie."""

import numpy as np
import pytest

from tests.tonality.photos import BLOCK_MM, STARTS_MM, Blocks, block_unevenness, to_xyz

PX_PER_MM = 4.0
#: A region of 60 x 45 mm in the middle of a piece with 5 mm more on every side.
PART = np.s_[20:200, 20:260]


def dotted(seed: int) -> np.ndarray:
    """(220, 280, 3) XYZ of a flat pale piece with 170 dark dots of 3 mm."""
    import cv2

    rng = np.random.default_rng(seed)
    dots = np.zeros((220, 280), np.uint8)
    for x, y in rng.uniform(0.0, (280, 220), (170, 2)):
        cv2.circle(dots, (round(x), round(y)), round(1.5 * PX_PER_MM), 1, -1)
    light = np.where(dots[..., None] > 0, [0.10, 0.12, 0.30], [0.55, 0.50, 0.45])
    return to_xyz(light).astype(np.float32)


def over(starts_mm: tuple[float, ...], xyz: np.ndarray) -> np.ndarray:
    """Unevenness as the start of the blocks moves, down and across."""
    blocks = Blocks(xyz, np.ones(xyz.shape[:2], np.float32), PART, PX_PER_MM)
    return np.array([blocks.unevenness(a, b) for a in starts_mm for b in starts_mm])


@pytest.mark.parametrize("seed", range(4))
def test_the_truth_of_dots_does_not_hang_on_where_blocks_start(seed):
    xyz = dotted(seed)
    many = over(tuple(np.arange(-2.25, 2.5, 0.5)), xyz)
    assert over(STARTS_MM, xyz).mean() == pytest.approx(many.mean(), rel=0.01)
    assert many.std() > 0.025 * many.mean()  # one grid alone does


def test_starts_lie_within_a_block_as_often_before_as_behind():
    assert sum(STARTS_MM) == 0.0
    assert max(STARTS_MM) - min(STARTS_MM) + np.diff(STARTS_MM)[0] == BLOCK_MM


def test_blocks_of_an_even_piece_do_not_differ():
    even = np.full((180, 240, 3), 0.3, np.float32)
    assert block_unevenness(even, np.ones((180, 240), np.float32), PX_PER_MM) < 1e-3
