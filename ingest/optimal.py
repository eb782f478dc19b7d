"""Whether a colour can be that of a reflecting surface: the optimal-colour solid under D65, 2°.

No surface that only reflects is lighter, at its chromaticity, than the one that reflects all
light in one band of wavelengths (or outside one) and none elsewhere (MacAdam 1935, after
Schrödinger 1920). The solid here is the convex hull of the XYZ of all such bands in steps of
5 nm. Beyond it, light must come from elsewhere: the surface fluoresces, or the photo is wrong.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ingest.colour import D65, lab_to_xyz
from ingest.observer import TABLE

Floats = NDArray[np.float64]

#: Share of the limit from which a colour is noted as near it. Our choice: printed papers and dyed
#: yarns without brighteners stay under about 0.8 of it in the published reflectances tried.
NEAR = 0.95
#: Draws of the doubt, and the share of them beyond the limit that is taken as proof. Our choice.
DRAWS, PROOF = 400, 0.975


def limit_ratio(xyz: ArrayLike) -> Floats:
    """How far out colours (..., 3) lie: 1 on the limit, over 1 beyond it; white has Y = 1.

    Distance from mid-grey, the solid's centre of symmetry, over the distance at which the same
    direction leaves the solid. Black lies on the limit too, so a dark colour is near it without
    meaning anything: see :func:`light_ratio`.
    """
    normals, offsets = _solid()
    centre = 0.5 * D65
    along = (np.asarray(xyz, dtype=float) - centre) @ normals.T
    return np.asarray((along / -(normals @ centre + offsets)).max(axis=-1))


def light_ratio(xyz: ArrayLike) -> Floats:
    """Light of colours (..., 3) over the most that a surface of that chromaticity can reflect.

    Not meant for chromaticities that no surface has: there it is too large.
    """
    normals, offsets = _solid()
    outer = offsets < -1e-9  # the other faces pass through black and bound chromaticity only
    along = np.asarray(xyz, dtype=float) @ normals[outer].T
    return np.asarray((along / -offsets[outer]).max(axis=-1))


def fluorescence_flags(lab: ArrayLike, covariance: ArrayLike) -> frozenset[str]:
    """Flags for one Lab (3,) whose absolute doubt (3, 3) is known.

    "fluorescent" if nearly all of the doubt lies beyond the limit, "perhaps fluorescent" from
    near it on. Neither excludes fluorescence where it is absent.
    """
    middle = np.asarray(lab, dtype=float)
    if float(light_ratio(lab_to_xyz(middle, D65))) < NEAR:
        return frozenset()
    spread = np.linalg.cholesky(np.asarray(covariance, dtype=float) + 1e-9 * np.eye(3))
    draws = np.random.default_rng(1935).standard_normal((DRAWS, 3)) @ spread.T + middle
    drawn = lab_to_xyz(draws, D65)
    beyond = (limit_ratio(drawn) > 1.0) & (light_ratio(drawn) > 1.0)
    if float(beyond.mean()) >= PROOF:
        return frozenset({"fluorescent"})
    return frozenset({"perhaps fluorescent"})


@lru_cache(maxsize=1)
def _solid() -> tuple[Floats, Floats]:
    """Outward normals (n, 3) and offsets (n,) of the faces: n . x + offset <= 0 inside."""
    from scipy.spatial import ConvexHull

    hull = ConvexHull(band_colours())
    equations = np.unique(np.round(hull.equations, 12), axis=0)
    return equations[:, :3], equations[:, 3]


@lru_cache(maxsize=1)
def band_colours() -> Floats:
    """(n, 3) XYZ relative to D65 of all pass bands and stop bands, black and white among them."""
    table = np.array(TABLE)
    weighted = table[:, 1:4] * table[:, 4:5]
    weighted *= D65 / weighted.sum(axis=0)  # white exactly at the white point used elsewhere
    doubled = np.concatenate([np.zeros((1, 3)), np.cumsum(np.tile(weighted, (2, 1)), axis=0)])
    count = len(weighted)
    starts, widths = np.meshgrid(np.arange(count), np.arange(count + 1), indexing="ij")
    return np.asarray((doubled[starts + widths] - doubled[starts]).reshape(-1, 3))
