"""Dye along a yarn, and what colour it gives: light that crosses dyed fibre by Beer and Lambert.

A liquor is so much absorbance in each of a few bands of the spectrum; in each band a fibre sends
back a little at its surface, and of the rest what gets through the dye. Dyes and bases are our
own, plausible and invented; colour-science's copies of the CIE 1931 observer and of D65 weigh the
bands.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from ingest.colour import D65, SRGB_TO_XYZ, xyz_to_lab
from ingest.model import Array
from tests.tonality.other_lay import wander

Floats = NDArray[np.float64]

#: Middles of the bands and their width, nm.
BAND_NM = 30.0
BANDS_NM = np.arange(415.0, 690.0, BAND_NM)
#: Light that fibre sends back unfiltered, as a share of white.
SURFACE = 0.02
#: Absorbance of each dye at full strength, as (peak in nm, width in nm, height).
DYES: dict[str, tuple[tuple[float, float, float], ...]] = {
    "yellow": ((430.0, 40.0, 1.0),),
    "orange": ((475.0, 42.0, 1.0), (400.0, 50.0, 0.4)),
    "red": ((515.0, 38.0, 1.0), (420.0, 60.0, 0.35)),
    "rose": ((545.0, 30.0, 1.0), (510.0, 30.0, 0.45)),
    "violet": ((570.0, 40.0, 1.0), (690.0, 60.0, 0.10)),
    "blue": ((605.0, 48.0, 1.0), (400.0, 30.0, 0.15)),
    "turquoise": ((660.0, 45.0, 1.0), (615.0, 35.0, 0.5)),
    "brown": ((400.0, 110.0, 1.0), (520.0, 90.0, 0.45), (650.0, 120.0, 0.25)),
    "black": ((520.0, 230.0, 1.0), (640.0, 60.0, 0.10)),
    "slate": ((500.0, 170.0, 0.75), (660.0, 120.0, 0.45)),
}
#: Undyed fibre, as a share of white at 400, 475, 550 and 700 nm.
BASES = {
    "white": (0.74, 0.84, 0.87, 0.88),
    "cream": (0.48, 0.66, 0.76, 0.82),
    "silver": (0.34, 0.40, 0.43, 0.46),
}
#: Side of the table of dye: mm along the yarn, and sectors round it.
TABLE_MM, SECTORS = 0.5, 12


@dataclass(frozen=True)
class Dyeing:
    """How a yarn is dyed. ``liquors``: each a recipe of (dye, absorbance at its peak). ``spread``:
    standard deviation of ln depth along the yarn; ``breaks``: the same of one dye against the
    others. ``patch_mm``: length of patches. ``round_mm``: yarn after which the pot's pattern comes
    again; ``shared``: share of the spread that does. ``blend_mm``: how far liquors run into each
    other. ``cover``: share of the yarn under specks of ``speck_mm``. ``dipped``: whether a gradient
    runs along each round of the pot, not over the whole yarn."""

    base: str
    kind: str
    liquors: tuple[tuple[tuple[str, float], ...], ...]
    spread: float = 0.0
    breaks: float = 0.0
    patch_mm: float = 30.0
    round_mm: float = 1500.0
    shared: float = 0.5
    blend_mm: float = 5.0
    cover: float = 0.06
    speck_mm: float = 1.5
    dipped: bool = False


@dataclass(frozen=True, eq=False)
class Dyed:
    """Dye on the pieces of a yarn. ``amounts``: (k, n, sectors, j) share or depth of liquors, in
    steps of :data:`TABLE_MM` along each piece; ``absorbances``: (j, b); ``undyed``: (b,)."""

    amounts: Array
    absorbances: Floats
    undyed: Floats

    def reflectance(self, piece: NDArray[np.int64], along: Array, around: Array) -> Array:
        """(..., b) float32, 0..1."""
        _, n, sectors, _ = self.amounts.shape
        at = np.minimum((along / np.float32(TABLE_MM)).astype(np.int64), n - 1)
        sector = (around * np.float32(sectors / (2.0 * np.pi))).astype(np.int64) % sectors
        taken = self.amounts[piece, at, sector] @ (-self.absorbances).astype(np.float32)
        np.exp(taken, out=taken)
        taken *= (self.undyed - SURFACE).astype(np.float32)
        taken += np.float32(SURFACE)
        return np.asarray(taken)


@cache
def bands_to_xyz() -> Floats:
    """(b, 3) XYZ under D65 of light in each band; all bands together are white, Y = 1."""
    import warnings

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about packages that it can live without
        import colour
    seen = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    light = colour.SDS_ILLUMINANTS["D65"]
    nm = np.arange(400.0, 701.0, 5.0)
    cmfs = np.array([seen[float(n)] for n in nm]) * np.array([light[float(n)] for n in nm])[:, None]
    band = np.clip(np.rint((nm - BANDS_NM[0]) / BAND_NM), 0, len(BANDS_NM) - 1).astype(int)
    summed = np.stack([np.bincount(band, cmfs[:, c]) for c in range(3)], axis=-1)
    return np.asarray(summed / summed.sum(axis=0) * D65)


@cache
def bands_to_rgb() -> Floats:
    """(b, 3) linear sRGB of the same."""
    return np.asarray(bands_to_xyz() @ np.linalg.inv(SRGB_TO_XYZ).T)


def undyed(base: str) -> Floats:
    """(b,) reflectance of a base."""
    return np.interp(BANDS_NM, [400.0, 475.0, 550.0, 700.0], BASES[base])


def absorbance(recipe: tuple[tuple[str, float], ...]) -> Floats:
    """(b,) of a liquor."""
    total = np.zeros(len(BANDS_NM))
    for name, depth in recipe:
        for peak, width, height in DYES[name]:
            total += depth * height * np.exp(-0.5 * ((BANDS_NM - peak) / width) ** 2)
    return total


def colours(dyeing: Dyeing) -> Floats:
    """(j, 3) Lab of each liquor on the base, as it would dye a solid."""
    white = undyed(dyeing.base) - SURFACE
    taken = np.exp(-np.stack([absorbance(r) for r in dyeing.liquors]))
    return xyz_to_lab((SURFACE + white * taken) @ bands_to_xyz())


def dye(rng: np.random.Generator, dyeing: Dyeing, starts: Floats, lengths_mm: Floats) -> Dyed:
    """A yarn dyed: its pieces start so many mm along the yarn and are so long."""
    n = int(float(lengths_mm.max()) / TABLE_MM) + 2
    at = starts[:, None] + TABLE_MM * np.arange(n)
    way = {
        "solid": _evenly,
        "semi-solid": _unevenly,
        "variegated": _in_patches,
        "speckled": _in_specks,
        "gradient": _slowly,
    }
    amounts, recipes = way[dyeing.kind](rng, dyeing, at)
    taken = np.stack([absorbance(r) for r in recipes])
    return Dyed(amounts.astype(np.float32), taken, undyed(dyeing.base))


_Amounts = tuple[Floats, tuple[tuple[tuple[str, float], ...], ...]]


def _evenly(rng: np.random.Generator, dyeing: Dyeing, at: Floats) -> _Amounts:
    return np.ones((*at.shape, 1, 1)), dyeing.liquors[:1]


def along_the_yarn(rng: np.random.Generator, dyeing: Dyeing, at: Floats) -> Floats:
    """(k, n) smooth noise of standard deviation 1: part comes again with each round of the pot,
    part is the yarn's own, long patches with shorter ones on them."""
    around = wander(rng, (int(dyeing.round_mm / TABLE_MM),), dyeing.patch_mm / TABLE_MM)
    place = (at / TABLE_MM).astype(np.int64) % len(around)
    steps = at.shape[1] * 2
    whole = np.zeros(at.shape)
    for scale, weight in ((1.0, 0.85), (0.3, 0.53)):  # 0.85² + 0.53² = 1
        length = max(scale * dyeing.patch_mm / TABLE_MM, 1.0)
        order = np.argsort(at[:, 0])
        # Pieces that follow upon each other take their part of one long run.
        first = np.zeros(len(at), np.int64)
        gaps = np.minimum(np.diff(at[order, 0]) / TABLE_MM, steps).astype(np.int64)
        first[order[1:]] = np.cumsum(gaps)
        run = wander(rng, (int(first.max()) + at.shape[1] + 1,), length)
        whole += weight * run[first[:, None] + np.arange(at.shape[1])]
    return np.sqrt(dyeing.shared) * around[place] + np.sqrt(1.0 - dyeing.shared) * whole


def _unevenly(rng: np.random.Generator, dyeing: Dyeing, at: Floats) -> _Amounts:
    """One recipe at depths that vary; the mean depth is the recipe's."""
    (recipe,) = dyeing.liquors
    depth = np.exp(dyeing.spread * along_the_yarn(rng, dyeing, at))
    amounts = np.repeat((depth / depth.mean())[..., None], len(recipe), axis=-1)
    if dyeing.breaks and len(recipe) > 1:
        own = np.exp(dyeing.breaks * along_the_yarn(rng, dyeing, at))
        amounts[..., 0] *= own
        amounts[..., 0] /= amounts[..., 0].mean()
    return amounts[:, :, None, :], tuple((part,) for part in recipe)


def _in_patches(rng: np.random.Generator, dyeing: Dyeing, at: Floats) -> _Amounts:
    """Liquors one after another round the skein, each turn a little off the last."""
    for _ in range(40):
        bounds, which = _painted(rng, dyeing)
        turn = (at // dyeing.round_mm).astype(np.int64)
        turn -= turn.min()
        off = rng.normal(0.0, 0.25 * dyeing.patch_mm, turn.max() + 1)
        place = np.mod(at + off[turn], dyeing.round_mm)
        found = np.searchsorted(bounds, place, side="right") - 1
        shares = np.eye(len(dyeing.liquors))[which[found]]
        if shares.mean(axis=(0, 1)).max() < 0.8:
            break
    from scipy.ndimage import gaussian_filter1d

    shares = gaussian_filter1d(shares, dyeing.blend_mm / TABLE_MM, axis=1, mode="nearest")
    if dyeing.spread:
        shares *= np.exp(dyeing.spread * along_the_yarn(rng, dyeing, at))[..., None]
    return shares[:, :, None, :], dyeing.liquors


def _painted(rng: np.random.Generator, dyeing: Dyeing) -> tuple[Floats, NDArray[np.int64]]:
    """Starts of patches round the skein, mm, and which liquor each has: never one twice running."""
    count = max(int(dyeing.round_mm / dyeing.patch_mm), 3)
    lengths = rng.uniform(0.5, 1.5, count)
    bounds = np.cumsum(np.r_[0.0, lengths[:-1]]) / lengths.sum() * dyeing.round_mm
    liquors = len(dyeing.liquors)
    steps = rng.integers(1, liquors, count)
    return bounds, (rng.integers(liquors) + np.cumsum(steps)) % liquors


def _in_specks(rng: np.random.Generator, dyeing: Dyeing, at: Floats) -> _Amounts:
    """A ground, the first liquor, with specks of the others, each on one side of the yarn."""
    from scipy.ndimage import gaussian_filter

    k, n = at.shape
    long, wide = dyeing.speck_mm / TABLE_MM, 0.28 * SECTORS
    count = int(k * n * SECTORS * dyeing.cover / (np.pi / 4.0 * long * wide))
    shares = np.zeros((len(dyeing.liquors), k, n, SECTORS), np.float32)
    shares[0] = 1.0
    size = np.exp(rng.normal(0.0, 0.35, count))
    piece, place = rng.integers(k, size=count), rng.integers(n, size=count)
    middle = rng.integers(SECTORS, size=count)
    which = rng.integers(1, len(dyeing.liquors), count)
    for a in range(-int(2 * long) - 1, int(2 * long) + 2):
        for b in range(-SECTORS // 2, SECTORS // 2):
            inside = (a / (0.5 * long * size)) ** 2 + (b / (0.5 * wide * size)) ** 2 <= 1.0
            rows = np.clip(place[inside] + a, 0, n - 1)
            shares[which[inside], piece[inside], rows, (middle[inside] + b) % SECTORS] = 1.0
    soft = gaussian_filter(
        shares, (0.0, 0.0, dyeing.blend_mm / TABLE_MM, 0.4), mode=("nearest",) * 3 + ("wrap",)
    )
    return np.moveaxis(soft, 0, -1), dyeing.liquors


def _slowly(rng: np.random.Generator, dyeing: Dyeing, at: Floats) -> _Amounts:
    """From the first liquor to the last over the yarn that is seen, or along its strands."""
    place = np.mod(at, dyeing.round_mm) if dyeing.dipped else at
    low, high = np.quantile(place, [0.05, 0.95]) if dyeing.dipped else (at.min(), at.max())
    part = np.clip((place - low) / (high - low), 0.0, 1.0) * (len(dyeing.liquors) - 1)
    knots = np.arange(len(dyeing.liquors))
    shares = np.maximum(1.0 - np.abs(part[..., None] - knots), 0.0)
    depth = np.exp(dyeing.spread * along_the_yarn(rng, dyeing, at))
    return (shares * (depth / depth.mean())[..., None])[:, :, None, :], dyeing.liquors
