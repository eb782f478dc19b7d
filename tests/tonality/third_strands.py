"""Strands put on one another as a field of heights, and plies twisted on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.model import Array
from tests.tonality.third_noise import F

#: How far the middle of a ply lies from the strand's, over the strand's half width, by the number
#: of plies: round plies that touch, brought in a little; our own.
PLY_MIDDLE = {2: 0.50, 3: 0.536, 4: 0.586}
#: Height under all yarn, mm.
NOTHING = -1e3
#: Phases of twist that strands take in turn.
PHASES = 4096


@dataclass(frozen=True, eq=False)
class Laid:
    """What is seen at each pixel, all (h, w) float32 unless said. ``height``: mm. ``run``: mm
    along the whole yarn, through all strands. ``across``: mm from the strand's axis, signed.
    ``half``: half its width there, mm. ``lean``: its direction, rad. ``strand``: int32, its
    number. ``x``, ``y``: mm, the place on a cloth whose strands are straight. ``yarn``: bool,
    whether there is yarn at all."""

    height: Array
    run: Array
    across: Array
    half: Array
    lean: Array
    strand: Array
    x: Array
    y: Array
    yarn: Array


class Canvas:
    """A photo of (h, w) pixels that strands are put on one after another; the highest is seen."""

    def __init__(self, shape: tuple[int, int], px_per_mm: float) -> None:
        self.shape, self.px_per_mm = shape, px_per_mm
        self._seen = {n: np.zeros(shape, F) for n in ("run", "across", "half", "lean", "y")}
        self._height = np.full(shape, NOTHING, F)
        self._strand = np.full(shape, -1, np.int32)
        self._count, self._run = 0, 0.0

    def put(self, axis: Array, height: Array, half: Array, next_mm: float) -> None:
        """One strand: (w,) its axis, height and half width, mm. ``next_mm``: yarn from its start
        to the start of the next."""
        number, run, px = self._count, self._run, self.px_per_mm
        self._count, self._run = number + 1, run + next_mm
        h, w = self.shape
        slope = np.gradient(axis * px)
        cos, lean = 1.0 / np.sqrt(1.0 + slope * slope), np.arctan(slope)
        reach = int(np.ceil((half / cos).max() * px)) + 1
        top = np.floor(axis * px).astype(np.int64)
        if top.max() + reach < 0 or top.min() - reach >= h:
            return
        rows = top[None, :] + np.arange(-reach, reach + 1)[:, None]
        down = (rows / px - axis[None]).astype(F)
        across = down * cos.astype(F)
        q = across / half.astype(F)
        r, k = np.nonzero((np.abs(q) < 1.0) & (rows >= 0) & (rows < h))
        at = rows[r, k] * w + k
        z = (height[k] + half[k] * np.sqrt(np.maximum(1.0 - q[r, k] ** 2, 0.0))).astype(F)
        won = z > self._height.reshape(-1)[at]
        r, k, at = r[won], k[won], at[won]
        self._height.reshape(-1)[at] = z[won]
        self._strand.reshape(-1)[at] = number
        length = np.cumsum(1.0 / cos) / px + run
        for name, value in (
            ("across", across[r, k]),
            ("half", half[k]),
            ("lean", lean[k]),
            ("run", length[k] + down[r, k] * np.sin(lean[k])),
            ("y", down[r, k] + F(axis.mean())),
        ):
            self._seen[name].reshape(-1)[at] = value

    def laid(self) -> Laid:
        """What is seen of all strands; where there is none, 1 mm below the lowest."""
        yarn = self._strand >= 0
        low = self._height[yarn].min()
        x = np.broadcast_to(np.arange(self.shape[1], dtype=F) / F(self.px_per_mm), self.shape)
        return Laid(
            height=np.where(yarn, self._height, low - F(1.0)),
            strand=self._strand,
            x=np.ascontiguousarray(x),
            yarn=yarn,
            **self._seen,
        )


def twisted(
    rng: np.random.Generator, laid: Laid, plies: int, width_mm: float
) -> tuple[Array, Array]:
    """(h, w) height, mm, with the plies on it, and direction of the fibres, rad."""
    sense = int(rng.choice([-1, 1]))
    q = np.clip(laid.across / np.maximum(laid.half, F(1e-3)), -1.0, 1.0)
    round_ = np.sqrt(1.0 - q * q)
    if plies == 1:
        turned = F(sense * np.deg2rad(rng.uniform(6.0, 22.0))) * round_
        ridge = np.sin(
            2.0 * np.pi * (laid.run / F(4.0 * width_mm) - laid.across / F(0.8 * width_mm))
        )
        height = laid.height + F(0.0125 * width_mm * rng.uniform(0.2, 0.6)) * ridge
        return height.astype(F), laid.lean + turned
    pitch_mm = width_mm * rng.uniform(2.3, 4.6)
    middle = PLY_MIDDLE[plies]
    best, slope, rim = _highest_ply(
        q,
        _turn(rng, laid, sense / pitch_mm, width_mm),
        plies,
        (1.0 - middle) * rng.uniform(1.06, 1.25),
    )
    full = F(rng.uniform(0.75, 1.0))
    height = laid.height + laid.half * full * (best - round_)
    lay_angle = np.arctan(slope * F(middle * np.pi * width_mm / pitch_mm * sense))
    own = F(-sense * np.deg2rad(rng.uniform(4.0, 16.0))) * np.sqrt(1.0 - rim * rim)
    return height.astype(F), (laid.lean + lay_angle + own).astype(F)


def _turn(rng: np.random.Generator, laid: Laid, turns_per_mm: float, width_mm: float) -> Array:
    """(h, w) how far the plies have turned, rad: four yarns in five, each strand from its own
    start; and a little faster here than there."""
    start = rng.uniform(0.0, 2.0 * np.pi, PHASES).astype(F)[laid.strand % PHASES]
    start = start * F(rng.random() < 0.8)
    turn = np.mod(F(2.0 * np.pi * turns_per_mm) * laid.run, F(2.0 * np.pi))
    return np.asarray(turn + start + F(0.7) * np.sin(laid.run * F(0.31 / width_mm) + start))


def _highest_ply(q: Array, turn: Array, plies: int, thick: float) -> tuple[Array, Array, Array]:
    """(h, w) of the ply on top at ``q`` half widths from the axis: its height in half widths, its
    slope across, and where on the ply, -1 to 1."""
    middle = F(PLY_MIDDLE[plies])
    best, slope, rim = np.full(q.shape, -9.0, F), np.zeros(q.shape, F), np.zeros(q.shape, F)
    for k in range(plies):
        sin, cos = (f(turn + F(2.0 * np.pi * k / plies)) for f in (np.sin, np.cos))
        d = (q - middle * cos) / F(thick)
        z = middle * sin + F(thick) * np.sqrt(np.maximum(1.0 - d * d, 0.0))
        up = (np.abs(d) < 1.0) & (z > best)
        best, slope, rim = np.where(up, z, best), np.where(up, -sin, slope), np.where(up, d, rim)
    return np.where(best < -1.0, F(-0.2), best), slope, rim
