"""How near outside photographs of 24-patch charts come to the published colours.

    python -m tests.real_photos FOLDER

For every photo with a marks file in FOLDER: the 18 chromatic patches by ΔE00 (kL = 1) against the
values published after November 2014, once after a grey card (neutral 5, with its published Lab)
and once after the six neutrals alone, beside what the whole chart gives with each patch left out
of its own fit. The charts' editions and ages are unknown, so part of every figure is the charts'.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ingest import charts
from ingest.colour import delta_e_2000, lab_d50_to_d65, xyz_to_lab
from ingest.correct import correct
from ingest.correction import Correction
from ingest.decode import read_photo
from ingest.encoding import known_encoding
from ingest.locate import read_marks
from ingest.model import Photo, Reference, Settings
from ingest.raster import region_pixels
from ingest.reading import read_patch

EDITION = "after-2014-11"
STATED = lab_d50_to_d65(charts.CHART24_LAB_D50[EDITION])
CHROMATIC = slice(0, 18)
NEUTRAL_5 = charts.CHART24_NAMES.index("neutral 5")
SUFFIXES = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic")

#: Mean and 95 % of a plain script on the same photos: (card; steps). It reads every file as sRGB,
#: takes the middle half of each patch, and adapts the published values to D65 by Bradford.
PLAIN_SCRIPT = {
    "chart_desk_1": ((4.4, 7.0), (3.9, 8.4)),
    "chart_desk_2": ((5.6, 8.9), (5.9, 12.4)),
    "chart_desk_3": ((6.7, 10.5), (5.7, 10.2)),
    "chart_desk_4": ((4.9, 8.7), (4.7, 7.4)),
    "chart_small_1": ((4.5, 8.4), (3.6, 7.8)),
    "chart_small_2": ((4.5, 7.4), (4.3, 6.7)),
    "chart_small_3": ((5.0, 9.5), (4.6, 8.3)),
    "chart_in_hand": ((4.6, 8.7), (3.8, 5.8)),
    "chart_outdoors": ((6.6, 11.3), (6.1, 10.6)),
    "chart_handheld": ((6.3, 12.3), (4.9, 8.3)),
    "chart_cabinet_a": ((13.2, 22.3), (6.0, 8.7)),
    "chart_cabinet_b": ((12.8, 21.6), (5.9, 8.5)),
}


@dataclass(frozen=True, eq=False)
class Figures:
    """ΔE00 (18,) of the chromatic patches by reference, and the file's encoding and flags."""

    name: str
    card: np.ndarray
    steps: np.ndarray
    chart: np.ndarray
    encoding: str
    flags: frozenset[str]


def summary(errors: np.ndarray) -> tuple[float, float]:
    """Mean and 95 % point."""
    return float(errors.mean()), float(np.percentile(errors, 95))


def marked_photos(folder: Path) -> list[tuple[Path, Path]]:
    """Photos of a folder that have a marks file beside them, with it."""
    pairs = []
    for photo in sorted(folder.iterdir()):
        marks = photo.with_name(f"{photo.stem}.marks.json")
        if photo.suffix.lower() in SUFFIXES and marks.is_file():
            pairs.append((photo, marks))
    return pairs


def errors_after(photo: Photo, made: Correction, chart: Reference) -> np.ndarray:
    """ΔE00 (24,) of a chart's patches after a correction, read as any region is."""
    found = []
    for patch in chart.patches:
        reading = read_patch(photo, patch, region_pixels(photo, patch))
        light = float(made.light_at(np.mean(patch, axis=0)))
        found.append(made.xyz(reading.mean_of(made.curve) / light))
    return delta_e_2000(xyz_to_lab(np.array(found)), STATED)


def figures(path: Path, marks: Path, *, as_srgb: bool = False) -> Figures:
    """All figures of one photo; ``as_srgb``: whatever the file says of its colours."""
    photo = read_photo(path)
    if as_srgb:
        coded = np.linspace(0.0, 1.0, len(photo.encoding.curve))
        photo = replace(photo, encoding=known_encoding("sRGB", coded))
    (chart,) = (r for r in read_marks(marks).references if r.kind == "chart24")
    neutrals = [chart.patches[i] for i in charts.CHART24_NEUTRALS]
    published = [charts.CHART24_LAB_D50[EDITION][i] for i in charts.CHART24_NEUTRALS]
    card = Reference(
        "card", (chart.patches[NEUTRAL_5],), lab_d50=(charts.CHART24_LAB_D50[EDITION][NEUTRAL_5],)
    )
    steps = Reference("steps", tuple(neutrals), lab_d50=tuple(published))
    by_chart = correct(photo, [chart], Settings())
    left_out = np.array([p["left_out_lab"] for p in by_chart.readings[0].patches])
    return Figures(
        path.stem,
        errors_after(photo, correct(photo, [card], Settings()), chart)[CHROMATIC],
        errors_after(photo, correct(photo, [steps], Settings()), chart)[CHROMATIC],
        delta_e_2000(left_out, STATED)[CHROMATIC],
        photo.encoding.name,
        by_chart.flags,
    )


def main(arguments: list[str]) -> int:
    if len(arguments) != 1 or not Path(arguments[0]).is_dir():
        print("use: python -m tests.real_photos FOLDER", file=sys.stderr)
        return 2
    every = [figures(*pair) for pair in marked_photos(Path(arguments[0]))]
    if not every:
        print("no photo with a marks file there", file=sys.stderr)
        return 1
    for found in every:
        print(f"\n{found.name} ({found.encoding}): {', '.join(sorted(found.flags))}")
        print(f"  {'patch':<14} {'card':>6} {'steps':>6} {'chart, left out':>16}")
        for row in zip(charts.CHART24_NAMES, found.card, found.steps, found.chart, strict=False):
            print("  {:<14} {:6.1f} {:6.1f} {:16.1f}".format(*row))
    print("\n| photo | card | plain script | steps | plain script | chart, left out |")
    print("| --- | --- | --- | --- | --- | --- |")
    for found in every:
        card, steps = PLAIN_SCRIPT.get(found.name, ((np.nan,) * 2,) * 2)
        cells = (summary(found.card), card, summary(found.steps), steps, summary(found.chart))
        print(f"| {found.name} | " + " | ".join(f"{m:.1f} / {p:.1f}" for m, p in cells) + " |")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
