"""How dye lies in a yarn: a path of depths, its evenness, and a table from depth to colour.

A :class:`Dyeing` names dyes at depths of shade in % at one or more knots of a path; a pixel has a
place on the path (``t``, in knots) and a factor on all depths there (``ln_f``, its natural
logarithm). Colour is looked up in a table over (t, ln_f) made by Kubelka-Munk spectra.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tests.render import spectra
from tests.render.camera import Shot, raw_rgb
from tests.render.strands import Tubes

LN_F_MAX = 1.2
_PER_KNOT = 96
_N_F = 97


@dataclass(frozen=True)
class Dyeing:
    """A colourway's dye on a base.

    ``knots``: tuples of (dye, depth in %) pairs. ``kind``: solid, semi-solid, speckled, gradient
    or variegated. ``tonal_sd``: standard deviation of ln depth. ``patch_mm``: size of tonal
    patches, or length of a colour in variegated yarn. ``specks_per_cm2``: of a skein.
    ``drift``: standard deviation, in knots, with which semi-solid yarn wanders between its first
    two knots. ``core_halo``: ln depth of a strand's rim over its crest.
    """

    base: str
    knots: tuple[tuple[tuple[str, float], ...], ...]
    kind: str = "solid"
    tonal_sd: float = 0.012
    patch_mm: float = 25.0
    specks_per_cm2: float = 6.0
    drift: float = 0.0
    core_halo: float = 0.0

    def depths(self, t: np.ndarray, ln_f: np.ndarray) -> Mapping[str, np.ndarray]:
        """Depth of shade in % of each dye at places on the path."""
        names = sorted({name for knot in self.knots for name, _ in knot})
        at = np.arange(len(self.knots), dtype=float)
        table = [[dict(knot).get(name, 0.0) for knot in self.knots] for name in names]
        factor = np.exp(ln_f)
        return {n: np.interp(t, at, row) * factor for n, row in zip(names, table, strict=True)}

    def reflectance(self, t: np.ndarray, ln_f: np.ndarray) -> np.ndarray:
        """(..., 81) reflectance at places on the path, without any table."""
        t, ln_f = np.broadcast_arrays(t, ln_f)
        r = spectra.dyed_reflectance(spectra.base_reflectance(self.base), self.depths(t, ln_f))
        return np.broadcast_to(r, (*t.shape, spectra.N_WL))  # undyed yarn has no depth to follow


def _unbend(u: np.ndarray) -> np.ndarray:
    """Place on the path of a table row: rows lie close near knots, where little dye does much."""
    whole = np.floor(u)
    return whole + np.sin((u - whole) * np.pi / 2.0) ** 2


def _bend(t: np.ndarray) -> np.ndarray:
    """Inverse of :func:`_unbend`."""
    whole = np.floor(t)
    return whole + np.arcsin(np.sqrt(t - whole)) * (2.0 / np.pi)


@lru_cache(maxsize=16)
def _spectral_table(dyeing: Dyeing) -> np.ndarray:
    n_t = max((len(dyeing.knots) - 1) * _PER_KNOT + 1, 2)
    t = _unbend(np.linspace(0.0, len(dyeing.knots) - 1, n_t))
    ln_f = np.linspace(-LN_F_MAX, LN_F_MAX, _N_F)
    return dyeing.reflectance(*np.meshgrid(t, ln_f, indexing="ij"))


def camera_table(dyeing: Dyeing, shot: Shot, bounces: int = 0) -> np.ndarray:
    """(n_t, n_f, 3) float32 balanced sensor signal of flat yarn in even light.

    ``bounces``: how often the light met the yarn before (R to the power of ``bounces`` + 1).
    """
    spectra_ = _spectral_table(dyeing) ** (1 + bounces)
    return raw_rgb(spectra_, shot.light, shot.camera, shot.wb_error).astype(np.float32)


def xyz_table(dyeing: Dyeing, bounces: int = 0) -> np.ndarray:
    """(n_t, n_f, 3) float32 XYZ under D65 of flat yarn; ``bounces`` as in :func:`camera_table`."""
    return spectra.xyz(_spectral_table(dyeing) ** (1 + bounces)).astype(np.float32)


def look_up(table: np.ndarray, dyeing: Dyeing, t: np.ndarray, ln_f: np.ndarray) -> np.ndarray:
    """(h, w, 3) values of a table at fields (h, w), linear between its entries."""
    import cv2

    row = np.zeros(t.shape)
    if len(dyeing.knots) > 1:
        row = _bend(np.clip(t, 0.0, len(dyeing.knots) - 1)) * _PER_KNOT
    column = (np.clip(ln_f, -LN_F_MAX, LN_F_MAX) / LN_F_MAX + 1.0) / 2.0 * (table.shape[1] - 1)
    maps = column.astype(np.float32), row.astype(np.float32)
    return cv2.remap(table, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


# ---------------------------------------------------------------------------------------------
# Fields over a raster of yarn
# ---------------------------------------------------------------------------------------------


def smooth_noise(rng: np.random.Generator, n: int, sigma: float) -> np.ndarray:
    """(n,) Gaussian noise smoothed over ``sigma`` samples, unit standard deviation."""
    from scipy.ndimage import gaussian_filter1d

    pad = int(4 * sigma) + 8
    values = gaussian_filter1d(rng.normal(size=n + 2 * pad), max(sigma, 0.3))[pad:-pad]
    return values / values.std()


def smooth_field(rng: np.random.Generator, shape: tuple[int, int], sigma: float) -> np.ndarray:
    """(h, w) Gaussian noise smoothed over ``sigma`` pixels, unit standard deviation expected."""
    import cv2

    step = max(1, int(sigma / 3.0))
    small = (shape[0] // step + 8, shape[1] // step + 8)
    pad = int(3 * sigma / step) + 2
    noise = rng.normal(size=(small[0] + 2 * pad, small[1] + 2 * pad)).astype(np.float32)
    noise = cv2.GaussianBlur(noise, (0, 0), max(sigma / step, 0.3))
    noise = noise[pad:-pad, pad:-pad] * (2.0 * np.sqrt(np.pi) * max(sigma / step, 0.3))
    big = cv2.resize(noise, (small[1] * step, small[0] * step), interpolation=cv2.INTER_CUBIC)
    return big[: shape[0], : shape[1]]


def _along(tubes: Tubes, values: np.ndarray, nearest: bool = False) -> np.ndarray:
    """A function of place on the yarn (samples over its whole length), seen on the raster.

    ``nearest``: for places on a path of colours, between which no mean has a meaning.
    """
    place = tubes.along * (np.float32(len(values) - 1) / tubes.length_mm)
    if nearest:
        return values[np.clip(np.rint(place).astype(np.int64), 0, len(values) - 1)]
    at = np.arange(len(values))
    return np.interp(place.ravel(), at, values).reshape(tubes.shape)


def _tonal(rng: np.random.Generator, dyeing: Dyeing, tubes: Tubes) -> np.ndarray:
    """Unit-variance unevenness with patches of ``patch_mm``."""
    sigma_mm = dyeing.patch_mm / 2.5
    n = int(tubes.length_mm / 0.5)
    own = _along(tubes, smooth_noise(rng, n, sigma_mm / 0.5))
    if not tubes.pooled:
        return own
    together = _field_mm(rng, tubes, sigma_mm)
    return np.sqrt(0.72) * together + np.sqrt(0.28) * own


def _field_mm(rng: np.random.Generator, tubes: Tubes, sigma_mm: float) -> np.ndarray:
    """Unit-variance smooth field that does not change with the raster's resolution."""
    import cv2

    h, w = tubes.shape
    grid = [max(round(n / tubes.px_per_mm * 3.0 / sigma_mm), 4) for n in (h, w)]
    coarse = smooth_field(rng, (grid[0], grid[1]), 3.0).astype(np.float32)
    return cv2.resize(coarse, (w, h), interpolation=cv2.INTER_CUBIC)


def _specks(rng: np.random.Generator, dyeing: Dyeing, tubes: Tubes) -> np.ndarray:
    """0 on the ground, up to 1 in a speck of the first colour; 2 to 3 of the second, and so on."""
    pairs = len(dyeing.knots) // 2
    if tubes.pooled:
        return _specks_flat(rng, dyeing, tubes, pairs)
    step = 0.05
    t = np.zeros(int(tubes.length_mm / step))
    # A strand in the skein caught the specks that fell within its own width of some 1.5 mm.
    count = int(tubes.length_mm * dyeing.specks_per_cm2 / 100.0 * 1.5)
    for centre in rng.uniform(0, tubes.length_mm, count):
        half = float(np.clip(rng.lognormal(0.1, 0.5), 0.4, 4.0))
        lo, hi = (int(np.clip((centre + k * half) / step, 0, len(t))) for k in (-3, 3))
        away = np.abs(np.arange(lo, hi) * step - centre) / half
        _put(t, slice(lo, hi), np.exp(-(away**2.5)), rng, pairs)
    return _along(tubes, t, nearest=True)


def _specks_flat(rng: np.random.Generator, dyeing: Dyeing, tubes: Tubes, pairs: int) -> np.ndarray:
    """Specks strewn on an open skein, broken up where strands have moved against each other."""
    h, w = tubes.shape
    px = tubes.px_per_mm
    t = np.zeros((h, w))
    for _ in range(int(h * w / px**2 / 100.0 * dyeing.specks_per_cm2)):
        half = float(np.clip(rng.lognormal(-0.1, 0.55), 0.3, 3.5)) * px
        cx, cy = rng.uniform(0, w), rng.uniform(0, h)
        x0, x1 = int(max(cx - 3 * half, 0)), int(min(cx + 3 * half, w))
        y0, y1 = int(max(cy - 3 * half, 0)), int(min(cy + 3 * half, h))
        if x1 <= x0 or y1 <= y0:
            continue
        gx, gy = np.meshgrid(np.arange(x0, x1) - cx, np.arange(y0, y1) - cy)
        away = np.hypot(gx, gy) / half
        _put(t, (slice(y0, y1), slice(x0, x1)), np.exp(-(away**2.5)), rng, pairs)
    moved = rng.normal(0, 2.2 * px, int(tubes.strand.max()) + 2)[tubes.strand].astype(int)
    columns = np.clip(np.arange(w)[None, :] + moved, 0, w - 1)
    return t[np.arange(h)[:, None], columns]


def _put(t: np.ndarray, where: object, shape: np.ndarray, rng: np.random.Generator, pairs: int):
    """Add a speck of a random colour: where it is stronger than what lies there, it covers it."""
    pair = 2.0 * int(rng.integers(0, max(pairs, 1)))
    strength = rng.uniform(0.3, 1.0) * shape
    old = t[where]
    # Knots stand at whole places, ground at even ones; a speck never leaves its own stretch.
    level = old - 2.0 * np.floor(old / 2.0 - 1e-9).clip(0)
    t[where] = np.where((strength > level) & (strength > 0.02), pair + np.minimum(strength, 1), old)


def _variegated(rng: np.random.Generator, dyeing: Dyeing, tubes: Tubes) -> np.ndarray:
    """Colour after colour along the yarn, each about ``patch_mm`` long, with soft borders."""
    n_knots = len(dyeing.knots)
    period = n_knots * dyeing.patch_mm
    along = tubes.along
    if tubes.pooled:  # painted across the open skein: the same place in every strand
        jitter = rng.normal(0, 0.08 * dyeing.patch_mm, int(tubes.strand.max()) + 2)
        along = np.mod(along, _turn_mm(tubes)) + jitter[tubes.strand]
    wander = smooth_noise(rng, int(tubes.length_mm / 2.0), 40.0) * 0.12 * dyeing.patch_mm
    place = np.mod(along + _along(tubes, wander), period) / dyeing.patch_mm
    whole = np.floor(place)
    part = np.clip((place - whole - 0.72) / 0.28, 0.0, 1.0)
    soft = whole + part * part * (3.0 - 2.0 * part)
    # Back from the last colour to the first: the last knot must repeat the first one.
    return np.minimum(soft, n_knots - 1)


def _turn_mm(tubes: Tubes) -> float:
    return 4.03 * tubes.shape[1] / tubes.px_per_mm


def fields(rng: np.random.Generator, dyeing: Dyeing, tubes: Tubes) -> tuple[np.ndarray, np.ndarray]:
    """``t`` and ``ln_f`` (h, w) over a raster of yarn."""
    t = np.zeros(tubes.shape)
    if dyeing.kind == "speckled":
        t = _specks(rng, dyeing, tubes)
    elif dyeing.kind == "variegated":
        t = _variegated(rng, dyeing, tubes)
    elif dyeing.kind == "gradient":
        h, w = tubes.shape
        place = tubes.along / tubes.along.max()
        if tubes.pooled:
            place = np.broadcast_to(np.arange(w) / w, (h, w)) + 0.03 * _tonal(rng, dyeing, tubes)
        t = np.clip(place, 0.0, 1.0) * (len(dyeing.knots) - 1)
    ln_f = dyeing.tonal_sd * _tonal(rng, dyeing, tubes)
    if dyeing.kind == "semi-solid" and dyeing.drift:
        t = np.clip(0.5 + dyeing.drift * _tonal(rng, dyeing, tubes), 0.0, 1.0)
    if dyeing.core_halo:
        ln_f = ln_f + dyeing.core_halo * (tubes.across**2 - 1.0 / 3.0)
    return t.astype(np.float32), ln_f.astype(np.float32)
