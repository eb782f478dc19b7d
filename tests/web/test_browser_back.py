"""In a real browser: no step back and no lost connection ends on a page of the browser's own."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import PHONE, Live, violations
from tests.web.newphotos import jpeg, marks
from tests.web.test_browser_photo import FILED, NO_TIMERS, put, send, sha_of, until


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    path = tmp_path / "harbour two.jpg"
    path.write_bytes(jpeg(variant=9))
    return path


def up_to_words(page: Any, live: Live, photo: Path) -> None:
    """Sent, marked and measured; the first region is of a new lot."""
    send(page, live, photo)
    put(page, marks())
    page.locator("select[name=light]").select_option("daylight")
    page.get_by_role("button", name="Measure").click()
    page.wait_for_url("**/shows")
    page.get_by_text("Measured: the figures stand").wait_for()
    page.locator("[name=swatch_0]").fill("ZZ-1 a")
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    for name, value in {
        "base": "Tebbet double",
        "colourway": "Harbour at Four",
        "lot": "ZZ-1",
    }.items():
        page.locator(f"[name={name}_0]").fill(value)
    page.locator("[name=form_0]").select_option("skein")


def test_back_from_a_photo_whose_words_were_refused_is_a_page(
    signed_in: Callable[..., Any], live: Live, photo: Path, axe_script: str
) -> None:
    page = signed_in("dyer", PHONE)
    up_to_words(page, live, photo)
    before = page.evaluate("history.length")
    page.get_by_role("button", name="Keep it in the archive").click()
    page.get_by_text("Not kept: unknown lot").wait_for()
    assert page.url.endswith("/shows") and page.evaluate("history.length") == before
    assert page.evaluate("document.activeElement.id") == "create"
    assert page.locator("[name=lot_0]").input_value() == "ZZ-1"
    assert violations(page, axe_script) == []
    page.locator("#create").check()
    page.get_by_role("button", name="Keep it in the archive").click()
    page.wait_for_url(FILED)
    answer = page.go_back()
    assert answer is not None and answer.status == 200
    assert page.locator("main h1").inner_text()


def test_words_that_find_no_connection_stay_typed(
    signed_in: Callable[..., Any], live: Live, photo: Path
) -> None:
    page = signed_in("dyer", PHONE)
    up_to_words(page, live, photo)
    page.locator("#create").check()
    page.context.set_offline(True)
    page.get_by_role("button", name="Keep it in the archive").click()
    page.get_by_text("send it again when it is back").wait_for()
    assert page.locator("[name=swatch_0]").input_value() == "ZZ-1 a"
    page.context.set_offline(False)
    page.get_by_role("button", name="Keep it in the archive").click()
    page.wait_for_url(FILED)


@pytest.mark.parametrize("how", ["by itself", "by a tap"])
def test_a_photo_that_is_sent_is_opened_when_the_connection_is_back(
    how: str, signed_in: Callable[..., Any], live: Live, photo: Path
) -> None:
    page = signed_in("dyer", PHONE)
    page.goto(f"{live.url}/photos/new")
    page.set_input_files("#choose", str(photo))
    page.route("**/mark", lambda route: route.abort())
    page.get_by_role("button", name="Send the photo").click()
    page.get_by_text("Sent, and kept there").wait_for()
    assert page.url.endswith("/photos/new")
    assert [p.name for p in (live.folder / "incoming").iterdir()] == [sha_of(photo)]
    page.evaluate(NO_TIMERS)  # so that it is the connection's return, or the tap, that opens
    page.unroute("**/mark")
    if how == "by a tap":
        page.get_by_role("link", name="open it").click()
    else:
        page.context.set_offline(True)
        page.context.set_offline(False)
    page.wait_for_url("**/mark")
    until(page, "document.getElementById('picture').naturalWidth > 0")
