"""The photo decoder: formats, turns and facts, against Pillow."""

import hashlib
import io
import os
import sys
from pathlib import Path

import colour as colour_science
import numpy as np
import pytest
from PIL import Image, ImageOps

from ingest import colour
from ingest.decode import read_photo
from ingest.errors import PhotoError
from tests.ingest.filebytes import (
    make_tiff,
)
from tests.ingest.photobytes import PIXELS, PIXELS_16, exif_bytes, heic, png_16, reader, saved


@pytest.fixture
def read(tmp_path):
    return reader(tmp_path)


# --- the same pixels in every format ----------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "kind", "bound"),
    [
        (saved(PIXELS, "JPEG", quality=100, subsampling=0), "JPEG", 3),
        (saved(PIXELS, "JPEG", quality=100, subsampling=0, progressive=True), "JPEG", 3),
        (saved(PIXELS, "PNG"), "PNG", 0),
        (saved(PIXELS, "TIFF"), "TIFF", 0),
        (saved(PIXELS, "TIFF", compression="tiff_lzw"), "TIFF", 0),
        (saved(PIXELS, "TIFF", compression="tiff_adobe_deflate"), "TIFF", 0),
        (make_tiff(PIXELS), "TIFF", 0),
        (make_tiff(PIXELS, order=">"), "TIFF", 0),
        (heic(), "HEIC", 3),
    ],
)
def test_the_same_pixels_come_out_of_every_8_bit_format(read, data, kind, bound):
    photo = read(data, "misleading.gif")
    assert photo.format == kind
    assert photo.pixels.dtype == np.uint8
    assert photo.encoding.curve.shape == (256, 3)
    assert np.abs(photo.pixels.astype(int) - PIXELS).max() <= bound


@pytest.mark.parametrize(
    "data",
    [png_16(PIXELS_16), make_tiff(PIXELS_16), make_tiff(PIXELS_16, order=">")],
    ids=["PNG", "TIFF little end", "TIFF big end"],
)
def test_sixteen_bits_are_kept(read, data):
    photo = read(data)
    assert photo.pixels.dtype == np.uint16
    assert np.array_equal(photo.pixels, PIXELS_16)
    assert photo.encoding.curve.shape == (65536, 3)


@pytest.mark.parametrize("pixels", [PIXELS, PIXELS_16, PIXELS_16[:, :, 0]])
def test_tiff_in_several_strips_of_uneven_height(read, pixels):
    row = pixels[0].nbytes
    starts = list(range(0, 40, 9))
    tags = [
        (278, "I", [9]),
        (273, "I", [8 + row * s for s in starts]),
        (279, "I", [row * min(9, 40 - s) for s in starts]),
    ]
    wanted = pixels if pixels.ndim == 3 else np.repeat(pixels[:, :, None], 3, axis=2)
    assert np.array_equal(read(make_tiff(pixels, tags)).pixels, wanted)


def test_ten_bit_heic_keeps_its_depth_and_its_white(read):
    pixels = np.full((40, 56, 3), 65535, np.uint16)
    pixels[:, :28] = 128 * 257
    photo = read(heic(pixels, "RGB;16"))
    assert photo.pixels.dtype == np.uint16
    linear = photo.encoding.curve[photo.pixels[20, [10, 50], 0], 0]
    wanted = colour_science.models.eotf_sRGB(np.array([128 / 255, 1.0]))
    assert linear == pytest.approx(wanted, abs=0.004)
    assert photo.encoding.curve[1023 << 6] == pytest.approx([1, 1, 1], abs=1e-7)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_grey_becomes_three_equal_channels(read, kind):
    grey = PIXELS[:, :, 0]
    photo = read(saved(grey, kind))
    assert photo.pixels.shape == (40, 56, 3)
    assert np.abs(photo.pixels.astype(int) - grey[:, :, None]).max() <= (kind == "JPEG") * 4


@pytest.mark.parametrize("write", [png_16, make_tiff])
def test_sixteen_bit_grey(read, write):
    grey = PIXELS_16[:, :, 1]
    photo = read(write(grey))
    assert photo.pixels.dtype == np.uint16
    assert np.array_equal(photo.pixels, np.repeat(grey[:, :, None], 3, axis=2))


def test_palette_png_is_spread_out(read):
    image = Image.fromarray(PIXELS).quantize(64)
    assert np.array_equal(read(saved(image, "PNG")).pixels, np.asarray(image.convert("RGB")))


def opaque(alpha=255):
    out = np.dstack([PIXELS, np.full(PIXELS.shape[:2], 255, np.uint8)])
    out[3, 4, 3] = alpha
    return out


@pytest.mark.parametrize("write", [
    lambda a: saved(a, "PNG"), lambda a: saved(a, "TIFF"), lambda a: heic(a, "RGBA"),
    lambda a: make_tiff(a.astype(np.uint16) * 257, [(338, "H", [2])]),
], ids=["PNG", "TIFF", "HEIC", "TIFF 16"])  # fmt: skip
def test_an_opaque_alpha_is_dropped_and_a_real_one_refused(read, write):
    photo = read(write(opaque()))
    scale = 257 if photo.pixels.dtype == np.uint16 else 1
    assert np.abs(photo.pixels // scale - PIXELS.astype(int)).max() <= 3
    with pytest.raises(PhotoError, match="transparent"):
        read(write(opaque(0)))


def test_grey_png_with_alpha(read):
    grey = opaque()[:, :, 2:]
    photo = read(saved(grey, "PNG"))
    assert np.array_equal(photo.pixels, np.repeat(grey[:, :, :1], 3, axis=2))


def test_jpeg_stored_as_rgb_and_jpeg_in_tiff_are_as_pillow_reads_them(read):
    for data in (
        saved(PIXELS, "JPEG", quality=100, keep_rgb=True),
        saved(PIXELS, "TIFF", compression="jpeg", quality=95),
        saved(PIXELS, "JPEG", quality=80, subsampling=2),
    ):
        wanted = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
        assert np.abs(read(data).pixels.astype(int) - wanted).max() <= 1


def test_palette_png_with_a_transparent_colour(read):
    image = Image.fromarray(PIXELS).quantize(64)
    with pytest.raises(PhotoError, match="transparent"):
        read(saved(image, "PNG", transparency=0))


def test_grey_heic(read):
    grey = np.ascontiguousarray(PIXELS[:, :, 0])
    photo = read(heic(grey, "L"))
    assert np.abs(photo.pixels.astype(int) - grey[:, :, None]).max() <= 3


# --- orientation ------------------------------------------------------------------------------

TURNS = range(1, 9)


@pytest.mark.parametrize("orientation", TURNS)
@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "TIFF lzw"])
def test_every_orientation_is_as_pillow_turns_it(read, kind, orientation):
    exif = Image.Exif()
    exif[274] = orientation
    options = {"compression": "tiff_lzw"} if kind == "TIFF lzw" else {}
    if kind == "JPEG":
        options = {"quality": 100}
    data = saved(PIXELS, kind[:4].strip(), exif=exif, **options)
    photo = read(data)
    upright = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))))
    assert np.array_equal(photo.pixels, upright)
    assert (photo.width, photo.height) == (upright.shape[1], upright.shape[0])
    assert not photo.pixels.flags.owndata  # a view, no copy
    assert not photo.pixels.flags.writeable


@pytest.mark.parametrize("orientation", TURNS)
@pytest.mark.parametrize("order", "<>")
def test_every_orientation_of_a_16_bit_tiff(read, order, orientation):
    tag = [(274, "H", [orientation])]
    turned = read(make_tiff(PIXELS_16, tag, order)).pixels
    low = Image.fromarray((PIXELS_16 & 255).astype(np.uint8))
    low.getexif()[274] = orientation
    assert np.array_equal(turned & 255, np.asarray(ImageOps.exif_transpose(low)))


@pytest.mark.parametrize("orientation", TURNS)
def test_heic_is_turned_once(read, orientation):
    exif = exif_bytes(orientation=orientation)
    photo = read(heic(exif=exif))
    image = Image.fromarray(PIXELS)
    image.getexif()[274] = orientation
    upright = np.asarray(ImageOps.exif_transpose(image))
    assert photo.pixels.shape == upright.shape
    assert np.abs(photo.pixels.astype(int) - upright).max() <= 3


# --- what the file says -----------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "HEIC"])
def test_time_and_camera(read, kind):
    exif = exif_bytes(
        make="Lens\x07 Works", model="Lens Works 5\n", taken="2026:02:28 13:14:15", offset="+01:00"
    )
    photo = read(heic(exif=exif) if kind == "HEIC" else saved(PIXELS, kind, exif=exif))
    assert photo.taken_at == "2026-02-28T13:14:15+01:00"
    assert photo.camera == "Lens Works 5"


def test_hash_is_of_the_file(read):
    data = saved(PIXELS, "PNG")
    assert read(data).sha256 == hashlib.sha256(data).hexdigest()


# --- real photographs -------------------------------------------------------------------------

PHOTOS = os.environ.get("SWATCHVAULT_TEST_PHOTOS")


@pytest.mark.skipif(not PHOTOS, reason="SWATCHVAULT_TEST_PHOTOS names no folder of photographs")
def test_real_photographs_decode_as_pillow_decodes_them():
    files = sorted(p for p in Path(PHOTOS or "").iterdir() if p.suffix in (".jpg", ".png"))
    assert files
    for path in files:
        photo = read_photo(path)
        with Image.open(path) as image:
            upright = np.asarray(ImageOps.exif_transpose(image).convert("RGB"))
        assert np.array_equal(photo.pixels, upright), path.name
        white = colour.xyz_to_lab(photo.encoding.to_xyz.sum(axis=1))
        assert white == pytest.approx((100, 0, 0), abs=0.1), path.name


def test_a_jpeg_of_more_pixels_than_allowed_is_read_at_half_size(tmp_path):
    rng = np.random.default_rng(3)
    small = rng.integers(40, 216, (20, 31, 3)).astype(np.uint8)
    coded = np.repeat(np.repeat(small, 2, axis=0), 2, axis=1)[:, :61]  # an odd width
    data = saved(coded, "JPEG", quality=100, subsampling=0, exif=exif_bytes(orientation=6))
    path = tmp_path / "large.jpg"
    path.write_bytes(data)
    whole = read_photo(path)
    assert whole.pixels.shape == (61, 40, 3) and "read at half size" not in whole.flags
    half = read_photo(path, max_pixels=2000)  # 2440 are there
    assert half.pixels.shape == (31, 20, 3) and "read at half size" in half.flags
    assert half.sha256 == whole.sha256
    upright = np.rot90(small, -1)[:-1]  # the last column was cut in two
    assert np.abs(half.pixels[:-1].astype(int) - upright).max() <= 3
    with pytest.raises(PhotoError, match="more than 2250 in all"):
        read_photo(path, max_pixels=1500)
    for other in (
        saved(coded, "JPEG", quality=100, progressive=True),
        saved(coded, "PNG"),
    ):
        path.write_bytes(other)
        with pytest.raises(PhotoError, match="more than 2000 in all"):
            read_photo(path, max_pixels=2000)


JPEGS = {
    "colour": saved(PIXELS, "JPEG", quality=90),
    "whole colour": saved(PIXELS, "JPEG", quality=90, subsampling=0),
    "progressive": saved(PIXELS, "JPEG", quality=90, progressive=True),
    "grey": saved(PIXELS[..., 0], "JPEG", quality=90),
    "turned": saved(PIXELS, "JPEG", quality=90, exif=exif_bytes(orientation=6)),
}


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere JPEGs are decoded from memory")
@pytest.mark.parametrize("data", JPEGS.values(), ids=JPEGS.keys())
def test_a_jpeg_read_in_place_has_the_pixels_of_one_read_from_memory(read, monkeypatch, data):
    import cv2

    from_memory = []
    real = cv2.imdecode
    monkeypatch.setattr(cv2, "imdecode", lambda *a: from_memory.append(1) or real(*a))
    in_place = read(data).pixels
    assert not from_memory
    for harm in (
        lambda *_: (_ for _ in ()).throw(OSError(24, "too many open files")),
        lambda *_: os.open(os.devnull, os.O_RDWR),  # nothing to read: the library tells of no error
    ):
        monkeypatch.setattr(os, "memfd_create", harm)
        assert np.array_equal(read(data).pixels, in_place)
    assert len(from_memory) == 2


def test_a_jpeg_of_which_the_library_complains_is_judged_from_memory(read, monkeypatch):
    import cv2

    from_memory = []
    real = cv2.imdecode
    monkeypatch.setattr(cv2, "imdecode", lambda *a: from_memory.append(1) or real(*a))
    whole = JPEGS["colour"]
    with pytest.raises(PhotoError, match="cut off or damaged"):
        read(whole[:-60])
    assert from_memory
