"""In a real browser: a recipe written on a phone and on a desk, refused, mended and stored."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from tests.web.conftest import DESK, PHONE, Live, violations


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_recipe_is_written_and_what_was_wrong_is_mended(
    size: dict[str, int], signed_in: Callable[..., Any], live: Live, axe_script: str
) -> None:
    page = signed_in("dyer", size)
    page.goto(live.url + "/colourway/1")
    page.get_by_role("link", name="New recipe").click()
    assert page.locator('select[name="colourway"]').input_value() == page.evaluate(
        "document.querySelector('select[name=colourway]').selectedOptions[0].text"
    )
    page.locator('select[name="colourway"]').select_option("")
    page.get_by_label("Name of a new colourway").fill("Fox at Noon")
    page.locator('select[name="base"]').select_option("Orrin four-ply")
    page.locator('select[name="dye1"]').select_option("Pellow red")
    page.get_by_label("Depth 1, %").fill("much")
    page.get_by_label("Steps, one on each line").fill("soak, 30 min\nboil")
    assert violations(page, axe_script) == []
    page.get_by_role("button", name="Store the recipe").click()
    said = page.get_by_role("alert").inner_text()
    assert "depth of Pellow red cannot be read from 'much'" in said
    assert "Line 2 of the steps" in said
    assert page.get_by_label("Depth 1, %").input_value() == "much"
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert violations(page, axe_script) == []
    page.get_by_label("Depth 1, %").fill("0.4")
    page.get_by_label("Steps, one on each line").fill("soak, 30 min\nhold, 85 C, 40 min")
    page.get_by_role("button", name="Store the recipe").click()
    page.wait_for_url(re.compile(r"/recipe/[0-9]+$"))
    assert (
        "Fox at Noon on Orrin four-ply, version 1"
        in page.get_by_role("heading", level=1).inner_text()
    )
    assert "hold, 85 °C, 40 min" in page.inner_text("main")


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_parts_are_added_taken_out_and_stored(
    script: bool, size: dict[str, int], signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", size, java_script_enabled=script)
    pages: list[str] = []
    page.on("framenavigated", lambda frame: pages.append(frame.url))
    page.goto(live.url + "/recipe/new?colourway=1")
    page.locator('select[name="base"]').select_option("Tebbet double")
    page.locator('select[name="dye1"]').select_option("Pellow red")
    page.get_by_label("Depth 1, %").fill("0.4")
    page.get_by_label("Steps, one on each line").fill("dye in\nhold, 85 C, 40 min")
    page.get_by_label("Note", exact=True).fill("for the fair")
    page.get_by_role("button", name="Add a part").click()
    page.get_by_label("Name of part 2").fill("dipped end")
    page.get_by_role("button", name="Add a part").click()
    page.get_by_label("Name of part 3").fill("a slip")
    assert page.get_by_label("Steps of part 1").input_value() == "dye in\nhold, 85 C, 40 min"
    assert page.get_by_label("Share of part 1, %").input_value() == "100"
    page.get_by_label("Share of part 2, %").fill("25")
    page.get_by_role("button", name="Remove part 3").click()
    page.get_by_label("Name of part 3").wait_for(state="detached")
    assert page.get_by_label("Name of part 2").input_value() == "dipped end"
    assert len(pages) == (1 if script else 4)  # with a script in place, without a page each time
    assert page.viewport_size == size
    page.locator("summary", has_text="More dyes").nth(1).click()
    page.locator('select[name="dye6_2"]').select_option("Brackle brown")
    page.locator('input[name="depth6_2"]').fill("1.5")
    page.get_by_label("Steps of part 2").fill("dye in")
    page.get_by_label("Share of part 2, %").press("Enter")  # stores, and removes no part
    page.wait_for_url(re.compile(r"/recipe/\d+$"))
    said = page.inner_text("main")
    for words in ("dipped end, 25 % of the goods: 25 g", "Brackle brown", "for the fair"):
        assert words in said


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_new_part_is_where_the_cursor_is_and_is_sound(
    size: dict[str, int], signed_in: Callable[..., Any], live: Live, axe_script: str
) -> None:
    page = signed_in("dyer", size)
    page.goto(live.url + "/recipe/new")
    for number in (2, 3):
        page.get_by_role("button", name="Add a part").click()
        page.get_by_label(f"Name of part {number}").wait_for()
        assert page.evaluate("document.activeElement.name") == f"part_name_{number}"
    page.get_by_role("button", name="Remove part 2").click()
    page.get_by_label("Name of part 3").wait_for(state="detached")
    page.locator('select[name="base"]').select_option("Tebbet double")
    page.get_by_role("button", name="Store the recipe").click()
    said = page.get_by_role("alert").inner_text()
    assert "Part 2 is blank" in said and "No dye" in said
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert violations(page, axe_script) == []
    page.get_by_role("button", name="Add a part").click()
    page.get_by_label("Name of part 3").wait_for()
    assert page.get_by_role("alert").count() == 0  # what was wrong may be right by now


def test_a_part_is_added_by_a_page_where_the_script_gets_no_answer(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", PHONE)
    page.goto(live.url + "/recipe/new")
    page.get_by_label("Depth 1, %").fill("0.4")
    page.evaluate("() => { window.fetch = () => Promise.reject(new Error('away')); }")
    page.get_by_role("button", name="Add a part").click()
    page.get_by_label("Name of part 2").wait_for()
    assert page.locator('input[name="depth1"]').input_value() == "0.4"
    assert page.url.endswith("#part-2")
