"""Writers of small ICC profiles, TIFFs and DNGs for the tests, by the published formats only."""

import struct

import numpy as np

# ICC.1:2022, 7.2.16
D50 = (0.9642, 1.0, 0.8249)


def fixed(value):
    return struct.pack(">i", round(value * 65536))


def curv(*values):
    """A curv tag: nothing for identity, one gamma (u8Fixed8), or a table of 0..1."""
    scale = 256 if len(values) == 1 else 65535
    body = [round(v * scale) for v in values]
    return b"curv\0\0\0\0" + struct.pack(f">I{len(body)}H", len(body), *body)


def para(function, *values):
    return b"para\0\0\0\0" + struct.pack(">HH", function, 0) + b"".join(map(fixed, values))


# IEC 61966-2-1's curve as ICC's third parametric type.
SRGB_CURVE = para(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)


def xyz_tag(values):
    return b"XYZ \0\0\0\0" + b"".join(map(fixed, values))


def desc(text):
    raw = text.encode() + b"\0"
    return b"desc\0\0\0\0" + struct.pack(">I", len(raw)) + raw + bytes(78)


def make_icc(tags, kind=b"mntr", space=b"RGB ", pcs=b"XYZ ", version=0x04300000):
    """An ICC profile of (name, content) tags."""
    table, body = b"", b""
    start = 132 + 12 * len(tags)
    for name, content in tags:
        content = content + bytes(-len(content) % 4)
        table += name + struct.pack(">II", start + len(body), len(content))
        body += content
    head = struct.pack(
        ">I4sI4s4s4s12s4s4sIIIQI",
        start + len(body), b"\0\0\0\0", version, kind, space, pcs, bytes(12), b"acsp",
        b"\0\0\0\0", 0, 0, 0, 0, 0,
    )  # fmt: skip
    head += b"".join(map(fixed, D50))
    head = head.ljust(128, b"\0")
    return head + struct.pack(">I", len(tags)) + table + body


def matrix_icc(to_pcs, *curves, name="a test profile"):
    """A matrix profile: columns of ``to_pcs`` are the colorants; one curve or three."""
    if len(curves) == 1:
        curves = curves * 3
    to_pcs = np.asarray(to_pcs)
    tags = [(b"desc", desc(name)), (b"wtpt", xyz_tag(D50)), (b"cprt", desc("none"))]
    tags += [(c + b"XYZ", xyz_tag(to_pcs[:, i])) for i, c in enumerate((b"r", b"g", b"b"))]
    tags += [(c + b"TRC", curve) for c, curve in zip((b"r", b"g", b"b"), curves, strict=True)]
    return make_icc(tags)


def grey_icc(curve):
    tags = [(b"desc", desc("a grey")), (b"wtpt", xyz_tag(D50)), (b"kTRC", curve)]
    return make_icc(tags, space=b"GRAY")


def table_icc(a_star=0):
    """An RGB profile by look-up table (mft1): Lab = (100 (R+G+B)/3, a_star, 0), all one hue."""
    ramp = bytes(range(256))
    head = b"mft1\0\0\0\0" + bytes([3, 3, 2, 0])
    head += b"".join(map(fixed, (1, 0, 0, 0, 1, 0, 0, 0, 1)))
    grid = b""
    for r in (0, 1):
        for g in (0, 1):
            for b in (0, 1):
                grid += bytes([round(255 * (r + g + b) / 3), 128 + a_star, 128])
    tags = [(b"desc", desc("by table")), (b"wtpt", xyz_tag(D50)), (b"cprt", desc("none"))]
    return make_icc([*tags, (b"A2B0", head + ramp * 3 + grid + ramp * 3)], pcs=b"Lab ")


_SIZES = {
    "B": (1, 1),
    "A": (2, 1),
    "H": (3, 2),
    "I": (4, 4),
    "R": (5, 8),
    "U": (7, 1),
    "S": (10, 8),
}


def make_tiff(pixels, tags=(), order="<", photometric=None):
    """An uncompressed TIFF of (h, w) or (h, w, c) uint8 or uint16.

    ``tags``: (number, letter, values), values None to leave a tag out. Letters: Byte, Ascii,
    sHort, Int (long), Rational and Signed rational as floats, Undefined.
    """
    pixels = np.asarray(pixels)
    parts = pixels.shape[2] if pixels.ndim == 3 else 1
    bits = 8 * pixels.itemsize
    if photometric is None:
        photometric = 2 if parts >= 3 else 1
    entries = {
        256: ("I", [pixels.shape[1]]), 257: ("I", [pixels.shape[0]]), 258: ("H", [bits] * parts),
        259: ("H", [1]), 262: ("H", [photometric]), 273: ("I", [8]), 277: ("H", [parts]),
        278: ("I", [pixels.shape[0]]), 279: ("I", [pixels.nbytes]),
    }  # fmt: skip
    entries.update({number: (letter, values) for number, letter, values in tags})
    entries = {number: entry for number, entry in entries.items() if entry[1] is not None}
    body = pixels.astype(pixels.dtype.newbyteorder(order)).tobytes()
    body += bytes(len(body) % 2)
    start = 8 + len(body)
    beyond = start + 2 + 12 * len(entries) + 4
    table, extra = struct.pack(order + "H", len(entries)), b""
    for number in sorted(entries):
        letter, values = entries[number]
        kind, size = _SIZES[letter]
        raw = _packed(order, letter, values)
        table += struct.pack(order + "HHI", number, kind, len(raw) // size)
        if len(raw) <= 4:
            table += raw.ljust(4, b"\0")
        else:
            table += struct.pack(order + "I", beyond + len(extra))
            extra += raw + bytes(len(raw) % 2)
    head = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(order + "I", start)
    return head + body + table + bytes(4) + extra


def _packed(order, letter, values):
    if letter in "AUB":
        return bytes(values)
    if letter == "R":
        return b"".join(struct.pack(order + "II", round(v * 10**6), 10**6) for v in values)
    if letter == "S":
        return b"".join(struct.pack(order + "ii", round(v * 10**6), 10**6) for v in values)
    return struct.pack(f"{order}{len(values)}{letter}", *values)


def make_dng(mosaic, xyz_to_camera, neutral, orientation=1):
    """An uncompressed 16-bit RGGB DNG (DNG 1.4): black 0, white 65535, one matrix for D65."""
    return make_tiff(
        mosaic,
        [
            (254, "I", [0]), (271, "A", b"Test\0"), (272, "A", b"Camera\0"),
            (274, "H", [orientation]), (33421, "H", [2, 2]), (33422, "B", [0, 1, 1, 2]),
            (50706, "B", [1, 4, 0, 0]), (50707, "B", [1, 1, 0, 0]),
            (50708, "A", b"Test Camera\0"), (50714, "H", [0]), (50717, "I", [65535]),
            (50721, "S", list(np.ravel(xyz_to_camera))), (50728, "R", list(neutral)),
            (50778, "H", [21]),
        ],
        photometric=32803,
    )  # fmt: skip
