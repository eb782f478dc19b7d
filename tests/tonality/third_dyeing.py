"""How dye lies on yarn that the third renderer has laid, and what its unevenness is.

Ranges are our own, measured nowhere. Where a kind is asked for so much unevenness, the spread of
its dye is looked for in a few steps.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from ingest.model import Array
from tests.tonality.photos import block_unevenness
from tests.tonality.third_dyes import Colours, Floats, Recipe, Wool, bands_to_xyz, colours
from tests.tonality.third_noise import F, along, smooth
from tests.tonality.third_strands import Laid

#: Pixels per mm that suffice while a spread is looked for, and steps of looking.
QUICK_PX_PER_MM, STEPS = 4, 4
#: Pixels per mm of the squares that dye is summed to before its unevenness is counted.
SQUARES_PER_MM = 8
#: Unevenness of a solid, ΔE00, over which its dye is evened out, and what is left then.
SOLID_MOST, SOLID_LEFT = 0.24, 0.2
#: Strands that have jitter of their own, and patches painted before they come again.
STRANDS, PATCHES = 4096, 4096


@dataclass(frozen=True)
class Dyeing:
    """``recipes``: the first is the ground. ``aim``: unevenness looked for, ΔE00, of semi-solid
    and graded yarn."""

    wool: Wool
    kind: str
    recipes: tuple[Recipe, ...]
    aim: float = 0.0


@dataclass(frozen=True, eq=False)
class Spread:
    """(h, w) ``first`` and ``second``: int, recipes that meet; ``share`` of the second, 0..1;
    ``ln_depth``."""

    first: Array
    second: Array
    share: Array
    ln_depth: Array

    def colour(self, table: Colours, every: int = 1) -> Array:
        """(h, w, 3) by a table, of each pixel or ``every`` so many."""
        cut = np.s_[every // 2 :: every, every // 2 :: every]
        parts = (self.first, self.second, self.share, self.ln_depth)
        return table.at(*(np.ascontiguousarray(p[cut]) for p in parts))


@dataclass(frozen=True, eq=False)
class Dyed:
    """(h, w, 3) ``xyz`` and ``raw``: the yarn evenly lit as eye and camera see it."""

    xyz: Array
    raw: Array
    unevenness: float


@dataclass(frozen=True, eq=False)
class Vat:
    """What the ways to dye need: the yarn, px per mm, and the eye's table."""

    rng: np.random.Generator
    laid: Laid
    px_per_mm: float
    xyz: Colours
    dyeing: Dyeing

    def cloth(self, down_mm: float, across_mm: float) -> Array:
        """(h, w) noise on the cloth, fetched where each strand's piece lies."""
        shape = self.laid.run.shape
        noise = smooth(self.rng, shape, (down_mm, across_mm), self.px_per_mm)
        return self.fetched(noise, self.laid.x, self.laid.y, self.px_per_mm)

    def fetched(self, field: Array, x_mm: Array, y_mm: Array, px_per_mm: float) -> Array:
        """A field on the cloth at places of it."""
        x, y = (np.asarray(n * F(px_per_mm), F) for n in (x_mm, y_mm))
        return np.asarray(
            cv2.remap(field, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101)
        )

    def unevenness(self, spread: Spread) -> float:
        """ΔE00 of the dye alone."""
        return dye_unevenness(spread.colour(self.xyz), self.laid.yarn, self.px_per_mm)

    def quick(self, spread: Spread) -> float:
        """The same of every so many pixels."""
        every = max(int(self.px_per_mm / QUICK_PX_PER_MM), 1)
        seen = self.laid.yarn[every // 2 :: every, every // 2 :: every].astype(F)
        return block_unevenness(spread.colour(self.xyz, every), seen, self.px_per_mm / every)

    def looked_for(
        self, dyed: Callable[[float], Spread], start: float, low: float, high: float
    ) -> Spread:
        """The spread ``dyed`` by so much as gives the aim, between ``low`` and ``high``."""
        much = start
        for _ in range(STEPS):
            got = max(self.quick(dyed(much)), 1e-3)
            much = float(np.clip(much * np.clip(self.dyeing.aim / got, 0.15, 4.0), low, high))
        return dyed(much)


def dye(
    rng: np.random.Generator,
    dyeing: Dyeing,
    laid: Laid,
    px_per_mm: float,
    fibre: Array,
    camera: Floats,
) -> Dyed:
    """Yarn dyed. ``fibre``: (h, w) noise along the fibres, which take up dye a little unevenly;
    ``camera``: (b, 3) what it makes of each band."""
    xyz, raw = colours(dyeing.wool, dyeing.recipes, [bands_to_xyz(), camera])
    vat = Vat(rng, laid, px_per_mm, xyz, dyeing)
    none = np.zeros(fibre.shape, np.int32)
    even = Spread(none, none, np.zeros(fibre.shape, F), F(rng.uniform(0.0, 0.15)) * fibre)
    spread = WAYS[dyeing.kind](vat, even)
    return Dyed(spread.colour(xyz), spread.colour(raw), vat.unevenness(spread))


def dye_unevenness(xyz: Array, yarn: Array, px_per_mm: float) -> float:
    """ΔE00 from their mean of 5 mm blocks of (h, w, 3) ``xyz``, of pixels that are yarn, summed to
    small squares first: blocks are far larger."""
    side = max(int(px_per_mm / SQUARES_PER_MM), 1)
    h, w = (n // side for n in yarn.shape)
    seen = yarn[: h * side, : w * side].astype(F)
    light = xyz[: h * side, : w * side] * seen[..., None]
    light, seen = (cv2.resize(a, (w, h), interpolation=cv2.INTER_AREA) for a in (light, seen))
    squares = light / np.maximum(seen, F(1e-6))[..., None]
    return block_unevenness(squares, seen, px_per_mm / side)


def _solid(vat: Vat, even: Spread) -> Spread:
    found = vat.unevenness(even)
    if found > SOLID_MOST:
        return replace(even, ln_depth=even.ln_depth * F(SOLID_LEFT / found))
    return even


def _semi_solid(vat: Vat, even: Spread) -> Spread:
    """Depth that varies over the cloth or along the yarn, in half of all longer along strands."""
    rng = vat.rng
    length = float(np.exp(rng.uniform(np.log(4.0), np.log(30.0))))
    ratio = float(rng.uniform(2.0, 6.0)) if rng.random() < 0.5 else 1.0
    field = vat.cloth(max(length / ratio, 1.0), length)
    if ratio > 1.0 and rng.random() < 0.35:
        rough = smooth(rng, field.shape, (max(length / ratio, 1.0), length), vat.px_per_mm)
        field = F(0.6) * rough + F(0.8) * along(rng, vat.laid.run, length)
    if rng.random() < 0.5:  # finer blotches on them
        finer = vat.cloth(max(length / ratio / 3.0, 1.0), length / 3.0)
        field = field + F(rng.uniform(0.2, 0.6)) * finer
    field = field - F(rng.uniform(0.0, 0.35)) * (field * field - 1.0)
    return vat.looked_for(
        lambda much: replace(even, ln_depth=even.ln_depth + F(much) * field), 0.15, 0.0, 0.75
    )


def _variegated(vat: Vat, even: Spread) -> Spread:
    """Patches along the yarn, or across all strands at about the same place."""
    rng, laid = vat.rng, vat.laid
    soft_mm, longest_mm = rng.uniform(1.0, 6.0), rng.uniform(16.0, 40.0)
    jitter = rng.normal(0.0, rng.uniform(0.5, 4.0), STRANDS)[laid.strand % STRANDS]
    run = laid.run if rng.random() < 0.5 else laid.x + jitter + 30.0
    first, second, share = patches(
        rng, np.maximum(run, 0.0), len(vat.dyeing.recipes), (8.0, longest_mm), soft_mm
    )
    depth = even.ln_depth + F(rng.uniform(0.0, 0.25)) * vat.cloth(5.0, 10.0)
    return Spread(first, second, share, depth)


def patches(
    rng: np.random.Generator,
    run: Array,
    recipes: int,
    length_mm: tuple[float, float],
    soft_mm: float,
) -> tuple[Array, Array, Array]:
    """(h, w) the recipe at ``run`` mm of yarn, that of the nearest other patch, and its share: half
    where they meet, none ``soft_mm`` away. No recipe comes twice running."""
    bounds = np.r_[0.0, np.cumsum(rng.uniform(*length_mm, PATCHES))]
    which = np.cumsum(np.r_[0, rng.integers(1, recipes, PATCHES - 1)]) % recipes
    at = np.mod(run.astype(np.float64), bounds[-2])
    here = np.clip(np.searchsorted(bounds, at) - 1, 0, PATCHES - 2)
    left, since = bounds[here + 1] - at, at - bounds[here]
    other = np.where(left < since, here + 1, np.maximum(here - 1, 0))
    part = np.clip(0.5 - 0.5 * np.minimum(left, since) / soft_mm, 0.0, 0.5)
    return which[here], which[other], (part * part * (3.0 - 2.0 * part)).astype(F)


def _speckled(vat: Vat, even: Spread) -> Spread:
    share = dots(vat, float(vat.rng.uniform(0.03, 0.19)))
    depth = even.ln_depth + F(vat.rng.uniform(0.0, 0.12)) * vat.cloth(8.0, 12.0)
    return Spread(even.first, even.second + 1, share, depth)


def dots(vat: Vat, cover: float) -> Array:
    """(h, w) share of the second recipe: round to long dots that break at the strands' edges, over
    about ``cover`` of the cloth."""
    rng, laid = vat.rng, vat.laid
    px = min(vat.px_per_mm, 6.0)
    h, w = (int(n * px / vat.px_per_mm) + 1 for n in laid.run.shape)
    radius, longer = rng.uniform(0.35, 1.6), rng.uniform(1.0, 2.5)
    area = np.pi * radius**2 * longer * 1.35  # of radii that vary, the mean square is larger
    count = int(-np.log(1.0 - cover) * (h * w / px**2) / area) + 1
    drawn = np.zeros((h, w), np.uint8)
    for k in range(2 * count):
        if k % max(count // 25, 1) == 0 and (drawn > 90).mean() >= cover:
            break
        r = radius * np.exp(rng.normal(0.0, 0.35)) * px * 8.0  # drawn in eighths of a pixel
        middle = (int(rng.uniform(0.0, w) * 8), int(rng.uniform(0.0, h) * 8))
        axes, strength = (int(r * longer) + 4, int(r) + 4), int(rng.uniform(120, 255))
        turn = rng.normal(0.0, 20.0)
        cv2.ellipse(drawn, middle, axes, turn, 0, 360, strength, -1, cv2.LINE_AA, 3)
    drawn = cv2.GaussianBlur(drawn, (0, 0), rng.uniform(0.12, 0.45) * px).astype(F) / 255.0
    jitter = rng.normal(0.0, rng.uniform(0.1, 0.8), STRANDS).astype(F)[laid.strand % STRANDS]
    return vat.fetched(drawn, laid.x + jitter, laid.y + F(0.4) * jitter, px)


def _gradient(vat: Vat, even: Spread) -> Spread:
    """From one recipe towards another, or to another depth, over the cloth in any direction."""
    rng, laid = vat.rng, vat.laid
    angle = rng.uniform(0.0, 2.0 * np.pi)
    way = F(np.cos(angle)) * laid.x + F(np.sin(angle)) * laid.y
    way = (way - way.min()) / max(float(np.ptp(way)), 1e-3) + F(0.04) * vat.cloth(10.0, 10.0)
    way = np.clip(way, 0.0, 1.0) ** F(rng.uniform(0.7, 1.5))
    if len(vat.dyeing.recipes) > 1:
        other = even.second + 1
        return vat.looked_for(
            lambda much: replace(even, second=other, share=F(much) * way), 1.0, 0.03, 1.0
        )
    return vat.looked_for(
        lambda much: replace(even, ln_depth=even.ln_depth + F(much) * (way - F(0.5))),
        0.5,
        0.02,
        1.6,
    )


#: How each kind is dyed.
WAYS: dict[str, Callable[[Vat, Spread], Spread]] = {
    "solid": _solid,
    "semi-solid": _semi_solid,
    "variegated": _variegated,
    "speckled": _speckled,
    "gradient": _gradient,
}
