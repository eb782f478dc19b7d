"""A base fitted to an archive's lots, what was left out of it, and records that tell of it."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ingest.colour import Floats
from ingest.model import none_if_nan
from swatchvault.archive.dyed import DyedOnBase
from swatchvault.bands import metric
from swatchvault.basefit import usable_lots
from swatchvault.errors import CompareError, SwatchvaultError
from swatchvault.pair import Conditions
from swatchvault.predict import BaseModel, Shade, fit_base


@dataclass(frozen=True, eq=False)
class KnownBase:
    """A fitted base in one form, and what was left out of the fit: lot to reason.

    ``shared``: (3, 3) covariance of what the photos get wrong alike; it is in no prediction's ±.
    ``k_l``: of every ΔE00 that is told of it, the usual one of checks and searches if not said.
    ``setup_id``: the set-up of most of its photos.
    """

    base: str
    form: str
    model: BaseModel
    left_out: Mapping[str, str]
    shared: Floats
    k_l: float = Conditions.k_l
    setup_id: int | None = None

    @property
    def title(self) -> str:
        return f"{self.base}, {self.form}, from {self.model.n_lots} lots"

    @property
    def lots(self) -> tuple[str, ...]:
        """Codes of the lots that it is learned from."""
        return self.model.data.names[: self.model.n_lots]

    def shared_delta_e(self, lab: Floats) -> float:
        """Root mean square ΔE00 of what the photos get wrong alike, at one colour (3,)."""
        return math.sqrt(float(np.trace(metric(lab, self.k_l) @ self.shared)))


def know_base(
    dyed: DyedOnBase,
    *,
    include_overdyed: bool = False,
    without: Sequence[str] = (),
    k_l: float = Conditions.k_l,
) -> KnownBase:
    """Fit a base to its lots, those of ``without`` left out (a pot that is to be corrected).

    ``k_l``: of every ΔE00 that is told. Raises ``SwatchvaultError`` where too few can be used, with
    what was left out and why.
    """
    if not (math.isfinite(k_l) and k_l > 0):
        raise CompareError(f"kL is {k_l:g}, needed a number above 0: such as 2")
    folded = {code.casefold() for code in without}
    lots = [lot for lot in dyed.lots if lot.name.casefold() not in folded]
    try:
        model = fit_base(
            lots, dyed.undyed, include_overdyed=include_overdyed, fluorescent=dyed.fluorescent
        )
    except SwatchvaultError as error:
        _, not_used = usable_lots(lots, include_overdyed, dyed.fluorescent)
        left = left_out_words({**dyed.left_out, **not_used})
        raise SwatchvaultError(
            f"{dyed.base}, {dyed.form}: {error}" + (f"; {left}" if left else "")
        ) from error
    left_out = {**dyed.left_out, **model.not_used}
    return KnownBase(dyed.base, dyed.form, model, left_out, dyed.shared, k_l, dyed.setup_id)


def left_out_words(left_out: Mapping[str, str]) -> str:
    """``"3 lots left out: it was dyed over an earlier lot (2: L1, L2); ..."``, or ""."""
    if not left_out:
        return ""
    parts = []
    for why, count in Counter(left_out.values()).most_common():
        lots = [lot for lot, w in left_out.items() if w == why]
        parts.append(f"{why} ({count}: {', '.join(lots[:3])}{' ...' if count > 3 else ''})")
    total = len(left_out)
    return f"{total} lot{'s' if total > 1 else ''} left out: {'; '.join(parts)}"


def recipe_words(depths: Mapping[str, float]) -> str:
    """``"Ember 0.8 %, Tarn 0.2 %"``, the most first."""
    order = sorted(depths.items(), key=lambda d: -d[1])
    return ", ".join(f"{dye} {depth:.2g} %" for dye, depth in order) or "no dye"


def base_record(known: KnownBase) -> dict[str, Any]:
    """What a prediction is learned from, as plain JSON data."""
    return {
        "base": known.base,
        "form": known.form,
        "lots": known.model.n_lots,
        "different_recipes": known.model.n_recipes,
        "left_out": dict(known.left_out),
        "k_l": known.k_l,
    }


def shade_record(shade: Shade) -> dict[str, Any]:
    """A predicted colour as plain JSON data; unknown is ``None``."""
    u = np.sqrt(np.diag(shade.covariance))
    return {
        "inside": shade.inside,
        "why": shade.why,
        "lab": [none_if_nan(v) for v in shade.lab.tolist()],
        "u_lab": [none_if_nan(v) for v in u.tolist()],
        "cov_lab": [[none_if_nan(v) for v in row] for row in shade.covariance.tolist()],
        "within_95": none_if_nan(shade.within_95),
    }
