"""What keeps a region from being classed: shadow, blur, clipping, scale, or two things in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.evenness_cells import Cells
from ingest.evenness_figures import Figures
from ingest.evenness_rule import SPECKLED_BULK, Class
from ingest.evenness_seam import has_seam
from ingest.evenness_smooth import paper_strip, smooth_field
from ingest.flags import CLIPPED_BEYOND_USE, CLIPPED_NOTED, ZERO_SHARE

#: Length of the strands' light and dark, mm, outside which the scale is doubtful.
TEXTURE_MM = (0.08, 2.2)
#: Strand contrast under which no strands are seen: a flat surface says nothing of its scale.
SEEN_CONTRAST = 0.08
#: The shorter side over that length under which a region holds too few strands: about five.
LEAST_TEXTURES = 24.0
#: The same over the width of a strand, of strands that are so wide (mm) and of one colour: their
#: light and dark is that of the plies, which are finer. Of thinner yarn two strands may pass for
#: one; where colours run, their lengths do. Our choice; renders that the rule was fitted on hold
#: 7.4 strands and more.
LEAST_STRANDS, THICK_MM = 5.0, 4.0
#: Widths over lengths of light and dark beyond which a wide strand is none: patches of dye that
#: pass for one. Of renders that the rule was fitted on, six knits of 720 pass so, at 30 and more.
#: Sixty yarns of 5 to 14 mm, whole and cut to 3.2 and 4.4 strands, have up to 25.
PATCH_TEXTURES = 28.0
#: Sharpness under which a photo is out of focus, where there are strands to see it by.
UNSHARP, UNSHARP_CONTRAST = 1.0, 0.01
#: Strand contrast under which, and length of light and dark in mm over which, only a blur is left
#: of strands; a print or a sky has finer noise. Of 250 sharp renders by three renderers the least
#: contrast is 0.041. Of 66 blurred by a standard deviation of 1, 1.5 and 2.5 mm, 3, 14 and 43 had
#: passed as sharp, and 0, 1 and 13 do now.
SMEARED_CONTRAST, SMEARED_MM = 0.025, 0.9
#: Strand contrast above which shadow is too deep to judge one colour, and to judge several.
TOO_DEEP, FAR_TOO_DEEP = 0.85, 1.3
#: Most of ``bulk`` with which a clipped ground is even enough to tell dark dots on it: 11 of 12
#: clipped renders of speckled yarn are under it; of 666 of one colour whose crests were blown out,
#: none that shows dark dots.
CLIPPED_BULK = 0.28
#: Share of cells within this of the brightest that makes a flat top, as clipping does, where the
#: strands have at least some contrast.
FLAT_TOP, NEAR_TOP, TOP_CONTRAST = 0.04, 0.99, 0.08
#: Two things in one region: both colours whole to this share, the smaller of this share at least
#: and filling so much of its convex hull, and the step between them this sharp.
WHOLE, SMALLER, HULL, SHARP_STEP = 0.95, 0.06, 0.92, 0.6

#: Cells of 1 mm between the two that a step is taken from: dye runs further, edges do not.
REACH_MM = 4

Stop = tuple[str, str]


@dataclass(frozen=True)
class Ends:
    """Shares, 0..1, of a region's pixels with a channel at an end of what the file can hold:
    ``clipped`` at the top, ``zero`` at nought."""

    clipped: float = 0.0
    zero: float = 0.0

    @property
    def tint_lost(self) -> bool:
        """Whether ratios of channels say nothing of the dye: as much as is flagged."""
        return self.clipped >= CLIPPED_NOTED or self.zero >= ZERO_SHARE


NO_ENDS = Ends()


def stops(
    cells: Cells,
    found: Figures,
    kind: Class,
    side_mm: float,
    ends: Ends,
    told: Sequence[Stop] = (),
) -> list[Stop]:
    """Flags under which no class is given, each with its sentence; ``told`` come first."""
    contrast = found.shade.contrast
    out = list(told)
    clipped_share = ends.clipped
    if flat_topped(cells, contrast):
        clipped_share = max(clipped_share, CLIPPED_BEYOND_USE)
    if clipped_share >= CLIPPED_BEYOND_USE and not _dark_dots(found, kind):
        out.append(("evenness not judged", "Too much of the yarn is clipped to judge evenness."))
    elif clipped_share >= CLIPPED_NOTED and _light_dots(found, kind):
        said = "Light dots and clipped pixels: highlights or dye, cannot tell. Use softer light."
        out.append(("evenness not judged", said))
    unsharp = contrast > UNSHARP_CONTRAST and found.sharp < UNSHARP
    if contrast > SEEN_CONTRAST and not unsharp:  # a blur makes strands look larger
        low, high = TEXTURE_MM
        if not low < found.texture_mm < high:
            said = "Strands would be of an unlikely size at this scale: check the millimetres."
            out.append(("scale doubtful", said))
        elif side_mm < LEAST_TEXTURES * found.texture_mm or _few_strands(found, kind, side_mm):
            said = "The region is only a few strands wide, or out of focus: mark more yarn, sharp."
            out.append(("too little yarn for evenness", said))
    if unsharp or (found.inner_contrast < SMEARED_CONTRAST and found.texture_mm > SMEARED_MM):
        out.append(("out of focus", "The photo is out of focus: photograph it again."))
    colours = 1 if kind.name in ("solid", "semi-solid", None) else len(found.palette.share)
    if contrast > (TOO_DEEP if colours == 1 else FAR_TOO_DEEP):
        said = "Shadow between the strands is too deep: use flatter light."
        out.append(("evenness not judged", said))
    if two_things(found) or has_seam(found.cells_lab):
        said = "Two plain fields meet in the region: two swatches, background, or painted yarn."
        out.append(("perhaps two swatches", said))
    elif paper_strip(cells, found.shade.log_y):
        said = "A bright strip without strands runs through the region, as paper: mark yarn alone."
        out.append(("perhaps two swatches", said))
    elif smooth_field(found.palette, found.shade.log_y):
        said = "Part of the region has no strands, as a table or paper has none: mark yarn alone."
        out.append(("perhaps two swatches", said))
    return out


def _few_strands(found: Figures, kind: Class, side_mm: float) -> bool:
    """Whether thick yarn that may be of one colour is only a few strands wide."""
    one_colour = {kind.name, *(kind.between or ())} & {"solid", "semi-solid"}
    strand = THICK_MM < found.strand_mm < PATCH_TEXTURES * found.texture_mm
    return bool(one_colour) and strand and side_mm < LEAST_STRANDS * found.strand_mm


def _light_dots(found: Figures, kind: Class) -> bool:
    """Whether several colours are seen for light dots on a ground, as highlights are."""
    if kind.name not in ("speckled", "variegated") or found.layout.bulk > SPECKLED_BULK:
        return False
    return found.dots.lab is not None and bool(found.dots.lab[0] > found.plain.mean_lab[0])


def _dark_dots(found: Figures, kind: Class) -> bool:
    """Whether yarn is speckled by dots darker than an even ground: no clipping makes those."""
    if kind.name != "speckled" or found.layout.bulk > CLIPPED_BULK:
        return False
    return found.dots.lab is not None and bool(found.dots.lab[0] < found.plain.mean_lab[0])


def flat_topped(cells: Cells, contrast: float) -> bool:
    """Whether the brightest cells are all alike, as where a channel is clipped."""
    if contrast < TOP_CONTRAST:
        return False
    yarn = int((cells.weight > 0).sum())  # beside the yarn there is no light
    near = (int(np.count_nonzero(p > NEAR_TOP * p.max())) for p in cells.planes)
    return any(count > FLAT_TOP * yarn for count in near)


def two_things(found: Figures) -> bool:
    """Whether two colours lie in one piece each, the smaller plain in outline, edge sharp."""
    import cv2

    share, label = found.palette.share, found.palette.label
    if len(share) < 2 or share[1] < SMALLER or share[:2].sum() < 0.9:
        return False
    kept = cv2.medianBlur((label + 1).astype(np.uint8), 5).astype(np.int64) - 1
    for k in (0, 1):
        piece = (kept == k).astype(np.uint8)
        _, _, stats, _ = cv2.connectedComponentsWithStats(piece, connectivity=4)
        if stats[1:, cv2.CC_STAT_AREA].max(initial=0) < WHOLE * piece.sum():
            return False
    outline, _ = cv2.findContours(
        (kept == 1).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE
    )
    if not outline:  # the second colour is nowhere in one piece
        return False
    largest = max(outline, key=cv2.contourArea)
    hull = cv2.contourArea(cv2.convexHull(largest))
    if cv2.contourArea(largest) < HULL * hull:
        return False
    return _edge(found, kept) > SHARP_STEP


def _edge(found: Figures, label: NDArray[np.int64]) -> float:
    """Mean step across the border of two fields, between cells 4 mm apart, over that of theirs."""
    lab = found.cells_lab
    whole = found.palette.lab[1] - found.palette.lab[0]
    steps = []
    for axis in (0, 1):
        near, far = (np.arange(label.shape[axis] - REACH_MM) + k for k in (0, REACH_MM))
        one, other = label.take(near, axis), label.take(far, axis)
        step = (lab.take(far, axis) - lab.take(near, axis)) @ whole
        steps += [step[(one == 0) & (other == 1)], -step[(one == 1) & (other == 0)]]
    every = np.concatenate(steps)
    every = every[np.isfinite(every)]
    return float(every.mean()) / max(float(whole @ whole), 1e-6) if len(every) else 0.0
