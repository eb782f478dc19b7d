"""Who may read and post what, address by address; nothing that is not in the table is open."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.web.routes import ROUTES, Route
from swatchvault.web.who import may
from tests.web.examples import EXAMPLES, address

pytestmark = pytest.mark.anyio

# Datasette's own addresses, and what a visitor must be to read them.
DATASETTE = {
    "/archive": "look",
    "/archive/colourway": "look",
    "/archive/colourway.json": "look",
    "/archive/colourway.csv": "look",
    "/archive/colourway/1": "look",
    "/archive/lots": "look",
    "/archive/-/query?sql=select+1": "own",
    "/archive.db": "nobody",
    "/-/permissions": "nobody",
    "/-/logout": "look",
}
DATASETTE_WRITES = (
    "/archive/colourway/-/insert",
    "/archive/colourway/-/upsert",
    "/archive/colourway/-/drop",
    "/archive/colourway/1/-/update",
    "/archive/colourway/1/-/delete",
    "/archive/-/create",
    "/archive/-/execute-write",
    "/-/create-token",
    "/-/permissions",
)


def test_every_route_has_an_example() -> None:
    assert {r.path for r in ROUTES} == set(EXAMPLES)


@pytest.mark.parametrize("role", ["anyone", "helper", "dyer"])
@pytest.mark.parametrize("route", ROUTES, ids=lambda r: r.path)
async def test_reading(
    route: Route, role: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    answer = await visitor(role).get(address(route.path, studio))
    if route.read is None or may(role, route.read):  # type: ignore[arg-type]
        assert answer.status_code < 500
        assert "not open to" not in answer.text.lower() or route.path == r"/enter$"
        assert answer.status_code != 403 or route.path == r"/enter$"
    else:
        assert answer.status_code == 403


@pytest.mark.parametrize("role", ["anyone", "helper", "dyer"])
@pytest.mark.parametrize("route", ROUTES, ids=lambda r: r.path)
async def test_posting(
    route: Route, role: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    before = _rows(studio)
    answer = await visitor(role).post(address(route.path, studio), {"nonsense": "1"})
    if route.open_write:
        assert answer.status_code == (200 if route.path == r"/leave$" else 403)
    elif route.write is None:
        assert answer.status_code == 405
    elif not may(role, route.write):  # type: ignore[arg-type]
        assert answer.status_code == 403
    else:
        assert answer.status_code < 500
        assert answer.status_code != 403
    assert _rows(studio) == before


@pytest.mark.parametrize("role", ["anyone", "helper", "dyer"])
@pytest.mark.parametrize("path", DATASETTE)
async def test_reading_datasettes_pages(
    path: str, role: str, visitor: Callable[[str], Any]
) -> None:
    answer = await visitor(role).get(path)
    needed = DATASETTE[path]
    if needed != "nobody" and may(role, needed):  # type: ignore[arg-type]
        assert answer.status_code in (200, 302)
    else:
        assert answer.status_code in (403, 404) or answer.headers.get("location") == "/"
        assert "Harbour at Four" not in answer.text


@pytest.mark.parametrize("role", ["anyone", "helper", "dyer"])
@pytest.mark.parametrize("path", DATASETTE_WRITES)
async def test_nobody_writes_through_datasettes_pages(
    path: str, role: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    before = _rows(studio)
    answer = await visitor(role).post(path, json={"row": {"name": "x"}, "confirm": True})
    assert answer.status_code in (400, 403, 404, 405)
    assert _rows(studio) == before


def _rows(folder: Path) -> dict[str, int]:
    import sqlite3

    with sqlite3.connect(folder / "archive.db") as conn:
        names = [r[0] for r in conn.execute("SELECT name FROM sqlite_master WHERE type='table'")]
        return {n: conn.execute(f'SELECT count(*) FROM "{n}"').fetchone()[0] for n in names}
