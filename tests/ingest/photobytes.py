"""Photo files as bytes for the decoder's tests, and a reader of them."""

import io
import struct
import zlib

import numpy as np
import pillow_heif
from PIL import Image

from ingest import colour
from ingest.decode import read_photo
from ingest.icc import PCS_D50
from tests.ingest.filebytes import (
    SRGB_CURVE,
    curv,
    make_dng,
    make_icc,
    matrix_icc,
)

TO_PCS = colour.bradford(colour.D65, PCS_D50)
P3_ICC = matrix_icc(TO_PCS @ colour.DISPLAY_P3_TO_XYZ, SRGB_CURVE)
ADOBE_ICC = matrix_icc(TO_PCS @ colour.ADOBE_RGB_TO_XYZ, curv(2.19921875))
CMYK_ICC = make_icc([], space=b"CMYK")


def smooth(height=40, width=56):
    """Smooth colours, so that lossy formats keep them; no turn looks like another."""
    y, x = np.mgrid[0:height, 0:width]
    rgb = np.stack([40 + 3 * x, 60 + 4 * y, 200 - x - 2 * y], axis=-1)
    return np.clip(rgb, 0, 255).astype(np.uint8)


PIXELS = smooth()
PIXELS_16 = np.random.default_rng(3).integers(0, 65536, (40, 56, 3), dtype=np.uint16)


def saved(image, kind, **options):
    out = io.BytesIO()
    (image if isinstance(image, Image.Image) else Image.fromarray(image)).save(out, kind, **options)
    return out.getvalue()


def heic(pixels=PIXELS, mode="RGB", **options):
    height, width = pixels.shape[:2]
    picture = pillow_heif.from_bytes(mode, (width, height), pixels.tobytes())
    out = io.BytesIO()
    picture.save(out, quality=100, chroma=444, **options)
    return out.getvalue()


def exif_bytes(**tags):
    exif = Image.Exif()
    sub = exif.get_ifd(0x8769)
    names = {"orientation": 274, "make": 271, "model": 272}
    for name, value in tags.items():
        if name in names:
            exif[names[name]] = value
    for name, tag in {"taken": 36867, "offset": 36881, "space": 40961}.items():
        if name in tags:
            sub[tag] = tags[name]
    if "interop" in tags:
        sub[40965] = {1: tags["interop"], 2: b"0100"}
    return exif.tobytes()


def png_chunk(name, body):
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png_with(*chunks, pixels=PIXELS):
    """A PNG with (name, body) chunks after its header."""
    data = saved(pixels, "PNG")
    return data[:33] + b"".join(png_chunk(*c) for c in chunks) + data[33:]


def png_16(pixels):
    colours = pixels.ndim == 3
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in pixels)
    size = struct.pack(">IIBB3x", pixels.shape[1], pixels.shape[0], 16, 2 if colours else 0)
    chunks = ((b"IHDR", size), (b"IDAT", zlib.compress(rows)), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(png_chunk(*c) for c in chunks)


def jpeg_segment(marker, body):
    return bytes([255, marker]) + struct.pack(">H", len(body) + 2) + body


def flat_dng(camera_rgb, neutral, orientation=1, size=(64, 96)):
    """A flat field of the camera's balanced RGB; the camera's colours are linear sRGB's."""
    raw = np.asarray(camera_rgb) * np.asarray(neutral)
    mosaic = np.empty(size)
    mosaic[0::2, 0::2], mosaic[1::2, 1::2] = raw[0], raw[2]
    mosaic[0::2, 1::2] = mosaic[1::2, 0::2] = raw[1]
    matrix = np.linalg.inv(colour.SRGB_TO_XYZ)
    return make_dng(np.rint(mosaic * 65535).astype(np.uint16), matrix, neutral, orientation)


def reader(tmp_path):
    """A function that writes bytes to a file and reads it as a photo."""

    def read_bytes(data, name="photo.jpg", **options):
        path = tmp_path / name
        path.write_bytes(data)
        return read_photo(path, **options)

    return read_bytes
