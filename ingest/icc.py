"""How an ICC profile becomes an Encoding (ICC.1:2022).

Bytes in, :class:`ingest.model.Encoding` out; no file is opened here. A profile that cannot be
honoured raises PhotoError with what to do instead.
"""

from __future__ import annotations

import io
import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ingest import colour
from ingest.colour import Floats
from ingest.encoding import (
    HDR_TRANSFERS,
    MATRIX_TOLERANCE,
    SAVE_AGAIN,
    SPACES,
    Curve,
    hdr_error,
    known_encoding,
    make_encoding,
)
from ingest.errors import PhotoError
from ingest.model import Array, Encoding

# ICC.1:2022, 7.2.16: the PCS illuminant, to four decimals as the header stores it.
PCS_D50 = np.array([0.9642, 1.0, 0.8249])
PCS_TO_D65 = colour.bradford(PCS_D50, colour.D65)

# Our choice: profiles of printers reach 3 MB; a larger one in a photo is damage or an attack.
MAX_PROFILE_BYTES = 8_000_000
# Our choice: pixels converted at a time, so that no second copy of a large frame is made.
_STRIP_PIXELS = 1 << 20
# Our choice: how near (in linear light) a profile's curve must be to a known space's.
_CURVE_TOLERANCE = 2e-4
# Our choice: white of a matrix profile may miss D50 by this much and still be believed.
_WHITE_TOLERANCE = 0.05

_MATRIX_TAGS = ("rXYZ", "gXYZ", "bXYZ", "rTRC", "gTRC", "bTRC")
_READ = frozenset((*_MATRIX_TAGS, "kTRC", "desc", "cicp"))


@dataclass(frozen=True, eq=False)
class Profile:
    """What an ICC profile says. ``curves`` is None where it works by look-up tables.

    ``space``: "RGB" or "GRAY". ``to_pcs``: (3, 3) linear RGB to the D50 PCS, None for grey.
    """

    description: str
    space: str
    curves: tuple[Curve, ...] | None
    to_pcs: Floats | None


def parse_profile(data: bytes) -> Profile:
    """Read an ICC profile (ICC.1:2022) of a grey or RGB device or colour space.

    Raises PhotoError if it is damaged, absurd, or of another kind.
    """
    if len(data) > MAX_PROFILE_BYTES:
        raise PhotoError(
            f"its colour profile has {len(data)} bytes, more than any photo needs; {SAVE_AGAIN}"
        )
    if len(data) < 132 or data[36:40] != b"acsp":
        raise PhotoError(f"its colour profile is damaged (not an ICC profile); {SAVE_AGAIN}")
    kind, space, pcs = (data[i : i + 4].decode("latin-1").strip() for i in (12, 16, 20))
    if kind not in ("scnr", "mntr", "prtr", "spac"):
        raise PhotoError(
            f"its colour profile is of class {_plain(kind)!r}, no device; {SAVE_AGAIN}"
        )
    if space not in ("RGB", "GRAY"):
        raise PhotoError(
            f"its colour profile is for {_plain(space)}, not RGB or grey; {SAVE_AGAIN}"
        )
    if pcs not in ("XYZ", "Lab"):
        raise PhotoError(f"its colour profile connects by {_plain(pcs)!r}; {SAVE_AGAIN}")
    try:
        return _read_tags(data, space, pcs)
    except (struct.error, IndexError, KeyError, ValueError, OverflowError) as exc:
        if isinstance(exc, PhotoError):
            raise
        raise PhotoError(f"its colour profile is damaged; {SAVE_AGAIN}") from exc


def _read_tags(data: bytes, space: str, pcs: str) -> Profile:
    tags = _tag_table(data)
    _refuse_hdr(tags)
    description = _description(tags.get("desc", b""))
    # ICC.1:2022, 8.10: tables, where there are any, come before matrix and curves.
    if tags.keys() & {"A2B0", "A2B1", "D2B0", "D2B1"}:
        if space == "GRAY":
            raise PhotoError(f"its grey colour profile works by tables; {SAVE_AGAIN}")
        return Profile(description, space, None, None)
    needed = ("kTRC",) if space == "GRAY" else _MATRIX_TAGS
    if pcs != "XYZ" or not tags.keys() >= set(needed):
        raise PhotoError(f"its colour profile has neither matrix nor tables; {SAVE_AGAIN}")
    if space == "GRAY":
        return Profile(description, space, (_curve(tags["kTRC"]),), None)
    to_pcs = np.stack([_xyz(tags[n]) for n in _MATRIX_TAGS[:3]], axis=1)
    if np.abs(to_pcs.sum(axis=1) - PCS_D50).max() > _WHITE_TOLERANCE or (
        abs(np.linalg.det(to_pcs)) < 1e-4
    ):
        raise PhotoError(f"its colour profile has absurd primaries; {SAVE_AGAIN}")
    return Profile(description, space, tuple(_curve(tags[n]) for n in _MATRIX_TAGS[3:]), to_pcs)


def _tag_table(data: bytes) -> dict[str, bytes]:
    (count,) = struct.unpack_from(">I", data, 128)
    if count > 200:
        raise ValueError("too many tags")
    tags = {}
    for i in range(count):
        name, offset, size = struct.unpack_from(">4sII", data, 132 + 12 * i)
        tag = name.decode("latin-1")
        tags[tag] = data[offset : offset + size] if tag in _READ else b""
    return tags


def _refuse_hdr(tags: Mapping[str, bytes]) -> None:
    # ICC.1:2022, 9.2.17 and 10.3: cicp tag, byte 9 is the transfer characteristics.
    cicp = tags.get("cicp", b"")
    if len(cicp) >= 12 and cicp[9] in HDR_TRANSFERS:
        raise hdr_error(cicp[9])


def _xyz(tag: bytes) -> Floats:
    kind, x, y, z = struct.unpack_from(">4s4x3i", tag)
    if kind != b"XYZ ":
        raise ValueError("not an XYZ tag")
    return np.array([x, y, z]) / 65536.0


def _curve(tag: bytes) -> Curve:
    """The curve of a ``curv`` or ``para`` tag (ICC.1:2022, 10.6 and 10.18)."""
    kind = tag[:4]
    if kind == b"curv":
        curve = _sampled_curve(tag)
    elif kind == b"para":
        curve = _parametric_curve(tag)
    else:
        raise ValueError("not a curve")
    with np.errstate(all="ignore"):
        probe = curve(np.linspace(0.0, 1.0, 257))
    rises = np.isfinite(probe).all() and np.diff(probe).min() > -1e-3
    if not rises or probe[-1] - probe[0] < 0.5:
        raise PhotoError(f"its colour profile has an absurd tone curve; {SAVE_AGAIN}")
    return curve


def _sampled_curve(tag: bytes) -> Curve:
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return lambda coded: coded
    if 12 + 2 * count > len(tag):
        raise ValueError("curve beyond the end")
    values = np.frombuffer(tag, dtype=">u2", count=count, offset=12).astype(float)
    if count == 1:
        gamma = float(values[0]) / 256.0
        return lambda coded: np.asarray(coded**gamma)
    nodes = np.linspace(0.0, 1.0, count)
    return lambda coded: np.asarray(np.interp(coded, nodes, values / 65535.0))


def _parametric_curve(tag: bytes) -> Curve:
    (function,) = struct.unpack_from(">H", tag, 8)
    sizes = (1, 3, 4, 5, 7)  # ICC.1:2022, table 68
    if function >= len(sizes):
        raise ValueError("unknown parametric curve")
    p = [v / 65536.0 for v in struct.unpack_from(f">{sizes[function]}i", tag, 12)]
    if function == 0:
        return lambda coded: np.asarray(coded ** p[0])
    g, a, b = p[:3]
    if function in (1, 2):
        start = -b / a if a else 0.0
        offset = p[3] if function == 2 else 0.0
        slope, low, high = 0.0, offset, offset
    else:
        slope, start = p[3], p[4]
        high, low = (p[5], p[6]) if function == 4 else (0.0, 0.0)

    def curve(coded: Floats) -> Floats:
        upper = np.maximum(a * coded + b, 0.0) ** g + high
        return np.where(coded >= start, upper, slope * coded + low)

    return curve


def _description(tag: bytes) -> str:
    """The profile's own name: v2 ``desc`` or v4 ``mluc`` text, cleaned; "" if unreadable."""
    text = ""
    if tag[:4] == b"desc" and len(tag) >= 12:
        (count,) = struct.unpack_from(">I", tag, 8)
        text = tag[12 : 12 + min(count, 100)].decode("latin-1")
    elif tag[:4] == b"mluc" and len(tag) >= 28:
        size, offset = struct.unpack_from(">II", tag, 20)
        text = tag[offset : offset + min(size, 200)].decode("utf-16-be", errors="replace")
    return _plain(text)


def _plain(text: str) -> str:
    return re.sub(r"\s+", " ", "".join(c if c.isprintable() else " " for c in text)).strip()[:80]


def profile_encoding(profile: Profile, coded: Floats) -> Encoding | None:
    """The Encoding of a profile at coded values (levels,) in 0..1; None where it is by tables.

    A space of :data:`SPACES` is recognised by its numbers and then taken from its standard;
    any other matrix profile is used exactly, its D50 PCS adapted to D65 by Bradford.
    """
    if profile.curves is None:
        return None
    curves = np.stack([curve(coded) for curve in profile.curves], axis=1)
    if profile.to_pcs is None:
        # Grey: R = G = B, so every matrix whose white is D65 gives the same XYZ.
        grey = np.repeat(curves, 3, axis=1)
        return make_encoding(_own_name(profile, "grey profile"), grey, colour.SRGB_TO_XYZ)
    to_xyz = PCS_TO_D65 @ profile.to_pcs
    for name, (curve, matrix) in SPACES.items():
        if (
            np.abs(to_xyz - matrix).max() < MATRIX_TOLERANCE
            and np.abs(curves - curve(coded)[:, None]).max() < _CURVE_TOLERANCE
        ):
            return known_encoding(name, coded)
    return make_encoding(_own_name(profile, "profile without a name"), curves, to_xyz)


def _own_name(profile: Profile, nameless: str) -> str:
    """What a profile calls itself; one that has the name of a known space is not that space."""
    name = profile.description or nameless
    return f"{name}, by a profile of its own" if name in SPACES else name


def convert_to_srgb(pixels: Array, profile: bytes) -> Array:
    """(h, w, 3) uint8 or uint16 to uint8 sRGB by the colour library, relative colorimetric.

    Raises :class:`PhotoError` where the library cannot use the profile.
    """
    from PIL import Image, ImageCms

    done = np.empty(pixels.shape, np.uint8)
    rows = max(_STRIP_PIXELS // pixels.shape[1], 1)
    try:
        convert = ImageCms.buildTransform(
            ImageCms.getOpenProfile(io.BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            "RGB",
            "RGB",
            ImageCms.Intent.RELATIVE_COLORIMETRIC,
        )
        for top in range(0, len(pixels), rows):
            strip = pixels[top : top + rows]
            eight = strip if strip.dtype == np.uint8 else (strip >> 8).astype(np.uint8)
            picture = Image.fromarray(np.ascontiguousarray(eight))
            converted = ImageCms.applyTransform(picture, convert)
            done[top : top + rows] = np.asarray(converted)
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError) as exc:
        raise PhotoError(f"its colour profile cannot be used; {SAVE_AGAIN}") from exc
    return done
