"""The capture mat's geometry, and finding it in rendered pictures."""

import dataclasses
import itertools
from functools import cache

import cv2
import numpy as np
import pytest

from ingest.errors import MarksError
from ingest.locate import mm_per_px
from ingest.mat import Rect, find_mat, mat
from tests.render import mat as render

PAPERS = ("A4", "Letter")


@cache
def plain_view(paper="A4", keep=None, seed=0, scale=1.0):
    """A still, empty sheet, with only the markers in ``keep``, printed at ``scale``."""
    rng = np.random.default_rng(seed)
    sheet = mat(paper)
    drawn = render.draw_sheet(sheet)
    for i, place in sheet.markers.items():
        if keep is not None and i not in keep:
            render._paint(drawn, place.grown(1.0), 0.3)
    pose = render.pose(sheet, rng, long_side=1600, tilt_deg=15)
    pixels = render.view_of(drawn, pose, rng, gradient=0.1)
    return render.View(pixels, pose, sheet, dict.fromkeys(sheet.places, False), ())


@cache
def busy_view():
    """Every place filled, two markers hidden."""
    rng = np.random.default_rng(5)
    sheet = mat("Letter")
    drawn = render.draw_sheet(sheet)
    for name, place in sheet.places.items():
        if name == "reference":
            render.lay_reference(drawn, place, "chart", rng)
        else:
            render.lay_yarn(drawn, place, rng)
    for i in (11, 15):
        render.hide(drawn, sheet.markers[i], np.full(3, 0.86), rng)
    pose = render.pose(sheet, rng, long_side=2016)
    pixels = render.view_of(drawn, pose, rng)
    return render.View(pixels, pose, sheet, dict.fromkeys(sheet.places, True), (11, 15))


# --- geometry -------------------------------------------------------------------------------


def test_markers_say_which_paper():
    assert not set(mat("A4").markers) & set(mat("Letter").markers)
    assert [len(mat(p).markers) for p in PAPERS] == [8, 8]


@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_on_the_sheet_overlaps(paper):
    sheet = mat(paper)
    quiet = {f"marker {i}": r.grown(2.0) for i, r in sheet.markers.items()}
    things = quiet | dict(sheet.places) | dict(sheet.surround) | {"bar": sheet.bar}
    things |= {f"label {n}": r for n, r in sheet.labels.items()}
    things |= {f"note {n}": r for n, r in sheet.notes.items()}
    page = Rect(0, 0, sheet.width, sheet.height).grown(-5.0)
    for name, r in things.items():
        assert r.x >= page.x and r.y >= page.y, name
        assert r.right <= page.right and r.bottom <= page.bottom, name
    for (m, a), (n, b) in itertools.combinations(things.items(), 2):
        apart = a.right <= b.x + 1e-9 or b.right <= a.x + 1e-9
        apart |= a.bottom <= b.y + 1e-9 or b.bottom <= a.y + 1e-9
        assert apart, f"{m} and {n}"


@pytest.mark.parametrize("paper", PAPERS)
def test_places_hold_what_dyers_own(paper):
    places = mat(paper).places
    assert set(places) == {"reference", "master", "1", "2", "3", "4"}
    # Card: ISO/IEC 7810 ID-1, 85.60 x 53.98 mm; the small chart's size is common practice.
    for width, height in ((85.6, 53.98), (108.0, 65.0)):
        assert places["reference"].width >= width and places["reference"].height >= height
    for name in ("master", "1", "2", "3", "4"):
        assert min(places[name].width, places[name].height) >= 55.0


# --- finding --------------------------------------------------------------------------------


def test_random_views():
    """The short form: as the 500 of ``python -m tests.render.mat``, smaller pictures."""
    lines = [render.judge(seed, long_side=1200) for seed in range(1000, 1020)]
    assert all(line["all"] for line in lines), lines
    assert max(line["worst_mm"] for line in lines) <= 0.5
    assert sum(len(line["occupied_wrong"]) for line in lines) <= 1, lines
    assert max(line["paper_in_outline"] for line in lines) <= 0.02, lines


def test_no_mat_is_invented():
    lines = [render.judge_without(seed, long_side=1000) for seed in range(1000, 1020)]
    assert {line["mat"] for line in lines} == {"none"}, lines


def test_what_is_found_of_a_busy_sheet():
    view = busy_view()
    found = find_mat(view.photo)
    assert found.mat.paper == "Letter" and found.warning is None
    assert found.hidden == view.hidden and len(found.seen) == 6
    assert found.occupied == view.occupied
    assert [s.name for s in found.layout.swatches] == ["master", "1", "2", "3", "4"]
    assert {s.located for s in found.layout.swatches} == {found.layout.located} == {"mat"}
    assert found.layout.references == ()


def test_outlines_of_swatches_lie_inside_the_yarn():
    """A piece of yarn smaller than its place gets an outline without paper in it."""
    rng = np.random.default_rng(3)
    sheet, pose = mat("A4"), render.pose(mat("A4"), rng, long_side=2016, tilt_deg=10)
    piece = Rect(sheet.places["3"].x + 12, sheet.places["3"].y + 20, 38.0, 31.0)
    drawn = render.draw_sheet(sheet)
    look = render.yarn(
        round(piece.height * 8), round(piece.width * 8), np.array([0.4, 0.1, 0.2]), rng
    )
    render._lay(drawn, piece, look)
    found = find_mat(render.as_photo(render.view_of(drawn, pose, rng)))
    (swatch,) = found.layout.swatches
    assert swatch.name == "3"
    back = np.linalg.inv(found.homography)
    mm = np.c_[np.array(swatch.polygon), np.ones(4)] @ back.T
    mm = mm[:, :2] / mm[:, 2:]
    low, high = mm.min(axis=0), mm.max(axis=0)
    assert (low >= (piece.x - 0.3, piece.y - 0.3)).all()
    assert (high <= (piece.right + 0.3, piece.bottom + 0.3)).all()
    assert (np.ptp(mm, axis=0) >= (28, 21)).all()


def test_each_swatch_has_the_scale_of_its_place():
    """Leaning away, a tilted sheet's far half is smaller: one scale for all would not do."""
    rng, sheet = np.random.default_rng(1), mat("A4")
    drawn = render.draw_sheet(sheet)
    for place in sheet.places.values():
        render.lay_yarn(drawn, place, rng)
    pose = render.pose(sheet, np.random.default_rng(1), long_side=2016)
    photo = render.as_photo(render.view_of(drawn, pose, rng))
    layout = find_mat(photo).layout
    whole = dataclasses.replace(layout.swatches[0], across_mm=None)
    one = mm_per_px(layout, whole, photo.width, photo.height)
    off = []
    for swatch in layout.swatches:
        true = float(pose.mm_per_px(sheet.places[swatch.name].corners.mean(axis=0)[None])[0])
        own = mm_per_px(layout, swatch, photo.width, photo.height)
        assert own == pytest.approx(true, rel=0.01)
        off.append(abs(one / true - 1.0))
    assert max(off) > 0.15


@pytest.mark.parametrize(
    ("bar_mm", "todo"),
    [
        (3.94, "3.94 inches are 100.1 mm"),
        (9.7, "9.7 centimetres are 97.0 mm"),
        (131.0, "measure it again in millimetres"),
    ],
)
def test_a_bar_in_other_units_is_told_in_millimetres(bar_mm, todo):
    with pytest.raises(MarksError, match=r"needed are 70 to 130 mm: ") as caught:
        find_mat(plain_view().photo, bar_mm=bar_mm)
    assert todo in str(caught.value)


def test_surround_is_given_only_where_it_is_bare():
    empty = find_mat(plain_view().photo)
    assert set(empty.surround) == set(mat("A4").surround)
    assert not any(empty.occupied.values()) and empty.layout.swatches == ()
    rng = np.random.default_rng(0)
    drawn = render.draw_sheet(mat("A4"))
    strip = mat("A4").surround["paper left top"].grown(1.0)
    render._lay(drawn, strip, render.yarn(600, 80, np.array([0.5, 0.3, 0.1]), rng))
    pose = plain_view().pose
    found = find_mat(render.as_photo(render.view_of(drawn, pose, rng)))
    assert set(found.surround) == set(mat("A4").surround) - {"paper left top"}


@pytest.mark.parametrize("bar_mm", [100.0, 94.0, 103.5])
def test_the_measured_bar_scales_every_millimetre(bar_mm):
    view = plain_view()
    found = find_mat(view.photo, bar_mm=bar_mm)
    # The picture is of a print whose bar is 100 mm in the renderer's own millimetres.
    centre = view.sheet.places["reference"].corners.mean(axis=0)[None]
    truth = float(view.pose.mm_per_px(centre)[0]) * bar_mm / 100
    assert found.mm_per_px["reference"] == pytest.approx(truth, rel=2e-3)
    assert found.layout.scale.mm == pytest.approx(bar_mm)
    ends = np.array([found.layout.scale.start, found.layout.scale.end])
    x, y = view.sheet.width / 2, view.sheet.height / 2
    mid = np.array([[x - 50, y], [x + 50, y]])
    np.testing.assert_allclose(found.to_picture(mid * bar_mm / 100), ends, atol=1e-6)


@pytest.mark.parametrize("bar_mm", [0.0, 69.0, 131.0, float("nan")])
def test_a_bar_that_cannot_be_is_refused(bar_mm):
    with pytest.raises(MarksError, match="bar measures"):
        find_mat(plain_view().photo, bar_mm=bar_mm)


def test_to_picture_is_where_the_camera_put_it():
    view = busy_view()
    found = find_mat(view.photo)
    mm = np.random.default_rng(0).uniform((20, 20), (260, 190), (50, 2))
    truth = view.pose.pixels(mm) / (view.pose.width, view.pose.height)
    off = np.hypot(*((found.to_picture(mm) - truth) * (view.pose.width, view.pose.height)).T)
    assert off.max() < 1.0


@pytest.mark.parametrize("bend", [-0.03, 0.03])
def test_a_lens_that_bends_straight_lines(bend):
    rng = np.random.default_rng(4)
    sheet = mat("A4")
    straight = render.pose(sheet, rng, long_side=1600, tilt_deg=10, bend=0.0, fill=(0.9, 0.9))
    pose = dataclasses.replace(straight, bend=(bend, 0.0))
    pixels = render.view_of(render.draw_sheet(sheet), pose, rng, gradient=0.1)
    view = render.View(pixels, pose, sheet, {}, ())
    found = find_mat(view.photo)
    assert found.bend == pytest.approx(bend, abs=0.01)
    assert max(view.corner_errors_mm(found).values()) <= 0.15 and found.residual_mm < 0.1


def test_yarn_of_the_paper_s_own_colour_is_seen_by_its_strands():
    rng = np.random.default_rng(6)
    drawn = render.draw_sheet(mat("A4"))
    look = render.yarn(400, 440, np.ones(3), rng)
    look *= np.array([0.86, 0.86, 0.88], np.float32) / look.mean(axis=(0, 1))
    place = mat("A4").places["2"]
    render._lay(drawn, Rect(place.x + 5, place.y + 5, 55.0, 50.0), look)
    found = find_mat(render.as_photo(render.view_of(drawn, plain_view().pose, rng)))
    assert [name for name, yes in found.occupied.items() if yes] == ["2"]


@pytest.mark.parametrize("turned", [0, 1, 2, 3])
def test_strided_views_and_16_bits(turned):
    """An upright picture may be a rotated view of the decoder's; sixteen bits mean the same."""
    pixels = plain_view().pixels
    stored = np.ascontiguousarray(np.rot90(pixels, turned))
    upright = np.rot90(stored, -turned)
    found = find_mat(render.as_photo(upright))
    deep = find_mat(render.as_photo(upright.astype(np.uint16) << 8))
    want = find_mat(render.as_photo(np.ascontiguousarray(pixels)))
    assert found.regions == want.regions
    for name, polygon in want.regions.items():
        np.testing.assert_allclose(deep.regions[name], polygon, atol=1e-5)


def test_half_out_of_the_picture():
    """What is wholly in the picture is given, the rest named."""
    view = plain_view(seed=1)
    w = view.pose.width
    places = {n: view.pose.pixels(p.corners)[:, 0].max() for n, p in view.sheet.places.items()}
    cut = int(np.sort(list(places.values()))[2]) + 8
    assert cut < w
    found = find_mat(render.as_photo(view.pixels[:, :cut]))
    whole = {n for n, x in places.items() if x < cut}
    assert set(found.regions) == whole and set(found.cut_off) == set(places) - whole
    for name, polygon in found.regions.items():
        mm = view.sheet.places[name].corners
        off = np.array(polygon) * (cut, view.pose.height) - view.pose.pixels(mm)
        assert (np.hypot(*off.T) * view.pose.mm_per_px(mm)).max() <= 0.5


@pytest.mark.parametrize("keep", [(0,), (0, 1), (0, 3)])
def test_too_few_or_too_close_markers_are_refused(keep):
    with pytest.raises(MarksError, match="three marks") as caught:
        find_mat(plain_view(keep=keep).photo)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("keep", [(0, 7), (0, 2, 5), (1, 3, 4, 6)])
def test_few_markers_far_apart_do(keep):
    view = plain_view(keep=keep)
    found = find_mat(view.photo)
    assert found.seen == keep
    assert max(view.corner_errors_mm(found).values()) <= 0.5
    assert found.confidence < find_mat(plain_view().photo).confidence


def test_no_marker_at_all_is_none():
    assert find_mat(plain_view(keep=()).photo) is None


def test_two_mats_are_refused():
    one, other = plain_view().pixels, plain_view("Letter").pixels
    height = min(len(one), len(other))
    for pair in ((one, other), (one, one)):
        both = np.concatenate([p[:height] for p in pair], axis=1)
        with pytest.raises(MarksError, match="Two capture mats"):
            find_mat(render.as_photo(both))


def waved(view, wave_mm):
    """The view as if its sheet had waves of so many millimetres."""
    h, w = view.pixels.shape[:2]
    y, x = np.indices((h, w), dtype=np.float32)
    wave = np.float32(wave_mm / view.pose.mm_per_px(np.array([[148.0, 105.0]]))[0] / 2)
    bent_x = x + wave * np.sin(y / h * 9 + x / w * 7)
    bent_y = y + wave * np.cos(x / w * 11)
    return render.as_photo(cv2.remap(view.pixels, bent_x, bent_y, cv2.INTER_LINEAR))


def test_a_sheet_too_crumpled_to_place_is_told_to_lie_flat():
    with pytest.raises(MarksError, match=r"^8 of .* as on one flat sheet: lay it flat") as caught:
        find_mat(waved(plain_view(), 16.0))
    assert "three marks" not in str(caught.value)


@pytest.mark.parametrize("wave_mm", [1.2, 3.0])
def test_a_crumpled_sheet_shows_in_the_residual(wave_mm):
    """Waves in the sheet: still found, told, and trusted less."""
    view = plain_view()
    crumpled = find_mat(waved(view, wave_mm))
    flat = find_mat(view.photo)
    assert flat.warning is None and flat.residual_mm < 0.1
    assert crumpled.residual_mm > 0.35 and (wave_mm > 2.0 or not crumpled.doubtful)
    assert "lay the sheet flat" in crumpled.warning
    assert crumpled.confidence < flat.confidence


def test_a_marker_in_the_wrong_place_is_left_out():
    """A corner of the sheet folded under, its marker showing elsewhere."""
    rng = np.random.default_rng(2)
    sheet = mat("A4")
    drawn = render.draw_sheet(sheet)
    k = int(render.PX_PER_MM)
    corner = drawn[8 * k : 26 * k, 8 * k : 26 * k].copy()
    drawn[8 * k : 26 * k, 8 * k : 26 * k] = 0.3
    drawn[12 * k : 30 * k, 14 * k : 32 * k] = corner
    pose = render.pose(sheet, rng, long_side=1600)
    view = render.View(render.view_of(drawn, pose, rng), pose, sheet, {}, ())
    found = find_mat(view.photo)
    assert found.doubtful == (0,) and 0 in found.seen and found.warning is not None
    assert max(view.corner_errors_mm(found).values()) <= 0.5
