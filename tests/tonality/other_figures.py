"""Photos of the second renderer on disk, and measured."""

from __future__ import annotations

from pathlib import Path

from tests.tonality import renderer_tables
from tests.tonality.other_draws import FIRST_SEED, draw
from tests.tonality.other_yarn import Case, render
from tests.tonality.photos import Seen
from tests.tonality.renderer_tables import Row, measured


def kept(case: Case, folder: Path) -> Seen:
    """The photo of a case, from the folder where it is already there."""
    name = f"other-{case.kind}-{'neutral' if case.neutral else 'coloured'}-{case.seed}"
    mm_per_px = 1.0 / case.camera.px_per_mm
    return renderer_tables.kept(name, folder, mm_per_px, lambda: render(case))


def rows_of(folder: Path, count: int, hard: bool, neutral: bool | None = None) -> list[Row]:
    """The first ``count`` yarns in one kind of light; ``neutral``: only such, None: as drawn."""
    cases = (draw(FIRST_SEED + 2 * k + int(hard), hard, neutral=neutral) for k in range(count))
    return [measured(case, kept(case, folder)) for case in cases]
