"""A name mended on the pages of what it is of: by the dyer alone, and refused as it was typed."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive.values import LONGEST_NAME

pytestmark = pytest.mark.anyio

Visitor = Callable[[str], Any]
ONCE = "a-token-of-this-test"
COLUMNS = {"colourway": "name", "lot": "code", "swatch": "label", "base": "name", "dye": "name"}


def name_of(studio: Path, kind: str, number: int = 1) -> str:
    with sqlite3.connect(studio / "archive.db") as conn:
        sql = f"SELECT {COLUMNS[kind]} FROM {kind} WHERE id = ?"
        return str(conn.execute(sql, (number,)).fetchone()[0])


@pytest.mark.parametrize("kind", COLUMNS)
async def test_a_page_offers_to_mend_its_name_and_shows_the_new_one(
    kind: str, visitor: Visitor, studio: Path
) -> None:
    old = name_of(studio, kind)
    page = html.unescape((await visitor("dyer").get(f"/{kind}/1")).text)
    assert f'action="/{kind}/1/name"' in page
    assert f'name="name" value="{old}" maxlength="{LONGEST_NAME}"' in page
    sent = {"once": ONCE, "name": " Quite another "}
    for _ in range(2):  # a second tap does nothing more
        answer = await visitor("dyer").post(f"/{kind}/1/name", sent)
        assert (answer.status_code, answer.headers["location"]) == (303, f"/{kind}/1")
    assert name_of(studio, kind) == "Quite another"
    page = (await visitor("dyer").get(f"/{kind}/1")).text
    assert re.search(r"<h1>[^\n]*<bdi>Quite another</bdi></h1>", page)
    page = html.unescape((await visitor("dyer").get(f"/{kind}/1/name")).text)
    assert page.count(f"<bdi>{old}</bdi>, until 20") == 1


@pytest.mark.parametrize("kind", COLUMNS)
async def test_a_helper_is_not_offered_it_and_cannot(
    kind: str, visitor: Visitor, studio: Path
) -> None:
    old = name_of(studio, kind)
    assert "/name" not in (await visitor("helper").get(f"/{kind}/1")).text
    for role in ("helper", "anyone"):
        assert (await visitor(role).get(f"/{kind}/1/name")).status_code == 403
        answer = await visitor(role).post(f"/{kind}/1/name", {"once": ONCE, "name": "x"})
        assert answer.status_code == 403
    assert name_of(studio, kind) == old


async def test_a_refused_name_comes_back_as_it_was_typed(visitor: Visitor, studio: Path) -> None:
    old, taken = name_of(studio, "colourway"), name_of(studio, "colourway", 2)
    for name, words in ((taken.upper(), f"is taken by the colourway '{taken}'"), ("", "is blank")):
        answer = await visitor("dyer").post("/colourway/1/name", {"once": ONCE, "name": name})
        page = html.unescape(answer.text)
        assert answer.status_code == 400
        assert words in page and 'role="alert"' in page
        assert f'name="name" value="{name or old}"' in page
    assert name_of(studio, "colourway") == old
    asked = {"accept": "application/json"}
    answer = await visitor("dyer").post(
        "/colourway/1/name", {"once": ONCE, "name": taken}, headers=asked
    )
    assert answer.json()["words"].startswith(f"the name '{taken}' is taken")


async def test_what_is_not_there_has_no_name(visitor: Visitor) -> None:
    assert (await visitor("dyer").get("/lot/999999/name")).status_code == 404
    answer = await visitor("dyer").post("/lot/999999/name", {"once": ONCE, "name": "x"})
    assert answer.status_code == 404
    assert "There is no lot of the number 999999" in answer.text
    assert (await visitor("dyer").get("/stock/1/name")).status_code == 404
