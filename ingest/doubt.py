"""How far a photographed colour may be off: the four parts of a Lab value's covariance.

Every part is formed in the axes of CIEDE2000 (ΔL'/SL, ΔC'/SC, ΔH'/SH at kL = 1), where one
number fits all colours, and carried to L*, a*, b* by the inverse of :func:`axes_jacobian`.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ingest.colour import a_stretch, difference_terms, xyz_to_lab_jacobian
from ingest.model import LabCovariance

Floats = NDArray[np.float64]

#: Standard deviation per axis of the parts (frame, set-up, profile), by reference and light;
#: along lightness the last two are :data:`LIGHTNESS_SHARE` of it. Source: the project's spectral
#: simulation (tests/simulation: 7 cameras, 6 lights, tone curves, gradient, veil), on the dyes of
#: its tuning. The whole is what a 95 % ellipsoid needs to hold 95 % of the truths of dyed yarn
#: (published reflectances need a quarter less); the differences between two frames with settings
#: free, over the square root of 2, give the frame; the step from there to another phone or light
#: gives the set-up; what is left is the profile.
PART_SD: Mapping[tuple[str, str], tuple[float, float, float]] = {
    ("card", "daylight"): (1.27, 1.00, 3.00),
    ("card", "other"): (1.27, 2.53, 5.29),
    ("steps", "daylight"): (0.34, 0.93, 2.62),
    ("steps", "other"): (0.34, 1.81, 5.65),
    ("chart", "daylight"): (0.18, 0.83, 1.93),
    ("chart", "other"): (0.18, 1.12, 2.28),
    # No reference: phone pictures as they are lie over 10 on average (phone colorimetry
    # literature); 10 / 1.6, the mean length of a three-axis normal, put on the set-up; the
    # other five figures are our guess.
    ("none", "daylight"): (3.0, 6.0, 3.0),
    ("none", "other"): (4.0, 9.0, 4.0),
}
#: What of the set-up's and profile's standard deviation falls on lightness: neutrals tell how
#: light a colour is far better than which one. The same simulation.
LIGHTNESS_SHARE: Mapping[str, float] = {"card": 1.0, "steps": 0.6, "chart": 0.45, "none": 1.0}
#: Standard deviation per axis that dark colours have on top, none of it from ``NO_DARK_DOUBT_L``
#: up and all of it from ``FULL_DARK_DOUBT_L`` down: veil, noise and the reference's darkest patch
#: leave the dark end open. The same simulation.
DARK_SD, NO_DARK_DOUBT_L, FULL_DARK_DOUBT_L = 2.5, 40.0, 25.0
#: Flags of light in a photo that the tables of doubt do not have.
LIGHT_TOLD = frozenset(
    {"light not seen", "light uneven", "light of two colours", "card tilted in the light"}
)
#: Fewer neutrals than this count as a card: they cannot tell a tone curve. Our choice.
NEUTRALS_FOR_A_CURVE = 6


def mean_hue_deg(lab1: ArrayLike, lab2: ArrayLike) -> float:
    """Mean hue angle, in degrees, of a pair of Lab (3,), (3,) in the plane of CIEDE2000's a'; a
    grey takes the other's hue."""
    one, two = np.asarray(lab1, dtype=float), np.asarray(lab2, dtype=float)
    c1, c2 = math.hypot(one[1], one[2]), math.hypot(two[1], two[2])
    if c1 == 0.0 or c2 == 0.0:
        one = two = one if c2 == 0.0 else two
    g = float(a_stretch((c1 + c2) / 2.0))
    h1, h2 = (math.degrees(math.atan2(v[2], g * v[1])) for v in (one, two))
    return h1 + ((h2 - h1 + 180.0) % 360.0 - 180.0) / 2.0


def axes_jacobian(lab1: ArrayLike, lab2: ArrayLike, k_l: float = 1.0) -> Floats:
    """(3, 3) derivative of (ΔL'/(kL SL), ΔC'/SC, ΔH'/SH) of a pair (3,), (3,) by ``lab2``.

    That by ``lab1`` is its negative: SL, SC, SH and G are frozen. a', b' are turned onto the mean
    hue, which is the first order of ΔC', ΔH' in the difference, and stays finite at grey, unlike
    their exact derivative.
    """
    one, two = np.asarray(lab1, dtype=float), np.asarray(lab2, dtype=float)
    h = math.radians(mean_hue_deg(one, two))
    g = float(a_stretch((math.hypot(one[1], one[2]) + math.hypot(two[1], two[2])) / 2.0))
    turn = np.array(
        [
            [1.0, 0.0, 0.0],
            [0.0, math.cos(h) * g, math.sin(h)],
            [0.0, -math.sin(h) * g, math.cos(h)],
        ]
    )
    weights = difference_terms(one, two).weights * np.array([k_l, 1.0, 1.0])
    return np.asarray(turn / weights[:, None])


def axes_to_lab(covariance: ArrayLike, lab: ArrayLike) -> Floats:
    """Covariance (3, 3) in the axes of CIEDE2000 carried to L*, a*, b* at ``lab``."""
    inverse = np.linalg.inv(axes_jacobian(lab, lab))
    return np.asarray(inverse @ np.asarray(covariance, dtype=float) @ inverse.T)


def lab_covariance(
    lab: ArrayLike,
    region_xyz: Floats,
    xyz: ArrayLike,
    *,
    reference: str,
    light: str | None,
    reading_sd: float,
    value_sd: float,
    frame_xyz: Floats | None = None,
    misfit_sd: float = 0.0,
) -> LabCovariance:
    """The four parts for one swatch.

    ``region_xyz``: (3, 3) covariance of the mean XYZ from block means and light that differs by
    place; ``frame_xyz``: of light that all swatches of the frame share. ``reading_sd``: relative
    standard uncertainty of the reference's reading in this frame (exposure). ``value_sd``: the same
    of its stated reflectance; it stays with the card, so it counts to the set-up.
    ``misfit_sd``: along each axis, of a reference that does not fit its values.
    ``light`` unknown counts as other. First-order propagation, JCGM 100:2008, 5.1.2 and F.1.2.
    """
    to_lab = xyz_to_lab_jacobian(xyz)
    gain = to_lab @ np.asarray(xyz, dtype=float)  # Lab change for a relative change of exposure
    frame, setup, profile = PART_SD[reference, light or "other"]
    unit = axes_to_lab(np.eye(3), lab)
    colours = axes_to_lab(np.diag([LIGHTNESS_SHARE[reference] ** 2, 1.0, 1.0]), lab)
    dark = DARK_SD * _darkness(lab)
    placed = 0.0 if frame_xyz is None else to_lab @ frame_xyz @ to_lab.T
    return LabCovariance(
        region=to_lab @ region_xyz @ to_lab.T,
        frame=unit * (frame**2 + misfit_sd**2) + np.outer(gain, gain) * reading_sd**2 + placed,
        setup=colours * setup**2 + np.outer(gain, gain) * value_sd**2,
        profile=colours * (profile**2 + dark**2),
    )


def frame_of_its_own(
    frame: ArrayLike, lab: ArrayLike, reference: str, light: str | None, flags: Collection[str]
) -> Floats:
    """(3, 3) what of the frame's part (3, 3) is this photo's own, and not that of all photos so
    corrected: light that nothing in it shows, or that is left, or a reference tilted in it.

    Zero where no flag tells of such, since the tables were found on photos with a little of it, and
    where the part or the reference is unknown.
    """
    table = PART_SD.get((reference, "daylight" if light == "daylight" else "other"))
    whole = np.asarray(frame, dtype=float)
    if table is None or not LIGHT_TOLD & set(flags) or not np.isfinite(whole).all():
        return np.zeros((3, 3))
    values, vectors = np.linalg.eigh(whole - axes_to_lab(np.eye(3), lab) * table[0] ** 2)
    return np.asarray((vectors * np.maximum(values, 0.0)) @ vectors.T)


def _darkness(lab: ArrayLike) -> float:
    """0 from :data:`NO_DARK_DOUBT_L` up, 1 from :data:`FULL_DARK_DOUBT_L` down."""
    lightness = float(np.asarray(lab, dtype=float)[0])
    span = NO_DARK_DOUBT_L - FULL_DARK_DOUBT_L
    return float(np.clip((NO_DARK_DOUBT_L - lightness) / span, 0.0, 1.0))
