"""An archive with nothing in it says on its pages where to begin."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import create_archive
from swatchvault.web.studio import datasette_of
from tests.web.conftest import Client

pytestmark = pytest.mark.anyio
FIRST = "add the dye first"


@pytest.fixture
async def newcomer(tmp_path: Path) -> Callable[[str], Client]:
    """A client of a new archive, by role."""
    folder = tmp_path / "new"
    with create_archive(folder):
        pass
    datasette = datasette_of(folder)
    await datasette.invoke_startup()
    return lambda role: Client(datasette, role)


async def test_the_wall_of_a_new_archive_leads_to_what_comes_first(
    newcomer: Callable[[str], Client],
) -> None:
    dyer = newcomer("dyer")
    page = (await dyer.get("/")).text
    steps = re.search(r"To begin:</p>\s*<ol>(.*?)</ol>", page, re.DOTALL)
    assert steps
    links = re.findall(r'href="([^"]*)"', steps[1])
    assert links == ["/setups", "/shelf", "/recipe/new", "/photos/new"]
    for link in links:
        assert (await dyer.get(link)).status_code == 200
    helped = (await newcomer("helper").get("/")).text
    assert "No colourway is in the archive yet" in helped and "/recipe/new" not in helped


async def test_the_wall_with_colourways_says_nothing_of_beginning(
    visitor: Callable[[str], Any],
) -> None:
    for path in ("/", "/?text=none+such"):
        assert "To begin:" not in (await visitor("dyer").get(path)).text


async def test_the_shelf_says_what_a_stock_and_a_delivery_need(
    newcomer: Callable[[str], Client], visitor: Callable[[str], Any]
) -> None:
    page = (await newcomer("dyer").get("/shelf")).text
    assert page.count(FIRST) == 2 and "add the base first" in page
    full = (await visitor("dyer").get("/shelf")).text
    assert FIRST not in full and "add the base first" not in full
