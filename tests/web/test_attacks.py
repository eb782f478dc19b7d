"""What people type is shown as typed and runs nowhere; what is asked for reaches no file or SQL."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from swatchvault.web.routes import ROUTES
from tests.web.examples import EXAMPLES, NO_PAGES, address

pytestmark = pytest.mark.anyio

#: Breaks out of text, attributes, scripts and comments alike, if anything lets it.
ATTACK = "\"'><script>window.got_in=1</script><img src=x onerror=window.got_in=1>--%>{{7*191}}"
# The same as a tag of the page, not as text.
_RAW = re.compile(r"<script>window\.got_in|<img src=x onerror|>1337<", re.IGNORECASE)
#: Columns that the program writes and no person or file.
WRITTEN_BY_US = ("version", "method", "measured_at", "added_at", "token", "outcome", "photo_sha256")

PAGES = [r.path for r in ROUTES if not EXAMPLES[r.path].startswith(NO_PAGES)]
QUERY = ("after", "text", "key", "lot", "swatch", "base", "form", "dye", "since", "paper", "L", "C")


def poison(folder: Path) -> int:
    """Put :data:`ATTACK` into every free text of the archive; return how many columns have it."""
    with sqlite3.connect(folder / "archive.db") as conn:
        conn.execute("PRAGMA foreign_keys = OFF")
        for (name,) in conn.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            conn.execute(f'DROP TRIGGER "{name}"')
        done = 0
        tables = [r[0] for r in conn.execute("SELECT name FROM sqlite_master WHERE type='table'")]
        for table in tables:
            for _, column, kind, *_ in conn.execute(f'PRAGMA table_info("{table}")').fetchall():
                if column in WRITTEN_BY_US:
                    continue
                if kind == "TEXT" and _poisoned(conn, table, column):
                    done += 1
        return done


def _poisoned(conn: sqlite3.Connection, table: str, column: str) -> bool:
    """Whether the schema takes the text in that column; checks and keys refuse it in others."""
    try:
        conn.execute(
            f'UPDATE "{table}" SET "{column}" = rowid || ?'
            f' WHERE "{column}" IS NULL OR json_valid("{column}") = 0',
            (ATTACK,),
        )
    except sqlite3.Error:
        return False
    return True


@pytest.fixture
def poisoned(studio: Path) -> Path:
    assert poison(studio) > 40
    return studio


async def test_stored_text_is_shown_as_typed(visitor: Callable[[str], Any], poisoned: Path) -> None:
    for pattern in PAGES:
        answer = await visitor("dyer").get(address(pattern, poisoned))
        assert answer.status_code < 500, pattern
        assert not _RAW.search(answer.text), pattern


async def test_stored_text_in_datasettes_own_pages(
    visitor: Callable[[str], Any], poisoned: Path
) -> None:
    dyer = visitor("dyer")
    with sqlite3.connect(poisoned / "archive.db") as conn:
        names = [
            r[0]
            for r in conn.execute("SELECT name FROM sqlite_master WHERE type IN ('table','view')")
        ]
    for name in names:
        answer = await dyer.get(f"/archive/{name}?_size=20")
        assert answer.status_code == 200, name
        assert not _RAW.search(answer.text), name


async def test_what_is_asked_comes_back_as_text(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    asked = "&".join(f"{name}={quote(ATTACK)}" for name in QUERY)
    for pattern in PAGES:
        path = address(pattern, studio)
        for role in ("dyer", "anyone"):
            answer = await visitor(role).get(f"{path}{'&' if '?' in path else '?'}{asked}")
            assert answer.status_code < 500, pattern
            assert not _RAW.search(answer.text), pattern


async def test_what_is_posted_comes_back_as_text(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    for pattern in (r.path for r in ROUTES if r.write or r.open_write):
        page = (await visitor("dyer").get(address(pattern, studio))).text
        names = set(re.findall(r'name="([A-Za-z0-9_\-\[\]]+)"', page)) - {"once", "viewport"}
        form = dict.fromkeys(names, ATTACK) | {"once": "a-token-of-this-test-01"}
        answer = await visitor("dyer").post(address(pattern, studio), form)
        assert answer.status_code < 500, pattern
        assert not _RAW.search(answer.text), pattern


SQL = ("1' OR '1'='1", "1; DROP TABLE colourway", "1 UNION SELECT sql FROM sqlite_master", "1)--")


async def test_no_parameter_reaches_the_sql(visitor: Callable[[str], Any], studio: Path) -> None:
    for pattern in PAGES:
        path = address(pattern, studio)
        for said in SQL:
            asked = "&".join(f"{name}={quote(said)}" for name in QUERY)
            answer = await visitor("dyer").get(f"{path}{'&' if '?' in path else '?'}{asked}")
            assert answer.status_code < 500, pattern
            assert "CREATE TABLE" not in answer.text, pattern
    with sqlite3.connect(studio / "archive.db") as conn:
        assert conn.execute("SELECT count(*) FROM colourway").fetchone()[0] > 5


#: Addresses that read the number of a row, a version or a step from their query.
NUMBERED = (
    *(f"/photos/new?{name}=" for name in ("lot", "swatch", "with")),
    *(f"/recipe/1{page}?against=" for page in ("", "/card")),
    *(f"/pot/1?{name}=" for name in ("step", "edit")),
    *("/photos/{}/aside?swatch=", "/picture/{}?width="),
    *(f"/recipe/new?{name}=" for name in ("from", "lot", "colourway")),
    *(f"/groups?go=1&{name}=" for name in ("lot", "colourway")),
    *("/gaps?base=", "/setups?mended=", "/setups?setup=", "/find?swatch=", "/find?l=50&n="),
    *("/pots?recipe=", "/check/new?lot=", "/lot/1/label?copies="),
)


@pytest.mark.parametrize("said", ["9" * 18, "9" * 25, "9" * 5000, "٣", "²", "-1"])
async def test_no_number_is_too_large(
    said: str, visitor: Callable[[str], Any], studio: Path
) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:
        (photo,) = conn.execute("SELECT sha256 FROM photo").fetchone()
    for path in NUMBERED:
        answer = await visitor("dyer").get(path.format(photo) + quote(said))
        assert answer.status_code < 500, path


TRAVERSALS = (
    "/thumb/../../etc/passwd",
    "/thumb/..%2f..%2farchive.db",
    "/thumb/" + "a" * 63 + "/",
    "/thumb/" + "A" * 64,
    "/original/..%2f.cookie-secret",
    "/original/" + "0" * 64 + "%2f..%2f..%2farchive.db",
    "/photos/..%2f..%2f.cookie-secret",
    "/picture/%2e%2e%2f%2e%2e%2farchive.db",
    "/-/static-plugins/swatchvault/../who.py",
    "/-/static-plugins/swatchvault/%2e%2e/who.py",
    "/-/static-plugins/swatchvault/..%2fwho.py",
)


async def test_no_path_leads_out(visitor: Callable[[str], Any], studio: Path) -> None:
    secret = (studio / ".cookie-secret").read_text(encoding="ascii")
    for path in TRAVERSALS:
        answer = await visitor("dyer").get(path, follow_redirects=True)
        assert answer.status_code in (400, 403, 404), path
        for word in (secret, "root:", "SQLite format", "def may"):
            assert word not in answer.text, path


async def test_the_secret_is_the_owners_alone(studio: Path, visitor: Callable[[str], Any]) -> None:
    assert (studio / ".cookie-secret").stat().st_mode & 0o077 == 0
    for path in ("/-/settings.json", "/-/config.json", "/-/plugins.json", "/-/versions.json"):
        answer = await visitor("dyer").get(path)
        assert (studio / ".cookie-secret").read_text(encoding="ascii") not in answer.text
