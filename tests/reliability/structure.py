"""Where the numbers and the parts of picture files lie, for breaking them on purpose.

JPEG (ITU-T T.81), PNG (W3C, 3rd edition), TIFF 6.0 and ISO/IEC 14496-12 boxes (HEIC).
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, field


@dataclass
class Structure:
    """``parts``: (start, end) of segments, chunks, entries or boxes; ``numbers``: (at, size)."""

    parts: list[tuple[int, int]] = field(default_factory=list)
    numbers: list[tuple[int, int]] = field(default_factory=list)
    big: bool = True  # big-endian numbers


def structure(data: bytes) -> Structure:
    """Parts and numbers of a picture file, as far as they can be followed."""
    found = Structure()
    if data[:2] == b"\xff\xd8":
        _jpeg(data, found)
    elif data[:4] == b"\x89PNG":
        _png(data, found)
    elif data[:2] in (b"II", b"MM"):
        _tiff(data, found)
    else:
        _boxes(data, 0, len(data), found)
    return found


def _jpeg(data: bytes, found: Structure) -> None:
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        found.parts.append((at, min(end, len(data))))
        found.numbers.append((at + 2, 2))
        if data[at + 1] in (0xC0, 0xC1, 0xC2):
            found.numbers += [(at + 4, 1), (at + 5, 2), (at + 7, 2), (at + 9, 1), (at + 11, 1)]
        if data[at + 1] == 0xDA:
            found.parts.append((min(end, len(data)), len(data)))
            return
        at = end


def _png(data: bytes, found: Structure) -> None:
    at = 8
    while at + 12 <= len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        found.parts.append((at, min(at + 12 + length, len(data))))
        found.numbers.append((at, 4))
        if data[at + 4 : at + 8] == b"IHDR":
            found.numbers += [(at + 8, 4), (at + 12, 4)]
            found.numbers += [(at + i, 1) for i in range(16, 21)]
        at += 12 + length


def _tiff(data: bytes, found: Structure) -> None:
    order = "<" if data[:2] == b"II" else ">"
    found.big = order == ">"
    (at,) = struct.unpack_from(order + "I", data, 4)
    found.numbers.append((4, 4))
    if at + 2 > len(data):
        return
    (count,) = struct.unpack_from(order + "H", data, at)
    found.numbers.append((at, 2))
    for entry in range(at + 2, min(at + 2 + 12 * count, len(data) - 11), 12):
        found.parts.append((entry, entry + 12))
        found.numbers += [(entry, 2), (entry + 2, 2), (entry + 4, 4), (entry + 8, 4)]


_HOLDERS = {b"meta": 12, b"iprp": 8, b"ipco": 8, b"iinf": 14, b"dinf": 8, b"moov": 8}


def _boxes(data: bytes, at: int, end: int, found: Structure) -> None:
    while at + 8 <= end:
        size = int.from_bytes(data[at : at + 4], "big")
        if size < 8:
            return
        stop = min(at + size, end)
        found.parts.append((at, stop))
        found.numbers.append((at, 4))
        kind = data[at + 4 : at + 8]
        if kind in (b"ispe", b"iloc", b"ipma", b"pitm", b"hvcC", b"infe"):
            found.numbers += [(i, 4) for i in range(at + 8, stop - 3, 4)]
        if kind in _HOLDERS:
            _boxes(data, at + _HOLDERS[kind], stop, found)
        at += size


def with_checksums(data: bytes) -> bytes:
    """A PNG with the checksum of each chunk made right again; any other file as it is."""
    if data[:8] != b"\x89PNG\r\n\x1a\n":
        return data
    fixed, at = bytearray(data), 8
    while at + 12 <= len(data):
        end = at + 8 + int.from_bytes(data[at : at + 4], "big")
        if end + 4 > len(data):
            break
        fixed[end : end + 4] = struct.pack(">I", zlib.crc32(data[at + 4 : end]))
        at = end + 4
    return bytes(fixed)
