"""In a real browser: a recipe written on a phone and on a desk, refused, mended and stored."""

from __future__ import annotations

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
    assert "depth of Pellow red 'much'" in said and "Line 2 of the steps" in said
    assert page.get_by_label("Depth 1, %").input_value() == "much"
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert violations(page, axe_script) == []
    page.get_by_label("Depth 1, %").fill("0.4")
    page.get_by_label("Steps, one on each line").fill("soak, 30 min\nhold, 85 C, 40 min")
    page.get_by_role("button", name="Store the recipe").click()
    page.wait_for_url(live.url + "/recipe/*")
    assert (
        "Fox at Noon on Orrin four-ply, version 1"
        in page.get_by_role("heading", level=1).inner_text()
    )
    assert "hold, 85 °C, 40 min" in page.inner_text("main")
