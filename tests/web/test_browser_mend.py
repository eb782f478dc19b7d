"""In a real browser: a fact put right on its page, refused and kept, without a fault in reach."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.web.conftest import DESK, PHONE, Live, violations

#: Page, its summary, a field of its form, and what is typed there first and then.
FORMS = (
    ("/dye/1", "Put stock", "Powder in it", "five", "7 g"),
    ("/lot/1", "Put its day, weight or colourway right", "Dry weight of the goods", "0", "201.5 g"),
)


@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_a_fact_is_put_right_where_it_is_read(
    size: dict[str, int], signed_in: Callable[..., Any], live: Live, axe_script: str
) -> None:
    page = signed_in("dyer", size)
    for path, summary, label, wrong, right in FORMS:
        page.goto(live.url + path)
        field = page.get_by_label(label)
        assert not field.is_visible()
        page.get_by_text(summary).first.click()
        assert violations(page, axe_script) == []
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
        field.fill(wrong)
        page.get_by_role("button", name="Put it right").click()
        assert page.get_by_role("alert").is_visible()
        assert field.input_value() == wrong
        assert violations(page, axe_script) == []
        field.fill(right)
        page.get_by_role("button", name="Put it right").click()
        page.wait_for_url(live.url + path)
        page.get_by_text(summary).first.click()
        assert page.get_by_label(label).input_value() == right


def test_the_form_of_a_swatch_can_be_chosen(
    signed_in: Callable[..., Any], live: Live, axe_script: str
) -> None:
    page = signed_in("dyer", PHONE)
    page.goto(live.url + "/swatch/2")
    page.get_by_text("Put its form or base right").click()
    assert violations(page, axe_script) == []
    page.locator('select[name="form"]').select_option("knit")
    page.get_by_role("button", name="Put it right").click()
    assert "was held to one in that form" in page.get_by_role("alert").inner_text()
    assert page.locator('select[name="form"]').input_value() == "knit"
