"""Where a filed photo's page leads on to: a check, what lacks for one, and how even the yarn is."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.test_yarn import ask

pytestmark = pytest.mark.anyio

_SHOWN = """SELECT photo.sha256, lot.id, lot.code, swatch.id, swatch.label FROM lot
JOIN swatch ON swatch.lot_id = lot.id JOIN current_measurement AS m ON m.swatch_id = swatch.id
JOIN photo ON photo.id = m.photo_id """


async def part_of(client: Any, sha256: str) -> str:
    found = re.search(r'<section[^>]*id="next">.*?</section>', (await client.get(
        f"/photos/{sha256}")).text, re.S)  # fmt: skip
    return found[0] if found else ""


async def test_a_lot_that_can_be_checked_is_checked_from_its_photo(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    sql = f"{_SHOWN} JOIN lot_check AS c ON c.swatch_id = swatch.id"
    sha256, lot, code, swatch, label = ask(studio, sql)[0]
    helper = visitor("helper")
    part = await part_of(helper, sha256)
    assert f"Check lot {code} against the master" in part
    assert (
        f'<a class="button" href="/swatch/{swatch}/tonal"><span>How even <bdi>{label}</bdi>' in part
    )
    assert "No check yet" not in part  # its master, in the same photo, needs none
    once = re.search(
        rf'name="once" value="([^"]*)"><input type="hidden" name="lot" value="{lot}"', part
    )
    assert once is not None
    answer = await helper.post("/check/new", {"once": once[1], "lot": str(lot)})
    assert answer.status_code == 303 and answer.headers["location"].startswith("/check/")
    assert await part_of(visitor("anyone"), sha256) == ""


async def test_without_a_master_it_leads_to_making_one(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    colourway = "SELECT colourway_id FROM master"
    sql = f"{_SHOWN} WHERE lot.colourway_id NOT IN ({colourway})"
    sha256, _, _, swatch, label = ask(studio, sql)[0]
    part = await part_of(visitor("dyer"), sha256)
    assert f"Swatch {label} has no master" in part
    assert f'<a class="button main" href="/swatch/{swatch}#master">' in part
    assert "Check lot" not in part


async def test_what_is_set_aside_leads_nowhere(visitor: Callable[[str], Any], studio: Path) -> None:
    sha256 = ask(studio, _SHOWN)[0][0]
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute(
            "INSERT INTO set_aside (photo_id, swatch_id, reason, set_aside_at) "
            "SELECT photo.id, m.swatch_id, 'lamp', '2026-11-01T00:00:00Z' FROM photo "
            "JOIN filed_measurement AS m ON m.photo_id = photo.id WHERE sha256 = ?",
            (sha256,),
        )
    assert await part_of(visitor("dyer"), sha256) == ""
