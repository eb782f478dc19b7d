"""In a real browser: marks that were not sent are not lost unasked, and a failure stays plain."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import PHONE, Live, violations
from tests.web.newphotos import jpeg, marks
from tests.web.test_browser_photo import put, send


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "confetti.jpg"
    path.write_bytes(jpeg("confetti-knit"))
    return path


class Asked:
    """Answers each question of the browser with ``stay`` or leave, and counts them."""

    def __init__(self, page: Any) -> None:
        self.kinds: list[str] = []
        page.on("dialog", self._answer)

    def _answer(self, dialog: Any) -> None:
        self.kinds.append(dialog.type)
        dialog.accept()


def test_leaving_asks_only_where_something_was_changed(
    signed_in: Callable[..., Any], live: Live, photo: Path
) -> None:
    page = signed_in("dyer", PHONE)
    send(page, live, photo)
    asked = Asked(page)
    page.locator("#regions button").first.click()  # only looked at
    page.reload()
    assert asked.kinds == []
    page.get_by_label("Corner 1, across").fill("40")
    page.reload()
    assert asked.kinds == ["beforeunload"]
    page.locator("[name=setup]").fill("by the window")
    page.go_back()
    assert asked.kinds == ["beforeunload"] * 2


def test_what_is_sent_is_not_asked_about(
    signed_in: Callable[..., Any], live: Live, photo: Path
) -> None:
    page = signed_in("dyer", PHONE)
    send(page, live, photo)
    asked = Asked(page)
    put(page, marks("confetti-knit"))
    page.get_by_role("button", name="Measure", exact=True).click()
    page.wait_for_url("**/shows")
    assert asked.kinds == []


def test_marks_that_came_back_refused_are_asked_about(
    signed_in: Callable[..., Any], live: Live, photo: Path
) -> None:
    page = signed_in("dyer", PHONE)
    send(page, live, photo)
    put(page, {"references": [], "swatches": []})
    page.get_by_role("button", name="Measure", exact=True).click()
    page.locator("#refused").wait_for()
    asked = Asked(page)
    page.locator("#as-text summary").click()
    page.goto(f"{live.url}/more")
    assert asked.kinds == ["beforeunload"]


def test_no_reference_is_told_before_the_button_and_after_it(
    signed_in: Callable[..., Any], live: Live, photo: Path, axe_script: str
) -> None:
    page = signed_in("dyer", PHONE)
    send(page, live, photo)
    notice = page.locator("#bare")
    put(page, {"references": [], "swatches": marks("confetti-knit")["swatches"]})
    assert notice.is_visible()
    page.get_by_label("Measure even where no reference").check()
    assert not notice.is_visible()
    page.get_by_label("Measure even where no reference").uncheck()
    page.locator("#kind").select_option("steps")
    page.locator("#add").click()
    assert not notice.is_visible()
    assert page.get_by_text("It is printed on the strip").is_visible()
    page.get_by_text("What these are").click()
    assert violations(page, axe_script) == []
    page.get_by_role("button", name="Remove steps").click()
    assert notice.is_visible()
    page.get_by_role("button", name="Measure", exact=True).click()
    page.wait_for_url("**/shows")
    page.get_by_role("heading", name="What to do next").wait_for()
    assert page.get_by_role("button", name="Keep it in the archive").count() == 0
    assert violations(page, axe_script) == []
    page.get_by_role("link", name="Mark it again").click()
    page.wait_for_url(re.compile("/mark$"))
