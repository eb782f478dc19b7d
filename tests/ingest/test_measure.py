"""A region's mean, its doubt, its texture and its flags, on pictures whose truth is known."""

import dataclasses
import math

import numpy as np
import pytest

from ingest.colour import xyz_to_lab
from ingest.correct import correct
from ingest.errors import SwatchError
from ingest.measure import measure_region
from ingest.model import Settings
from tests.ingest.builders import (
    as_it_is,
    box_blurred_noise,
    card_at,
    coded,
    paint,
    photo_of,
    photo_of_light,
    rgb_of_lab,
    scene,
    swatch_at,
)

BLOB = ((0.12, 0.1), (0.83, 0.2), (0.91, 0.77), (0.33, 0.93), (0.05, 0.5))


def measure(photo, region, mm_per_px=0.1, settings=Settings(), made=None):  # noqa: B008
    return measure_region(photo, region, made or as_it_is(photo), settings, mm_per_px)


def whole(photo):
    return swatch_at((0, 0, photo.width, photo.height), photo.pixels)


def noise_photo(seed, side, sd, mean=0.3, size=(200, 200), bits=16):
    rng = np.random.default_rng(seed)
    light = box_blurred_noise(rng, *size, side, sd, mean)
    return photo_of_light(np.repeat(light[..., None], 3, axis=2), bits)


# --- the mean ----------------------------------------------------------------------------------


@pytest.mark.parametrize("bits", [8, 16])
def test_the_mean_is_numpys_own_in_float64(bits):
    rng = np.random.default_rng(5)
    top = 253 if bits == 8 else 65000
    pixels = rng.integers(4, top, (300, 400, 3)).astype(np.uint8 if bits == 8 else np.uint16)
    photo = photo_of(pixels)
    found = measure(photo, swatch_at((31, 47, 391, 288), pixels))
    inside = pixels[47:288, 31:391].reshape(-1, 3)
    curve = photo.encoding.curve.astype(np.float64)
    light = np.array([curve[inside[:, c], c].mean() for c in range(3)])
    assert np.allclose(found.lab, xyz_to_lab(photo.encoding.to_xyz @ light), atol=1e-3)
    assert found.pixels == len(inside)


@pytest.mark.parametrize("high", [240, 255])
@pytest.mark.parametrize("square", [1, 8])
def test_a_checker_of_black_and_white_has_the_mean_of_light(high, square):
    y, x = np.mgrid[0:128, 0:128] // square
    pixels = np.repeat(((x + y) % 2 * high)[..., None], 3, axis=2).astype(np.uint8)
    photo = photo_of(pixels)
    light = 0.5 * photo.encoding.curve[high, 0] * photo.encoding.to_xyz.sum(axis=1)
    assert np.allclose(measure(photo, whole(photo)).lab, xyz_to_lab(light), atol=2e-3)


def test_clipped_pixels_stay_in_the_mean():
    # A strand's highlights are yarn: without them 3 % of clipped pixels cost 1.6 in L*.
    rng = np.random.default_rng(1)
    light = np.exp(rng.normal(0.0, 0.5, (300, 300))) * 0.4
    photo = photo_of_light(np.repeat(light[..., None], 3, axis=2))
    found = measure(photo, whole(photo))
    assert 0.02 < found.clipped_share < 0.05
    truth = 116.0 * np.cbrt(light.mean()) - 16.0
    assert truth - 0.8 < found.lab[0] < truth
    assert found.pixels == 300 * 300


def blob_picture(bits=8):
    rng = np.random.default_rng(8)
    light = np.clip(0.3 + 0.1 * rng.normal(size=(240, 330, 3)), 0.01, 0.9) * (1.0, 0.6, 0.3)
    return coded(light, bits)


def turned(outline, swap, down, across):
    """The outline in the view that ``swap``, then reversed rows and columns make."""
    points = [(y, x) if swap else (x, y) for x, y in outline]
    return tuple((1 - x if across < 0 else x, 1 - y if down < 0 else y) for x, y in points)


def test_the_eight_orientations_of_a_picture_give_the_same_colour():
    pixels = blob_picture()
    upright = photo_of(pixels)
    region = dataclasses.replace(whole(upright), polygon=BLOB)
    want = measure(upright, region)
    for swap in (False, True):
        for down in (1, -1):
            for across in (1, -1):
                base = pixels.swapaxes(0, 1) if swap else pixels
                photo = photo_of(base[::down, ::across])
                outline = turned(BLOB, swap, down, across)
                found = measure(photo, dataclasses.replace(region, polygon=outline))
                # The outline's own pixels may fall to the other side: under 1 % of the region.
                assert np.allclose(found.lab, want.lab, atol=0.03)
                assert found.flags == want.flags
                assert abs(found.pixels - want.pixels) < 0.01 * want.pixels


def test_files_of_equal_pixels_give_equal_measurements(tmp_path):
    import cv2

    from ingest.decode import read_photo

    pixels = blob_picture()
    wide = pixels.astype(np.uint16) * 257
    found = []
    for name, picture in (("a.png", pixels), ("a.tif", pixels), ("b.png", wide), ("b.tif", wide)):
        assert cv2.imwrite(str(tmp_path / name), picture[..., ::-1])
        photo = read_photo(tmp_path / name)
        found.append(measure(photo, dataclasses.replace(whole(photo), polygon=BLOB)))
    for other in found[1:]:
        assert np.allclose(other.lab, found[0].lab, atol=1e-3)
        assert other.flags == found[0].flags
        assert other.shadow_sd == pytest.approx(found[0].shadow_sd, rel=1e-3)


def test_low_codes_mean_the_same_in_8_and_16_bits():
    pixels = np.full((100, 100, 3), 90, np.uint8)
    pixels[:10, :, 2] = 1
    for picture in (pixels, pixels.astype(np.uint16) * 257):
        photo = photo_of(picture)
        assert "channel at zero" in measure(photo, whole(photo)).flags


# --- the region's doubt ------------------------------------------------------------------------


def test_the_doubt_of_white_noise_is_its_sd_over_root_n():
    n, sd = 200 * 200, 0.05
    stated = []
    for seed in range(12):
        photo = noise_photo(seed, 1, sd)
        found = measure(photo, whole(photo))
        slope = 116.0 / 3.0 * 0.3 ** (-2.0 / 3.0)
        stated.append(math.sqrt(found.covariance.region[0, 0]) / slope)
        assert stated[-1] == pytest.approx(sd / math.sqrt(n), rel=0.2)
    # A length is never taken for less than half a pixel: the stated doubt is 5 % large at most.
    assert np.mean(stated) == pytest.approx(1.05 * sd / math.sqrt(n), rel=0.05)


def running_noise(rng, size, length):
    """Noise of sd 1 whose autocorrelation is exp(-lag / length) along both axes."""
    from scipy.signal import lfilter

    keep, run_in = math.exp(-1.0 / length), 8 * length
    raw = rng.normal(size=(size + run_in, size + run_in)) * (1.0 - keep * keep)
    for axis in (0, 1):
        raw = lfilter([1.0], [1.0, -keep], raw, axis=axis)
    return raw[run_in:, run_in:]


TEXTURES = {
    "averaged over 3": lambda rng: box_blurred_noise(rng, 160, 160, 3, 0.06, 0.3),
    "averaged over 9": lambda rng: box_blurred_noise(rng, 160, 160, 9, 0.06, 0.3),
    "running, length 2": lambda rng: 0.3 + 0.06 * running_noise(rng, 160, 2),
    "running, length 5": lambda rng: 0.3 + 0.06 * running_noise(rng, 160, 5),
}


@pytest.mark.parametrize("texture", TEXTURES.values(), ids=TEXTURES)
def test_the_95_percent_interval_holds_the_truth_on_correlated_texture(texture):
    truth = 116.0 * np.cbrt(0.3) - 16.0
    held = 0
    for seed in range(200):
        light = texture(np.random.default_rng(seed))
        photo = photo_of_light(np.repeat(light[..., None], 3, axis=2), 16)
        found = measure(photo, whole(photo))
        u = math.sqrt(found.covariance.region[0, 0])
        held += abs(found.lab[0] - truth) <= 1.96 * u
    assert held >= 180


def test_noise_alone_in_one_channel_moves_colour_and_not_only_lightness():
    rng = np.random.default_rng(4)
    light = np.full((200, 200, 3), 0.3)
    light[..., 0] += 0.05 * rng.normal(size=(200, 200))
    photo = photo_of_light(light, 16)
    region = measure(photo, whole(photo)).covariance.region
    # More red is lighter, redder and, by Y in b*, yellower: all three move together.
    assert region[0, 1] > 0.9 * math.sqrt(region[0, 0] * region[1, 1])
    assert np.linalg.matrix_rank(region, tol=1e-3 * np.trace(region)) == 1


def test_few_blocks_are_flagged_and_doubted():
    photo = noise_photo(0, 40, 0.1, size=(60, 60))
    found = measure(photo, whole(photo))
    assert "too few texture lengths" in found.flags
    # Nothing is known of the spread: 5 % of light is 5 % of (L* + 16) / 3.
    assert found.covariance.standard()["region"][0] > 0.3
    plenty = noise_photo(0, 3, 0.1)
    assert "too few texture lengths" not in measure(plenty, whole(plenty)).flags


# --- flags and refusals ------------------------------------------------------------------------


def with_share(share, value, base=120, channel=None):
    pixels = np.full((100, 100, 3), base, np.uint8)
    pixels[np.linspace(0, 99, round(share * 100)).astype(int), :, channel or slice(None)] = value
    return photo_of(pixels)


@pytest.mark.parametrize(
    ("share", "present", "absent"),
    [
        (0.0, set(), {"clipped", "clipped beyond use"}),
        (0.01, {"clipped"}, {"clipped beyond use"}),
        (0.02, {"clipped"}, {"clipped beyond use"}),
        (0.03, {"clipped", "clipped beyond use"}, set()),
        (1.0, {"clipped", "clipped beyond use"}, set()),
    ],
)
def test_clipping_is_noted_from_1_and_beyond_use_from_3_percent(share, present, absent):
    photo = with_share(share, 255)
    found = measure(photo, whole(photo))
    assert found.clipped_share == pytest.approx(share)
    assert present <= found.flags and not absent & found.flags


def test_one_channel_at_the_top_is_clipped():
    photo = with_share(0.05, 254, channel=0)
    assert "clipped beyond use" in measure(photo, whole(photo)).flags


@pytest.mark.parametrize(("share", "flagged"), [(0.02, False), (0.03, True), (1.0, True)])
def test_a_channel_at_zero(share, flagged):
    photo = with_share(share, 0, channel=2)
    assert ("channel at zero" in measure(photo, whole(photo)).flags) == flagged


def test_too_dark_scale_unknown_and_not_dry():
    photo = noise_photo(0, 3, 0.001, mean=0.01)
    found = measure(photo, whole(photo), math.nan, Settings(dry=False))
    assert {"too dark", "scale unknown", "not dry"} <= found.flags
    assert math.isnan(found.mm_per_px) and found.record()["mm_per_px"] is None
    other = noise_photo(0, 3, 0.05)
    assert not measure(other, whole(other), 0.1, Settings(dry=True)).flags & {
        "too dark",
        "scale unknown",
        "not dry",
    }


def test_glare_on_coloured_yarn():
    light = scene(200, 200, (0.05, 0.1, 0.3))
    clean = photo_of_light(light)
    assert "glare" not in measure(clean, whole(clean)).flags
    light[50:70, 50:70] = 0.9
    shiny = photo_of_light(light)
    assert "glare" in measure(shiny, whole(shiny)).flags


def test_a_swatch_found_by_search_says_so():
    photo = noise_photo(0, 3, 0.05)
    region = dataclasses.replace(whole(photo), located="search")
    assert "located by search" in measure(photo, region).flags
    assert "located by search" not in measure(photo, whole(photo)).flags


def test_a_swatch_of_a_few_pixels_is_refused():
    photo = noise_photo(0, 3, 0.05)
    with pytest.raises(SwatchError, match="swatch 'new' is 15 x 15 pixels; needed at least 400"):
        measure(photo, swatch_at((10, 10, 25, 25), photo.pixels))
    thin = dataclasses.replace(
        whole(photo), polygon=((0.0, 0.0), (0.2, 0.2), (0.21, 0.2), (0.01, 0.0))
    )
    with pytest.raises(SwatchError, match="pixels of yarn"):
        measure(photo, thin)


# --- the correction reaches the measurement ----------------------------------------------------


def test_a_corrected_swatch_has_its_own_colour_and_the_references_flags():
    light = scene(240, 360, (0.5, 0.5, 0.5))
    rng = np.random.default_rng(0)
    paint(light, (20, 20, 120, 120), (0.18, 0.18, 0.18))
    paint(light, (150, 60, 340, 220), rgb_of_lab((55, 40, 20)))
    light *= np.array([0.9, 0.7, 0.6]) * (1.0 + 0.02 * rng.normal(size=light.shape))
    photo = photo_of_light(light)
    made = correct(photo, [card_at((20, 20, 120, 120), photo.pixels)], Settings())
    found = measure(photo, swatch_at((160, 70, 330, 210), photo.pixels), made=made)
    assert np.allclose(found.lab, (55, 40, 20), atol=0.15)
    assert found.reference == "card"
    assert {"tone curve not removed", "camera colours not corrected"} <= found.flags
