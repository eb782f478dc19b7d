"""The study of evenness: ``python -m tests.tonality WHAT --to FOLDER``.

``fit`` renders the photos that the rule is fitted on and writes ingest/evenness_fit.py. ``look``
and ``evaluate`` measure photos of other yarns and print the tables; ``look`` is for work on the
method, ``evaluate`` is kept for the end. ``rims`` does the same for core and halo, ``greys``
for painted greys. ``other`` measures yarn that a second renderer draws, in ways of its own; with
``--neutral`` all of it is white, grey and black. ``third`` does the same with a third renderer.
Photos lie in the folder and are rendered once.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np

import ingest.evenness_fit
from ingest.evenness_cells import as_cells, cell_factor, sum_to_cells
from ingest.evenness_figures import figures
from ingest.evenness_model import inputs
from tests.tonality import (
    greys,
    other_draws,
    other_figures,
    renderer_tables,
    rims,
    third_draws,
    third_figures,
)
from tests.tonality.figures import measured, tables
from tests.tonality.fitting import fit, write
from tests.tonality.photos import Seen, to_xyz
from tests.tonality.renderer_tables import RULED, Row
from tests.tonality.sets import cases, seen

#: Photos of each renderer that the rule is fitted on, as a share of the first's, and how often
#: each counts; seed of the tenths that are left out in turn.
SHARES, TIMES, FOLD_SEED = (1.0, 0.4, 0.25), (1, 2, 2), 0

COUNTS = {
    "fit": 1800,
    "look": 240,
    "evaluate": 300,
    "rims": 150,
    "greys": 150,
    "other": 300,
    "third": 250,
}


def inputs_of(photo: Seen) -> np.ndarray:
    """What the rule reads of a photo, (k,)."""
    linear = photo.linear
    whole = np.ones(linear.shape[:2], dtype=bool)
    factor = cell_factor(photo.mm_per_px, whole.size)
    cells = as_cells(*sum_to_cells(linear, whole, factor), photo.mm_per_px, factor)
    found = figures(cells, to_xyz)
    assert found is not None
    return inputs(found)


def fitted_on(folder: Path, count: int) -> Iterator[tuple[int, Seen]]:
    """Solids and semi-solids of all three renderers, each with which of them drew it."""
    for hard in (False, True):
        for case in cases("fit", hard, count):
            if case.kind in RULED:
                yield 0, seen(case, folder)
        for k in range(round(count * SHARES[1])):
            other = other_draws.draw(other_draws.FIT_SEED + 2 * k + int(hard), hard)
            if other.kind in RULED:
                yield 1, other_figures.kept(other, folder)
        for k in range(round(count * SHARES[2])):
            third = third_draws.draw(third_draws.FIT_SEED + 2 * k + int(hard), hard)
            if third.kind in RULED:
                yield 2, third_figures.kept(third, folder)


def refit(folder: Path, count: int) -> None:
    """All renderers: what is learned of one way to draw yarn does not hold of another."""
    by, rows, truths = [], [], []
    for renderer, photo in fitted_on(folder, count):
        by.append(renderer)
        rows.append(inputs_of(photo))
        truths.append(photo.truth["unevenness"])
    counted = np.array(TIMES)[by]
    fold = np.random.default_rng(FOLD_SEED).permutation(len(rows)) % 10
    rule, ridge = fit(
        *(np.repeat(part, counted, axis=0) for part in (np.array(rows), np.array(truths), fold))
    )
    counts = tuple(by.count(renderer) for renderer in range(len(TIMES)))
    write(rule, ridge, counts, Path(ingest.evenness_fit.__file__))


def light(hard: bool) -> str:
    return "hard" if hard else "flat, softly lit"


def by_another(chosen: argparse.Namespace, count: int, hard: bool) -> list[Row]:
    """Photos of the second or the third renderer, measured."""
    if chosen.what == "third":
        return third_figures.rows_of(chosen.to, count, hard)
    return other_figures.rows_of(chosen.to, count, hard, chosen.neutral or None)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=sorted(COUNTS))
    parser.add_argument("--to", type=Path, required=True, help="folder for the photos")
    parser.add_argument("--count", type=int, help="photos of each kind of light")
    parser.add_argument("--neutral", action="store_true", help="other: neutral yarns alone")
    chosen = parser.parse_args()
    count = chosen.count or COUNTS[chosen.what]
    if chosen.what == "fit":
        refit(chosen.to, count)
        return
    if chosen.what in ("rims", "greys"):
        for hard in (False, True):
            if chosen.what == "rims":
                told = rims.tables(list(rims.pairs(chosen.to, count, hard)))
            else:
                told = greys.tables(list(greys.rows(chosen.to, count, hard)))
            print("\n" + light(hard) + f"\n{told}", flush=True)
        return
    if chosen.what in ("other", "third"):
        for hard in (False, True):
            told = renderer_tables.tables(by_another(chosen, count, hard))
            print("\n" + light(hard) + f", {count} photos\n{told}", flush=True)
        return
    for hard in (False, True):
        rows = [measured(c, seen(c, chosen.to)) for c in cases(chosen.what, hard, count)]
        print("\n" + light(hard) + f", {len(rows)} photos")
        print(tables(rows))


if __name__ == "__main__":
    main()
