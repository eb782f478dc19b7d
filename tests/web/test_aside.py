"""A measurement set aside on a page: by the dyer alone, shown with the reason, counted nowhere."""

from __future__ import annotations

import html
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import open_archive
from swatchvault.archive.publishing import publish
from tests.web.newphotos import marks
from tests.web.test_photos import marked, measured, once

pytestmark = pytest.mark.anyio

Visitor = Callable[[str], Any]
ONCE = "a-token-of-this-test-{}"
WHY = "lamp <on>, & the window shut"
SHOWN = html.escape(WHY)


def ask(studio: Path, sql: str, *values: object) -> Any:
    with sqlite3.connect(studio / "archive.db") as conn:
        return conn.execute(sql, values).fetchall()


def of(studio: Path, swatch: str, photo: str) -> tuple[int, str]:
    """A swatch's number and a photo's sha256, by their names."""
    ((swatch_id,),) = ask(studio, "SELECT id FROM swatch WHERE label = ?", swatch)
    ((sha256,),) = ask(studio, "SELECT sha256 FROM photo WHERE original_name = ?", photo)
    return swatch_id, sha256


def counts(studio: Path, swatch: str) -> int:
    sql = "SELECT count(*) FROM colours WHERE swatch = ?"
    return int(ask(studio, sql, swatch)[0][0])


async def set_aside(client: Any, swatch_id: int, sha256: str, n: int = 1, **said: str) -> Any:
    form = {"once": ONCE.format(n), "swatch": str(swatch_id), "because": WHY, **said}
    return await client.post(f"/photos/{sha256}/aside", form)


@pytest.mark.parametrize("back", ["swatch", "photo"])
async def test_it_is_set_aside_and_taken_back_where_it_is_read(
    back: str, visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")
    swatch_id, sha256 = of(studio, "NF-4 card", "furrow-4.jpg")
    page = f"/swatch/{swatch_id}" if back == "swatch" else f"/photos/{sha256}"
    form = f'action="/photos/{sha256}/aside"'
    before = (await dyer.get(page)).text
    assert form in before and "Set it aside" in before and SHOWN not in before
    for _ in range(2):  # a second tap does nothing more
        answer = await set_aside(dyer, swatch_id, sha256, back=back)
        assert answer.status_code == 303
        assert answer.headers["location"].removesuffix("#measured") == page
    assert counts(studio, "NF-4 card") == 0
    assert ask(studio, "SELECT count(*) FROM set_aside") == [(1,)]
    for path in (f"/swatch/{swatch_id}", f"/photos/{sha256}"):
        told = (await dyer.get(path)).text
        assert SHOWN in told and "counted nowhere" in told and "33.4" in told, path
        assert "Let it count again" in told and "aside" in told
    helper = (await visitor("helper").get(page)).text
    assert SHOWN in helper and form not in helper
    assert "No photo of it counts" in (await dyer.get(f"/swatch/{swatch_id}")).text
    answer = await set_aside(dyer, swatch_id, sha256, 2, take_back="yes", back=back)
    assert answer.status_code == 303 and counts(studio, "NF-4 card") == 1
    assert SHOWN not in (await dyer.get(page)).text


async def test_nobody_else_can(visitor: Visitor, studio: Path) -> None:
    swatch_id, sha256 = of(studio, "NF-4 card", "furrow-4.jpg")
    for role in ("helper", "anyone"):
        client = visitor(role)
        asked = f"/photos/{sha256}/aside?swatch={swatch_id}"
        assert (await client.get(asked)).status_code == 403
        assert (await set_aside(client, swatch_id, sha256)).status_code == 403
    assert ask(studio, "SELECT count(*) FROM set_aside") == [(0,)]


@pytest.mark.parametrize(
    ("because", "words"), [("  ", "the reason is blank"), ("x" * 501, "500 is the most")]
)
async def test_what_cannot_be_comes_back_as_it_was_typed(
    because: str, words: str, visitor: Visitor, studio: Path
) -> None:
    swatch_id, sha256 = of(studio, "NF-4 card", "furrow-4.jpg")
    answer = await set_aside(visitor("dyer"), swatch_id, sha256, because=because)
    assert answer.status_code == 400 and 'role="alert"' in answer.text and words in answer.text
    assert f'value="{because.strip()}"' in answer.text
    assert ask(studio, "SELECT count(*) FROM set_aside") == [(0,)]


async def test_what_is_not_there_is_refused(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    swatch_id, sha256 = of(studio, "NF-4 card", "furrow-1.jpg")  # which does not show it
    assert (await dyer.get(f"/photos/{sha256}/aside?swatch={swatch_id}")).status_code == 404
    assert (await set_aside(dyer, swatch_id, sha256)).status_code == 404
    assert (await set_aside(dyer, swatch_id, "0" * 64)).status_code == 404
    assert (await dyer.get(f"/photos/{sha256}/aside")).status_code == 400


async def test_a_search_that_was_made_before_notices(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    swatch_id, sha256 = of(studio, "NF-4 card", "furrow-4.jpg")
    ((colour,),) = ask(
        studio, "SELECT printf('l=%g&c=%g&h=%g', lab_l, 29.94, 27.4) FROM colours "
        "WHERE swatch = 'NF-4 card'"
    )  # fmt: skip
    path, link = f"/find?{colour}", f'href="/swatch/{swatch_id}"'
    assert link in (await dyer.get(path)).text
    await set_aside(dyer, swatch_id, sha256)
    assert link not in (await dyer.get(path)).text
    await set_aside(dyer, swatch_id, sha256, 2, take_back="yes")
    assert link in (await dyer.get(path)).text


async def test_a_master_without_a_photo_that_counts_says_what_to_do(
    visitor: Visitor, studio: Path
) -> None:
    dyer = visitor("dyer")
    for n in (1, 2, 3, 5):
        await set_aside(dyer, *of(studio, "NF-1 card", f"furrow-{n}.jpg"), n)
    ((lot_id,),) = ask(studio, "SELECT id FROM lot WHERE code = 'NF-2'")
    page = html.unescape((await dyer.get(f"/check/new?lot={lot_id}")).text)
    assert "has a master, NF-1 card, that has no photo that counts: its 4 photos are all" in page
    assert "take that back on its page" in page
    assert "Photograph NF-1 card again, or make another swatch the master." in page
    assert 'action="/check/new"' not in page
    answer = await dyer.post("/check/new", {"once": ONCE.format(9), "lot": str(lot_id)})
    said = html.unescape(answer.text)
    assert answer.status_code == 400 and "take that back on its page" in said
    assert "Photograph NF-1 card again" in said and "--take-back" not in said
    across = {"once": ONCE.format(10), "lot": str(lot_id), "across_forms": "yes"}
    said = html.unescape((await dyer.post("/check/new", across)).text)
    assert "or make another swatch the master on its page" in said and "`swatch" not in said
    ((check_id,),) = ask(
        studio, "SELECT c.id FROM lot_check AS c JOIN lot ON lot.id = c.lot_id WHERE code = 'NF-2'"
    )
    check = (await dyer.get(f"/check/{check_id}")).text
    assert SHOWN in check and "the verdict keeps its words" in check
    ((colourway_id,),) = ask(studio, "SELECT colourway_id FROM lot WHERE code = 'NF-2'")
    for path in (f"/colourway/{colourway_id}", f"/lot/{lot_id}"):
        assert (await dyer.get(path)).status_code == 200, path
    wall = (await dyer.get("/?text=Ninth")).text
    assert "Ninth Furrow" in wall and "no master" not in wall


async def test_marked_anew_it_counts_again_and_says_so(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    swatch_id, sha256 = of(studio, "NF-4 card", "furrow-4.jpg")
    await set_aside(dyer, swatch_id, sha256)
    said = marks("furrow-4")
    told = {"swatch_0": "NF-4 card", "dry_0": "yes"}
    for moved, counted in ((0.0, 0), (0.01, 1)):
        said["swatches"][0]["polygon"][0][0] += moved
        assert (await marked(dyer, sha256, said, light="daylight")).status_code == 303
        assert (await measured(dyer, sha256))["state"] == "measured"
        page = (await dyer.get(f"/photos/{sha256}/shows")).text
        assert 'value="NF-4 card"' in page  # known, though it counts nowhere
        answer = await dyer.post(f"/photos/{sha256}/shows", {"once": once(page), **told})
        assert answer.status_code == 303 and counts(studio, "NF-4 card") == counted
        shown = (await dyer.get(answer.headers["location"])).text
        assert ("is told anew counts again" in shown) is bool(counted)


async def test_a_copy_for_others_shows_it_without_the_reason(
    visitor: Visitor, studio: Path, tmp_path: Path
) -> None:
    from datasette.app import Datasette

    from swatchvault.commands.publish import config

    swatch_id, sha256 = of(studio, "NF-4 card", "furrow-4.jpg")
    await set_aside(visitor("dyer"), swatch_id, sha256)
    with open_archive(studio) as archive:
        publish(archive, tmp_path / "copy")
    database = str(tmp_path / "copy" / "archive.db")
    served = Datasette([], immutables=[database], config=config())
    await served.invoke_startup()
    for path in (f"/swatch/{swatch_id}", f"/photos/{sha256}"):
        page = (await served.client.get(path)).text
        assert "counted nowhere" in page and SHOWN not in page and "/aside" not in page, path
