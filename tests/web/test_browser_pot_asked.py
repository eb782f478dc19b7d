"""In a real browser: a refusal at the pot is answered by one tap; other pots run on in sight."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.web.conftest import PHONE, Live
from tests.web.test_browser_pot import log_a_hold, something_else, start, steps


def in_sight(page: Any, text: str) -> bool:
    """Whether what says ``text`` lies within the window, not above or below it."""
    box = page.get_by_text(text).first.bounding_box()
    return bool(box) and box["y"] >= 0 and box["y"] + box["height"] <= page.viewport_size["height"]


def test_a_step_that_would_end_a_hold_is_taken_by_one_tap(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("helper", PHONE)
    start(page, live, "A-1")
    log_a_hold(page, "25")
    page.wait_for_timeout(900)
    form = something_else(page)
    form.get_by_role("radio", name="cool", exact=True).check()
    form.get_by_label("Note").fill("the power went off")
    form.get_by_role("button", name="Log it").click()
    page.get_by_text("Not taken, kept here.").wait_for()
    page.wait_for_timeout(600)
    assert in_sight(page, "a hold is still running")
    assert [s[0] for s in steps(live.folder, "A-1")] == ["hold"]
    page.locator("#kept").get_by_role("button", name="End the hold").click()
    page.locator("#log").get_by_text("the power went off").wait_for()
    assert [s[0] for s in steps(live.folder, "A-1")] == ["hold", "cool"]
    assert page.locator("#kept").inner_text().strip() == ""


def test_an_unlikely_weight_is_confirmed_by_one_tap(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("helper", PHONE)
    start(page, live, "A-2")
    page.get_by_text("Weigh a skein, in or out").click()
    page.get_by_label("Skein", exact=True).fill("1")
    page.get_by_label("Dry grams in").fill("100")
    page.get_by_label("Dry grams out").fill("120")
    page.get_by_role("button", name="Store the skein").click()
    page.get_by_text("Not taken, kept here.").wait_for()
    kept = page.locator("#kept")
    assert kept.get_by_role("button", name="End the hold").count() == 0
    kept.get_by_role("button", name="It really weighed so").click()
    page.locator("#skeins td").get_by_text("120", exact=True).wait_for()
    assert kept.inner_text().strip() == ""


def test_the_other_pot_runs_on_in_sight(signed_in: Callable[..., Any], live: Live) -> None:
    page = signed_in("helper", PHONE)
    start(page, live, "A-3")
    log_a_hold(page, "25")
    start(page, live, "A-4")
    other = page.locator("#others .runs")
    other.filter(has_text=":").wait_for()
    seen = other.inner_text()
    assert seen.startswith(("hold: 24:", "hold: 25:00"))
    page.wait_for_timeout(2500)
    assert other.inner_text() != seen
    page.locator("#others").get_by_role("link", name="A-3").click()
    page.get_by_role("heading", name="Pot A-3").wait_for()
    page.goto(f"{live.url}/pots")
    page.locator(".runs").filter(has_text="hold: 24:").wait_for()
