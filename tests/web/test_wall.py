"""The wall, and the doors to it."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

pytestmark = pytest.mark.anyio


async def test_the_wall_shows_every_colourway(visitor: Callable[[str], Any]) -> None:
    answer = await visitor("dyer").get("/")
    assert answer.status_code == 200
    assert "Harbour at Four" in answer.text
    assert len(re.findall('class="tile"', answer.text)) >= 6
    assert "default-src 'none'" in answer.headers["content-security-policy"]


async def test_the_wall_is_narrowed_by_name(visitor: Callable[[str], Any]) -> None:
    answer = await visitor("dyer").get("/?text=harbour")
    assert re.findall('class="name">([^<]*)', answer.text) == ["Harbour at Four"]


async def test_the_wall_is_read_page_after_page(visitor: Callable[[str], Any]) -> None:
    dyer = visitor("dyer")
    conn_write = dyer.datasette.get_database("archive")

    def many(conn: Any) -> None:
        conn.executemany(
            "INSERT INTO colourway (name) VALUES (?)", [(f"Z {n:04d}",) for n in range(200)]
        )

    await conn_write.execute_write_fn(many)
    names: list[str] = []
    path: str | None = "/"
    while path:
        text = (await dyer.get(path)).text
        names += re.findall('class="name">([^<]*)', text)
        found = re.search(r'href="([^"]*)" data-more', text)
        path = found.group(1).replace("&amp;", "&") if found else None
    assert len(names) == len(set(names))
    assert [n for n in names if n.startswith("Z ")] == [f"Z {n:04d}" for n in range(200)]


async def test_anyone_sees_nothing(visitor: Callable[[str], Any]) -> None:
    anyone = visitor("anyone")
    for path in ("/", "/archive", "/archive/colourway", "/archive/colourway.json"):
        answer = await anyone.get(path)
        assert answer.status_code == 403
        assert "Harbour" not in answer.text


async def test_a_link_lets_in_once(visitor: Callable[[str], Any]) -> None:
    anyone = visitor("anyone")
    key = anyone.datasette.swatchvault.links.make("dyer")
    page = await anyone.get(f"/enter?key={key}")
    assert "Let this device in" in page.text
    first = await anyone.post("/enter", {"key": key})
    assert first.status_code == 303
    cookie = first.headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=lax" in cookie
    again = await anyone.post("/enter", {"key": key})
    assert again.status_code == 403
    assert "used already" in again.text
    assert "set-cookie" not in again.headers


async def test_a_forged_cookie_opens_nothing(visitor: Callable[[str], Any]) -> None:
    anyone = visitor("anyone")
    good = anyone.datasette.sign({"a": {"id": "dyer"}}, "actor")
    for forged in (good[:-2] + "xx", "dyer", good.replace(".", "", 1), ""):
        answer = await anyone.datasette.client.get("/", cookies={"ds_actor": forged})
        assert answer.status_code == 403
    answer = await anyone.datasette.client.get("/", cookies={"ds_actor": good})
    assert answer.status_code == 200


async def test_sql_is_the_dyers(visitor: Callable[[str], Any]) -> None:
    ask = "/archive/-/query.json?sql=select+delta_e_00(50,2.6772,-79.7751,50,0,-82.7485)+as+d"
    answer = await visitor("dyer").get(ask)
    assert answer.status_code == 200
    # Sharma, Wu and Dalal 2005, table 1, pair 1
    assert answer.json()["rows"][0]["d"] == pytest.approx(2.0425, abs=5e-5)
    for role in ("helper", "anyone"):
        assert (await visitor(role).get(ask)).status_code == 403


async def test_a_post_from_another_site_is_refused(visitor: Callable[[str], Any]) -> None:
    dyer = visitor("dyer")
    for headers in ({"Sec-Fetch-Site": "cross-site"}, {"Origin": "http://elsewhere.example"}):
        answer = await dyer.post("/devices", {"who": "dyer"}, headers=headers)
        assert answer.status_code == 403
        assert "enter?key=" not in answer.text


async def test_a_helper_makes_no_links(visitor: Callable[[str], Any]) -> None:
    assert (await visitor("helper").post("/devices", {"who": "dyer"})).status_code == 403
    made = await visitor("dyer").post("/devices", {"who": "helper"})
    assert "enter?key=" in made.text


@pytest.mark.parametrize("role", ["anyone", "dyer"])
async def test_an_unknown_page_is_a_sentence(visitor: Callable[[str], Any], role: str) -> None:
    answer = await visitor(role).get("/no/such/page/at/all")
    assert answer.status_code == 404
    assert "There is no such page" in answer.text
    answer = await visitor(role).get("/no-such.json")
    assert answer.status_code in (403, 404)
    assert answer.json()["ok"] is False


async def test_no_redirect_leads_elsewhere(visitor: Callable[[str], Any]) -> None:
    for path in ("//elsewhere.example/", "//elsewhere.example", "///elsewhere.example/"):
        answer = await visitor("dyer").get(path)
        assert answer.status_code == 404
        assert "location" not in answer.headers


async def test_style_and_scripts_are_there(visitor: Callable[[str], Any]) -> None:
    page = (await visitor("anyone").get("/")).text
    for address in re.findall(r'(?:href|src)="(/-/static-plugins/[^"]*)"', page):
        assert (await visitor("anyone").get(address)).status_code == 200
    assert "studio.css" in page
