"""What is told of core and halo: by how much strands' rims took more or less dye than crests."""

from __future__ import annotations

import math

import numpy as np

from ingest.colour import delta_e_2000, xyz_to_lab
from ingest.evenness_cells import Cells, ToXyz
from ingest.evenness_depth import deeper
from ingest.evenness_rim import Rim, rim_of

#: How many of its own doubts, and what ΔE00, a difference must reach to be told. Tiles do not
#: disagree where all are wrong alike, so the first is high.
LEAST_DOUBTS, LEAST_APART = 5.0, 1.0
#: Most that is believed, ln depth: some three times the dye. Where the tint is weak, light that was
#: not taken out whole reads as many times that; its sign is right as often, its size is not.
MOST_LN_DEPTH = 1.2
#: Relative standard uncertainty of the size of what is told: half of the renders of one true size
#: were found between 0.6 and 1.6 of it.
SIZE_U = 0.7
#: The true size over what is told, least and most, of 17 renders whose marks were not chosen on
#: them, 0.43 to 1.9: what is told of size is a range.
SIZE_TIMES = (0.4, 2.0)
#: Why nothing is told of rims that were read; and why they are not where much of the yarn has a
#: channel at an end of what the file can hold: of 37 teal and turquoise solids at zero whose rims
#: are as their crests 16 had been told a paler rim, of 21 others one.
NO_DIFFERENCE, TINT_LOST = "no difference", "channel at an end"


def core_halo(
    cells: Cells, strand_mm: float, contrast: float, to_xyz: ToXyz
) -> tuple[dict[str, object] | None, str | None]:
    """Core and halo of yarn whose dye is even, as plain JSON data; or why nothing is told."""
    rim = rim_of(cells, strand_mm, contrast, to_xyz)
    if isinstance(rim, str):
        return None, rim
    told = told_of(rim, to_xyz)
    return told, None if told else NO_DIFFERENCE


def told_of(rim: Rim, to_xyz: ToXyz) -> dict[str, object] | None:
    """What is told of rims; None where nothing can be told from light and chance.

    ``rim``: deeper or paler than the crest. ``delta_e``: ΔE00 between them with its standard
    uncertainty, and ``range``: least and most of it; ``lch``: change of L*, C* and h (degrees)
    from crest to rim, by depth alone.
    """
    if abs(rim.ln_depth) < LEAST_DOUBTS * rim.u_ln_depth:
        return None
    ln_depth = float(np.clip(rim.ln_depth, -MOST_LN_DEPTH, MOST_LN_DEPTH))
    ends = rim.light * np.exp(np.outer([-1.0 / 3.0, 2.0 / 3.0], deeper(rim.light)) * ln_depth)
    lab = xyz_to_lab(to_xyz(ends))
    apart = float(delta_e_2000(lab[0], lab[1]))
    if apart < LEAST_APART:
        return None
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    hue = np.degrees(np.arctan2(lab[:, 2], lab[:, 1]))
    turn = (float(hue[1] - hue[0]) + 180.0) % 360.0 - 180.0
    change = (float(lab[1, 0] - lab[0, 0]), float(chroma[1] - chroma[0]), turn)
    share = math.hypot(SIZE_U, rim.u_ln_depth / abs(rim.ln_depth))
    return {
        "rim": "deeper" if rim.ln_depth > 0 else "paler",
        "delta_e": round(apart, 1),
        "u": round(share * apart, 1),
        "range": [round(times * apart, 1) for times in SIZE_TIMES],
        "lch": [round(v, 1) for v in change],
    }
