"""What a JPEG says of itself before its pixels are decoded, and how strongly it is compressed."""

from __future__ import annotations

import re
import struct

from ingest.encoding import SAVE_AGAIN
from ingest.errors import PhotoError
from ingest.header import SEND_AGAIN, Header

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
#: Sum of the example table for luminance, ITU-T T.81 (1992), table K.1: what common writers call
#: quality 50, and scale for other qualities.
SUM_OF_K1 = 3688
#: Of that sum, from which yarn is not judged for evenness: just under quality 50. Solid yarn in
#: the project's rendered photos stays solid down to 50, and got specks of its own at 40 and 30.
STRONG = 1.05
#: The same, from which a file's plain greys are stored too coarsely to correct colours by: just
#: over quality 15. Of 36 rendered pairs the stated 95 % of a difference held in 35 of one frame and
#: 34 of two photos of a locked set-up at 20, in 31 and 29 at 10, where a true 3.8 read 1.1. That
#: the bound lies between is our choice.
BEYOND_USE = 2.85


def jpeg_header(data: bytes) -> Header:
    """Header of a JPEG (ITU-T T.81), from its marker segments up to the first scan.

    Raises :class:`PhotoError` for one that is damaged, is not RGB or grey of 8 bits, or
    comes in more scans than any program writes.
    """
    frame: tuple[int, int, int, int] | None = None
    exif: bytes | None = None
    chunks: dict[int, bytes] = {}
    gain_map = several = progressive = False
    luma: int | None = None
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
        elif marker == 0xDB:
            luma = luma_sum(segment) or luma
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
        luma_sum=luma,
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


def luma_sum(segment: bytes) -> int | None:
    """Sum of the 64 steps of table 0 in the content of a DQT segment; ``None`` if not in it.

    T.81, B.2.4.1: one byte of precision (0: 8 bits, 1: 16) and number, then the steps.
    """
    at = 0
    while at < len(segment):
        wide, number = segment[at] >> 4, segment[at] & 15
        size = 2 if wide else 1
        steps = segment[at + 1 : at + 1 + 64 * size]
        if number == 0 and len(steps) == 64 * size:
            return sum(
                int.from_bytes(steps[k : k + size], "big") for k in range(0, 64 * size, size)
            )
        at += 1 + 64 * size
    return None


def compression_flags(total: int | None) -> frozenset[str]:
    """Whether a table of this sum loses or makes light and dark of the size of strands, and whether
    it leaves colours that mislead."""
    strong = (total or 0) / SUM_OF_K1
    flags = {"strongly compressed": STRONG, "compressed beyond use": BEYOND_USE}
    return frozenset(name for name, least in flags.items() if strong > least)
