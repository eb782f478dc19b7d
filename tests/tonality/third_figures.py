"""Photos of the third renderer on disk, and measured."""

from __future__ import annotations

from pathlib import Path

from tests.tonality import renderer_tables
from tests.tonality.photos import Seen
from tests.tonality.renderer_tables import Row, measured
from tests.tonality.third_draws import FIRST_SEED, draw
from tests.tonality.third_yarn import Case, render


def kept(case: Case, folder: Path) -> Seen:
    """The photo of a case, from the folder where it is already there."""
    name, mm_per_px = f"third-{case.kind}-{case.seed}", 1.0 / case.camera.px_per_mm
    return renderer_tables.kept(name, folder, mm_per_px, lambda: render(case))


def rows_of(folder: Path, count: int, hard: bool) -> list[Row]:
    """The first ``count`` yarns in one kind of light."""
    cases = (draw(FIRST_SEED + 2 * k + int(hard), hard) for k in range(count))
    return [measured(case, kept(case, folder)) for case in cases]
