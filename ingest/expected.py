"""What a reference's patches are stated to be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ingest import charts
from ingest.colour import D65, lab_d50_to_d65, lab_to_xyz
from ingest.errors import MarksError, ReferenceMissing
from ingest.model import Encoding, Lab, Layout, Reference, Settings

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


def with_found_values(reference: Reference, settings: Settings) -> Reference:
    """Steps that were found, not marked, with the settings' values: theirs came from settings, and
    another set-up's, or values put right since, go before them."""
    y = settings.steps_y
    if reference.located == "marks" or reference.kind != "steps" or y is None:
        return reference
    return replace(reference, y=y) if len(y) == len(reference.patches) else reference


def value_flags(reference: Reference, settings: Settings) -> frozenset[str]:
    """``values differ`` where marks state other values than the set-up does.

    Raises :class:`MarksError` where they differ from what was told for the photo itself.
    """
    known = settings.told | settings.of_setup
    own = reference.y is not None or reference.lab_d50 is not None
    if not own or reference.kind not in known or reference.kind == "chart24":
        return frozenset()
    bare = replace(reference, y=None, lab_d50=None)
    others = settings.steps_y if reference.kind == "steps" else (settings.card_y,)
    if others is not None and len(others) == len(reference.patches):
        ours, theirs = expected_xyz(reference, settings), expected_xyz(bare, settings)
        if np.allclose(ours, theirs, rtol=1e-4, atol=1e-6):
            return frozenset()
    if reference.kind in settings.told:
        raise MarksError(
            f"{reference.kind}: the marks say {values_words(reference.y, reference.lab_d50)}, and "
            f"told is {told_words(reference.kind, settings)}: leave one of them out"
        )
    return frozenset({"values differ"})


def unused_flag(layout: Layout, settings: Settings) -> frozenset[str]:
    """``told and not found`` where what was told, or a set-up states, is of nothing located."""
    located = {r.kind for r in layout.references} | {layout.located}
    unused = (settings.told | settings.of_setup) - located
    return frozenset({"told and not found"} if unused else ())


def values_words(y: Sequence[float] | None, lab_d50: Sequence[Lab] | None) -> str:
    """Stated values of a card or of steps, for a sentence."""
    if lab_d50 is not None:
        return "; ".join("L* {:g} a* {:g} b* {:g}".format(*lab) for lab in lab_d50)
    return ", ".join(f"{value:g}" for value in y or ())


def told_words(kind: str, settings: Settings) -> str:
    """What was told of a card or of steps with the photo, as it is told to a command."""
    if kind == "steps":
        return f"--steps {','.join(f'{y:g}' for y in settings.steps_y or ())}"
    if settings.card_lab_d50 is not None:
        return "--card-lab {:g} {:g} {:g}".format(*settings.card_lab_d50)
    return f"--card-y {settings.card_y:g}"


def expected_rgb(reference: Reference, encoding: Encoding, settings: Settings) -> Floats:
    """(patches, 3) linear RGB, in the encoding's primaries, that the patches are stated to have."""
    return np.asarray(np.linalg.solve(encoding.to_xyz, expected_xyz(reference, settings).T).T)


def patch_names(reference: Reference) -> tuple[str, ...]:
    """A name for each patch of a reference."""
    if reference.kind == "chart24":
        return charts.CHART24_NAMES
    count = len(reference.patches)
    return ("card",) if count == 1 else tuple(f"step {i + 1}" for i in range(count))
