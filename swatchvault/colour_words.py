"""A colour with its doubt in words: one wording for pages, tables and lines. Pure."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

AXES = ("L*", "a*", "b*")
#: Beside a colour whose doubt nothing is known of.
NOT_KNOWN = "± not known"


def plus_minus(value: float, u: float | None = None) -> str:
    """A value of L*, a* or b* with its standard uncertainty, where that is known.

    >>> plus_minus(45.21, 1.13), plus_minus(45.21, math.nan)
    ('45.2 ± 1.1', '45.2')
    """
    known = u is not None and math.isfinite(u)
    return f"{value:.1f} ± {u:.1f}" if known else f"{value:.1f}"


def lab_words(lab: Sequence[float] | np.ndarray, covariance: np.ndarray | None = None) -> str:
    """L*, a*, b* with standard uncertainties of the absolute colour where they are known.

    ``lab``: (3,). ``covariance``: (3, 3), all parts together; NaN where unknown.
    """
    u = None if covariance is None else np.sqrt(np.maximum(np.diag(covariance), 0)).tolist()
    return lab_line(lab, u)


def lab_line(lab: Sequence[float] | np.ndarray, u: Sequence[float] | None = None) -> str:
    """The same from standard uncertainties ``u`` (3,), NaN or ``None`` where unknown."""
    doubts = [None] * 3 if u is None else list(u)
    return "  ".join(
        f"{name} {plus_minus(value, doubt)}"
        for name, value, doubt in zip(AXES, lab, doubts, strict=True)
    )


def lab_cell(lab: Sequence[float] | np.ndarray, u: Sequence[float] | None) -> str:
    """L*, a*, b* as one cell of a table that names them above.

    ``u``: their standard uncertainties, NaN where unknown; ``None``: of a colour that has none.

    >>> lab_cell((45.21, 20.3, -9.84), (1.13, 0.92, 1.31))
    '45.2 ± 1.1, 20.3 ± 0.9, -9.8 ± 1.3'
    >>> lab_cell((45.21, 20.3, -9.84), (math.nan, math.nan, math.nan))
    '45.2, 20.3, -9.8, ± not known'
    """
    doubts = [None] * 3 if u is None else list(u)
    cells = [plus_minus(value, doubt) for value, doubt in zip(lab, doubts, strict=True)]
    unknown = u is not None and not all(math.isfinite(v) for v in u)
    return ", ".join([*cells, NOT_KNOWN] if unknown else cells)


def delta_e_words(delta_e: float, u: float | None) -> str:
    """A ΔE00 as read with its standard uncertainty, a question mark where that is not known.

    >>> delta_e_words(2.058, 3.019), delta_e_words(2.058, math.nan)
    ('2.06 ± 3.02', '2.06 ± ?')
    """
    known = u is not None and math.isfinite(u)
    return f"{delta_e:.2f} ± " + (f"{u:.2f}" if known else "?")


def photos_words(photos: Sequence[str]) -> str:
    """How many photos these measurements are of. ``photos``: which photo each is of.

    >>> photos_words("ab"), photos_words("aa"), photos_words("aab")
    ('2 photos', '2 places in 1 photo', '3 places in 2 photos')
    """
    count = len(set(photos))
    said = f"{count} photo{'' if count == 1 else 's'}"
    return said if count == len(photos) else f"{len(photos)} places in {said}"
