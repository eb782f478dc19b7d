"""In a real browser: wide tables stand as cards on a phone, and the shade at an edge is dark."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.web.conftest import DESK, PHONE, Live

_STACKED = ["Checks given", "Checks with this swatch", "Every measurement", "Lots", "Masters"]

# What of a table's cells lies beyond the box that it scrolls in.
_BEYOND = """box => { const edge = box.getBoundingClientRect().right + 0.5;
  return [...box.querySelectorAll('td *, td')].filter(e => e.getBoundingClientRect().right > edge)
    .map(e => e.outerHTML.slice(0, 90)).concat(box.scrollWidth > box.clientWidth ? ['scrolls'] : [])
}"""


def _ask(live: Live, sql: str) -> Any:
    with sqlite3.connect(live.folder / "archive.db") as conn:
        return conn.execute(sql).fetchone()


def _tables(live: Live) -> list[str]:
    """Pages that have the tables of ``_STACKED``."""
    lot, swatch, colourway, check = _ask(
        live,
        "SELECT lot_id, swatch_id, colourway_id, c.id FROM lot_check AS c JOIN lot "
        "ON lot.id = lot_id GROUP BY lot_id HAVING count(*) = 3",
    )
    return [f"/lot/{lot}", f"/swatch/{swatch}", f"/colourway/{colourway}", f"/check/{check}"]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_tables_stand_as_cards_on_a_phone(
    scheme: str, signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", PHONE, color_scheme=scheme)
    seen: set[str] = set()
    for path in _tables(live):
        page.goto(live.url + path)
        for box in page.locator(".wide:has(table.stack)").all():
            name = box.get_attribute("aria-label")
            assert not box.evaluate(_BEYOND), (path, name)
            seen.add(name)
    assert seen >= {*_STACKED, "Other checks of this lot"}


def test_a_card_says_what_each_figure_is(signed_in: Callable[..., Any], live: Live) -> None:
    page = signed_in("dyer", PHONE)
    page.goto(live.url + _tables(live)[0])
    labels = page.evaluate(
        """() => [...document.querySelector('table.stack tbody tr').cells]
        .map(cell => getComputedStyle(cell, '::before').content)"""
    )
    for word in ("ΔE00", "±", "held to"):
        assert any(word in said for said in labels), (word, labels)


def test_tables_stay_tables_on_a_desk(signed_in: Callable[..., Any], live: Live) -> None:
    page = signed_in("dyer", DESK)
    page.goto(live.url + _tables(live)[0])
    table = page.locator("table.stack").first
    assert table.evaluate("t => getComputedStyle(t).display") == "table"
    assert table.evaluate("t => getComputedStyle(t.rows[1].cells[4], '::before').content") == "none"
    assert table.locator("thead").is_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_shade_at_an_edge_is_darker_than_the_page(
    scheme: str, signed_in: Callable[..., Any], live: Live, tmp_path: Path
) -> None:
    import cv2

    page = signed_in("dyer", PHONE, color_scheme=scheme)
    (lot,) = _ask(live, "SELECT lot_id FROM lot_dye LIMIT 1")
    page.goto(f"{live.url}/lot/{lot}")
    box = page.get_by_role("region", name="Dyes that went in")
    box.scroll_into_view_if_needed()
    # nothing but the edge in the picture: a blank line that goes on far to the right
    box.evaluate("""b => { const blank = document.createElement('div'); b.replaceChildren(blank);
      b.style.height = '60px'; blank.style.width = '900px'; blank.style.height = '1px'; }""")
    box.screenshot(path=str(tmp_path / "box.png"))
    grey = cv2.imread(str(tmp_path / "box.png"), cv2.IMREAD_GRAYSCALE)[30]
    assert int(grey[-6:-1].min()) < int(grey[10]) - 8
    assert int(grey[-40:].max()) <= int(grey[10])  # no glow


def test_a_long_name_on_the_shelf_is_not_one_word_a_line(
    signed_in: Callable[..., Any], live: Live
) -> None:
    with sqlite3.connect(live.folder / "archive.db") as conn:
        conn.execute(
            "UPDATE base SET name = 'Merino and Tencel sock yarn from the mill' WHERE id = 1"
        )
    page = signed_in("dyer", PHONE)
    page.goto(f"{live.url}/shelf")
    name = page.get_by_role("link", name="Merino and Tencel")
    lines = name.evaluate("a => a.querySelector('bdi').getClientRects().length")
    assert lines <= 3
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


A4_WITH_MARGINS = 718  # CSS pixels in 190 mm


@pytest.mark.parametrize("path", ["/gaps?base=1", "/colourway/2", "/lot/7"])
def test_nothing_wide_is_cut_on_paper(signed_in: Callable[..., Any], live: Live, path: str) -> None:
    page = signed_in("dyer", {"width": A4_WITH_MARGINS, "height": 1000})
    page.goto(f"{live.url}{path}")
    page.emulate_media(media="print")
    wide = page.locator(".wide")
    assert wide.count() > 0
    most = page.evaluate(
        "Math.max(...[...document.querySelectorAll('.wide > *')]"
        ".map(e => e.getBoundingClientRect().right))"
    )
    assert most <= A4_WITH_MARGINS


@pytest.mark.parametrize("path", ["/gaps?base=1", "/base/1", "/colourway/1"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_chart_lies_on_grey_and_shows_that_it_goes_on(
    path: str, scheme: str, signed_in: Callable[..., Any], live: Live, tmp_path: Path
) -> None:
    import cv2

    page = signed_in("dyer", PHONE, color_scheme=scheme)
    page.goto(f"{live.url}{path}")
    box = page.locator(".wide:has(> svg)").first
    box.screenshot(path=str(tmp_path / "box.png"))
    grey = cv2.imread(str(tmp_path / "box.png"), cv2.IMREAD_GRAYSCALE)[4]  # above what is drawn
    assert int(grey[20:200].max()) < (236 if scheme == "light" else 190)
    assert int(grey[-9:-4].max()) < int(grey[100]) - 8  # left of the frame's own line
