"""Beside the pot: its water, how the other pots stand, and the way there from a recipe."""

from __future__ import annotations

import html
import re
import sqlite3
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.web.test_pots import start, step, token

pytestmark = pytest.mark.anyio
Visitor = Callable[[str], Any]


def ago(minutes: float) -> str:
    at = datetime.now().astimezone() - timedelta(minutes=minutes)
    return at.isoformat(timespec="seconds")


async def test_a_recipe_leads_to_a_pot_of_it_on_the_same_goods(visitor: Visitor) -> None:
    helper = visitor("helper")
    page = (await helper.get("/recipe/1?goods=250+g&ratio=1:25")).text
    link = re.search(r'href="(/pots\?[^"]*)">Start a pot of it', page)
    assert link
    begun = (await helper.get(html.unescape(link[1]))).text
    assert "250 g of goods, dry; liquor 6250 mL" in begun and "Start the pot" in begun


async def test_the_pot_says_its_water_while_it_is_open(visitor: Visitor) -> None:
    helper = visitor("helper")
    asked = (await helper.get("/pots?recipe=1&goods=200&ratio=30")).text
    said = re.search(r"liquor (\d+ mL), (water besides all that is added \d+ mL)", asked)
    assert said and said[1] == "6000 mL"
    path = await start(helper, "W-1")
    assert f"Liquor {said[1]}; {said[2]}." in (await helper.get(path)).text
    await helper.post(path, {"once": token("end"), "do": "end"})
    ended = (await helper.get(path)).text
    assert "water besides" not in ended
    assert re.search(r"<h2[^>]*>Left to do</h2>\s*<p[^>]*><a[^>]*>Take a photo of it", ended)
    assert ended.index("Left to do") == ended.index(">", ended.index("<h2")) + 1  # it leads
    assert ended.count("Take a photo of it") == 1
    assert "water besides" not in (await helper.get(await start(helper, "W-2", ratio=""))).text


async def test_every_open_pot_says_how_its_hold_stands(visitor: Visitor) -> None:
    helper = visitor("helper")
    first, second = await start(helper, "C-1"), await start(helper, "C-2")
    now = datetime.now().astimezone()
    assert 'class="runs"' not in (await helper.get("/pots")).text
    await helper.post(first, step("h1", kind="hold", minutes="40", at=ago(0)))
    ends = now + timedelta(minutes=40)
    for path in ("/pots", second):
        page = (await helper.get(path)).text
        (found,) = re.findall(r'<strong class="runs" data-ends="([^"]*)"[^>]*>([^<]*)<', page)
        assert abs(datetime.fromisoformat(found[0]) - ends) < timedelta(seconds=60)
        assert re.fullmatch(r"hold to \d\d:\d\d", found[1])  # true however long it is looked at
        assert "data-chime" in page
    assert 'class="runs"' not in (await helper.get(first)).text  # its own is the large clock
    assert "C-2" in (await helper.get(first)).text
    await helper.post(first, {"once": token("e"), "do": "end", "all_the_same": "yes"})
    assert "C-1" not in (await helper.get(second)).text


async def test_a_hold_that_is_over_says_since_when(visitor: Visitor, studio: Path) -> None:
    helper = visitor("helper")
    path = await start(helper, "O-1")
    await helper.post(path, step("h", kind="hold", minutes="5"))
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE pot_step SET at = ? WHERE kind = 'hold' AND minutes = 5", (ago(15),))
        conn.execute("UPDATE pot SET started_at = ?", (ago(20),))
    over = datetime.now().astimezone() - timedelta(minutes=10)
    page = (await helper.get("/pots")).text
    assert re.search(
        f">hold over since (?:{over:%H:%M}|{over - timedelta(minutes=1):%H:%M})<", page
    )


async def test_the_start_says_that_no_stock_suffices_and_how_much_is_missing(
    visitor: Visitor, studio: Path
) -> None:
    """200 g of version 1 need 60 and 90 mL of stocks of 1 %."""
    helper = visitor("helper")
    asked = "/pots?recipe=1&goods=200&ratio=30"

    async def offered() -> tuple[list[str], str]:
        page = html.unescape((await helper.get(asked)).text)
        return re.findall(r'<select name="from-\d+">\s*<option value="">([^<]*)', page), page

    both = [f"stock {code} 1 %, which suffices" for code in ("pellow", "brackle")]
    assert (await offered())[0] == both
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute(
            "UPDATE stock SET left_ml = 12, left_seen_on = '2099-01-01' WHERE dye_id = "
            "(SELECT id FROM dye WHERE name = 'Pellow red')"
        )
    first, second = (await offered())[0]
    assert re.fullmatch(r"no stock suffices: pellow 1 %, 48 mL missing", first)
    assert second == both[1]
    assert "60 mL needed, about 12 mL left, 48 mL missing; mix more." in (await offered())[1]
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("DELETE FROM lot_dye")
        conn.execute("DELETE FROM stock")
    assert (await offered())[0] == ["powder: no stock of it is there"] * 2


async def test_a_start_told_wrong_is_put_right_and_never_after_a_step(
    visitor: Visitor, studio: Path
) -> None:
    helper = visitor("helper")
    path = await start(helper, "S-1", at=ago(60 * 24 * 2))
    logged = await helper.post(path, step("s1", kind="heat", temperature="40", at=ago(60)))
    assert logged.status_code == 303, logged.text

    def told() -> tuple[str, str]:
        with sqlite3.connect(studio / "archive.db") as conn:
            sql = "SELECT started_at, dyed_on FROM pot JOIN lot ON lot.id = lot_id WHERE code='S-1'"
            return tuple(conn.execute(sql).fetchone())

    was, right = told()[0], ago(90)
    sent = {"once": token("a"), "do": "start", "was": was, "at": right[:16].replace("T", " ")}
    assert (await helper.post(path, sent)).status_code == 303
    assert told() == (right[:17] + "00" + right[19:], right[:10])
    stale = await helper.post(path, {**sent, "once": token("b"), "at": ago(100)})
    assert stale.status_code == 400 and "the start was changed meanwhile" in stale.text
    late = {**sent, "once": token("c"), "was": told()[0], "at": ago(30)}
    refused = await helper.post(path, late)
    assert refused.status_code == 400
    assert re.search(r"step 1 was at .*, before that: correct the step first", refused.text)
    assert told()[0] == right[:17] + "00" + right[19:]
    assert 'name="do" value="start"' in (await helper.get(path)).text
    assert 'name="do" value="start"' not in (await helper.get("/pot/1")).text  # from notes


async def test_the_stock_chosen_on_a_recipe_goes_on_to_its_card_and_its_pot(
    visitor: Visitor, studio: Path
) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:
        sql = "SELECT dye_id, id FROM stock WHERE code LIKE 'pellow%'"
        ((dye, stock),) = conn.execute(sql).fetchall()
        other = conn.execute(
            "INSERT INTO stock (code, dye_id, grams, made_up_to_ml, mixed_on) "
            f"VALUES ('weak', {dye}, 1, 200, '2026-01-01')"
        ).lastrowid
    helper, asked = visitor("helper"), "/recipe/1?goods=200+g&ratio=30"
    plain = (await helper.get(asked)).text
    assert "<strong>60 mL</strong>" in plain and f'<option value="{other}">stock weak' in plain
    page = (await helper.get(f"{asked}&from-{dye}={other}")).text
    assert "<strong>120 mL</strong></td><td>stock <bdi>weak" in page
    for said in ("Start a pot of it", "Card to print"):
        link = re.search(rf'href="([^"]*)">{said}', page)
        assert link
        there = (await helper.get(html.unescape(link[1]).partition("#")[0])).text
        assert "120 mL" in there and "weak" in there and ">60 mL" not in there
    gone = await helper.get(f"{asked}&from-{dye}=99999")
    assert gone.status_code == 400 and "not on the shelf any more" in gone.text
    weighed = (await helper.get(f"{asked}&from-{dye}=powder")).text
    assert "<td>powder</td>" in weighed and stock
