"""In a real browser: what is told by frames on a screen is told by them on paper too."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from tests.web.conftest import DESK, Live

_LIGHTNESS = "e => Math.max(...getComputedStyle(e).borderTopColor.match(/\\d+/g).map(Number))"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_frames_of_verdicts_and_cautions_are_dark_on_paper(
    scheme: str, signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", DESK, color_scheme=scheme)
    page.emulate_media(media="print", color_scheme=scheme)
    page.goto(f"{live.url}/colourway/2")
    verdicts = page.locator(".verdict").all()
    assert verdicts
    for verdict in verdicts:
        assert verdict.evaluate(_LIGHTNESS) < 60, verdict.inner_text()
    page.goto(f"{live.url}/lot/2")
    edge = page.locator(".caution").first.evaluate(_LIGHTNESS.replace("Top", "Left"))
    assert edge < 60


def test_a_pots_log_is_printed_without_what_only_a_finger_uses(
    signed_in: Callable[..., Any], live: Live
) -> None:
    page = signed_in("dyer", DESK)
    page.goto(f"{live.url}/pot/1")
    page.emulate_media(media="print")
    assert page.get_by_text("hold, 90 °C").first.is_visible()
    for word in ("Correct", "Undo the last step", "Weigh a skein, in or out"):
        assert not page.get_by_text(word).first.is_visible(), word


def test_a_lots_card_is_one_page(signed_in: Callable[..., Any], live: Live) -> None:
    page = signed_in("dyer", DESK)
    page.goto(f"{live.url}/lot/2/card")
    page.wait_for_load_state("networkidle")
    paper = page.pdf(format="A4", prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", paper)) == 1
