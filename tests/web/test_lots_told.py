"""What the tables of lots, the wall and the pages of yarn say of one thing: the same everywhere."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import open_archive
from swatchvault.archive import pages_yarn as pages
from swatchvault.archive.wall import wall
from tests.swatchvault.running import run

pytestmark = pytest.mark.anyio


def ask(folder: Path, sql: str, *values: object) -> Any:
    with sqlite3.connect(folder / "archive.db") as conn:
        return conn.execute(sql, values).fetchall()


def unlock(folder: Path) -> None:
    """Let rows be changed that are kept as they were."""
    with sqlite3.connect(folder / "archive.db") as conn:
        for (name,) in ask(folder, "SELECT name FROM sqlite_master WHERE type = 'trigger'"):
            conn.execute(f"DROP TRIGGER {name}")


def row_of(text: str, lot: str) -> str:
    """The row of a lot in a page's table of lots, as one line of words."""
    rows = re.findall(r"<tr>.*?</tr>", text, re.S)
    (row,) = (r for r in rows if f"<bdi>{lot}</bdi></a></td>" in r)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", "", row.replace("</td>", " "))).split())


async def test_a_lot_is_shown_in_the_masters_form_and_says_which_swatch(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    """Its knit was photographed last, and is darker than its card by two."""
    text = (await visitor("dyer").get("/colourway/1")).text
    rows = {lot: row_of(text, lot) for lot in ("NF-1", "NF-5")}
    assert "swatch NF-1 card, wound card" in rows["NF-1"]
    assert "swatch NF-5 card, wound card" in rows["NF-5"]
    ((spoken,),) = ask(studio, "SELECT lab_l FROM latest_colours WHERE swatch = 'NF-1 card'")
    assert f"L* {spoken:.1f} ±" in rows["NF-1"]
    base = row_of((await visitor("dyer").get("/base/1")).text, "NF-1")
    assert "swatch NF-1 card, wound card" in base


def test_the_master_and_swatches_of_its_form_speak_for_a_lot(
    studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def shown(colourway: int) -> tuple[str, ...]:
        with open_archive(studio) as archive:
            lots = pages.lots_of_colourway(archive.conn, colourway)
            tile = next(t for t in wall(archive.conn) if t.colourway_id == colourway)
        assert tile.lab == lots[-1]["lab"]
        return tuple(str(row["swatch"]) for row in lots)

    unlock(studio)
    for form in ("knit", "skein a"):  # the other is its only other swatch
        assert run(capsys, "master", f"CG-1 {form}", "--archive", studio).code == 0
        assert shown(6) == (f"CG-1 {form}",)
        with sqlite3.connect(studio / "archive.db") as conn:
            conn.execute("DELETE FROM master WHERE colourway_id = 6")
    with sqlite3.connect(studio / "archive.db") as conn:  # of one form: the rule for photos
        sql = "UPDATE measurement SET cov_region = '[[{0},0,0],[0,{0},0],[0,0,{0}]]' WHERE id = ?"
        for label, doubt in (("HF-2 skein a", 9), ("HF-2 skein b", 1e-6), ("HF-2 skein c", 9)):
            found = "SELECT measurement_id FROM colours WHERE swatch = ?"
            for (row,) in ask(studio, found, label):
                conn.execute(sql.format(doubt), (row,))
    assert shown(2)[3] == "HF-2 skein b"


def test_the_wall_shows_the_newest_lot_where_there_is_no_master(studio: Path) -> None:
    """The knit of its first lot was measured last of all."""
    unlock(studio)
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("DELETE FROM master")
    with open_archive(studio) as archive:
        tile = next(t for t in wall(archive.conn) if t.name == "Ninth Furrow")
        (newest, *_) = pages.lots_of_colourway(archive.conn, 1)
    assert newest["swatch"] == "NF-5 card"
    assert tile.lab == newest["lab"]
