"""In a real browser: a master set, a lot checked, a card and a label printed, phone and desk."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Callable
from typing import Any

import pytest

from tests.web.conftest import DESK, PHONE, Live


def _ask(live: Live, sql: str) -> Any:
    with sqlite3.connect(live.folder / "archive.db") as conn:
        return conn.execute(sql).fetchone()


def _nothing_sideways(page: Any) -> None:
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


def _pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type /Page\b", pdf))


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_master_is_set_and_a_lot_is_held_to_it(
    size: dict[str, int], signed_in: Callable[..., Any], live: Live
) -> None:
    # a colourway without a master, two lots of it measured on one base in one form
    sql = (
        "SELECT a.id, b.lot_id, b.label FROM swatch AS a JOIN lot AS la ON la.id = a.lot_id "
        "JOIN swatch AS b ON b.base_id = a.base_id AND b.form = a.form AND b.lot_id <> a.lot_id "
        "JOIN lot AS lb ON lb.id = b.lot_id AND lb.colourway_id = la.colourway_id "
        "JOIN master AS m ON m.colourway_id = la.colourway_id AND m.form = a.form "
        "AND m.swatch_id NOT IN (a.id, b.id) AND (SELECT count(*) FROM swatch AS s "
        "WHERE s.lot_id = b.lot_id) = 1 "
        "WHERE EXISTS (SELECT 1 FROM measurement WHERE swatch_id = a.id) "
        "AND EXISTS (SELECT 1 FROM measurement WHERE swatch_id = b.id) "
        "ORDER BY a.id, b.id LIMIT 1"
    )
    swatch, lot, label = _ask(live, sql)
    page = signed_in("dyer", size)
    page.goto(f"{live.url}/swatch/{swatch}")
    _nothing_sideways(page)
    page.get_by_text("Make it the master").click()
    page.get_by_label("Tolerance, ΔE00").fill("1,5")
    page.get_by_label("Reason").fill('the one I "want"')
    page.get_by_role("button", name="Hold later lots to this swatch").click()
    page.get_by_text("This swatch is the master of").wait_for()
    assert "tolerance 1.5 at kL = 2" in page.inner_text("main")

    page.goto(f"{live.url}/lot/{lot}")
    _nothing_sideways(page)
    page.get_by_role("button", name="Check against the master").click()
    page.wait_for_url(re.compile(r"/check/\d+$"))
    _nothing_sideways(page)
    assert label in page.get_by_role("heading", level=1).inner_text()
    said = page.inner_text("main")
    assert re.search(r"tolerance\s+1\.5", said)
    assert any(v in said for v in ("within", "outside", "cannot tell"))
    page.wait_for_function("[...document.images].every(i => i.complete && i.naturalWidth > 0)")
    boxes = [image.bounding_box() for image in page.locator(".side img").all()]
    assert len(boxes) == 2
    assert boxes[0]["y"] == boxes[1]["y"]  # beside each other, on the phone too
    assert boxes[0]["x"] + boxes[0]["width"] == pytest.approx(boxes[1]["x"], abs=1)


def test_a_check_is_made_with_the_keyboard_alone(signed_in: Callable[..., Any], live: Live) -> None:
    (lot,) = _ask(live, "SELECT lot_id FROM lot_check GROUP BY lot_id HAVING count(*) = 1")
    page = signed_in("helper", DESK)
    page.goto(f"{live.url}/check/new?lot={lot}")
    page.get_by_label("Form").focus()
    page.keyboard.press("Tab")
    page.keyboard.type("3")
    for _ in range(4):  # kL, dyes, forms, the button
        page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Check against the master"
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/check/\d+$"))
    assert re.search(r"tolerance\s+3;", page.inner_text("main"))


@pytest.mark.parametrize("what", ["lot", "recipe"])
def test_a_card_is_printed(what: str, signed_in: Callable[..., Any], live: Live) -> None:
    (row,) = _ask(live, "SELECT id FROM lot WHERE recipe_id IS NOT NULL")
    if what == "recipe":
        (row,) = _ask(live, "SELECT max(id) FROM recipe")
    page = signed_in("dyer", PHONE, color_scheme="dark")
    page.goto(f"{live.url}/{what}/{row}/card")
    _nothing_sideways(page)
    page.emulate_media(media="print")
    assert not page.locator("nav").is_visible() if what == "lot" else True
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert ground in ("rgb(255, 255, 255)", "rgba(0, 0, 0, 0)")
    ink = page.evaluate("getComputedStyle(document.querySelector('h1')).color")
    assert ink == "rgb(0, 0, 0)"
    pdf = page.pdf(format="A4", prefer_css_page_size=True)
    assert pdf.startswith(b"%PDF")
    assert _pages(pdf) <= 2


def test_a_label_is_of_the_size_of_its_paper(signed_in: Callable[..., Any], live: Live) -> None:
    page = signed_in("dyer", DESK)
    page.goto(f"{live.url}/lot/2/label")
    assert page.get_by_role("button", name="Print").is_visible()
    pdf = page.pdf(prefer_css_page_size=True)
    size = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert size is not None
    wide, high = (float(v) / 72 * 25.4 for v in size.groups())
    assert (wide, high) == (pytest.approx(62, abs=0.5), pytest.approx(40, abs=0.5))
    assert _pages(pdf) == 1
    page.goto(f"{live.url}/lot/2/label?copies=8")
    assert _pages(page.pdf(format="A4")) == 1


def test_printing_needs_no_script_to_be_reached(chromium: Any, live: Live) -> None:
    context = chromium.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(live.link())
    page.get_by_role("button", name="Let this device in").click()
    page.goto(f"{live.url}/lot/2/card")
    assert not page.get_by_role("button", name="Print").is_visible()
    assert page.get_by_role("heading", level=1).is_visible()
    context.close()


def test_a_recipes_card_is_as_large_on_small_paper(
    signed_in: Callable[..., Any], live: Live
) -> None:
    """On A6 it is laid out anew over more pages, and not a page of A4 made small."""
    page = signed_in("dyer", DESK)
    page.goto(f"{live.url}/recipe/2/card")
    assert _pages(page.pdf(format="A4", prefer_css_page_size=True)) == 1
    small = page.pdf(format="A6", prefer_css_page_size=True)
    assert _pages(small) == 2
    size = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", small)
    assert size is not None and float(size[1]) / 72 * 25.4 == pytest.approx(105, abs=0.5)


def test_skeins_on_a_lots_card_stay_together(signed_in: Callable[..., Any], live: Live) -> None:
    (lot,) = _ask(live, "SELECT lot_id FROM skein GROUP BY lot_id HAVING count(*) > 1")
    page = signed_in("dyer", DESK)
    page.goto(f"{live.url}/lot/{lot}/card")
    page.emulate_media(media="print")
    part = page.locator("section", has=page.get_by_role("heading", name="Skeins"))
    assert part.evaluate("e => getComputedStyle(e).breakInside") == "avoid"
    assert part.locator("tbody tr").count() > 1


def test_a_printed_check_has_what_is_to_be_read_with_every_figure(
    signed_in: Callable[..., Any], live: Live
) -> None:
    (check, kept) = _ask(live, "SELECT id, json_extract(detail, '$.notes[0]') FROM lot_check")
    page = signed_in("dyer", DESK)
    page.goto(f"{live.url}/check/{check}")
    note = page.get_by_text(kept[:40])
    heading = page.get_by_text("To be read with every figure")
    seen = [locator.filter(visible=True) for locator in (note, heading)]
    assert [locator.count() for locator in seen] == [0, 1]  # folded on the screen
    page.emulate_media(media="print")
    assert [locator.count() for locator in seen] == [1, 1]
