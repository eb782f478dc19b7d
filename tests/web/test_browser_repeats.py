"""In a real browser: what a set-up's photos teach is asked for, kept and taken back by touch."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from swatchvault.archive import find, learned_of_setup, open_archive
from tests.swatchvault.repeat_photos import file_repeats
from tests.web.conftest import DESK, PHONE, Live, violations


def _sound(page: Any, axe_script: str) -> None:
    assert violations(page, axe_script) == []
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    small = """() => [...document.querySelectorAll('main button, main .button, main label.tick')]
        .filter(e => e.offsetParent !== null && e.getBoundingClientRect().height < 43.5).length"""
    assert page.evaluate(small) == 0
    over = """() => { const right = e => e.getBoundingClientRect().right;
        return [...document.querySelectorAll('fieldset *')]
          .filter(e => right(e) > right(e.closest('fieldset'))).length; }"""
    assert page.evaluate(over) == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_it_is_asked_kept_and_taken_back(
    size: dict[str, int],
    scheme: str,
    signed_in: Callable[..., Any],
    live: Live,
    axe_script: str,
    tmp_path: Path,
) -> None:
    with open_archive(live.folder) as archive:
        file_repeats(archive, tmp_path, "Orrin four-ply", scatter=1.0)
        number = find(archive.conn, "setup", "sill")

    def kept() -> Any:
        with open_archive(live.folder) as archive:
            return learned_of_setup(archive.conn, number)

    page = signed_in("dyer", size, color_scheme=scheme)
    page.goto(f"{live.url}/setups")
    page.locator(f'a[href="/setup/{number}"]').click()
    page.wait_for_url(f"{live.url}/setup/{number}")
    _sound(page, axe_script)
    page.get_by_text("2026-04-03 10:02").click()  # anywhere on the row ticks it
    assert page.locator("input[name=photo]:checked").count() == 1
    page.get_by_role("button", name="Say what they teach").click()
    assert "needed 10 of each of 4 swatches" in page.get_by_role("alert").inner_text()
    assert page.locator("input[name=photo]:checked").count() == 1
    page.get_by_role("link", name="Tick all").click()
    page.get_by_text("2026-04-03 10:02").click()
    assert page.locator("input[name=photo]:checked").count() == 11
    page.get_by_role("button", name="Say what they teach").click()
    assert "11 photos of 4 swatches" in page.locator("#answer").inner_text()
    assert kept() is None
    _sound(page, axe_script)
    page.get_by_role("button", name="Keep it for this set-up").click()
    page.wait_for_url(f"{live.url}/setup/{number}?kept=1")
    assert len(kept()["photos"]) == 11
    page.get_by_text("Take it back", exact=True).click()
    _sound(page, axe_script)
    page.get_by_role("button", name="Let it count no more").click()
    page.wait_for_url(f"{live.url}/setup/{number}?back=1")
    assert kept() is None
    _sound(page, axe_script)
