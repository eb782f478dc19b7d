"""The 24-patch chart: its table against colour-science, and finding it in pictures."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from ingest.chartfind import chart_delta_e, find_chart
from ingest.charts import CHART24_LAB_D50, CHART24_NAMES, CHART24_NEUTRALS, CHART24_Y
from ingest.colour import SRGB_TO_XYZ, lab_d50_to_d65, lab_to_xyz, srgb_to_linear
from ingest.decode import read_photo
from ingest.flatareas import flat_quads, working_copy
from ingest.model import Encoding, Photo, Reference
from tests.ingest.search_scenes import (
    Shot,
    chart_texture,
    framed,
    paste,
    photo_of,
    photograph,
    rectangle,
    seen_at,
    table,
)

EDITIONS = {
    "before-2014-11": "ColorChecker24 - Before November 2014",
    "after-2014-11": "ColorChecker24 - After November 2014",
}
PHOTOS = os.environ.get("SWATCHVAULT_TEST_PHOTOS")
needs_photos = pytest.mark.skipif(
    not PHOTOS, reason="SWATCHVAULT_TEST_PHOTOS names no folder of outside photographs"
)


def found_in(photo: Photo) -> Reference | None:
    copy = working_copy(photo)
    return find_chart(photo, copy, flat_quads(copy))


def made_chart(chart: np.ndarray, turn: float, shot: Shot) -> tuple[np.ndarray, np.ndarray]:
    """Picture of a chart on cloth, and its corners (dark skin's first) as fractions."""
    rng = np.random.default_rng(shot.seed)
    scene = table(rng, "cloth")
    px, gap = chart.shape[0] / 4, round(chart.shape[0] / 4 * 0.09)
    whole = framed(chart, 8)
    at = rectangle(600, 450, 2.2 * whole.shape[1], 2.2 * whole.shape[0], turn)
    paste(scene, whole, at)
    ends = np.array([[gap, gap], [6 * px - gap, gap], [6 * px - gap, 4 * px - gap]])
    ends = np.vstack([ends, [gap, 4 * px - gap]]) + 8
    u, v = (ends / whole.shape[1::-1]).T
    corners = at[0] + np.outer(u, at[1] - at[0]) + np.outer(v, at[3] - at[0])
    return photograph(scene, shot), seen_at(corners, shot)


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("edition", EDITIONS)
def test_table_is_the_published_one(edition: str) -> None:
    colour = pytest.importorskip("colour")
    chart = colour.CCS_COLOURCHECKERS[EDITIONS[edition]]
    lab = [colour.XYZ_to_Lab(colour.xyY_to_XYZ(v), chart.illuminant) for v in chart.data.values()]
    assert np.abs(np.array(CHART24_LAB_D50[edition]) - lab).max() < 1e-9
    y = [float(v[2]) for v in chart.data.values()]
    assert np.abs(np.array(CHART24_Y[edition]) - y).max() < 1e-6


def test_names_stand_in_the_tables_order() -> None:
    lab = np.array(CHART24_LAB_D50["after-2014-11"])
    assert len(CHART24_NAMES) == len(lab) == 24
    assert CHART24_NAMES[0] == "dark skin" and CHART24_NAMES[5] == "bluish green"
    assert list(np.argsort(-lab[list(CHART24_NEUTRALS), 0])) == list(range(6))
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    assert max(chroma[18:]) < 4 < min(chroma[:18])


def published_linear() -> np.ndarray:
    xyz = lab_to_xyz(lab_d50_to_d65(CHART24_LAB_D50["after-2014-11"]))
    return xyz @ np.linalg.inv(SRGB_TO_XYZ).T


def test_colours_fit_whatever_the_white_exposure_and_tone() -> None:
    linear = np.clip(published_linear(), 0.0, None)
    for changed in (linear, linear * [0.3, 0.2, 0.1], (0.7 * linear) ** 1.25):
        delta_e = chart_delta_e(changed, SRGB_TO_XYZ)
        assert delta_e is not None and delta_e.mean() < 4.0


def test_colours_that_are_no_chart_do_not_fit() -> None:
    linear = np.clip(published_linear(), 0.001, None)
    assert chart_delta_e(linear[::-1], SRGB_TO_XYZ) is None
    mirrored = linear.reshape(4, 6, 3)[:, ::-1].reshape(24, 3)
    assert chart_delta_e(mirrored, SRGB_TO_XYZ) is None
    shuffled = linear[[*np.random.default_rng(3).permutation(18), *range(18, 24)]]
    wrong = chart_delta_e(shuffled, SRGB_TO_XYZ)
    assert wrong is not None and wrong.mean() > 20


@pytest.mark.parametrize("turn", [0, 35, 90, 130, 180, 250, 305])
def test_found_at_every_turn(turn: float) -> None:
    shot = Shot(tilt=(0.04, -0.03), gradient=(0.3, -0.1), seed=turn)
    pixels, corners = made_chart(chart_texture(), turn, shot)
    reference = found_in(photo_of(pixels))
    assert reference is not None and reference.kind == "chart24"
    assert len(reference.patches) == 24 and reference.located == "search"
    off = np.abs((np.array(reference.corners) - corners) * pixels.shape[1::-1])
    assert off.max() < 1.5  # pixels of 1200


@pytest.mark.parametrize(
    "shot",
    [
        Shot(exposure=0.12, noise=0.006, seed=1),
        Shot(tint=(1.25, 1.0, 0.55), seed=2),
        Shot(blur=2.0, noise=0.012, seed=3),
        Shot(gamma=0.75, gradient=(0.5, 0.3), seed=4),
    ],
    ids=["dim", "lamp", "blurred", "steep"],
)
def test_found_in_poor_pictures(shot: Shot) -> None:
    pixels, corners = made_chart(chart_texture(), 12, shot)
    reference = found_in(photo_of(pixels))
    assert reference is not None
    off = np.abs((np.array(reference.corners) - corners) * pixels.shape[1::-1])
    assert off.max() < 3.0


def test_mirrored_chart_is_refused() -> None:
    pixels, _ = made_chart(chart_texture(), 10, Shot())
    assert found_in(photo_of(pixels)) is not None
    assert found_in(photo_of(pixels[:, ::-1])) is None


def test_covered_chart_is_refused() -> None:
    pixels, corners = made_chart(chart_texture(), 10, Shot())
    a, b, c, d = corners * pixels.shape[1::-1]
    half = np.array([a - 20, (a + b) / 2 - (0, 20), (c + d) / 2 + (0, 20), d + np.array([-20, 20])])
    leaf = pixels.copy()
    cv2.fillConvexPoly(leaf, np.round(half).astype(np.int32), (70, 110, 50))
    assert found_in(photo_of(leaf)) is None


def test_chart_cut_by_the_frame_is_refused() -> None:
    pixels, corners = made_chart(chart_texture(), 0, Shot())
    top = int(corners[0, 1] * pixels.shape[0])
    assert found_in(photo_of(pixels[top - 15 :])) is not None
    assert found_in(photo_of(pixels[top + 12 :])) is None


def test_covered_first_rows_are_refused() -> None:
    """The neutrals and the lattice are whole; only the colours tell."""
    pixels, corners = made_chart(chart_texture(), 10, Shot())
    a, b, c, d = corners * pixels.shape[1::-1]
    rows = np.array([a - 15, b + np.array([15, -15]), (b + c) / 2 + (15, 0), (a + d) / 2 - (15, 0)])
    leaf = pixels.copy()
    cv2.fillConvexPoly(leaf, np.round(rows).astype(np.int32), (70, 110, 50))
    assert found_in(photo_of(leaf)) is None


@pytest.mark.parametrize("first", [18, 24], ids=["colours only", "all"])
def test_shuffled_chart_is_refused(first: int) -> None:
    chart = chart_texture()
    cells = [chart[r : r + 40, c : c + 40] for r in range(0, 160, 40) for c in range(0, 240, 40)]
    order = [*np.random.default_rng(7).permutation(first), *range(first, 24)]
    rows = [np.hstack([cells[i] for i in order[r : r + 6]]) for r in range(0, 24, 6)]
    pixels, _ = made_chart(np.vstack(rows), 10, Shot())
    assert found_in(photo_of(pixels)) is None


def test_sixteen_bit_and_turned_views_give_the_same_chart() -> None:
    pixels, _ = made_chart(chart_texture(), 20, Shot(tilt=(0.03, 0.02)))
    plain = found_in(photo_of(pixels))
    stored = np.ascontiguousarray(np.rot90(pixels))
    turned = found_in(photo_of(np.rot90(stored, -1)))
    swapped = found_in(photo_of(np.ascontiguousarray(pixels[..., ::-1])[..., ::-1]))
    curve = np.repeat(srgb_to_linear(np.linspace(0, 1, 65536))[:, None], 3, axis=1)
    fine = Encoding("sRGB", curve.astype(np.float32), SRGB_TO_XYZ)
    deep = found_in(replace(photo_of(pixels.astype(np.uint16) * 257), encoding=fine))
    assert plain is not None
    for other in (turned, swapped, deep):
        assert other is not None
        assert np.abs(np.array(other.corners) - plain.corners).max() < 2e-4


# Corners marked by hand beside these photos are themselves up to 4 % of the chart's side off.
MARKED = sorted(Path(PHOTOS).glob("chart_*.marks.json")) if PHOTOS else []


@needs_photos
@pytest.mark.parametrize("marks", MARKED, ids=lambda p: p.name.split(".")[0])
def test_found_in_outside_photos(marks: Path) -> None:
    file = next(p for p in marks.parent.glob(marks.name.split(".")[0] + ".*") if p != marks)
    photo = read_photo(file)
    wanted = np.array(json.loads(marks.read_text())["references"][0]["corners"])
    reference = found_in(photo)
    assert reference is not None
    size = (photo.width, photo.height)
    off = np.linalg.norm((np.array(reference.corners) - wanted) * size, axis=1)
    assert off.mean() < 0.03 * np.linalg.norm((wanted[1] - wanted[0]) * size)


@needs_photos
def test_outside_photos_of_half_a_chart_and_of_another_make() -> None:
    assert PHOTOS is not None
    assert found_in(read_photo(Path(PHOTOS) / "chart_half_hidden.png")) is None
    assert found_in(read_photo(Path(PHOTOS) / "chart_of_another_make.jpg")) is not None
