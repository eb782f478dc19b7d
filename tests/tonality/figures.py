"""The tables of the study, from photos whose truth is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ingest.tonality import Tonality, measure_tonality
from tests.tonality.draws import KINDS, Case
from tests.tonality.photos import Seen, to_xyz

#: True unevenness from which semi-solid yarn counts as such in the table of classes.
SEMI_SOLID_LEAST = 0.5


@dataclass(frozen=True, eq=False)
class Row:
    """A photo measured: what was drawn, what is true, and what was found."""

    case: Case
    truth: dict[str, float]
    found: Tonality

    @property
    def error(self) -> float:
        return self.found.unevenness - self.truth["unevenness"]


def measured(case: Case, photo: Seen) -> Row:
    """One photo measured whole."""
    linear = photo.linear
    whole = np.ones(linear.shape[:2], dtype=bool)
    found = measure_tonality(linear, whole, photo.mm_per_px, to_xyz, photo.ends)
    assert found is not None
    return Row(case, photo.truth, found)


def tables(rows: list[Row]) -> str:
    """All figures of one set as text."""
    return "\n".join([*unevenness(rows), *detection(rows), *classes(rows), *doubt(rows)])


def of_kind(rows: list[Row], kind: str) -> list[Row]:
    return [r for r in rows if r.case.kind == kind]


def unevenness(rows: list[Row]) -> list[str]:
    lines = []
    for kind in KINDS:
        errors = np.array([r.error for r in of_kind(rows, kind)])
        if kind == "solid":
            values = np.array([r.found.unevenness for r in of_kind(rows, kind)])
            said = f"mean {values.mean():.2f}, 95 % {np.quantile(values, 0.95):.2f}"
            lines.append(f"false unevenness of solids: {said}")
        elif len(errors):
            rms = np.sqrt((errors**2).mean())
            grid = np.array([r.found.unevenness - r.truth["one_grid"] for r in of_kind(rows, kind)])
            lines.append(
                f"{kind}: bias {errors.mean():+.2f}, rms {rms:.2f} (n {len(errors)}; "
                f"held to one grid of blocks {np.sqrt((grid**2).mean()):.2f})"
            )
    for form in ("wound card", "skein", "knit"):
        errors = np.array([r.error for r in of_kind(rows, "semi-solid") if r.case.form == form])
        rms = np.sqrt((errors**2).mean())
        lines.append(f"semi-solid, {form}: bias {errors.mean():+.2f}, rms {rms:.2f}")
    return lines


def detection(rows: list[Row]) -> list[str]:
    """Semi-solids above the value that 5 % of solids exceed, and what they are called."""
    floor = np.quantile([r.found.unevenness for r in of_kind(rows, "solid")], 0.95)
    lines = []
    for low, high in ((0.3, 0.5), (0.5, 0.75), (0.75, 1.5), (1.5, 99.0)):
        some = [r for r in of_kind(rows, "semi-solid") if low <= r.truth["unevenness"] < high]
        if some:
            over = np.mean([r.found.unevenness > floor for r in some])
            said = [share(some, name) for name in ("semi-solid", None, "solid")]
            lines.append(
                f"true {low} to {high}: found at 5 % false alarm {over:.0%}; called semi-solid, "
                f"cannot tell, solid: {said[0]:.0%}, {said[1]:.0%}, {said[2]:.0%} (n {len(some)})"
            )
    return lines


def share(rows: list[Row], name: str | None) -> float:
    return float(np.mean([r.found.name == name for r in rows]))


def classes(rows: list[Row]) -> list[str]:
    """Confusion of classes; semi-solid yarn of less than 0.5 is left out."""
    used = [
        r for r in rows if r.case.kind != "semi-solid" or r.truth["unevenness"] >= SEMI_SOLID_LEAST
    ]
    right = np.array([r.found.name == r.case.kind for r in used])
    told = np.array([r.found.name is not None for r in used])
    lines = [
        f"classes right {right.mean():.1%} (of those decided {right[told].mean():.1%}), "
        f"cannot tell {1 - told.mean():.1%} of {len(used)}"
    ]
    for kind in KINDS:
        some = of_kind(used, kind)
        said = {n or "cannot tell": share(some, n) for n in (*KINDS, None) if share(some, n) > 0}
        lines.append(f"  {kind}: " + ", ".join(f"{n} {v:.0%}" for n, v in said.items()))
    return lines


def doubt(rows: list[Row]) -> list[str]:
    """How often the stated range and twice the standard uncertainty hold the truth."""
    some = [r for r in rows if r.case.kind in ("solid", "semi-solid")]
    inside = [r.found.low - 0.01 <= r.truth["unevenness"] <= r.found.high + 0.01 for r in some]
    twice = [abs(r.error) <= 2.0 * r.found.u_unevenness for r in some]
    every = [r.found.low <= r.truth["unevenness"] <= r.found.high for r in rows]
    lines = [
        f"range holds the truth: solid and semi-solid {np.mean(inside):.1%}, "
        f"all {np.mean(every):.1%}; twice the uncertainty {np.mean(twice):.1%}"
    ]
    rims = [r for r in some if abs(r.truth["core_halo"]) >= 2.0]
    if rims:
        held = np.mean([abs(r.error) <= 2.0 * r.found.u_unevenness for r in rims])
        lines.append(f"rims of another depth, 2 ΔE00 or more: held {held:.0%} (n {len(rims)})")
    return lines
