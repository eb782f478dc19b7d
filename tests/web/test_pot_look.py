"""A planned look at the pot: its form asks what was seen, and a look that is due is that one."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.test_pots import rows, start, step

pytestmark = pytest.mark.anyio

LOGGED = (
    "SELECT pot_step.kind, colour_left, recipe_step.position FROM pot_step LEFT JOIN recipe_step "
    "ON recipe_step.id = recipe_step_id WHERE lot_id = (SELECT max(id) FROM lot) "
    "ORDER BY pot_step.position"
)


def look_first(studio: Path) -> None:
    """The first planned step of every recipe is a look, and the second a soak."""
    with sqlite3.connect(studio / "archive.db") as conn:
        blank = "amount = NULL, temperature_c = NULL, minutes = NULL, note = NULL"
        conn.execute(f"UPDATE recipe_step SET kind = 'look', {blank} WHERE position = 1")
        conn.execute(f"UPDATE recipe_step SET kind = 'soak', {blank} WHERE position = 2")
    conn.close()


async def test_a_planned_look_asks_for_what_was_seen(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    look_first(studio)
    helper = visitor("helper")
    path = await start(helper)
    form = (await helper.get(path)).text.split('id="next"')[1].split("</form>")[0]
    before = form.split('<button class="big')[0]
    assert 'name="left" value="trace"' in before and 'name="left_percent"' in before
    assert ">Log the look</button>" in form and "Done as planned" not in form
    answer = await helper.post(path, step("look", what="1", left_percent="15"))
    assert answer.status_code == 303, answer.text
    assert rows(studio, LOGGED) == [("look", "15 %", 1)]
    form = (await helper.get(path)).text.split('id="next"')[1].split("</form>")[0]
    assert 'name="left"' not in form and "Done as planned" in form


async def test_a_look_told_among_other_things_is_the_planned_one_that_is_due(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    look_first(studio)
    helper = visitor("helper")
    path = await start(helper)
    for name, kind in (("one", "look"), ("two", "look"), ("three", "soak")):
        told = {"left": "trace"} if kind == "look" else {"minutes": "5"}
        assert (await helper.post(path, step(name, kind=kind, **told))).status_code == 303
    assert rows(studio, LOGGED) == [
        ("look", "trace", 1),
        ("look", "trace", None),
        ("soak", None, None),
    ]


async def test_a_look_before_other_steps_is_not_one_that_is_planned_later(
    visitor: Callable[[str], Any], studio: Path
) -> None:
    with sqlite3.connect(studio / "archive.db") as conn:
        conn.execute("UPDATE recipe_step SET kind = 'look', amount = NULL WHERE position = 3")
    conn.close()
    helper = visitor("helper")
    path = await start(helper)
    await helper.post(path, step("look", kind="look", left="some"))
    assert rows(studio, LOGGED) == [("look", "some", None)]
