"""In a real browser: signing in, and what every page must keep."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.web.conftest import DESK, PHONE, Live


def test_sign_in_and_the_wall(signed_in: Callable[..., Any], live: Live) -> None:
    for size in (PHONE, DESK):
        page = signed_in("dyer", size)
        assert page.get_by_role("heading", name="Wall of colourways").is_visible()
        wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wide <= 0


def test_a_link_is_used_up_in_the_browser(chromium: Any, live: Live) -> None:
    link = live.link()
    first = chromium.new_context().new_page()
    first.goto(link)
    first.get_by_role("button", name="Let this device in").click()
    first.wait_for_url(f"{live.url}/")
    second = chromium.new_context().new_page()
    second.goto(link)
    assert second.get_by_text("used already").is_visible()
