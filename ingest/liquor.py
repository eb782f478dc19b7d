"""How much colour is left in the liquor, from photos of a glass or a spoon of it against white.

By Beer-Lambert the absorbance -ln(liquor / white beside it) goes with the concentration. Two things
bend that: a camera's channel is a wide band, in which the weakly absorbed part of the light wins as
the liquor gets stronger, and the glass adds a haze of light that met no dye. So the absorbance is a
smooth spectrum, and haze and glass are unknowns too, in one least-squares fit over all looks and
channels with priors: the share of colour left carries what they leave open. The start photographed
once more, diluted by a known amount, shows the bend itself and closes most of it. Same glass, same
depth of liquor, same light at every look.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ingest.colour import BRADFORD, SRGB_TO_XYZ, Floats, lab_to_xyz, xyz_to_lab_jacobian
from ingest.errors import IngestError
from ingest.liquor_fit import HAZE, Fitted, Known, Seen, fit
from ingest.model import Measurement
from ingest.screen import XYZ_TO_SRGB

#: With a channel under this share of white a look is too deep, with all above the other a start is
#: too clear; our choice.
TOO_DARK, TOO_CLEAR = 0.04, 0.80
#: Least share left that each word stands for; our choice.
WORDS: tuple[tuple[float, str], ...] = ((0.40, "much"), (0.10, "some"), (0.02, "trace"))

# Errors relative to the white; our choice.
_LOOK_SD = 0.012  # one look against another: light and exposure beside the glass
_CHANNEL_SD, _FLOOR_SD = 0.006, 0.003  # of a channel, relative and of white


@dataclass(frozen=True, eq=False)
class Look:
    """One photo of the liquor: mean corrected linear RGB (3,) of it and of the white beside it.

    ``liquor_cov``, ``white_cov``: (3, 3) of these means. ``dilution``: parts made up from one part
    of liquor, 1 if undiluted, 10 if one part was made up to ten.
    """

    name: str
    liquor: ArrayLike
    white: ArrayLike
    liquor_cov: ArrayLike | None = None
    white_cov: ArrayLike | None = None
    dilution: float = 1.0


def look_of(name: str, liquor: Measurement, white: Measurement, *, dilution: float = 1.0) -> Look:
    """A look from one photo's measurements of the liquor and of the white beside it."""
    means, covs = [], []
    for seen in (liquor, white):
        xyz = lab_to_xyz(seen.lab)
        turn = XYZ_TO_SRGB @ np.linalg.inv(xyz_to_lab_jacobian(xyz))
        means.append(XYZ_TO_SRGB @ xyz)
        # Frame and set-up are shared by liquor and white, and cancel in their ratio.
        covs.append(turn @ np.nan_to_num(seen.covariance.region) @ turn.T)
    return Look(name, means[0], means[1], covs[0], covs[1], dilution)


@dataclass(frozen=True)
class LiquorReading:
    """Colour left at one look: ``share`` of the start in 0..1, NaN where it cannot be read.

    ``u_share``: its standard uncertainty. ``word``: none, trace, some, much, or "" if unread.
    ``dilute_to_parts``: where it is too deep, what to make one part up to before the next photo.
    ``channels``, ``u_channels``: the same share as red, green and blue light alone tell it, NaN
    where the dye takes too little of that light.
    """

    name: str
    share: float
    u_share: float
    word: str
    too_deep: bool
    dilute_to_parts: int | None
    words: str
    channels: tuple[float, float, float] = (math.nan,) * 3
    u_channels: tuple[float, float, float] = (math.nan,) * 3


@dataclass(frozen=True)
class LiquorCurve:
    """Readings in the order of the looks, the start first.

    ``together``: the channels agree; where they do not, the dyes of a mixture go on at different
    speeds, and one share stands for none of them well. ``again_read``: of each photo of the start
    again, whether it counted; one that is too deep does not.
    """

    readings: tuple[LiquorReading, ...]
    together: bool
    words: str
    again_read: tuple[bool, ...] = ()


def read_liquor(
    looks: Sequence[Look],
    *,
    clear: Look | None = None,
    again: Sequence[Look] = (),
    to_xyz: ArrayLike = SRGB_TO_XYZ,
) -> LiquorCurve:
    """Share of colour left at each look, relative to the first.

    ``clear``: the same glass with clear water. ``again``: the start's own liquor at other
    dilutions, which takes most of the doubt away. ``to_xyz``: (3, 3) from the looks' linear RGB
    to XYZ, of D65. No look, a white that is dark,
    or a dilution under 1 raise ``IngestError``. A start that is too deep or too clear gives
    readings of NaN that say what to do.
    """
    if not looks:
        raise IngestError("no photo of liquor: one at the start and one after a hold are needed")
    turn = BRADFORD @ np.asarray(to_xyz, dtype=float)
    seen = _ratios(looks, turn)
    parts = [_parts_needed(r, k.dilution) for r, k in zip(seen.ratio, looks, strict=True)]
    start = seen.ratio[0]
    if parts[0] is not None:
        return _unread(looks, parts, "The first look is too deep to read.", len(again))
    if start.min() > TOO_CLEAR:
        words = (
            f"The first look lets {100 * start.min():.0f} % of the light through: too clear to "
            "measure against. Take a deeper glass and photograph the start again."
        )
        return _unread(looks, parts, words, len(again))
    readable = np.array([p is None for p in parts])
    chosen = Seen(seen.ratio[readable], seen.noise[readable], seen.dilution[readable])
    more = _ratios(again, turn)
    counted = more.ratio.min(axis=1) >= TOO_DARK
    got = fit(chosen, _known(clear, more, counted, turn))
    at = iter(range(len(chosen.ratio)))
    readings = tuple(
        _reading(look.name, got, next(at)) if part is None else _too_deep(look.name, part)
        for look, part in zip(looks, parts, strict=True)
    )
    words = ""
    if not got.together:
        words = (
            "The channels disagree: the dyes of this pot go on at different speeds, or the light "
            "changed between the photos"
            + (", or the start again was diluted otherwise than is said." if again else ".")
        )
    return LiquorCurve(readings, got.together, words, tuple(counted.tolist()))


def _known(clear: Look | None, more: Seen, readable: NDArray[np.bool_], turn: Floats) -> Known:
    """The glasses whose share is known; of ``more``, the start again, those that can be read."""
    water = _ratios([] if clear is None else [clear], turn)
    seen = Seen(
        np.concatenate([more.ratio[readable], water.ratio]),
        np.concatenate([more.noise[readable], water.noise]),
        np.concatenate([more.dilution[readable], water.dilution]),
    )
    return Known(seen, np.repeat([1.0, 0.0], [readable.sum(), len(water.ratio)]))


def _ratios(looks: Sequence[Look], turn: Floats) -> Seen:
    """Liquor over white in sharpened channels (Bradford's), which no real colour makes negative."""
    ratios, noises = [], []
    for look in looks:
        if not math.isfinite(look.dilution) or look.dilution < 1:
            raise IngestError(
                f"{look.name}: a dilution to {look.dilution:g} parts cannot be, 1 or more is "
                "needed: 10 means one part of liquor made up to ten"
            )
        liquor, white = (np.asarray(v, dtype=float) for v in (look.liquor, look.white))
        if liquor.shape != (3,) or not np.isfinite([*liquor, *white]).all():
            raise IngestError(f"{look.name}: linear R, G, B of liquor and white are needed")
        if white.min() < 0.1 or liquor.max() > 1.5 * white.max():
            raise IngestError(
                f"{look.name}: the white beside the liquor is {white.min():.2f} of full white: "
                "mark a piece of bare white paper in the same light"
            )
        zero = np.zeros((3, 3))
        over = turn / (turn @ white)[:, None]
        ratio = over @ liquor
        own = over @ (zero if look.liquor_cov is None else np.asarray(look.liquor_cov)) @ over.T
        by_white = ratio[:, None] * over
        own = own + by_white @ (zero if look.white_cov is None else look.white_cov) @ by_white.T
        bright = np.maximum(ratio, 0.0)
        small = np.diag((_CHANNEL_SD * bright) ** 2 + _FLOOR_SD**2)
        ratios.append(ratio)
        noises.append(own + small + _LOOK_SD**2 * np.outer(bright, bright))
    dilution = np.array([float(look.dilution) for look in looks])
    return Seen(np.reshape(ratios, (-1, 3)), np.reshape(noises, (-1, 3, 3)), dilution)


def _parts_needed(ratio: Floats, dilution: float) -> int | None:
    """To how many parts one must be made up, or ``None`` where every channel can be read."""
    darkest = float(ratio.min())
    if darkest >= TOO_DARK:
        return None
    # At the haze's own level nobody can say how deep it is.
    return math.ceil(dilution * (5 if darkest > 2 * HAZE else 10))


# ---------------------------------------------------------------------------------------------
# Words
# ---------------------------------------------------------------------------------------------


def plain_word(share: float) -> str:
    """none, trace, some or much for a share of 0..1; "" for NaN.

    >>> [plain_word(s) for s in (0.0, 0.05, 0.2, 0.9)]
    ['none', 'trace', 'some', 'much']
    """
    if math.isnan(share):
        return ""
    return next((word for least, word in WORDS if share >= least), "none")


def _reading(name: str, got: Fitted, row: int) -> LiquorReading:
    share, doubt = float(got.share[row]), float(got.doubt[row])
    word = plain_word(share)
    low, high = max(share - 1.96 * doubt, 0.0), share + 1.96 * doubt
    words = f"{100 * share:.0f} % of the colour is left ({100 * low:.0f} to {100 * high:.0f} %)"
    one, two = (tuple(v[row].tolist()) for v in (got.channels, got.u_channels))
    return LiquorReading(name, share, doubt, word, False, None, f"{words}: {word}.", one, two)


def _too_deep(name: str, parts: int) -> LiquorReading:
    words = (
        f"Too deep to read: make 1 part of liquor up to {parts} parts with water in the same "
        f"glass, photograph that, and say that it is diluted to {parts} parts."
    )
    return LiquorReading(name, math.nan, math.nan, "", True, parts, words)


def _unread(
    looks: Sequence[Look], parts: Sequence[int | None], words: str, n_again: int
) -> LiquorCurve:
    """No share can be told without a start."""
    readings = tuple(
        LiquorReading(look.name, math.nan, math.nan, "", False, None, words)
        if part is None
        else _too_deep(look.name, part)
        for look, part in zip(looks, parts, strict=True)
    )
    return LiquorCurve(readings, True, words, (False,) * n_again)
