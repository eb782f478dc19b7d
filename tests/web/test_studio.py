"""The archive as it is served, from whichever folder it lies in."""

from __future__ import annotations

from pathlib import Path

import pytest

from swatchvault.web.studio import datasette_of
from tests.web.conftest import Client

pytestmark = pytest.mark.anyio


@pytest.mark.parametrize("name", ["yarn #1", "which?mode=memory", "100%25 wool", "Färbküche & co"])
async def test_an_archive_is_served_from_a_folder_of_any_name(
    studio: Path, tmp_path: Path, name: str
) -> None:
    folder = studio.rename(tmp_path / name)
    datasette = datasette_of(folder)
    await datasette.invoke_startup()
    dyer = Client(datasette, "dyer")
    assert "Ninth Furrow" in (await dyer.get("/")).text
    sent = {"once": "a-token-of-a-test-dye", "add": "dye", "name": "Nettle"}
    assert (await dyer.post("/shelf", sent)).status_code == 303
    assert "Nettle" in (await dyer.get("/archive/dye?_sort=name&_size=50")).text
    assert sorted(path.name for path in tmp_path.iterdir()) == [name]  # no other file was made
