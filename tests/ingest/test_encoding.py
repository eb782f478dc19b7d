"""Known spaces, code points and PNG's colour tags, against colour-science."""

import colour as colour_science
import numpy as np
import pytest

from ingest import colour
from ingest.encoding import SPACES, code_point_encoding, gamma_encoding, known_encoding
from ingest.errors import PhotoError

CODED = np.arange(256) / 255.0


def lab(encoding, codes):
    linear = encoding.curve[codes, np.arange(3)].astype(float)
    return colour.xyz_to_lab(linear @ encoding.to_xyz.T)


@pytest.mark.parametrize("name", SPACES)
def test_known_spaces_equal_those_of_colour_science(name):
    codes = np.random.default_rng(2).integers(0, 256, (1000, 3))
    space = colour_science.RGB_COLOURSPACES[name]
    xyz = colour_science.RGB_to_XYZ(codes / 255.0, space, apply_cctf_decoding=True)
    # Adobe RGB (1998) prints its matrix with five decimals.
    bound = 5e-3 if name.startswith("Adobe") else 1e-3
    assert np.abs(lab(known_encoding(name, CODED), codes) - colour.xyz_to_lab(xyz)).max() < bound


@pytest.mark.parametrize(
    ("primaries", "transfer", "space", "curve"),
    [
        (9, 1, "ITU-R BT.2020", "ITU-R BT.709"),
        (1, 6, "sRGB", "ITU-R BT.709"),
        (9, 13, "ITU-R BT.2020", "sRGB"),
        (12, 8, "Display P3", None),
    ],
)
def test_code_points_are_those_of_h_273(primaries, transfer, space, curve):
    found = code_point_encoding(primaries, transfer, CODED)
    matrix = colour_science.RGB_COLOURSPACES[space].matrix_RGB_to_XYZ
    assert np.abs(found.to_xyz - matrix).max() < 1e-4
    wanted = CODED
    if curve is not None:
        wanted = colour_science.CCTF_DECODINGS[curve](CODED)
    # colour-science prints BT.709's constants with three decimals, H.273 has them in full.
    assert np.abs(found.curve[:, 1] - wanted).max() < 5e-4


@pytest.mark.parametrize(
    ("primaries", "transfer", "name"),
    [
        (1, 13, "sRGB"),
        (12, 13, "Display P3"),
        (1, 2, "sRGB"),
        (2, 13, "sRGB"),
        (12, 2, "Display P3"),
    ],
)
def test_known_code_points_carry_the_space_s_name(primaries, transfer, name):
    assert code_point_encoding(primaries, transfer, CODED).name == name


def test_unspecified_code_points_say_nothing():
    assert code_point_encoding(2, 2, CODED) is None


@pytest.mark.parametrize(("primaries", "transfer"), [(9, 16), (9, 18), (22, 13), (1, 11), (0, 0)])
def test_code_points_that_no_photo_needs_are_refused(primaries, transfer):
    with pytest.raises(PhotoError, match="HDR" if transfer in (16, 18) else "not for photos"):
        code_point_encoding(primaries, transfer, CODED)


def test_png_tags_alone_and_together():
    assert gamma_encoding(None, None, CODED) is None
    gamma = gamma_encoding(0.45455, None, CODED)
    assert gamma.curve[100, 0] == pytest.approx((100 / 255) ** (1 / 0.45455), abs=1e-6)
    assert np.array_equal(gamma.to_xyz, colour.SRGB_TO_XYZ)
    # ROMM's primaries and D50 white: white must come out as D65.
    romm = gamma_encoding(
        1.0, (0.3457, 0.3585, 0.7347, 0.2653, 0.1596, 0.8404, 0.0366, 0.0001), CODED
    )
    assert colour.xyz_to_lab(romm.to_xyz.sum(axis=1)) == pytest.approx((100, 0, 0), abs=1e-6)


@pytest.mark.parametrize("xy", [(0.0,) * 8, (0.3, 0.0) * 4, (0.3127, 0.329) * 4])
def test_absurd_chromaticities_are_refused(xy):
    with pytest.raises(PhotoError, match="absurd"):
        gamma_encoding(None, xy, CODED)


def test_arrays_are_frozen():
    encoding = known_encoding("sRGB", CODED)
    assert not encoding.curve.flags.writeable
    assert not encoding.to_xyz.flags.writeable
    assert encoding.curve.dtype == np.float32
