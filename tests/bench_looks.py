"""Whether a colourway photographed anew comes first: `python -m tests.bench_looks [COUNT]`.

Colourways drawn by the tests' renderer, each photographed four times: once to be kept, and then
with another crop, exposure and light; in another structure too; and with the camera's gain of red
too high by 3 % and of blue too low, or the other way about. The whole list is searched for each.
Weights were chosen on seeds from 80,000 on (`python -m tests.bench_looks 300 80000`).
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ingest.colour import xyz_to_lab
from ingest.tonality import measure_tonality
from swatchvault.likeness import CHARGE_WITHOUT_REFERENCE, Look, LookIndex, look_of
from tests.tonality.draws import FORMS, Case, draw
from tests.tonality.photos import render, to_xyz

FIRST_SEED, COUNT = 50_000, 300
#: From the seed of a kept photo to that of the others.
ANEW = 7_000
#: How a photo differs: forms onward, and the error of the camera's gains of red and blue.
WAYS = {"same structure": (0, 0.0), "other structure": (1, 0.0), "white off by 3 %": (0, 0.03)}
LIGHTNESS = np.array([0.6, 1.0, 1.0])


@dataclass(frozen=True, eq=False)
class Photo:
    """(3,) Lab of the mean light, and the record of evenness."""

    lab: np.ndarray
    record: dict[str, Any] | None

    @property
    def look(self) -> Look:
        return look_of(self.lab, self.record)


def seen(case: Case) -> Photo:
    """What a photo of a case says, measured whole."""
    photo = render(case)
    light = photo.linear
    whole = np.ones(light.shape[:2], dtype=bool)
    found = measure_tonality(light, whole, photo.mm_per_px, to_xyz)
    lab = xyz_to_lab(to_xyz(light.reshape(-1, 3).mean(axis=0)))
    return Photo(lab, None if found is None else found.record())


def photographed(seed: int, number: int) -> dict[str, Photo]:
    """The four photos of a colourway; the errors of white go both ways by ``number``."""
    case = replace(draw(seed, False), wb_error=(0.0, 0.0))
    fresh = draw(seed + ANEW, False, case.kind)
    found = {"kept": seen(case)}
    sign = 1.0 if number % 2 else -1.0
    for name, (turn, error) in WAYS.items():
        form = FORMS[(FORMS.index(case.form) + turn) % len(FORMS)]
        gains = (sign * error, -sign * error)
        again = replace(fresh, dyeing=case.dyeing, yarn=case.yarn, form=form, wb_error=gains)
        found[name] = seen(again)
    return found


Places = Callable[[Photo, int], int]  # how many kept photos are nearer than the right one


def by_mean(kept: Sequence[Photo]) -> Places:
    labs = np.array([p.lab for p in kept])

    def place(photo: Photo, row: int) -> int:
        away = np.linalg.norm(labs - photo.lab, axis=1)
        return int((away < away[row]).sum())

    return place


def by_transport(kept: Sequence[Photo]) -> Places:
    """Earth mover's distance between the colours with their shares, by linear programming."""
    looks = [p.look for p in kept]
    middles = np.array([look.shares @ (look.palette * LIGHTNESS) for look in looks])

    def place(photo: Photo, row: int) -> int:
        query = photo.look
        own = transport(query, looks[row])
        # what moves between two sets of colours is no less than what their means are apart
        apart = np.linalg.norm(middles - query.shares @ (query.palette * LIGHTNESS), axis=1)
        rivals = [i for i in np.flatnonzero(apart < own) if i != row]
        return sum(transport(query, looks[i]) < own for i in rivals)

    return place


def transport(one: Look, other: Look) -> float:
    from scipy.optimize import linprog

    p, q = one.palette * LIGHTNESS, other.palette * LIGHTNESS
    cost = np.linalg.norm(p[:, None] - q[None], axis=2)
    m, n = cost.shape
    rows = np.kron(np.eye(m), np.ones(n))
    columns = np.kron(np.ones(m), np.eye(n))
    shares = np.concatenate([one.shares, other.shares])
    return float(linprog(cost.ravel(), A_eq=np.vstack([rows, columns]), b_eq=shares).fun)


def by_nearest_colours(kept: Sequence[Photo]) -> Places:
    """Nearest colours both ways and three tonal figures, with no more to it."""
    looks = [p.look for p in kept]
    figures = np.array([_figures(p) for p in kept])
    spread = np.nanstd(figures, axis=0)

    def place(photo: Photo, row: int) -> int:
        query, mine = photo.look, _figures(photo)
        away = np.array([_nearest_both_ways(query, look) for look in looks])
        away += 0.6 * np.linalg.norm(np.nan_to_num((figures - mine) / spread), axis=1)
        return int((away < away[row]).sum())

    return place


def _figures(photo: Photo) -> list[float]:
    record = photo.record or {}
    off, reach, dots = (
        math.nan if record.get(k) is None else float(record[k])
        for k in ("off_light_line", "off95", "dots_percent")
    )
    return [math.log(max(off, 0.05)), math.log(max(reach, 0.05)), math.sqrt(dots)]


def _nearest_both_ways(one: Look, other: Look) -> float:
    apart = np.linalg.norm((one.palette[:, None] - other.palette[None]) * LIGHTNESS, axis=2)
    return float(one.shares @ apart.min(axis=1) + other.shares @ apart.min(axis=0)) / 2.0


def by_looks(kept: Sequence[Photo], **how: float) -> Places:
    """The search itself: `like` on a photo with a reference in it, or as ``how`` says."""
    index = LookIndex([p.look for p in kept])

    def place(photo: Photo, row: int) -> int:
        return [*index.nearest_in_any_balance(photo.look, 5, **how)[0].tolist(), row].index(row)

    return place


def table(photos: Sequence[dict[str, Photo]]) -> None:
    kept = [p["kept"] for p in photos]
    searches = {
        "mean Lab": by_mean(kept),
        "earth mover's distance": by_transport(kept),
        "nearest colours and tonal terms": by_nearest_colours(kept),
        "like, a reference in the photo": by_looks(kept),
        "like, no reference": by_looks(kept, charge=CHARGE_WITHOUT_REFERENCE),
    }
    print(f"first / among five, % of {len(photos)} colourways: {', '.join(WAYS)}")
    for name, place in searches.items():
        shown = []
        for way in WAYS:
            places = np.array([place(p[way], row) for row, p in enumerate(photos)])
            shown.append(f"{100 * np.mean(places < 1):.1f}/{100 * np.mean(places < 5):.1f}")
        print(f"{name:34s} {'   '.join(shown)}", flush=True)


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    first = int(sys.argv[2]) if len(sys.argv) > 2 else FIRST_SEED
    table([photographed(first + number, number) for number in range(count)])
