"""Rendered yarn of one rose, its rims deeper, paler or as its crests."""

from dataclasses import replace
from functools import lru_cache

import numpy as np

from ingest.evenness_cells import Cells, as_cells, cell_factor, sum_to_cells
from ingest.evenness_figures import about_strands, strands_alike
from ingest.evenness_light import light_and_shade
from ingest.evenness_rim import Rim, rim_of
from ingest.evenness_strands import strand_width
from tests.render.dye import Dyeing
from tests.tonality.draws import draw
from tests.tonality.photos import Seen, render, to_xyz
from tests.tonality.rims import core_halo_for

RED = np.array([0.35, 0.10, 0.06])
ROSE = Dyeing("white wool", ((("Tavick rose", 0.5),),), "solid", tonal_sd=0.005)


@lru_cache(maxsize=8)
def photo(sign: int, bounce: float = 0.05) -> Seen:
    """A wound card of one rose, its rims deeper (1), paler (-1) or as its crests (0).

    ``bounce``: share of the gaps' lost light that comes back filtered by the dye once more.
    """
    case = replace(draw(9_000_000, False, "solid"), form="wound card", px_per_mm=12.0)
    value = core_halo_for(ROSE, sign) if sign else 0.0
    assert value is not None
    lamp = replace(case.lamp, bounce=bounce)
    return render(replace(case, dyeing=replace(ROSE, core_halo=value), lamp=lamp))


def cells_of(linear: np.ndarray, mm_per_px: float) -> Cells:
    whole = np.ones(linear.shape[:2], dtype=bool)
    factor = cell_factor(mm_per_px, whole.size)
    return as_cells(*sum_to_cells(linear, whole, factor), mm_per_px, factor)


def found_in(linear: np.ndarray, mm_per_px: float) -> Rim:
    cells = cells_of(linear, mm_per_px)
    shade = light_and_shade(cells, to_xyz)
    width = strand_width(strands_alike(about_strands(cells, shade)), cells.mm)
    found = rim_of(cells, width, shade.contrast, to_xyz)
    assert isinstance(found, Rim)
    return found
