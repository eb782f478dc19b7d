"""What a photo's reference says against its correction, as flags."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ingest.lightleft import middles
from ingest.model import Photo, Reference
from ingest.neutrals import NeutralFit
from ingest.paper import Light
from ingest.reading import PatchReading
from ingest.shadow import edge_across, kinked
from ingest.tone import unlike_a_display

Floats = NDArray[np.float64]

#: Y of the paper about a card, by that card, which no tone curve makes of paper: through the seven
#: of the project's simulation, exposed to 0.3 to 1.1, paper of 0.9 comes out at 0.7 to 1.7.
LIGHTER_THAN_PAPER = 1.9
#: How far beyond the end of the file's range a white may lie by a card, as where it is exposed for
#: black yarn. Our choice: white paper marked as an 18 % card puts it at 4 to 5.
WHITE_BEYOND_FILE = 3.0

#: Formats in which phones write pictures for a display, always with its curve.
DISPLAY_FORMATS = frozenset({"JPEG", "HEIC"})


def untold_tone(photo: Photo) -> frozenset[str]:
    """The flag of a tone curve that one grey cannot tell; camera raw has none."""
    return frozenset() if "raw" in photo.flags else frozenset({"tone curve not removed"})


def parted(
    photo: Photo, reference: Reference, patches: list[PatchReading], fit: NeutralFit, stated: Floats
) -> bool:
    """Whether a shadow's edge lies across a chart or steps, or one of their greys is not as stated.

    ``stated``: (patches, 3) XYZ. Greys that run in no order say nothing of edges among them.
    """
    usable = list(fit.usable)
    if reference.kind == "chart24":
        guessed = fit.left_out[:, 1].copy()
        greys = sorted(usable, key=lambda i: float(stated[i, 1]))
        guessed[[greys[0], greys[-1]]] = np.nan  # guessed from outside: off in any light
        if edge_across(guessed, stated[:, 1]):
            return True
    if fit.far_off or not fit.in_order:
        return False
    found = np.array([p.linear for p in patches]) @ photo.encoding.to_xyz[1]
    if fit.field is not None:
        found = found / fit.field.at(middles(reference.patches))
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


def card_value_flag(
    patch: PatchReading, stated_y: float, light: Light, to_xyz: Floats
) -> frozenset[str]:
    """The flag of one card whose stated Y the picture contradicts. ``light``: of the surround, as
    the card corrects it. ``stated_y``: above 0, up to 1; ``to_xyz``: (3, 3)."""
    white = float(patch.linear.max()) / stated_y
    paper = 0.0 if light.paper is None else light.paper.luminance(to_xyz)
    doubtful = white > WHITE_BEYOND_FILE or paper > LIGHTER_THAN_PAPER
    return frozenset({"card unlike its value"} if doubtful else ())
