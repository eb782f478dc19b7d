"""Times that are stored in UTC, shown by the server's clock; JSON and tables keep them."""

from __future__ import annotations

import json
import re
import sqlite3
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import open_archive
from swatchvault.archive.aside import set_aside
from tests.swatchvault.running import run
from tests.web.test_by_eye import words
from tests.web.test_lots_told import ask, unlock

pytestmark = pytest.mark.anyio

STORED, SHOWN, THAT_DAY = "2026-11-28T03:36:00Z", "2026-11-27 19:36", "2026-11-28"


@pytest.fixture
def eight_behind(monkeypatch: pytest.MonkeyPatch, studio: Path) -> Iterator[None]:
    """Everything of the studio was stored in the evening, by a clock eight hours behind UTC."""
    monkeypatch.setenv("TZ", "EIGHT8")
    time.tzset()
    unlock(studio)
    with open_archive(studio) as archive:
        ((photo,),) = ask(studio, "SELECT sha256 FROM photo WHERE original_name = 'furrow-4.jpg'")
        set_aside(archive.conn, 4, photo, "lamp was on")
    with sqlite3.connect(studio / "archive.db") as conn:
        for table, column in (
            *(("lot_check", "checked_at"), ("measurement", "measured_at")),
            *(("photo", "added_at"), ("set_aside", "set_aside_at"), ("master", "since")),
        ):
            conn.execute(f"UPDATE {table} SET {column} = ?", (STORED,))
        conn.execute("UPDATE photo SET taken_at = NULL")
        conn.execute("UPDATE lot SET dyed_on = NULL")
    yield
    monkeypatch.undo()
    time.tzset()


PAGES = {
    "/lot/4": SHOWN,
    "/lot/4/card": "2026-11-27: NF-4 card",
    "/check/9": SHOWN,
    "/swatch/4": "counted nowhere",
    "/swatch/1": "since 2026-11-27",
    "/swatch/1/tonal": f"added {SHOWN}",
    "/colourway/1": "first photo 2026-11-27",
}


async def test_pages_show_them_by_the_servers_clock(
    eight_behind: None, visitor: Callable[[str], Any]
) -> None:
    for path, told in PAGES.items():
        text = words((await visitor("dyer").get(path)).text)
        assert told in text, path
        assert THAT_DAY not in text, path
    table = (await visitor("dyer").get("/archive/lot_check")).text
    assert STORED in table


def test_lists_show_them_by_this_clock_and_json_keeps_them(
    eight_behind: None, studio: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for asked in (("list", "checks"), ("list", "aside"), ("show", "lot", "NF-4")):
        told = run(capsys, *asked, "--archive", studio).out
        assert SHOWN in told and THAT_DAY not in told, asked
        assert not re.search(r"\d{4}-\d\d-\d\dT\d\d", told), asked
        kept = json.dumps(json.loads(run(capsys, *asked, "--json", "--archive", studio).out))
        assert STORED in kept, asked


async def test_a_photo_without_a_time_of_its_own_is_told_by_when_it_was_added(
    eight_behind: None, visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    text = (await dyer.get("/swatch/1")).text
    assert f"Measured from the photo added {SHOWN}, of 4 photos" in words(text)
    assert text.count(f">added {SHOWN}</a></td>") == 4 and "no date</a>" not in text
    lot = (await dyer.get("/lot/1")).text
    assert f'alt="Photo added {SHOWN}"' in lot and f"</a>added {SHOWN}</li>" in lot
    ((photo, taken),) = ask(studio, "SELECT sha256, taken_at FROM photo WHERE id = 1")
    told = words((await dyer.get(f"/photos/{photo}")).text)
    assert taken is None and f"Taken not known Added {SHOWN}" in told
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE photo SET taken_at = '2026-05-01T10:00:00'")
    page = words((await dyer.get("/swatch/1")).text)
    assert "Measured from the photo of 2026-05-01 10:00, of 4 photos" in page
    assert f"added {SHOWN}" not in page
    assert "</a>2026-05-01 10:00</li>" in (await dyer.get("/lot/1")).text
    told = words((await dyer.get(f"/photos/{photo}")).text)
    assert f"Taken 2026-05-01 10:00 Added {SHOWN}" in told
