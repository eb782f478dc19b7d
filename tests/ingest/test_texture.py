"""How fine strands are and how strong their light and dark, on pictures whose truth is known."""

import math

import numpy as np
import pytest

from ingest.texture import look_at_texture
from tests.ingest.builders import as_it_is, box_blurred_noise, photo_of_light, swatch_at


def texture_of(photo, mm_per_px):
    region = swatch_at((0, 0, photo.width, photo.height), photo.pixels)
    return look_at_texture(photo, region, as_it_is(photo), mm_per_px)


@pytest.mark.parametrize("side", [3, 9, 15])
def test_texture_lengths_are_where_the_autocorrelation_falls_to_1_over_e(side):
    # Noise averaged over s pixels has rho = 1 - lag / s: under 1/e from (1 - 1/e) s on.
    light = box_blurred_noise(np.random.default_rng(2), 400, 400, side, 0.03, 0.3)
    photo = photo_of_light(np.repeat(light[..., None], 3, axis=2), 16)
    found = texture_of(photo, math.nan)
    want = math.ceil((1.0 - 1.0 / math.e) * side)
    assert abs(found.length_x - want) <= 1 and abs(found.length_y - want) <= 1


@pytest.mark.parametrize("amplitude", [0.05, 0.3])
@pytest.mark.parametrize("mm_per_px", [0.1, 0.04])
def test_shadow_sd_of_a_wave_of_known_depth(amplitude, mm_per_px):
    # Strands 0.8 mm apart, well under the 5 mm neighbourhood: a sine's sd is its amplitude / √2.
    x = np.arange(400)
    log = math.log(0.3) + amplitude * np.sin(2 * np.pi * x * mm_per_px / 0.8)
    photo = photo_of_light(np.tile(np.exp(log)[None, :, None], (300, 1, 3)), 16)
    found = texture_of(photo, mm_per_px)
    # The neighbourhood holds no whole number of strands, so it follows them a little.
    assert found.shadow_sd == pytest.approx(amplitude / math.sqrt(2), rel=0.06)


def test_shadow_sd_leaves_a_slow_change_of_dye_out():
    # Light to dark over 200 mm is colour, not strands: 0.5 in ln Y, of which a 5 mm window sees
    # almost nothing.
    x = np.linspace(0.0, 1.0, 400)
    photo = photo_of_light(np.tile((0.3 * np.exp(-0.5 * x))[None, :, None], (300, 1, 3)), 16)
    assert texture_of(photo, 0.5).shadow_sd < 0.01
