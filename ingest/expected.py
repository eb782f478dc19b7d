"""What a reference's patches are stated to be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ingest import charts
from ingest.colour import D65, lab_d50_to_d65, lab_to_xyz
from ingest.errors import ReferenceMissing
from ingest.model import Encoding, Lab, Reference, Settings

Floats = NDArray[np.float64]

#: The edition that is taken where none is named.
NEWEST = "after-2014-11"


def expected_xyz(reference: Reference, settings: Settings) -> Floats:
    """(patches, 3) XYZ relative to D65 that the reference's patches are stated to have."""
    if reference.lab_d50 is not None:
        return lab_to_xyz(lab_d50_to_d65(reference.lab_d50))
    if reference.kind == "chart24":
        return lab_to_xyz(lab_d50_to_d65(_chart_table(reference, settings)))
    if reference.y is not None:
        return np.asarray(reference.y)[:, None] * D65
    if reference.kind == "steps":
        return np.asarray(_steps_y(reference, settings))[:, None] * D65
    if settings.card_lab_d50 is not None:
        return lab_to_xyz(lab_d50_to_d65([settings.card_lab_d50]))
    return np.array([settings.card_y * D65])


def _chart_table(reference: Reference, settings: Settings) -> Sequence[Lab]:
    """The chart's own measured values, if the dyer has them, else those of an edition."""
    if settings.chart_lab_d50 is not None:
        return settings.chart_lab_d50
    return charts.CHART24_LAB_D50[reference.edition or settings.chart_edition or NEWEST]


def named_edition(reference: Reference, settings: Settings) -> Reference:
    """A chart with the edition that its values are taken from, for the record."""
    if reference.kind != "chart24" or reference.lab_d50 is not None:
        return reference
    if settings.chart_lab_d50 is not None:
        return replace(reference, lab_d50=settings.chart_lab_d50, edition=None)
    return replace(reference, edition=reference.edition or settings.chart_edition or NEWEST)


def _steps_y(reference: Reference, settings: Settings) -> tuple[float, ...]:
    values = settings.steps_y
    count = len(reference.patches)
    if values is None or len(values) != count:
        have = "none are stated" if values is None else f"{len(values)} are stated"
        raise ReferenceMissing(
            f"{count} neutral steps, but of their reflectances {have}; give one for each (--steps)"
        )
    return values


def expected_rgb(reference: Reference, encoding: Encoding, settings: Settings) -> Floats:
    """(patches, 3) linear RGB, in the encoding's primaries, that the patches are stated to have."""
    return np.asarray(np.linalg.solve(encoding.to_xyz, expected_xyz(reference, settings).T).T)


def patch_names(reference: Reference) -> tuple[str, ...]:
    """A name for each patch of a reference."""
    if reference.kind == "chart24":
        return charts.CHART24_NAMES
    count = len(reference.patches)
    return ("card",) if count == 1 else tuple(f"step {i + 1}" for i in range(count))
