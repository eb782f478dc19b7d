"""Who may read and post what, address by address; nothing that is not in the table is open."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.web.routes import ROUTES, Route
from swatchvault.web.who import Role, may
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


ROLES = ("anyone", "helper", "dyer")


@pytest.mark.parametrize("role", ROLES)
async def test_reading(role: Role, visitor: Callable[[str], Any], studio: Path) -> None:
    wrong = []
    for route in ROUTES:
        answer = await visitor(role).get(address(route.path, studio))
        closed = answer.status_code == 403
        should = route.read is not None and not may(role, route.read)
        # A sign-in link that opens nothing is refused to everybody.
        if answer.status_code >= 500 or (closed != should and route.path != r"/enter$"):
            wrong.append((route.path, answer.status_code))
    assert not wrong


@pytest.mark.parametrize("role", ROLES)
async def test_posting(role: Role, visitor: Callable[[str], Any], studio: Path) -> None:
    wrong = []
    for route in ROUTES:
        before = _rows(studio)
        answer = await visitor(role).post(address(route.path, studio), {"nonsense": "1"})
        if not _fits(route, role, answer.status_code) or _rows(studio) != before:
            wrong.append((route.path, answer.status_code))
    assert not wrong


def _fits(route: Route, role: Role, status: int) -> bool:
    """Whether a nonsensical form is answered as it should be."""
    if route.open_write:
        return status == (200 if route.path == r"/leave$" else 403)
    if route.write is None:
        return status == 405
    if not may(role, route.write):
        return status == 403
    return status < 500 and status != 403


@pytest.mark.parametrize("role", ROLES)
async def test_reading_datasettes_pages(role: Role, visitor: Callable[[str], Any]) -> None:
    wrong = []
    for path, needed in DATASETTE.items():
        answer = await visitor(role).get(path)
        if needed != "nobody" and may(role, needed):  # type: ignore[arg-type]
            fits = answer.status_code in (200, 302)
        else:
            away = answer.status_code in (403, 404) or answer.headers.get("location") == "/"
            fits = away and "Harbour at Four" not in answer.text
        if not fits:
            wrong.append((path, answer.status_code))
    assert not wrong


@pytest.mark.parametrize("role", ROLES)
async def test_nobody_writes_through_datasettes_pages(
    role: Role, visitor: Callable[[str], Any], studio: Path
) -> None:
    wrong = []
    before = _rows(studio)
    for path in DATASETTE_WRITES:
        answer = await visitor(role).post(path, json={"row": {"name": "x"}, "confirm": True})
        if answer.status_code not in (400, 403, 404, 405) or _rows(studio) != before:
            wrong.append((path, answer.status_code))
    assert not wrong


def _rows(folder: Path) -> dict[str, int]:
    import sqlite3

    with sqlite3.connect(folder / "archive.db") as conn:
        names = [r[0] for r in conn.execute("SELECT name FROM sqlite_master WHERE type='table'")]
        return {n: conn.execute(f'SELECT count(*) FROM "{n}"').fetchone()[0] for n in names}


#: What a stranger does not even see of a published copy, whatever the table of routes says.
FOR_THOSE_WHO_WORK = (
    *(r"/setups$", r"/photos/new$", r"/recipe/new$", r"/check/new$", r"/devices$"),
    r"/setup/(?P<id>\d{1,18})$",
    *(r"/pot/(?P<id>\d{1,18})/correct$", r"/pot/(?P<id>\d{1,18})/liquor$"),
    *(r"/photos/(?P<sha256>[0-9a-f]{64})/mark$", r"/photos/(?P<sha256>[0-9a-f]{64})/shows$"),
    r"/photos/(?P<sha256>[0-9a-f]{64})/aside$",
)


async def test_a_published_copy_shuts_what_is_for_those_who_work(studio: Path) -> None:
    from swatchvault.archive import open_archive
    from swatchvault.archive.publishing import publish
    from swatchvault.web.studio import datasette_of

    to = studio.parent / "a-copy"
    with open_archive(studio) as archive:
        publish(archive, to)
    datasette = datasette_of(to, public=True)
    await datasette.invoke_startup()
    assert set(FOR_THOSE_WHO_WORK) <= {r.path for r in ROUTES}
    shut = {p: await datasette.client.get(address(p, studio)) for p in FOR_THOSE_WHO_WORK}
    assert {path for path, answer in shut.items() if answer.status_code != 403} == set()
