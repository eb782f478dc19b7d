"""Small matrix profiles, ICC.1:2022 (version 4), written by hand: sRGB and Display P3."""

from __future__ import annotations

import struct
from collections.abc import Mapping

import numpy as np

from ingest.colour import D50, D65, DISPLAY_P3_TO_XYZ, SRGB_TO_XYZ, Floats, bradford

#: Name and matrix of the spaces a picture can be written in.
SPACES: Mapping[str, tuple[str, Floats]] = {
    "srgb": ("sRGB", SRGB_TO_XYZ),
    "display-p3": ("Display P3", DISPLAY_P3_TO_XYZ),
}


def _fixed(values: Floats) -> bytes:
    """s15Fixed16Number, clause 4.6."""
    return b"".join(struct.pack(">i", round(float(v) * 65536)) for v in np.ravel(values))


def _text(words: str) -> bytes:
    """multiLocalizedUnicodeType, clause 10.15, one record."""
    coded = words.encode("utf-16-be")
    return b"mluc" + struct.pack(">IIIHHII", 0, 1, 12, 0x656E, 0x5553, len(coded), 28) + coded


def display_profile(space: str) -> bytes:
    """The bytes of a display profile for a space: primaries, D65 white, sRGB curve."""
    name, to_xyz = SPACES[space]
    adapt = bradford(D65, D50)
    columns = adapt @ to_xyz
    # IEC 61966-2-1 curve as parametricCurveType 3, clause 10.18.
    curve = b"para" + struct.pack(">IHH", 0, 3, 0)
    curve += _fixed(np.array([2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045]))
    tags = {
        b"desc": _text(name),
        b"cprt": _text("Made by this program; no rights reserved"),
        b"wtpt": b"XYZ " + bytes(4) + _fixed(D50),
        b"chad": b"sf32" + bytes(4) + _fixed(adapt),
        b"rXYZ": b"XYZ " + bytes(4) + _fixed(columns[:, 0]),
        b"gXYZ": b"XYZ " + bytes(4) + _fixed(columns[:, 1]),
        b"bXYZ": b"XYZ " + bytes(4) + _fixed(columns[:, 2]),
        b"rTRC": curve,
        b"gTRC": curve,
        b"bTRC": curve,
    }
    offset = 128 + 4 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for tag, data in tags.items():
        data += bytes(-len(data) % 4)
        table += tag + struct.pack(">II", offset + len(body), len(data))
        body += data
    size = 128 + len(table) + len(body)
    header = struct.pack(">I4sI4s4s4s", size, bytes(4), 0x04400000, b"mntr", b"RGB ", b"XYZ ")
    header += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + _fixed(D50)
    return header.ljust(128, b"\0") + table + body
