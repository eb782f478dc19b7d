"""A photo taken before its lot was dyed: noted on its page and its lot's, and by `add`."""

from __future__ import annotations

import html
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.swatchvault.running import run
from tests.web.test_yarn import ask

pytestmark = pytest.mark.anyio

_FILED = """SELECT photo.sha256, lot.id, lot.code, substr(photo.taken_at, 1, 10) FROM lot
JOIN swatch ON swatch.lot_id = lot.id JOIN current_measurement AS m ON m.swatch_id = swatch.id
JOIN photo ON photo.id = m.photo_id WHERE photo.taken_at IS NOT NULL ORDER BY lot.id"""


@pytest.mark.parametrize(("later", "noted"), [("+1 day", True), ("+0 day", False)])
async def test_pages_of_the_photo_and_the_lot_say_it(
    visitor: Callable[[str], Any], studio: Path, later: str, noted: bool
) -> None:
    sha256, lot_id, code, taken = ask(studio, _FILED)[0]
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE lot SET dyed_on = date(?, ?) WHERE id = ?", (taken, later, lot_id))
    for path in (f"/photos/{sha256}", f"/lot/{lot_id}"):
        page = (await visitor("helper").get(path)).text
        said = f"it was taken on {taken}, and lot {code!r} was dyed on"
        assert (said in html.unescape(page)) is noted, path


def test_add_tells_it_of_the_photos_it_files(
    studio: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import example_archive

    photo = Path(example_archive.__file__).parent / "harbour-2.jpg"
    region, swatch, form, base, lot = ask(
        studio,
        "SELECT region, label, form, base.name, lot.code FROM current_measurement AS m "
        "JOIN swatch ON swatch.id = swatch_id JOIN base ON base.id = base_id "
        "JOIN photo ON photo.id = photo_id JOIN lot ON lot.id = lot_id WHERE original_name = ?",
        photo.name,
    )[0]
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE lot SET dyed_on = '2026-11-01'")
    copy = tmp_path / photo.name
    copy.write_bytes(photo.read_bytes() + b"\0")  # other bytes after the picture: a new photo
    marks = photo.with_suffix(".marks.json")
    (tmp_path / marks.name).write_bytes(marks.read_bytes())
    told = ("--region", region, "--swatch", swatch, "--base", base, "--form", form, "--lot", lot)
    ran = run(capsys, "add", copy, *told, "--archive", studio)
    notes = [line for line in ran.out.splitlines() if line.startswith("note: ")]
    assert ran.code == 0, ran.err
    assert len(notes) == 1 and f"photo 'harbour-2.jpg' of swatch '{swatch}'" in notes[0]
    assert "note: " not in run(capsys, "add", copy, *told, "--archive", studio).out
