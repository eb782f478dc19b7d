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
from swatchvault.archive.aside import set_aside
from swatchvault.archive.wall import wall
from tests.swatchvault.running import run
from tests.web.newphotos import DEMO

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


async def test_a_lot_that_was_dyed_over_names_the_lot_over_it(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    assert "dyed over as" not in (await visitor("dyer").get("/lot/1")).text
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE lot SET overdyes_lot_id = 1 WHERE id IN (2, 3)")
        codes = [code for (code,) in conn.execute("SELECT code FROM lot WHERE id IN (2, 3)")]
    text = (await visitor("dyer").get("/lot/1")).text
    (said,) = re.findall(r"<dt>dyed over as</dt><dd>(.*?)</dd>", text)
    assert re.findall(r'href="/lot/(\d)"><bdi>(.*?)<', said) == [("2", codes[0]), ("3", codes[1])]


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


async def test_a_photo_moved_to_another_swatch_leaves_the_lot_and_its_verdict_says_so(
    visitor: Callable[[str], Any], studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ((photo,),) = ask(studio, "SELECT sha256 FROM photo WHERE original_name = 'harbour-2.jpg'")
    ((check,),) = ask(studio, "SELECT lot_check_id FROM checks_given WHERE swatch = 'HF-2 skein a'")
    dyer = visitor("dyer")
    link = f'href="/photos/{photo}"'
    assert link in (await dyer.get("/lot/7")).text
    assert "since then" not in (await dyer.get(f"/check/{check}")).text
    assert "since_then" not in run(capsys, "show", "lot", "HF-2", "--archive", studio).out

    moved = run(
        capsys,
        *("add", DEMO / "harbour-2.jpg", "--region", "new", "--swatch", "HF-3 skein a"),
        *("--lot", "HF-3", "--base", "Tebbet double", "--form", "skein", "--relabel"),
        *("--archive", studio),
    )
    assert moved.code == 0, moved.err
    lot = html.unescape((await dyer.get("/lot/7")).text)
    assert link not in lot and link in (await dyer.get("/lot/8")).text
    said = "the new swatch's photo moved to HF-3 skein a"
    assert f"since then <bdi>{said}" in lot
    page = " ".join((await dyer.get(f"/check/{check}")).text.split())
    assert (
        'since then <strong>moved</strong> to <a href="/swatch/9"><bdi>HF-3 skein a</bdi></a>; '
        "the verdict keeps its words" in page
    )
    for asked in (("list", "checks"), ("show", "lot", "HF-2"), ("show", "swatch", "HF-2 skein a")):
        told = run(capsys, *asked, "--archive", studio).out
        assert said in told, asked
    assert said in html.unescape((await dyer.get("/lot/7/card")).text)


async def test_a_verdict_says_of_how_many_of_its_photos_what_became(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    rows = ask(
        studio,
        "SELECT m.photo_sha256, m.id FROM lot_check_measurement AS given JOIN filed_measurement "
        "AS m ON m.id = given.measurement_id WHERE lot_check_id = 9 AND side = 'master'",
    )
    dyer = visitor("dyer")
    for done, (photo, _) in enumerate(rows, 1):
        with open_archive(studio) as archive:
            set_aside(archive.conn, 1, photo, "lamp was on")
        some = "" if done == len(rows) else f"{done} of "
        lot = html.unescape((await dyer.get("/lot/4")).text)
        assert f"since then <bdi>{some}the master's 4 photos set aside</bdi>" in lot
    assert len(rows) == 4


def line(text: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())


async def test_what_is_all_set_aside_is_told_wherever_its_colour_or_verdict_stands(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    new = "/photos/new?lot=1&amp;swatch=1"
    before = (await dyer.get("/swatch/1")).text
    assert before.count(f'href="{new}"') == 1
    photos = ask(studio, "SELECT photo_sha256 FROM current_measurement WHERE swatch_id = 1")
    (knit,) = ask(studio, "SELECT photo_sha256 FROM current_measurement WHERE swatch_id = 6")
    with open_archive(studio) as archive:
        for (sha256,) in photos:
            set_aside(archive.conn, 1, sha256, "lamp was on")
    said = "all its photos are set aside"
    colourway = (await dyer.get("/colourway/1")).text
    masters = line(colourway.partition("<h2>Masters</h2>")[2])
    assert f"wound card NF-1 card {said}" in masters
    assert "swatch NF-1 knit, knit" in row_of(colourway, "NF-1")  # the lot has another swatch
    then = "since then the master's photo set aside"
    assert f"within {then}" in row_of(colourway, "NF-5")
    assert f"lot NF-5 {then}" in line((await dyer.get("/?text=Ninth")).text)
    assert then in row_of((await dyer.get("/base/1")).text, "NF-5")
    lot = line((await dyer.get("/lot/1")).text)
    assert f"NF-1 card wound card {said}" in lot
    assert lot.count(", set aside") == len(photos) == 4 and "not measured" not in lot
    assert said in line((await dyer.get("/lot/1/card")).text)
    swatch = (await dyer.get("/swatch/1")).text
    assert swatch.count("Photograph again") == 1 == swatch.count(f'href="{new}"')
    assert "Take a photo" not in swatch

    with open_archive(studio) as archive:
        set_aside(archive.conn, 6, knit[0], "lamp was on")
    row = row_of((await dyer.get("/colourway/1")).text, "NF-1")
    assert row.startswith(f"NF-1 {said}")
    ((swatch_id, sha256),) = ask(  # the only swatch of its colourway
        studio,
        "SELECT m.swatch_id, photo_sha256 FROM current_measurement AS m JOIN swatch "
        "ON swatch.id = m.swatch_id WHERE label = 'CP-1 card'",
    )
    with open_archive(studio) as archive:
        set_aside(archive.conn, swatch_id, sha256, "lamp was on")
    assert said in line((await dyer.get("/?text=Chalk")).text)


async def test_a_verdict_by_an_earlier_master_says_so_wherever_it_stands(
    visitor: Callable[[str], Any], studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """HF-4 was outside by HF-1; where HF-4 is made the master itself, that counts no more."""
    dyer = visitor("dyer")
    ((check,),) = ask(studio, "SELECT lot_check_id FROM checks_given WHERE swatch = 'HF-4 skein a'")

    def tile() -> Any:
        with open_archive(studio) as archive:
            return next(t for t in wall(archive.conn) if t.name == "Harbour at Four")

    assert "master no longer" not in (await dyer.get("/colourway/2")).text
    before = tile()
    assert run(capsys, "master", "HF-4 skein a", "--archive", studio).code == 0
    said = "since then HF-1 skein a is the master no longer"
    for page in ("/colourway/2", "/base/2"):
        assert said in row_of((await dyer.get(page)).text, "HF-4"), page
    for page in ("/lot/9", "/lot/9/card", "/?text=Harbour"):
        assert said in line((await dyer.get(page)).text), page
    assert "since then the master no longer" in line((await dyer.get(f"/check/{check}")).text)
    assert (
        said.removeprefix("since then ") in run(capsys, "list", "checks", "--archive", studio).out
    )
    assert before.outside >= 1 and tile().outside == 0


@pytest.mark.parametrize(
    ("tolerance", "shown"), [("0.3", "as tonal"), ("5", "no more tonal")], ids=["both", "one"]
)
async def test_as_tonal_is_shown_as_no_more_tonal_where_only_that_was_tested(
    visitor: Callable[[str], Any],
    studio: Path,
    capsys: pytest.CaptureFixture[str],
    tolerance: str,
    shown: str,
) -> None:
    """HF-3 reads as HF-1; within 5 a solid would pass too, within 0.3 none."""
    dyer = visitor("dyer")
    held = ("master", "HF-1 skein a", "--evenness-tolerance", tolerance)
    assert run(capsys, *held, "--archive", studio).code == 0
    unlock(studio)
    with sqlite3.connect(studio / "archive.db") as conn:  # as if a better measure had told it
        conn.execute("UPDATE master_evenness SET unevenness = 1.0, u_unevenness = 0.02")
        conn.execute(
            "UPDATE measurement SET tonality = json_set(tonality, '$.unevenness', 1.0, "
            "'$.u_unevenness', 0.02) WHERE json_extract(tonality, '$.class') = 'semi-solid'"
        )
    told = run(capsys, "check", "HF-3", "--archive", studio).out
    assert f"Evenness: {shown} " in told
    ((check,),) = ask(studio, "SELECT max(lot_check_id) FROM evenness_check")
    assert f" {shown} " in line((await dyer.get(f"/check/{check}")).text)
    assert f" {shown} " in row_of((await dyer.get("/colourway/2")).text, "HF-3")
    assert f" {shown}" in line((await dyer.get("/lot/8")).text).partition("Checks given")[2]
    kept = run(capsys, "list", "checks", "--json", "--archive", studio).out
    assert '"evenness_verdict": "as tonal"' in kept  # one word for a program
