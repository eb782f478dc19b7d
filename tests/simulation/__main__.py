"""``python -m tests.simulation report [--cases N] [--seed S] [--tuning] [--csv]``, and
``python -m tests.simulation floor``: what no correction can beat."""

from __future__ import annotations

import argparse
import math
import sys

from tests.simulation.cases import MASTERS, simulate
from tests.simulation.colourways import EVALUATION, TUNING
from tests.simulation.figures import Figure, all_figures
from tests.simulation.floor import floor_figures

#: Seed of the figures that are kept in tests/data.
SEED = 1


def binomial_error(share: float, cases: int) -> float:
    """Standard error of a share, or NaN."""
    if cases == 0 or not 0.0 <= share <= 1.0:
        return math.nan
    return math.sqrt(max(share * (1.0 - share), 1.0 / cases) / cases)


def table(figures: list[Figure]) -> str:
    """A plain text table: name, asked, measured, binomial error of shares, cases."""
    lines = [f"{'figure':84s} {'asked':>7s} {'measured':>9s} {'+-':>7s} {'cases':>7s}"]
    for f in figures:
        if f.cases == 0:
            continue
        share = any(w in f.name for w in ("held", "wrong", "cell", "pass", "fail", "called"))
        error = binomial_error(f.measured, f.cases) if share else math.nan
        asked = "" if math.isnan(f.asked) else f"{f.asked:.3g}"
        plus = "" if math.isnan(error) else f"{error:.4f}"
        missed = "  missed" if f.met is False else ""
        lines.append(f"{f.name:84s} {asked:>7s} {f.measured:9.4f} {plus:>7s} {f.cases:7d}{missed}")
    return "\n".join(lines)


def csv(figures: list[Figure], seed: int) -> str:
    """Of the figures those that something is asked of, and their like, comma-separated."""
    rows = ["figure,asked,measured,cases,seed"]
    for f in figures:
        like = f.name.startswith(("absolute", "difference", "verdict, lots"))
        if f.cases and (like or not math.isnan(f.asked) or "dark, wrong" in f.name):
            asked = "" if math.isnan(f.asked) else f"{f.asked:.4g}"
            rows.append(f'"{f.name}",{asked},{f.measured:.4f},{f.cases},{seed}')
    return "\n".join(rows)


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.simulation")
    parser.add_argument("what", choices=["report", "floor"])
    parser.add_argument("--cases", type=int, default=2000, help="lots in a cell of verdicts, about")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument(
        "--tuning", action="store_true", help="the dyes that constants were found on"
    )
    parser.add_argument("--csv", action="store_true", help="comma-separated values")
    asked = parser.parse_args(arguments)
    if asked.what == "floor":
        sys.stdout.write(table(floor_figures(asked.seed)) + "\n")
        return
    sets = max(asked.cases // MASTERS[0], 1)
    family = TUNING if asked.tuning else EVALUATION
    figures = all_figures(simulate(asked.seed, family, sets), asked.seed)
    sys.stdout.write((csv(figures, asked.seed) if asked.csv else table(figures)) + "\n")


if __name__ == "__main__":
    main()
