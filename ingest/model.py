"""What a photo, its layout and its measurement are: frozen data. Flags: see `ingest.flags`.

Arrays inside are never changed after construction. Coordinates of a layout are fractions of
the width and height of the picture as a person sees it: (0, 0) is the outer corner of the
first pixel, (1, 1) the outer corner of the last one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from ingest.flags import FLAGS as FLAGS
from ingest.flags import FLAGS_THAT_STOP_A_VERDICT as FLAGS_THAT_STOP_A_VERDICT
from ingest.flags import check_flags as check_flags

Array = NDArray[Any]
Point = tuple[float, float]
Polygon = tuple[Point, ...]
Lab = tuple[float, float, float]

LocatedBy = Literal["marks", "mat", "search"]
ReferenceKind = Literal["card", "steps", "chart24"]
Light = Literal["daylight", "other"]

# ---------------------------------------------------------------------------------------------
# The decoded photo
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Encoding:
    """How coded pixel values become linear light and CIE XYZ.

    ``curve``: float32 (levels, 3), linear light in 0..1 for each code of each channel; levels is
    256 or 65536. ``to_xyz``: (3, 3), linear RGB to XYZ relative to D65 white with Y = 1
    (Bradford-adapted where the profile's white is another one).
    """

    name: str
    curve: Array
    to_xyz: Array


@dataclass(frozen=True, eq=False)
class Photo:
    """A decoded file. ``pixels`` is (height, width, 3) uint8 or uint16, coded, upright RGB.

    ``pixels`` may be a view with any strides; nothing may write to it.
    """

    path: str
    sha256: str
    pixels: Array
    encoding: Encoding
    format: str
    taken_at: str | None = None  # ISO 8601 local time as the camera wrote it
    camera: str | None = None
    flags: frozenset[str] = frozenset()

    @property
    def height(self) -> int:
        return int(self.pixels.shape[0])

    @property
    def width(self) -> int:
        return int(self.pixels.shape[1])


# ---------------------------------------------------------------------------------------------
# The layout: where things are
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Reference:
    """A card, neutral steps or a 24-patch chart at its place in the picture.

    ``patches``: one polygon for a card, one per step for steps, 24 for a chart (row by row from
    the dark skin patch). ``y``: luminous reflectances of the neutrals in 0..1, or ``None`` where
    ``lab_d50`` or the edition gives them. ``lab_d50``: one triple for a card, 24 for a chart.
    """

    kind: ReferenceKind
    patches: tuple[Polygon, ...]
    y: tuple[float, ...] | None = None
    lab_d50: tuple[Lab, ...] | None = None
    edition: str | None = None
    located: LocatedBy = "marks"
    confidence: float = 1.0
    corners: Polygon | None = None


@dataclass(frozen=True)
class SwatchRegion:
    """A piece of yarn to measure: its name and outline. ``across_mm``: millimetres that the
    picture's whole width would span at this place, where a mat says so; None: as the scale says."""

    name: str
    polygon: Polygon
    located: LocatedBy = "marks"
    confidence: float = 1.0
    across_mm: float | None = None


@dataclass(frozen=True)
class Scale:
    """Two points a known number of millimetres apart, or millimetres per pixel found by a mat."""

    start: Point
    end: Point
    mm: float


@dataclass(frozen=True)
class Layout:
    """Everything that was located in one photo."""

    references: tuple[Reference, ...] = ()
    swatches: tuple[SwatchRegion, ...] = ()
    scale: Scale | None = None
    located: LocatedBy = "marks"
    surround: tuple[Polygon, ...] = ()  # bare paper of a mat, for the light field
    flags: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Settings:
    """What a person may set for a measurement; the defaults are printed with every result."""

    card_y: float = 0.18  # common practice: the photographic grey card, no single source
    card_lab_d50: Lab | None = None
    light: Light | None = None
    dry: bool | None = None
    allow_uncorrected: bool = False
    search: bool = True
    bar_mm: float = 100.0  # the mat's check bar as measured on the print
    steps_y: tuple[float, ...] | None = None  # of steps that may be searched for or marked
    chart_lab_d50: tuple[Lab, ...] | None = None  # 24 rows, where the chart was measured
    chart_edition: str | None = None
    value_delta_e: float | None = None  # tolerance of a reference's stated values, ΔE00
    value_kind: ReferenceKind | None = None  # the kind that this is of; None: of any
    #: Kinds of reference whose values above are the set-up's own: marks that state others go
    #: before them, and are flagged.
    of_setup: frozenset[ReferenceKind] = frozenset()
    #: What a person told for these very photos: of kinds of reference their values (marks that
    #: state others are an error), of the mat its bar.
    told: frozenset[ReferenceKind | Literal["mat"]] = frozenset()


# ---------------------------------------------------------------------------------------------
# The measurement
# ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Step:
    """One step of the correction: its name, what it was given, and what it left over."""

    name: str
    detail: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class LabCovariance:
    """Covariance of a Lab value in four parts that cancel differently in a difference.

    Each (3, 3), Lab units squared. ``region``: fresh in every region of every photo. ``frame``:
    shared by all regions of one photo. ``setup``: shared by all photos of one light and camera.
    ``profile``: the camera's colours and metamerism against the reference.
    """

    region: Array
    frame: Array
    setup: Array
    profile: Array

    @property
    def total(self) -> Array:
        """(3, 3) covariance of the absolute colour."""
        return self.region + self.frame + self.setup + self.profile

    def standard(self) -> dict[str, list[float]]:
        """Standard uncertainties of L*, a*, b* by part: roots of the diagonals."""
        parts = {
            "region": self.region,
            "frame": self.frame,
            "setup": self.setup,
            "profile": self.profile,
        }
        return {name: _roots(c) for name, c in parts.items()}

    def standard_total(self) -> list[float]:
        """Standard uncertainties of L*, a*, b* of the absolute colour; NaN where unknown."""
        return _roots(self.total)


def _roots(covariance: Array) -> list[float]:
    return [math.sqrt(max(v, 0.0)) for v in np.diag(covariance)]


@dataclass(frozen=True, eq=False)
class Measurement:
    """What one photo says of one swatch: CIELAB D65/2° with its doubt, flags and origin.

    ``lab``: (3,). ``polygon``: corners in fractions of the picture's width and height.
    ``reference``: the best of "chart", "steps", "card", "none", as the tables of doubt count it.
    ``pixels``: of yarn that were measured. ``left_out``: share of the region's pixels by reason.
    ``clipped_share``: share of the yarn's pixels that are clipped. ``shadow_sd``: standard
    deviation of ln Y at the strands' scale; it and ``mm_per_px`` are NaN where unknown.
    ``tonality``: how even it is, as plain data; ``None`` where no scale is known or guessed.
    """

    name: str
    lab: Array
    covariance: LabCovariance
    flags: frozenset[str]
    polygon: Polygon
    reference: str
    pixels: int
    left_out: Mapping[str, float]
    clipped_share: float
    shadow_sd: float
    mm_per_px: float
    tonality: Mapping[str, Any] | None = None

    def record(self) -> dict[str, Any]:
        """The measurement as plain JSON data (see the README, "What the figures mean")."""
        cov = self.covariance
        parts = ("region", "frame", "setup", "profile")
        return {
            "name": self.name,
            "lab": [float(v) for v in self.lab],
            "u_lab": cov.standard(),
            "cov_lab": {p: np.asarray(getattr(cov, p)).tolist() for p in parts},
            "tonality": None if self.tonality is None else dict(self.tonality),
            "flags": sorted(self.flags),
            "reference": self.reference,
            "pixels": self.pixels,
            "left_out": {k: float(v) for k, v in self.left_out.items()},
            "clipped_share": float(self.clipped_share),
            "shadow_sd": none_if_nan(self.shadow_sd),
            "mm_per_px": none_if_nan(self.mm_per_px),
            "polygon": [list(p) for p in self.polygon],
        }


@dataclass(frozen=True, eq=False)
class ReferenceReading:
    """One reference as the photo shows it: patches expected, corrected, and left out of the fit.

    ``patches``: for steps and charts a list of {"name", "expected_lab", "corrected_lab",
    "left_out_lab"} (D65/2°), the last only where a fit was made. ``neutral``: linear RGB, the
    encoding undone and nothing else, of the neutral nearest 20 %: photos of one locked set-up
    agree in it. ``neutrals``: the same of all neutrals of steps or a chart, the lightest first; of
    a card itself and the plain paper about it. ``None`` in it: clipped, or not seen.
    """

    reference: Reference
    flags: frozenset[str]
    patches: tuple[Mapping[str, Any], ...] = ()
    used: bool = True
    neutral: tuple[float, ...] | None = None
    neutrals: tuple[tuple[float, ...] | None, ...] = ()

    @property
    def greys(self) -> tuple[tuple[float, ...] | None, ...] | None:
        """``neutral``, then ``neutrals``: by which settings that are locked are known."""
        return None if self.neutral is None else (self.neutral, *self.neutrals)

    def record(self) -> dict[str, Any]:
        """The reading as plain JSON data."""
        ref = self.reference
        return {
            "kind": ref.kind,
            "located": ref.located,
            "confidence": ref.confidence,
            "used": self.used,
            "edition": ref.edition,
            "flags": sorted(self.flags),
            "neutral": None if self.neutral is None else list(self.neutral),
            "neutrals": [None if n is None else list(n) for n in self.neutrals],
            "patches": [dict(p) for p in self.patches],
        }


@dataclass(frozen=True, eq=False)
class PhotoMeasurement:
    """Everything that one photo gave. ``preview``: (h, w, 3) uint8 sRGB, long side 640, upright."""

    path: str
    sha256: str
    width: int
    height: int
    format: str
    encoding: str
    taken_at: str | None
    camera: str | None
    layout: Layout
    references: tuple[ReferenceReading, ...]
    swatches: tuple[Measurement, ...]
    flags: frozenset[str]
    steps: tuple[Step, ...]
    version: str
    preview: Array

    @property
    def greys(self) -> tuple[tuple[float, ...] | None, ...] | None:
        """Those of the reference that corrected it; ``None`` where there is none."""
        return next((r.greys for r in self.references if r.used), None)

    def record(self) -> dict[str, Any]:
        """The photo's measurements as one JSON object."""
        return {
            "photo_sha256": self.sha256,
            "path": self.path,
            "width": self.width,
            "height": self.height,
            "format": self.format,
            "encoding": self.encoding,
            "taken_at": self.taken_at,
            "camera": self.camera,
            "references": [r.record() for r in self.references],
            "swatches": [m.record() for m in self.swatches],
            "flags": sorted(self.flags),
            "steps": [{"name": s.name, **s.detail} for s in self.steps],
            "version": self.version,
        }


def none_if_nan(value: float) -> float | None:
    """JSON's unknown for an array's unknown."""
    return None if math.isnan(value) else float(value)
