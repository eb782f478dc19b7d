"""In a real browser: a measurement set aside and taken back on both its pages, in reach of all."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import Any

import pytest

from tests.web.conftest import DESK, PHONE, Live, violations


def _paths(live: Live) -> tuple[str, str]:
    """The pages of a swatch that has several photos, and of its newest."""
    with sqlite3.connect(live.folder / "archive.db") as conn:
        swatch_id, sha256 = conn.execute(
            "SELECT swatch_id, photo_sha256 FROM colours WHERE swatch = 'NF-1 card' "
            "ORDER BY taken_at DESC"
        ).fetchone()
    return f"/swatch/{swatch_id}", f"/photos/{sha256}"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_it_is_set_aside_and_taken_back(
    size: dict[str, int],
    scheme: str,
    signed_in: Callable[..., Any],
    live: Live,
    axe_script: str,
) -> None:
    page = signed_in("dyer", size, color_scheme=scheme)
    for path in _paths(live):
        page.goto(live.url + path)
        field = page.get_by_label("Why it should not count").first
        assert not field.is_visible()
        page.get_by_text("Set aside", exact=True).first.click()
        assert violations(page, axe_script) == []
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
        field.fill("lamp on")
        page.get_by_role("button", name="Set it aside").first.click()
        page.wait_for_url(f"{live.url}{path}*")
        said = page.locator(".aside").first
        assert "set aside: lamp on" in said.inner_text()
        struck = said.locator(".lab, .figures").first
        assert "line-through" in struck.evaluate("e => getComputedStyle(e).textDecorationLine")
        assert violations(page, axe_script) == []
        page.get_by_text("Take back", exact=True).first.click()
        page.get_by_role("button", name="Let it count again").first.click()
        page.locator(".aside").first.wait_for(state="detached")
