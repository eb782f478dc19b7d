"""Pixels of HEIC and camera raw files, from bytes."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace

import numpy as np

from ingest import colour, encoding
from ingest.errors import PhotoError
from ingest.exif import Exif, read_exif
from ingest.header import Header, check_size, damaged
from ingest.model import Array, Encoding
from ingest.quiet import captured_stderr


@dataclass(frozen=True, eq=False)
class Decoded:
    """``pixels`` (h, w, 3) or (h, w), uint8 or uint16, as stored, upright or not, with what the
    file says of their colour."""

    head: Header
    pixels: Array
    exif: Exif
    top_code: int | None = None  # the code that means 1.0 where it is not the largest
    encoding: Encoding | None = None


def decode_heic(data: bytes, max_pixels: int) -> Decoded:
    """The primary picture, turned by libheif as its own properties say; Exif's turn is ignored.

    ISO/IEC 23008-12: irot and imir are what counts, and Exif's orientation only repeats them.
    ``max_pixels``: of the picture. Raises :class:`PhotoError` for one that is larger, damaged or
    partly transparent.
    """
    import pillow_heif

    try:
        with captured_stderr():
            file = pillow_heif.open_heif(data, convert_hdr_to_8bit=False)
            image = file[file.primary_index]
            width, height = image.size
            deep = int(image.info.get("bit_depth", 8)) > 8
            check_size(width, height, max_pixels, 6 if deep else 3)
            pixels = np.asarray(image)
    except PhotoError:
        raise
    except (ValueError, OSError, RuntimeError, EOFError, IndexError, SyntaxError) as exc:
        raise damaged("HEIC") from exc
    info = image.info
    depth = int(info.get("bit_depth", 8))
    if pixels.ndim == 3 and pixels.shape[2] in (2, 4):
        top = np.iinfo(pixels.dtype).max if depth == 8 else _top_code(depth)
        if pixels[:, :, -1].min() < top:
            raise PhotoError("parts of the HEIC are transparent; save it without transparency")
        pixels = pixels[:, :, :-1]
    grey = pixels.ndim == 2 or pixels.shape[2] == 1
    if grey:
        pixels = np.broadcast_to(pixels.reshape(*pixels.shape[:2], 1), (*pixels.shape[:2], 3))
    nclx = info.get("nclx_profile") or {}
    points = (nclx.get("color_primaries", 2), nclx.get("transfer_characteristics", 2))
    gain_map = b"hdrgainmap" in data[:65536] or b"tmap" in data[:65536]
    head = Header(
        "HEIC",
        width,
        height,
        8 if pixels.dtype == np.uint8 else 16,
        grey,
        icc=info.get("icc_profile"),
        cicp=(int(points[0]), int(points[1])),
        gain_map=gain_map,
    )
    exif = replace(read_exif(info.get("exif")), orientation=1)
    return Decoded(head, pixels, exif, None if depth == 8 else _top_code(depth))


def _top_code(depth: int) -> int:
    # pillow-heif moves 10- and 12-bit samples to the top of 16 bits, without filling the rest.
    return ((1 << depth) - 1) << (16 - depth)


# ROMM RGB, ISO 22028-2:2013 (primaries of table 1, white D50), adapted to D65.
_ROMM_TO_XYZ = colour.D50_TO_D65 @ colour.primaries_to_xyz(
    (0.7347, 0.2653), (0.1596, 0.8404), (0.0366, 0.0001), colour.D50_XY
)


# LibRaw keeps four 16-bit values for each pixel beside the picture that it gives.
_RAW_PIXEL_BYTES = 8


def decode_raw(data: bytes, max_pixels: int) -> Decoded:
    """Linear 16 bit in ROMM RGB, the camera's white balance, nothing brightened or clipped early.

    The camera's own white balance keeps the channels' noise alike; a card corrects the rest.
    ``max_pixels``: of the picture. Raises :class:`PhotoError` for one that is larger, damaged or
    without colours, and where the package that decodes it is not installed.
    """
    try:
        import rawpy
    except ImportError as exc:
        raise PhotoError(
            "this is a camera raw file, which needs an extra: pip install 'swatchvault[raw]'; "
            "or develop it to a 16-bit TIFF"
        ) from exc
    try:
        with captured_stderr(), rawpy.imread(io.BytesIO(data)) as raw:
            sizes = raw.sizes
            check_size(sizes.width, sizes.height, max_pixels, _RAW_PIXEL_BYTES)
            check_size(sizes.raw_width, sizes.raw_height, max_pixels, _RAW_PIXEL_BYTES)
            pixels = raw.postprocess(
                output_color=rawpy.ColorSpace.ProPhoto,
                output_bps=16,
                gamma=(1, 1),
                no_auto_bright=True,
                adjust_maximum_thr=0.0,
                use_camera_wb=True,
                highlight_mode=rawpy.HighlightMode.Clip,
            )
    except rawpy.LibRawError as exc:
        raise PhotoError(
            "the camera raw file is damaged or of an unknown camera; develop it to a 16-bit TIFF"
        ) from exc
    if pixels.ndim != 3 or pixels.shape[2] != 3:
        raise PhotoError("the camera raw file holds no colours; a photo in colour is needed")
    linear = encoding.make_encoding(
        "camera raw, linear ROMM RGB", np.linspace(0.0, 1.0, 65536), _ROMM_TO_XYZ
    )
    head = Header("raw", pixels.shape[1], pixels.shape[0], 16, False)
    # The raw decoder has turned the picture already.
    exif = replace(read_exif(data), orientation=1)
    return Decoded(head, pixels, exif, encoding=linear)
