"""In a real browser, on a narrow phone: a planned look, a wrong dye put right, bare numbers."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

from swatchvault.archive import get_pot, open_archive
from tests.web.conftest import PHONE, Live
from tests.web.test_browser_pot import something_else, start, steps
from tests.web.test_pot_look import look_first


def went_in(folder: Path, code: str) -> list[tuple[Any, ...]]:
    with open_archive(folder) as archive:
        pot = get_pot(archive.conn, code)
    return [(d.dye, d.amount, grams) for d, grams in pot.dyes_in]


def fits(page: Any) -> bool:
    """Whether nothing reaches beyond the screen's right edge."""
    return bool(page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"))


def test_a_planned_look_is_told_with_what_was_seen(
    signed_in: Callable[..., Any], live: Live
) -> None:
    look_first(live.folder)
    page = signed_in("helper", PHONE)
    start(page, live, "B-L")
    form = page.locator("#next form")
    form.get_by_role("radio", name="some").check()
    assert fits(page)
    form.get_by_role("button", name="Log the look").click()
    page.locator("#log li").first.wait_for()
    assert [s[:3:2] for s in steps(live.folder, "B-L")] == [("look", "some")]
    with sqlite3.connect(live.folder / "archive.db") as conn:
        sql = "SELECT recipe_step_id IS NOT NULL FROM pot_step ORDER BY id DESC LIMIT 1"
        assert conn.execute(sql).fetchone() == (1,)
    conn.close()
    assert page.get_by_text("Not taken, kept here.").count() == 0


def test_a_wrong_dye_is_put_right_in_its_step(signed_in: Callable[..., Any], live: Live) -> None:
    page = signed_in("helper", PHONE)
    start(page, live, "B-D")
    form = something_else(page)
    form.get_by_role("radio", name="dye in", exact=True).check()
    form.get_by_text("Dyes that went in").click()
    form.locator("[name=dye1]").select_option(label="Pellow red, stock pellow 1 %")
    form.get_by_label("How much of dye 1").fill("5 mL")
    form.get_by_role("button", name="Log it").click()
    page.locator("#log li").first.wait_for()
    page.get_by_role("link", name="Correct step 1").click()
    box = page.locator("#correct")
    box.get_by_label("Pellow red, from").select_option(label="Brackle brown, stock brackle 1 %")
    assert fits(page)
    box.get_by_role("button", name="Store the correction").click()
    page.get_by_text("5 mL of stock brackle 1 %").first.wait_for()
    assert went_in(live.folder, "B-D") == [("Brackle brown", "5 mL", 0.05)]


def test_a_bare_number_is_taken_of_a_stock(signed_in: Callable[..., Any], live: Live) -> None:
    page = signed_in("helper", PHONE)
    page.goto(f"{live.url}/pots?recipe=1&goods=200&ratio=30")
    page.get_by_label("Code of the new lot").fill("B-N")
    page.get_by_role("button", name="Start the pot").click()
    page.wait_for_url(re.compile(r"/pot/\d+"))
    page.goto(f"{re.split('[?#]', page.url)[0]}?step=2")
    field = page.locator("#next [name=amount1]")
    assert field.input_value() == "60 mL"
    field.fill("61.5")
    page.get_by_role("button", name="Done as planned").click()
    page.locator("#log li").first.wait_for()
    assert page.get_by_text("Not taken, kept here.").count() == 0
    assert went_in(live.folder, "B-N")[0][1] == "61.5 mL"
    page.get_by_role("link", name="Correct step 1").click()
    page.locator("#correct [name=amount1]").fill("58")
    page.get_by_role("button", name="Store the correction").click()
    page.get_by_text("58 mL of stock").first.wait_for()
    assert went_in(live.folder, "B-N")[0][1] == "58 mL" and fits(page)


def test_a_correction_that_was_refused_goes_when_the_right_one_is_stored(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("helper", PHONE)
    page.goto(f"{live.url}/pots?recipe=1&goods=200&ratio=30")
    page.get_by_label("Code of the new lot").fill("B-C")
    page.get_by_role("button", name="Start the pot").click()
    page.wait_for_url(re.compile(r"/pot/\d+"))
    page.goto(f"{re.split('[?#]', page.url)[0]}?step=2")
    page.get_by_role("button", name="Done as planned").click()
    page.locator("#log li").first.wait_for()
    for amount in ("1,250", "58"):
        page.get_by_role("link", name="Correct step 1").click()
        page.locator("#correct [name=amount1]").fill(amount)
        page.get_by_role("button", name="Store the correction").click()
        if amount == "58":
            break
        waits = page.locator("#kept .kept")
        waits.get_by_text("Not taken, kept here.").wait_for()
        assert "source" not in waits.inner_text()
        assert "1,250 of Pellow red" in waits.inner_text()
    page.get_by_text("58 mL of stock").first.wait_for()
    page.wait_for_timeout(500)
    assert page.locator("#kept .kept").count() == 0
