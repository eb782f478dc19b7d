"""Pictures for people: what was located drawn over the photo, and files with their profile."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ingest.exif import OURS, SOFTWARE
from ingest.icc_write import display_profile
from ingest.model import Array, Layout, Photo, Polygon
from ingest.pipeline import to_srgb
from ingest.raster import small_copy
from ingest.rendition import Rendition
from swatchvault.errors import SwatchvaultError
from swatchvault.writing import cannot_write

if TYPE_CHECKING:
    from PIL import Image

#: Long side in pixels of a drawing of what was located.
DRAWING_SIDE = 1600
#: Outlines are drawn white inside black, so that no colour stands beside a swatch.
LINE, RIM = (255, 255, 255), (0, 0, 0)
#: Black around a label's words, pixels.
PAD = 4
#: EXIF's tag ImageDescription.
DESCRIPTION_TAG = 270
#: Share of a picture from which it is told that the photo's file had cut colours. Our choice: a
#: few glints and specks are in any photo.
CUT_TOLD = 0.001
PICTURES = {".jpg": "JPEG", ".jpeg": "JPEG", ".png": "PNG"}


def draw_layout(photo: Photo, layout: Layout) -> Array:
    """uint8 sRGB (h, w, 3): the photo with every reference, swatch and the scale outlined."""
    import cv2

    picture = to_srgb(small_copy(photo.pixels, DRAWING_SIDE), photo.encoding).copy()
    height, width = picture.shape[:2]

    def points(polygon: Polygon) -> Array:
        return np.round(np.asarray(polygon) * [width, height]).astype(np.int32)

    outlines: list[tuple[Polygon, str]] = []
    for reference in layout.references:
        words = f"{reference.kind}, by {reference.located}"
        if reference.corners:
            outlines.append((reference.corners, words))
            words = ""
        outlines += [(p, words if i == 0 else "") for i, p in enumerate(reference.patches)]
    outlines += [(s.polygon, s.name) for s in layout.swatches]
    if layout.scale is not None:
        outlines.append(((layout.scale.start, layout.scale.end), f"{layout.scale.mm:g} mm"))
    for polygon, _ in outlines:
        for colour, thick in ((RIM, 5), (LINE, 2)):
            cv2.polylines(picture, [points(polygon)], True, colour, thick, cv2.LINE_AA)
    for polygon, words in outlines:
        if words:
            _label(picture, words, points(polygon))
    return picture


def _label(picture: Array, words: str, outline: Array) -> None:
    """Words in white on black above an outline's top left corner, whole inside the picture."""
    import cv2

    height, width = picture.shape[:2]
    scale = 0.8 if width >= DRAWING_SIDE / 2 else 0.5
    (w, h), under = cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, scale, 2)
    if w + 2 * PAD > width:
        scale *= (width - 2 * PAD) / w
        (w, h), under = cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, scale, 2)
    left, top = outline.min(axis=0)
    x = int(np.clip(left, 0, max(width - w - 2 * PAD, 0)))
    y = int(np.clip(top - 2 * PAD - h - under, 0, max(height - h - under - 2 * PAD, 0)))
    cv2.rectangle(picture, (x, y), (x + w + 2 * PAD, y + h + under + 2 * PAD), RIM, cv2.FILLED)
    place = (x + PAD, y + PAD + h)
    cv2.putText(picture, words, place, cv2.FONT_HERSHEY_SIMPLEX, scale, LINE, 2, cv2.LINE_AA)


def save_picture(path: Path, pixels: Array, profile: bytes, description: str = "") -> None:
    """Write uint8 RGB (h, w, 3) as JPEG or PNG, by the ending, with an ICC profile and what
    explains it (ASCII).

    A file that is there already is written over only if it is a picture of ours: a photo never.
    Raises :class:`SwatchvaultError` for that, another ending, and where nothing can be written.
    """
    from PIL import Image

    kind = PICTURES.get(path.suffix.lower())
    if kind is None:
        raise SwatchvaultError(f"{path.name}: name a .jpg or .png file for the picture")
    if path.exists() and not _is_ours(path):
        raise SwatchvaultError(
            f"{path.name} is there already and no picture that this program wrote: name another "
            "file, or delete it first"
        )
    options: dict[str, Any] = {"quality": 95, "subsampling": 0} if kind == "JPEG" else {}
    exif = signed()
    if description:
        exif[DESCRIPTION_TAG] = description
    try:
        Image.fromarray(pixels).save(path, kind, icc_profile=profile, exif=exif, **options)
    except OSError as error:
        raise cannot_write(path, error) from error


def signed() -> Image.Exif:
    """The Exif of a picture of ours, by which it is known again."""
    from PIL import Image

    exif = Image.Exif()
    exif[SOFTWARE] = OURS
    return exif


def _is_ours(path: Path) -> bool:
    from PIL import Image

    try:
        with Image.open(path) as there:
            return there.getexif().get(SOFTWARE) == OURS
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return False


def save_rendition(path: Path, rendition: Rendition, original: str) -> None:
    """Write a corrected picture; the original photo is never written over.

    Raises :class:`SwatchvaultError` where it would be, or where nothing can be written.
    """
    if path.exists() and path.resolve() == Path(original).resolve():
        raise SwatchvaultError(
            f"{path.name} is the original photo; name another file for the picture"
        )
    said = "; ".join(not_as_it_was(rendition))
    save_picture(path, rendition.pixels, display_profile(rendition.space), said)


def not_as_it_was(rendition: Rendition) -> list[str]:
    """Which colours a corrected picture does not show as they were, in words."""
    said = []
    if rendition.outside > 0:
        share = _share(rendition.outside)
        said.append(
            f"{share} of the picture is outside {rendition.space}, shown as a fine grey chequer"
        )
    if rendition.cut is not None and rendition.cut >= CUT_TOLD:
        share = _share(rendition.cut)
        said.append(
            f"in {share} of the picture the photo's own file has a channel at the end of its "
            "range, so those colours may be stronger, lighter or darker than shown"
        )
    return said


def _share(value: float) -> str:
    return "under 0.01%" if value < 0.0001 else f"{value:.2%}"
