"""In a real browser: a recipe foretold while it is written, and an addition recorded once."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import Any

import pytest

from tests.web.conftest import DESK, PHONE, Live, violations


def _lot(live: Live, code: str) -> int:
    with sqlite3.connect(live.folder / "archive.db") as conn:
        return int(conn.execute("SELECT id FROM lot WHERE code = ?", (code,)).fetchone()[0])


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_recipe_is_foretold_while_it_is_written(
    size: dict[str, int], signed_in: Callable[..., Any], live: Live, axe_script: str
) -> None:
    page = signed_in("dyer", size)
    page.goto(live.url + "/recipe/new")
    page.locator('select[name="base"]').select_option("Orrin four-ply")
    page.locator('select[name="dye1"]').select_option("Brackle brown")
    page.locator('input[name="depth1"]').fill("0.4")
    page.get_by_role("button", name="What will it give?").click()
    page.get_by_text("No prediction").wait_for()
    page.locator('select[name="dye2"]').select_option("Pellow red")
    page.locator('input[name="depth2"]').fill("0.3")
    page.get_by_role("button", name="What will it give?").click()
    page.get_by_role("img", name="predicted colour").wait_for()
    assert page.url == live.url + "/recipe/new"  # in place, and nothing typed is lost
    assert page.locator('input[name="depth2"]').input_value() == "0.3"
    assert page.evaluate("document.activeElement.value") == "foretell"
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert violations(page, axe_script) == []
    page.get_by_role("link", name="At other depths, on other bases").click()
    page.locator('select[name="times"]').select_option("half the depth")
    page.get_by_role("button", name="What will it give?").click()
    assert "Brackle brown 0.2 %, Pellow red 0.15 %" in page.inner_text("main")
    page.get_by_role("link", name="Write it down as a recipe").click()
    assert page.locator('input[name="depth2"]').input_value() == "0.15"


def test_an_addition_is_recorded_once(
    signed_in: Callable[..., Any], live: Live, axe_script: str
) -> None:
    page = signed_in("helper", PHONE)
    number = _lot(live, "NF-4")
    page.goto(f"{live.url}/lot/{number}")
    page.get_by_role("link", name="What to add to its pot").click()
    page.get_by_label("Towards").fill("NF-3 card")
    page.get_by_role("button", name="What to add?").click()
    page.get_by_role("link", name="Record it: dye in").click()
    form = page.locator("form#else")
    amount = form.locator('input[name="amount1"]')
    poured = amount.input_value()
    assert poured.endswith(" mL") and amount.is_visible()
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert violations(page, axe_script) == []
    form.get_by_role("button", name="Log it").click()
    page.locator("#log dd", has_text=poured).first.wait_for()
    assert page.url == f"{live.url}/pot/{number}"  # loaded anew it fills nothing in again
    assert amount.input_value() == "" and form.locator('[name="kind"]:checked').count() == 1
    assert form.locator('[name="kind"]:checked').input_value() == "look"
    with sqlite3.connect(live.folder / "archive.db") as conn:
        sql = "SELECT count(*) FROM lot_dye WHERE lot_id = ? AND amount = ?"
        assert conn.execute(sql, (number, poured)).fetchone() == (1,)
