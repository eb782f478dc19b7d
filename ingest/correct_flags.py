"""What a photo's reference says against its correction, as flags."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ingest.lightleft import middles
from ingest.model import Photo, Reference
from ingest.neutrals import NeutralFit
from ingest.reading import PatchReading
from ingest.shadow import edge_across, kinked
from ingest.tone import unlike_a_display

Floats = NDArray[np.float64]

#: Formats in which phones write pictures for a display, always with its curve.
DISPLAY_FORMATS = frozenset({"JPEG", "HEIC"})


def untold_tone(photo: Photo) -> frozenset[str]:
    """The flag of a tone curve that one grey cannot tell; camera raw has none."""
    return frozenset() if "raw" in photo.flags else frozenset({"tone curve not removed"})


def parted(
    photo: Photo, reference: Reference, patches: list[PatchReading], fit: NeutralFit, stated: Floats
) -> bool:
    """Whether a shadow's edge lies across a chart, or across steps that are in order."""
    if reference.kind == "chart24":
        return edge_across(fit.left_out[:, 1], stated[:, 1])
    if fit.far_off or not fit.in_order:
        return False
    found = np.array([p.linear for p in patches]) @ photo.encoding.to_xyz[1]
    if fit.field is not None:
        found = found / fit.field.at(middles(reference.patches))
    usable = list(fit.usable)
    return kinked(found[usable], stated[usable, 1])


def display_flag(
    photo: Photo, reference: Reference, patches: Sequence[PatchReading], stated_y: Floats
) -> frozenset[str]:
    """The flag of neutral steps that are no reflectances; ``stated_y``: (n,) of these patches."""
    if reference.kind != "steps" or photo.format not in DISPLAY_FORMATS:
        return frozenset()
    found = np.array([p.linear for p in patches]) @ photo.encoding.to_xyz[1]
    unlike = unlike_a_display(found, stated_y)
    return frozenset({"steps unlike a photo"} if unlike else ())
