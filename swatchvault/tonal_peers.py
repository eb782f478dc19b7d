"""How even a swatch is beside earlier lots of its colourway and the dyer's other semi-solids.

Like with like: unevenness depends on how yarn lies, so it is compared only within one form and
one version of the method. Pure: figures in, comparisons out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from swatchvault.evenness_check import (
    EvennessComparison,
    Tonal,
    compare_evenness,
    not_comparable,
    tolerance_for,
)
from swatchvault.evenness_read import Evenness

#: Figures of a record that keep their order across forms, each with its mean over that of a
#: wound card; and the standard deviation of ln of their ratio between two forms after that. On 27
#: renders of semi-solids, each dyed once and laid in all three forms: rank correlation 0.95 to
#: 0.97 and 0.92 to 0.98, by the third version of the measure. Dots and palettes do not survive.
ACROSS_FORMS: Mapping[str, Mapping[str, float]] = {
    "off_light_line": {"wound card": 1.0, "skein": 1.29, "knit": 1.07},
    "cell_unevenness": {"wound card": 1.0, "skein": 1.29, "knit": 1.02},
}
ACROSS_SD = 0.20
#: Fewest other semi-solids among which a swatch is given a place. Our choice.
FEWEST = 5
#: Added to figures before their ratio: under it they are noise, ΔE00. Our choice.
SMALL = 0.05
#: Said where no class is told of one of two swatches, and no more than its range.
RANGES_MEET = "Where no class can be told, only ranges that do not meet tell two swatches apart."


@dataclass(frozen=True)
class Peer:
    """Another swatch of the dyer's. ``lot``: its code; ``when``: the lot's day, or that of its
    first photo where ``by_photo``."""

    name: str
    lot: str | None
    when: str | None
    evenness: Evenness
    off_line: float = math.nan  # its figure off_light_line
    by_photo: bool = False


@dataclass(frozen=True)
class Place:
    """A place among ``count`` others: so many are less uneven; ``surely``, even if each figure
    leaned the other way by its doubt, and ``at_most``."""

    count: int
    less: int
    surely: int
    at_most: int

    @property
    def percentile(self) -> int:
        """Share of the others that are less uneven, in %."""
        return round(100.0 * self.less / self.count)

    def record(self) -> dict[str, Any]:
        return {
            "others": self.count,
            "less_uneven": self.less,
            "percentile": self.percentile,
            "surely_less_uneven": self.surely,
            "at_most_less_uneven": self.at_most,
        }


@dataclass(frozen=True)
class Peers:
    """What a swatch is beside. ``earlier``: each earlier lot, and this one held to it. ``place``:
    among other semi-solids, None where too few. ``notes``: what could not be compared and why."""

    earlier: tuple[tuple[Peer, EvennessComparison], ...] = ()
    others: tuple[Peer, ...] = ()
    place: Place | None = None
    notes: tuple[str, ...] = ()

    def record(self) -> dict[str, Any]:
        return {
            "earlier_lots": [_plain(p, c) for p, c in self.earlier],
            "among_semi_solids": None if self.place is None else self.place.record(),
            "notes": list(self.notes),
        }


def _plain(peer: Peer, comparison: EvennessComparison) -> dict[str, Any]:
    told, other = comparison.record(), peer.evenness
    return {
        "swatch": peer.name,
        "lot": peer.lot,
        "when": peer.when,
        "when_by_photo": peer.by_photo,
        "verdict": told["verdict"],
        "class": other.kind,
        "unevenness": told["master_unevenness"],
        "u_unevenness": told["u_master_unevenness"],
        "range": None if other.span is None else list(other.span),
        "tolerance": told["tolerance"],
        "reasons": told["reasons"],
    }


def across_forms(own: float, form: str, other: float, other_form: str) -> str:
    """How two semi-solids compare across forms, by their figures off the light line.

    Only a clear difference counts: two standard deviations of what a change of form leaves.
    """
    size = ACROSS_FORMS["off_light_line"]
    apart = math.log((own / size[form] + SMALL) / (other / size[other_form] + SMALL))
    if abs(apart) < 2.0 * ACROSS_SD:
        return "about as tonal as"
    return "more tonal than" if apart > 0 else "less tonal than"


@dataclass(frozen=True)
class OwnForms:
    """Forms that count beside a swatch's own. ``of_lot``: other swatches of its lot, by form;
    ``of_masters``: forms in which its colourway has a master on its base."""

    of_lot: Mapping[str, Peer] = field(default_factory=dict)
    of_masters: frozenset[str] = frozenset()


def beside(
    own: Evenness,
    earlier: Sequence[Peer],
    others: Sequence[Peer],
    off_line: float = math.nan,
    forms: OwnForms | None = None,
) -> Peers:
    """Set a swatch beside earlier lots of its colourway (oldest first) and all other swatches.

    Both may be of any form, class and method; only like is compared with like.
    """
    forms = OwnForms() if forms is None else forms
    if own.why_not is not None:
        return Peers(notes=(f"Not compared with others: {own.why_not}.",))
    held = [(p, _held(p.evenness, own)) for p in _like(earlier)]
    alike = [(p, c) for p, c in held if not_comparable(p.evenness, own) is None]
    pool = [p for p in _like(others) if p.evenness.kind == "semi-solid" and _alike(p.evenness, own)]
    notes = () if alike else _other_form(own, earlier, off_line, forms)
    notes = (*notes, *_other_version(own, earlier, others))
    if own.kind != "semi-solid":
        return Peers(tuple(alike), (), None, notes)
    if 0 < len(pool) < FEWEST:
        said = f"Other semi-solids measured as {own.form}: {len(pool)}. A place among them is"
        notes = (*notes, f"{said} given from {FEWEST}.")
    place = place_among(own, [p.evenness for p in pool]) if len(pool) >= FEWEST else None
    return Peers(tuple(alike), tuple(pool), place, notes)


def place_among(own: Evenness, others: Sequence[Evenness]) -> Place:
    """Where a swatch stands among others, one at least."""
    apart = [(o.unevenness - own.unevenness, (o.u**2 + own.u**2) ** 0.5) for o in others]
    return Place(
        len(apart),
        sum(d < 0 for d, _ in apart),
        sum(d < -2.0 * u for d, u in apart),
        sum(d < 2.0 * u for d, u in apart),
    )


def _held(earlier: Evenness, own: Evenness) -> EvennessComparison:
    """A swatch held to an earlier one, neither a master: what is said of the two must not hang on
    which came first, so the wider of their tolerances holds. A swatch of no class has a range and
    no figure: it is never as tonal, and more or less so only where the ranges do not meet."""
    wider = max(tolerance_for(e) for e in (earlier, own))
    found = compare_evenness(earlier, own, wider)
    if None not in (earlier.kind, own.kind):
        return found
    if found.verdict in (Tonal.MORE, Tonal.LESS) and _apart(earlier, own):
        return found
    return replace(found, verdict=Tonal.CANNOT_TELL, reasons=(RANGES_MEET,))


def _apart(a: Evenness, b: Evenness) -> bool:
    """Whether their ranges do not meet."""
    return (
        a.span is not None
        and b.span is not None
        and not max(a.span[0], b.span[0]) <= min(a.span[1], b.span[1])
    )


def _like(peers: Sequence[Peer]) -> list[Peer]:
    return [p for p in peers if p.evenness.why_not is None]


def _alike(a: Evenness, b: Evenness) -> bool:
    return a.form == b.form and a.method == b.method


def _other_form(
    own: Evenness, earlier: Sequence[Peer], off_line: float, forms: OwnForms
) -> tuple[str, ...]:
    """Which form allows a comparison, and what can be said across forms."""
    elsewhere = [p for p in _like(earlier) if p.evenness.form != own.form]
    if not elsewhere:
        return ()
    theirs = [p.evenness.form for p in elsewhere]
    asked = max(reversed(theirs), key=lambda form: (form in forms.of_masters, theirs.count(form)))
    there = [form for form in (asked, *theirs) if form in forms.of_lot]
    said = (
        f"Earlier lots were measured as {' and '.join(sorted(set(theirs)))}, this one as "
        f"{own.form}: evenness is compared only within one form. "
    )
    if there:
        said += (
            f"Of this lot {forms.of_lot[there[0]].name} is measured as {there[0]}: see its card."
        )
    else:
        said += f"Photograph this lot as {asked} too."
    return (said, *_across(own, elsewhere, off_line, asked))


def _across(
    own: Evenness, elsewhere: Sequence[Peer], off_line: float, form: str
) -> tuple[str, ...]:
    """A sentence on semi-solids of other forms, the newest first: of each lot one, as ``form``
    where it has such. Nothing where there is none."""
    if own.kind != "semi-solid" or math.isnan(off_line):
        return ()
    lots: dict[str | None, Peer] = {}
    for peer in sorted(elsewhere, key=lambda p: p.evenness.form == form):
        even = peer.evenness
        alike = even.kind == "semi-solid" and even.method == own.method
        if alike and not math.isnan(peer.off_line):
            lots[peer.lot] = peer
    told = [
        f"{across_forms(off_line, own.form, p.off_line, p.evenness.form)} {p.name} "
        f"({p.evenness.form})"
        for p in reversed(elsewhere)
        if p in lots.values()
    ]
    if not told:
        return ()
    return (f"Across forms, by what light alone cannot make: {'; '.join(told)}.",)


def _other_version(
    own: Evenness, earlier: Sequence[Peer], others: Sequence[Peer]
) -> tuple[str, ...]:
    old = sum(p.evenness.method != own.method for p in _like(earlier))
    rest = [p.evenness for p in _like(others)] if own.kind == "semi-solid" else []
    kept = sum(e.method != own.method and (e.kind, e.form) == (own.kind, own.form) for e in rest)
    counts = [f"{old} of the earlier swatches"] if old else []
    counts += [f"{kept} other semi-solids measured as {own.form}"] if kept else []
    if not counts:
        return ()
    return (
        f"Left out, measured by another version of the method: {' and '.join(counts)}. "
        "`swatchvault remeasure` brings them to this one.",
    )
