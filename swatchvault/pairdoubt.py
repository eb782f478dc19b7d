"""What a pair of colours leaves in doubt: the parts of S(ΔE), each with where its size is from.

The axes of a pair are w = (ΔL'/(kL SL), ΔC'/SC, ΔH'/SH), so that ΔE00² = x² + y² + z² + R_T y z.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ingest.colour import Floats
from ingest.doubt import axes_jacobian
from ingest.screen import linear_of_lab
from swatchvault.pair import Capture, Colour, Conditions

# What a frame adds to a difference: standard uncertainty per axis of w at kL = 1, by reference.
# Source: spectral simulation (7 cameras, 6 lights, tone curves, gradient, veil, dyed yarn); that
# of tests/simulation found other phones by daylight wider than an earlier one, and those three
# are its own.
FRAME: Mapping[str, Mapping[str, float]] = {
    "same frame": {"card": 0.05, "steps": 0.05, "chart": 0.05},
    "locked set-up": {"card": 0.55, "steps": 0.16, "chart": 0.18},
    "same set-up": {"card": 1.8, "steps": 0.48, "chart": 0.26},
    "other, both by daylight": {"card": 2.3, "steps": 1.4, "chart": 1.2},
    "other": {"card": 4.0, "steps": 2.6, "chart": 1.6},
}
# The part that grows with the difference, as a share of ΔE00; the same simulation.
SHARE_DAYLIGHT = {"card": 0.25, "steps": 0.11, "chart": 0.11}
SHARE_OTHER_LIGHT = {"card": 0.35, "steps": 0.2, "chart": 0.2}
SHARE_ANYTHING_ELSE = {"card": 0.35, "steps": 0.25, "chart": 0.25}
# A reference that does not fit its own curve tells no more of how far apart colours lie than one
# card. Of 6,828 simulated lots in one frame by steps (40 sets, the dyes that constants are found
# on) 259 had such; of these 95 % read 0.46 to 1.96 of the truth, of the others 0.58 to 1.46.
MISFIT = "reference does not fit"
# The same part in the doubt that is stated of a reading, whatever the reference. Cameras differ: a
# share that keeps the test at the tolerance right covers large differences too seldom (87 % where
# 95 are stated, in one frame); with these 93 % or more hold in every class. Simulated, other dyes.
STATED_DAYLIGHT, STATED_OTHER_LIGHT = 0.25, 0.35
# Where the darkest channel of a dark colour sees next to nothing, cameras show a difference of dye
# too small: one in twenty reads 30 to 38 % short in one frame by steps, and 16 % elsewhere. There
# these are added to the share, in squares: from the second bound of linear sRGB of the darkest
# channel, and of L*, up to the first. tests.simulation, the dyes that constants are found on.
DARK_CHANNEL = (0.035, 0.05)
DARK_SHARES = ((0.18, (37.0, 42.0)), (0.12, (28.0, 31.0)))
# Other dyes than the master's: standard uncertainty per axis; the same simulation.
DYES_DAYLIGHT, DYES_OTHER_LIGHT = 0.27, 0.5
# 1.5²: a covariance learnt on some colours covers others too seldom without it.
COVERAGE = 2.25


@dataclass(frozen=True, eq=False)
class PairDoubt:
    """What makes up S(ΔE) on the axes of one pair; each (3, 3). ``row``: of the frame table.

    ``share``: of ΔE00, in the test. ``stated_share``: of it, in the doubt stated of a reading.
    ``dark``: what a dark colour adds to both, in squares; it is in them.
    """

    region: Floats
    frame: Floats
    dyes: Floats
    share: float
    stated_share: float
    row: str
    reference: str
    daylight: bool
    dark: float = 0.0

    def covariance(self, delta_e: float) -> Floats:
        """S at a difference of ``delta_e``, as the test uses it."""
        return self._s(self.share * delta_e)

    def stated(self, delta_e: float) -> Floats:
        """S as it is stated of a reading of ``delta_e``."""
        return self._s(self.stated_share * delta_e)

    def _s(self, growing: float) -> Floats:
        parts = self.region + self.frame + self.dyes + growing**2 / 3.0 * np.eye(3)
        return np.asarray(COVERAGE * parts)

    def u(self, delta_e: float) -> float:
        """Standard uncertainty in the test, at a difference of ``delta_e``."""
        return mean_u(self.covariance(delta_e))

    def u_stated(self, delta_e: float) -> float:
        """Standard uncertainty that is stated of a reading of ``delta_e``, as a check states it."""
        return mean_u(self.stated(delta_e))


def mean_u(s: Floats) -> float:
    """Standard uncertainty of a distance of covariance ``s`` (3, 3): root of its mean variance."""
    return math.sqrt(float(np.trace(s)) / 3.0)


def u_of_lch(lab1: Floats, lab2: Floats, k_l: float, cov: Floats) -> tuple[float, float, float]:
    """Standard uncertainties of ΔL*, ΔC*ab, ΔH*ab of a pair, from ``cov`` (3, 3) on its axes.

    Back to CIELAB, and there turned onto the mean hue: of the first order, as the axes are.
    """
    middle = np.asarray(lab1, dtype=float) + np.asarray(lab2, dtype=float)
    h = math.atan2(middle[2], middle[1])
    turn = np.array(
        [[1.0, 0.0, 0.0], [0.0, math.cos(h), math.sin(h)], [0.0, -math.sin(h), math.cos(h)]]
    )
    in_lab = lab_covariance(lab1, lab2, k_l, cov)
    lightness, chroma, hue = np.sqrt(np.diag(turn @ in_lab @ turn.T)).tolist()
    return lightness, chroma, hue


def lab_covariance(lab1: Floats, lab2: Floats, k_l: float, cov: Floats) -> Floats:
    """(3, 3) of the difference of a pair in CIELAB, from ``cov`` (3, 3) on its axes."""
    back = np.linalg.inv(axes_jacobian(lab1, lab2, k_l))
    return np.asarray(back @ cov @ back.T)


def dark_share(one: Floats, two: Floats) -> Floats:
    """(...) what dark colours add to the share of a difference that is doubt, by the darker of
    Labs ``one`` and ``two``, (..., 3) that broadcast."""
    channel = np.minimum(*(linear_of_lab(lab).min(axis=-1) for lab in (one, two)))
    lightness = np.minimum(one[..., 0], two[..., 0])
    added = sum(share * _under(lightness, *between) for share, between in DARK_SHARES)
    return np.asarray(_under(channel, *DARK_CHANNEL) * added)


def _under(values: Floats, full: float, none: float) -> Floats:
    """1 up to ``full``, 0 from ``none`` on, and a straight line between."""
    return np.clip((none - values) / (none - full), 0.0, 1.0)


def _default_frame(row: str, columns: Sequence[str]) -> float:
    return max(FRAME[row].get(c, math.nan) for c in columns)


def pair_doubt(master: Colour, new: Colour, conditions: Conditions) -> PairDoubt:
    """The parts of S for a pair. Without a reference, or with no region part, they are NaN."""
    columns = sorted({master.column, new.column})
    daylight = all((c.light or conditions.light) == "daylight" for c in (master, new))
    row = str(conditions.capture)
    shares = SHARE_DAYLIGHT if daylight else SHARE_OTHER_LIGHT
    if conditions.capture is Capture.OTHER:
        row = "other, both by daylight" if daylight else "other"
        shares = SHARE_DAYLIGHT if daylight else SHARE_ANYTHING_ELSE
    unknown = "none" in columns
    default = math.nan if unknown else _default_frame(row, columns)
    frame = default**2 * np.eye(3)
    own = conditions.own_frame
    order = list(Capture)
    if own and not unknown and order.index(conditions.capture) >= order.index(own.capture):
        values, vectors = np.linalg.eigh(own.cov)
        frame = (vectors * np.maximum(values, default**2)) @ vectors.T  # never below the default
    if conditions.capture is not Capture.OTHER:
        frame = frame * (1.0 / master.n_photos + 1.0 / new.n_photos) / 2.0
    by_k_l = np.array([1.0 / conditions.k_l, 1.0, 1.0])
    j = axes_jacobian(master.lab, new.lab, conditions.k_l)
    alone = np.zeros((3, 3))
    if conditions.capture is not Capture.SAME_FRAME:
        # Repeats in good light say nothing of a photo whose own flags tell of other light.
        alone = j @ (master.frame_cov + new.frame_cov) @ j.T
    dyes = 0.0
    if conditions.same_dyes is not True:
        dyes = DYES_DAYLIGHT if daylight else DYES_OTHER_LIGHT
    dark = float(dark_share(master.lab, new.lab))
    counted = {*columns, "card"} if MISFIT in master.flags | new.flags else columns
    share = math.nan if unknown else math.hypot(max(shares[c] for c in counted), dark)
    stated = STATED_DAYLIGHT if daylight else STATED_OTHER_LIGHT
    return PairDoubt(
        region=j @ (master.region_cov + new.region_cov) @ j.T,
        frame=frame * np.outer(by_k_l, by_k_l) + alone,
        dyes=dyes**2 * np.eye(3),
        share=share,
        stated_share=math.nan if unknown else math.hypot(stated, dark),
        row=row,
        reference=max(columns, key=lambda c: FRAME[row].get(c, math.inf)),
        daylight=daylight,
        dark=dark,
    )
