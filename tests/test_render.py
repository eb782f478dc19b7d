"""The renderer obeys its own spectra: truth, Kubelka-Munk, shading, tables, repeatability."""

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest

from ingest.colour import delta_e_2000, srgb_to_linear, xyz_to_lab
from ingest.icc_write import display_profile
from tests.render import camera, demo, demo_photos, dye, objects, scene, spectra
from tests.render.demo_notes import studio_toml
from tests.render.demo_studio import LOTS, dyeing_of
from tests.render.strands import Yarn
from tests.render.yarn import Lamp, make_piece

BLUE = dye.Dyeing("wool", ((("Marn blue", 0.4), ("Brackle brown", 0.2)),))
TWO = dye.Dyeing(
    "silk", ((("Ostrel yellow", 0.05),), (("Hessard violet", 0.8),)), "gradient", tonal_sd=0.2
)
SMALL = (320, 240)


def flat_scene(**changes) -> scene.Scene:
    things = (
        objects.Card(objects.Place(-45, 30)),
        objects.Swatch("only", objects.Place(30, 0), "knit", (60, 60), Yarn(), BLUE, seed=3),
    )
    return scene.Scene(things, size_px=SMALL, blur_px=0.0, **changes)


# --- spectra ---------------------------------------------------------------------------------


def published_chart_lab(edition: str) -> np.ndarray:
    """(24, 3) Lab under the edition's own white (D50), from colour-science's copy."""
    colour = spectra._colour()
    chart = colour.CCS_COLOURCHECKERS[edition]
    xyz = np.array([colour.xyY_to_XYZ(v) for v in chart.data.values()])
    return xyz_to_lab(xyz, colour.xy_to_XYZ(chart.illuminant))


@pytest.mark.parametrize(
    "which, edition, mean, worst",
    [
        # The averaged chart's Lab was computed from these very reflectances (at 10 nm).
        ("average", "BabelColor Average", 0.15, 0.3),
        # Other copies of the chart than the one the maker published: agreement is that of charts.
        ("average", "ColorChecker24 - Before November 2014", 0.7, 1.4),
        ("ohta", "ColorChecker24 - Before November 2014", 1.2, 2.0),
    ],
)
def test_chart_reflectances_give_published_lab(which, edition, mean, worst):
    lab = spectra.lab(spectra.chart(which), "D50")
    difference = delta_e_2000(lab, published_chart_lab(edition))
    assert difference.mean() < mean
    assert difference.max() < worst


@pytest.mark.filterwarnings("ignore:Aligning")
def test_sums_agree_with_colour_science():
    colour = spectra._colour()
    sds = list(colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"].values())
    theirs = np.array(
        [
            colour.sd_to_XYZ(
                sd,
                colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"],
                colour.SDS_ILLUMINANTS["D65"],
                method="Integration",
            )
            / 100.0
            for sd in sds[:6]
        ]
    )
    ours = spectra.xyz(spectra.chart("ohta"))[:6]
    assert np.abs(ours - theirs).max() < 5e-4


def test_perfect_white_and_card():
    assert np.allclose(spectra.lab(np.ones(spectra.N_WL)), [100, 0, 0], atol=1e-9)
    assert spectra.xyz(spectra.grey_card())[1] == pytest.approx(0.18, abs=1e-12)
    assert spectra.lab(spectra.neutral(0.18))[0] == pytest.approx(49.50, abs=0.005)


def test_kubelka_munk_worked_example():
    """K/S = (1 - R)² / 2R, additive: base 0.70, 1 % gives 0.20; then 0.5 % and 2 %."""
    per_percent = spectra.ks_of_r(0.20) - spectra.ks_of_r(0.70)
    assert per_percent == pytest.approx(1.5357, abs=5e-5)
    base = spectra.ks_of_r(0.70)
    assert spectra.r_of_ks(base + 0.5 * per_percent) == pytest.approx(0.2970, abs=5e-5)
    assert spectra.r_of_ks(base + 2.0 * per_percent) == pytest.approx(0.1227, abs=5e-5)


def test_surface_correction_undoes_itself_and_keeps_the_base():
    surface = spectra.Surface(0.04, 0.4)
    r = np.linspace(0.02, 0.9, 30)
    assert np.allclose(surface.outside(surface.inside(r)), r)
    base = spectra.base_reflectance()
    assert np.allclose(spectra.dyed_reflectance(base, {"Marn blue": 0.0}, surface), base)
    deep, plain = (spectra.dyed_reflectance(base, {"Marn blue": 2.0}, s) for s in (surface, None))
    assert not np.allclose(deep, plain)


def test_reflectances_are_reflectances():
    rows = [spectra.published_samples(), spectra.chart("ohta"), spectra.chart("average")]
    rows += [spectra.random_dyed(np.random.default_rng(0), 30), spectra.neutral_steps()]
    every = np.concatenate(rows)
    assert every.shape[1] == spectra.N_WL
    assert every.min() > 0.0 and every.max() < 1.0


# --- cameras ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", camera.CAMERAS)
def test_white_stays_white_and_daylight_is_near(name):
    for light in spectra.LIGHTS:
        assert np.allclose(camera.raw_rgb(np.ones(spectra.N_WL), light, name), 1.0)
    assert np.allclose(camera.colour_matrix(name).sum(axis=1), 1.0)
    r = spectra.published_samples()
    linear = camera.raw_rgb(r, "D65", name) @ camera.colour_matrix(name).T
    assert np.abs(linear - spectra.linear_srgb(r)).mean() < 0.03


def test_tone_curves_rise_and_keep_their_ends():
    c = np.linspace(0.0, 1.0, 501)
    for name, tone in camera.TONES.items():
        y = tone(c)
        assert (np.diff(y) > 0).all(), name
        assert np.allclose(y[[0, -1]], [0, 1]), name


def test_frame_without_faults_is_the_spectral_prediction():
    r = spectra.published_samples()[:40] * 0.9
    shot = camera.Shot(exposure=1.0)
    coded = camera.simulate_frame(np.random.default_rng(0), shot, r)
    raw = camera.raw_rgb(r, "D65", shot.camera) @ camera.colour_matrix(shot.camera).T
    assert np.allclose(camera.decode_plain(coded), np.clip(raw, 0, 1), atol=1e-9)


def test_gradient_and_veil_enter_linear_light():
    r = np.stack([spectra.neutral(0.2)] * 2)
    shot = camera.Shot(exposure=1.0, gradient=0.1, veil=0.01)
    coded = camera.simulate_frame(
        np.random.default_rng(0), shot, r, np.array([[0.0, 0.5], [1.0, 0.5]])
    )
    expect = 0.2 * np.array([0.95, 1.05]) + 0.01
    assert np.allclose(camera.decode_plain(coded)[:, 1], expect, atol=1e-9)


# --- yarn ------------------------------------------------------------------------------------


def test_table_against_direct():
    rng = np.random.default_rng(1)
    t, ln_f = rng.uniform(0, 1, (40, 40)), rng.uniform(-1.1, 1.1, (40, 40))
    for dyeing in (BLUE, TWO):
        tt = t * (len(dyeing.knots) - 1)
        looked = dye.look_up(dye.xyz_table(dyeing), dyeing, tt, ln_f)
        direct = spectra.xyz(dyeing.reflectance(tt, ln_f))
        apart = delta_e_2000(spectra.lab_of_xyz(looked), spectra.lab_of_xyz(direct))
        assert apart.max() < 0.1


@pytest.mark.parametrize("form", ["wound card", "skein", "knit"])
def test_shading_only_scales_linear_light(form):
    piece = make_piece(4, form, (60, 50), Yarn(), BLUE, Lamp(), 6.0)
    flat = dye.look_up(dye.xyz_table(BLUE), BLUE, piece.t, piece.ln_f)
    seen = objects.lit(piece, lambda n: dye.xyz_table(BLUE, n))
    assert np.allclose(seen / flat, piece.shade[..., None], rtol=1e-4)
    inside = piece.alpha >= 1.0
    assert 0.5 < piece.shade[inside].mean() < 1.0
    assert np.log(piece.shade[inside]).std() > 0.15  # it does shade


def test_bounced_light_changes_colour_and_only_when_asked():
    still = make_piece(4, "knit", (30, 30), Yarn(), BLUE, Lamp(), 6.0)
    lively = make_piece(4, "knit", (30, 30), Yarn(), BLUE, Lamp(bounce=0.6), 6.0)
    assert not still.bounce.any()
    assert np.array_equal(still.shade, lively.shade)
    a, b = (objects.lit(p, lambda n: dye.xyz_table(BLUE, n)) for p in (still, lively))
    change = (b / a).reshape(-1, 3)
    assert np.ptp(change, axis=1).max() > 0.01


@pytest.mark.parametrize("kind", ["solid", "semi-solid", "speckled", "gradient", "variegated"])
def test_a_piece_is_the_same_by_seed(kind):
    knots = BLUE.knots + TWO.knots + BLUE.knots[:1]
    d = dye.Dyeing("wool", knots if kind != "solid" else BLUE.knots, kind, 0.1)
    one, two, other = (make_piece(s, "knit", (30, 30), Yarn(), d, Lamp(), 5.0) for s in (8, 8, 9))
    for name in ("shade", "alpha", "t", "ln_f"):
        assert np.array_equal(getattr(one, name), getattr(two, name))
    assert not np.array_equal(one.ln_f, other.ln_f)


def test_tonal_spread_is_the_spread_asked_for():
    d = dye.Dyeing("wool", BLUE.knots, "semi-solid", tonal_sd=0.25, patch_mm=6.0)
    for form in ("wound card", "knit", "skein"):
        piece = make_piece(2, form, (90, 80), Yarn(), d, Lamp(), 4.0)
        assert piece.ln_f[piece.alpha >= 1].std() == pytest.approx(0.25, rel=0.25)


# --- scenes ----------------------------------------------------------------------------------


def polygon_mean(image: np.ndarray, polygon) -> np.ndarray:
    import cv2

    mask = np.zeros(image.shape[:2], np.uint8)
    size = np.array(image.shape[1::-1])
    cv2.fillPoly(mask, [np.int32(np.round(np.array(polygon) * size - 0.5))], 1)
    return image[mask == 1].astype(float).mean(axis=0)


def test_scene_is_the_same_by_seed():
    shot = camera.Shot(read_noise=0.004, full_well=4000.0)
    one, two = (scene.render(flat_scene(shot=shot, seed=5)) for _ in range(2))
    assert np.array_equal(one.coded, two.coded)
    assert one.marks == two.marks and one.truth == two.truth
    assert not np.array_equal(one.coded, scene.render(flat_scene(shot=shot, seed=6)).coded)


def test_flat_patches_render_to_the_spectral_prediction():
    steps = objects.Steps(objects.Place(0, 0), patch_mm=(20, 40))
    s = scene.Scene((steps,), size_px=SMALL, blur_px=0.0, tilt=(4.0, -3.0))
    out = scene.render(s)
    shot = s.shot
    decoded = srgb_to_linear(out.coded / 255.0)
    want = camera.raw_rgb(spectra.neutral_steps(steps.ys), shot.light, shot.camera)
    for polygon, expect in zip(out.marks["references"][0]["patches"], want, strict=True):
        assert np.allclose(polygon_mean(out.linear, polygon), expect, rtol=1e-3)
        coded = expect @ camera.colour_matrix(shot.camera).T * shot.exposure
        assert np.allclose(polygon_mean(decoded, polygon), coded, atol=0.004)


def test_swatch_mean_in_the_picture_is_the_truth_seen():
    """A camera that is the observer: the region's mean light against ``lab_seen``."""
    s = flat_scene(shot=camera.Shot(camera="phone observer", exposure=1.0), tilt=(3.0, 2.0))
    out = scene.render(s)
    (swatch,) = out.marks["swatches"]
    rgb = polygon_mean(out.linear, swatch["polygon"]) @ s.shot.matrix.T
    truth = out.truth["only"]
    white = camera.SRGB_WHITE_XYZ
    lab = xyz_to_lab(rgb @ camera.SRGB_TO_XYZ.T, white)
    # What is left is this camera's own colour error (0.17 on average by daylight) and tilt.
    assert delta_e_2000(lab, truth["lab_seen"]) < 0.4
    assert truth["lab_seen"][0] < truth["lab_surface"][0] - 2.0


def test_light_falls_off_as_a_plane():
    s = flat_scene(shot=camera.Shot(gradient=0.12, gradient_angle=0.0))
    field = scene.scene_light(s)[..., 0]
    assert field[:, -1].mean() - field[:, 0].mean() == pytest.approx(0.12, rel=0.01)
    assert np.allclose(field.mean(), 1.0, atol=1e-4)


@pytest.mark.parametrize("space", ["srgb", "p3"])
def test_files_carry_profile_time_and_orientation(tmp_path, space):
    from PIL import Image, ImageCms, ImageOps

    out = scene.render(flat_scene(space=space))
    path = tmp_path / "a.jpg"
    style = scene.FileStyle(taken_at="2026:03:01 10:05:00", orientation=6, quality=95)
    scene.save(path, out, space, style)
    with Image.open(path) as image:
        assert image.size == SMALL[::-1]
        assert image.getexif().get_ifd(0x8769)[0x9003] == "2026:03:01 10:05:00"
        assert ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
        upright = np.asarray(ImageOps.exif_transpose(image)).astype(float)
    assert np.abs(upright - out.coded).mean() < 4.0


def test_profile_columns_are_the_primaries():
    """The red column of the P3 profile, adapted to D50: SMPTE EG 432-1 as ICC prints it."""
    data = display_profile("display-p3")
    at = data.index(b"rXYZ", 128)
    offset = int.from_bytes(data[at + 4 : at + 8], "big")
    red = np.frombuffer(data[offset + 8 : offset + 20], ">i4") / 65536.0
    assert np.allclose(red, [0.5151, 0.2412, -0.0011], atol=2e-4)


# --- the demo --------------------------------------------------------------------------------

DEMO = Path(__file__).parents[1] / "example_archive"


def demo_truth() -> dict:
    return json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))


def test_demo_folder_holds_what_its_notes_name():
    rows = list(csv.DictReader((DEMO / "photos.csv").open(encoding="utf-8")))
    assert sorted({r["photo"] for r in rows}) == sorted(p.name for p in DEMO.glob("*.jpg"))
    assert (DEMO / "photos.csv").read_text(encoding="utf-8") == demo.photos_csv()
    assert (DEMO / "studio.toml").read_text(encoding="utf-8") == studio_toml()
    truth = demo_truth()["photos"]
    unmarked = 0
    for photo in {r["photo"] for r in rows}:
        named = {r["region"] for r in rows if r["photo"] == photo}
        path = DEMO / photo.replace(".jpg", ".marks.json")
        if not path.exists():
            unmarked += 1
            assert named == {""} and len(truth[photo]) == 1
            continue
        marked = json.loads(path.read_text(encoding="utf-8"))
        points = [p for s in marked["swatches"] for p in s["polygon"]]
        assert np.min(points) > 0.0 and np.max(points) < 1.0
        assert named == {s["name"] for s in marked["swatches"]} == set(truth[photo])
    assert unmarked >= 2
    assert sum(p.stat().st_size for p in DEMO.iterdir() if p.is_file()) < 12e6


def test_demo_lots_spread_over_the_verdicts():
    """True ΔE00 (kL = 2) against the tolerance of 2: clear passes, clear failures, near ones."""
    by_colourway: dict[str, list[float]] = {}
    for pair in demo_truth()["lots_to_master"]:
        by_colourway.setdefault(pair["swatch"][:2], []).append(pair["delta_e_00_kl2"])
    for code in ("NF", "HF", "PS"):
        assert min(by_colourway[code]) < 1.0
        assert max(by_colourway[code]) > 3.0
        assert sum(lot.code.startswith(code) for lot in LOTS) >= 4
    assert any(1.8 < d < 2.2 for d in by_colourway["HF"] + by_colourway["PS"])


def test_demo_truth_is_what_the_renderer_makes():
    plan = next(p for p in demo_photos.PLANS if p.file == "chalk")
    s = demo_photos.scene_of(plan)
    swatch = next(t for t in s.things if isinstance(t, objects.Swatch))
    drawn = objects.draw_swatch(swatch, s.shot, 1.25 * s.px_per_mm, s.lamp)
    stored = demo_truth()["photos"]["chalk.jpg"]["swatch"]
    assert np.allclose(drawn.truth["lab_seen"], stored["lab_seen"], atol=0.02)
    assert np.allclose(drawn.truth["lab_surface"], stored["lab_surface"], atol=0.02)


def test_demo_photos_were_made_from_these_lots():
    """One factor, the pot's unevenness, between the depths in a photo and those of its lot."""
    checked = 0
    for regions in demo_truth()["photos"].values():
        for r in regions.values():
            dyeing = dyeing_of(demo_photos.ITEMS[r["swatch"]].lot)
            if len(dyeing.knots) > 1 or not dyeing.knots[0]:
                continue
            factors = [r["depths_percent"][name] / depth for name, depth in dyeing.knots[0]]
            assert np.allclose(factors, np.mean(factors), rtol=2e-3)
            assert 0.8 < np.mean(factors) < 1.25
            checked += 1
    assert checked > 20
