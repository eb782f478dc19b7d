"""How even one swatch is in one photo, as far as it can be set against another. Pure."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

#: Flags under which how even a swatch is cannot be compared.
STOPS: Mapping[str, str] = {
    "photo too dark": "its photo is far too dark",
    "evenness not judged": "shadow or clipping keeps its evenness from being judged",
    "scale doubtful": "its scale in millimetres is doubtful",
    "scale estimated": "its scale is only a guess: mark a known length in the photo",
    "too little yarn for evenness": "the region holds too few strands, or is blurred",
    "out of focus": "its photo is out of focus",
    "perhaps two swatches": "the region may hold two swatches",
    "clipped beyond use": "too much of it is clipped",
}


@dataclass(frozen=True)
class Evenness:
    """How even one swatch is in one photo. ``unevenness``, ``u``: ΔE00, NaN where unknown.

    ``kind``: its class, None where it cannot be told, then ``between`` two of them. ``method``:
    version of the measure.
    ``notes``: what the measure itself says against the figure. ``set_aside``: its photo is not to
    count. ``span``: the range of the figure, ΔE00.
    """

    unevenness: float
    u: float
    form: str
    method: str | None
    kind: str | None = None
    between: tuple[str, ...] = ()
    flags: frozenset[str] = frozenset()
    notes: tuple[str, ...] = ()
    set_aside: bool = False
    span: tuple[float, float] | None = None

    @classmethod
    def of_record(
        cls, record: Mapping[str, Any] | None, form: str, flags: frozenset[str] = frozenset()
    ) -> Evenness:
        """From a measurement's ``tonality`` record (None: nothing was measured)."""
        told = record or {}
        value, u = (told.get(k) for k in ("unevenness", "u_unevenness"))
        span = told.get("range")
        return cls(
            math.nan if value is None else float(value),
            math.nan if u is None else float(u),
            form,
            told.get("method"),
            told.get("class"),
            tuple(told.get("between") or ()),
            flags,
            tuple(told.get("reasons") or ()) if told.get("class") == "solid" else (),
            span=None if span is None else (float(span[0]), float(span[1])),
        )

    @property
    def span_alone(self) -> str:
        """Its range in words, where that is all that may be told: of no class; else ""."""
        if self.kind is not None or self.span is None:
            return ""
        return f"somewhere between {self.span[0]:.1f} and {self.span[1]:.1f}"

    @property
    def why_not(self) -> str | None:
        """Why it cannot be compared; None where it can."""
        if self.set_aside:
            return (
                "the photo that its evenness was stated from is set aside: state it again with "
                "`swatchvault master SWATCH --evenness`"
            )
        for flag, words in STOPS.items():
            if flag in self.flags:
                return words
        if "variegated" in self.between:  # each of the two is measured in a way of its own
            return f"cannot tell {' from '.join(self.between)}, and so which figure holds"
        if not (self.unevenness >= 0.0 and self.u > 0.0):
            return "how even it is was not measured"
        return None

    @property
    def words(self) -> str:
        """Its class and figure, or its range alone."""
        if self.span_alone:
            return self.span_alone
        kind = f"{self.kind}, " if self.kind else ""
        if math.isnan(self.unevenness):
            return f"{kind}unknown"
        return f"{kind}{self.unevenness:.2f} ± {self.u:.2f}"
