"""In a real browser: a name mended on its page, refused and kept, without a fault in reach."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.web.conftest import DESK, PHONE, Live, violations

KINDS = ("colourway", "lot", "swatch", "base", "dye")


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_name_is_mended_where_it_is_read(
    size: dict[str, int], signed_in: Callable[..., Any], live: Live, axe_script: str
) -> None:
    page = signed_in("dyer", size)
    for kind in KINDS:
        page.goto(f"{live.url}/{kind}/1")
        field = page.get_by_label("Name", exact=True)
        assert not field.is_visible()
        page.get_by_text("Mend the name").first.click()
        old = field.input_value()
        assert old in page.get_by_role("heading", level=1).inner_text()
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
        assert violations(page, axe_script) == []

        page.goto(f"{live.url}/{kind}/2")
        page.get_by_text("Mend the name").first.click()
        field.fill(old)
        page.get_by_role("button", name="Mend the name").click()
        assert f"'{old}' is taken" in page.get_by_role("alert").inner_text()
        assert field.input_value() == old
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
        assert violations(page, axe_script) == []

        field.fill(f"{old} the second")
        page.get_by_role("button", name="Mend the name").click()
        page.wait_for_url(f"{live.url}/{kind}/2")
        assert f"{old} the second" in page.get_by_role("heading", level=1).inner_text()
