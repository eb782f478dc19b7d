"""The wall, and the doors to it."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
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


def key_in(page: str) -> str:
    found = re.search(r"enter\?key=([\w-]+)", page)
    assert found
    return found[1]


async def test_helpers_are_signed_out_and_the_dyer_stays(visitor: Callable[[str], Any]) -> None:
    dyer, anyone = visitor("dyer"), visitor("anyone")
    client = dyer.datasette.client

    async def let_in() -> dict[str, str]:
        key = key_in((await dyer.post("/devices", {"who": "helper"})).text)
        entered = await anyone.post("/enter", {"key": key})
        return {"ds_actor": entered.cookies["ds_actor"]}

    async def opens(cookies: dict[str, str]) -> list[int]:
        paths = ("/", "/archive/recipe", "/archive/recipe.json")
        return [(await client.get(path, cookies=cookies)).status_code for path in paths]

    helper = await let_in()
    assert await opens(helper) == [200] * 3
    assert (await visitor("helper").post("/devices", {"who": "helpers out"})).status_code == 403
    assert await opens(helper) == [200] * 3
    unused = key_in((await dyer.post("/devices", {"who": "helper"})).text)
    own = key_in((await dyer.post("/devices", {"who": "dyer"})).text)
    said = (await dyer.post("/devices", {"who": "helpers out"})).text
    assert "All helpers are signed out" in said and "enter?key=" not in said
    assert await opens(helper) == [403] * 3
    made_before = {"ds_actor": dyer.datasette.sign({"a": {"id": "helper"}}, "actor")}
    assert await opens(made_before) == [403] * 3
    assert (await anyone.post("/enter", {"key": unused})).status_code == 403
    assert (await dyer.get("/devices")).status_code == 200
    assert (await anyone.post("/enter", {"key": own})).status_code == 303
    again = await let_in()
    assert await opens(again) == [200] * 3
    assert await opens(helper) == [403] * 3
    await dyer.post("/devices", {"who": "helpers out"})
    assert await opens(again) == [403] * 3


async def test_no_helper_is_signed_out_where_it_cannot_be_kept(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    (studio / ".helpers").mkdir()  # a file of that name cannot be put there
    dyer = visitor("dyer")
    dyer.datasette.swatchvault.helpers = lambda: ""
    said = await dyer.post("/devices", {"who": "helpers out"})
    assert said.status_code == 400 and "no helper was signed out" in said.text


async def test_devices_say_what_a_helper_may(visitor: Callable[[str], Any]) -> None:
    page = (await visitor("dyer").get("/devices")).text
    assert "recipes, pot logs, notes, prices, photos and every table" in page
    helper = visitor("helper")
    for path in ("/recipe/1", "/archive/recipe", "/archive/pot_step", "/archive/dye", "/shelf"):
        assert (await helper.get(path)).status_code == 200, path


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
