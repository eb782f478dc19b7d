"""Poisoned text on every page, in a real browser that would run it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.web.conftest import DESK, Live
from tests.web.examples import address
from tests.web.test_attacks import PAGES, poison


def test_nothing_that_was_typed_runs(signed_in: Callable[..., Any], live: Live) -> None:
    assert poison(live.folder) > 40
    # The policy that would stop it anyway is taken away, so that escaping alone is tested.
    page = signed_in("dyer", DESK, bypass_csp=True)
    page.on("dialog", lambda dialog: dialog.dismiss())
    tables = ("colourway", "lot", "swatch", "photo", "base", "dye", "colours", "lots", "recipes")
    for path in [*(address(p, live.folder) for p in PAGES), *(f"/archive/{t}" for t in tables)]:
        page.goto(live.url + path)
        page.wait_for_load_state("load")
        assert page.evaluate("window.got_in") is None, path
