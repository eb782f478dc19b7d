"""The only code that opens photo files: path in, :class:`ingest.model.Photo` out.

The bytes are read once, hashed, and decoded from memory, so the hash is of what was decoded.
Orientation is a view of the decoded array; there is no float copy of a frame anywhere.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

from ingest import colour, encoding, header, icc
from ingest.errors import PhotoError
from ingest.exif import clean_text, read_exif
from ingest.header import MIN_SIDE_PX, Header, check_size, damaged
from ingest.heic_raw import Decoded, decode_heic, decode_raw
from ingest.jpeg import compression_flags, jpeg_header
from ingest.model import Array, Encoding, Photo
from ingest.quiet import captured_stderr, opencv_warnings
from ingest.sniff import file_format

# Our choice: no photo file needs more bytes than this for each pixel allowed (16-bit RGBA).
_MAX_BYTES_PER_PIXEL = 8
_MIN_BYTE_LIMIT = 2**26  # whatever the pixels: our choice
# A phone's JPEG of 200 million pixels (16320 x 12240) is read at half its width and height: whole,
# it would take more memory than a photo may. Our choice.
_HALVED_UP_TO = 1.5
# libjpeg's warnings (jerror.h) that mean missing or wrong pixels; its others are harmless. The
# last is how OpenCV passes on what libtiff found wrong.
_DAMAGE = ("Corrupt JPEG data", "Premature end of JPEG", "Inconsistent progression", "[ERROR:")


def read_photo(path: str | os.PathLike[str], *, max_pixels: int = 150_000_000) -> Photo:
    """Decode the photo at ``path``: pixels (height, width, 3) uint8 or uint16, upright.

    JPEG, PNG, TIFF (8 and 16 bit, RGB and grey), HEIC, and camera raw with the ``raw`` extra.
    Raises PhotoError, one line with the file's name, for anything that is not a whole, still
    picture of known colour, at least 16 pixels on each side and at most ``max_pixels`` in all (two
    thirds of that with 16 bits, half with transparency too or in camera raw). A JPEG in one scan
    may have half as many again: it is then read at half its width and height, and flagged.
    """
    name = clean_text(os.path.basename(os.fspath(path)), 120) or "photo"  # noqa: PTH119
    try:
        data = _read_bytes(path, max_pixels)
        decoded = _decode(data, max_pixels)
        pixels, colours, flags = _colours(decoded)
    except PhotoError as exc:
        raise PhotoError(f"{name}: {exc}") from exc
    except MemoryError as exc:
        raise PhotoError(f"{name}: too little memory for it; save it smaller") from exc
    upright = _upright(pixels, decoded.exif.orientation)
    upright.setflags(write=False)
    return Photo(
        path=os.fspath(path),
        sha256=hashlib.sha256(data).hexdigest(),
        pixels=upright,
        encoding=colours,
        format=decoded.head.format,
        taken_at=decoded.exif.taken_at,
        camera=decoded.exif.camera,
        flags=flags | ({"picture by this program"} if decoded.exif.ours else set()),
    )


def _read_bytes(path: str | os.PathLike[str], max_pixels: int) -> bytes:
    limit = max(_MAX_BYTES_PER_PIXEL * max_pixels, _MIN_BYTE_LIMIT)
    try:
        info = os.stat(path)  # noqa: PTH116
        if stat.S_ISDIR(info.st_mode):
            raise PhotoError("this is a folder; name the photo inside it")
        if not stat.S_ISREG(info.st_mode):
            raise PhotoError("this is not an ordinary file; name a photo file")
        if info.st_size > limit:
            raise PhotoError(f"the file has {info.st_size} bytes, at most {limit} are read")
        return Path(path).read_bytes()
    except FileNotFoundError as exc:
        raise PhotoError("there is no such file; check the name and folder") from exc
    except PermissionError as exc:
        raise PhotoError("the file may not be read; change its permissions") from exc
    except PhotoError:
        raise
    except (OSError, ValueError) as exc:
        reason = clean_text(getattr(exc, "strerror", None) or str(exc))
        raise PhotoError(f"the file cannot be read ({reason}); copy it again") from exc


def _decode(data: bytes, max_pixels: int) -> Decoded:
    kind = file_format(data)
    if kind == "HEIC":
        return decode_heic(data, max_pixels)
    if kind == "raw":
        return decode_raw(data, max_pixels)
    readers = {"JPEG": jpeg_header, "PNG": header.png_header, "TIFF": header.tiff_header}
    head = readers[kind](data)
    most = int(max_pixels * _HALVED_UP_TO) if head.one_scan else max_pixels
    check_size(head.width, head.height, most, (3 + head.alpha) * head.bits // 8)
    if head.width * head.height > max_pixels:
        head = replace(head, width=-(-head.width // 2), height=-(-head.height // 2), halved=True)
    return Decoded(head, _decode_cv2(data, head), read_exif(head.exif))


# ---------------------------------------------------------------------------------------------
# JPEG, PNG, TIFF
# ---------------------------------------------------------------------------------------------


def _decode_cv2(data: bytes, head: Header) -> Array:
    import cv2

    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    if head.format == "PNG":
        flags |= cv2.IMREAD_ANYDEPTH
    coded = _without_orientation(data, head) if head.format == "TIFF" else data
    # For 16-bit TIFF the library gives wrong pixels in RGB order, and right ones as stored.
    as_stored = head.format == "TIFF" or head.alpha or head.halved
    if as_stored:
        flags = cv2.IMREAD_UNCHANGED
    if head.halved:
        flags = cv2.IMREAD_REDUCED_COLOR_2 | cv2.IMREAD_IGNORE_ORIENTATION
    pixels = _jpeg_in_place(data, head, flags) if head.format == "JPEG" else None
    if pixels is None:
        with captured_stderr() as said, opencv_warnings():
            try:
                pixels = cv2.imdecode(np.frombuffer(coded, np.uint8), flags)
            except cv2.error:
                pixels = None
        if pixels is None or pixels.shape[:2] != (head.height, head.width):
            raise damaged(head.format)
        _refuse_reported_damage(said.text, data, head)
    pixels = _rgb_view(pixels, head) if as_stored else pixels
    if pixels.dtype != (np.uint16 if head.bits == 16 else np.uint8):
        raise damaged(head.format)
    return np.asarray(pixels)


def _jpeg_in_place(data: bytes, head: Header, flags: int) -> Array | None:
    """Pixels decoded into memory of ours; ``None`` where that cannot be, or anything was said.

    What is decoded from memory is handed over as a copy, in twice the time and memory; only what
    is read by a name goes where it is told to. The name is of a file that lies in memory.
    """
    if sys.platform != "linux":
        return None
    import cv2

    pixels = np.empty((head.height, head.width, 3), np.uint8)
    # A failure is not told of: then the end, which is written last, is as it was.
    end = pixels[-1, -MIN_SIDE_PX:]
    before = os.urandom(end.size)
    end[:] = np.frombuffer(before, np.uint8).reshape(end.shape)
    try:
        number = os.memfd_create("photo")
        with os.fdopen(number, "wb") as file:
            file.write(data)
            file.flush()
            with captured_stderr() as said, opencv_warnings():
                done = cv2.imread(f"/proc/self/fd/{number}", pixels, flags)
    except (OSError, cv2.error):
        return None
    whole = done is pixels and end.tobytes() != before and not said.text
    return pixels if whole else None


def _without_orientation(data: bytes, head: Header) -> bytes | bytearray:
    # The TIFF decoder turns some kinds by itself; with 1 in the tag it turns none.
    if head.orientation_at is None:
        return data
    copy = bytearray(data)
    one = b"\1\0\0\0" if data[:2] == b"II" else b"\0\1\0\0"
    copy[head.orientation_at + 8 : head.orientation_at + 12] = one
    return copy


def _rgb_view(pixels: Array, head: Header) -> Array:
    """Stored grey, BGR or BGRA as an RGB view; PhotoError if really transparent."""
    if pixels.ndim == 2:
        return np.broadcast_to(pixels[:, :, None], (*pixels.shape, 3))
    if pixels.shape[2] == 4 and pixels[:, :, 3].min() < np.iinfo(pixels.dtype).max:
        raise PhotoError(
            f"parts of the {head.format} are transparent, so their colour is unknown; "
            "save it without transparency"
        )
    return pixels[:, :, 2::-1]


def _refuse_reported_damage(said: str, data: bytes, head: Header) -> None:
    """PhotoError if a library saw damage; zeros before a JPEG's end marker are padding."""
    for line in said.splitlines():
        padding = re.match(r"Corrupt JPEG data: (\d+) extraneous bytes before marker 0xd9", line)
        if padding:
            end = data.find(b"\xff\xd9", head.scan_at)
            if end > 0 and not any(data[end - int(padding[1]) : end]):
                continue
        if any(mark in line for mark in _DAMAGE):
            raise damaged(head.format)


# ---------------------------------------------------------------------------------------------
# Colour and orientation
# ---------------------------------------------------------------------------------------------


def _colours(decoded: Decoded) -> tuple[Array, Encoding, frozenset[str]]:
    """Pixels, their encoding and the flags, from the tags in the order in which they count."""
    head, pixels = decoded.head, decoded.pixels
    flags = {"gain map"} if head.gain_map else set()
    flags |= {"read at half size"} if head.halved else set()
    flags |= compression_flags(head.luma_sum)
    if decoded.encoding is not None:
        return pixels, decoded.encoding, frozenset({"raw"})
    levels = 256 if pixels.dtype == np.uint8 else 65536
    coded = np.minimum(np.arange(levels) / (decoded.top_code or levels - 1), 1.0)
    if head.cicp is not None:
        encoding.refuse_hdr_transfer(head.cicp[1])
    # PNG 3rd edition, 4.3: cICP before iCCP before sRGB before gAMA; HEIF: ICC before nclx.
    found = None
    if head.cicp is not None and (head.format == "PNG" or head.icc is None):
        found = encoding.code_point_encoding(*head.cicp, coded)
    if found is None and head.icc is not None:
        return _profile_colours(head, pixels, coded, flags)
    if found is None and head.srgb:
        found = encoding.known_encoding("sRGB", coded)
    if found is None:
        found = encoding.gamma_encoding(head.gamma, head.chromaticities, coded)
    if found is None and decoded.exif.space is not None:
        found = encoding.known_encoding(decoded.exif.space, coded)
    if found is None:
        flags.add("no profile")
        found = encoding.known_encoding("sRGB", coded)
    return pixels, found, frozenset(flags)


def _profile_colours(
    head: Header, pixels: Array, coded: colour.Floats, flags: set[str]
) -> tuple[Array, Encoding, frozenset[str]]:
    data = head.icc or b""
    profile = icc.parse_profile(data)
    if (profile.space == "GRAY") != head.grey:
        is_for, has = ("grey", "RGB") if profile.space == "GRAY" else ("RGB", "grey")
        raise PhotoError(
            f"its colour profile is for {is_for} but its pixels are {has}; {encoding.SAVE_AGAIN}"
        )
    found = icc.profile_encoding(profile, coded)
    if found is None:
        pixels = icc.convert_to_srgb(pixels, data)
        flags.add("profile converted")
        found = encoding.known_encoding("sRGB", np.arange(256) / 255.0)
    return pixels, found, frozenset(flags)


def _upright(pixels: Array, orientation: int) -> Array:
    """A view of ``pixels`` turned and mirrored as Exif's orientation 1..8 says."""
    if orientation >= 5:
        pixels = pixels.swapaxes(0, 1)
    # Exif 2.32, tag 274: where the stored first row and column belong.
    down = -1 if orientation in (3, 4, 7, 8) else 1
    across = -1 if orientation in (2, 3, 6, 7) else 1
    return pixels[::down, ::across]
