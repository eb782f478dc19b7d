"""``python -m tests.prediction report [--kitchens N] [--seed S] [--tuning]``."""

from __future__ import annotations

import argparse

import numpy as np

from tests.prediction.evaluate import Case, corrections, predictions, searches
from tests.prediction.glasses import liquor_errors
from tests.render import spectra


def _pair(values: np.ndarray) -> str:
    return "{:.2f} / {:.2f}".format(*np.quantile(values, [0.5, 0.95]))


def _line(name: str, asked: str, measured: str, cases: int) -> str:
    return f"  {name:64s} {asked:>10s} {measured:>22s} {cases:7d}"


def report(case: Case, kitchens: int, seed: int) -> list[str]:
    p = predictions(case, kitchens, 40, seed)
    n = len(p.model)
    out = [
        _line("prediction, ΔE00 median / 95 %", "2.0 / -", _pair(p.model), n),
        _line("nearest past recipe as it is", "", _pair(p.nearest), n),
        _line("nearest-neighbour regression (3, by distance)", "", _pair(p.neighbours), n),
        _line("95 % regions of Lab held", "0.90-0.98", f"{p.ellipsoid.mean():.3f}", n),
        _line("stated ΔE00 for 19 of 20 held", "0.90-0.98", f"{p.radius.mean():.3f}", n),
        _line(
            "95 % intervals of L*, a*, b* held",
            "0.90-0.98",
            " ".join(f"{v:.3f}" for v in p.axes.mean(axis=0)),
            n,
        ),
        _line("stated ΔE00 for 19 of 20, median / 95 %", "", _pair(p.stated), n),
        _line("recipes refused, had they been answered", "", _pair(p.refused), len(p.refused)),
        _line("share of recipes inside", "", f"{p.inside_share:.2f}", 40 * kitchens),
    ]
    c = corrections(case, max(kitchens // 3, 1), 5, seed)
    for name, asked, some in (
        ("pot off by 3 to 6, could reach 1.0", "1.5 / -", c.possible <= 1.0),
        ("pot off by 3 to 6, could not", "", c.possible > 1.0),
    ):
        if some.any():
            out.append(_line(name, asked, _pair(c.after[some]), int(some.sum())))
            out.append(_line("  before", "", _pair(c.before[some]), int(some.sum())))
            out.append(_line("  best possible", "", _pair(c.possible[some]), int(some.sum())))
    held, count = f"{c.held.mean():.3f}", len(c.held)
    out.append(_line("stated ΔE00 to the target after correction held", "", held, count))
    first, nearest = searches(case, max(kitchens // 3, 1), 6, seed)
    out.append(_line("first recipe found for a colour, dyed", "", _pair(first), len(first)))
    out.append(_line("nearest past lot to that colour", "", _pair(nearest), len(nearest)))
    return out


_GLASSES: tuple[tuple[str, bool, tuple[float, ...]], ...] = (
    ("", False, ()),
    (", clear glass too", True, ()),
    (", start again 1:2", False, (2.0,)),
    (", start again 1:2 and 1:4", False, (2.0, 4.0)),
)


def liquor_report(cases: int, seed: int) -> list[str]:
    """Error in points of what is left, where truth is 10 to 100 %."""
    out = []
    for lights, where in ((spectra.DAYLIGHTS, "daylight"), (spectra.LIGHTS, "six lights")):
        for more, clear, again in _GLASSES:
            _, error, doubt = liquor_errors(cases, seed, lights, clear, again)
            read = ~np.isnan(error)
            miss = 100 * np.abs(error[read])
            name = f"liquor, 7 cameras, {where}{more}"
            out.append(_line(f"{name}: points, median / 95 %", "5 / -", _pair(miss), len(miss)))
            out.append(_line("  within 5 points", "", f"{(miss <= 5).mean():.3f}", len(miss)))
            held = (miss <= 196 * doubt[read]).mean()
            out.append(_line("  95 % interval held", "", f"{held:.3f}", len(miss)))
    return out


def main(arguments: list[str] | None = None) -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.prediction")
    parser.add_argument("what", choices=["report"])
    parser.add_argument("--kitchens", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--tuning", action="store_true", help="the dyes constants were set on")
    asked = parser.parse_args(arguments)
    for dyes in ("tuning",) if asked.tuning else ("invented", "published"):
        for case in (Case(dyes), Case(dyes, hard=True, photo_sd=0.7)):
            kind = "hard kitchens, photo error 0.7" if case.hard else "weighing error 2 %"
            print(f"{dyes} dyes, {case.lots} lots, {kind}")
            print(_line("", "asked", "measured", 0).replace("      0", "  cases"))
            print("\n".join(report(case, asked.kitchens, asked.seed)), flush=True)
    print("\n".join(liquor_report(5 * asked.kitchens, asked.seed)))


if __name__ == "__main__":
    main()
