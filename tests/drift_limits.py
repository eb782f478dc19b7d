"""How often a lot that is out is found on a chart of few lots, by both kinds of limits.

    python -m tests.drift_limits [--draws 200000]

Lots are drawn from one normal, and one of them that is neither first nor last is put off by so many
of its standard deviations: how often the limits from the other lots, and the chart's own from the
steps between lots, find it, in %; and how often each lot is found where none is off.
"""

from __future__ import annotations

import argparse

import numpy as np

from swatchvault.drift import D2, by_the_others

LOTS = (5, 7, 8, 12, 20)
OFF_BY = (4.0, 6.0, 8.0, 12.0, 30.0)


def beyond(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(lots, draws) bool by the others' limits and by the chart's, of draws (lots, draws)."""
    away, limit = by_the_others(values, np.full(len(values), np.nan))
    sigma = np.abs(np.diff(values, axis=0)).mean(axis=0) / D2
    return np.abs(away) > limit, np.abs(values - values.mean(axis=0)) > 3.0 * sigma


def found(rng: np.random.Generator, lots: int, off_by: float, draws: int) -> tuple[float, float]:
    """Share of draws in which a middle lot that is off is found: by the others, by the chart."""
    values = rng.normal(size=(lots, draws))
    values[lots // 2] += off_by
    return tuple(float(kind[lots // 2].mean()) for kind in beyond(values))


def false_alarms(rng: np.random.Generator, lots: int, draws: int) -> tuple[float, float]:
    """Share of lots that are found where none is off: by the others, by the chart."""
    return tuple(float(kind.mean()) for kind in beyond(rng.normal(size=(lots, draws))))


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.drift_limits")
    parser.add_argument("--draws", type=int, default=200_000, help="draws of each number of lots")
    draws = parser.parse_args().draws
    rng = np.random.default_rng(1)
    heads = [f"off by {o:g}" for o in OFF_BY]
    print(f"| lots | {' | '.join(heads)} | each lot when none is off |")
    print("| --- " * (len(OFF_BY) + 2) + "|")
    for lots in LOTS:
        shares = [found(rng, lots, off, draws) for off in OFF_BY]
        cells = [f"{100 * others:.0f} / {100 * chart:.0f}" for others, chart in shares]
        others, chart = false_alarms(rng, lots, draws)
        print(f"| {lots} | {' | '.join(cells)} | {100 * others:.2f} / {100 * chart:.2f} |")


if __name__ == "__main__":
    main()
