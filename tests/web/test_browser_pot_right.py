"""In a real browser, on a narrow phone: a planned look, a wrong dye put right, bare numbers."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import Any

from tests.web.conftest import PHONE, Live
from tests.web.test_browser_pot import start, steps
from tests.web.test_pot_look import look_first


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
