"""Pictures made to harm: bombs, absurd tags, and words that would play with a terminal."""

import io
import struct
import subprocess
import sys
import zlib

import numpy as np
import pytest
from PIL import Image

from ingest.errors import PhotoError
from ingest.jpeg import jpeg_header
from swatchvault.archive import FiledPhoto
from swatchvault.batch import Job, measure_one
from swatchvault.filing import Filing
from tests.ingest.filebytes import make_icc, make_tiff, table_icc
from tests.ingest.photobytes import (
    P3_ICC,
    PIXELS,
    exif_bytes,
    flat_dng,
    heic,
    jpeg_segment,
    png_chunk,
    png_with,
    reader,
    saved,
)
from tests.reliability.mutants import LAYOUT, wholes

NASTY = "A\x1b[31m\r\n\x07\x00b‮c\u2028d\x9b2J"


@pytest.fixture
def read(tmp_path):
    return reader(tmp_path)


# --- bombs -----------------------------------------------------------------------------------


def png_bomb(width, height, bits, kind, *chunks):
    """A sound PNG of one black, a thousandth of its pixels in bytes."""
    row = b"\0" + bytes(width * {2: 3, 6: 4, 0: 1}[kind] * bits // 8)
    packer = zlib.compressobj(9)
    body = b"".join(packer.compress(row) for _ in range(height)) + packer.flush()
    size = struct.pack(">IIBB3x", width, height, bits, kind)
    parts = (png_chunk(b"IHDR", size), *chunks, png_chunk(b"IDAT", body), png_chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


@pytest.mark.parametrize(
    ("bits", "kind", "most"),
    [(8, 2, 3000), (16, 2, 2000), (16, 0, 2000), (8, 6, 3000), (16, 6, 1500)],
)
def test_the_more_bytes_a_pixel_takes_the_fewer_are_allowed(read, bits, kind, most):
    with pytest.raises(PhotoError, match=f"more than {most} in all"):
        read(png_bomb(100, most // 100 + 1, bits, kind), max_pixels=3000)
    if kind != 6:  # black and opaque is not what zeros mean there
        assert read(png_bomb(100, most // 100, bits, kind), max_pixels=3000).width == 100


def test_sixteen_bit_tiff_and_raw_have_their_limits(read):
    with pytest.raises(PhotoError, match="more than 2000 in all"):
        read(make_tiff(np.zeros((41, 50, 3), np.uint16)), max_pixels=3000)
    pytest.importorskip("rawpy", reason="camera raw needs the extra 'raw'")
    with pytest.raises(PhotoError, match="more than 3000 in all"):
        read(flat_dng((0.2, 0.2, 0.2), (1, 1, 1)), max_pixels=6000)


PEAK = """
import resource, sys
from pathlib import Path
import cv2, scipy.ndimage
from ingest.pipeline import measure_photo
from swatchvault.archive import FiledPhoto
from swatchvault.batch import Job, measure_one
from tests.reliability.mutants import LAYOUT
measure_one(Job(Path(sys.argv[2]), LAYOUT))
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
print(measure_one(Job(Path(sys.argv[1]), LAYOUT)).error)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before)
"""


@pytest.mark.parametrize(
    ("profile", "most"), [(None, 1.7), (table_icc(20), 2.7)], ids=["plain", "profile by tables"]
)
def test_a_large_picture_takes_little_more_than_its_pixels(tmp_path, profile, most):
    """Twice where its colours are converted, into a second picture."""
    if sys.platform != "linux":
        most = 2.7  # there the decoding library hands its picture over as a copy
    big, small = tmp_path / "big.jpg", tmp_path / "small.jpg"
    Image.new("RGB", (4000, 4000), (120, 118, 116)).save(big, icc_profile=profile)
    small.write_bytes(wholes()["JPEG"][0])
    program = [sys.executable, "-c", PEAK, str(big), str(small)]
    ran = subprocess.run(program, capture_output=True, text=True, check=True)
    error, grown_kb = ran.stdout.splitlines()
    assert error == "None", error
    assert int(grown_kb) * 1024 < most * 4000 * 4000 * 3


def in_scans(more, between=b""):
    """A progressive JPEG of ten scans, the last of which is told ``more`` times again."""
    out = io.BytesIO()
    Image.new("RGB", (64, 64), (120, 118, 116)).save(out, "JPEG", progressive=True)
    whole = out.getvalue()
    last = whole.rindex(b"\xff\xc4")  # its table, then the scan
    return whole[:-2] + (between + whole[last:-2]) * more + b"\xff\xd9"


COMMENT = b"\xff\xfe\x00\x06\xff\xd9\xff\xda"  # an end and a scan that are words only


@pytest.mark.parametrize(("more", "between"), [(21, b""), (21, COMMENT), (5000, b"")])
def test_a_picture_in_many_empty_scans_is_refused_before_it_is_decoded(read, more, between):
    with pytest.raises(PhotoError, match="more than 30 scans"):
        read(in_scans(more, between))


@pytest.mark.parametrize("between", [b"", COMMENT])
def test_as_many_scans_as_are_allowed_are_no_bomb(between):
    assert jpeg_header(in_scans(20, between)).width == 64  # damaged all the same, for the decoder


def test_scans_of_one_channel_each_are_counted_too():
    out = io.BytesIO()
    Image.new("RGB", (64, 64)).save(out, "JPEG", subsampling=0)
    whole = out.getvalue()
    at = whole.index(b"\xff\xda")
    one = b"\xff\xda\x00\x08\x01\x01\x00\x00\x3f\x00" + b"\x00" * 4
    with pytest.raises(PhotoError, match="more than 30 scans"):
        jpeg_header(whole[:at] + one * 31 + b"\xff\xd9")
    assert jpeg_header(whole[:at] + one * 30 + b"\xff\xd9").width == 64


def test_a_profile_of_many_pieces_or_absurd_counts_is_refused(read):
    piece = b"ICC_PROFILE\0" + b"\x01\xff" + bytes(65000)
    many = b"".join(
        jpeg_segment(0xE2, piece[:12] + bytes([n, 255]) + piece[14:]) for n in range(1, 256)
    )
    whole = saved(PIXELS, "JPEG")
    with pytest.raises(PhotoError, match="more than any photo needs"):
        read(whole[:2] + many + whole[2:])
    for at, value in ((128, 2**32 - 1), (128, 199), (136, 2**32 - 1), (140, 2**31)):
        broken = bytearray(P3_ICC)
        broken[at : at + 4] = struct.pack(">I", value)
        try:
            photo = read(saved(PIXELS, "JPEG", icc_profile=bytes(broken)))
        except PhotoError as error:
            assert "profile" in str(error)
        else:
            assert np.isfinite(photo.encoding.curve).all()
    curve = b"curv\0\0\0\0" + struct.pack(">I", 2**32 - 1) + bytes(2000)
    tags = [(n, curve) for n in (b"rTRC", b"gTRC", b"bTRC", b"rXYZ", b"gXYZ", b"bXYZ")]
    with pytest.raises(PhotoError, match="profile is damaged"):
        read(saved(PIXELS, "JPEG", icc_profile=make_icc(tags)))


# --- absurd tags -----------------------------------------------------------------------------


def exif_of(*entries, count=None):
    """Exif with raw 12-byte entries (tag, kind, length, value); ``count`` may lie."""
    table = b"".join(struct.pack("<HHII", *e) for e in entries)
    number = len(entries) if count is None else count
    return b"Exif\0\0II*\0\x08\0\0\0" + struct.pack("<H", number) + table + bytes(4)


ABSURD_EXIF = {
    "65535 entries": exif_of((274, 3, 1, 6), count=65535),
    "an orientation of 70000": exif_of((274, 4, 1, 70000)),
    "a directory that holds itself": exif_of((34665, 4, 1, 8), (40965, 4, 1, 8)),
    "text of four gigabytes": exif_of((271, 2, 2**32 - 1, 8), (272, 2, 2**31, 8)),
    "values far beyond the end": exif_of((36867, 2, 20, 2**32 - 2), (274, 3, 1, 1)),
    "kinds that are none": exif_of((271, 99, 4, 0), (274, 0, 1, 6)),
    "nothing at all": b"Exif\0\0",
    "zeros": b"Exif\0\0" + bytes(60000),
}


@pytest.mark.parametrize("exif", ABSURD_EXIF.values(), ids=ABSURD_EXIF.keys())
def test_absurd_exif_is_unknown_and_no_error(read, exif):
    photo = read(saved(PIXELS, "JPEG", exif=exif))
    assert (photo.camera, photo.taken_at) == (None, None)
    assert (photo.width, photo.height) in ((56, 40), (40, 56))


# --- words -----------------------------------------------------------------------------------


def test_control_characters_in_tags_never_come_out(tmp_path, read):
    exif = exif_bytes(make=NASTY, model=NASTY, taken="2026:03:01\x1b10:00:00", offset="\x1b[2J")
    for data in (
        saved(PIXELS, "JPEG", exif=exif),
        heic(exif=exif),
        png_with((b"eXIf", exif[6:] if exif[:4] == b"Exif" else exif)),
    ):
        photo = read(data)
        assert photo.camera is None or photo.camera.isprintable()
        assert photo.taken_at is None
    named = bytearray(P3_ICC)
    at = named.index(b"a test profile")
    named[at : at + 14] = b"\x1b[31m\r\n\x07\x00\x9b2Jxx"
    assert read(saved(PIXELS, "PNG", icc_profile=bytes(named))).encoding.name.isprintable()
    whole = bytearray(P3_ICC)
    for at in (12, 16, 20):
        whole[at : at + 4] = b"\x1b[2J"
        with pytest.raises(PhotoError) as caught:
            read(saved(PIXELS, "PNG", icc_profile=bytes(whole)))
        assert str(caught.value).isprintable()


def test_a_name_with_control_characters_is_told_on_one_plain_line(tmp_path):
    for content in (b"no picture", wholes()["JPEG"][0][:500]):
        path = tmp_path / f"x{NASTY.replace(chr(0), '')}.jpg"
        path.write_bytes(content)
        error = measure_one(Job(path, LAYOUT)).error
        assert error is not None
        assert error.isprintable()


def test_what_is_said_of_filing_it_is_one_plain_line_too(tmp_path):
    path = tmp_path / f"x{NASTY.replace(chr(0), '')}.jpg"
    filed = Filing(path, FiledPhoto("0" * 64, True, (1,), 1))
    assert filed.words.isprintable()
    assert filed.words.endswith("filed, one swatch")
