"""What a photo file says of itself before its pixels are decoded: PNG and TIFF.

Everything here reads bytes that may be damaged or hostile: PhotoError, with a reason and what to
do, is the only error.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass

from ingest.encoding import SAVE_AGAIN
from ingest.errors import PhotoError
from ingest.exif import Directory, first_directory, read_directory
from ingest.icc import MAX_PROFILE_BYTES

SEND_AGAIN = "copy it from the camera again"

# Our choice: smaller than this holds no swatch and no card.
MIN_SIDE_PX = 16


@dataclass(frozen=True)
class Header:
    """Size, depth and tags of a picture file, before orientation.

    ``alpha``: it has a transparency channel or colour. ``cicp``: H.273 primaries and transfer.
    ``gamma``, ``chromaticities``: PNG's gAMA and cHRM (white, red, green, blue xy).
    ``orientation_at``: where a TIFF keeps its orientation's entry. ``scan_at``: where a JPEG's
    first scan begins. ``one_scan``: it holds all its colours in a single one. ``halved``: it is
    to be read at half its size, which ``width`` and ``height`` say. ``luma_sum``: of a JPEG's
    quantisation of lightness.
    """

    format: str
    width: int
    height: int
    bits: int
    grey: bool
    alpha: bool = False
    exif: bytes | None = None
    icc: bytes | None = None
    cicp: tuple[int, int] | None = None
    srgb: bool = False
    gamma: float | None = None
    chromaticities: tuple[float, ...] | None = None
    gain_map: bool = False
    orientation_at: int | None = None
    scan_at: int = 0
    one_scan: bool = False
    halved: bool = False
    luma_sum: int | None = None


def damaged(kind: str) -> PhotoError:
    """The error for a file whose pixels are not all there."""
    return PhotoError(f"the {kind} is cut off or damaged; {SEND_AGAIN}")


def check_size(width: int, height: int, max_pixels: int, pixel_bytes: int = 3) -> None:
    """PhotoError for a picture too large or too small, before it is decoded.

    ``pixel_bytes``: what a decoded pixel takes; above 4 the limit is lower in proportion, so that
    the memory that a photo can ask for has a limit too.
    """
    most = max_pixels * 4 // max(pixel_bytes, 4)
    if width * height > most:
        raise PhotoError(
            f"it is {width} x {height} pixels, more than {most} in all; set the camera to "
            "fewer megapixels, or save it smaller"
        )
    if min(width, height) < MIN_SIDE_PX:
        raise PhotoError(
            f"it is only {width} x {height} pixels; at least {MIN_SIDE_PX} x {MIN_SIDE_PX} "
            "are needed, so send the original photo"
        )


# ---------------------------------------------------------------------------------------------
# PNG
# ---------------------------------------------------------------------------------------------


def png_header(data: bytes) -> Header:
    """Header of a PNG (W3C PNG, 3rd edition), from all its chunks; each CRC is left to libpng.

    Raises :class:`PhotoError` for one that is animated, damaged, or not full-range RGB.
    """
    chunks = _png_chunks(data)
    try:
        width, height, bits, kind = struct.unpack_from(">IIBB", chunks[b"IHDR"])
        gamma = struct.unpack(">I", chunks[b"gAMA"])[0] / 1e5 if b"gAMA" in chunks else None
        xy = struct.unpack(">8I", chunks[b"cHRM"]) if b"cHRM" in chunks else None
        cicp = struct.unpack(">4B", chunks[b"cICP"]) if b"cICP" in chunks else None
        (frames,) = struct.unpack_from(">I", chunks.get(b"acTL", b"\0\0\0\1"))
    except (struct.error, KeyError) as exc:
        raise PhotoError(f"the PNG is damaged; {SEND_AGAIN}") from exc
    if frames > 1:
        raise PhotoError("the PNG is animated; a still photo is needed")
    if cicp and (cicp[2] != 0 or cicp[3] != 1):
        raise PhotoError(f"the PNG's colour tag is not for full-range RGB; {SAVE_AGAIN}")
    return Header(
        "PNG",
        width,
        height,
        16 if bits == 16 else 8,
        kind in (0, 4),
        alpha=kind in (4, 6) or b"tRNS" in chunks,
        exif=chunks.get(b"eXIf"),
        icc=_png_profile(chunks.get(b"iCCP")),
        cicp=(cicp[0], cicp[1]) if cicp else None,
        srgb=b"sRGB" in chunks,
        # Outside this range the value is damage, as libpng judges it too.
        gamma=gamma if gamma and 0.05 <= gamma <= 10.0 else None,
        chromaticities=tuple(v / 1e5 for v in xy) if xy else None,
    )


def _png_chunks(data: bytes) -> dict[bytes, bytes]:
    """Every chunk but the pixels', the first of each name; PhotoError if the end is missing."""
    chunks: dict[bytes, bytes] = {}
    at = 8
    while at + 12 <= len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        name = data[at + 4 : at + 8]
        end = at + 12 + length
        if end > len(data):
            break
        if name == b"IEND":
            return chunks
        if name not in (b"IDAT", b"fdAT"):
            chunks.setdefault(name, data[at + 8 : end - 4])
        at = end
    raise PhotoError(f"the PNG is cut off; {SEND_AGAIN}")


def _png_profile(chunk: bytes | None) -> bytes | None:
    if chunk is None:
        return None
    start = chunk.find(b"\0") + 2
    try:
        inflater = zlib.decompressobj()
        profile = inflater.decompress(chunk[start:], MAX_PROFILE_BYTES + 1)
    except zlib.error as exc:
        raise PhotoError(f"its colour profile is damaged; {SAVE_AGAIN}") from exc
    return profile


# ---------------------------------------------------------------------------------------------
# TIFF
# ---------------------------------------------------------------------------------------------


def tiff_header(data: bytes) -> Header:
    """Header of a TIFF (TIFF 6.0): its only full picture.

    Raises :class:`PhotoError` for one that is damaged, is not RGB or grey of 8 or 16 bits, or keeps
    16-bit channels apart.
    """
    try:
        first = first_directory(data)
        _refuse_second_picture(data, first)
    except ValueError as exc:
        if isinstance(exc, PhotoError):
            raise
        raise PhotoError(f"the TIFF is cut off or damaged; {SEND_AGAIN}") from exc
    width, height = first.number(256), first.number(257)
    parts = first.number(277, 1)
    bits = set(first.numbers(258)) or {1}
    photometric = first.number(262, -1)
    names = {0: "inverted grey", 3: "palette", 5: "CMYK", 8: "Lab", 9: "Lab", 10: "Lab"}
    if photometric not in (1, 2, 6):
        found = names.get(photometric, "of an unknown colour kind")
        raise PhotoError(f"the TIFF is {found}, not RGB or grey; {SAVE_AGAIN}")
    if bits not in ({8}, {16}) or set(first.numbers(339)) - {1}:
        raise PhotoError(f"the TIFF's samples are not whole numbers of 8 or 16 bits; {SAVE_AGAIN}")
    colours = 1 if photometric == 1 else 3
    if parts not in (colours, colours + 1) or (colours == 1 and parts == 2):
        raise PhotoError(f"the TIFF has {parts} channels, not {colours}; {SAVE_AGAIN}")
    if first.number(284, 1) == 2 and bits == {16}:
        # The decoder returns wrong pixels for these without a word.
        raise PhotoError("the TIFF keeps its 16-bit channels apart; save it as interleaved RGB")
    _refuse_missing_strips(data, first)
    profile = first.tags.get(34675)
    return Header(
        "TIFF",
        width,
        height,
        bits.pop(),
        colours == 1,
        alpha=parts > colours,
        exif=data,
        icc=bytes(profile) if profile else None,
        orientation_at=first.places.get(274),
    )


def _refuse_second_picture(data: bytes, first: Directory) -> None:
    offset, seen = first.next_offset, 0
    while offset and seen < 50:
        page = read_directory(data, offset)
        if not page.number(254) & 1:  # NewSubfileType bit 0: a reduced copy
            raise PhotoError("the TIFF holds several pictures; save the one to measure alone")
        offset, seen = page.next_offset, seen + 1


def _refuse_missing_strips(data: bytes, first: Directory) -> None:
    for offset_tag, count_tag in ((273, 279), (324, 325)):
        offsets, counts = first.numbers(offset_tag), first.numbers(count_tag)
        if any(o + c > len(data) for o, c in zip(offsets, counts, strict=False)):
            raise PhotoError(f"the TIFF is cut off; {SEND_AGAIN}")
