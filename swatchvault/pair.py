"""The two sides of a comparison, the conditions they were taken under, and repeat photos.

Frozen data, built from a new measurement here and from a stored one in `lotcheck`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ingest.colour import Floats, difference_terms
from ingest.doubt import NEUTRALS_FOR_A_CURVE, frame_of_its_own
from ingest.model import Light, Measurement
from swatchvault.errors import CompareError

#: Largest tolerance and kL; our choice, far above the ΔE00 of white and black, which is 100.
MOST_ALLOWED = 1000.0


class Capture(StrEnum):
    """How two photos belong together, best first."""

    SAME_FRAME = "same frame"
    LOCKED = "locked set-up"
    SAME_SETUP = "same set-up"
    OTHER = "other"

    @classmethod
    def named(cls, name: str) -> Capture:
        """The class of that name. Raises :class:`CompareError` for any other."""
        if name not in {c.value for c in cls}:
            names = ", ".join(f"'{c.value}'" for c in cls)
            raise CompareError(f"capture class '{name}' is not known: use one of {names}")
        return cls(name)


Greys = tuple[tuple[float, ...] | None, ...]


@dataclass(frozen=True, eq=False)
class Colour:
    """One side of a comparison, from one photo or the mean of several.

    ``lab``: (3,) CIELAB D65/2°. ``region_cov``: (3, 3), covariance of ``lab`` that is fresh in
    each region, of the mean where there are several; NaN where unknown. ``n_photos``: by how many
    what one frame is off by is divided. ``reference``: "card", "steps", "chart" or "none";
    ``neutrals``: how many neutrals it has, None if ``reference`` already counts fewer than six as a
    card. ``light``, ``form`` (skein, wound card, knit) and
    ``dyes`` (packets used) are None where unknown. ``shadow_sd``: standard deviation of ln Y at
    the strands' scale. ``photo_ids``: sha256 of the photos, by which one frame is known.
    ``frame_cov``: (3, 3) covariance of ``lab`` that a photo has on top of what the tables of doubt
    give its reference; another region of the same photo shares it.
    ``greys``: linear RGB of neutrals as the camera gave them, the mid grey first, by which a locked
    set-up is known; ``None`` where unknown, as a whole or one of them. Raises :class:`CompareError`
    for a ``lab`` that is not three finite numbers and for another shape of ``region_cov``.
    """

    lab: Floats
    region_cov: Floats
    reference: str
    name: str = ""
    neutrals: int | None = None
    n_photos: float = 1.0
    photo_ids: frozenset[str] = frozenset()
    greys: Greys | None = None
    light: Light | None = None
    flags: frozenset[str] = frozenset()
    form: str | None = None
    shadow_sd: float = math.nan
    dyes: frozenset[str] | None = None
    frame_cov: Floats = field(default_factory=lambda: np.zeros((3, 3)))

    def __post_init__(self) -> None:
        lab, cov = np.asarray(self.lab, dtype=float), np.asarray(self.region_cov, dtype=float)
        if lab.shape != (3,) or not np.all(np.isfinite(lab)):
            raise CompareError(f"{self.name or 'a colour'}: Lab is {lab}, needed three numbers")
        if cov.shape != (3, 3):
            raise CompareError(f"{self.name or 'a colour'}: covariance has shape {cov.shape}")
        object.__setattr__(self, "lab", lab)
        object.__setattr__(self, "region_cov", cov)

    @property
    def column(self) -> str:
        """The reference as the tables of doubt count it; without one, NaN will follow."""
        kind = "chart" if self.reference == "chart24" else self.reference
        if kind not in ("card", "steps", "chart"):
            return "none"
        few = self.neutrals is not None and self.neutrals < NEUTRALS_FOR_A_CURVE
        return "card" if few else kind

    @classmethod
    def from_measurement(cls, m: Measurement, **known: Any) -> Colour:
        """The colour of a measurement; ``known`` fills what a photo cannot say (light, form)."""
        told = (m.covariance.frame, m.lab, m.reference, known.get("light"), m.flags)
        own = frame_of_its_own(*told)
        fields = {"name": m.name, "flags": m.flags, "shadow_sd": m.shadow_sd, "frame_cov": own}
        return cls(m.lab, m.covariance.region, m.reference, **{**fields, **known})


#: Largest ratio, as a difference of logarithms, of the same grey in two photos of one locked
#: set-up: in level, and between its channels. Our choice: a lamp's drift and a card laid a
#: little elsewhere stay under it, a step of exposure or white balance does not.
LOCKED_LEVEL, LOCKED_COLOUR = 0.15, 0.03
#: What counts as black, so that it has a logarithm: under a tenth of an 8-bit code in linear light.
_BLACK = 3e-5


#: The same of neutrals from the lightest to the darkest, where a curve of tone that is not the same
#: parts them; those darker than this share of the mid grey are left out, for stray light moves them
#: more. First of two, a card and the paper beside it, then of more. Rendered photos of a locked
#: set-up, reference and pieces moved, the light 8 degrees about, up to 0.037 and 0.077; by two of
#: six curves that give one mid grey from 0.039 (on average 0.08) and 0.086 on. Two curves that
#: part card and paper by 0.02 are not told apart.
LOCKED_PAPER, LOCKED_CURVE, DARKEST = 0.045, 0.08, 0.25


def grey_table(greys: Sequence[Greys | None]) -> Floats:
    """(n, k, 3) linear RGB, the mid grey first; NaN where unknown. References of so many neutrals
    and of another number stand in columns of their own, so that no two of them meet."""
    lengths = sorted({len(g) for g in greys if g is not None})
    starts = dict(zip(lengths, np.cumsum([1, *(n - 1 for n in lengths)]), strict=False))
    table = np.full((len(greys), 1 + sum(n - 1 for n in lengths), 3), np.nan)
    for row, known in zip(table, greys, strict=True):
        if known is not None:
            rows = [(math.nan,) * 3 if g is None else g for g in known]
            start = starts[len(rows)]
            row[0], row[start : start + len(rows) - 1] = rows[0], np.reshape(rows[1:], (-1, 3))
    return table


def greys_differ(one: ArrayLike, other: ArrayLike) -> NDArray[np.bool_]:
    """(...) whether greys (..., k, 3) of :func:`grey_table` differ more than settings that are
    locked let them; an unknown one, NaN, differs from none."""
    light = [np.maximum(np.asarray(side, dtype=float), _BLACK) for side in (one, other)]
    ratio = np.log(light[1]) - np.log(light[0])
    mid, level = ratio[..., 0, :], ratio[..., 1:, :].mean(axis=-1)
    y = [side.mean(axis=-1) for side in light]
    known = ~np.isnan(level)
    for side in y:
        known &= ~(side[..., 1:] < DARKEST * side[..., :1])
    lowest = np.where(known, level, np.inf).min(axis=-1, initial=np.inf)
    highest = np.where(known, level, -np.inf).max(axis=-1, initial=-np.inf)
    return np.asarray(
        (np.abs(mid.mean(axis=-1)) > LOCKED_LEVEL)
        | (np.ptp(mid, axis=-1) > LOCKED_COLOUR)
        | (highest - lowest > np.where(known.sum(axis=-1) > 2, LOCKED_CURVE, LOCKED_PAPER))
    )


def capture_class(one: Colour, other: Colour, stated: Capture) -> Capture:
    """The class that counts for a pair of which ``stated`` is said: photos of a locked set-up whose
    greys differ are of the same set-up with settings free."""
    if stated is not Capture.LOCKED:
        return stated
    return Capture.SAME_SETUP if greys_differ(*grey_table((one.greys, other.greys))) else stated


def mean_of_photos(colours: Sequence[Colour]) -> Colour:
    """One colour from k photos of one swatch: mean Lab, region part divided by k.

    Several places in one photo count as one photo: what its frame is off by, all are off by, and
    the other side of a pair may have one place in it. Flags add up; what the photos do not agree on
    (light, form, dyes) becomes unknown. Raises :class:`CompareError` for no colour at all.
    """
    if not colours:
        raise CompareError("no photo of the swatch: at least one is needed")
    first = colours[0]
    photos = _of_each_photo(colours)
    counts = np.array([max(colours[i].n_photos for i in rows) for rows in photos])
    whole = counts / counts.sum()
    weights = np.empty(len(colours))
    for rows, weight in zip(photos, whole, strict=True):
        weights[rows] = weight / len(rows)
    cov = sum(w**2 * c.region_cov for w, c in zip(weights, colours, strict=True))
    frame = sum(
        w**2 * np.mean([colours[i].frame_cov for i in rows], axis=0)
        for w, rows in zip(whole, photos, strict=True)
    )
    columns = [c.column for c in colours]
    worst = next(kind for kind in ("none", "card", "steps", "chart") if kind in columns)

    def agreed(name: str) -> Any:
        values = {getattr(c, name) for c in colours}
        return values.pop() if len(values) == 1 else None

    return replace(
        first,
        lab=weights @ np.stack([c.lab for c in colours]),
        region_cov=np.asarray(cov),
        reference=worst,
        neutrals=None,
        n_photos=float(counts.sum()),
        photo_ids=frozenset().union(*(c.photo_ids for c in colours)),
        greys=_mean_greys([c.greys for c in colours]),
        flags=frozenset().union(*(c.flags for c in colours)),
        shadow_sd=float(weights @ np.array([c.shadow_sd for c in colours])),
        light="other" if any(c.light == "other" for c in colours) else agreed("light"),
        form=agreed("form"),
        dyes=agreed("dyes"),
        frame_cov=np.asarray(frame),
    )


def _of_each_photo(colours: Sequence[Colour]) -> list[list[int]]:
    """The places of the colours that are from the same photo; of an unknown one each by itself."""
    photos: dict[object, list[int]] = {}
    for place, c in enumerate(colours):
        photos.setdefault(c.photo_ids or place, []).append(place)
    return list(photos.values())


def _mean_greys(greys: Sequence[Greys | None]) -> Greys | None:
    """The mean of each grey that all know; the mid grey alone where they have not the same ones."""
    known = [g for g in greys if g is not None]
    if len(known) < len(greys):
        return None
    alike = len({len(g) for g in known}) == 1
    columns = zip(*(g if alike else g[:1] for g in known), strict=True)
    return tuple(None if None in c else tuple(np.mean(c, axis=0).tolist()) for c in columns)


@dataclass(frozen=True, eq=False)
class OwnFrame:
    """A dyer's own frame part: (3, 3) covariance on the axes at kL = 1, for one class and up."""

    cov: Floats
    capture: Capture


@dataclass(frozen=True)
class Conditions:
    """How a pair was taken and what it is held to.

    ``capture``: a class or its name. ``tolerance``: in ΔE00, ``k_l``: weight of lightness, both
    above 0 and up to :data:`MOST_ALLOWED`. ``light``: that of photos that say none. ``same_dyes``:
    None where unknown. ``own_frame``: what repeats of the set-up taught; None: the tables of doubt.
    Raises :class:`CompareError` for an unknown class and for a value out of its range.
    """

    capture: Capture
    tolerance: float = 2.0
    k_l: float = 2.0
    light: Light | None = None
    same_dyes: bool | None = None
    own_frame: OwnFrame | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "capture", Capture.named(self.capture))
        for name in ("tolerance", "k_l"):
            value = getattr(self, name)
            if not 0.0 < value <= MOST_ALLOWED:
                raise CompareError(
                    f"{name} is {value}, needed a number above 0 and up to {MOST_ALLOWED:g}: "
                    "such as 2.0"
                )


#: Fewest repeat photos of a swatch, and hues among the swatches, that a frame part is learnt from.
#: Our choice.
REPEATS, HUES = 10, 4


def own_frame(repeats: Sequence[ArrayLike], capture: Capture) -> OwnFrame:
    """The frame part learnt from repeat photos, each set up anew in the places lots are measured.

    ``repeats``: one (n, 3) array of Lab for each swatch, n >= 10, from at least four swatches
    of hues 30° or more apart (our choice of "different"). Raises :class:`CompareError` if fewer.
    """
    labs = [np.asarray(r, dtype=float).reshape(-1, 3) for r in repeats]
    short = [len(lab) for lab in labs if len(lab) < REPEATS]
    if short:
        many = f"{short[0]} repeat photo{'' if short[0] == 1 else 's'}"
        raise CompareError(f"one swatch has {many}, needed {REPEATS}: take more")
    means = [lab.mean(axis=0) for lab in labs]
    hues: list[float] = []
    for _, a, b in means:
        hue = math.degrees(math.atan2(b, a))
        if all(abs((hue - other + 180) % 360 - 180) >= 30 for other in hues):
            hues.append(hue)
    if len(hues) < HUES:
        raise CompareError(
            f"repeat photos show {len(hues)} different hue{'' if len(hues) == 1 else 's'}, needed "
            f"{HUES}: add swatches"
        )
    covs = []
    for lab, mean in zip(labs, means, strict=True):
        terms = difference_terms(mean, lab)
        covs.append(np.cov((terms.delta / terms.weights).T, ddof=1))
    cov = 2.0 * np.mean(covs, axis=0)  # a difference has two frames
    np.fill_diagonal(cov, np.trace(cov) / 3.0)
    return OwnFrame(cov, Capture.named(capture))
