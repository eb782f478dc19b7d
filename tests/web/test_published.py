"""A published copy, served by plain Datasette with the configuration beside it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import open_archive
from swatchvault.archive.publishing import publish
from swatchvault.commands.publish import config
from swatchvault.web.routes import ROUTES
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
