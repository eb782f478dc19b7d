"""What the photo decoder refuses, and in which words."""

import io
import os
import struct
import zlib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from ingest.decode import read_photo
from ingest.errors import PhotoError
from tests.ingest.filebytes import (
    curv,
    grey_icc,
    make_tiff,
)
from tests.ingest.photobytes import (
    CMYK_ICC,
    P3_ICC,
    PIXELS,
    PIXELS_16,
    exif_bytes,
    heic,
    jpeg_segment,
    png_chunk,
    png_with,
    reader,
    saved,
    smooth,
)


@pytest.fixture
def read(tmp_path):
    return reader(tmp_path)


# --- what is refused --------------------------------------------------------------------------


def jpeg_of_size(width, height):
    data = bytearray(saved(PIXELS, "JPEG"))
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def png_of_size(width, height):
    size = struct.pack(">IIBB3x", width, height, 8, 2)
    body = png_chunk(b"IDAT", zlib.compress(bytes(1000)))
    return b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", size) + body + png_chunk(b"IEND", b"")


def tiff_of_size(width, height):
    return make_tiff(PIXELS, [(256, "I", [width]), (257, "I", [height])])


def animated_png():
    frames = [Image.fromarray(PIXELS), Image.fromarray(PIXELS[::-1].copy())]
    return saved(frames[0], "PNG", save_all=True, append_images=frames[1:])


def two_page_tiff():
    return saved(
        Image.fromarray(PIXELS), "TIFF", save_all=True, append_images=[Image.fromarray(PIXELS)]
    )


CMYK = Image.fromarray(PIXELS).convert("CMYK")

REFUSED = {
    "empty": (b"", "empty"),
    "text": (b"hello, this is only some text\n" * 20, "not a picture"),
    "one byte": (b"\xff", "not a picture"),
    "SVG": (b'<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg"/>', "an SVG"),
    "PDF": (b"%PDF-1.7\n", "a PDF"),
    "GIF": (saved(Image.fromarray(PIXELS).quantize(16), "GIF"), "a GIF"),
    "BMP": (saved(PIXELS, "BMP"), "a BMP"),
    "WebP": (saved(PIXELS, "WEBP"), "a WebP"),
    "film": (b"\0\0\0\x18ftypisom\0\0\0\0isommp42", "film"),
    "AVIF": (b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf", "AVIF"),
    "CMYK JPEG": (saved(CMYK, "JPEG"), "CMYK"),
    "CMYK TIFF": (saved(CMYK, "TIFF"), "CMYK"),
    "Lab TIFF": (make_tiff(PIXELS, photometric=8), "Lab"),
    "palette TIFF": (saved(Image.fromarray(PIXELS).quantize(16), "TIFF"), "palette"),
    "planar 16-bit TIFF": (make_tiff(PIXELS_16, [(284, "H", [2])]), "channels apart"),
    "inverted TIFF": (make_tiff(PIXELS[:, :, 0], photometric=0), "inverted"),
    "float TIFF": (saved(Image.fromarray(PIXELS[:, :, 0].astype(np.float32)), "TIFF"), "whole"),
    "two-page TIFF": (two_page_tiff(), "several"),
    "animated PNG": (animated_png(), "animated"),
    "profile of CMYK": (saved(PIXELS, "JPEG", icc_profile=CMYK_ICC), "for CMYK"),
    "profile of grey": (saved(PIXELS, "PNG", icc_profile=grey_icc(curv())), "for grey but"),
    "grey with RGB": (saved(PIXELS[:, :, 0], "JPEG", icc_profile=P3_ICC), "for RGB but"),
    "damaged profile": (saved(PIXELS, "JPEG", icc_profile=P3_ICC[:200]), "profile is damaged"),
    "profile bomb": (
        png_with((b"iCCP", b"x\0\0" + zlib.compress(bytes(50_000_000)))),
        "more than any photo",
    ),
    "cut PNG": (saved(PIXELS, "PNG")[:-20], "the PNG is cut off;"),
    "bad zlib": (png_with((b"iCCP", b"x\0\0nonsense")), "profile is damaged"),
    "huge PNG": (png_of_size(30000, 30000), "30000 x 30000 pixels, more than 150000000"),
    "huge JPEG": (jpeg_of_size(30000, 30000), "30000 x 30000"),
    "huge TIFF": (tiff_of_size(30000, 30000), "30000 x 30000"),
    "large lie JPEG": (jpeg_of_size(9000, 9000), "cut off or damaged"),
    "large lie PNG": (png_of_size(9000, 9000), "cut off or damaged"),
    "tiny": (saved(PIXELS[:15, :15], "PNG"), "at least 16 x 16"),
    "no height": (jpeg_of_size(56, 0), "at least 16"),
    "BigTIFF": (b"II+\0\x08\0\0\0" + bytes(20), "BigTIFF"),
    "raw that is none": (b"FUJIFILMCCD-RAW " + bytes(200), "camera raw file is damaged"),
}


@pytest.mark.parametrize(("data", "words"), REFUSED.values(), ids=REFUSED.keys())
def test_refused_in_one_line_with_the_name_and_nothing_else_on_screen(read, capfd, data, words):
    with pytest.raises(PhotoError, match=words) as caught:
        read(data, "my skein.jpg")
    message = str(caught.value)
    assert message.startswith("my skein.jpg: ")
    assert "\n" not in message
    assert ";" in message  # what was found; what to do
    assert capfd.readouterr() == ("", "")


def test_max_pixels_is_the_callers(read):
    data = saved(PIXELS, "PNG")
    read(data, max_pixels=40 * 56)
    with pytest.raises(PhotoError, match="56 x 40 pixels, more than 2239"):
        read(data, max_pixels=40 * 56 - 1)
    with pytest.raises(PhotoError, match="56 x 40 pixels, more than 2239"):
        read(heic(), max_pixels=40 * 56 - 1)


WHOLE = {
    "JPEG": saved(PIXELS, "JPEG", quality=95, exif=exif_bytes(orientation=6)),
    "progressive": saved(PIXELS, "JPEG", quality=95, progressive=True),
    "PNG": saved(PIXELS, "PNG"),
    "TIFF": saved(PIXELS, "TIFF"),
    "TIFF lzw": saved(PIXELS, "TIFF", compression="tiff_lzw"),
    "TIFF16": make_tiff(PIXELS_16),
    "HEIC": heic(),
}


@pytest.mark.parametrize("kind", WHOLE)
def test_a_file_cut_off_anywhere_is_refused(read, capfd, kind):
    whole = WHOLE[kind]
    read(whole)
    cuts = {*range(1, 40), len(whole) - 1, len(whole) - 2, len(whole) - 10, len(whole) - 13}
    cuts |= set(np.linspace(40, len(whole) - 20, 40).astype(int).tolist())
    # The last chunk of a PNG is empty; of it and of a TIFF's end every byte is needed here.
    for cut in sorted(cuts):
        with pytest.raises(PhotoError):
            read(whole[:cut])
    assert capfd.readouterr() == ("", "")


def test_a_cut_jpeg_with_a_thumbnail_or_an_end_marker_is_still_refused(read, capfd):
    thumbnail = saved(PIXELS[:16, :16], "JPEG")
    plain = saved(smooth(200, 200), "JPEG", quality=95)
    whole = plain[:2] + jpeg_segment(0xE1, b"Exif\0\0" + thumbnail) + plain[2:]
    assert read(whole).width == 200
    half = whole[: len(whole) // 2]
    for cut in (half, half + b"\xff\xd9", half + thumbnail):
        with pytest.raises(PhotoError, match="cut off or damaged"):
            read(cut)
    assert capfd.readouterr() == ("", "")


def test_damage_inside_a_jpeg_is_refused_and_padding_is_not(read, capfd):
    whole = saved(smooth(200, 200), "JPEG", quality=95)
    middle = len(whole) // 2
    with pytest.raises(PhotoError, match="cut off or damaged"):
        read(whole[:middle] + bytes(300) + whole[middle + 300 :])
    assert read(whole[:-2] + bytes(64) + whole[-2:]).width == 200
    assert read(whole + b"trailing bytes of another program").width == 200
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("compression", ["tiff_lzw", "tiff_adobe_deflate", "jpeg"])
def test_damage_inside_a_tiff_is_refused(read, capfd, compression):
    whole = saved(PIXELS, "TIFF", compression=compression)
    assert read(whole).width == 56
    with Image.open(io.BytesIO(whole)) as image:
        (start,), (count,) = image.tag_v2[273], image.tag_v2[279]
    if compression == "jpeg":
        start, count = start + count // 2, 200
    with pytest.raises(PhotoError, match="TIFF is cut off or damaged"):
        read(whole[: start + 30] + bytes(count - 60) + whole[start + count - 30 :])
    assert capfd.readouterr() == ("", "")


def test_a_harmless_warning_of_the_library_is_no_damage(read, capfd):
    data = bytearray(saved(PIXELS, "JPEG"))
    data[11] = 9  # JFIF's major version
    assert read(data).width == 56
    assert capfd.readouterr() == ("", "")


def test_threads_decode_side_by_side_and_their_words_are_kept_apart(tmp_path, capfd):
    whole = saved(smooth(200, 200), "JPEG", quality=95)
    bad = whole[: len(whole) // 2] + b"\xff\xd9"
    for i in range(16):
        (tmp_path / f"{i}.jpg").write_bytes(bad if i % 2 else whole)

    def outcome(i):
        os.write(2, b"a word of our own\n")
        try:
            return read_photo(tmp_path / f"{i}.jpg").width
        except PhotoError:
            return "refused"

    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(outcome, range(16))) == [200, "refused"] * 8
    assert capfd.readouterr().err == "a word of our own\n" * 16


def test_no_file_folder_device_and_odd_names(tmp_path):
    with pytest.raises(PhotoError, match=r"^gone\.jpg: there is no such file"):
        read_photo(tmp_path / "gone.jpg")
    with pytest.raises(PhotoError, match="this is a folder"):
        read_photo(tmp_path)
    with pytest.raises(PhotoError, match="cannot be read"):
        read_photo("a\0b")
    with pytest.raises(PhotoError, match=r"^a b\.jpg: "):
        read_photo(str(tmp_path / "a\nb.jpg"))
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        with pytest.raises(PhotoError, match="not an ordinary file"):
            read_photo(tmp_path / "pipe")


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    path = tmp_path / "locked.jpg"
    path.write_bytes(WHOLE["JPEG"])

    def refuse(self):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)  # a real lock does not stop the superuser
    with pytest.raises(PhotoError, match="may not be read"):
        read_photo(path)


@settings(
    max_examples=120, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.sampled_from(sorted(WHOLE)), st.data())
def test_random_damage_is_an_error_in_words_or_a_picture(tmp_path, kind, data):
    damaged = bytearray(WHOLE[kind])
    for _ in range(data.draw(st.integers(1, 8))):
        at = data.draw(st.integers(0, min(len(damaged), 700) - 1))
        damaged[at] = data.draw(st.integers(0, 255))
    path = tmp_path / "damaged"
    path.write_bytes(damaged)
    try:
        photo = read_photo(path, max_pixels=10**6)
    except PhotoError as exc:
        assert "\n" not in str(exc)
    else:
        assert photo.pixels.ndim == 3
        assert photo.pixels.shape[2] == 3
        assert len(photo.encoding.curve) == np.iinfo(photo.pixels.dtype).max + 1
