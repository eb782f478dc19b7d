"""In a real browser, on a phone: a pot's liquor photographed, marked, read, and kept in its log."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from swatchvault.archive import get_pot, open_archive
from tests.web.conftest import PHONE, Live, violations
from tests.web.liquor import glass, lot


def fits(page: Any, axe_script: str) -> None:
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, page.url
    assert violations(page, axe_script) == []


def send(page: Any, photo: Path, look: str) -> None:
    page.get_by_label("It shows").select_option(look)
    page.set_input_files("#choose", str(photo))
    page.get_by_role("button", name="Send the photo").click()
    page.wait_for_url("**/mark")
    page.locator("#handles button.corner").nth(3).wait_for()


def marked(page: Any) -> dict[str, Any]:
    found: list[dict[str, Any]] = json.loads(page.locator("#marks").input_value())["swatches"]
    return {one["name"]: one["polygon"] for one in found}


def drag(page: Any, across: float) -> None:
    """Move the whole outline that is chosen by a share of the picture's width."""
    handle = page.locator("#handles button.whole")
    handle.scroll_into_view_if_needed()
    at, width = handle.bounding_box(), page.locator("#stage").bounding_box()["width"]
    x, y = at["x"] + at["width"] / 2, at["y"] + at["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + across * width, y, steps=6)
    page.mouse.up()


def test_from_the_pot_to_its_log(
    signed_in: Callable[..., Any], live: Live, tmp_path: Path, axe_script: str
) -> None:
    lot_id = lot(live.folder)
    photos = {name: glass(tmp_path, name, steps=False) for name in ("start", "hold 1")}
    page = signed_in("helper", PHONE)
    broken: list[str] = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    page.goto(f"{live.url}/pot/{lot_id}")
    page.get_by_role("link", name="How much colour is left: by photo").click()
    fits(page, axe_script)
    send(page, photos["start"], "start")
    fits(page, axe_script)
    page.get_by_role("button", name="start", exact=True).click()
    drag(page, -0.145)
    place = marked(page)
    page.get_by_role("button", name="Measure").click()
    page.get_by_text("What the others are measured against").wait_for(timeout=60_000)
    fits(page, axe_script)
    page.goto(f"{live.url}/photos/new")
    fits(page, axe_script)
    page.locator("#waiting").get_by_role("link", name="image.png").click()
    send(page, photos["hold 1"], "hold 1")
    assert marked(page) == {"hold 1": place["start"], "white": place["white"]}, "where it stood"
    page.get_by_label("Add", exact=True).select_option("a glass, or white")
    page.get_by_role("button", name="Add it").click()
    assert list(marked(page)) == ["hold 1", "white", "hold 2"]
    page.get_by_role("button", name="Remove hold 2").click()
    page.get_by_role("button", name="Measure").click()
    page.get_by_text("of the colour is left").wait_for(timeout=60_000)
    fits(page, axe_script)
    page.get_by_role("button", name="Keep in the log").click()
    page.get_by_text("In the log as step 2").wait_for()
    fits(page, axe_script)
    with open_archive(live.folder) as archive:
        start, hold = (d.step for d in get_pot(archive.conn, "NF-9").steps)
    assert start.colour_left == "100 %"
    assert 45 <= float(hold.colour_left.removesuffix(" %")) <= 55
    assert not broken


def test_without_a_script(signed_in: Callable[..., Any], live: Live, tmp_path: Path) -> None:
    lot_id = lot(live.folder)
    photo = glass(tmp_path, "start")
    page = signed_in("dyer", PHONE, java_script_enabled=False)
    page.goto(f"{live.url}/pot/{lot_id}/liquor")
    page.set_input_files("#choose", str(photo))
    page.get_by_role("button", name="Send the photo").click()
    page.locator("#as-text summary").click()
    text = photo.with_suffix(".marks.json").read_text()
    page.get_by_label("Marks, as in a marks file").fill(text)
    page.get_by_role("button", name="Measure").click()
    page.get_by_text("What the others are measured against").wait_for(timeout=60_000)
    page.get_by_role("button", name="Keep in the log").click()
    page.get_by_text("In the log as step 1").wait_for()
