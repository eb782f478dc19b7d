"""What survives a change of form: ``python -m tests.tonality.forms --to FOLDER --count 45``.

Each yarn is dyed once and laid as wound card, skein and knit, a photo each. A figure survives where
among semi-solids it differs little within a yarn, once each form's mean is taken off, against what
it differs by between yarns, and keeps the order of yarns from form to form.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np

from tests.tonality.draws import FORMS, draw
from tests.tonality.figures import Row, measured
from tests.tonality.sets import seen

#: First seed, apart from those of the other sets.
FIRST_SEED = 9_000_000
FIGURES = ("unevenness", "off_light_line", "cell_unevenness", "dots_percent")
#: Added to figures before their logarithm: under it they are noise.
SMALL = 0.05
#: Of five yarns so many are semi-solid, one of each other kind of one colour or several.
KINDS = ("semi-solid", "semi-solid", "semi-solid", "solid", "variegated")


def yarns(folder: Path, count: int) -> list[list[Row]]:
    """``count`` yarns of three photos each, in the order of :data:`FORMS`."""
    found = []
    for k in range(count):
        case = draw(FIRST_SEED + k, False, KINDS[k % len(KINDS)])
        laid = [replace(case, form=form) for form in FORMS]
        found.append([measured(c, seen(c, folder / c.form.replace(" ", "-"))) for c in laid])
    return found


def values(rows: Sequence[Sequence[Row]], figure: str) -> np.ndarray:
    """(yarns, forms) of a figure of the record."""
    return np.array([[float(r.found.record()[figure]) for r in yarn] for yarn in rows])


def table(rows: list[list[Row]]) -> str:
    from scipy.stats import spearmanr

    semi = [k for k, yarn in enumerate(rows) if yarn[0].case.kind == "semi-solid"]
    lines = []
    for figure in FIGURES:
        found = values(rows, figure)
        ln = np.log(found[semi] + SMALL)
        ln -= ln.mean(axis=0)
        within = float(np.sqrt(ln.var(axis=1, ddof=1).mean()))
        between = float(ln.mean(axis=1).std(ddof=1))
        shares = found[semi].mean(axis=0) / found[semi].mean(axis=0)[0]
        ranks = [
            float(spearmanr(found[semi, a], found[semi, b]).statistic)
            for a, b in combinations(range(len(FORMS)), 2)
        ]
        lines.append(
            f"{figure}: within {within:.2f}, between {between:.2f}; skein, knit over wound "
            f"{shares[1]:.2f}, {shares[2]:.2f}; rank correlation {min(ranks):.2f} to "
            f"{max(ranks):.2f}"
        )
    several = [yarn for yarn in rows if yarn[0].case.kind == "variegated"]
    if several:
        colours = [np.median([len(y[k].found.palette) for y in several]) for k in range(len(FORMS))]
        lines.append("colours of variegated yarn: " + ", ".join(f"{c:.0f}" for c in colours))
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--to", type=Path, required=True, help="folder for the photos")
    parser.add_argument("--count", type=int, default=45, help="yarns, three photos each")
    chosen = parser.parse_args()
    print(f"{', '.join(FORMS)}; {chosen.count} yarns")
    print(table(yarns(chosen.to, chosen.count)), flush=True)


if __name__ == "__main__":
    main()
