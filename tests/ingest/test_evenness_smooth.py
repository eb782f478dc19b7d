"""A field without strands in a region: table between two skeins, and yarn that is none."""

import numpy as np
import pytest

from ingest.evenness_cells import as_cells, cell_factor, sum_to_cells
from ingest.evenness_colours import Palette
from ingest.evenness_light import light_and_shade
from ingest.evenness_smooth import paper_strip, smooth_field
from ingest.tonality import measure_tonality
from tests.tonality.draws import draw
from tests.tonality.photos import render, to_xyz

FINE = 6  # cells of ln Y to a millimetre


def field(label, strands):
    """Palette and ln Y of fields of 1 mm cells whose strands have these contrasts."""
    label = np.asarray(label, dtype=np.int64)
    rows = np.arange(label.shape[0] * FINE)
    waves = np.sqrt(2.0) * np.sin(2.0 * np.pi * rows / 7.0)[:, None]
    contrast = np.asarray(strands)[label].repeat(FINE, axis=0).repeat(FINE, axis=1)
    noise = np.random.default_rng(3).normal(0.0, 0.01, contrast.shape)
    share = np.bincount(label.ravel()) / label.size
    lab = np.zeros((len(share), 3))
    return Palette(lab, share, label), (waves * contrast + noise).astype(np.float32)


def strip(width, h=40, w=50):
    label = np.zeros((h, w), int)
    label[18 : 18 + width] = 1
    return label


@pytest.mark.parametrize(
    ("strands", "smooth"),
    [
        ((0.25, 0.02), True),
        ((0.25, 0.15), False),
        ((0.03, 0.0), False),
        ((0.55, 0.12), False),  # strands, beside two colours that change from strand to strand
    ],
)
def test_a_strip_without_strands_is_told(strands, smooth):
    assert smooth_field(*field(strip(8), strands)) is smooth


def test_one_colour_or_a_sliver_is_not():
    assert not smooth_field(*field(np.zeros((40, 50), int), (0.25,)))
    assert not smooth_field(*field(strip(1), (0.25, 0.0)))


@pytest.mark.parametrize("kind", ["solid", "semi-solid", "variegated"])
def test_table_between_two_skeins_takes_the_class_away(kind):
    photo = render(draw(70_003, False, kind))
    linear = photo.linear.copy()
    whole = np.ones(linear.shape[:2], bool)
    assert (
        "perhaps two swatches" not in measure_tonality(linear, whole, photo.mm_per_px, to_xyz).flags
    )
    middle, half = linear.shape[0] // 2, round(4.0 / photo.mm_per_px)
    grain = np.random.default_rng(1).normal(0.0, 0.02, (2 * half, linear.shape[1], 1))
    linear[middle - half : middle + half] = np.array([0.5, 0.3, 0.1]) * np.exp(grain)
    found = measure_tonality(linear.astype(np.float32), whole, photo.mm_per_px, to_xyz)
    assert found.name is None and "perhaps two swatches" in found.flags


@pytest.mark.parametrize("wide_mm", [1.5, 2.5])
def test_a_strip_of_white_paper_takes_the_class_away(wide_mm):
    photo = render(draw(70_003, False, "solid"))
    linear = 0.5 * photo.linear
    middle, wide = linear.shape[1] // 2, round(wide_mm / photo.mm_per_px)
    grain = np.random.default_rng(1).normal(0.0, 0.01, (linear.shape[0], wide, 1))
    linear[:, middle : middle + wide] = 0.86 * np.exp(grain)
    whole = np.ones(linear.shape[:2], bool)
    found = measure_tonality(linear.astype(np.float32), whole, photo.mm_per_px, to_xyz)
    assert found.name is None and "perhaps two swatches" in found.flags


@pytest.mark.parametrize(("rows", "paper"), [(1, True), (2, True), (9, False)])
def test_pale_rows_in_many_places_are_painted_yarn(rows, paper):
    log_y = np.random.default_rng(4).normal(0.0, 0.2, (300, 360)).astype(np.float32)
    cells = as_cells(np.ones((300, 360, 3), np.float32), np.ones((300, 360), np.float32), 0.16, 1)
    for row in range(rows):
        log_y[5 + 30 * row : 15 + 30 * row] = 0.9
    assert paper_strip(cells, log_y) is paper


def test_one_pale_row_amid_pale_spots_is_painted_yarn():
    log_y = np.random.default_rng(4).normal(0.0, 0.2, (300, 360)).astype(np.float32)
    cells = as_cells(np.ones((300, 360, 3), np.float32), np.ones((300, 360), np.float32), 0.16, 1)
    log_y[5:15] = 0.9
    for row in range(30, 300, 30):
        for column in range(5, 360, 40):
            log_y[row : row + 12, column : column + 20] = 0.9
    assert not paper_strip(cells, log_y)


def test_crests_that_catch_the_light_are_no_paper():
    photo = render(draw(70_003, False, "solid"))
    factor = cell_factor(photo.mm_per_px, photo.linear[..., 0].size)
    whole = np.ones(photo.linear.shape[:2], bool)
    cells = as_cells(*sum_to_cells(photo.linear, whole, factor), photo.mm_per_px, factor)
    log_y = light_and_shade(cells, to_xyz).log_y
    assert not paper_strip(cells, log_y)
    sheen = log_y + 0.8 * (log_y > np.quantile(log_y, 0.8)).astype(np.float32)
    assert not paper_strip(cells, sheen)
