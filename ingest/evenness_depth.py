"""What more or less dye does to a colour, and how much of it the blocks of a region show.

Depth of shade moves a colour by Kubelka-Munk, light scales it. Where the two directions differ,
ratios of channels tell depth apart from light.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ingest.colour import xyz_to_lab
from ingest.evenness_axes import axes
from ingest.evenness_cells import Blocks, ToXyz
from ingest.evenness_light import MOST_ALPHA, LightAndShade, ratios

Floats = NDArray[np.float64]

#: Linear light of undyed wool, as a share of white: our own plausible numbers, no source.
UNDYED = np.array([0.75, 0.68, 0.55])
#: Relative step of depth from which its direction is taken.
STEP = 0.05
#: Least change of ln R/G and ln B/G for one unit of ln depth that depth is told from light by.
LEAST_CHANGE = 0.02


@dataclass(frozen=True)
class Depth:
    """``off``: share, 0..1, of a change of depth that leaves the light line at this colour.
    ``unmixed``: spread of blocks, in ΔE00 units, if all that light does not explain were depth.
    ``with_light``: correlation of that with ln Y, -1..1."""

    off: float
    unmixed: float
    with_light: float


def deeper(light: Floats) -> Floats:
    """(3,) change of ln linear light for one unit of ln depth of shade at a colour (3,).

    Single-constant Kubelka-Munk in each channel: K/S of the colour less that of undyed wool grows
    with depth.
    """
    r = np.clip(light, 0.002, 0.99)
    own = (1.0 - UNDYED) ** 2 / (2.0 * UNDYED)
    dyed = np.maximum((1.0 - r) ** 2 / (2.0 * r), own)
    more = dyed + STEP * (dyed - own)
    before, after = (1.0 + k - np.sqrt(k * k + 2.0 * k) for k in (dyed, more))
    return np.asarray(np.log(after / before) / STEP)


def depth_of(found: Blocks, shade: LightAndShade, line: Floats, to_xyz: ToXyz) -> Depth:
    """How visible depth is at the mean colour, and how much of it the blocks show."""
    mean = found.light.mean(axis=0)
    change = deeper(mean)
    pair = xyz_to_lab(to_xyz(np.stack([mean, mean * np.exp(STEP * change)])))
    step = axes(pair[0], pair[1]) / STEP
    length = float(np.linalg.norm(step))
    off = float(np.linalg.norm(step - line * float(step @ line))) / max(length, 1e-6)
    ratio = np.array([change[0] - change[1], change[2] - change[1]])
    size = float(np.linalg.norm(ratio))
    along = ratio / max(size, 1e-3)
    t = np.log(np.maximum(np.asarray(to_xyz(found.light))[:, 1], 1e-6))
    t = t - t.mean()
    z = ratios(found.light)
    z = z - z.mean(axis=0)
    curve = shade.curve(t)
    curve = curve - curve.mean(axis=0)
    strengths = np.linspace(0.0, MOST_ALPHA, 6)
    best = min(strengths, key=lambda k: float(((z - k * curve) ** 2).sum()))
    halves = [ratios(half) for half in found.halves]
    parts = [(half - half.mean(axis=0) - best * curve) @ along for half in halves]
    shared = max(float(np.mean(parts[0] * parts[1])), 0.0)
    unmixed = float(np.sqrt(shared)) / max(size, LEAST_CHANGE) * length
    return Depth(off if length > 1e-6 else 1.0, unmixed, _correlation(z @ along, t))


def _correlation(a: Floats, b: Floats) -> float:
    spread = float(a.std() * b.std())
    return float(np.mean((a - a.mean()) * b)) / spread if spread > 1e-12 else 0.0
