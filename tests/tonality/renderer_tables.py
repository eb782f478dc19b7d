"""Tables of the measure held to a renderer that draws in ways of its own, all yarns and neutral
ones apart; and its photos on disk, so that they are rendered once."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np

from ingest.evenness_cells import cell_factor, sum_to_cells
from ingest.evenness_figures import Figures
from ingest.evenness_rule import floor_of
from ingest.tonality import Tonality, examine_cells
from tests.tonality.draws import FORMS, KINDS
from tests.tonality.figures import SEMI_SOLID_LEAST
from tests.tonality.photos import Seen, to_xyz

#: ΔE00 by which a stated range is widened on either side: by what rounding makes, and further, to
#: see how far it misses.
WIDENED = (0.01, 0.05, 0.1)
#: Kinds whose unevenness comes from the fitted rule, with a 95 % range.
RULED = ("solid", "semi-solid")
#: How far outside its range the truth of a neutral yarn lies that is listed, ΔE00.
FAR_OUTSIDE = 1.0


class Drawn(Protocol):
    """What the tables ask of a case."""

    @property
    def seed(self) -> int: ...

    @property
    def kind(self) -> str: ...

    @property
    def form(self) -> str: ...

    @property
    def neutral(self) -> bool: ...


@dataclass(frozen=True, eq=False)
class Row:
    """A photo measured. ``inside``: figures that the class and the estimate were made from."""

    case: Drawn
    truth: float
    found: Tonality
    inside: dict[str, float]

    @property
    def error(self) -> float:
        return self.found.unevenness - self.truth

    @property
    def outside(self) -> float:
        """ΔE00 from the range to the truth, 0 within it."""
        return max(self.found.low - self.truth, self.truth - self.found.high, 0.0)


def kept(name: str, folder: Path, mm_per_px: float, render: Callable[[], Seen]) -> Seen:
    """The photo of a name, from the folder where it is already there."""
    folder.mkdir(parents=True, exist_ok=True)
    jpeg, note = folder / f"{name}.jpg", folder / f"{name}.json"
    if not note.exists():
        made = render()
        jpeg.write_bytes(made.jpeg)
        told = {"exposure": made.exposure, "truth": made.truth}
        note.write_text(json.dumps(told), encoding="utf-8")
    told = json.loads(note.read_text(encoding="utf-8"))
    return Seen(jpeg.read_bytes(), mm_per_px, told["exposure"], told["truth"])


def measured(case: Drawn, photo: Seen) -> Row:
    """One photo measured whole."""
    linear = photo.linear
    whole = np.ones(linear.shape[:2], dtype=bool)
    factor = cell_factor(photo.mm_per_px, whole.size)
    light, weight = sum_to_cells(linear, whole, factor)
    examined = examine_cells(light, weight, photo.mm_per_px, factor, to_xyz, photo.ends)
    assert examined.tonality is not None and examined.figures is not None
    truth = photo.truth["unevenness"]
    return Row(case, truth, examined.tonality, inside(examined.tonality, examined.figures))


def inside(found: Tonality, figures: Figures) -> dict[str, float]:
    """Figures of a region by name: what the rule reads, and what lies behind it."""
    read = dict(found.extra["rule"])
    return {
        **read,
        "floor": floor_of(read["doubt"]),
        "off": figures.crest.off,
        "off_all": figures.plain.off,
        "mcdm": figures.plain.mcdm,
        "curved": figures.taken.curved,
        "regressed": figures.taken.regressed,
        "strand": figures.shade.contrast,
        "strand_mm": figures.strand_mm,
        "with_light": figures.depth.with_light,
        "lightness": float(figures.plain.mean_lab[0]),
        "chroma": float(np.hypot(*figures.plain.mean_lab[1:])),
        "colours": float(len(figures.palette.share)),
        "light_only": float(found.extra["light_only"]),
    }


def tables(rows: Sequence[Row]) -> str:
    """All figures of one kind of light as text."""
    sets = {
        "all yarns": list(rows),
        "coloured yarns": [r for r in rows if not r.case.neutral],
        "neutral yarns": [r for r in rows if r.case.neutral],
    }
    lines: list[str] = []
    for name, some in sets.items():
        if not some or (name == "all yarns" and not sets["coloured yarns"]):
            continue  # all are neutral: said once
        lines += ["", f"{name}, {len(some)}", *classes(some), *ranges(some), *unevenness(some)]
    return "\n".join([*lines, "", *far_outside(sets["neutral yarns"])])


def counted(rows: Sequence[Row]) -> list[Row]:
    """Rows that classes are counted on: semi-solids of less than the least are left out."""
    return [r for r in rows if r.case.kind != "semi-solid" or r.truth >= SEMI_SOLID_LEAST]


def classes(rows: Sequence[Row]) -> list[str]:
    """Classes right in all, by form, and what each kind is called."""
    used = counted(rows)
    lines = [f"  classes: {_right(used)}"]
    for form in FORMS:
        lines.append(f"    {form}: {_right([r for r in used if r.case.form == form])}")
    for kind in KINDS:
        some = [r for r in used if r.case.kind == kind]
        said = [r.found.name or "cannot tell" for r in some]
        parts = [f"{n} {said.count(n)}" for n in (*KINDS, "cannot tell") if n in said]
        lines.append(f"  {kind}, {len(some)}, called: {', '.join(parts) or '-'}")
    return lines


def _right(rows: Sequence[Row]) -> str:
    if not rows:
        return "none"
    right = np.array([r.found.name == r.case.kind for r in rows])
    told = np.array([r.found.name is not None for r in rows])
    decided = f"{right[told].mean():.1%}" if told.any() else "-"
    return (
        f"right {right.mean():.1%}, of those decided {decided}, "
        f"cannot tell {1.0 - told.mean():.1%} (of {len(rows)})"
    )


def ranges(rows: Sequence[Row]) -> list[str]:
    """How often stated ranges hold the truth, as they are and widened."""
    lines = []
    for name, some in _by_kind(rows):
        if some:
            outside = np.array([r.outside for r in some])
            held = ", ".join(f"{np.mean(outside <= wide + 1e-9):.1%}" for wide in WIDENED)
            wide = ", ".join(f"{w:g}" for w in WIDENED)
            far = int(np.sum(outside > FAR_OUTSIDE))
            lines.append(
                f"  {name}: range widened by {wide} holds {held}; off by over "
                f"{FAR_OUTSIDE:g}: {far} (of {len(some)})"
            )
    return lines


def _by_kind(rows: Sequence[Row]) -> list[tuple[str, list[Row]]]:
    both = [r for r in rows if r.case.kind in RULED]
    return [
        (" and ".join(RULED), both),
        *((kind, [r for r in rows if r.case.kind == kind]) for kind in KINDS),
    ]


def unevenness(rows: Sequence[Row]) -> list[str]:
    """False unevenness of solids; bias and rms of the rest."""
    lines = []
    for kind in KINDS:
        some = [r for r in rows if r.case.kind == kind]
        if not some:
            continue
        errors = np.array([r.error for r in some])
        if kind == "solid":
            high = np.quantile(errors, 0.95)
            lines.append(f"  false unevenness of solids: mean {errors.mean():.2f}, 95 % {high:.2f}")
        else:
            rms = np.sqrt((errors**2).mean())
            lines.append(
                f"  unevenness of {kind}: bias {errors.mean():+.2f}, rms {rms:.2f} (n {len(some)})"
            )
    return lines


def far_outside(rows: Sequence[Row]) -> list[str]:
    """Yarns whose truth lies far outside the stated range, worst first, with figures inside."""
    worst = sorted((r for r in rows if r.outside > FAR_OUTSIDE), key=lambda r: -r.outside)
    lines = [f"neutral yarns off by over {FAR_OUTSIDE:g}: {len(worst)}"]
    for r in worst:
        called = r.found.name or "cannot tell " + " or ".join(r.found.between or ())
        flags = ", ".join(sorted(r.found.flags)) or "no flag"
        lines.append(
            f"  {r.case.seed} {r.case.kind}, {r.case.form}: true {r.truth:.2f}, called {called}, "
            f"{r.found.low:.2f} to {r.found.high:.2f}; {flags}"
        )
        lines.append("    " + ", ".join(f"{k} {v:.3g}" for k, v in r.inside.items()))
    return lines
