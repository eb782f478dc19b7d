"""The search: cards, steps and swatches in made pictures, and none invented in clutter."""

from __future__ import annotations

import os
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

import example_archive
from ingest.decode import read_photo
from ingest.errors import ReferenceMissing
from ingest.flatareas import working_copy
from ingest.model import Photo, Polygon, Reference
from ingest.pipeline import prepare_file
from ingest.search import flagged_references, outline_px, search_layout
from ingest.swatchfind import find_swatch
from tests.ingest.clutter_scenes import KINDS, clutter
from tests.ingest.search_scenes import (
    SIZE,
    Shot,
    knit,
    paste,
    photo_of,
    photograph,
    rectangle,
    seen_at,
    shadow,
    table,
    yarn,
)

EXAMPLES = Path(example_archive.__file__).parent
CHART = EXAMPLES / "pear-2.jpg"

PHOTOS = os.environ.get("SWATCHVAULT_TEST_PHOTOS")
CARD = rectangle(330, 480, 260, 190, 12)
SWATCH = rectangle(830, 450, 380, 340, -8)


def bench(
    ground: str = "paper", seed: int = 0, rim: float = 0.0, card: np.ndarray = CARD, y: float = 0.18
) -> np.ndarray:
    """A table with a grey card, perhaps with a white rim, and a piece of yarn."""
    rng = np.random.default_rng(seed)
    scene = table(rng, ground)
    if rim:
        middle = card.mean(axis=0)
        outer = middle + (1 + rim) * (card - middle)
        shadow(scene, outer)
        paste(scene, np.full(3, 0.84), outer)
    else:
        shadow(scene, card)
    paste(scene, np.full(3, y), card)
    shadow(scene, SWATCH, (8, 9))
    make = yarn if seed % 2 else knit
    paste(scene, make(rng, (0.30, 0.08, 0.12), 400, 360), SWATCH)
    return scene


def corner_error_px(found: Polygon | None, wanted: np.ndarray) -> float:
    """Largest distance of a corner, wherever the numbering starts."""
    points = np.array(found) * SIZE[::-1]
    return min(float(np.abs(np.roll(points, k, 0) - wanted).max()) for k in range(4))


def mask(polygon: Polygon | np.ndarray) -> np.ndarray:
    out = np.zeros(SIZE, np.uint8)
    cv2.fillPoly(out, [np.round(np.array(polygon) * SIZE[::-1]).astype(np.int32)], 1)
    return out > 0


def references_of(photo: Photo, steps_y: tuple[float, ...] | None = None) -> tuple[Reference, ...]:
    return flagged_references(photo, steps_y)[0]


def steps_of(photo: Photo, steps_y: tuple[float, ...]) -> Reference | None:
    return next((r for r in references_of(photo, steps_y) if r.kind == "steps"), None)


def cards(references: tuple[Reference, ...]) -> list[Reference]:
    return [r for r in references if r.kind == "card"]


@pytest.mark.parametrize("rim", [0.0, 0.14], ids=["plain", "white rim"])
@pytest.mark.parametrize("ground", ["paper", "plain", "wood"])
def test_card_and_swatch_are_found(ground: str, rim: float) -> None:
    shot = Shot(exposure=0.9, tilt=(0.03, -0.02), gradient=(0.15, 0.1), tint=(1.05, 1.0, 0.93))
    layout = search_layout(photo_of(photograph(bench(ground, 1, rim), shot)))
    assert layout.located == "search"
    (card,) = layout.references
    assert card.kind == "card" and card.located == "search" and 0.5 <= card.confidence <= 1.0
    wanted = seen_at(CARD, shot) * SIZE[::-1]
    assert corner_error_px(card.corners, wanted) < 3.0
    # What is measured lies inside the card.
    assert (mask(card.patches[0]) & ~mask(card.corners)).sum() == 0
    assert mask(card.patches[0]).sum() > 0.5 * mask(card.corners).sum()
    (swatch,) = layout.swatches
    assert swatch.located == "search" and 0.5 <= swatch.confidence <= 1.0
    inside, truth = mask(swatch.polygon), mask(seen_at(SWATCH, shot))
    assert (inside & ~truth).sum() <= 0.005 * inside.sum()
    assert inside.sum() > 0.4 * truth.sum()


@pytest.mark.parametrize(
    "shot",
    [
        Shot(exposure=0.3, noise=0.004),
        Shot(tint=(1.2, 1.0, 0.65)),
        Shot(blur=2.0, noise=0.012),
        Shot(gradient=(0.6, -0.4)),
    ],
    ids=["dim", "lamp", "blurred and noisy", "uneven"],
)
def test_card_in_poor_light(shot: Shot) -> None:
    (card,) = references_of(photo_of(photograph(bench("paper"), shot)))
    assert corner_error_px(card.corners, CARD) < 4.0


def test_no_card_where_only_its_lightness_is_wrong() -> None:
    for y in (0.02, 0.75):
        assert not references_of(photo_of(photograph(bench("paper", y=y), Shot())))


def test_no_card_where_nothing_is_lighter() -> None:
    """White paper in the dark looks the same."""
    scene = table(np.random.default_rng(0), "dark")
    paste(scene, np.full(3, 0.18), CARD)
    assert not references_of(photo_of(photograph(scene, Shot())))


def test_no_card_of_a_strong_colour() -> None:
    scene = bench("paper")
    paste(scene, np.array([0.10, 0.18, 0.28]), CARD)
    assert not references_of(photo_of(photograph(scene, Shot())))


def test_no_card_cut_by_the_frame() -> None:
    at = CARD - (260, 0)
    assert not references_of(photo_of(photograph(bench("paper", card=at), Shot())))


def test_two_cards_refuse_each_other() -> None:
    scene = bench("paper")
    paste(scene, np.full(3, 0.20), rectangle(330, 780, 240, 150, -5))
    assert not references_of(photo_of(photograph(scene, Shot())))


@pytest.mark.parametrize("kind", sorted(KINDS))
@pytest.mark.parametrize("seed", [0])
def test_clutter_gives_no_reference(kind: str, seed: int) -> None:
    assert references_of(photo_of(clutter(kind, seed))) == ()


@pytest.mark.long
@pytest.mark.parametrize("kind", sorted(KINDS))
def test_much_clutter_gives_no_reference(kind: str) -> None:
    seeds = range(100, 140)
    assert [s for s in seeds if references_of(photo_of(clutter(kind, s)))] == []


@pytest.mark.parametrize("kind", ["boxes", "sheets", "screens", "walls", "patchwork", "printed"])
def test_clutter_gives_no_swatch(kind: str) -> None:
    assert search_layout(photo_of(clutter(kind, 1))).swatches == ()


def test_pictures_of_other_things_give_no_reference() -> None:
    images = pytest.importorskip("sklearn.datasets").load_sample_images().images
    assert len(images) == 2
    for image in images:
        assert references_of(photo_of(np.ascontiguousarray(image))) == ()


@pytest.mark.skipif(not PHOTOS, reason="SWATCHVAULT_TEST_PHOTOS names no folder of photographs")
def test_printed_grey_square_is_no_card() -> None:
    assert PHOTOS is not None
    assert references_of(read_photo(Path(PHOTOS) / "grey_square_on_paper.jpg")) == ()


# -- steps --

STEPS_Y = (0.84, 0.58, 0.36, 0.20, 0.09, 0.035)


def strip(order: tuple[float, ...], turn: float = 8.0) -> np.ndarray:
    """A dark strip of steps on wood beside yarn."""
    rng = np.random.default_rng(4)
    scene = table(rng, "wood")
    paste(scene, yarn(rng, (0.1, 0.2, 0.3), 400, 300), rectangle(700, 220, 400, 300))
    drawn = np.full((120, 20 + 100 * len(order), 3), 0.015)
    for k, y in enumerate(order):
        drawn[20:100, 20 + 100 * k : 100 + 100 * k] = y
    paste(scene, drawn, rectangle(560, 640, drawn.shape[1], 120, turn))
    return scene


@pytest.mark.parametrize("turn", [8.0, 188.0, 60.0])
def test_steps_are_found_in_the_stated_order(turn: float) -> None:
    pixels = photograph(strip(STEPS_Y, turn), Shot(exposure=0.9))
    for y in (STEPS_Y, STEPS_Y[::-1]):
        steps = steps_of(photo_of(pixels), y)
        assert steps is not None and steps.kind == "steps" and steps.y == y
        levels = [pixels[mask(p)].mean() for p in steps.patches]
        assert list(np.argsort(levels)) == list(np.argsort(y))
    assert not cards(references_of(photo_of(pixels)))


def test_steps_need_their_number_and_order() -> None:
    photo = photo_of(photograph(strip(STEPS_Y), Shot()))
    assert steps_of(photo, STEPS_Y[:5]) is None
    assert steps_of(photo, (*STEPS_Y, 0.02)) is None
    jumbled = (0.84, 0.20, 0.36, 0.58, 0.09, 0.035)
    assert steps_of(photo_of(photograph(strip(jumbled), Shot())), STEPS_Y) is None
    assert steps_of(photo, jumbled) is None


@pytest.mark.parametrize(("lost", "ground"), [(0.82, "paper"), (None, "wood")])
@pytest.mark.parametrize("turn", [0.0, 35.0, 180.0])
def test_a_white_step_on_white_paper_is_taken_where_it_must_lie(lost, ground, turn) -> None:
    order = STEPS_Y if lost is None else (lost, *STEPS_Y[1:])
    scene = table(np.random.default_rng(4), ground)
    drawn = np.repeat(np.array(order)[:, None], 80, axis=1).reshape(1, -1, 1)
    drawn = np.tile(drawn, (90, 1, 3))
    paste(scene, drawn, rectangle(600, 450, 480, 90, turn))
    pixels = photograph(scene, Shot(exposure=0.9))
    for y in (order, order[::-1]):
        steps = steps_of(photo_of(pixels), y)
        assert steps is not None
        levels = [pixels[mask(p)].mean() for p in steps.patches]
        assert list(np.argsort(levels)) == list(np.argsort(y))
        middle = np.mean([np.mean(p, axis=0) for p in steps.patches], axis=0) * SIZE[::-1]
        assert np.abs(middle - (600, 450)).max() < 8


def test_five_of_six_are_not_steps_where_the_sixth_cannot_be_told() -> None:
    five = STEPS_Y[:5]  # on wood nothing plain lies at either end
    assert steps_of(photo_of(photograph(strip(five), Shot())), STEPS_Y) is None
    scene = table(np.random.default_rng(4), "paper")
    squares = np.where(np.indices((3, 3)).sum(axis=0) % 2, 0.95, 0.7)
    paste(scene, np.repeat(squares[..., None], 3, axis=2), rectangle(350, 450, 70, 70))
    for k, y in enumerate(STEPS_Y[1:]):
        paste(scene, np.full(3, y), rectangle(440 + 90 * k, 450, 80, 80))
    assert steps_of(photo_of(photograph(scene, Shot(exposure=0.9))), STEPS_Y) is None
    equal = (0.84, 0.80, 0.76, 0.72, 0.68)  # falls as stated in order, not in size
    scene = table(np.random.default_rng(4), "paper")
    for k, y in enumerate(equal):
        paste(scene, np.full(3, y * 0.8), rectangle(400 + 90 * k, 450, 80, 80))
    assert steps_of(photo_of(photograph(scene, Shot())), STEPS_Y) is None


# -- swatches --


def test_a_charts_own_greys_are_no_steps() -> None:
    photo = read_photo(CHART)
    found = references_of(photo, (0.9, 0.59, 0.36, 0.2, 0.09, 0.03))
    assert [r.kind for r in found] == ["chart24"]


def test_of_two_charts_one_is_used_and_it_is_told(tmp_path: Path) -> None:
    picture = Image.open(CHART).convert("RGB")
    both = Image.new("RGB", (picture.width, 2 * picture.height))
    both.paste(picture, (0, 0))
    both.paste(picture, (0, picture.height))
    both.save(tmp_path / "two.jpg", quality=92)
    found = search_layout(read_photo(tmp_path / "two.jpg"))
    assert [r.kind for r in found.references].count("chart24") == 1
    assert "another chart" in found.flags
    alone = search_layout(read_photo(CHART))
    assert "another chart" not in alone.flags


@pytest.mark.parametrize(("name", "another"), [("pear-2", True), ("pear-1", False)])
def test_of_two_swatches_it_is_told_that_one_is_measured(name: str, another: bool) -> None:
    found = search_layout(read_photo(EXAMPLES / f"{name}.jpg"))
    assert len(found.swatches) == 1
    assert ("another swatch" in found.flags) is another


@pytest.mark.parametrize("across", [True, False])
def test_a_mirrored_chart_is_told_where_nothing_else_was_found(
    tmp_path: Path, across: bool
) -> None:
    whole = Image.open(CHART)
    way = Image.Transpose.FLIP_LEFT_RIGHT if across else Image.Transpose.FLIP_TOP_BOTTOM
    whole.transpose(way).save(tmp_path / "mirrored.png")
    with pytest.raises(ReferenceMissing, match=r"mirrored\.png: the picture is mirrored: a chart"):
        prepare_file(tmp_path / "mirrored.png")
    assert prepare_file(CHART).correction.reference == "chart"
    whole.crop((0, 0, *(np.array(whole.size) // 3))).save(tmp_path / "none.png")
    with pytest.raises(ReferenceMissing, match="was found or marked"):
        prepare_file(tmp_path / "none.png")


def test_plain_table_gives_no_swatch() -> None:
    for ground in ("paper", "plain", "wood", "cloth", "carpet"):
        scene = table(np.random.default_rng(2), ground)
        assert search_layout(photo_of(photograph(scene, Shot()))).swatches == ()


def test_swatch_is_not_looked_for_in_a_reference() -> None:
    photo = photo_of(photograph(bench("paper"), Shot()))
    (swatch,) = search_layout(photo).swatches
    whole = tuple((float(x), float(y)) for x, y in seen_at(SWATCH, Shot()))
    taken = Reference("card", (whole,), corners=whole)
    copy = working_copy(photo)
    assert find_swatch(copy, photo.encoding.to_xyz, [outline_px(taken, copy, 1.1)])[0] is None
    assert mask(swatch.polygon).any()
