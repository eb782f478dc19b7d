"""Tonality of renders whose dye is known, its laws, and what must not be classed."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from ingest.colour import SRGB_TO_XYZ
from ingest.evenness_corehalo import TINT_LOST
from ingest.evenness_doubt import Ends
from ingest.flags import FLAGS
from ingest.lightfield import LightField
from ingest.lightleft import light_left
from ingest.measure import measure_region
from ingest.model import Settings
from ingest.surround import Light
from ingest.tonality import measure_tonality
from tests.ingest.builders import as_it_is, photo_of_light, swatch_at
from tests.render.dye import Dyeing
from tests.render.strands import Yarn
from tests.render.yarn import Lamp
from tests.tonality import odd, other_draws, other_yarn, third_draws, third_yarn
from tests.tonality.draws import draw
from tests.tonality.photos import block_unevenness, render, to_xyz

KEYS = {
    *("unevenness", "u_unevenness", "range", "off_light_line", "cell_unevenness", "class"),
    *("strand_contrast", "patch_length", "palette", "dots_percent", "between", "mm_per_px"),
    "method",
}
RED = (("Pellow red", 0.5), ("Brackle brown", 0.15))
BLUE = (("Marn blue", 0.5),)
LOTS = {
    "solid": Dyeing("wool", (RED,), "solid", 0.008, 20.0),
    "semi-solid": Dyeing("wool", (RED,), "semi-solid", 0.25, 14.0),
    "variegated": Dyeing("wool", (RED, BLUE, RED), "variegated", 0.02, 30.0),
    "speckled": Dyeing(
        "wool", ((), (("Marn blue", 1.5),)), "speckled", 0.008, 20.0, specks_per_cm2=3.0
    ),
    "gradient": Dyeing("wool", (RED, BLUE), "gradient", 0.008, 20.0),
}


@cache
def photo(kind, form="wound card", seed=6):
    """A flat, softly lit photo at 8 px per mm of a lot of a kind."""
    case = replace(draw(seed, False, kind), form=form, dyeing=LOTS[kind], px_per_mm=8.0)
    return render(case)


def all_of(light):
    return np.ones(light.shape[:2], dtype=bool)


def measure(light, mm_per_px, mask=None, **more):
    return measure_tonality(
        light, all_of(light) if mask is None else mask, mm_per_px, to_xyz, **more
    )


@pytest.mark.parametrize("form", ["wound card", "skein", "knit"])
@pytest.mark.parametrize("kind", LOTS)
def test_classes_of_flat_swatches(kind, form):
    seen = photo(kind, form)
    found = measure(seen.linear, seen.mm_per_px)
    assert (found.name, found.between, found.flags) == (kind, None, frozenset())


@pytest.mark.parametrize("kind", LOTS)
def test_unevenness_is_that_of_the_dye(kind):
    seen = photo(kind)
    found = measure(seen.linear, seen.mm_per_px)
    truth = seen.truth["unevenness"]
    assert abs(found.unevenness - truth) < 0.1 + 0.3 * truth
    assert found.low <= found.unevenness <= found.high
    assert found.u_unevenness > 0


def test_painted_colours_are_read_without_a_bias():
    ratios = []
    for form in ("wound card", "skein", "knit"):
        seen = photo("variegated", form)
        ratios.append(measure(seen.linear, seen.mm_per_px).unevenness / seen.truth["unevenness"])
    assert np.mean(ratios) == pytest.approx(1.0, abs=0.03)  # 0.94 as it is seen


def test_the_record_has_its_keys_and_is_json():
    found = measure(photo("semi-solid").linear, photo("semi-solid").mm_per_px)
    record = json.loads(json.dumps(found.record()))
    assert set(record) >= KEYS
    assert record["range"][0] <= record["unevenness"] <= record["range"][1]
    assert sum(c["share"] for c in record["palette"]) == pytest.approx(1.0, abs=1e-3)


# --- laws --------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["solid", "semi-solid"])
def test_a_quarter_turn_changes_nothing_that_matters(kind):
    seen = photo(kind)
    found, turned = (
        measure(np.ascontiguousarray(light), seen.mm_per_px)
        for light in (seen.linear, np.rot90(seen.linear))
    )
    assert turned.name == found.name
    assert turned.unevenness == pytest.approx(found.unevenness, abs=0.03)


@pytest.mark.parametrize("gain", [0.7, 1.2])
def test_more_light_on_the_swatch_changes_little(gain):
    seen = photo("semi-solid")
    found = measure(seen.linear, seen.mm_per_px)
    other = measure(seen.linear * np.float32(gain), seen.mm_per_px)
    assert other.name == found.name
    # Lab itself is not linear in light: a fifth more light is 7 % more in every difference of L*.
    assert other.unevenness == pytest.approx(found.unevenness, rel=0.15)
    assert other.strand_contrast == pytest.approx(found.strand_contrast, rel=1e-3)


def test_a_crop_agrees_within_the_doubt():
    seen = photo("semi-solid")
    found = measure(seen.linear, seen.mm_per_px)
    for part in (np.s_[:, :300], np.s_[:, 180:]):
        crop = measure(seen.linear[part], seen.mm_per_px)
        assert crop.name == found.name
        doubt = np.hypot(crop.u_unevenness, found.u_unevenness)
        assert abs(crop.unevenness - found.unevenness) < 2.0 * doubt + 0.1


def test_what_lies_outside_the_mask_does_not_matter():
    seen = photo("semi-solid")
    light = seen.linear.copy()
    mask = all_of(light)
    mask[:, :60] = False
    mask[300:, 400:] = False
    one, other = light.copy(), light.copy()
    one[~mask], other[~mask] = 0.0, (9.0, 0.1, 0.1)
    a, b = (measure(x, seen.mm_per_px, mask) for x in (one, other))
    assert a.record() == b.record()
    assert a.name == "semi-solid"


# --- against the outside -----------------------------------------------------------------------


@pytest.mark.parametrize("sd", [0.03, 0.06, 0.10])
def test_a_printed_field_of_known_variance(sd):
    # Gaussian ln depth of a print, no strand: the truth is its blocks' MCDM, summed elsewhere.
    import cv2

    rng = np.random.default_rng(4)
    noise = cv2.GaussianBlur(rng.normal(size=(400, 540)).astype(np.float32), (0, 0), 60.0)
    noise = noise / noise.std()
    light = np.array([0.35, 0.09, 0.11]) * np.exp(sd * noise[..., None] * [0.2, -1.0, 0.7])
    light = light * np.exp(rng.normal(0.0, 0.02, light.shape[:2]))[..., None]
    truth = block_unevenness(
        to_xyz(light).astype(np.float32), np.ones(noise.shape, np.float32), 9.0
    )
    found = measure(light.astype(np.float32), 1 / 9.0)
    assert found.name == "semi-solid"
    assert found.unevenness == pytest.approx(truth, rel=0.12)


def test_noise_alone_is_solid():
    rng = np.random.default_rng(9)
    light = (np.array([0.3, 0.1, 0.2]) * np.exp(rng.normal(0, 0.08, (400, 540, 3)))).astype("f4")
    found = measure(light, 1 / 9.0)
    assert found.name == "solid"
    assert found.unevenness < 0.15


@pytest.mark.parametrize(
    ("name", "box"),
    [
        ("china.jpg", (0, 60, 10, 180)),  # sky
        ("china.jpg", (245, 300, 360, 530)),  # water
        ("china.jpg", (310, 420, 400, 560)),  # leaves in deep shadow
        ("china.jpg", (310, 420, 440, 560)),
    ],
)
def test_plain_real_surfaces_are_not_variegated(name, box):
    # scikit-learn's two sample photographs (load_sample_image); the scale is made up.
    from sklearn.datasets import load_sample_image

    y0, y1, x0, x1 = box
    pixels = load_sample_image(name)[y0:y1, x0:x1] / 255.0
    light = np.where(pixels <= 0.04045, pixels / 12.92, ((pixels + 0.055) / 1.055) ** 2.4)
    found = measure(light.astype(np.float32), 45.0 / (x1 - x0))
    assert found is None or found.name not in ("variegated", "speckled", "gradient")


def test_a_real_sky_that_pales_towards_the_sun_is_a_gradient():
    from sklearn.datasets import load_sample_image

    pixels = load_sample_image("china.jpg")[60:200, 330:550] / 255.0
    light = np.where(pixels <= 0.04045, pixels / 12.92, ((pixels + 0.055) / 1.055) ** 2.4)
    found = measure(light.astype(np.float32), 45.0 / 220.0)
    assert found.name == "gradient"
    assert found.record()["gradient"]["direction_deg"] is not None


# --- bad input ---------------------------------------------------------------------------------


def three_strands(light):
    return light[:, :45]


def background(light):
    out = light.copy()
    rng = np.random.default_rng(1)
    out[230:, 300:] = (0.5, 0.4, 0.3) * np.exp(rng.normal(0, 0.03, (130, light.shape[1] - 300, 1)))
    return out


def out_of_focus(light):
    import cv2

    return cv2.GaussianBlur(light, (0, 0), 5.0)


def far_out_of_focus(light):
    import cv2

    return cv2.GaussianBlur(light, (0, 0), 13.0)


def blown(light):
    import cv2

    y = light.mean(axis=2)
    crest = y - cv2.blur(y, (17, 17))
    out = light.copy()
    out[crest > np.quantile(crest, 0.9)] = 1.0
    return out


def two_skeins(light):
    out = light.copy()
    out[:, 240:] = out[:, 240:] * np.float32([0.3, 1.0, 3.0])
    return out


@pytest.mark.parametrize(
    ("spoil", "times", "flag"),
    [
        (three_strands, 1.0, "too little yarn for evenness"),
        (background, 1.0, "perhaps two swatches"),
        (out_of_focus, 1.0, "out of focus"),
        (far_out_of_focus, 1.0, "out of focus"),
        (blown, 1.0, "evenness not judged"),
        (two_skeins, 1.0, "perhaps two swatches"),
        (np.copy, 10.0, "scale doubtful"),
        (np.copy, 0.1, "too little yarn for evenness"),
    ],
)
def test_bad_input_gets_a_flag_a_reason_and_no_class(spoil, times, flag):
    seen = photo("solid")
    found = measure(spoil(seen.linear), times * seen.mm_per_px)
    assert found.name is None and found.between is None  # no two classes are told of it
    assert flag in found.flags
    assert found.reasons and all(r.endswith(".") for r in found.reasons)
    assert found.flags <= set(FLAGS)


def test_a_blur_is_not_told_as_too_few_strands():
    import cv2

    seen = render(draw(7, True, "solid"))
    mm = seen.mm_per_px
    deep = seen.linear[: round(26.0 / mm)]
    assert measure(deep, mm).flags == frozenset()
    assert measure(cv2.GaussianBlur(deep, (0, 0), 3.0), mm).flags == {"out of focus"}
    for wide in (10.0, 16.0):  # strands of 4.1 mm
        few = measure(seen.linear[: round(wide / mm)], mm)
        assert few.flags == {"too little yarn for evenness"}
    assert "or out of focus" in few.reasons[0]  # a slight blur passes as sharp


def test_three_strands_of_thick_yarn_are_too_few():
    thick = Yarn(8.0, plies=3, twist_mm=32.0, groove=0.4, fibre=0.08, halo=40.0, gap=0.9)
    case = replace(
        draw(701, False, "solid"),
        form="wound card",
        yarn=thick,
        dyeing=LOTS["solid"],
        size_mm=(70.0, 56.0),
        px_per_mm=8.0,
    )
    seen = render(case)
    for strands, few in ((3.2, True), (6.8, False)):
        part = seen.linear[: round(strands * 8.0 / seen.mm_per_px)]
        found = measure(part, seen.mm_per_px)
        assert ("too little yarn for evenness" in found.flags) is few


def test_coarse_patches_of_dye_do_not_pass_for_thick_strands():
    seen = other_yarn.render(other_draws.draw(other_draws.FIT_SEED + 162, False))
    found = measure(seen.linear, seen.mm_per_px)
    assert (found.name, found.flags) == ("semi-solid", frozenset())


def test_clipping_told_from_the_picture_stops_the_class():
    seen = photo("solid")
    found = measure(seen.linear, seen.mm_per_px, ends=Ends(0.05))
    assert found.name is None and "evenness not judged" in found.flags


def test_a_channel_at_zero_is_counted_in_the_file_and_rims_are_not_read():
    seen = photo("solid")
    light = 0.5 * seen.linear
    for picture, lost in ((light, False), (light * np.array([1.0, 1.0, 0.0]), True)):
        image = photo_of_light(picture)
        made, whole = as_it_is(image), swatch_at((0, 0, *image.pixels.shape[1::-1]), image.pixels)
        settings = Settings(allow_uncorrected=True)
        found = measure_region(image, whole, made, settings, seen.mm_per_px).tonality
        assert found["class"] == "solid"
        assert (found["core_halo_unseen"] == TINT_LOST) is lost


def test_gaps_of_a_solid_skein_are_no_dots_of_dye():
    """Fine dark gaps over 4 % of a skein's teal had made it speckled."""
    teal = (("Corrow turquoise", 0.5), ("Ostrel yellow", 0.25))
    case = replace(
        draw(102, False, "solid"),
        form="skein",
        yarn=Yarn(2.0, plies=3, twist_mm=9.0, groove=0.4, fibre=0.08, halo=70.0, gap=0.7),
        lamp=Lamp(azimuth=225.0, elevation=62.0, key=0.3, bounce=0.1),
        dyeing=Dyeing("white wool", (teal,), "solid", 0.006, 25.0),
        px_per_mm=10.0,
        exposure=0.75,
        deep=1.0,
        fall=0.0,
    )
    seen = render(case)
    found = measure(seen.linear, seen.mm_per_px)
    assert found.dots_percent > 4.0
    assert (found.name, found.between) == ("solid", None)
    assert found.high < 0.4


def test_a_far_too_dark_photo_shows_no_evenness():
    """At a sixteenth of the light, steps of numbers made a solid blue look variegated."""
    seen = photo("solid")
    image = photo_of_light(0.5 * seen.linear)
    made, whole = as_it_is(image), swatch_at((0, 0, *image.pixels.shape[1::-1]), image.pixels)
    settings = Settings(allow_uncorrected=True)
    assert measure_region(image, whole, made, settings, seen.mm_per_px).tonality["class"] == "solid"
    made = replace(made, flags=made.flags | {"photo too dark"})
    dark = measure_region(image, whole, made, settings, seen.mm_per_px)
    assert (dark.tonality["class"], dark.tonality["between"]) == (None, None)
    assert dark.tonality["range"][0] == 0.0 and "evenness not judged" in dark.flags
    assert dark.tonality["reasons"][0].startswith("The photo is far too dark")


@pytest.mark.parametrize(("tint", "name"), [(0.03, "solid"), (0.08, None)])
def test_light_whose_colour_changes_across_the_yarn_stops_the_class(tint, name):
    seen = photo("solid")
    image = photo_of_light(0.5 * seen.linear)
    planes = np.zeros((3, 3))
    planes[1] = tint * np.array([0.5, 0.0, -0.5])
    field = LightField(np.zeros(3), 0.01, 0.3, "surround", planes)
    whole, size = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)), (image.width, image.height)
    left = light_left(Light(field), 0.0, whole, [whole], size)
    made = replace(as_it_is(image), left=left)
    whole = swatch_at((0, 0, *image.pixels.shape[1::-1]), image.pixels)
    found = measure_region(
        image, whole, made, Settings(allow_uncorrected=True), seen.mm_per_px
    ).tonality
    assert found["class"] == name
    assert (name is None) == any("The light's colour changes" in r for r in found["reasons"])


def test_a_slope_of_light_alone_is_no_gradient_and_one_of_dye_is():
    """Half of the light lost across a solid had made it a gradient of 2.2."""
    seen = third_yarn.render(odd.falling(third_draws.draw(odd.FIRST_SEED + 32, False)))
    found = measure(seen.linear, seen.mm_per_px)
    assert (found.name, found.between, found.low) == (None, ("solid", "gradient"), 0.0)
    assert "Light that falls off" in found.reasons[0]
    gradient = photo("gradient")
    assert measure(gradient.linear, gradient.mm_per_px).name == "gradient"


def test_dark_dots_are_dye_though_their_ground_is_clipped():
    seen = photo("speckled")
    for share in (0.02, 0.05):
        assert measure(seen.linear, seen.mm_per_px, ends=Ends(share)).name == "speckled"


@pytest.mark.parametrize("share", [0.02, 0.05])
def test_light_dots_and_clipping_are_no_class(share):
    seen = photo("solid")
    light = seen.linear.copy()
    rng = np.random.default_rng(2)
    for y, x in rng.integers(0, 340, (70, 2)):
        light[y : y + 12, x : x + 12] = rng.uniform(0.7, 1.0)
    assert measure(light, seen.mm_per_px).name in ("speckled", "variegated")
    found = measure(light, seen.mm_per_px, ends=Ends(share))
    assert found.name is None and "evenness not judged" in found.flags


def test_an_unknown_scale_is_taken_from_the_strands_and_flagged():
    seen = photo("solid")
    found = measure(seen.linear, float("nan"))
    assert "scale estimated" in found.flags
    assert 0.4 < found.mm_per_px / seen.mm_per_px < 2.5


def test_no_scale_and_no_strands_is_no_tonality():
    assert measure(np.full((200, 300, 3), 0.2, np.float32), float("nan")) is None


# --- in the measurement ------------------------------------------------------------------------


def test_a_measured_region_carries_its_tonality():
    seen = photo("semi-solid")
    light = np.clip(seen.linear, 0.0, 1.0)
    picture = photo_of_light(light, 16)
    region = swatch_at((0, 0, picture.width, picture.height), picture.pixels)
    made = as_it_is(picture)
    assert np.allclose(made.to_xyz, SRGB_TO_XYZ, atol=2e-3)
    record = measure_region(picture, region, made, Settings(), seen.mm_per_px).record()
    direct = measure(light, seen.mm_per_px).record()
    assert record["tonality"]["class"] == "semi-solid"
    assert record["tonality"]["unevenness"] == pytest.approx(direct["unevenness"], abs=0.01)
