"""What a colourway gave on each base: means over its swatches, and shifts from the first base."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from ingest.colour import Floats
from ingest.model import none_if_nan
from swatchvault.photodoubt import u_of_photos
from swatchvault.together import Table


@dataclass(frozen=True)
class OnBase:
    """What a colourway gave on a base in a form: mean over its swatches, and the shift from the
    first base that has one: ΔL*, ΔC*ab, Δhab in degrees.

    ``u_lab``: standard uncertainties of ``lab``, NaN where unknown; what photos of one set-up, or
    swatches in one photo, are wrong by alike does not average out. ``left_out_damp``: swatches that
    do not count because they were measured damp; the mean is ``None`` where none counts.
    """

    base: str
    form: str
    swatches: int
    lab: tuple[float, float, float] | None
    u_lab: tuple[float, ...] | None
    shift: tuple[float, float, float] | None
    left_out_damp: tuple[str, ...] = ()


def across_bases(table: Table) -> list[OnBase]:
    """One row for each form and base of a table; shifts are within one form."""
    rows: dict[tuple[str, str], list[int]] = {(m.form, m.base): [] for m in table.left_out}
    for row, made in enumerate(table.made):
        rows.setdefault((made.form, made.base), []).append(row)
    found: list[OnBase] = []
    first: dict[str, Floats] = {}
    for (form, base), members in sorted(rows.items()):
        damp = tuple(m.swatch for m in table.left_out if (m.form, m.base) == (form, base))
        if not members:
            found.append(OnBase(base, form, 0, None, None, None, damp))
            continue
        lab = table.labs[members].mean(axis=0)
        lch = np.array([lab[0], math.hypot(lab[1], lab[2]), math.degrees(math.atan2(*lab[:0:-1]))])
        shift = lch - first.setdefault(form, lch)
        shift[2] = (shift[2] + 180.0) % 360.0 - 180.0
        L, a, b = (float(v) for v in lab)
        d_l, d_c, d_h = (float(v) for v in shift)
        u = tuple(u_of_photos([table.photos[row] for row in members]))
        found.append(OnBase(base, form, len(members), (L, a, b), u, (d_l, d_c, d_h), damp))
    return found


def base_record(row: OnBase) -> dict[str, Any]:
    """A row as plain JSON data; a doubt that is not known is ``None``."""
    u = None if row.u_lab is None else [none_if_nan(v) for v in row.u_lab]
    return {**asdict(row), "u_lab": u}
