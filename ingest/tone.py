"""The residual tone curve of a camera, through neutrals of known reflectance."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ingest.errors import ReferenceMissing
from ingest.model import Array
from ingest.reading import PatchReading

Floats = NDArray[np.float64]


def fit_tone_curve(measured: Floats, expected: Floats) -> Callable[[Any], Floats]:
    """A monotone curve through pairs (n,) of linear light, in cube roots; callable on (...).

    PCHIP between the knots and from the lowest one to no light at all; above the highest knot
    its gain is kept, which amplifies no error of the last two. In cube roots the knots lie
    about evenly spaced in lightness. Knots that would turn the curve back are dropped. Raises
    :class:`ReferenceMissing` where none is left above no light.
    """
    from scipy.interpolate import PchipInterpolator

    order = np.argsort(measured)
    x, y = np.cbrt(measured[order]), np.cbrt(expected[order])
    knots = [(0.0, 0.0)]
    for root, stated in zip(x, y, strict=True):
        if root > knots[-1][0] + 1e-6 and stated > knots[-1][1]:
            knots.append((float(root), float(stated)))
    if len(knots) < 2:
        raise ReferenceMissing(
            "the neutral steps are black in at least one channel; mark the steps themselves, or "
            "photograph them in more light"
        )
    inner = PchipInterpolator(*np.array(knots).T)
    top_x, top_y = knots[-1]

    def curve(light: Any) -> Floats:
        root = np.cbrt(np.asarray(light, dtype=float))
        out = np.where(root > top_x, root * (top_y / top_x), inner(np.minimum(root, top_x)))
        return np.asarray(np.maximum(out, 0.0) ** 3)

    return curve


@dataclass(frozen=True, eq=False)
class ToneFit:
    """A curve through neutrals, and what it makes of every patch of its reference.

    ``table``: float32 (levels, 3), coded to corrected light. ``rgb``: (patches, 3) corrected,
    the light field divided out. ``left_out``: the same, each neutral left out of its own curve.
    """

    table: Array
    rgb: Floats
    left_out: Floats


#: How many times the range of ln stated Y is that of ln light as the file codes it, in a display
#: picture: 0.83 to 1.41 over the greys of nine outside charts by phone, 0.80 to 1.34 in 360
#: simulated photos; files of laboratory cameras without a display curve have 0.50 and 0.60.
DISPLAY_RANGE = (0.65, 1.8)


def unlike_a_display(found: Floats, stated: Floats) -> bool:
    """Whether neutrals (n,) of stated Y can hardly be what a display picture shows as ``found``.

    A white and a black that are said to lie nearer to each other, or further apart, than any
    phone draws them are not as stated: lightness typed for reflectance, say.
    """
    seen = float(np.ptp(np.log(np.maximum(found, 1e-5))))
    said = float(np.ptp(np.log(np.maximum(stated, 1e-5))))
    low, high = DISPLAY_RANGE
    return not low * seen <= said <= high * seen


def fit_tone(
    curve: Array,
    patches: Sequence[PatchReading],
    expected: Floats,
    usable: Sequence[int],
    light: Floats,
    *,
    leave_out: bool = True,
) -> ToneFit:
    """Fit the three curves on the neutrals ``usable`` of (patches, 3) expected linear RGB.

    ``curve``: (levels, 3), the encoding's. ``light``: (patches,) relative light at each patch.
    ``leave_out``: whether each neutral is also guessed from the others.
    """
    measured = np.array([p.linear for p in patches])
    seen = expected * light[:, None]

    def table_on(fit_on: Sequence[int]) -> Array:
        chosen = list(fit_on)
        columns = [
            fit_tone_curve(measured[chosen, c], seen[chosen, c])(curve[:, c]) for c in range(3)
        ]
        return np.stack(columns, axis=1).astype(np.float32)

    table = table_on(usable)
    rgb = np.array([p.mean_of(table) for p in patches]) / light[:, None]
    left_out = rgb.copy()
    for i in usable if leave_out else ():
        others = [j for j in usable if j != i]
        if len(others) > 1:
            left_out[i] = patches[i].mean_of(table_on(others)) / light[i]
    return ToneFit(table, rgb, left_out)
