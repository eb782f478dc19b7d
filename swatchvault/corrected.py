"""Corrected pictures for a screen: same white and exposure in every photo, as JPEG bytes."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

from ingest.icc_write import display_profile
from ingest.model import Array, Layout, Settings
from ingest.pipeline import to_srgb
from ingest.raster import small_copy
from swatchvault.errors import NotFound
from swatchvault.pictures import signed

#: Share of a region's longer side shown around it. Our choice.
MARGIN = 0.08
_QUALITY = 90  # of the JPEG; common practice, no source


def corrected_jpeg(
    path: Path, layout: Layout | None, settings: Settings, long_side: int, region: str | None = None
) -> bytes:
    """The photo as its measurement sees it, or one region of it with a margin.

    Where the layout names no reference, the picture is the camera's own. Raises ``NotFound`` for a
    region that the layout does not have.
    """
    from ingest.decode import read_photo
    from ingest.pipeline import prepare
    from ingest.rendition_small import box_around, render_small

    photo = read_photo(path)
    settings = replace(settings, allow_uncorrected=True, search=layout is None)
    ready = prepare(photo, layout, settings)
    box = None
    if region is not None:
        found = next((s for s in ready.layout.swatches if s.name == region), None)
        if found is None:
            have = ", ".join(repr(s.name) for s in ready.layout.swatches) or "none"
            raise NotFound(f"the photo has no region {region!r}; it has {have}")
        box = box_around(photo, found.polygon, MARGIN)
    return jpeg_of(render_small(photo, ready.correction, long_side, box).pixels)


def preview_jpeg(path: Path, long_side: int) -> bytes:
    """The photo as the camera gave it, upright and small."""
    from ingest.decode import read_photo

    photo = read_photo(path)
    return jpeg_of(to_srgb(small_copy(photo.pixels, long_side), photo.encoding))


def jpeg_of(pixels: Array) -> bytes:
    """uint8 sRGB (h, w, 3) as a JPEG with its profile, signed as ours."""
    from PIL import Image

    coded = io.BytesIO()
    how = {"quality": _QUALITY, "subsampling": 0, "icc_profile": display_profile("srgb")}
    Image.fromarray(pixels).save(coded, "JPEG", exif=signed(), **how)
    return coded.getvalue()
