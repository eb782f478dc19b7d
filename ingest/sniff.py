"""What kind of file some bytes are: by content, never by suffix."""

from __future__ import annotations

from ingest.errors import PhotoError
from ingest.exif import first_directory
from ingest.header import SEND_AGAIN

_RAW_STARTS = (b"FUJIFILMCCD-RAW", b"IIU\0", b"IIRO", b"MMOR", b"IIRS", b"FOVb", b"\0MRM")
_HEIF_BRANDS = {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
_OTHERS = (
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"%PDF", "a PDF document"),
    (b"8BPS", "a layered picture (PSD)"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"II+\0", "a BigTIFF picture"),
    (b"MM\0+", "a BigTIFF picture"),
    (b"\0\0\0\x0cJXL ", "a JPEG XL picture"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"\0\0\0\x0cjP  ", "a JPEG 2000 picture"),
    (b"SIMPLE", "a FITS file"),
)


def file_format(data: bytes) -> str:
    """ "JPEG", "PNG", "TIFF", "HEIC" or "raw" by content; PhotoError for anything else."""
    if not data:
        raise PhotoError(f"the file is empty; {SEND_AGAIN}")
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return "PNG"
    if data[:4] in (b"II*\0", b"MM\0*"):
        return "raw" if _is_raw(data) else "TIFF"
    if data.startswith(_RAW_STARTS) or data[4:12] == b"ftypcrx ":
        return "raw"
    if data[4:8] == b"ftyp":
        return _heif_format(data)
    raise PhotoError(
        f"this is {_other_kind(data)}, no photo that can be measured; "
        "a JPEG, PNG, TIFF, HEIC or camera raw file is needed"
    )


def _other_kind(data: bytes) -> str:
    for start, kind in _OTHERS:
        if data.startswith(start):
            return kind
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "a WebP picture"
    opening = data[:1000].lstrip().lower()
    if b"<svg" in opening:
        return "an SVG drawing"
    if opening.startswith((b"<!doctype", b"<html", b"<?xml")):
        return "a web page or other text"
    return "not a picture"


def _heif_format(data: bytes) -> str:
    size = int.from_bytes(data[:4], "big")
    box = data[8 : min(max(size, 16), 512)]
    brands = {box[:4], *(box[i : i + 4] for i in range(8, len(box), 4))}
    if b"avif" in brands or b"avis" in brands:
        raise PhotoError("this is an AVIF picture; save it as JPEG, PNG, TIFF or HEIC")
    if brands & _HEIF_BRANDS:
        return "HEIC"
    raise PhotoError("this is a film or sound file; a photo is needed")


def _is_raw(data: bytes) -> bool:
    # DNG 1.7 tag 50706 DNGVersion; photometric 32803 is a colour filter array (TIFF/EP);
    # raw files of several makers open with a reduced picture, the raw in a sub-directory.
    if data[8:10] == b"CR":
        return True
    try:
        first = first_directory(data)
    except ValueError:
        return False
    reduced = bool(first.number(254) & 1) and 330 in first.tags
    return 50706 in first.tags or first.number(262) == 32803 or reduced
