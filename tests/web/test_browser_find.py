"""In a real browser: finding by a colour with the keyboard alone, on the plane, and by a photo."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.web.conftest import DESK, PHONE, Live
from tests.web.newphotos import jpeg

EXAMPLES = Path(__file__).parents[2] / "example_archive"


def value(page: Any, name: str) -> float:
    return float(page.locator(f"#n-{name}").input_value())


def test_by_a_colour_with_the_keyboard_alone(signed_in: Callable[..., Any], live: Live) -> None:
    page = signed_in("dyer", PHONE)
    page.goto(f"{live.url}/find")
    while page.evaluate("document.activeElement.dataset.of || ''") != "l":
        page.keyboard.press("Tab")
    lightness, a = value(page, "l"), value(page, "a")
    for _ in range(20):
        page.keyboard.press("ArrowLeft")
    assert value(page, "l") == lightness - 20
    page.locator("#plane svg[aria-label*='L* 35:']").wait_for()
    page.keyboard.press("Tab")  # the number of L*
    page.keyboard.press("Tab")
    for _ in range(8):
        page.keyboard.press("ArrowRight")
    assert value(page, "c") == 33
    assert value(page, "a") > a
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"by=colour"))
    first = page.locator(".hits li").first
    assert "ΔE00" in first.inner_text()
    assert "Ninth Furrow" in first.inner_text()  # the red of the demo


def test_chroma_stops_at_what_a_surface_can_have(signed_in: Callable[..., Any], live: Live) -> None:
    page = signed_in("dyer", DESK)
    page.goto(f"{live.url}/find?l=50&c=20&h=30")
    page.locator("#n-c").fill("160")
    page.keyboard.press("Tab")
    assert 95 < value(page, "c") < 115
    assert page.get_by_text("No screen shows this colour as it is.").is_visible()
    box = page.locator("#plane svg").bounding_box()
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    assert value(page, "c") < 2
    assert not page.get_by_text("No screen shows this colour as it is.").is_visible()


def test_by_a_photo_that_is_not_filed(
    signed_in: Callable[..., Any], live: Live, tmp_path: Path
) -> None:
    from PIL import Image

    photo = tmp_path / "seen.jpg"
    with Image.open(EXAMPLES / "furrow-1.jpg") as image:
        image.save(photo, quality=93, icc_profile=image.info.get("icc_profile"))
    page = signed_in("dyer", PHONE)
    page.goto(f"{live.url}/find")
    page.get_by_label("Photo", exact=True).set_input_files(photo)
    page.get_by_label("Marks beside it").set_input_files(EXAMPLES / "furrow-1.marks.json")
    page.get_by_role("button", name="Measure it and look").click()
    page.wait_for_url(re.compile(r"photo="), timeout=120_000)
    first = page.locator(".hits li").first
    assert "Ninth Furrow" in first.inner_text()
    page.get_by_text("Only some, and how").click()
    page.get_by_label("Form").select_option("knit")
    page.get_by_role("button", name="Find near the photo").click()
    page.wait_for_url(re.compile(r"form=knit"))
    assert all("knit" in text for text in page.locator(".hits li").all_inner_texts())


def test_a_photo_of_two_swatches_asks_which_where_it_is_chosen(
    signed_in: Callable[..., Any], live: Live, tmp_path: Path
) -> None:
    photo = tmp_path / "two.jpg"
    photo.write_bytes(jpeg())
    from playwright.sync_api import expect

    page = signed_in("dyer", PHONE)
    page.goto(f"{live.url}/find")
    page.get_by_label("Photo", exact=True).set_input_files(photo)
    page.get_by_label("Marks beside it").set_input_files(EXAMPLES / "harbour-2.marks.json")
    broken: list[int] = []
    page.on("response", lambda answer: broken.append(answer.status))
    page.get_by_role("button", name="Measure it and look").click()
    page.wait_for_url(re.compile(r"photo=.*#sent$"), timeout=120_000)
    assert max(broken) < 400
    which = page.get_by_label("Which yarn in it")
    expect(which).to_be_in_viewport()
    expect(page.get_by_text("choose which one to look for")).to_be_in_viewport()
    which.select_option("master")
    page.get_by_role("button", name="Find near the photo").click()
    page.locator(".hits li").first.wait_for()
    assert page.locator("#found h2").inner_text().endswith("two.jpg, master")
