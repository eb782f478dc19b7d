"""A swatch's tonality from its photo: the region summed to cells strip by strip, then measured."""

from __future__ import annotations

import numpy as np

from ingest.background import Background
from ingest.correct import Correction
from ingest.evenness_cells import cell_factor, sum_to_cells
from ingest.evenness_doubt import Ends, Stop
from ingest.model import Photo, SwatchRegion
from ingest.raster import bounding_box, darkest, strips
from ingest.reading import zero_code
from ingest.tonality import Examined, Tonality, examine_cells

#: Change of ln of a ratio of two channels across a region from which light may pass for dye: at
#: 0.05 every sixth solid of the third renderer was called otherwise, at 0.12 three in four.
TINTED = 0.05


def region_tonality(
    photo: Photo,
    region: SwatchRegion,
    correction: Correction,
    background: Background | None,
    mm_per_px: float,
    clipped_share: float,
) -> Tonality | None:
    """Tonality of a swatch, in corrected light with the light field divided out."""
    return examine_region(photo, region, correction, background, mm_per_px, clipped_share).tonality


def examine_region(
    photo: Photo,
    region: SwatchRegion,
    correction: Correction,
    background: Background | None,
    mm_per_px: float,
    clipped_share: float,
) -> Examined:
    """The same, with the cells and figures that it was made from."""
    box = bounding_box(photo, region.polygon)
    at_zero = pixels = 0
    zero = zero_code(photo.encoding)
    factor = cell_factor(mm_per_px, (box.y1 - box.y0) * (box.x1 - box.x0))
    light, weight = [], []
    for strip in strips(photo, region.polygon, rows_multiple=factor):
        linear, seen = correction.linear(strip.pixels), strip.mask
        if background is not None and background.open:
            seen = seen & ~background.mask(linear)
        at_zero += int(((darkest(strip.pixels) <= zero) & seen).sum())
        pixels += int(seen.sum())
        cells = sum_to_cells(linear, seen, factor)
        light.append(cells[0])
        weight.append(cells[1])
    lit, share = np.concatenate(light), np.concatenate(weight)
    if correction.field is not None:
        rows, columns = (np.arange(n) + 0.5 for n in share.shape)
        x = (box.x0 + columns * factor) / photo.width
        y = (box.y0 + rows * factor) / photo.height
        points = np.stack(np.broadcast_arrays(x[None, :], y[:, None]), axis=-1)
        lit = (lit / correction.light_at(points)[..., None]).astype(np.float32)
    told = _told(photo, correction, region)
    ends = Ends(clipped_share, at_zero / max(pixels, 1))
    return examine_cells(lit, share, mm_per_px, factor, correction.xyz, ends, told)


def _told(photo: Photo, correction: Correction, region: SwatchRegion) -> list[Stop]:
    """What the photo itself says against judging how even a region is."""
    said = []
    if "strongly compressed" in photo.flags:
        said.append("The JPEG is compressed too strongly to judge evenness: send the camera's own.")
    if "picture by this program" in photo.flags:
        said.append("This program wrote the picture, with colours bent or marked: send the photo.")
    if "photo too dark" in correction.flags:
        said.append("The photo is far too dark to judge evenness: expose more, or use more light.")
    left = correction.left
    if left is not None and left.tint_spread(np.array(region.polygon)) > TINTED:
        said.append("The light's colour changes across the yarn: use one lamp, or a window alone.")
    return [("evenness not judged", sentence) for sentence in said]
