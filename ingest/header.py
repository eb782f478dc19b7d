"""What a photo file says of itself before its pixels are decoded: JPEG, PNG and TIFF.

Everything here reads bytes that may be damaged or hostile: PhotoError, with a reason and what to
do, is the only error.
"""

from __future__ import annotations

import re
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
    to be read at half its size, which ``width`` and ``height`` say.
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
# JPEG
# ---------------------------------------------------------------------------------------------

_FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}  # ITU-T T.81, table B.1
_PROGRESSIVE = {0xC2, 0xC6, 0xCA, 0xCE}
#: A marker in coded data: FF 00 is data, FF D0 to D7 a restart, FF FF fills (T.81, B.1.1).
_MARKER = re.compile(rb"\xff+[\x01-\xcf\xd8-\xfe]", re.DOTALL)
#: Scans of a JPEG at most; progressive ones have about ten. Our choice: even in the largest
#: pictures so many empty ones take seconds.
MOST_SCANS = 30
_GAIN_MAP_MARKS = (  # Adobe's and Apple's XMP names, ISO 21496-1
    b"ns.adobe.com/hdr-gain-map",
    b"HDRGainMap",
    b"hdrgainmap",
    b"urn:iso:std:iso:ts:21496",
)


def jpeg_header(data: bytes) -> Header:
    """Header of a JPEG (ITU-T T.81), from its marker segments up to the first scan."""
    frame: tuple[int, int, int, int] | None = None
    exif: bytes | None = None
    chunks: dict[int, bytes] = {}
    gain_map = several = progressive = False
    at = 2
    while True:
        marker, segment, at = _jpeg_segment(data, at)
        if marker in _FRAMES and frame is None:
            frame, progressive = _jpeg_frame(segment), marker in _PROGRESSIVE
        elif marker == 0xE1 and segment[:6] == b"Exif\0\0":
            exif = exif or segment
        elif marker == 0xE2 and segment[:12] == b"ICC_PROFILE\0" and len(segment) > 14:
            chunks[segment[12]] = segment[14:]
        elif marker == 0xE2 and segment[:4] == b"MPF\0":
            several = True
        elif marker == 0xDA:
            first_scan = segment
            break
        if marker in (0xE1, 0xE2):
            gain_map = gain_map or any(mark in segment for mark in _GAIN_MAP_MARKS)
    if frame is None:
        raise PhotoError(f"the JPEG says no size, so it is damaged; {SEND_AGAIN}")
    one_scan = not progressive and first_scan[:1] == bytes([frame[3]])
    if not one_scan:
        _refuse_many_scans(data, at)
    if several and not gain_map:
        # FF D8 cannot stand in coded data, so this is the start of the second picture.
        second = max(data.find(b"\xff\xd8\xff", at), 0)
        tail = data[second : second + 65536] if second else b""
        gain_map = any(mark in tail for mark in _GAIN_MAP_MARKS)
    bits, height, width, parts = frame
    if bits != 8 or parts not in (1, 3):
        kind = "CMYK" if parts == 4 else f"{bits}-bit, {parts}-channel"
        raise PhotoError(f"the JPEG is {kind}, not RGB or grey; {SAVE_AGAIN}")
    icc = b"".join(chunks[i] for i in sorted(chunks)) or None
    return Header(
        "JPEG",
        width,
        height,
        bits,
        parts == 1,
        exif=exif,
        icc=icc,
        gain_map=gain_map,
        scan_at=at,
        one_scan=one_scan,
    )


def _jpeg_segment(data: bytes, at: int) -> tuple[int, bytes, int]:
    """Marker, content and end of the segment at ``at``."""
    cut = PhotoError(f"the JPEG is cut off or damaged before its pixels; {SEND_AGAIN}")
    if data[at : at + 1] != b"\xff":
        raise cut
    while data[at : at + 1] == b"\xff":
        at += 1
    if at + 3 > len(data):
        raise cut
    marker = data[at]
    length = int.from_bytes(data[at + 1 : at + 3], "big")
    end = at + 1 + length
    if marker in (0xD8, 0xD9) or length < 2 or end > len(data):
        raise cut
    return marker, data[at + 3 : end], end


def _refuse_many_scans(data: bytes, at: int) -> None:
    """PhotoError if the picture comes in more scans than any program writes.

    Each asks for a pass over the whole picture and may take a few bytes of the file.
    """
    scans = 1
    while (found := _MARKER.search(data, at)) is not None:
        marker = data[found.end() - 1]
        if marker == 0xD9:
            return
        scans += marker == 0xDA
        if scans > MOST_SCANS:
            raise PhotoError(f"the JPEG comes in more than {MOST_SCANS} scans; {SAVE_AGAIN}")
        at = found.end() + int.from_bytes(data[found.end() : found.end() + 2], "big")


def _jpeg_frame(segment: bytes) -> tuple[int, int, int, int]:
    try:
        bits, height, width, parts = struct.unpack_from(">BHHB", segment)
    except struct.error as exc:
        raise PhotoError(f"the JPEG is damaged; {SEND_AGAIN}") from exc
    return bits, height, width, parts


# ---------------------------------------------------------------------------------------------
# PNG
# ---------------------------------------------------------------------------------------------


def png_header(data: bytes) -> Header:
    """Header of a PNG (W3C PNG, 3rd edition), from all its chunks; each CRC is left to libpng."""
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
    """Header of a TIFF (TIFF 6.0): its only full picture."""
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
