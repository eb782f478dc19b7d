"""Pictures broken on purpose: a number and a seed give the same broken file on any machine."""

from __future__ import annotations

import functools
import io
import random
from collections.abc import Callable

import numpy as np
from PIL import Image

from ingest import colour
from ingest.colour import linear_to_srgb
from ingest.model import Layout, Reference, Scale, SwatchRegion
from tests.ingest.filebytes import curv, grey_icc, make_dng, make_tiff, table_icc
from tests.ingest.photobytes import ADOBE_ICC, P3_ICC, exif_bytes, heic, png_16, saved
from tests.reliability.structure import structure, with_checksums

WIDTH, HEIGHT = 320, 224
KINDS = ("JPEG", "PNG", "TIFF", "HEIC", "DNG")
_CARD = ((0.05, 0.1), (0.25, 0.1), (0.25, 0.5), (0.05, 0.5))
_YARN = ((0.4, 0.2), (0.95, 0.2), (0.95, 0.9), (0.4, 0.9))

#: Where card and yarn are in every mutant that still has the whole picture.
LAYOUT = Layout(
    (Reference("card", (_CARD,), (0.18,)),),
    (SwatchRegion("yarn", _YARN),),
    Scale((0.0, 0.5), (1.0, 0.5), 60.0),
)


@functools.cache
def scene() -> np.ndarray:
    """(HEIGHT, WIDTH, 3) linear light: a table, a grey card, wound yarn, a little noise."""
    rng = np.random.default_rng(4)
    light = np.full((HEIGHT, WIDTH, 3), 0.4)
    light[22:112, 16:80] = 0.18
    strand = 0.7 + 0.3 * np.abs(np.sin(np.pi * np.arange(157) / 8.0))
    light[44:201, 128:304] = np.array([0.3, 0.12, 0.05]) * strand[:, None, None]
    light *= np.exp(rng.normal(0, 0.02, (HEIGHT, WIDTH, 1)))
    return np.clip(light, 0, 1)


#: Those of :func:`wholes` that have no colour, so that they are read and not measured.
BLACK_AND_WHITE = frozenset({("JPEG", 3), ("PNG", 4), ("HEIC", 2)})


@functools.cache
def wholes() -> dict[str, list[bytes]]:
    """Sound files of each kind, in several of its forms."""
    coded = linear_to_srgb(scene())
    eight = np.round(coded * 255).astype(np.uint8)
    deep = np.round(coded * 65535).astype(np.uint16)
    grey, picture = eight[:, :, 1].copy(), Image.fromarray(eight)
    exif = exif_bytes(make="Test", model="Camera", taken="2026:03:01 10:00:00", space=1)
    tables = table_icc(20)
    mosaic = np.rint(scene()[:, :, 1] * 65535).astype(np.uint16)
    dng = make_dng(mosaic, np.linalg.inv(colour.SRGB_TO_XYZ), (1, 1, 1))
    long_strips = [(33432, "A", b"a" * 40 + b"\0"), (34675, "U", P3_ICC)]
    return {
        "JPEG": [
            saved(picture, "JPEG", quality=90, exif=exif, icc_profile=P3_ICC),
            saved(picture, "JPEG", quality=90, progressive=True, subsampling=0, exif=exif),
            saved(picture, "JPEG", quality=90, icc_profile=tables, restart_marker_rows=2),
            saved(grey, "JPEG", icc_profile=grey_icc(curv(2.2))),
        ],
        "PNG": [
            saved(picture, "PNG", icc_profile=ADOBE_ICC, exif=exif),
            saved(picture.quantize(64), "PNG", gamma=0.45),
            saved(picture.convert("RGBA"), "PNG"),
            png_16(deep),
            saved(grey, "PNG"),
        ],
        "TIFF": [
            make_tiff(eight, long_strips),
            make_tiff(deep, order=">"),
            saved(picture, "TIFF", compression="tiff_lzw", icc_profile=P3_ICC),
            saved(picture, "TIFF", compression="tiff_adobe_deflate"),
            saved(picture, "TIFF", compression="jpeg"),
        ],
        "HEIC": [
            heic(eight, exif=exif, icc_profile=P3_ICC),
            heic(deep, "RGB;16"),
            heic(grey[:, :, None], "L"),
        ],
        "DNG": [dng],
    }


# ---------------------------------------------------------------------------------------------
# Ways to break a file: each takes bytes and chance, and gives bytes
# ---------------------------------------------------------------------------------------------

Way = Callable[[bytearray, random.Random], bytearray]
_ABSURD = (0, 1, 2, 3, 7, 255, 256, 0x7FFF, 0x8000, 0xFFFF, 0x10000, 0x7FFFFFFF, 0xFFFFFFFF)


def flip_bytes(data: bytearray, rng: random.Random) -> bytearray:
    for _ in range(rng.randint(1, 12)):
        near = len(data) if rng.random() < 0.4 else min(len(data), 900)
        data[rng.randrange(near)] = rng.randrange(256)
    return data


def flip_bits(data: bytearray, rng: random.Random) -> bytearray:
    for _ in range(rng.randint(1, 6)):
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    return data


def cut(data: bytearray, rng: random.Random) -> bytearray:
    return data[: rng.randrange(1, len(data))]


def lengthen(data: bytearray, rng: random.Random) -> bytearray:
    return data + rng.randbytes(rng.randint(1, 2000))


def change_numbers(data: bytearray, rng: random.Random) -> bytearray:
    """Lengths, counts, offsets, sizes and kinds: absurd, off by one, or any."""
    found = structure(bytes(data))
    order = "big" if found.big else "little"
    for at, size in rng.choices(found.numbers, k=rng.randint(1, 3)) if found.numbers else ():
        was = int.from_bytes(data[at : at + size], order)
        some = rng.choice((*_ABSURD, was + 1, was - 1, 2 * was, rng.randrange(2**32)))
        data[at : at + size] = (some % 256**size).to_bytes(size, order)
    return data


def change_names(data: bytearray, rng: random.Random) -> bytearray:
    """A marker, chunk name, tag or box becomes another's of the same file, or none."""
    found = structure(bytes(data))
    if not found.parts:
        return data
    jpeg, tiff = data[:1] == b"\xff", data[:2] in (b"II", b"MM")
    at, size = (1, 1) if jpeg else (0, 2) if tiff else (4, 4)
    (to, _), (of, _) = rng.choices(found.parts, k=2)
    name = data[of + at : of + at + size] if rng.random() < 0.7 else rng.randbytes(size)
    data[to + at : to + at + size] = name
    return data


def move_parts(data: bytearray, rng: random.Random) -> bytearray:
    """A part is doubled, left out, or put elsewhere."""
    found = structure(bytes(data))
    if not found.parts:
        return data
    start, end = rng.choice(found.parts)
    part, way = data[start:end], rng.random()
    rest = data[:start] + data[end:] if way < 0.66 else data
    if way < 0.33:
        return rest
    to = min(rng.choice(found.parts)[0], len(rest))
    return rest[:to] + part + rest[to:]


def splice(data: bytearray, rng: random.Random) -> bytearray:
    """A piece of another sound file, of any kind, over or into this one."""
    other = rng.choice(wholes()[rng.choice(KINDS)])
    start = rng.randrange(len(other))
    piece = other[start : start + rng.randint(1, 4000)]
    at = rng.randrange(len(data))
    return data[:at] + piece + data[at + (len(piece) if rng.random() < 0.6 else 0) :]


WAYS: tuple[Way, ...] = (
    *(flip_bytes, flip_bits, cut, lengthen, change_numbers, change_numbers),
    *(change_names, move_parts, splice),
)


def with_broken_tags(kind: str, rng: random.Random) -> bytes:
    """A sound file around a broken profile or broken Exif."""
    picture = Image.fromarray(np.round(linear_to_srgb(scene()) * 255).astype(np.uint8))
    profile = bytearray(rng.choice((P3_ICC, ADOBE_ICC, table_icc())))
    exif = bytearray(exif_bytes(orientation=6, make="M", model="N", taken="x", interop="R03"))
    for _ in range(rng.randint(1, 3)):
        if rng.random() < 0.5:  # the tables of tags are where the numbers are
            at = 4 * rng.randrange(32, 60)
            profile[at : at + 4] = rng.choice(_ABSURD).to_bytes(4, "big")
        else:
            profile = rng.choice((flip_bytes, flip_bits))(profile, rng)
        exif = rng.choice((flip_bytes, flip_bits))(exif, rng)
    if kind == "HEIC":
        eight = np.asarray(picture)
        return heic(eight, icc_profile=bytes(profile), exif=bytes(exif))
    out = io.BytesIO()
    picture.save(out, kind, icc_profile=bytes(profile), exif=bytes(exif))
    return out.getvalue()


def mutant(number: int, seed: int = 1) -> tuple[str, bytes]:
    """(kind, bytes) of the ``number``-th broken file."""
    rng = random.Random(f"{seed}/{number}")
    kind = rng.choice(KINDS)
    if kind in ("JPEG", "PNG", "HEIC") and rng.random() < 0.2:
        return kind, with_broken_tags(kind, rng)
    data = bytearray(rng.choice(wholes()[kind]))
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        if data:
            data = rng.choice(WAYS)(data, rng)
    done = bytes(data)
    return kind, with_checksums(done) if rng.random() < 0.8 else done
