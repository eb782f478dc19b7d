"""Sets of photos on disk, so that they are rendered once: a JPEG and a line of truth each."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from tests.tonality.draws import Case, draw
from tests.tonality.photos import Seen, render

#: First seed of each set: what fits and what evaluates never share a yarn.
FIRST_SEED = {"fit": 1_000_000, "look": 3_000_000, "evaluate": 2_000_000}


def cases(which: str, hard: bool, count: int) -> Iterator[Case]:
    """The first ``count`` cases of a set."""
    for k in range(count):
        yield draw(FIRST_SEED[which] + 2 * k + int(hard), hard)


def seen(case: Case, folder: Path) -> Seen:
    """The photo of a case, from the folder where it is already there."""
    folder.mkdir(parents=True, exist_ok=True)
    jpeg, note = folder / f"{case.seed}.jpg", folder / f"{case.seed}.json"
    if not note.exists():
        made = render(case)
        jpeg.write_bytes(made.jpeg)
        note.write_text(json.dumps(made.truth), encoding="utf-8")
    truth = json.loads(note.read_text(encoding="utf-8"))
    return Seen(jpeg.read_bytes(), 1.0 / case.px_per_mm, case.exposure, truth)
