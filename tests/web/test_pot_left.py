"""A pot that has ended leads with what is left to do, and tells open steps only as not done."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.test_pots import start, step, token
from tests.web.test_yarn import ask

pytestmark = pytest.mark.anyio


async def part(client: Any, path: str) -> str:
    found = re.search(r'<section id="next".*?</section>', (await client.get(path)).text, re.S)
    assert found is not None
    return found[0]


async def test_what_is_left_leads_and_open_steps_are_told_as_not_done(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer)
    lot = int(path.rsplit("/", 1)[1])
    await dyer.post(path, step("soak", what="1"))
    skein = {"do": "skein", "grams_in": "100"}
    await dyer.post(path, {"once": token("skein a"), **skein, "label": "a", "grams_out": "99"})
    await dyer.post(path, {"once": token("skein b"), **skein, "label": "b"})
    assert "Next, as planned" in await part(dyer, path)
    await dyer.post(path, {"once": token("end"), "do": "end", "all_the_same": "yes"})
    left = await part(dyer, path)
    assert "Left to do" in left and "Next, as planned" not in left
    assert "Done as planned" not in left and "Begin" not in left and "Take this one" not in left
    assert f'href="/photos/new?lot={lot}"' in left
    assert "Not weighed out: <bdi>b</bdi>." in left
    assert len(re.findall('class="not-done"', left)) == 6  # of seven, the soak was done
    assert "soak" not in re.sub(r"(?s)^.*Planned and not done", "", left)
    # a form from before the end still works, and one that is refused comes back as typed
    late = await dyer.post(path, step("late", what="2", at="99:99"))
    assert late.status_code == 400 and 'value="99:99"' in late.text
    assert (await dyer.post(path, step("cool", what="6"))).status_code == 303
    assert len(re.findall('class="not-done"', await part(dyer, path))) == 5


async def test_a_photo_a_check_and_then_nothing_is_left(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    dyer = visitor("dyer")
    path = await start(dyer, recipe="1")
    new = int(path.rsplit("/", 1)[1])
    await dyer.post(path, {"once": token("end"), "do": "end"})
    (lot,) = ask(studio, "SELECT id FROM lot WHERE code = 'NF-3'")[0]
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE swatch SET lot_id = ?, skein_id = NULL WHERE lot_id = ?", (new, lot))
        conn.execute(
            "INSERT INTO pot (lot_id, started_at, ended_at, planned_from) VALUES "
            "(?, '2026-05-06T09:00:00+00:00', '2026-05-06T12:00:00+00:00', '{}')",
            (lot,),
        )
    left = await part(dyer, path)
    assert "Check against the master" in left and "Take a photo" not in left
    assert "Next version" not in left  # nothing went in
    left = await part(dyer, f"/pot/{lot}")
    assert "Take a photo of it" in left and "Check against" not in left
    assert f'href="/recipe/new?lot={lot}"' in left  # twice the dye of its recipe went in
    assert "/recipe/new" not in await part(visitor("helper"), f"/pot/{lot}")
    once = re.search(r'name="once" value="([^"]*-check)"', await part(dyer, path))
    assert once is not None
    given = await dyer.post("/check/new", {"once": once[1], "lot": str(new)})
    assert given.status_code == 303, given.text
    assert "It is photographed and checked" in await part(dyer, path)
