"""In a real browser: a pot with its timer, and entries that outlive a lost connection."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from tests.web.conftest import PHONE, Live


def steps(folder: Path, code: str) -> list[tuple[Any, ...]]:
    with sqlite3.connect(folder / "archive.db") as conn:
        sql = (
            "SELECT pot_step.kind, at, colour_left, pot_step.note, minutes FROM pot_step "
            "JOIN lot ON lot.id = lot_id WHERE code = ? ORDER BY position"
        )
        return conn.execute(sql, (code,)).fetchall()


def start(page: Any, live: Live, code: str) -> None:
    """A pot of the first recipe, begun through the pages."""
    page.goto(f"{live.url}/pots")
    page.get_by_label("Recipe").select_option(index=1)
    page.get_by_label("Goods, dry").fill("200")
    page.get_by_label("Liquor ratio").fill("30")
    page.get_by_role("button", name="Show the amounts").click()
    page.get_by_label("Code of the new lot").fill(code)
    page.get_by_role("button", name="Start the pot").click()
    page.wait_for_url(re.compile(r"/pot/\d+"))


def something_else(page: Any) -> Any:
    """The form for what is not planned, unfolded."""
    page.get_by_text("A look, a hold, or what is not planned").click()
    return page.locator("#else")


def log_a_hold(page: Any, minutes: str) -> None:
    form = something_else(page)
    form.get_by_role("radio", name="hold", exact=True).check()
    form.get_by_label("Minutes").fill(minutes)
    form.get_by_role("button", name="Log it").click()
    page.locator(".timer[data-kind=hold]").wait_for()


def the_next_step(page: Any) -> None:
    """Tap it in its own time: at once after another it would be taken for the same tap."""
    page.wait_for_timeout(800)
    page.get_by_role("button", name="Done as planned").click()


def seconds_left(page: Any) -> int:
    minutes, seconds = page.locator(".clock").inner_text().split(":")
    return int(minutes) * 60 + int(seconds)


def test_a_pot_with_a_timer_that_outlives_the_page(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("helper", PHONE)
    start(page, live, "B-1")
    page.get_by_role("button", name="Done as planned").click()
    page.locator("#log li").first.wait_for()
    assert steps(live.folder, "B-1")[0][0] == "soak"
    log_a_hold(page, "25")
    assert 25 * 60 - 20 <= seconds_left(page) <= 25 * 60
    # a start that lies further back, as after a night's sleep of the phone
    earlier = (datetime.now().astimezone() - timedelta(minutes=10)).isoformat(timespec="seconds")
    with sqlite3.connect(live.folder / "archive.db") as conn:
        conn.execute("UPDATE pot_step SET at = ? WHERE kind = 'hold' AND minutes = 25", (earlier,))
        conn.execute("UPDATE pot SET started_at = ?", (earlier,))
    conn.close()
    page.reload()
    page.locator(".clock").filter(has_text=":").wait_for()
    assert 15 * 60 - 30 <= seconds_left(page) <= 15 * 60
    page.get_by_role("link", name="Correct step 1").click()
    page.locator("#correct").get_by_label("Note").fill("corrected later")
    page.get_by_role("button", name="Store the correction").click()
    page.get_by_text("corrected later").wait_for()
    assert steps(live.folder, "B-1")[0][3] == "corrected later"


def test_a_tap_that_comes_twice_counts_once(signed_in: Callable[..., Any], live: Live) -> None:
    page = signed_in("helper", PHONE)
    start(page, live, "B-9")
    button = page.get_by_role("button", name="Done as planned")
    button.dblclick()
    page.locator("#log li").first.wait_for()
    page.wait_for_timeout(1500)
    assert [s[0] for s in steps(live.folder, "B-9")] == ["soak"]
    assert page.get_by_text("Not taken, kept here.").count() == 0
    the_next_step(page)
    page.locator("#log li").nth(1).wait_for()
    # Even where the next step comes under the finger between the two taps.
    page.wait_for_timeout(1000)
    page.evaluate(
        """async () => {
          const tap = () => [...document.querySelectorAll("button")]
            .find((b) => b.textContent.trim() === "Done as planned").click();
          tap();
          await new Promise((go) => setTimeout(go, 500));
          tap();
        }"""
    )
    page.locator("#log li").nth(2).wait_for()
    page.wait_for_timeout(1000)
    assert len(steps(live.folder, "B-9")) == 3


def test_the_chime_is_off_until_asked(signed_in: Callable[..., Any], live: Live) -> None:
    page = signed_in("dyer", PHONE)
    start(page, live, "B-2")
    log_a_hold(page, "5")
    chime = page.get_by_role("button", name="Chime when it is over")
    assert chime.get_attribute("aria-pressed") == "false"
    chime.click()
    assert chime.get_attribute("aria-pressed") == "true"


def test_an_entry_made_offline_is_kept_and_counts_once(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", PHONE)
    start(page, live, "B-3")
    page.context.set_offline(True)
    before = datetime.now().astimezone()
    something_else(page).get_by_role("radio", name="trace").check()
    page.locator("#else").get_by_label("Note").fill("no connection")
    page.get_by_role("button", name="Log it").click()
    page.get_by_text("Not sent yet, kept here.").wait_for()
    assert steps(live.folder, "B-3") == []
    page.wait_for_timeout(2500)
    after = datetime.now().astimezone() - timedelta(seconds=2)
    page.context.set_offline(False)
    page.get_by_text("Not sent yet").wait_for(state="detached")
    page.locator("#log").get_by_text("no connection").wait_for()
    (found,) = steps(live.folder, "B-3")
    assert found[0] == "look" and found[2] == "trace"
    tapped = datetime.fromisoformat(found[1])
    assert before - timedelta(seconds=1.5) <= tapped <= after


def test_an_entry_that_was_sent_and_not_answered_counts_once(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", PHONE)
    start(page, live, "B-4")

    def lose_the_answer(route: Any) -> None:
        if route.request.method == "POST":
            route.fetch()  # the server gets it, the phone hears nothing
            route.abort()
        else:
            route.continue_()

    page.route("**/pot/*", lose_the_answer)
    something_else(page).get_by_label("pH").fill("4.5")
    page.get_by_role("button", name="Log it").click()
    page.get_by_text("Not sent yet, kept here.").wait_for()
    page.unroute("**/pot/*")
    page.reload()  # it is sent again by itself at load
    page.get_by_text("Not sent yet").wait_for(state="detached")
    assert [s[0] for s in steps(live.folder, "B-4")] == ["look"]


def test_an_entry_that_is_not_taken_stays_with_its_reason(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", PHONE)
    start(page, live, "B-5")
    with sqlite3.connect(live.folder / "archive.db") as conn:
        conn.execute("DELETE FROM pot WHERE lot_id = (SELECT id FROM lot WHERE code = 'B-5')")
        conn.execute("DELETE FROM lot_base WHERE lot_id = (SELECT id FROM lot WHERE code = 'B-5')")
        conn.execute("DELETE FROM lot WHERE code = 'B-5'")
    conn.close()
    something_else(page).get_by_label("Note").fill("the pot is gone")
    page.get_by_role("button", name="Log it").click()
    page.get_by_text("Not taken, kept here.").wait_for()
    kept = page.locator("#kept")
    assert "the pot is gone" in kept.inner_text()
    assert "not in the archive" in kept.inner_text()
    page.get_by_role("button", name="Throw it away").click()
    page.get_by_text("Not taken").wait_for(state="detached")


def test_an_entry_that_is_not_taken_is_mended(signed_in: Callable[..., Any], live: Live) -> None:
    page = signed_in("dyer", PHONE)
    start(page, live, "B-6")
    form = something_else(page)
    form.get_by_role("radio", name="look", exact=True).check()
    form.get_by_role("radio", name="some", exact=True).check()
    form.get_by_label("Temperature, °C").fill("warm")
    form.get_by_label("Note").fill("at the window")
    form.get_by_role("button", name="Log it").click()
    page.get_by_text("Not taken, kept here.").wait_for()
    assert form.get_by_label("Note").input_value() == ""
    page.get_by_role("button", name="Mend it").click()
    page.get_by_text("Not taken").wait_for(state="detached")
    assert form.get_by_label("Temperature, °C").input_value() == "warm"
    assert form.get_by_label("Note").input_value() == "at the window"
    assert form.get_by_role("radio", name="some", exact=True).is_checked()
    assert page.evaluate("document.activeElement.name") == "temperature"  # the first that is filled
    tapped = form.get_by_label("When, if not now").input_value()
    assert re.fullmatch(r"\d\d:\d\d:\d\d", tapped)
    page.wait_for_timeout(1100)
    form.get_by_label("Temperature, °C").fill("60")
    form.get_by_role("button", name="Log it").click()
    page.locator("#log .log li").first.wait_for()
    ((kind, at, left, note, _),) = steps(live.folder, "B-6")
    assert (kind, left, note) == ("look", "some", "at the window")
    assert tapped in at  # its time stays that of the first tap


def refused_dye(page: Any) -> str:
    """A dye that went in, with a temperature that is none; what the dye is called."""
    form = something_else(page)
    form.get_by_role("radio", name="dye in", exact=True).check()
    form.get_by_label("Temperature, °C").fill("warm")
    form.get_by_text("Dyes that went in").click()
    name = "Hessard violet, stock hessard 1 %"
    form.locator("[name=dye1]").select_option(label=name)
    form.get_by_label("How much of dye 1").fill("80 mL")
    form.get_by_role("button", name="Log it").click()
    page.get_by_text("Not taken, kept here.").wait_for()
    return name


def test_a_refused_dye_is_named_and_opened_from_any_page(
    signed_in: Callable[..., Any], live: Live
) -> None:
    from playwright.sync_api import expect

    page = signed_in("dyer", PHONE)
    start(page, live, "B-7")
    pot = page.url.partition("#")[0]
    name = refused_dye(page)
    assert f"80 mL of {name}" in page.locator("#kept").inner_text()
    page.goto(f"{live.url}/pots")
    assert f"80 mL of {name}" in page.locator("#kept").inner_text()
    page.get_by_role("button", name="Mend it").click()
    page.wait_for_url(re.compile(re.escape(pot)))
    page.get_by_text("Not taken").wait_for(state="detached")
    form = page.locator("#else")
    expect(form.get_by_role("radio", name="dye in", exact=True)).to_be_checked()  # by its script
    assert form.locator("[name=dye1] option:checked").inner_text() == name
    assert form.get_by_label("How much of dye 1").input_value() == "80 mL"
    form.get_by_label("Temperature, °C").fill("40")
    form.get_by_role("button", name="Log it").click()
    page.locator("#log").get_by_text("40 °C").wait_for()
    assert [s[0] for s in steps(live.folder, "B-7")] == ["dye in"]


def test_a_planned_step_that_another_phone_did_is_opened_as_something_else(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", PHONE)
    start(page, live, "B-8")
    page.get_by_role("button", name="Done as planned").click()
    page.locator("#log li").first.wait_for()
    assert "dye in" in page.locator("#next .next-words").inner_text()
    other = page.context.new_page()
    other.goto(page.url)
    other.get_by_role("button", name="Done as planned").click()
    other.locator("#log li").nth(1).wait_for()
    the_next_step(page)
    page.get_by_text("Not taken, kept here.").wait_for()
    page.locator("#log .log li").nth(1).wait_for()  # what the other phone did
    kept = page.locator("#kept").inner_text()
    dyes = page.evaluate("Object.values(JSON.parse(Object.values(localStorage)[0]).dyes)")
    assert len(dyes) == 2 and all(f" of {d}" in kept for d in dyes)
    page.get_by_role("button", name="Mend it").click()
    page.get_by_text("Not taken").wait_for(state="detached")
    form = page.locator("#else")
    assert form.get_by_role("radio", name="dye in", exact=True).is_checked()
    assert form.locator("[name=dye1] option:checked").inner_text() == dyes[0]
    assert form.get_by_label("How much of dye 2").input_value()


def test_a_refused_correction_is_opened_again(signed_in: Callable[..., Any], live: Live) -> None:
    from playwright.sync_api import expect

    page = signed_in("dyer", PHONE)
    start(page, live, "B-9")
    page.get_by_role("button", name="Done as planned").click()
    page.get_by_role("link", name="Correct step 1").click()
    page.locator("#correct").get_by_label("Temperature, °C").fill("hot")
    page.get_by_role("button", name="Store the correction").click()
    page.get_by_text("Not taken, kept here.").wait_for()
    page.get_by_role("button", name="Mend it").click()
    field = page.locator("#correct").get_by_label("Temperature, °C")
    expect(field).to_have_value("hot")  # put in by the page's script, once it has loaded
    page.get_by_text("Not taken").wait_for(state="detached")
    field.fill("35")
    page.get_by_role("button", name="Store the correction").click()
    page.locator("#log").get_by_text("35 °C").wait_for()


def test_a_soak_is_timed_and_a_step_by_mistake_is_undone(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("helper", PHONE)
    start(page, live, "B-10")
    page.get_by_role("button", name="Begin the soak").click()
    page.locator(".clock").filter(has_text=":").wait_for()
    assert 30 * 60 - 20 <= seconds_left(page) <= 30 * 60
    assert "soak of 30 min, to " in page.locator(".clock-words").inner_text()
    page.locator("#next .next-words").filter(has_text="dye in").wait_for()
    the_next_step(page)
    page.locator(".timer").wait_for(state="detached")
    page.get_by_role("heading", name="Went in").wait_for()
    page.context.set_offline(True)
    page.get_by_text("Undo the last step").click()
    page.get_by_role("button", name="Strike step 2").click()
    page.locator("#kept").get_by_text("undo of step 2").wait_for()
    page.context.set_offline(False)
    page.locator("#log del").filter(has_text="2. ").wait_for()
    page.locator(".timer").wait_for()  # what it had ended runs on
    assert page.get_by_role("heading", name="Went in").count() == 0
    assert [s[0] for s in steps(live.folder, "B-10")] == ["soak"]


def test_without_a_script_the_clock_says_only_what_stays_true(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("helper", PHONE, java_script_enabled=False)
    start(page, live, "N-1")
    log_a_hold(page, "25")
    assert re.fullmatch(r"to \d\d:\d\d", page.locator(".clock").inner_text())
    for path in (page.url, f"{live.url}/pots"):
        page.goto(path)
        told = page.locator(".timer, .runs").first.inner_text()
        assert re.search(r"to \d\d:\d\d", told), told
        assert " left" not in told and "to go" not in told, told
        assert not page.get_by_role("button", name="Chime when it is over").is_visible()
