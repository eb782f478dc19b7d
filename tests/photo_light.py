"""What the paper around charts in outside photographs shows of the light over them.

    python -m tests.photo_light FOLDER

For every photo with a marks file in FOLDER: how much light changes over the chart, and the largest
ratio of two channels; the slope of ln light there, for the picture's long side; and the mean ΔE00
(kL = 1) of the 18 chromatic patches after a grey card alone (neutral 5), as the card leaves them,
with the light divided out, and with its change of colour divided out as well.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ingest.charts import CHART24_LAB_D50
from ingest.colour import delta_e_2000, xyz_to_lab
from ingest.correct import correct
from ingest.correction import Correction
from ingest.decode import read_photo
from ingest.lightfield import LightField
from ingest.lightleft import card_field, middles
from ingest.locate import read_marks
from ingest.model import Photo, Reference, Settings
from ingest.raster import region_pixels
from ingest.reading import read_patch
from ingest.sampling import hull
from ingest.surround import Surround, surround_light
from tests.real_photos import CHROMATIC, EDITION, NEUTRAL_5, STATED, marked_photos, summary


@dataclass(frozen=True)
class Shown:
    """What one photo shows: relative changes over the chart, a slope of ln light, mean ΔE00."""

    name: str
    change: float
    tint: float
    slope: float
    card: float
    divided: float
    tint_too: float


def slope_of(field: LightField, places: np.ndarray, size: tuple[int, int]) -> float:
    """Slope of ln light over places (n, 2) of a picture of that width and height, for its long
    side."""
    shape = np.array(size) / max(size)
    plane = np.column_stack([np.ones(len(places)), places * shape])
    (_, *slope), *_ = np.linalg.lstsq(plane, np.log(field.at(places)), rcond=None)
    return float(np.hypot(*slope))


def seen_by(photo: Photo, made: Correction, reference: Reference) -> LightField | None:
    """The light over a picture as a correction sees its paper."""
    around = hull(reference)
    return surround_light(photo, made.curve, made.to_xyz, Surround((around,)), around).field


def mean_error(photo: Photo, made: Correction, chart: Reference, light: np.ndarray) -> float:
    """Mean ΔE00 of the chromatic patches with ``light`` (24, 3) divided out."""
    read = [read_patch(photo, p, region_pixels(photo, p)) for p in chart.patches]
    rgb = np.array([r.mean_of(made.curve) for r in read]) / light
    return summary(delta_e_2000(xyz_to_lab(made.xyz(rgb)), STATED)[CHROMATIC])[0]


def shown_in(path: Path, marks: Path) -> Shown | None:
    """What a photo shows; ``None`` where no plain paper lies around the chart."""
    photo = read_photo(path)
    (chart,) = (r for r in read_marks(marks).references if r.kind == "chart24")
    whole = seen_by(photo, correct(photo, [chart], Settings()), chart)
    grey = CHART24_LAB_D50[EDITION][NEUTRAL_5]
    card = Reference("card", (chart.patches[NEUTRAL_5],), lab_d50=(grey,))
    made = replace(correct(photo, [card], Settings()), field=None)
    places = middles(chart.patches)
    at_card = places[NEUTRAL_5][None]
    field = card_field(seen_by(photo, made, chart), np.concatenate([at_card, places]))
    if whole is None or field is None:
        return None
    plain = np.ones((24, 3))
    light = field.at(places)[:, None] * plain
    tint = np.exp(field.tint_at(places) - field.tint_at(at_card))
    return Shown(
        path.stem,
        whole.spread(places),
        whole.tint_spread(places),
        slope_of(whole, places, (photo.width, photo.height)),
        mean_error(photo, made, chart, plain),
        mean_error(photo, made, chart, light),
        mean_error(photo, made, chart, light * tint),
    )


def main(arguments: list[str]) -> int:
    if len(arguments) != 1 or not Path(arguments[0]).is_dir():
        print("use: python -m tests.photo_light FOLDER", file=sys.stderr)
        return 2
    print("| photo | light changes | of two channels | slope | card | divided | tint too |")
    print("| --- | --- | --- | --- | --- | --- | --- |")
    for pair in marked_photos(Path(arguments[0])):
        s = shown_in(*pair)
        if s is None:
            print(f"| {pair[0].stem} | nothing plain shows it | | | | | |")
            continue
        print(
            f"| {s.name} | {s.change:.0%} | {s.tint:.1%} | {s.slope:.2f} | {s.card:.2f} | "
            f"{s.divided:.2f} | {s.tint_too:.2f} |"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
