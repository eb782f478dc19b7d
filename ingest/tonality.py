"""How even the dye of a region of yarn came out, apart from texture, light and shade.

Pure: linear light of a region, its mask and millimetres per pixel in, a :class:`Tonality` out. The
unevenness is the mean ΔE00 (kL = 1) of 5 mm blocks of the dye from their mean, as estimated by a
rule that was fitted on renders (:mod:`ingest.evenness_model`); the figures it reads are in
:mod:`ingest.evenness_figures`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ingest.evenness_cells import Cells, ToXyz, as_cells, cell_factor, sum_to_cells
from ingest.evenness_colours import signature
from ingest.evenness_corehalo import TINT_LOST, core_halo
from ingest.evenness_doubt import NO_ENDS, Ends, Stop, stops
from ingest.evenness_figures import Figures, figures
from ingest.evenness_model import Estimate, estimate
from ingest.evenness_rule import Class, RuleFigures, class_of, rule_figures
from ingest.evenness_scale import scale_from_strands
from ingest.evenness_seen import by_class
from ingest.model import Array

Floats = NDArray[np.float64]

#: Version of the method; figures of two versions are never compared.
METHOD = "evenness 12"
#: Shorter side in mm and area in mm² of yarn under which no class is given.
LEAST_SIDE_MM, LEAST_AREA_MM2 = 8.0, 450.0
#: Side of a cell, mm, above which strands are no longer seen.
MOST_CELL_MM = 0.6
#: Patches are short under the first, long over the second: spread of 10 mm blocks over that of
#: 5 mm blocks. In deep shadow, from this strand contrast, the ratio says nothing.
SHORT, LONG, PATCH_CONTRAST = 0.66, 0.76, 0.35
#: On-line unevenness over strand contrast from which a solid is "uneven in lightness".
LIGHT_ONLY = 3.5


@dataclass(frozen=True, eq=False)
class Tonality:
    """How even a region is; unknown is NaN or None. Lengths of colour are ΔE00, kL = 1.

    ``unevenness``, ``u_unevenness``, ``low``, ``high``: mean difference of 5 mm blocks from their
    mean, standard uncertainty, 95 % range. ``off_light_line``: what light alone cannot make.
    ``cell_unevenness``: of 1 mm cells, as seen. ``strand_contrast``: sd of ln Y about 5 mm.
    ``name``: the class. ``extra``: further keys of the record. ``flags``: of the registry.
    """

    unevenness: float
    u_unevenness: float
    low: float
    high: float
    off_light_line: float
    cell_unevenness: float
    strand_contrast: float
    patch_length: str | None
    palette: tuple[tuple[tuple[float, float, float], float], ...]
    dots_percent: float
    name: str | None
    between: tuple[str, str] | None
    mm_per_px: float
    reasons: tuple[str, ...] = ()
    flags: frozenset[str] = frozenset()
    extra: Mapping[str, Any] = field(default_factory=dict)

    def record(self) -> dict[str, Any]:
        """Plain JSON data."""
        low, high = _number(self.low), _number(self.high)
        return {
            "unevenness": _number(self.unevenness),
            "u_unevenness": _number(self.u_unevenness),
            "range": None if low is None else [low, high],
            "off_light_line": _number(self.off_light_line),
            "cell_unevenness": _number(self.cell_unevenness),
            "strand_contrast": _number(self.strand_contrast),
            "patch_length": self.patch_length,
            "palette": _parts(*zip(*self.palette, strict=True)) if self.palette else [],
            "dots_percent": _number(self.dots_percent),
            "class": self.name,
            "between": None if self.between is None else list(self.between),
            "mm_per_px": _number(self.mm_per_px, 6),
            "method": METHOD,
            "reasons": list(self.reasons),
            **self.extra,
        }


@dataclass(frozen=True, eq=False)
class Examined:
    """A region looked at. ``tonality``: None where nothing can be said. ``cells``: None where no
    scale was found. ``figures``: None where too little is yarn for any."""

    tonality: Tonality | None
    cells: Cells | None = None
    figures: Figures | None = None


def measure_tonality(
    linear: Array,
    mask: Array,
    mm_per_px: float,
    to_xyz: ToXyz,
    ends: Ends = NO_ENDS,
) -> Tonality | None:
    """Tonality of a region.

    ``linear``: (h, w, 3) float32 corrected linear RGB of any primaries; ``mask``: (h, w) bool,
    what is yarn; ``mm_per_px``: NaN where unknown; ``to_xyz``: (..., 3) RGB to XYZ relative to
    D65, Y = 1 for white, scaling with light. ``ends``: pixels at an end of what the file can
    hold. None where nothing can be said.

    >>> grey = np.full((300, 400, 3), 0.2, np.float32)
    >>> whole = np.ones((300, 400), bool)
    >>> found = measure_tonality(grey, whole, 0.1, lambda rgb: rgb * np.array([0.95, 1.0, 1.09]))
    >>> found.name, round(found.strand_contrast, 3)
    ('solid', 0.0)
    """
    factor = cell_factor(mm_per_px, mask.size)
    light, weight = sum_to_cells(linear, mask, factor)
    return examine_cells(light, weight, mm_per_px, factor, to_xyz, ends).tonality


def examine_cells(
    light: Array,
    weight: Array,
    mm_per_px: float,
    factor: int,
    to_xyz: ToXyz,
    ends: Ends = NO_ENDS,
    told: Sequence[Stop] = (),
) -> Examined:
    """The same, with what it was made from, of light already summed over ``factor`` pixels
    squared. ``told``: what the photo itself says against a class."""
    flags = set()
    if not mm_per_px > 0:
        mm_per_px = scale_from_strands(as_cells(light, weight, math.nan, factor), to_xyz) / factor
        flags.add("scale estimated")
        if math.isnan(mm_per_px):
            return Examined(None)
        again = max(cell_factor(mm_per_px, light.shape[0] * light.shape[1]) // factor, 1)
        if again > 1:
            light, weight = _coarser(light, weight, again)
            factor *= again
    cells = as_cells(light, weight, mm_per_px, factor)
    if cells.mm > MOST_CELL_MM:
        flags.add("scale doubtful")
        said = "At this scale no strands can be seen: check the millimetres, or go nearer."
        return Examined(_nothing(mm_per_px, flags, said), cells)
    area, side = _area_and_side(cells)
    if area < LEAST_AREA_MM2 or side < LEAST_SIDE_MM:
        flags.add("too little yarn for evenness")
        said = "The region is too small to say how even the yarn is, or its scale is wrong."
        return Examined(_nothing(mm_per_px, flags, said), cells)
    found = figures(cells, to_xyz)
    if found is None:
        flags.add("too little yarn for evenness")
        said = "Too little of the region is yarn without a gap."
        return Examined(_nothing(mm_per_px, flags, said), cells)
    made = estimate(found)
    ruled = rule_figures(found, made)
    kind = class_of(ruled)
    stopped = stops(cells, found, kind, side, ends, told)
    flags |= {name for name, _ in stopped}
    made = by_class(found, ruled, kind, made)
    if stopped:
        kind = Class(None, None, tuple(s for _, s in stopped))
    if stopped or "solid" in (kind.name, *(kind.between or ())):
        made = replace(made, low=0.0)  # what may be solid may have no unevenness at all
    rims: tuple[Mapping[str, Any] | None, str | None] = (None, None)
    if kind.name == "solid":
        strands = (found.strand_mm, found.shade.contrast)
        rims = (None, TINT_LOST) if ends.tint_lost else core_halo(cells, *strands, to_xyz)
    made_of = _tonality(found, made, kind, mm_per_px, frozenset(flags), ruled, rims)
    return Examined(made_of, cells, found)


def _coarser(light: Array, weight: Array, factor: int) -> tuple[Array, Array]:
    whole = np.ones(weight.shape, dtype=bool)
    return sum_to_cells(light, whole, factor)[0], sum_to_cells(
        np.repeat(weight[..., None], 3, axis=-1), whole, factor
    )[0][..., 0]


def _area_and_side(cells: Cells) -> tuple[float, float]:
    """Area of the yarn in mm², and the shorter side in mm of a rectangle of it and as long."""
    yarn = cells.weight > 0
    count = int(np.count_nonzero(yarn))
    longest = max(int(np.count_nonzero(yarn.any(axis=a))) for a in (0, 1))
    return count * cells.mm**2, count / max(longest, 1) * cells.mm


def _tonality(
    found: Figures,
    made: Estimate,
    kind: Class,
    mm_per_px: float,
    flags: frozenset[str],
    ruled: RuleFigures,
    rims: tuple[Mapping[str, Any] | None, str | None],
) -> Tonality:
    reasons = list(kind.reasons)
    lift = math.sqrt(max(0.0, found.plain.whole**2 - made.value**2))
    light_only = kind.name == "solid" and lift > LIGHT_ONLY * found.shade.contrast
    if light_only:
        reasons.append("Uneven in lightness: dye or winding, cannot tell.")
    extra: dict[str, Any] = {
        "difference_shares": None if kind.name == "solid" else _difference_shares(found),
        "light_only": light_only,
        "core_halo": rims[0],
        "core_halo_unseen": rims[1],
        "depth_off": _number(found.depth.off),
        "dots": {
            "per_dm2": _number(found.dots.per_dm2, 1),
            "mean_mm": _number(found.dots.mean_mm, 2),
            "lab": None if found.dots.lab is None else [round(float(v), 2) for v in found.dots.lab],
        },
        "gradient": None,
        "off95": _number(found.reach.off95),
        "signature": _parts(*signature(found.cells_lab)),  # what a search by looks compares
        "rule": ruled.record(),  # what another rule would class it from
    }
    if kind.name == "gradient":
        extra["gradient"] = {
            "direction_deg": _number(found.slope.direction_deg, 1),
            "ends": np.round(found.slope.ends, 2).tolist(),
        }
    several = kind.name in ("variegated", "speckled") or kind.name is None
    return Tonality(
        unevenness=made.value,
        u_unevenness=made.u,
        low=made.low,
        high=made.high,
        off_light_line=found.plain.off,
        cell_unevenness=found.reach.unevenness,
        strand_contrast=found.shade.contrast,
        patch_length=_patch_length(found) if kind.name in ("semi-solid", "variegated") else None,
        palette=_palette(found, several),
        dots_percent=found.dots.percent,
        name=kind.name,
        between=kind.between,
        mm_per_px=mm_per_px,
        reasons=tuple(reasons),
        flags=flags,
        extra=extra,
    )


def _palette(found: Figures, several: bool) -> tuple[tuple[tuple[float, float, float], float], ...]:
    if not several:
        mean = [float(v) for v in found.plain.mean_lab]
        return (((mean[0], mean[1], mean[2]), 1.0),)
    rows = zip(found.palette.lab.tolist(), found.palette.share.tolist(), strict=True)
    return tuple(((lab[0], lab[1], lab[2]), share) for lab, share in rows)


def _parts(labs: Iterable[Any], shares: Iterable[float]) -> list[dict[str, Any]]:
    return [
        {"lab": [_number(v, 2) for v in lab], "share": _number(share, 4)}
        for lab, share in zip(labs, shares, strict=True)
    ]


def _difference_shares(found: Figures) -> dict[str, float | None]:
    """Shares of lightness, chroma and hue in the differences between blocks, light included."""
    squares = (found.crest.v**2).mean(axis=0)
    shares = squares / max(float(squares.sum()), 1e-12)
    names = ("lightness", "chroma", "hue")
    return {n: _number(float(s)) for n, s in zip(names, shares, strict=True)}


def _patch_length(found: Figures) -> str | None:
    if found.shade.contrast > PATCH_CONTRAST:
        return None
    ratio = found.wide.whole / max(found.crest.whole, 1e-6)
    if ratio < SHORT:
        return "short"
    return "long" if ratio > LONG else "medium"


def _nothing(mm_per_px: float, flags: set[str], reason: str) -> Tonality:
    nan = math.nan
    return Tonality(
        *(nan, nan, nan, nan, nan, nan, nan),
        patch_length=None,
        palette=(),
        dots_percent=nan,
        name=None,
        between=None,
        mm_per_px=mm_per_px,
        reasons=(reason,),
        flags=frozenset(flags),
    )


def _number(value: float, digits: int = 3) -> float | None:
    return None if math.isnan(value) else round(float(value), digits)
