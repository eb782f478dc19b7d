"""What a photo, its layout and its measurement are: frozen data, and the registry of flags.

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

Array = NDArray[Any]
Point = tuple[float, float]
Polygon = tuple[Point, ...]
Lab = tuple[float, float, float]

LocatedBy = Literal["marks", "mat", "search"]
ReferenceKind = Literal["card", "steps", "chart24"]
Light = Literal["daylight", "other"]

#: Every flag that a photo, a reference or a swatch can carry, with the sentence that explains it.
FLAGS: Mapping[str, str] = {
    # what the file says
    "no profile": "The file names no colour profile, so its numbers were read as sRGB.",
    "profile converted": (
        "The file's profile is an unusual one; its colours were converted to sRGB by the colour "
        "library in 8 bits, so strong colours may be cut off."
    ),
    "gain map": (
        "The file holds a gain map or HDR rendering. The phone may have changed tones from place "
        "to place: switch HDR off for colour photos."
    ),
    "raw": "A camera raw file, decoded linear and without the camera's own rendering.",
    # what the reference says
    "no reference": (
        "No grey card, steps or chart corrected this photo: the colour is the camera's opinion."
    ),
    "located by search": (
        "Found by the program, not marked by a person: look at where it was found before you "
        "trust the figures."
    ),
    "card clipped": "Part of the grey reference is at the end of what the camera can record.",
    "card uneven": "The grey reference is not of one grey: dirt, print, texture or glare on it.",
    "card tilted in the light": (
        "The light changes across the grey reference: it is tilted, or the light is very near."
    ),
    "card in shadow": "A shadow edge lies across the grey reference.",
    "tone curve not removed": (
        "One grey card cannot see how the camera bends light and dark: colours much lighter or "
        "darker than the card are uncertain. Neutral steps or a chart remove this."
    ),
    "steps not in order": "The neutral steps do not get darker in the order stated.",
    "reference does not fit": (
        "The reference's patches do not agree with their stated values after correction: another "
        "make or edition, worn, or in uneven light."
    ),
    "tone varies in the frame": (
        "Neutrals at two places disagree after correction: the phone changed tones by place, or "
        "the light differs between them."
    ),
    "light uneven": "The light changes over the frame and could not be corrected for.",
    "light field corrected": "Uneven light was measured on grey or paper and divided out.",
    "camera colours not corrected": (
        "Only neutrals corrected this photo; the camera's rendering of strong colours was not."
    ),
    # what the swatch says
    "clipped": "From 1 % of the swatch's pixels are at the end of what the camera can record.",
    "clipped beyond use": (
        "From 3 % of the swatch's pixels are at the end of what the camera can record: the colour "
        "is shown, but no lot is judged on it. Photograph it again, darker."
    ),
    "channel at zero": (
        "A colour channel is at zero in much of the swatch: the yarn is more saturated than the "
        "file can hold."
    ),
    "too dark": "The swatch is so dark that the camera's noise and veil shape its colour.",
    "glare": "Bright colourless spots in the swatch: sheen or a lamp mirrored in it.",
    "background left out": "Background seen between strands was left out of the mean.",
    "much left out": (
        "More than a fifth of the region was left out as background or clipped: mark less."
    ),
    "perhaps fluorescent": (
        "Brighter than a surface of this colour can be by reflection alone, or nearly so: it may "
        "fluoresce. A camera can prove this but never exclude it."
    ),
    "too few texture lengths": (
        "The region holds too few strands for its doubt to be known well: mark more yarn or go "
        "nearer."
    ),
    "scale unknown": "Nothing in the photo says how many millimetres a pixel is.",
    "not dry": "Measured wet or damp: wet yarn is darker and stronger in colour than dry.",
}

#: Flags under which no lot check says anything but "cannot tell" (design: flags, verdict).
FLAGS_THAT_STOP_A_VERDICT = frozenset({"clipped beyond use", "no reference"})


def check_flags(flags: frozenset[str]) -> frozenset[str]:
    """Return ``flags`` if all stand in :data:`FLAGS`, else raise ``KeyError``."""
    for name in flags:
        if name not in FLAGS:
            raise KeyError(f"flag {name!r} is not in the registry")
    return flags


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
    """A piece of yarn to measure: its name and outline."""

    name: str
    polygon: Polygon
    located: LocatedBy = "marks"
    confidence: float = 1.0


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


@dataclass(frozen=True)
class Settings:
    """What a person may set for a measurement; the defaults are printed with every result."""

    card_y: float = 0.18  # common practice: the photographic grey card, no single source
    card_lab_d50: Lab | None = None
    light: Light | None = None
    dry: bool | None = None
    allow_uncorrected: bool = False
    search: bool = True


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
        return {name: [math.sqrt(max(v, 0.0)) for v in np.diag(c)] for name, c in parts.items()}


@dataclass(frozen=True, eq=False)
class Measurement:
    """What one photo says of one swatch: CIELAB D65/2° with its doubt, flags and origin.

    ``neutrals``: how many neutrals of known reflectance corrected the tones (0 without a
    reference, 1 for a card alone). ``reference``: the best of "chart", "steps", "card", "none",
    as the tables of doubt count it. ``left_out``: share of the region's pixels by reason.
    ``shadow_sd``: standard deviation of ln Y at the strands' scale.
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
    "left_out_lab"} (D65/2°), the last only where a fit was made.
    """

    reference: Reference
    flags: frozenset[str]
    patches: tuple[Mapping[str, Any], ...] = ()
    used: bool = True

    def record(self) -> dict[str, Any]:
        ref = self.reference
        return {
            "kind": ref.kind,
            "located": ref.located,
            "confidence": ref.confidence,
            "used": self.used,
            "edition": ref.edition,
            "flags": sorted(self.flags),
            "patches": [dict(p) for p in self.patches],
        }


@dataclass(frozen=True, eq=False)
class PhotoMeasurement:
    """Everything that one photo gave. ``preview``: uint8 sRGB, long side 640, upright."""

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
