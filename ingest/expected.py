"""What a reference's patches are stated to be."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ingest import charts
from ingest.colour import D65, lab_d50_to_d65, lab_to_xyz
from ingest.model import Encoding, Reference, Settings

Floats = NDArray[np.float64]


def expected_xyz(reference: Reference, settings: Settings) -> Floats:
    """(patches, 3) XYZ relative to D65 that the reference's patches are stated to have."""
    if reference.lab_d50 is not None:
        return lab_to_xyz(lab_d50_to_d65(reference.lab_d50))
    if reference.kind == "chart24":
        table = charts.CHART24_LAB_D50[reference.edition or "after-2014-11"]
        return lab_to_xyz(lab_d50_to_d65(table))
    if reference.y is not None:
        return np.asarray(reference.y)[:, None] * D65
    if settings.card_lab_d50 is not None:
        return lab_to_xyz(lab_d50_to_d65([settings.card_lab_d50]))
    return np.array([settings.card_y * D65])


def expected_rgb(reference: Reference, encoding: Encoding, settings: Settings) -> Floats:
    """(patches, 3) linear RGB, in the encoding's primaries, that the patches are stated to have."""
    return np.asarray(np.linalg.solve(encoding.to_xyz, expected_xyz(reference, settings).T).T)


def patch_names(reference: Reference) -> tuple[str, ...]:
    """A name for each patch of a reference."""
    if reference.kind == "chart24":
        return charts.CHART24_NAMES
    count = len(reference.patches)
    return ("card",) if count == 1 else tuple(f"step {i + 1}" for i in range(count))
