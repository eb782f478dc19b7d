"""The dyer's words beside the program's classes: disagreements, and a rule fitted to them."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ingest.evenness_stored import STOPPED_BY, figures_of_record
from swatchvault.archive.eye import EyeRule, NamedSwatch, eye_rule, take_rule
from swatchvault.errors import CompareError
from swatchvault.eye import FEWEST, Named, Refit, refit


@dataclass(frozen=True)
class Usable:
    """Named swatches that a rule can be fitted to, by one version of the measure, and how many
    others cannot be used, by reason."""

    named: tuple[Named, ...]
    method: str | None
    left_out: tuple[tuple[str, int], ...]


def usable(swatches: Sequence[NamedSwatch]) -> Usable:
    """Which named swatches hold the figures that the rule reads."""
    methods = [(s.tonality or {}).get("method") for s in swatches if s.tonality]
    method = max(set(methods), key=lambda m: (methods.count(m), str(m)), default=None)
    named, why = [], []
    for swatch in swatches:
        record = swatch.tonality
        read = figures_of_record(record)
        if swatch.measurement_id is None:
            why.append("no measured photo of them counts")
        elif record is None:
            why.append("their evenness is not measured")
        elif record.get("method") != method:
            why.append("measured by another version: `swatchvault remeasure --all`")
        elif swatch.flags & STOPPED_BY:
            why.append("their photo does not let evenness be judged")
        elif read is None:
            why.append("what is stored of them is too little for the rule")
        else:
            ids = (swatch.named_class_id, swatch.measurement_id or 0)
            named.append(Named(swatch.swatch, swatch.word, read, *ids, whole="rule" in record))
    return Usable(tuple(named), method, tuple((w, why.count(w)) for w in dict.fromkeys(why)))


def fit_to_eye(swatches: Sequence[NamedSwatch]) -> tuple[Refit, Usable]:
    """A rule fitted to the dyer's words. Raises ``CompareError`` with too few to use."""
    found = usable(swatches)
    if len(found.named) < FEWEST:
        others = "".join(f"; {count} cannot: {why}" for why, count in found.left_out)
        raise CompareError(
            f"{len(found.named)} named swatches can be used, {FEWEST} are needed{others}; name "
            'more with `swatchvault eye SWATCH "semi-solid"`'
        )
    return refit(found.named), found


def take(conn: sqlite3.Connection, fitted: Refit, method: str) -> int:
    """Put a fitted rule in force; how many stored measurements it can class.

    Raises ``CompareError`` where no border moves: that would be the program's own rule by another
    name.
    """
    if not fitted.moved:
        back = "; `swatchvault eye --undo` goes back to it" if eye_rule(conn) is not None else ""
        raise CompareError(
            "nothing is taken, for no border moves: the program's own rule fits your words "
            f"best{back}. Name more swatches, and ask again"
        )
    pairs = [(n.named_class_id, n.measurement_id) for n in fitted.swatches]
    right = (fitted.before.right, fitted.after.right)
    return take_rule(conn, fitted.limits, method, pairs, right, refit_record(fitted))


def refit_record(fitted: Refit) -> dict[str, Any]:
    """A refit as plain JSON data."""
    return {
        "swatches": len(fitted.swatches),
        "before": vars(fitted.before),
        "after_leaving_each_out": vars(fitted.after),
        "better": fitted.better,
        "moved": [vars(m) for m in fitted.moved],
        "borders_kept": list(fitted.kept),
    }


def refit_lines(fitted: Refit) -> list[str]:
    """A refit for people: what moves, and what it gains."""
    before, after = fitted.before, fitted.after
    lines = [f"from {len(fitted.swatches)} named swatches:"]
    for m in fitted.moved:
        lines.append(f"  {m.words}: {m.threshold.replace('_', ' ')} {m.before:g} -> {m.after:g}")
    if not fitted.moved:
        lines.append("  nothing moves: the program's thresholds fit your words best")
    for border in fitted.kept:
        lines.append(f"  {border}: stays, too few of your swatches speak for it")
    lines += [
        f"called as you do: {before.right} of {before.of} by the program's rule "
        f"(cannot tell {before.cannot_tell}),",
        f"  {after.right} of {after.of} by yours, each by a rule fitted without it "
        f"(cannot tell {after.cannot_tell})",
    ]
    if not fitted.better:
        lines.append("That is no better: leave it as it is, or name more swatches.")
    return lines


def disagreements(swatches: Sequence[NamedSwatch], rule: EyeRule | None) -> list[NamedSwatch]:
    """Swatches that are called by another class than the dyer's; "cannot tell" is none."""
    out = []
    for swatch in swatches:
        said = swatch.by_eye if rule is not None and swatch.by_eye_known else swatch.by_program
        if said is not None and said != swatch.word:
            out.append(swatch)
    return out
