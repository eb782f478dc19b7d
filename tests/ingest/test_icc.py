"""ICC profiles: known ones by name, all others by their numbers, checked against lcms2."""

import io

import colour as colour_science
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from ingest import colour
from ingest.errors import PhotoError
from ingest.icc import PCS_D50, convert_to_srgb, parse_profile, profile_encoding
from ingest.pipeline import to_srgb
from tests.ingest.filebytes import (
    SRGB_CURVE,
    curv,
    desc,
    grey_icc,
    make_icc,
    matrix_icc,
    para,
    table_icc,
    xyz_tag,
)

CODED = np.arange(256) / 255.0
TO_PCS = colour.bradford(colour.D65, PCS_D50)
P3 = TO_PCS @ colour_science.RGB_COLOURSPACES["Display P3"].matrix_RGB_to_XYZ
ADOBE = TO_PCS @ colour_science.RGB_COLOURSPACES["Adobe RGB (1998)"].matrix_RGB_to_XYZ
SRGB = TO_PCS @ colour_science.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ
# ROMM RGB, ISO 22028-2: primaries with a D50 white, so already of the PCS.
ROMM = colour_science.RGB_COLOURSPACES["ROMM RGB"].matrix_RGB_to_XYZ
ROMM = ROMM * (PCS_D50 / ROMM.sum(axis=1))[:, None]

SHIPPED_SRGB = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def encoding(data, coded=CODED):
    return profile_encoding(parse_profile(data), coded)


def lab_of(enc, codes):
    linear = enc.curve[codes, np.arange(3)].astype(float)
    return colour.xyz_to_lab(linear @ enc.to_xyz.T)


def patches(n=500):
    return np.random.default_rng(1).integers(0, 256, (n, 3))


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (SHIPPED_SRGB, "sRGB"),
        (matrix_icc(SRGB, SRGB_CURVE, name="misleading name"), "sRGB"),
        (matrix_icc(P3, SRGB_CURVE), "Display P3"),
        (matrix_icc(ADOBE, curv(2.19921875)), "Adobe RGB (1998)"),
        (matrix_icc(ADOBE, para(0, 2.19921875), name="sRGB"), "Adobe RGB (1998)"),
    ],
)
def test_known_spaces_are_recognised_by_their_numbers_and_agree_with_colour_science(data, name):
    enc = encoding(data)
    assert enc.name == name
    codes = patches()
    space = colour_science.RGB_COLOURSPACES[name]
    xyz = colour_science.RGB_to_XYZ(codes / 255.0, space, apply_cctf_decoding=True)
    # The bound is that of float32 curves and of matrices printed with 4 or 5 decimals.
    bound = {"sRGB": 1e-3, "Display P3": 1e-3, "Adobe RGB (1998)": 5e-3}[name]
    assert np.abs(lab_of(enc, codes) - colour.xyz_to_lab(xyz)).max() < bound


def test_a_curve_slightly_off_srgb_is_not_called_srgb():
    assert encoding(matrix_icc(SRGB, curv(2.2), name="almost")).name == "almost"
    assert encoding(matrix_icc(ROMM, SRGB_CURVE, name="wide")).name == "wide"


def test_a_profile_that_only_calls_itself_srgb_is_not_taken_for_it():
    """Its preview was the coded pixels as they are."""
    enc = encoding(matrix_icc(SRGB, curv(1.4), name="sRGB"))
    assert enc.name == "sRGB, by a profile of its own"
    pixels = np.full((4, 4, 3), 100, np.uint8)
    shown = round(255 * float(colour.linear_to_srgb((100 / 255) ** 1.4)))
    assert to_srgb(pixels, enc)[0, 0, 0] == pytest.approx(shown, abs=1) and shown > 130


def test_sixteen_bit_levels_follow_the_same_curve():
    coded = np.arange(65536) / 65535.0
    enc = encoding(matrix_icc(P3, SRGB_CURVE), coded)
    assert enc.curve.shape == (65536, 3)
    assert enc.curve.dtype == np.float32
    wanted = colour_science.models.eotf_sRGB(coded)
    assert np.abs(enc.curve[:, 0] - wanted).max() < 1e-6


CURVES = {
    "identity": curv(),
    "gamma 1.8": curv(1.8),
    "table": curv(*(np.linspace(0, 1, 64) ** 1.6)),
    "para 0": para(0, 2.1),
    "para 1": para(1, 2.0, 0.95, 0.05),
    "para 2": para(2, 2.0, 0.9, 0.05, 0.0975),
    "para 3": SRGB_CURVE,
    "para 4": para(4, 2.4, 0.93, 0.05, 0.08, 0.05, 0.04, 0.0),
}


@pytest.mark.parametrize("curve", CURVES.values(), ids=CURVES.keys())
@pytest.mark.parametrize("matrix", [SRGB, P3, ROMM], ids=["sRGB", "P3", "ROMM"])
def test_any_matrix_profile_agrees_with_lcms_within_one_code_of_eight_bits(curve, matrix):
    data = matrix_icc(matrix, curve)
    codes = patches(2000)
    ours = encoding(data)
    linear = ours.curve[codes, np.arange(3)].astype(float)
    srgb = linear @ (np.linalg.inv(colour.SRGB_TO_XYZ) @ ours.to_xyz).T
    ours_8 = np.rint(255 * colour.linear_to_srgb(np.clip(srgb, 0, 1)))
    theirs = ImageCms.profileToProfile(
        Image.fromarray(codes[None].astype(np.uint8)),
        ImageCms.getOpenProfile(io.BytesIO(data)),
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
    )
    difference = np.abs(ours_8 - np.asarray(theirs)[0].astype(float))
    assert difference.max() <= 1
    assert (difference == 0).mean() > 0.9


def test_three_different_curves_stay_with_their_channels():
    enc = encoding(matrix_icc(SRGB, curv(1.0), curv(2.0), curv(3.0)))
    assert enc.curve[128] == pytest.approx((CODED[128], CODED[128] ** 2, CODED[128] ** 3), abs=1e-6)


@pytest.mark.parametrize("matrix", [P3, ADOBE, ROMM])
def test_white_is_white(matrix):
    enc = encoding(matrix_icc(matrix, curv(1.9)))
    white = colour.xyz_to_lab(enc.to_xyz.sum(axis=1))
    assert white == pytest.approx((100.0, 0.0, 0.0), abs=0.02)


def test_grey_profile_gives_neutrals_of_its_curve():
    enc = encoding(grey_icc(curv(1.75)))
    lab = lab_of(enc, np.repeat(np.arange(256)[:, None], 3, axis=1))
    assert np.abs(lab[:, 1:]).max() < 0.02
    y = 116 * np.cbrt(CODED[128] ** 1.75) - 16
    assert lab[128, 0] == pytest.approx(y, abs=0.01)


def test_table_profile_has_no_encoding_and_is_converted_by_the_library():
    assert encoding(table_icc()) is None
    pixels = np.full((4, 4, 3), (255, 0, 127), np.uint8)
    out = convert_to_srgb(pixels, table_icc())
    assert out.shape == pixels.shape
    # Its table says L* = 100 (R + G + B) / 3: sRGB grey of L* 49.9 is code 119 (CIELAB, sRGB).
    assert np.abs(out.astype(int) - 119).max() <= 1


LAB_PROFILE = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (make_icc([], space=b"CMYK"), "for CMYK"),
        (LAB_PROFILE, "abst"),
        (make_icc([], space=b"Lab "), "for Lab"),
        (make_icc([], kind=b"link"), "class 'link'"),
        (make_icc([], pcs=b"RGB "), "connects"),
        (make_icc([]), "neither matrix nor tables"),
        (b"", "damaged"),
        (b"not a profile at all" * 20, "damaged"),
        (matrix_icc(SRGB, SRGB_CURVE)[:300], "damaged"),
        (bytes(9_000_000), "more than any photo needs"),
        (matrix_icc(SRGB * 3, SRGB_CURVE), "absurd primaries"),
        (matrix_icc(SRGB.mean(axis=1, keepdims=True) @ np.ones((1, 3)), curv(2.2)), "absurd prim"),
        (matrix_icc(SRGB, curv(*([0.5] * 8))), "absurd tone curve"),
        (matrix_icc(SRGB, curv(0, 1, 0, 1)), "absurd tone curve"),
        (matrix_icc(SRGB, para(0, -2.0)), "absurd tone curve"),
        (matrix_icc(SRGB, b"curv\0\0\0\0\xff\xff\xff\xff"), "damaged"),
        (matrix_icc(SRGB, para(3, 2.4)), "damaged"),
        (make_icc([(b"cicp", b"cicp\0\0\0\0\x09\x10\0\1"), (b"A2B0", b"")]), "HDR"),
        (make_icc([(b"A2B0", b"")], space=b"GRAY"), "by tables"),
    ],
)
def test_profiles_that_cannot_be_honoured_are_refused_in_words(data, words):
    with pytest.raises(PhotoError, match=words) as caught:
        parse_profile(data)
    assert "\n" not in str(caught.value)
    assert "save it as an RGB JPEG or PNG" in str(caught.value) or "HDR" in str(caught.value)


def test_a_table_profile_of_nonsense_is_refused_by_the_conversion():
    data = make_icc([(b"A2B0", b"nonsense")], pcs=b"Lab ")
    with pytest.raises(PhotoError, match="cannot be used"):
        convert_to_srgb(np.zeros((4, 4, 3), np.uint8), data)


def test_names_are_cleaned_and_short():
    tags = [(b"desc", desc("a\x1b[31m\nname" + "x" * 300))]
    tags += [(c + b"XYZ", xyz_tag(ROMM[:, i])) for i, c in enumerate((b"r", b"g", b"b"))]
    tags += [(c + b"TRC", curv(1.8)) for c in (b"r", b"g", b"b")]
    name = encoding(make_icc(tags)).name
    assert name.isprintable()
    assert len(name) <= 80


WHOLE = (matrix_icc(P3, SRGB_CURVE), grey_icc(curv(1.8)), table_icc(), SHIPPED_SRGB)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(WHOLE), st.data())
def test_a_damaged_profile_is_an_error_in_words_or_a_finite_encoding(whole, data):
    damaged = bytearray(whole)
    for _ in range(data.draw(st.integers(1, 6))):
        damaged[data.draw(st.integers(0, len(damaged) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.integers(0, len(damaged)))
    for blob in (bytes(damaged), bytes(damaged[:cut])):
        try:
            enc = encoding(blob)
        except PhotoError:
            continue
        if enc is not None:
            assert np.isfinite(enc.curve).all()
            assert np.isfinite(enc.to_xyz).all()
            assert enc.name
