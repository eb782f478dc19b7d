"""The photo decoder's colour tags in every format, against colour-science."""

import struct
import zlib

import colour as colour_science
import numpy as np
import pytest

from ingest import colour
from ingest.errors import PhotoError
from tests.ingest.filebytes import (
    curv,
    grey_icc,
    make_tiff,
    table_icc,
)
from tests.ingest.photobytes import (
    ADOBE_ICC,
    P3_ICC,
    PIXELS,
    PIXELS_16,
    exif_bytes,
    heic,
    jpeg_segment,
    png_with,
    reader,
    saved,
)


@pytest.fixture
def read(tmp_path):
    return reader(tmp_path)


# --- colour -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("profile", "name"), [(P3_ICC, "Display P3"), (ADOBE_ICC, "Adobe RGB (1998)")]
)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "HEIC"])
def test_profiles_of_every_format_give_the_colours_of_colour_science(read, kind, profile, name):
    write = heic if kind == "HEIC" else lambda **options: saved(PIXELS, kind, **options)
    data = write(icc_profile=profile)
    photo = read(data)
    assert photo.encoding.name == name
    assert "no profile" not in photo.flags
    codes = photo.pixels[::5, ::5].reshape(-1, 3)
    ours = photo.encoding.curve[codes, np.arange(3)].astype(float) @ photo.encoding.to_xyz.T
    space = colour_science.RGB_COLOURSPACES[name]
    theirs = colour_science.RGB_to_XYZ(codes / 255.0, space, apply_cctf_decoding=True)
    assert np.abs(colour.xyz_to_lab(ours) - colour.xyz_to_lab(theirs)).max() < 5e-3


def test_a_file_that_names_no_profile_is_srgb_with_a_flag(read):
    photo = read(saved(PIXELS, "JPEG"))
    assert photo.encoding.name == "sRGB"
    assert photo.flags == {"no profile"}


@pytest.mark.parametrize(
    ("tags", "name", "flags"),
    [
        ({"space": 1}, "sRGB", set()),
        ({"space": 65535, "interop": "R03"}, "Adobe RGB (1998)", set()),
        ({"space": 65535}, "sRGB", {"no profile"}),
        ({"space": 65535, "interop": "R98"}, "sRGB", {"no profile"}),
    ],
)
def test_exif_colour_space(read, tags, name, flags):
    photo = read(saved(PIXELS, "JPEG", exif=exif_bytes(**tags)))
    assert photo.encoding.name == name
    assert photo.flags == flags


CICP_P3 = (b"cICP", bytes([12, 13, 0, 1]))
ICCP_ADOBE = (b"iCCP", b"x\0\0" + zlib.compress(ADOBE_ICC))
SRGB_CHUNK = (b"sRGB", b"\0")
GAMMA_1 = (b"gAMA", struct.pack(">I", 100000))
CHRM = (b"cHRM", struct.pack(">8I", *(31270, 32900, 64000, 33000, 21000, 71000, 15000, 6000)))


@pytest.mark.parametrize(
    ("chunks", "name"),
    [
        ([CICP_P3, ICCP_ADOBE, SRGB_CHUNK, GAMMA_1], "Display P3"),
        ([ICCP_ADOBE, SRGB_CHUNK, GAMMA_1], "Adobe RGB (1998)"),
        ([SRGB_CHUNK, GAMMA_1, CHRM], "sRGB"),
        ([GAMMA_1, CHRM], "PNG colour tags, gamma 1"),
        ([CHRM], "PNG colour tags, sRGB curve"),
    ],
)
def test_png_colour_chunks_in_the_order_of_the_png_standard(read, chunks, name):
    photo = read(png_with(*chunks))
    assert photo.encoding.name == name
    assert photo.flags == set()


def test_png_gamma_and_primaries_are_used(read):
    encoding = read(png_with(GAMMA_1, CHRM)).encoding
    assert encoding.curve[51] == pytest.approx([0.2] * 3)
    assert np.abs(encoding.to_xyz - colour.ADOBE_RGB_TO_XYZ).max() < 1e-9


def test_grey_profile(read):
    photo = read(saved(PIXELS[:, :, 0], "PNG", icc_profile=grey_icc(curv(1.75))))
    assert photo.encoding.curve[128, 0] == pytest.approx((128 / 255) ** 1.75, abs=1e-6)


def test_table_profile_is_converted_and_flagged(read):
    photo = read(saved(PIXELS, "PNG", icc_profile=table_icc()))
    assert photo.encoding.name == "sRGB"
    assert photo.flags == {"profile converted"}
    deep = read(make_tiff(PIXELS_16, [(34675, "U", table_icc())]))
    assert deep.pixels.dtype == np.uint8
    assert deep.encoding.curve.shape == (256, 3)


def test_heic_code_points(read):
    options = {"color_primaries": 12, "transfer_characteristics": 13, "matrix_coefficients": 6}
    photo = read(heic(save_nclx_profile=True, full_range_flag=1, **options))
    assert photo.encoding.name == "Display P3"


@pytest.mark.parametrize(("transfer", "word"), [(16, "PQ"), (18, "HLG")])
def test_hdr_is_refused(read, transfer, word):
    options = {"color_primaries": 9, "transfer_characteristics": transfer}
    data = heic(save_nclx_profile=True, matrix_coefficients=9, full_range_flag=1, **options)
    with pytest.raises(PhotoError, match=f"{word}.*switch HDR off"):
        read(data)
    with pytest.raises(PhotoError, match=f"{word}.*switch HDR off"):
        read(png_with((b"cICP", bytes([9, transfer, 0, 1]))))


XMP_GAIN = b'<x:xmpmeta xmlns:hdrgm="http://ns.adobe.com/hdr-gain-map/1.0/" hdrgm:Version="1.0"/>'


def test_gain_maps_are_flagged(read):
    plain = saved(PIXELS, "JPEG")
    assert "gain map" not in read(plain).flags
    xmp = jpeg_segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + XMP_GAIN)
    assert "gain map" in read(plain[:2] + xmp + plain[2:]).flags
    apple = jpeg_segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0<a xmlns:HDRGainMap='x'/>")
    several = plain[:2] + jpeg_segment(0xE2, b"MPF\0" + bytes(60)) + plain[2:]
    assert "gain map" not in read(several + plain).flags
    assert "gain map" in read(several + plain[:2] + apple + plain[2:]).flags
    iso = jpeg_segment(0xE2, b"urn:iso:std:iso:ts:21496:-1\0\0\0\0\0")
    assert "gain map" in read(plain[:2] + iso + plain[2:]).flags
    plain = heic()
    assert "gain map" not in read(plain).flags
    box = b"urn:com:apple:photo:2020:aux:hdrgainmap\0"
    free = struct.pack(">I4s", 8 + len(box), b"free") + box
    assert "gain map" in read(plain + free).flags
