"""A published copy, served by plain Datasette with the configuration beside it."""

from __future__ import annotations

import json
import re
import sqlite3
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import TABLES, open_archive, publishing, questions
from swatchvault.archive.publishing import publish
from swatchvault.commands.publish import config
from swatchvault.web.routes import ROUTES
from swatchvault.web.sql import add_functions
from tests.web.examples import address

pytestmark = pytest.mark.anyio


@pytest.fixture
async def copy(demo_once: Path, tmp_path: Path) -> tuple[Path, Any]:
    from datasette.app import Datasette
    from datasette.plugins import pm

    import swatchvault.web as plugin

    if not pm.is_registered(plugin):
        pm.register(plugin, name="swatchvault")
    folder = tmp_path / "copy"
    with open_archive(demo_once) as archive:
        publish(archive, folder)
    told = json.loads(json.dumps(config()))
    served = Datasette([], immutables=[str(folder / "archive.db")], config=told)
    await served.invoke_startup()
    return folder, served


async def test_anyone_may_look(copy: tuple[Path, Any]) -> None:
    _, served = copy
    wall = await served.client.get("/")
    assert wall.status_code == 200
    assert "Harbour at Four" in wall.text
    assert (await served.client.get("/archive/colours.json")).status_code == 200


async def test_no_page_fails_and_none_takes_a_form(copy: tuple[Path, Any]) -> None:
    folder, served = copy
    looked = 0
    for route in ROUTES:
        try:
            path = address(route.path, folder)
        except TypeError:  # the copy holds nothing that this page is about
            continue
        looked += 1
        answer = await served.client.get(path)
        assert answer.status_code < 500, path
        if route.read not in (None, "look"):
            assert answer.status_code == 403, path
        posted = await served.client.post(path, data={"once": "x" * 20})
        if route.open_write:
            assert "enter?key" not in posted.text and "ds_actor=ey" not in str(posted.headers)
        else:
            assert posted.status_code in (403, 405), path
    assert looked > 25


@pytest.mark.parametrize(
    "path",
    [
        "/archive.db",
        "/archive/-/query?sql=select+1",
        "/archive/-/query.json?sql=select+1",
        "/archive/colourway/-/insert",
        "/-/create-token",
        "/-/permissions",
    ],
)
async def test_nobody_may_more(copy: tuple[Path, Any], path: str) -> None:
    _, served = copy
    signed = served.sign({"a": {"id": "dyer"}}, "actor")
    for cookies in ({}, {"ds_actor": signed}):
        answer = await served.client.get(path, cookies=cookies)
        assert answer.status_code in (403, 404, 405)


async def test_what_a_copy_leaves_out_is_said_to_be_left_out(copy: tuple[Path, Any]) -> None:
    _, served = copy
    shelf = (await served.client.get("/shelf")).text
    assert "Stocks are not in this copy." in shelf and "Dyes are not in this copy." in shelf
    assert "Tebbet double" in shelf
    assert "Pots are not in this copy." in (await served.client.get("/pots")).text
    assert "Dyes are not in this copy" in (await served.client.get("/gaps?base=1")).text
    for page in ("/shelf", "/pots", "/gaps?base=1"):
        text = (await served.client.get(page)).text
        assert "No stock is on" not in text and "No dye is in" not in text
        assert "No pot is open" not in text


async def test_what_is_made_of_what_a_copy_leaves_out_is_said_not_to_be_in_it(
    copy: tuple[Path, Any], demo_once: Path, tmp_path: Path
) -> None:
    from datasette.app import Datasette

    folder, served = copy
    asked = ["/recipe/1", "/recipe/1/card", "/dye/1", "/recipe/999", "/archive/recipe_of_none"]
    of_questions = [f"/archive/{name}" for name in sorted(questions.OF_THE_MAKING)]
    for path in (*asked[:4], *of_questions):
        answer = await served.client.get(path)
        assert answer.status_code == 404, path
        assert "How colours were made is not in this copy" in answer.text, path
        assert "There is no" not in answer.text and "not in the archive" not in answer.text, path
    for path in ("/lot/999", "/nowhere", asked[4]):
        text = (await served.client.get(path)).text
        assert "There is no" in text and "How colours were made" not in text, path
    assert "measure more lots" not in (await served.client.get("/gaps?base=1")).text
    with sqlite3.connect(folder / "archive.db") as conn:
        (sha256,) = conn.execute("SELECT sha256 FROM photo").fetchone()
    original = await served.client.get(f"/original/{sha256}")
    assert original.status_code == 404 and "holds small pictures only" in original.text
    with open_archive(demo_once) as archive:
        publish(archive, tmp_path / "full", recipes=True)
    told = json.loads(json.dumps(config(recipes=True)))
    full = Datasette([], immutables=[str(tmp_path / "full" / "archive.db")], config=told)
    await full.invoke_startup()
    assert (await full.client.get("/recipe/1")).status_code == 200
    assert "There is no recipe of the number 999" in (await full.client.get("/recipe/999")).text


async def test_a_copy_asks_nothing_that_it_cannot_answer(copy: tuple[Path, Any]) -> None:
    _, served = copy
    more = (await served.client.get("/more")).text
    tables = (await served.client.get("/archive.json")).json()
    shown = {t["name"] for t in tables["tables"] if not t["hidden"]}
    shown |= {v["name"] for v in tables["views"]} - publishing.OF_THE_MAKING  # no view is hidden
    listed = set(re.findall(r'href="/archive/(\w+)"', more))
    for name in questions.OF_THE_MAKING:
        assert name not in listed
        assert (await served.client.get(f"/archive/{name}.json")).status_code == 404
    for name in publishing.OF_THE_MAKING:
        assert name not in listed and name not in shown
    for name in set(questions.QUESTIONS) - questions.OF_THE_MAKING:
        assert name in listed
        assert (await served.client.get(f"/archive/{name}.json")).status_code == 200
    assert {"colours", "skeins", "lots", "skein"} <= listed & shown


async def test_those_questions_and_tables_are_the_ones_that_a_copy_empties(
    copy: tuple[Path, Any], demo_once: Path
) -> None:
    folder, _ = copy
    with sqlite3.connect(demo_once / "archive.db") as conn:
        names = {r[0] for r in conn.execute("SELECT name FROM sqlite_master WHERE type = 'view'")}
        names |= set(TABLES)
        full = {n for n in names if conn.execute(f'SELECT 1 FROM "{n}" LIMIT 1').fetchone()}
        read: set[str] = set()

        def seen(what: int, table: str | None, *_: str | None) -> int:
            if what == sqlite3.SQLITE_READ and table:
                read.add(table)
            return sqlite3.SQLITE_OK

        add_functions(conn)
        conn.set_authorizer(seen)
        for name, question in questions.QUESTIONS.items():
            read.clear()
            params = {str(p): "1" for p in question.get("params", ())}  # type: ignore[attr-defined]
            conn.execute(str(question["sql"]), params).fetchone()
            making = read & publishing.OF_THE_MAKING
            if "measurement" in read:  # which photo speaks: the copy keeps what these times decide
                making -= {"pot_step"}
            of_it = bool(making)
            assert of_it == (name in questions.OF_THE_MAKING), name
    with sqlite3.connect(folder / "archive.db") as conn:
        empty = {n for n in names if not conn.execute(f'SELECT 1 FROM "{n}" LIMIT 1').fetchone()}
    assert empty >= publishing.OF_THE_MAKING
    # What followed is of masters too, and the demo's were never changed.
    assert full & empty <= publishing.OF_THE_MAKING | {"form_sent", "renamed", "what_followed"}


async def test_a_copy_with_recipes_lists_its_stocks_and_asks_all(
    demo_once: Path, tmp_path: Path
) -> None:
    from datasette.app import Datasette

    with open_archive(demo_once) as archive:
        publish(archive, tmp_path / "full", recipes=True)
    told = json.loads(json.dumps(config(recipes=True)))
    file = str(tmp_path / "full" / "archive.db")
    served = Datasette([], immutables=[file], config=told)
    await served.invoke_startup()
    shelf = (await served.client.get("/shelf")).text
    assert "Brackle brown" in shelf and "not in this copy" not in shelf
    assert "not in this copy" not in (await served.client.get("/pots")).text
    more = (await served.client.get("/more")).text
    for name in questions.OF_THE_MAKING:
        assert f'href="/archive/{name}"' in more
        assert (await served.client.get(f"/archive/{name}.json")).status_code in (200, 400)
