"""The few Exif and TIFF tags that matter here, read from bytes with no trust in them.

TIFF 6.0 (directories) and Exif 2.32, CIPA DC-008-2019 (tags). Damaged Exif is no error: what
cannot be read is unknown.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

Value = tuple[int, ...] | bytes

_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 7: 1}  # TIFF 6.0: BYTE, ASCII, SHORT, LONG, UNDEFINED
_LETTERS = {1: "B", 3: "H", 4: "I"}  # the same to `struct`
_MAX_ENTRIES = 2000  # our choice: real files have under 100 in a directory

# Tags: TIFF 6.0, and Exif (CIPA DC-008) from 34665 on.
ORIENTATION = 274
#: What the tag Software of every picture says that this program writes.
SOFTWARE, OURS = 305, "Swatchvault"
_MAKE, _MODEL = 271, 272
_EXIF_IFD, _INTEROP_IFD = 34665, 40965
_TAKEN, _OFFSET_TAKEN, _COLOUR_SPACE = 36867, 36881, 40961


@dataclass(frozen=True)
class Directory:
    """One image file directory. ``places``: offset of each tag's 12-byte entry in the data."""

    tags: Mapping[int, Value]
    places: Mapping[int, int]
    next_offset: int

    def number(self, tag: int, default: int = 0) -> int:
        """First number of ``tag``, or ``default``."""
        value = self.tags.get(tag, ())
        return int(value[0]) if value and not isinstance(value, bytes) else default

    def numbers(self, tag: int) -> tuple[int, ...]:
        """All numbers of ``tag``; empty if it is absent or text."""
        value = self.tags.get(tag, ())
        return () if isinstance(value, bytes) else value

    def text(self, tag: int) -> str:
        """Text of ``tag`` up to its first NUL; empty if absent."""
        value = self.tags.get(tag, b"")
        if not isinstance(value, bytes):
            return ""
        return value.split(b"\0")[0].decode("utf-8", errors="replace")


def byte_order(data: bytes) -> str:
    """``"<"`` or ``">"`` of a TIFF structure; ValueError if it is none."""
    if data[:4] == b"II*\0":
        return "<"
    if data[:4] == b"MM\0*":
        return ">"
    raise ValueError("not a TIFF structure")


def first_directory(data: bytes) -> Directory:
    """The first directory of a TIFF structure; ValueError if damaged."""
    order = byte_order(data)
    try:
        (offset,) = struct.unpack_from(order + "I", data, 4)
    except struct.error as exc:
        raise ValueError("TIFF header cut off") from exc
    return read_directory(data, offset)


def read_directory(data: bytes, offset: int) -> Directory:
    """The directory at ``offset``; values that lie beyond the end are left out.

    Raises ``ValueError`` where the directory itself lies beyond it.
    """
    order = byte_order(data)
    tags: dict[int, Value] = {}
    places: dict[int, int] = {}
    try:
        (count,) = struct.unpack_from(order + "H", data, offset)
        left = len(data)  # overlapping values, a trick of hostile files, soon use this up
        for i in range(min(count, _MAX_ENTRIES)):
            at = offset + 2 + 12 * i
            tag, kind, length = struct.unpack_from(order + "HHI", data, at)
            size = _SIZES.get(kind, 0) * length
            if not 0 < size <= left:
                continue
            start = at + 8 if size <= 4 else struct.unpack_from(order + "I", data, at + 8)[0]
            raw = data[start : start + size]
            if len(raw) < size:
                continue
            left -= size
            places[tag] = at
            letter = _LETTERS.get(kind)
            tags[tag] = struct.unpack(f"{order}{length}{letter}", raw) if letter else raw
        (following,) = struct.unpack_from(order + "I", data, offset + 2 + 12 * count)
    except struct.error as exc:
        raise ValueError("directory cut off") from exc
    return Directory(tags, places, following)


@dataclass(frozen=True)
class Exif:
    """What Exif says. ``space``: "sRGB", "Adobe RGB (1998)" or None; ``orientation``: 1..8;
    ``ours``: this program wrote the picture."""

    orientation: int = 1
    taken_at: str | None = None
    camera: str | None = None
    space: str | None = None
    ours: bool = False


def read_exif(data: bytes | None) -> Exif:
    """Exif facts of a TIFF structure, with or without "Exif\\0\\0" before it. Never raises."""
    if not data:
        return Exif()
    body = data[6:] if data[:6] == b"Exif\0\0" else data
    try:
        main = first_directory(body)
    except ValueError:
        return Exif()
    detail = _sub_directory(body, main, _EXIF_IFD)
    interop = _sub_directory(body, detail, _INTEROP_IFD)
    orientation = main.number(ORIENTATION, 1)
    return Exif(
        orientation if 1 <= orientation <= 8 else 1,
        _taken_at(detail.text(_TAKEN), detail.text(_OFFSET_TAKEN)),
        _camera(main.text(_MAKE), main.text(_MODEL)),
        _space(detail.number(_COLOUR_SPACE), interop.text(1)),
        main.text(SOFTWARE) == OURS,
    )


def _sub_directory(data: bytes, parent: Directory, tag: int) -> Directory:
    offset = parent.number(tag)
    try:
        return read_directory(data, offset) if offset else Directory({}, {}, 0)
    except ValueError:
        return Directory({}, {}, 0)


def _space(colour_space: int, interop: str) -> str | None:
    # Exif 2.32: ColorSpace 1 is sRGB, 65535 uncalibrated; DCF 2.0: R03 is the optional Adobe RGB.
    if colour_space == 1:
        return "sRGB"
    if colour_space == 65535 and interop[:3] == "R03":
        return "Adobe RGB (1998)"
    return None


def _taken_at(taken: str, offset: str) -> str | None:
    try:
        moment = datetime.strptime(taken.strip(), "%Y:%m:%d %H:%M:%S")
    except ValueError:
        return None
    zone = offset.strip()
    good = re.fullmatch(r"[+-](0\d|1[0-4]):[0-5]\d", zone)
    return moment.isoformat() + (zone if good else "")


def _camera(make: str, model: str) -> str | None:
    make, model = clean_text(make), clean_text(model)
    if model.lower().startswith(make.lower()):
        make = ""
    return clean_text(f"{make} {model}") or None


def clean_text(text: str, limit: int = 80) -> str:
    """``text`` on one line: unprintable characters and runs of blanks become one blank."""
    plain = "".join(c if c.isprintable() and c != "�" else " " for c in text)
    return re.sub(r"\s+", " ", plain).strip()[:limit].strip()
