"""One patch of a reference: its mean light, and each rule about a card by a picture made for it."""

from dataclasses import replace

import numpy as np
import pytest

from ingest.colour import SRGB_TO_XYZ
from ingest.model import Encoding
from ingest.raster import region_pixels
from ingest.reading import card_flags, clip_code, clipped_share, read_patch, zero_code
from tests.ingest.builders import photo_of, photo_of_light, polygon, scene, srgb_encoding

BOX = (40, 40, 200, 200)


def read(photo, box=BOX):
    outline = polygon(box, photo.pixels)
    return read_patch(photo, outline, region_pixels(photo, outline))


def card_picture(shape=1.0, seed=0, noise=0.02, tint=(1.0, 1.0, 1.0)):
    """A grey card of 0.2 times ``shape`` (160, 160) in a frame, with a camera's noise and tint."""
    rng = np.random.default_rng(seed)
    light = scene(240, 240)
    light[40:200, 40:200] = 0.2 * np.broadcast_to(shape, (160, 160))[..., None]
    return photo_of_light(light * tint * (1.0 + noise * rng.normal(size=light.shape)))


across = np.linspace(-0.5, 0.5, 160)[None, :]
down = np.linspace(-0.5, 0.5, 160)[:, None]


# --- the mean ----------------------------------------------------------------------------------


@pytest.mark.parametrize("bits", [8, 16])
def test_the_mean_is_that_of_light_and_not_of_codes(bits):
    rng = np.random.default_rng(3)
    kind = np.uint8 if bits == 8 else np.uint16
    pixels = rng.integers(0, 2**bits, (240, 240, 3)).astype(kind)
    photo = photo_of(pixels)
    found = read(photo)
    inside = pixels[40:200, 40:200].reshape(-1, 3)
    want = [photo.encoding.curve[:, c].astype(float)[inside[:, c]].mean() for c in range(3)]
    assert np.allclose(found.linear, want, rtol=1e-9)
    assert np.allclose(found.mean_of(photo.encoding.curve), want, rtol=1e-9)
    assert found.count == 160 * 160


def test_an_empty_patch_says_so():
    photo = photo_of_light(scene())
    nothing = np.zeros((0, 3), np.uint8)
    found = read_patch(photo, polygon(BOX, photo.pixels), nothing)
    assert found.count == 0 and found.clipped == 0.0 and clipped_share(nothing) == 0.0


# --- ends of the range -------------------------------------------------------------------------


def test_the_ends_of_the_range_are_the_same_in_8_and_16_bits():
    codes = np.array([[0, 9, 9], [1, 9, 9], [2, 9, 9], [253, 9, 9], [254, 9, 9], [255, 9, 9]])
    narrow, wide = codes.astype(np.uint8), (codes * 257).astype(np.uint16)
    for rows, levels in ((narrow, 256), (wide, 65536)):
        zero = zero_code(srgb_encoding(levels))
        assert ((rows >= clip_code(rows)).any(axis=1)).tolist() == [False] * 4 + [True] * 2
        assert ((rows <= zero).any(axis=1)).tolist() == [True] * 2 + [False] * 4
        assert clipped_share(rows) == pytest.approx(1 / 3)


def linear_encoding(levels):
    curve = np.linspace(0.0, 1.0, levels, dtype=np.float32)
    return Encoding("linear", np.repeat(curve[:, None], 3, axis=1), SRGB_TO_XYZ)


def test_a_dark_channel_of_a_linear_file_is_not_at_zero():
    """Code 257 of 65,535 is 0.4 % of the light there, as a deep red yarn has it in blue."""
    assert zero_code(linear_encoding(65536)) == 20  # 0.03 %, as code 1 of an 8-bit sRGB file
    assert zero_code(linear_encoding(256)) == 0
    bent = linear_encoding(65536)
    assert zero_code(replace(bent, curve=bent.curve**2.2)) == 257


# --- the card's rules --------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("noise", [0.0, 0.02, 0.06])
def test_a_clean_card_has_no_flag(seed, noise):
    assert card_flags(read(card_picture(seed=seed, noise=noise))) == frozenset()


@pytest.mark.parametrize("box", [(40, 40, 60, 60), (100, 40, 118, 200)])
def test_a_clean_small_or_narrow_card_has_no_flag(box):
    for seed in range(5):
        assert card_flags(read(card_picture(seed=seed), box)) == frozenset()


BAD_CARDS = {
    "tilted": (1.0 + 0.25 * across, {"card tilted in the light"}),
    "tilted down": (1.0 - 0.25 * down, {"card tilted in the light"}),
    "shadow": (np.where(across < -0.1, 0.6, 1.0), {"card in shadow"}),
    "shadow down": (np.where(down < 0.13, 0.7, 1.0), {"card in shadow"}),
    "shadow aslant": (np.where(down + across < 0.1, 0.6, 1.0), {"card in shadow"}),
    "print": (
        1.0 - 0.4 * ((np.sin(40 * across) > 0.3) & (np.sin(25 * down) > 0.3)),
        {"card uneven"},
    ),
    "glare": (1.0 + 0.5 * np.exp(-((across - 0.1) ** 2 + down**2) / 0.1), {"card uneven"}),
}


@pytest.mark.parametrize(("shape", "flags"), BAD_CARDS.values(), ids=BAD_CARDS)
def test_a_bad_card_is_called_what_it_is(shape, flags):
    for seed in range(3):
        assert flags <= card_flags(read(card_picture(shape, seed)))


@pytest.mark.parametrize(
    ("tint", "flags"),
    [
        ((1.2, 1.0, 0.82), set()),
        ((0.82, 1.0, 1.2), set()),
        ((1.25, 1.0, 0.8), {"card coloured"}),
        ((0.8, 1.0, 1.25), {"card coloured"}),
    ],
)
def test_a_card_that_looks_coloured_as_taken_is_told(tint, flags):
    assert card_flags(read(card_picture(tint=tint))) == flags


def test_a_card_in_shadow_is_not_called_tilted_or_uneven_too():
    assert card_flags(read(card_picture(BAD_CARDS["shadow"][0]))) == {"card in shadow"}


def test_a_slight_tilt_is_no_flag_but_counts_as_doubt():
    found = read(card_picture(1.0 + 0.06 * across, noise=0.0))
    assert card_flags(found) == frozenset()
    # 6 % across a card's middle seven eighths (the first to the last cell's middle), log slope.
    assert found.tilt == pytest.approx(0.06 * 7 / 8, rel=0.05)
    assert found.relative_sd == pytest.approx(0.5 * found.tilt / 3**0.5, rel=0.05)


def test_a_clipped_card_is_flagged():
    picture = card_picture()
    pixels = picture.pixels.copy()
    pixels[40:44, 40:200] = 255
    found = read(photo_of(pixels))
    assert found.clipped == pytest.approx(0.025)
    assert "card clipped" in card_flags(found)
