"""Evenness held to a master, on renders: ``python -m tests.tonality.pairs --to FOLDER --count 60``.

Each group is one yarn in two photos (other light, exposure, noise, sharpness and compression, the
frame moved by a tenth), and two further lots of its dyes, dyed less evenly, in a photo each. The
tables say how often two photos of one yarn are called different, and how often a true difference
is found. Photos lie in the folder and are rendered once.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import permutations
from pathlib import Path

import numpy as np

from ingest.tonality import measure_tonality
from swatchvault.evenness_check import compare_evenness, tolerance_for
from swatchvault.evenness_read import Evenness
from tests.tonality.draws import Case, draw
from tests.tonality.photos import Seen, render, to_xyz

#: First seed, apart from those of the other sets; seeds of one group lie side by side.
FIRST_SEED, PER_GROUP = 7_000_000, 10
#: How much less evenly the further lots are dyed: factors on the standard deviation of ln depth.
LESS_EVEN = (1.5, 2.2)
#: Share of each side that one photo of a yarn leaves out on one side, the other on the other.
MOVED = 0.1


@dataclass(frozen=True, eq=False)
class Look:
    """One photo of one lot of a group, measured."""

    group: int
    lot: int
    hard: bool
    form: str
    truth: float
    found: Evenness


def looks(folder: Path, count: int, hard: bool, start: int = 0) -> Iterator[Look]:
    """Four photos of each group."""
    for group in range(start, start + count):
        kind = "solid" if group % 4 == 0 else "semi-solid"
        first = FIRST_SEED + PER_GROUP * (2 * group + int(hard))
        case = draw(first, hard, kind)
        yield look(folder, group, 0, case, moved=0.0)
        yield look(folder, group, 0, photographed(case, draw(first + 1, hard, kind)), moved=MOVED)
        for lot, factor in enumerate(LESS_EVEN, 1):
            other = photographed(case, draw(first + 1 + lot, hard, kind))
            uneven = replace(case.dyeing, tonal_sd=case.dyeing.tonal_sd * factor)
            yield look(folder, group, lot, replace(other, dyeing=uneven, seed=first + 5 + lot))


def photographed(case: Case, other: Case) -> Case:
    """A case's yarn in another case's light and photo."""
    yarn = {k: getattr(case, k) for k in ("seed", "kind", "form", "yarn", "dyeing", "px_per_mm")}
    return replace(other, **yarn)


def look(folder: Path, group: int, lot: int, case: Case, moved: float = 0.0) -> Look:
    """The photo from the folder where it is there already, measured."""
    folder.mkdir(parents=True, exist_ok=True)
    name = f"{case.seed}-{round(case.exposure * 1e6)}"
    jpeg, note = folder / f"{name}.jpg", folder / f"{name}.json"
    if not note.exists():
        made = render(case)
        jpeg.write_bytes(made.jpeg)
        note.write_text(json.dumps(made.truth), encoding="utf-8")
    truth = json.loads(note.read_text(encoding="utf-8"))
    linear = Seen(jpeg.read_bytes(), 1.0 / case.px_per_mm, case.exposure, truth).linear
    h, w = linear.shape[:2]
    y, x = round(moved * h), round(moved * w)
    part = linear[y:, x:] if moved else linear[: h - round(MOVED * h), : w - round(MOVED * w)]
    whole = np.ones(part.shape[:2], dtype=bool)
    found = measure_tonality(part, whole, 1.0 / case.px_per_mm, to_xyz)
    assert found is not None
    evenness = Evenness.of_record(found.record(), case.form, found.flags)
    return Look(group, lot, case.hard, case.form, truth["unevenness"], evenness)


def tables(rows: list[Look]) -> str:
    """Verdicts on pairs of one group, by their true difference; each lot is master in turn."""
    kinds: dict[str, list[tuple[str, float, float]]] = {}
    for a, b in permutations(rows, 2):
        if a.group != b.group or a.found.why_not is not None or a.found.kind is None:
            continue  # no master can be stated from such a photo
        true = b.truth - a.truth
        name = "one yarn" if a.lot == b.lot else bucket(abs(true))
        if name is None:
            continue
        held = compare_evenness(a.found, b.found, tolerance_for(a.found))
        said = "right" if held.verdict.value == wanted(true, name) else held.verdict.value
        known = b.found.why_not is None
        error = b.found.unevenness - a.found.unevenness - true if known else np.nan
        kinds.setdefault(name, []).append((said, error, held.tolerance))
    return "\n".join(line(name, kinds[name]) for name in sorted(kinds))


def line(name: str, pairs: list[tuple[str, float, float]]) -> str:
    words, errors, tolerances = zip(*pairs, strict=True)
    shares = ", ".join(f"{w} {words.count(w) / len(words):.1%}" for w in sorted(set(words)))
    rms, tolerance = np.sqrt(np.nanmean(np.square(errors))), np.median(tolerances)
    return f"{name}: {shares}; rms error {rms:.2f}, tolerance {tolerance:.2f} (n {len(pairs)})"


def bucket(apart: float) -> str | None:
    """The row of the table that a true difference belongs to."""
    for low, high, name in ((0.0, 0.1, "under 0.1"), (0.35, 0.65, "0.5"), (0.8, 1.2, "1.0")):
        if low <= apart < high:
            return name
    return "over 1.5" if apart >= 1.5 else None


def wanted(true: float, name: str) -> str:
    if name in ("one yarn", "under 0.1"):
        return "as tonal"
    return "more tonal" if true > 0 else "less tonal"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--to", type=Path, required=True, help="folder for the photos")
    parser.add_argument("--count", type=int, default=60, help="groups of each kind of light")
    parser.add_argument("--start", type=int, default=60, help="first group; PAIR is from 0 to 59")
    chosen = parser.parse_args()
    for hard in (False, True):
        rows = list(looks(chosen.to, chosen.count, hard, chosen.start))
        print("\n" + ("hard" if hard else "flat, softly lit") + f", {len(rows)} photos")
        print(tables(rows), flush=True)


if __name__ == "__main__":
    main()
