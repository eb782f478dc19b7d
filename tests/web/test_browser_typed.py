"""In a real browser: a slip of the thumb loses nothing that was typed into a long form."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from typing import Any

import pytest

from tests.web.conftest import PHONE, Live

BACK = "What was typed here and not sent is back."


def asks(live: Live, sql: str) -> Any:
    with sqlite3.connect(live.folder / "archive.db") as conn:
        return conn.execute(sql).fetchall()


def type_a_recipe(page: Any, live: Live) -> None:
    page.goto(f"{live.url}/recipe/new")
    page.get_by_label("Name of a new colourway").fill("Fox at Noon")
    page.locator("[name=base]").select_option("Orrin four-ply")
    page.locator("[name=dye1]").select_option("Pellow red")
    page.locator("[name=depth1]").fill("0.4")
    page.locator("[name=steps]").fill("soak, 30 min")


def slip(page: Any, how: str) -> None:
    if how == "loaded anew":
        page.reload()
        return
    page.get_by_role("link", name="Wall").click()
    page.get_by_role("heading", name="Wall of colourways").wait_for()
    page.go_back()


@pytest.mark.parametrize("how", ["loaded anew", "a link and back"])
def test_a_recipe_of_two_parts_outlives_a_slip_and_is_stored_once(
    how: str, signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", PHONE)
    type_a_recipe(page, live)
    page.get_by_role("button", name="Add a part").click()
    page.locator("[name=part_name_2]").fill("tip")
    page.locator("[name=share_2]").fill("25")
    page.locator("[name=dye1_2]").select_option("Brackle brown")
    page.locator("[name=depth1_2]").fill("0,2")
    slip(page, how)
    page.get_by_text(BACK).wait_for()
    said = {
        name: page.locator(f"[name={name}]").input_value()
        for name in ("new_colourway", "base", "dye1", "depth1", "steps", "part_name_2", "depth1_2")
    }
    assert said == {
        "new_colourway": "Fox at Noon",
        "base": "Orrin four-ply",
        "dye1": "Pellow red",
        "depth1": "0.4",
        "steps": "soak, 30 min",
        "part_name_2": "tip",
        "depth1_2": "0,2",
    }
    assert asks(live, "SELECT count(*) FROM colourway WHERE name = 'Fox at Noon'") == [(0,)]
    page.get_by_role("button", name="Store the recipe").click()
    page.wait_for_url(re.compile(r"/recipe/\d+$"))
    assert asks(live, "SELECT name FROM recipe_part ORDER BY id DESC LIMIT 2") == [
        ("tip",),
        ("whole",),
    ]
    page.goto(f"{live.url}/recipe/new")
    assert page.locator("[name=new_colourway]").input_value() == ""
    assert page.get_by_text(BACK).count() == 0


def test_what_was_typed_can_be_emptied_and_another_form_has_none_of_it(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", PHONE)
    type_a_recipe(page, live)
    page.goto(f"{live.url}/recipe/new?from=1")  # another recipe's next version
    assert page.get_by_text(BACK).count() == 0
    page.goto(f"{live.url}/recipe/new")
    page.get_by_role("button", name="Begin anew").click()
    page.get_by_text(BACK).wait_for(state="detached")
    assert page.locator("[name=steps]").input_value() == ""
    page.reload()
    assert page.locator("[name=new_colourway]").input_value() == ""


def test_a_refused_recipe_stays_typed_and_a_step_back_is_no_page_of_the_browsers_own(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", PHONE)
    type_a_recipe(page, live)
    page.locator("[name=depth1]").fill("lots")
    page.get_by_role("button", name="Store the recipe").click()
    page.get_by_text("Not stored yet:").wait_for()
    slip(page, "a link and back")
    page.get_by_text(BACK).wait_for()
    assert page.locator("[name=depth1]").input_value() == "lots"


def test_a_base_that_was_not_sent_for_want_of_a_connection_is_still_typed(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", PHONE)
    page.goto(f"{live.url}/shelf")
    page.get_by_text("Add a base", exact=True).click()
    form = page.locator("form[data-keep=base]")
    form.locator("[name=name]").fill("Cloud")
    form.locator("[name=fibre1]").fill("silk")
    form.locator("[name=percent1]").fill("100")
    page.route("**/shelf", lambda to: to.abort() if to.request.method == "POST" else to.continue_())
    form.get_by_role("button", name="Add the base").click()
    page.wait_for_timeout(500)
    page.unroute("**/shelf")
    page.goto(f"{live.url}/more")
    page.goto(f"{live.url}/shelf")
    page.get_by_text(BACK).wait_for()
    assert form.locator("[name=name]").input_value() == "Cloud"
    assert form.locator("[name=fibre1]").is_visible()
    form.get_by_role("button", name="Add the base").click()
    page.get_by_role("heading", name="Cloud").wait_for()
    page.goto(f"{live.url}/shelf")
    assert page.get_by_text(BACK).count() == 0
    assert asks(live, "SELECT count(*) FROM base WHERE name = 'Cloud'") == [(1,)]
