"""Lots without a day: placed by their first photo, and asked for where a lot is made."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from tests.web.newphotos import jpeg
from tests.web.test_checks_again import given_again
from tests.web.test_photos import once, told, up_to_words
from tests.web.test_yarn import ask

pytestmark = pytest.mark.anyio
Visitor = Callable[[str], Any]

#: The checked lots of the colourway that has most of them, the oldest first.
CHECKED = (
    "SELECT DISTINCT lot.id, lot.code, lot.colourway_id FROM lot JOIN lot_check ON lot_id = lot.id "
    "WHERE colourway_id = (SELECT lot.colourway_id FROM lot_check JOIN lot ON lot.id = lot_id "
    "GROUP BY 1 ORDER BY count(DISTINCT lot.id) DESC LIMIT 1) ORDER BY dyed_on, lot.id"
)


async def tile(client: Any, colourway: int) -> str:
    found = re.search(
        rf'<li class="tile"><a href="/colourway/{colourway}">.*?</li>',
        (await client.get("/")).text,
        re.DOTALL,
    )
    assert found
    return found[0]


def without_a_day(folder: Path, lot_id: int, taken_at: str) -> None:
    """The lot's day is not told, and its photos are of that time."""
    with sqlite3.connect(folder / "archive.db") as conn:
        conn.execute("UPDATE lot SET dyed_on = NULL WHERE id = ?", (lot_id,))
        conn.execute(
            "UPDATE photo SET taken_at = ? WHERE id IN (SELECT photo_id FROM current_measurement "
            "JOIN swatch ON swatch.id = swatch_id WHERE lot_id = ?)",
            (taken_at, lot_id),
        )


@pytest.mark.parametrize(("taken_at", "place"), [("2026-11-20T10:00:00", 0), ("2001-01-01", -1)])
async def test_a_lot_without_a_day_is_placed_by_its_first_photo(
    taken_at: str, place: int, visitor: Visitor, studio: Path
) -> None:
    rows = ask(studio, CHECKED)
    (lot_id, code, colourway), dated = rows[0], rows[-1][1]
    without_a_day(studio, lot_id, taken_at)
    dyer = visitor("dyer")
    shown = await tile(dyer, colourway)
    assert (f"<bdi>{code}</bdi>" in shown) == (place == 0)
    assert (f"<bdi>{dated}</bdi>" in shown) == (place == -1)
    page = (await dyer.get(f"/colourway/{colourway}")).text
    rows_shown = re.findall(r'href="/lot/(\d+)"', page[page.index("last check") :])
    of_colourway = [n for (n,) in ask(studio, "SELECT id FROM lot WHERE colourway_id = ?",
                                      colourway)]  # fmt: skip
    in_order = list(dict.fromkeys(int(n) for n in rows_shown if int(n) in of_colourway))
    assert in_order[place] == lot_id


async def test_the_wall_says_how_many_lots_are_outside(visitor: Visitor, studio: Path) -> None:
    rows = ask(studio, CHECKED)
    colourway = rows[0][2]
    assert len(rows) >= 3
    for lot_id, _, _ in rows:
        given_again(studio, lot_id, "2099-01-01T00:00:00Z", verdict="within")
    dyer = visitor("dyer")
    assert "outside" not in await tile(dyer, colourway)
    given_again(studio, rows[0][0], "2099-01-02T00:00:00Z", verdict="outside")
    assert "1 lot outside" in await tile(dyer, colourway)
    given_again(studio, rows[1][0], "2099-01-02T00:00:00Z", verdict="outside")
    assert "2 lots outside" in await tile(dyer, colourway)
    given_again(studio, rows[1][0], "2099-01-03T00:00:00Z", verdict="cannot tell")
    assert "1 lot outside" in await tile(dyer, colourway)
    for lot_id, _, _ in (rows[0], *rows[1:-1]):
        given_again(studio, lot_id, "2099-01-04T00:00:00Z", verdict="within")
    given_again(studio, rows[-1][0], "2099-01-04T00:00:00Z", verdict="outside")
    alone = await tile(dyer, colourway)  # the one that is shown needs no second word
    assert ">outside</span>" in alone and "lot outside" not in alone


async def test_the_day_of_a_new_lot_is_offered_and_kept(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    sha256, token = await up_to_words(dyer, with_taken_at("2026:03:04 10:11:12"))
    page = (await dyer.get(f"/photos/{sha256}/shows")).text
    offered = re.search(r'<datalist id="days">(.*?)</datalist>', page)
    assert offered
    assert re.findall('value="([^"]*)"', offered[1]) == ["2026-03-04", f"{date.today()}"]
    assert "this one was taken on 2026-03-04" in page
    new = told(token, lot_0="ZZ-1", swatch_0="ZZ-1 a", create="yes", dyed_on_0="2026-03-02")
    made = await dyer.post(f"/photos/{sha256}/shows", new)
    assert made.headers["location"] == f"/photos/{sha256}"
    assert ask(studio, "SELECT dyed_on FROM lot WHERE code = 'ZZ-1'") == [("2026-03-02",)]


async def test_a_day_that_cannot_be_kept_is_told(visitor: Visitor, studio: Path) -> None:
    dyer = visitor("dyer")
    sha256, token = await up_to_words(dyer, jpeg())
    dyed = ask(studio, "SELECT dyed_on FROM lot WHERE code = 'HF-2'")
    for more, words in (
        ({"dyed_on_0": "2026-03-02"}, "is kept with a new lot"),
        ({"dyed_on_0": "2199-01-01", "create": "yes"}, "has not come yet"),
        ({"dyed_on_0": "2001-01-01", "create": "yes"}, f"'HF-2' was dyed on {dyed[0][0]}, not on"),
        (
            {"dyed_on_0": "2001-01-01", "create": "yes", "really_new": "yes"},
            f"'HF-2' was dyed on {dyed[0][0]}, not on",
        ),
    ):
        answer = await dyer.post(f"/photos/{sha256}/shows", told(token, **more))
        assert answer.status_code == 400, more
        assert words in html.unescape(answer.text)
        assert f'value="{more["dyed_on_0"]}" list="days"' in answer.text
        token = once(answer.text)
    assert ask(studio, "SELECT dyed_on FROM lot WHERE code = 'HF-2'") == dyed


async def test_a_helper_is_not_asked_for_a_day(visitor: Visitor) -> None:
    helper = visitor("helper")
    sha256, _ = await up_to_words(helper, jpeg())
    assert "dyed_on_0" not in (await helper.get(f"/photos/{sha256}/shows")).text


def with_taken_at(when: str) -> bytes:
    """A demo photo that says when it was taken."""
    import io

    from PIL import Image

    picture = Image.open(io.BytesIO(jpeg()))
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = when  # Exif 2.32: DateTimeOriginal
    coded = io.BytesIO()
    picture.save(coded, "JPEG", quality=95, subsampling=0, exif=exif)
    return coded.getvalue()
