"""The fit behind a reading of liquor: a smooth spectrum of absorbance, the glass, and the haze.

Beer-Lambert holds for each wavelength; a camera's channel is a wide band of them. So what is
fitted to all looks and channels at once is the spectrum, with priors; the share of colour left
follows from it, over all channels and in each one alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from ingest.colour import BRADFORD, Floats
from ingest.observer import TABLE

# Priors, our choice: ln absorbance as a smooth curve over 16 bands, its level and its shape; the
# glass's haze and loss.
_CENTRES = np.arange(400.0, 700.1, 20.0)
_LEVEL, _LEVEL_SD, _SHAPE_SD, _SHAPE_NM = -1.0, 1.5, 2.5, 60.0
HAZE, _HAZE_SD = 0.012, 0.012
_GLASS, _GLASS_SD = 0.95, 0.04
#: A channel that tells the share no better than this says nothing; our choice.
_BLIND = 0.25


@dataclass(frozen=True, eq=False)
class Seen:
    """Liquor over white by look and channel: ``ratio`` (k, 3), ``noise`` (k, 3, 3).

    ``dilution`` (k,): parts made up from one part.
    """

    ratio: Floats
    noise: Floats
    dilution: Floats


@dataclass(frozen=True, eq=False)
class Known:
    """Glasses of which the ``share`` (m,) is known: clear water 0, the start again, diluted, 1."""

    seen: Seen
    share: Floats


@dataclass(frozen=True, eq=False)
class Fitted:
    """Shares left by look (k,), the first 1, with standard uncertainties; the same by channel.

    ``channels``, ``u_channels`` (k, 3): red, green, blue light; NaN where a channel cannot tell.
    ``together``: the channels agree.
    """

    share: Floats
    doubt: Floats
    together: bool
    channels: Floats
    u_channels: Floats


@cache
def _channel_weights() -> Floats:
    """(16, 3) weights of the bands in each sharpened channel under D65, each summing to 1."""
    rows = np.asarray(TABLE, dtype=float)
    light = rows[:, 1:4] * rows[:, 4:5] @ BRADFORD.T
    hats = np.stack([np.interp(rows[:, 0], _CENTRES, unit) for unit in np.eye(_CENTRES.size)])
    weights = hats @ light
    return np.asarray(weights / weights.sum(axis=0))


@cache
def _prior_factor() -> Floats:
    """(16, 16) Cholesky factor of the prior of ln absorbance: a level and a smooth shape."""
    apart = (_CENTRES[:, None] - _CENTRES[None, :]) / _SHAPE_NM
    cov = _LEVEL_SD**2 + _SHAPE_SD**2 * np.exp(-0.5 * apart**2) + 1e-3 * np.eye(_CENTRES.size)
    return np.asarray(np.linalg.cholesky(cov))


def _through(u: Floats, left: Floats) -> Floats:
    """(k, 3) of white at concentrations ``left`` (k,) of the start's. ``u``: see :func:`fit`."""
    absorbance = np.exp(_LEVEL + _prior_factor() @ u[-18:-2])
    through = np.exp(np.minimum(-left[:, None] * absorbance, 5.0)) @ _channel_weights()
    glass, haze = _GLASS + _GLASS_SD * u[-2], HAZE + _HAZE_SD * u[-1]
    return np.asarray(glass * through + haze)


def fit(seen: Seen, known: Known) -> Fitted:
    """Shares left of the first look, from looks that can be read and glasses that are known."""
    k = len(seen.ratio)
    u, covariance, cost = _solve(seen, known)
    # Each hold has three channels and one unknown, the start again three and none; the start's
    # three are the reference.
    free = 2 * (k - 1) + 3 * int(np.count_nonzero(known.share))
    misfit = 2 * cost / free if free else 0.0
    variance = np.concatenate([[0.0], np.diag(covariance)[: k - 1]])
    widened = np.sqrt(variance * max(misfit, 1.0))
    share = np.concatenate([[1.0], u[: k - 1]])
    # By the start's spectrum alone: where channels part, one for all looks would hide it.
    start = Seen(seen.ratio[:1], seen.noise[:1], seen.dilution[:1])
    alone, open_, _ = (u, covariance, cost) if k == 1 else _solve(start, known)
    return Fitted(share, widened, bool(misfit <= _disagree(free)), *_by_channel(seen, alone, open_))


def _solve(seen: Seen, known: Known) -> tuple[Floats, Floats, float]:
    """Unknowns, their covariance, and half the sum of squares left.

    The unknowns are the shares after the start, the spectrum (16) as normals, glass and haze.
    """
    from scipy.optimize import least_squares

    first = np.concatenate([_first_guess(seen), np.zeros(18)])
    ratio, noise, dilution = (
        np.concatenate([getattr(part, name) for part in (seen, known.seen)])
        for name in ("ratio", "noise", "dilution")
    )
    whiten = np.linalg.inv(np.linalg.cholesky(noise))

    def residual(u: Floats) -> Floats:
        share = np.concatenate([[1.0], u[:-18], known.share])
        miss = _through(u, share / dilution) - ratio
        return np.concatenate([(whiten @ miss[..., None]).ravel(), u[-18:]])

    found = least_squares(residual, first, method="lm", xtol=1e-6, ftol=1e-6)
    return found.x, np.linalg.inv(found.jac.T @ found.jac), float(found.cost)


def _by_channel(seen: Seen, u: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """(k, 3) share left as each channel alone tells it, and its doubt; NaN where it cannot.

    ``u``, ``covariance``: of the start alone. JCGM 100:2008, 5.1.2, the slopes by differences.
    """
    left, noise = _invert(seen, u)
    share = left / left[0]
    steps = 0.1 * np.linalg.cholesky(covariance).T
    slopes = []
    for step in steps:
        moved, _ = _invert(seen, u + step)
        slopes.append((moved / moved[0] - share) / 0.1)
    doubt = np.sqrt((noise / left[0]) ** 2 + np.square(slopes).sum(axis=0))
    doubt[1:] = np.hypot(doubt[1:], share[1:] * noise[0] / left[0])
    blind = ~((doubt <= _BLIND) & (doubt[0] <= _BLIND))
    doubt[0] = 0.0  # all is relative to it
    return np.where(blind, np.nan, share), np.where(blind, np.nan, doubt)


def _invert(seen: Seen, u: Floats) -> tuple[Floats, Floats]:
    """(k, 3) concentration that each channel shows, near 1 for the start, and its noise."""
    grid = np.linspace(-0.2, 2.0, 441)
    curve = np.minimum.accumulate(_through(u, grid), axis=0)  # more dye, less light
    left, noise = np.empty(seen.ratio.shape), np.empty(seen.ratio.shape)
    for c in range(3):
        left[:, c] = np.interp(seen.ratio[:, c], curve[::-1, c], grid[::-1])
        slope = np.interp(left[:, c], grid, np.gradient(curve[:, c], grid))
        noise[:, c] = np.sqrt(seen.noise[:, c, c]) / np.maximum(np.abs(slope), 1e-6)
    left = np.maximum(left * seen.dilution[:, None], [[1e-3]] + [[-np.inf]] * (len(left) - 1))
    return left, noise * seen.dilution[:, None]


def _first_guess(seen: Seen) -> Floats:
    """(k - 1,) plain Beer-Lambert in the channel that is deepest at the start."""
    depth = -np.log(np.clip(seen.ratio, 0.01, 0.999))
    best = int(np.argmax(depth[0]))
    return np.asarray(depth[1:, best] / depth[0, best] * seen.dilution[1:] / seen.dilution[0])


def _disagree(free: int) -> float:
    """Misfit by freedom that chance exceeds in 1 of 100 (Wilson and Hilferty 1931)."""
    if free == 0:
        return math.inf
    return (1 - 2 / (9 * free) + 2.326 * math.sqrt(2 / (9 * free))) ** 3
