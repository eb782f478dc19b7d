"""Whether the doubt that is stated of a colour holds the errors in outside photographs of charts.

    python -m tests.real_doubt FOLDER

The 18 chromatic patches of every photo with a marks file in FOLDER are read as swatches, said to be
by daylight, after the six neutrals and after one of them as a grey card. Printed: the share of the
errors to the published values that lie outside the stated 95 % region. Photos of a camera without
a display curve, whose names begin with "chart_cabinet", are left out.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from scipy.stats import chi2

from ingest.charts import CHART24_LAB_D50, CHART24_NAMES, CHART24_NEUTRALS
from ingest.correct import correct
from ingest.decode import read_photo
from ingest.errors import SwatchError
from ingest.locate import read_marks
from ingest.measure import measure_region
from ingest.model import Reference, Settings, SwatchRegion
from tests.real_photos import EDITION, NEUTRAL_5, STATED, marked_photos

DAYLIGHT = Settings(light="daylight")


def references(chart: Reference) -> dict[str, Reference]:
    """The six neutrals, and one of them as a card, each with its published colours."""

    def of(kind: str, rows: tuple[int, ...]) -> Reference:
        published = tuple(CHART24_LAB_D50[EDITION][i] for i in rows)
        return Reference(kind, tuple(chart.patches[i] for i in rows), lab_d50=published)

    return {"steps": of("steps", CHART24_NEUTRALS), "card": of("card", (NEUTRAL_5,))}


def squared_errors(path: Path, marks: Path) -> dict[str, np.ndarray]:
    """Errors of a photo's patches, squared and over the stated covariance, by reference."""
    photo = read_photo(path)
    (chart,) = (r for r in read_marks(marks).references if r.kind == "chart24")
    found: dict[str, list[float]] = {}
    for kind, reference in references(chart).items():
        made = correct(photo, [reference], DAYLIGHT, chart.patches[:18])
        for name, patch, true in zip(CHART24_NAMES[:18], chart.patches, STATED, strict=False):
            try:
                read = measure_region(photo, SwatchRegion(name, patch), made, DAYLIGHT, np.nan)
            except SwatchError:
                continue
            off = read.lab - true
            found.setdefault(kind, []).append(off @ np.linalg.solve(read.covariance.total, off))
    return {kind: np.array(values) for kind, values in found.items()}


def main(arguments: list[str]) -> int:
    if len(arguments) != 1 or not Path(arguments[0]).is_dir():
        print("use: python -m tests.real_doubt FOLDER", file=sys.stderr)
        return 2
    pairs = [p for p in marked_photos(Path(arguments[0])) if "cabinet" not in p[0].stem]
    every = [squared_errors(*pair) for pair in pairs]
    for kind in ("steps", "card"):
        squares = np.concatenate([found[kind] for found in every if kind in found])
        outside = squares > chi2.ppf(0.95, 3)
        print(f"by {kind}: {outside.mean():.0%} of {len(squares)} errors outside the stated 95 %")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
