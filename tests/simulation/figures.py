"""The figures of the simulation, each beside what is asked of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ingest.colour import delta_e_2000
from swatchvault import difference
from tests.render import camera, spectra
from tests.simulation import intervals, verdicts
from tests.simulation.cases import CLASSES, Cases, Table
from tests.simulation.colourways import distance_at
from tests.simulation.frame import KINDS
from tests.simulation.verdicts import VERDICTS

WITHIN, OUTSIDE = VERDICTS.index("within"), VERDICTS.index("outside")
LIGHT_NAMES = ("daylight", "other")
PHONES = [camera.CAMERAS.index(c) for c in camera.PHONES]


@dataclass(frozen=True)
class Figure:
    """``asked``: NaN where nothing is asked. ``at_most``: whether it is an upper bound."""

    name: str
    asked: float
    measured: float
    cases: int
    at_most: bool = True

    @property
    def met(self) -> bool | None:
        if not (np.isfinite(self.asked) and np.isfinite(self.measured)):
            return None
        return bool(self.measured <= self.asked if self.at_most else self.measured >= self.asked)


#: Mean and 95 % of ΔE00 to the truth: phones by daylight, then any light and camera.
ASKED_ABSOLUTE = {
    "card": (4.1, 7.2, 5.4, 11.5),
    "steps": (1.3, 3.1, 3.8, 9.8),
    "chart": (1.2, 2.9, 1.7, 4.5),
    "raw with chart": (1.0, 2.5, np.nan, np.nan),
}
#: Root mean square error of a measured difference of 1, by capture class: card, steps, chart.
ASKED_DIFFERENCE = {
    "same frame": (0.23, 0.18, 0.17),
    "locked set-up": (0.56, 0.14, 0.18),
    "same set-up": (2.4, 0.65, 0.34),
}
HELD, WIDEST = 0.93, 1.6
WRONG_WITHIN, WRONG_WITHIN_CELL, WRONG_OUTSIDE, DECIDED = 0.01, 0.02, 0.05, 0.95
#: A cell with fewer verdicts than this is not looked at alone.
FEWEST_IN_CELL = 100


def picked(table: Table, mask: np.ndarray) -> Table:
    return {key: values[mask] for key, values in table.items()}


def weighted(values: np.ndarray, weights: np.ndarray) -> tuple[float, float]:
    """Mean and 95 % point of values with weights."""
    order = np.argsort(values)
    share = np.cumsum(weights[order]) / weights.sum()
    at = min(int(np.searchsorted(share, 0.95)), len(values) - 1)
    return float(np.average(values, weights=weights)), float(values[order][at])


def absolute_colour(colours: Table) -> Iterator[Figure]:
    """Lab error against the spectral truth, by reference; main bank and published samples."""
    colours = picked(colours, ~colours["stop"])
    error = delta_e_2000(colours["lab"], colours["true"])
    phones, dark = np.isin(colours["camera"], PHONES), colours["dark"]
    # Two daylights and four other lights come equally often as classes; weigh lights alike.
    weight = np.where(colours["daylight"], 2.0, 4.0)
    for name, asked in ASKED_ABSOLUTE.items():
        raw = name.startswith("raw")
        mine = (colours["kind"] == KINDS.index("chart" if raw else name)) & (colours["raw"] == raw)
        groups = (
            ("phones by daylight", phones & colours["daylight"] & ~dark),
            ("any light and camera", ~dark),
            ("dark, any light and camera", dark),
            *(
                (f"{c} by daylight", (colours["camera"] == i) & colours["daylight"] & ~dark)
                for i, c in zip(PHONES, camera.PHONES, strict=True)
            ),
        )
        for i, (group, mask) in enumerate(groups):
            use = mine & mask
            found = weighted(error[use], weight[use]) if use.any() else (np.nan, np.nan)
            for j, what in enumerate(("mean", "95 %")):
                want = asked[2 * i + j] if i < 2 else np.nan
                yield Figure(f"absolute, {name}, {group}, {what}", want, found[j], int(use.sum()))


def difference_of_one(pairs: Table) -> Iterator[Figure]:
    """Root mean square error of ΔE00 at kL = 1 where the truth is 1, without a region's error."""
    ones = picked(pairs, np.isnan(pairs["tolerance"]) & ~pairs["dark"] & ~pairs["stop"])
    error = distance_at(ones["lab_m"], ones["lab_l"], ones["k_l"]) - ones["distance"]
    groups = {
        "": np.ones(len(error), bool),
        ", phones": np.isin(ones["camera"], PHONES),
        ", phones, daylight": np.isin(ones["camera"], PHONES) & ones["daylight"],
    }
    for group, among in groups.items():
        for c, capture in enumerate(CLASSES):
            for k, kind in enumerate(KINDS):
                use = among & (ones["capture"] == c) & (ones["kind"] == k)
                want = np.nan if group else ASKED_DIFFERENCE.get(capture, (np.nan,) * 3)[k]
                rms = float(np.sqrt(np.mean(error[use] ** 2))) if use.any() else np.nan
                name = f"difference of 1, {capture}, {kind}{group}, rms"
                yield Figure(name, want, rms, int(use.sum()))


def _held(name: str, squared: np.ndarray, asked: bool = True) -> Iterator[Figure]:
    found = intervals.held(squared)
    hold, wide = (HELD, WIDEST) if asked else (np.nan, np.nan)
    yield Figure(f"{name}, held", hold, found.inside, found.cases, at_most=False)
    yield Figure(f"{name}, width over the narrowest", wide, found.width, found.cases)


def stated_intervals(
    rng: np.random.Generator, cases: Cases, most: int = 60_000
) -> Iterator[Figure]:
    """Share of truths inside the stated 95 % ellipsoids, of Lab and of differences."""
    colours = picked(cases.colours, ~cases.colours["raw"] & ~cases.colours["stop"])
    squared = intervals.absolute(rng, colours)
    groups = {
        "": ~colours["dark"],
        ", dyed yarn alone": ~colours["dark"] & colours["yarn"],
        ", dark": colours["dark"],
    }
    for k, kind in enumerate(KINDS):
        for daylight in (True, False):
            for group, among in groups.items():
                use = among & (colours["column"] == k) & (colours["daylight"] == daylight)
                name = f"stated Lab, {kind}, {LIGHT_NAMES[0 if daylight else 1]}{group}"
                yield from _held(name, squared[use], asked=group != ", dark")
    pairs = cases.pairs
    some = rng.random(len(pairs["set"])) < most / len(pairs["set"])
    pairs = picked(pairs, some & ~pairs["stop"])
    squared = intervals.differences(rng, pairs)
    for c, capture in enumerate(CLASSES):
        main = (pairs["capture"] == c) & ~pairs["dark"]
        yield from _held(f"stated difference, {capture}", squared[main])
        phones = main & np.isin(pairs["camera"], PHONES)
        yield from _held(f"stated difference, {capture}, phones", squared[phones])
        for k, kind in enumerate(KINDS):
            for daylight in (True, False):
                use = main & (pairs["column"] == k) & (pairs["daylight"] == daylight)
                name = f"stated difference, {capture}, {kind}, {LIGHT_NAMES[0 if daylight else 1]}"
                yield from _held(name, squared[use], asked=False)
        dark = (pairs["capture"] == c) & pairs["dark"]
        yield from _held(f"stated difference, {capture}, dark", squared[dark], asked=False)


def _share(what: np.ndarray, of: np.ndarray) -> tuple[float, int]:
    n = int(of.sum())
    return (float((what & of).sum() / n) if n else np.nan), n


def lot_verdicts(judged: Table) -> Iterator[Figure]:
    """Wrong verdicts by class, the worst cell, what is decided, and dark colourways apart."""
    bad = judged["distance"] > judged["tolerance"]
    within = judged["verdict"] == WITHIN
    tested = (judged["verdict"] == OUTSIDE) & ~judged["gross"]
    gross = (judged["verdict"] == OUTSIDE) & judged["gross"]
    for dark in (False, True):
        for c, capture in enumerate(CLASSES):
            main = (judged["dark"] == dark) & (judged["capture"] == c)
            name = f"verdict, {capture}" + (", dark" if dark else "")
            asked = (np.nan,) * 3 if dark else (WRONG_WITHIN, WRONG_WITHIN_CELL, WRONG_OUTSIDE)
            yield Figure(f"{name}, wrong of within", asked[0], *_share(bad, main & within))
            worst = max(
                _cells(judged, main & within, bad), key=lambda c: c[0], default=(np.nan, 0, "")
            )
            yield Figure(f"{name}, worst cell {worst[2]}", asked[1], worst[0], worst[1])
            yield Figure(
                f"{name}, wrong of outside by the test", asked[2], *_share(~bad, main & tested)
            )
            yield Figure(f"{name}, wrong of gross", np.nan, *_share(~bad, main & gross))
            yield Figure(f"{name}, good lots called gross", np.nan, *_share(gross, main & ~bad))
    yield from _decided(judged)


def _cells(judged: Table, of: np.ndarray, bad: np.ndarray) -> Iterator[tuple[float, int, str]]:
    for k, kind in enumerate(KINDS):
        for daylight in (True, False):
            for t in (1.0, 2.0, 3.0):
                for k_l in (1.0, 2.0):
                    cell = of & (judged["column"] == k) & (judged["daylight"] == daylight)
                    cell &= (judged["tolerance"] == t) & (judged["k_l"] == k_l)
                    share, n = _share(bad, cell)
                    if n >= FEWEST_IN_CELL:
                        light = LIGHT_NAMES[0 if daylight else 1]
                        yield share, n, f"({kind}, {light}, T {t:.0f}, kL {k_l:.0f})"


def _decided(judged: Table) -> Iterator[Figure]:
    """Of lots that may be judged (unclipped, no channel at zero, not dark) what is decided."""
    ratio = judged["distance"] / judged["tolerance"]
    dark = np.minimum(judged["lab_m"][:, 0], judged["lab_l"][:, 0]) < difference.DARK_L
    open_ = ~judged["stop"] & ~judged["bar"] & ~dark
    main = ~judged["dark"]
    yield Figure("verdict, lots that are given no verdict", np.nan, *_share(judged["stop"], main))
    yield Figure("verdict, lots that are never called within", np.nan, *_share(judged["bar"], main))
    for c, capture in enumerate(CLASSES):
        for k, kind in enumerate(KINDS):
            for daylight in (True, False):
                for t in (1.0, 2.0, 3.0):
                    use = (judged["capture"] == c) & (judged["column"] == k) & main & open_
                    use &= (judged["daylight"] == daylight) & (judged["tolerance"] == t)
                    light = LIGHT_NAMES[0 if daylight else 1]
                    name = f"verdict, {capture}, {kind}, {light}, T {t:.0f}"
                    first = (capture, kind, daylight, t) == ("same frame", "steps", True, 1.0)
                    asked = DECIDED if first else np.nan
                    passed = _share(judged["verdict"] == WITHIN, use & (ratio <= 0.5))
                    failed = _share(judged["verdict"] == OUTSIDE, use & (ratio >= 2.0))
                    yield Figure(f"{name}, T/2 or less pass", asked, *passed, at_most=False)
                    yield Figure(f"{name}, 2T or more fail", asked, *failed, at_most=False)


def by_light_and_camera(colours: Table) -> Iterator[Figure]:
    """Lab error against the spectral truth, mean and 95 %, by light and camera."""
    colours = picked(colours, ~colours["stop"])
    error = delta_e_2000(colours["lab"], colours["true"])
    for k, kind in enumerate(KINDS[:2]):
        for i, light in enumerate(spectra.LIGHTS):
            for j, name in enumerate(camera.CAMERAS):
                use = (colours["kind"] == k) & ~colours["raw"] & ~colours["dark"]
                use &= (colours["light"] == i) & (colours["camera"] == j)
                found = weighted(error[use], np.ones(use.sum())) if use.any() else (np.nan, np.nan)
                for what, value in zip(("mean", "95 %"), found, strict=True):
                    yield Figure(f"{kind}, {light}, {name}, {what}", np.nan, value, int(use.sum()))


def all_figures(cases: Cases, seed: int) -> list[Figure]:
    """Every figure, in the order of the report."""
    rng = np.random.default_rng([seed, 7])
    return [
        *absolute_colour(cases.colours),
        *difference_of_one(cases.pairs),
        *stated_intervals(rng, cases),
        *lot_verdicts(verdicts.judge_pairs(rng, cases.pairs)),
        *by_light_and_camera(cases.colours),
    ]
